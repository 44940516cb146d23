"""What was found on the face, drawn over its ground."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import Crack, Defect, Face
from photonest.report import style
from photonest.report.ground import Ground
from photonest.report.marks import Label, cross
from photonest.report.page import Page
from photonest.report.units import Units, brief, sixteenths, told
from photonest.report.words import DEFECT_NAMES, defect_size, length, twice_error

CRACK_STROKES = {
    "seen": style.CRACK, "added": style.CRACK, "possible": style.POSSIBLE, "dismissed": style.DISMISSED
}  # fmt: skip
MOST_LENGTHS, MOST_NAMES = 12, 24
"""Cracks told with their length, and told at all, on the picture; the longest first."""


def draw_edges(page: Page, ground: Ground, face: Face) -> None:
    """Draw the outline, and the edge of the wood where bark is told apart."""
    page.line(ground.to_page(face.outline.points), style.BARK_EDGE, closed=True, clip=ground.frame)
    if face.outline.under_bark is not None:
        page.line(ground.to_page(face.outline.under_bark), style.WOOD_EDGE, closed=True, clip=ground.frame)


def draw_defects(page: Page, ground: Ground, face: Face, units: Units | None = "mm") -> list[Label]:
    """Draw cracks and other defects; return their labels, the longest cracks first; no units: without lengths."""
    edges: dict[str, list[NDArray[np.float64]]] = defaultdict(list)
    for defect in face.defects:
        edges[defect.status].append(ground.to_page(defect.outline))
    page.lines(edges["dismissed"], style.DISMISSED, closed=True, clip=ground.frame)
    page.areas(edges["possible"], style.DOUBTFUL, clip=ground.frame)
    page.lines(edges["possible"], style.DOUBTFUL_EDGE, closed=True, clip=ground.frame)
    page.areas(edges["seen"] + edges["added"], style.DEFECT, clip=ground.frame)
    labels = [_defect_label(ground, defect) for defect in by_size(face)[:MOST_NAMES]]
    paths: dict[str, list[NDArray[np.float64]]] = defaultdict(list)
    for crack in face.cracks:
        paths[crack.status].append(ground.to_page(crack.path))
    for status in ("dismissed", "possible", "seen", "added"):
        page.lines(paths[status], CRACK_STROKES[status], clip=ground.frame)
    standing = [crack for crack in by_length(face) if crack.status != "dismissed"]
    size = style.BODY if len(standing) <= MOST_LENGTHS else style.SMALL + 0.5
    centre = ground.to_page([pith_or_middle(face)])[0]
    named = [
        _crack_label(ground, crack, centre, size, units if i < MOST_LENGTHS else None)
        for i, crack in enumerate(standing)
    ]
    return named[:MOST_NAMES] + labels


def draw_offset(page: Page, ground: Ground, face: Face, units: Units = "mm") -> list[Label]:
    """Draw the outline's centroid and the pith's offset from it; return its label."""
    middle = ground.to_page([(0.0, 0.0)])[0]
    pith = ground.to_page([pith_or_middle(face)])[0]
    away, labels = pith - middle, []
    if face.pith is not None and face.size.pith_offset is not None and np.hypot(*away) > 2:
        page.line([middle, pith], style.OFFSET, clip=ground.frame)
        words = length(face.size.pith_offset, twice_error(face, face.size.pith_offset, face.pith.standard_error))
        inches = "" if units == "mm" else f" ({sixteenths(face.size.pith_offset)} in)"
        labels.append(Label(words + inches, _pair((pith + middle) / 2), (-away[1], away[0])))
    cross(page, middle, 2.6, style.CENTRE)
    return labels


def draw_pith(page: Page, ground: Ground, face: Face) -> list[Label]:
    """Draw the pith with a ring of twice its error; return its label."""
    if face.pith is None:
        return []
    pith = ground.to_page([face.pith.point])[0]
    error = twice_error(face, float(np.hypot(*face.pith.point)), face.pith.standard_error)
    page.line(ground.circle(face.pith.point, max(error, 1.0)), style.PITH, closed=True)
    page.area(ground.circle(face.pith.point, 0.8), style.Fill(style.VERMILLION, edge=style.PAPER, edge_width=0.8))
    words = "pith" if face.pith.inside else "pith, outside"
    return [Label(words, _pair(pith), _pair(pith - ground.to_page([(0.0, 0.0)])[0]))]


def draw_circles(page: Page, ground: Ground, face: Face, units: Units = "mm") -> list[Label]:
    """Draw the largest circle in the wood and the largest clear one; return their labels."""
    inscribed, clear = face.size.inscribed_circle, face.size.clear_circle
    if clear is None or clear.radius < inscribed.radius - 0.5:
        page.line(ground.circle(inscribed.centre, inscribed.radius), style.INSCRIBED, closed=True, clip=ground.frame)
    if clear is None or clear.radius <= 0:
        return []
    edge = ground.circle(clear.centre, clear.radius)
    page.line(edge, style.CLEAR, closed=True, clip=ground.frame)
    lowest = edge[int(np.argmax(edge[:, 1]))]
    return [Label(f"clear Ø {brief(2 * clear.radius, units)}", _pair(lowest), (0.0, 1.0))]


def by_length(face: Face) -> list[Crack]:
    """Return the cracks, the longest first; possible ones after seen ones of any length, dismissed ones last."""
    rank = {"seen": 0, "added": 0, "possible": 1, "dismissed": 2}
    return sorted(face.cracks, key=lambda crack: (rank[crack.status], -crack.length))


def by_size(face: Face) -> list[Defect]:
    """Return the defects that stand, those seen before possible ones, the widest first."""
    standing = [defect for defect in face.defects if defect.status != "dismissed"]
    return sorted(standing, key=lambda defect: (defect.status == "possible", -defect_size(defect)[0]))


def points_to_show(ground: Ground, face: Face) -> NDArray[np.float64]:
    """Return points on the page that labels should not hide: along the cracks, and about the pith and the centroid."""
    parts = [dense(ground.to_page(c.path), 1.5) for c in face.cracks if c.status != "dismissed"]
    parts.append(np.repeat(ground.to_page([(0.0, 0.0)]), 8, axis=0))
    if face.pith is not None:
        parts.append(np.repeat(ground.to_page([face.pith.point]), 20, axis=0))
    return np.vstack(parts)


def dense(line: ArrayLike, step: float) -> NDArray[np.float64]:
    """Return points along a line at most about `step` apart, shape (n, 2)."""
    points = np.asarray(line, dtype=float)
    run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    stops = np.linspace(0.0, run[-1], max(2, int(run[-1] / step) + 1))
    return np.column_stack([np.interp(stops, run, points[:, 0]), np.interp(stops, run, points[:, 1])])


def pith_or_middle(face: Face) -> tuple[float, float]:
    """Return the pith, or the centroid where there is none."""
    return face.pith.point if face.pith is not None else (0.0, 0.0)


def _crack_label(ground: Ground, crack: Crack, centre: NDArray[np.float64], size: float, units: Units | None) -> Label:
    """Return the label of a crack: its name, and its length in those units."""
    path = ground.to_page(crack.path)
    outer = path[int(np.argmax(np.hypot(*(path - centre).T)))]
    words = f"{crack.id}: {told(crack.length, units)}" if units else crack.id
    if crack.status == "possible" and units:
        words += " ?"
    return Label(words, _pair(outer), _pair(outer - centre), dark=crack.status != "possible", size=size)


def _defect_label(ground: Ground, defect: Defect) -> Label:
    middle = ground.to_page(defect.outline).mean(axis=0)
    doubt = " ?" if defect.status == "possible" else ""
    return Label(f"{defect.id}: {DEFECT_NAMES[defect.kind]}{doubt}", _pair(middle), (1.0, -1.0), dark=not doubt)


def _pair(point: ArrayLike) -> tuple[float, float]:
    x, y = np.asarray(point, dtype=float)
    return float(x), float(y)
