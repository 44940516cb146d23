"""How to mark the wood: centre, circle and rip line by distances from things that can be seen on it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import Crack, Face, Nest, Point
from photonest.report.words import DEFECT_NAMES, twice_error

NEAREST = 12.0
"""Shortest distance worth setting compasses to, in mm."""
MOST_TRIED = 400
"""Landmarks tried, those surest first: a face may have thousands of cracks."""
SQUAREST = 0.3
"""Least sine of the angle at which two arcs may cross to fix a point."""


@dataclass(frozen=True)
class Landmark:
    """Something to measure from.

    Attributes
    ----------
    letter : str
        As it is marked on the picture.
    name : str
        In words.
    point : (x, y)
        On the face, in mm.
    standard_error : float
        Of its position, in mm.
    distance, error : float
        To what is marked, and twice that distance's standard error, in mm.
    """

    letter: str
    name: str
    point: Point
    standard_error: float
    distance: float = 0.0
    error: float = 0.0


def centre_landmarks(face: Face, centre: Point, most: int = 3) -> tuple[Landmark, ...]:
    """Return the landmarks that fix a centre best, with their distances from it: arcs about them cross there squarely.

    None are returned when fewer than two can be seen.
    """
    middle = np.asarray(centre)
    measured = []
    for mark in visible(face):
        far = float(np.hypot(*(np.asarray(mark.point) - middle)))
        if far >= NEAREST:
            measured.append(replace(mark, distance=far, error=twice_error(face, far, mark.standard_error)))
    surest = np.argsort([mark.error for mark in measured], kind="stable")[:MOST_TRIED]
    measured = [measured[i] for i in sorted(surest)]
    bearings = np.array([np.arctan2(*(np.asarray(mark.point) - middle)[::-1]) for mark in measured])
    errors = np.array([mark.error for mark in measured])
    return _lettered([measured[i] for i in _spread(bearings, errors, most)])


def line_landmarks(face: Face, through: Point, along: ArrayLike) -> tuple[Landmark, ...]:
    """Return the landmarks that fix a line best: the pith where it is seen, and two far apart.

    Their distances are square to the line, positive on the left of `along` as the photo lies.
    """
    way = np.asarray(along, dtype=float) / np.hypot(*np.asarray(along, dtype=float))
    measured, places = [], []
    for mark in visible(face):
        offset = np.asarray(mark.point) - through
        far = float(way[1] * offset[0] - way[0] * offset[1])
        measured.append(replace(mark, distance=far, error=twice_error(face, abs(far), mark.standard_error)))
        places.append(float(offset @ way))
    best = {int(np.argmin(places)), int(np.argmax(places))} if len(measured) > 1 else set()
    best |= {i for i, mark in enumerate(measured) if mark.name == "pith"}
    return _lettered([measured[i] for i in sorted(best)])


def edge_distances(face: Face, centre: Point) -> dict[str, float]:
    """Return how far the edge is from a point, straight up, right, down and left as the photo lies, in mm."""
    import shapely

    edge = shapely.LinearRing(face.outline.points)
    far = 4 * face.size.max_diameter
    rays = {"up": (0, -far), "right": (far, 0), "down": (0, far), "left": (-far, 0)}
    found = {}
    for name, (dx, dy) in rays.items():
        hits = edge.intersection(shapely.LineString([centre, (centre[0] + dx, centre[1] + dy)]))
        if not hits.is_empty:
            found[name] = float(shapely.Point(centre).distance(hits))
    return found


def rip_frame(face: Face, nest: Nest) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return where the rip line of half a log crosses the axis, and the direction from it to the bowls.

    The bowls' rims lie at the rip line, or, where the rims face the bark, the foot of the first bowl does: the line is
    the one of the two that is nearer to the pith.
    """
    rim, down = np.asarray(nest.axis.point[:2]), np.asarray(nest.axis.direction[:2])
    pith = np.asarray(face.pith.point if face.pith is not None else (0.0, 0.0))
    foot = rim + nest.bowls[0].depth * down
    at_rim = abs((pith - rim) @ down) <= abs((pith - foot) @ down)
    return (rim, down) if at_rim else (foot, -down)


def rip_line(face: Face, nest: Nest) -> NDArray[np.float64]:
    """Return the two ends on the outline of the line at which a log is ripped for a nest, shape (2, 2)."""
    import shapely

    through, into = rip_frame(face, nest)
    along = np.array([into[1], -into[0]]) * 2 * face.size.max_diameter
    wood = shapely.make_valid(shapely.Polygon(face.outline.points))
    inside = shapely.LineString([through - along, through + along]).intersection(wood)
    if inside.is_empty:
        return np.array([through, through])
    parts = list(getattr(inside, "geoms", [inside]))
    ends = np.vstack([np.asarray(part.coords) for part in parts])
    order = np.argsort(ends @ along)
    return np.asarray(ends[order[[0, -1]]])


def visible(face: Face) -> list[Landmark]:
    """Return what can be seen and measured from: the pith, the ends of cracks, the middles of other defects."""
    found = []
    if face.pith is not None and face.pith.inside:
        found.append(Landmark("", "pith", face.pith.point, face.pith.standard_error))
    for crack in face.cracks:
        if crack.status in ("seen", "added"):
            inner, outer = seen_ends(crack)
            found.append(Landmark("", f"inner end of {crack.id}", inner, max(crack.standard_error, 1.0)))
            found.append(Landmark("", f"outer end of {crack.id}", outer, max(crack.standard_error, 1.0)))
    for defect in face.defects:
        if defect.status in ("seen", "added"):
            x, y = np.mean(defect.outline, axis=0)
            name = f"middle of {DEFECT_NAMES[defect.kind]} {defect.id}"
            found.append(Landmark("", name, (float(x), float(y)), max(defect.standard_error, 1.5)))
    return found


def seen_ends(crack: Crack) -> tuple[Point, Point]:
    """Return where a crack is seen to begin and end: its path without the margins added at the tips.

    Those open nowhere; an end at the edge of the wood has none.
    """
    path = np.asarray(crack.path, dtype=float)
    shown = np.flatnonzero(crack.widths)
    if len(crack.widths) == len(path) and len(shown) > 1:
        (x0, y0), (x1, y1) = path[shown[0]], path[shown[-1]]
        return (float(x0), float(y0)), (float(x1), float(y1))
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    margin = min(crack.tip_margin, 0.4 * float(run[-1]))
    ends = [tuple(float(np.interp(at, run, path[:, k])) for k in (0, 1)) for at in (margin, run[-1] - margin)]
    return (ends[0][0], ends[0][1]), (ends[1][0], ends[1][1])


def _spread(bearings: NDArray[np.float64], errors: NDArray[np.float64], most: int) -> list[int]:
    """Return the landmarks to use: the pair whose arcs cross most squarely for their error, then the next best."""
    if len(bearings) < 2:
        return []

    square = np.abs(np.sin(bearings[:, None] - bearings))
    worth = square / np.hypot(errors[:, None], errors)
    chosen = [int(i) for i in np.unravel_index(np.argmax(worth), worth.shape)]
    if square[chosen[0], chosen[1]] < SQUAREST:
        return []
    while len(chosen) < min(most, len(bearings)):
        least = worth[:, chosen].min(axis=1)
        least[chosen] = -1.0
        chosen.append(int(np.argmax(least)))
    return sorted(chosen)


def _lettered(marks: Sequence[Landmark]) -> tuple[Landmark, ...]:
    return tuple(replace(mark, letter=chr(ord("A") + i)) for i, mark in enumerate(marks))
