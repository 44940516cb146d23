"""What finders answer, checked before it is believed, and put together where several answer.

A breach of the contract raises PluginError; the pipeline records it and passes the finder over.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from photonest.model import Crack, Defect, FlatPhoto, Outline, Photo, Pith, PluginError, Point, Scale
from photonest.model.shapes import outline_fault
from photonest.nest import largest_clear_circle
from photonest.rectify import undistort, upright
from photonest.sizes import looks_like_two_pieces

DOUBTFUL_EDGE = 0.05  # standard error of an outline that may hold more than the wood, as a share of its radius


def _breach(what: str) -> PluginError:
    return PluginError(f"It broke its contract: {what}.")


def checked_scale(found: Any, photo: Photo, aim: Point) -> Scale:
    """Return a finder's scale, upright at the aim."""
    if not isinstance(found, Scale):
        raise _breach(f"a Scale was due, not {type(found).__name__}")
    scale = replace(found)  # runs the record's own checks again
    matrix = np.asarray(scale.px_to_mm)
    x, y = undistort(aim, scale.lens)[0]
    if matrix[2] @ [x, y, 1.0] < 0:
        scale = replace(scale, px_to_mm=tuple(tuple(-v for v in row) for row in scale.px_to_mm))  # type: ignore[arg-type]
    return upright(scale, aim)


def checked_outline(found: Any, flat: FlatPhoto) -> Outline:
    """Return a finder's outline: a simple polygon within the photo, its edge under bark inside it."""
    import shapely

    if not isinstance(found, Outline):
        raise _breach(f"an Outline was due, not {type(found).__name__}")
    outline = replace(found)
    if fault := outline_fault(outline):
        raise _breach(f"its {fault}")
    height, width = flat.pixels.shape[:2]
    low, high = flat.to_mm([[-2, -2], [width + 1, height + 1]])
    if not shapely.box(*low, *high).covers(shapely.Polygon(np.asarray(outline.points))):
        raise _breach("its outline leaves the photo")
    return outline


def moved_outline(outline: Outline, dx: float, dy: float) -> Outline:
    """Return the outline with (dx, dy) mm added to every position."""

    def moved(points: Any) -> Any:
        return None if points is None else tuple((float(x + dx), float(y + dy)) for x, y in points)

    return replace(outline, points=moved(outline.points), under_bark=moved(outline.under_bark))


def doubted(outline: Outline) -> Outline:
    """Return the outline, less sure of itself where its shape says that something else may be taken for wood."""
    radius = largest_clear_circle(outline.points).radius
    if outline.set_by == "person" or not looks_like_two_pieces(outline.points, radius):
        return outline
    text = "The outline is not round as wood is: check in the picture that nothing beside the wood is taken for it."
    error = max(outline.standard_error, DOUBTFUL_EDGE * radius)
    return replace(outline, standard_error=error, warnings=(*outline.warnings, text))


def checked_pith(found: Any, outline: Outline) -> Pith:
    """Return a finder's pith, near the piece, and whether it lies inside."""
    import shapely

    if not isinstance(found, Pith):
        raise _breach(f"a Pith was due, not {type(found).__name__}")
    pith = replace(found, point=(float(found.point[0]), float(found.point[1])))
    whole = shapely.Polygon(np.asarray(outline.points))
    distance = whole.distance(shapely.Point(pith.point))
    if distance > 5 * math.sqrt(whole.area):
        raise _breach(f"its pith lies {distance:.0f} mm away from the piece")
    return replace(pith, inside=distance == 0)


def checked_marks(found: Any, outline: Outline) -> tuple[Crack | Defect, ...]:
    """Return a finder's cracks and defects, each in the wood, lengths taken anew.

    What a person dismissed may lie outside: a shadow, say, that an earlier outline took in.
    """
    import shapely

    if isinstance(found, (str, bytes)) or not isinstance(found, Sequence):
        raise _breach(f"a sequence of cracks was due, not {type(found).__name__}")
    whole = shapely.Polygon(np.asarray(outline.points))
    near = whole.buffer(0.02 * math.sqrt(whole.area))
    marks: list[Crack | Defect] = []
    for mark in found:
        if isinstance(mark, Crack):
            mark = replace(mark, path=tuple((float(x), float(y)) for x, y in mark.path))
            line = shapely.LineString(np.asarray(mark.path))
            mark = replace(mark, length=float(line.length))
        elif isinstance(mark, Defect):
            line = shapely.Polygon(np.asarray(mark.outline))
            if not line.is_valid:
                raise _breach(f"a {mark.kind}'s outline is not a simple polygon")
        else:
            raise _breach(f"a Crack or a Defect was due, not {type(mark).__name__}")
        if mark.status != "dismissed" and not near.covers(line):
            raise _breach("one of its marks lies outside the wood")
        marks.append(mark)
    return tuple(marks)


def merge_marks(marks: Sequence[Crack | Defect]) -> tuple[tuple[Crack, ...], tuple[Defect, ...]]:
    """Return cracks and other defects from several finders, each once, numbered by size.

    Of two cracks of which one runs along the other, and not much farther, the surer is kept; so it is with two defects
    of a kind of which one covers most of the other. Marks set by a person are always kept, and come first: what a
    person said of a place stands, whatever kind a finder takes it for. A possible crack seen only in a hole is the
    hole.
    """
    import shapely

    by_trust = sorted(marks, key=lambda mark: (mark.set_by != "person", -mark.confidence, -_size(mark)))
    cracks: list[Crack] = []
    defects: list[Defect] = []
    for mark in by_trust:
        if isinstance(mark, Defect):
            shape = shapely.Polygon(mark.outline)
            same = any(
                (other.kind == mark.kind or other.set_by == "person")
                and shape.intersection(shapely.Polygon(other.outline)).area > 0.5 * shape.area
                for other in defects
            )
            if mark.set_by == "person" or not same:
                defects.append(mark)
            continue
        if mark.set_by == "person" or not any(_runs_along(mark, other) for other in cracks):
            cracks.append(mark)
    holes = [defect for defect in defects if defect.kind == "hole" and defect.status in ("seen", "added")]
    cracks = [crack for crack in cracks if not _only_a_hole(crack, holes)]
    cracks.sort(key=lambda crack: (-crack.length, crack.path))
    defects.sort(key=lambda defect: (-_size(defect), defect.outline))
    return (
        tuple(replace(crack, id=f"c{number}") for number, crack in enumerate(cracks, 1)),
        tuple(replace(defect, id=f"d{number}") for number, defect in enumerate(defects, 1)),
    )


def _runs_along(crack: Crack, other: Crack) -> bool:
    """Tell whether a crack runs along another, and no farther than tips are uncertain: a longer one may have grown."""
    import shapely

    line = shapely.LineString(crack.path)
    length = float(line.length)
    near = max(0.02 * length, 2 * crack.width, 1.0)
    apart = float(line.difference(shapely.LineString(other.path).buffer(near)).length)
    return apart < 0.4 * length and apart <= 2 * max(near, crack.tip_margin, other.tip_margin)


def _only_a_hole(crack: Crack, holes: Sequence[Defect]) -> bool:
    """Tell whether what is seen of a possible crack, its tips' margins left off, lies in one hole."""
    import shapely
    from shapely.ops import substring

    if crack.status != "possible" or crack.set_by == "person" or not holes:
        return False
    line = shapely.LineString(crack.path)
    margin = min(crack.tip_margin, 0.45 * line.length)
    part = substring(line, margin, line.length - margin)
    near = 1.0 + crack.standard_error
    return any(
        part.intersection(shapely.Polygon(hole.outline).buffer(near)).length > 0.8 * part.length for hole in holes
    )


def _size(mark: Crack | Defect) -> float:
    if isinstance(mark, Crack):
        return mark.length
    x, y = np.asarray(mark.outline).T
    return float(np.ptp(x) + np.ptp(y))
