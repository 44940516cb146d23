"""Full-size templates: one for each cut, for what is turned by hand, and to mark the face with."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import Bowl, Cut, Face, Nest, Plan, Points
from photonest.report import style
from photonest.report.book import Paper
from photonest.report.findings import MOST_NAMES, by_length, by_size, dense
from photonest.report.marking import rip_frame, rip_line
from photonest.report.nest_view import nest_name
from photonest.report.page import Box, Page, line_height, text_width
from photonest.report.piece_sheet import saw_diameter
from photonest.report.section import groove_edge
from photonest.report.setup_sheet import refuse_unsafe
from photonest.report.tiles import Drawing, as_pdf, as_svg
from photonest.report.units import Units, at_least, told

EDGE = style.Stroke(style.INK, 0.9)
OTHER = style.Stroke(style.QUIET, 0.6, dash=(5, 2))
POSSIBLE = style.Stroke(style.INK, 1.6, dash=(3, 2))
AXIS = style.Stroke(style.INK, 0.6, dash=(12, 2, 2, 2))
MARGIN = 3.0
LABEL = 11.0
CLEAR = 8.0
"""Distance in mm at which a crack no longer disturbs words."""


def templates(
    face: Face,
    plan: Plan,
    paper: Paper = "A4",
    *,
    units: Units = "mm",
    wall_need: Callable[[float], float] | None = None,
) -> dict[str, bytes]:
    """Return full-size templates as files, PDF and SVG, by file name.

    Parameters
    ----------
    face : Face
        The face that the plan was made for.
    plan : Plan
        What is to be cut.
    paper : {"A4", "Letter"}
        Paper of the PDFs: what is larger is spread over several sheets that overlap. The SVGs are in one piece.
    units : {"mm", "inch"}
        Millimetres, or inches in sixteenths beside them.
    wall_need : callable or None
        The wall that drying needs, from the rim radius, where the plan was made with it.

    Raises
    ------
    UnsafePlanError
        If the plan breaks a rule of safe coring.
    """
    refuse_unsafe(face, plan, wall_need)
    files: dict[str, bytes] = {}
    with style.drawing_settings():
        for name, drawing in _drawings(face, plan, units):
            files[f"{name}.pdf"] = as_pdf(drawing, paper)
            files[f"{name}.svg"] = as_svg(drawing)
    return files


def _drawings(face: Face, plan: Plan, units: Units) -> Iterator[tuple[str, Drawing]]:
    yield "template-face", face_drawing(face, plan, units)
    for k, nest in enumerate(plan.nests, start=1):
        half = f"half-{k}-" if len(plan.nests) > 1 else ""
        words = nest_name(plan, nest)
        yield f"template-{half}outside", outside_drawing(nest.bowls[0], units, words)
        for cut, bowl in zip(nest.cuts, nest.bowls, strict=False):
            yield f"template-{half}cut-{cut.number}", cut_drawing(cut, bowl, units, words)
        yield f"template-{half}inside", inside_drawing(nest.bowls[-1], units, words)


def cut_drawing(cut: Cut, bowl: Bowl, units: Units, words: str = "") -> Drawing:
    """Return the template of a cut, in the half-plane: rho to the right, h down."""
    c, h = cut.pivot
    outer = np.asarray(bowl.outer, dtype=float)
    left, right = min(c, 0.0) - 6, float(outer[:, 0].max()) + MARGIN
    top, bottom = min(h, 0.0) - 8, bowl.depth + MARGIN

    def draw(page: Page) -> None:
        page.line([(0.0, top), (0.0, bottom)], AXIS)
        page.line([(left, 0.0), (right, 0.0)], AXIS)
        page.line(outer, OTHER)
        page.line(groove_edge(cut, -cut.kerf / 2), OTHER)
        page.line(groove_edge(cut, cut.kerf / 2), EDGE)
        _cross(page, cut.pivot)
        page.text(right - 2, -1.5, "rim plane", size=LABEL, across="right")
        page.text(1.5, (cut.axis_depth + cut.kerf / 2 + bowl.depth) / 2 + 1.5, "axis", size=LABEL)
        level = h + 4 if h < -16 else 6.0
        page.text(max(c, 0) + 8, level, f"pivot: {told(-h, units, 1)} in front,", size=LABEL)
        page.text(max(c, 0) + 8, level + 5, _offset_words(c, units), size=LABEL)
        x, y = groove_edge(cut, cut.kerf / 2)[45]
        page.text(x - 16, y - 11, f"inside of bowl {bowl.number}", size=LABEL, across="right")
        page.line([(x - 15, y - 12), (x, y)], style.HAIRLINE)
        x, y = outer[len(outer) // 3]
        page.text(x - 6, y, "wall", size=LABEL, across="right")

    title = f"Cut {cut.number}{words}: {cut.cutter}, inside of bowl {bowl.number}"
    note = "Rim line along the face, axis on the lathe's: the pivot stands at the cross."
    return Drawing(title, Box(left, top, right - left, bottom - top).corners, note, draw)


def outside_drawing(bowl: Bowl, units: Units, words: str = "") -> Drawing:
    """Return the template of the outside of the first bowl, which is turned by hand."""
    title = f"Outside of bowl {bowl.number}{words}: rim Ø {told(bowl.rim_diameter, units)}"
    note = "Cut along the thick line and hold it against the outside, the lathe stopped."
    foot = f"foot Ø {told(bowl.foot_diameter, units)}"
    return _by_hand(bowl, title, note, thick=bowl.outer, thin=(), flat=foot)


def inside_drawing(bowl: Bowl, units: Units, words: str = "") -> Drawing:
    """Return the template of the inside of the last bowl, which is hollowed by hand."""
    title = f"Inside of bowl {bowl.number}{words}: wall {told(bowl.wall_min, units, 1)}"
    note = "Cut along the thick line and hold it into the hollow, the lathe stopped."
    floor = f"floor {told(bowl.inner[-1][1], units, 1)} deep"
    return _by_hand(bowl, title, note, thick=bowl.inner, thin=bowl.outer, flat=floor)


def _by_hand(bowl: Bowl, title: str, note: str, *, thick: Points, thin: Points, flat: str) -> Drawing:
    """Return a template along the thick line, which ends in a flat that is named below the drawing."""
    left, right = -6.0, bowl.rim_diameter / 2 + MARGIN
    top, bottom = -8.0, bowl.depth + MARGIN + 6

    def draw(page: Page) -> None:
        page.line([(0.0, top), (0.0, bowl.depth + MARGIN)], AXIS)
        page.line([(left, 0.0), (right, 0.0)], AXIS)
        if thin:
            page.line(thin, OTHER)
        page.line(thick, EDGE)
        page.text(4, -1.5, "rim plane", size=LABEL)
        page.text(1.5, 12, "axis", size=LABEL)
        page.line([(4.0, thick[-1][1]), (4.0, bottom - 4.5)], style.HAIRLINE)
        page.text(4.0, bottom - 1, flat, size=LABEL)

    return Drawing(title, Box(left, top, right - left, bottom - top).corners, note, draw)


def face_drawing(face: Face, plan: Plan, units: Units) -> Drawing:
    """Return the template that is laid on the face to mark it: the edge, pith and cracks show which way round."""
    edge = np.asarray(face.outline.points, dtype=float)
    middle = edge.mean(axis=0)
    away = edge - middle
    ring = edge + MARGIN * away / np.hypot(*away.T)[:, None]

    def draw(page: Page) -> None:
        page.line(edge, OTHER, closed=True)
        if face.outline.under_bark is not None:
            page.line(face.outline.under_bark, style.Stroke(style.QUIET, 0.6, dash=(2, 2)), closed=True)
        _draw_wood(page, face)
        for nest in plan.nests:
            (_draw_rip if plan.stock.kind == "log" else _draw_circle)(page, face, plan, nest, units)

    title = f"Face of {face.photo.file}, as the photo shows it"
    note = "Join the sheets at their crosses. Edge, pith and cracks must lie on those of the wood."
    return Drawing(title, ring, note, draw)


def _draw_wood(page: Page, face: Face) -> None:
    """Draw pith and cracks, to lay the sheet the right way round."""
    cracks = [crack for crack in by_length(face) if crack.status != "dismissed"]
    page.lines([crack.path for crack in cracks if crack.status != "possible"], style.Stroke(style.INK, 1.6))
    page.lines([crack.path for crack in cracks if crack.status == "possible"], POSSIBLE)
    for crack in cracks[:MOST_NAMES]:
        x, y = crack.path[-1]
        page.text(x + 2, y, crack.id, size=LABEL)
    defects = by_size(face)
    hatched = style.Fill(style.SHADE, hatch="xx", edge=style.INK, edge_width=0.8)
    page.areas([defect.outline for defect in defects], hatched)
    for defect in defects[:MOST_NAMES]:
        x, y = max(defect.outline)
        page.text(x + 2, y, defect.id, size=LABEL)
    if face.pith is not None and face.pith.inside:
        x, y = face.pith.point
        turn = np.linspace(0, 2 * np.pi, 60)
        page.line(np.array([x, y]) + 3 * np.column_stack([np.cos(turn), np.sin(turn)]), EDGE)
        page.text(x + 4, y - 3, "pith", size=LABEL)


def _draw_circle(page: Page, face: Face, plan: Plan, nest: Nest, units: Units) -> None:
    """Draw the circle to saw round, the circle that turns true, and their centre."""
    centre, rim = nest.axis.point[:2], nest.bowls[0].rim_diameter / 2
    _cross(page, centre, arm=8)
    page.line(circle(centre, rim), EDGE, closed=True)
    saw = saw_diameter(plan, nest)
    page.line(circle(centre, saw / 2), OTHER, closed=True)
    x, y = centre
    page.text(x, y + 13, f"centre; rim Ø {told(2 * rim, units)}", size=LABEL, across="center")
    page.text(x, y + 18, f"saw round the dashed Ø {at_least(saw, units)}", size=LABEL, across="center")


def _draw_rip(page: Page, face: Face, plan: Plan, nest: Nest, units: Units) -> None:
    """Draw a rip line and the lathe's axis on the end of a log."""
    line, (_, into) = rip_line(face, nest), rip_frame(face, nest)
    page.line(line, EDGE)
    _write_beside(page, f"rip line{nest_name(plan, nest)}", line, into, face)
    start, down = np.asarray(nest.axis.point[:2]), np.asarray(nest.axis.direction[:2])
    page.line([start, start + nest.bowls[0].depth * down], AXIS)
    _cross(page, start)


def _write_beside(page: Page, words: str, line: NDArray[np.float64], into: NDArray[np.float64], face: Face) -> None:
    """Write along a line, on the side that `into` points to, where it hides no crack."""
    start, end = line if line[1, 0] >= line[0, 0] else line[::-1]  # to be read from left to right
    along = (end - start) / np.hypot(*(end - start))
    high, wide = line_height(LABEL), text_width(words, LABEL)
    below = along[0] * into[1] - along[1] * into[0] > 0
    beside = start + into * (high if below else 0.4 * high)
    places = beside + np.linspace(0.08, 0.72, 9)[:, None] * (end - start)
    x, y = places[int(np.argmax([min(_nearest_crack(face, at, wide * along), CLEAR) for at in places]))]
    page.text(x, y, words, size=LABEL, turned=float(np.degrees(np.arctan2(-along[1], along[0]))))


def _nearest_crack(face: Face, start: NDArray[np.float64], step: NDArray[np.float64]) -> float:
    """Return how far the nearest crack that stands is from the line from a point by a step, in mm."""
    standing = [dense(crack.path, 2.0) for crack in face.cracks if crack.status != "dismissed"]
    if not standing:
        return np.inf
    away = np.vstack(standing) - start
    share = np.clip(away @ step / (step @ step), 0, 1)
    return float(np.hypot(*(away - share[:, None] * step).T).min())


def circle(centre: ArrayLike, radius: float) -> NDArray[np.float64]:
    """Return a circle as points, so many that its chords lie within 0.01 mm of it for radii up to 250 mm."""
    turn = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    return np.asarray(centre) + radius * np.column_stack([np.cos(turn), np.sin(turn)])


def _cross(page: Page, at: ArrayLike, arm: float = 5.0) -> None:
    x, y = np.asarray(at, dtype=float)
    thin = style.Stroke(style.INK, 0.6)
    page.line([(x - arm, y), (x + arm, y)], thin)
    page.line([(x, y - arm), (x, y + arm)], thin)


def _offset_words(offset: float, units: Units) -> str:
    if abs(offset) < 0.05:
        return "on the axis"
    return f"{told(abs(offset), units, 1)} {'toward the cut' if offset > 0 else 'away from the cut'}"
