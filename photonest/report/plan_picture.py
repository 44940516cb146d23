"""The picture of a plan: the nest over the photo, and the section through its axis."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import Bowl, Face, Nest, Photo, Plan
from photonest.report import style
from photonest.report.face_picture import EDGE, TALLEST, WIDTH, draw_title, draw_warnings
from photonest.report.findings import draw_defects, draw_edges, draw_pith, points_to_show
from photonest.report.ground import Ground, photo_ground, plain_ground, points_of_interest
from photonest.report.marks import Label, chip_size, cross, draw_chip, draw_labels, scale_bar
from photonest.report.page import Box, Format, Page, line_height, save
from photonest.report.section import draw_section, wall_ring

TOP_VIEW_ANGLES = (-50.0, -130.0, 130.0, 50.0, 0.0)


def plan_picture(photo: Photo | None, face: Face, plan: Plan, *, format: Format = "png") -> bytes:
    """Return a picture of a plan, as a file.

    Parameters
    ----------
    photo : Photo or None
        The photo that the face was measured in; without it the nest is drawn on plain paper.
    face : Face
        The face that the plan was made for.
    plan : Plan
        What is to be cut.
    format : {"png", "svg", "pdf"}
        Kind of file.

    Raises
    ------
    PhotoError
        If the photo is not the one that the face was measured in.
    """
    with style.drawing_settings():
        page = Page(WIDTH, TALLEST)
        y = draw_title(page, nest_title(plan), face.photo.file)
        y = draw_warnings(page, plan.warnings, y)
        y = draw_nest_on_face(page, photo, face, plan, Box(EDGE, y, page.width - 2 * EDGE, 170.0))
        for nest in plan.nests:
            y += draw_section(page, plan, nest, Box(EDGE, y + 3, page.width - 2 * EDGE, 130.0)) + 3
            y = draw_bowl_table(page, nest, y + 2)
            y = draw_cut_table(page, nest, y + 3)
        y = page.paragraph(EDGE, y + 2, " ".join(notes(plan)), page.width - 2 * EDGE, size=style.SMALL)
        page.trim(y + 4)
        return save(page, format)


def notes(plan: Plan) -> list[str]:
    """Return the sentences that explain a plan's figures."""
    words = ["Clear by: from the nearest defect, twice the standard error already taken off."]
    if any(nest.cuts for nest in plan.nests):
        words += [
            "Stand-off: pivot in front of the rim plane.",
            "Offset: pivot beside the axis; near is the side being cut, far the other.",
        ]
    gap = plan.bound.gap_pct
    words.append("No plan can do better." if gap < 0.05 else f"No plan can do better by more than {gap:.1f} %.")
    return words


def nest_title(plan: Plan) -> str:
    """Return the heading of a plan."""
    bowls = plan.score.bowls
    return "One bowl" if bowls == 1 else f"{bowls} bowls"


def draw_nest_on_face(page: Page, photo: Photo | None, face: Face, plan: Plan, box: Box) -> float:
    """Draw the nest over the photo, or over the outline alone; return where what follows may start."""
    ground = ground_in(photo, face, box)
    ground.lay(page, face.outline.points)
    if photo is None:
        page.area(ground.to_page(face.outline.points), style.Fill("#e9dcc3"))
    draw_edges(page, ground, face)
    labels: list[Label] = []
    for nest in plan.nests:
        labels += (_draw_lying if plan.stock.kind == "log" else _draw_standing)(page, ground, nest)
    cracks, pith = draw_defects(page, ground, face), draw_pith(page, ground, face)[:1]
    bar = scale_bar(page, ground, face.scale.standard_error_pct)
    draw_labels(page, [*labels, *pith, *cracks], ground.frame.grown(-1), points_to_show(ground, face), [bar])
    return ground.frame.bottom


def ground_in(photo: Photo | None, face: Face, box: Box) -> Ground:
    """Return the ground of a face at the top of a box, over the photo where there is one."""

    def made(where: Box) -> Ground:
        return plain_ground(points_of_interest(face), where) if photo is None else photo_ground(photo, face, where)

    high = made(box).frame.height
    return made(Box(box.left, box.top, box.width, high))


def _draw_standing(page: Page, ground: Ground, nest: Nest) -> list[Label]:
    """Draw the rims of bowls whose axis stands square to the face; return their labels."""
    centre = np.asarray(nest.axis.point[:2])
    labels = []
    for bowl in nest.bowls:
        rim, mouth = bowl.rim_diameter / 2, bowl.inner[0][0]
        fill = style.bowl_fill(bowl.number)
        page.area(ground.circle(centre, rim), style.Fill(fill.colour, 0.5), holes=[ground.circle(centre, mouth)])
        page.line(
            ground.circle(centre, rim), style.Stroke(style.PAPER, 1.0, casing=style.INK, casing_width=1.0), closed=True
        )
        page.line(ground.circle(centre, mouth), style.Stroke(style.INK, 0.9), closed=True)
        turn = np.radians(TOP_VIEW_ANGLES[(bowl.number - 1) % 5])
        way = np.array([np.cos(turn), np.sin(turn)])
        at = ground.to_page([centre + (rim + mouth) / 2 * way])[0]
        labels.append(
            Label(
                f"{bowl.number}: Ø {bowl.rim_diameter:.0f}",
                (float(at[0]), float(at[1])),
                tuple(way.tolist()),
                dark=True,
            )
        )
    middle = ground.to_page([centre])[0]
    cross(page, middle, 5, style.CENTRE)
    labels.append(Label("axis", (float(middle[0]), float(middle[1])), (-1.0, 1.0)))
    return labels


def _draw_lying(page: Page, ground: Ground, nest: Nest) -> list[Label]:
    """Draw the sections of bowls whose axis lies in the face; return their labels."""
    origin, down = np.asarray(nest.axis.point[:2]), np.asarray(nest.axis.direction[:2])
    across = np.array([down[1], -down[0]])

    def to_page(points: ArrayLike, side: int = 1) -> NDArray[np.float64]:
        rho, h = np.atleast_2d(np.asarray(points, dtype=float)).T
        return ground.to_page(origin + side * rho[:, None] * across + h[:, None] * down)

    labels = []
    for bowl in nest.bowls:
        fill = style.bowl_fill(bowl.number)
        page.area(wall_ring(bowl, to_page), style.Fill(fill.colour, 0.6, edge=style.INK, edge_width=1.1))
        at = to_page([bowl.outer[len(bowl.outer) // 4]])[0]
        labels.append(Label(f"{bowl.number}: Ø {bowl.rim_diameter:.0f}", (float(at[0]), float(at[1])), dark=True))
    page.line(to_page([(0, -6), (0, nest.bowls[0].depth + 6)]), style.AXIS_LINE)
    reach = nest.bowls[0].rim_diameter / 2 + 6
    page.line(to_page([(-reach, 0), (reach, 0)]), style.RULE)
    return labels


def draw_bowl_table(page: Page, nest: Nest, y: float) -> float:
    """Write a line for each bowl; return where what follows may start."""
    rows = [
        (str(b.number), *(f"{value:.0f} mm" for value in (b.rim_diameter, b.depth, b.wall_min, b.base_min)), *_holds(b))
        for b in nest.bowls
    ]
    return table(page, y, ("bowl", "rim Ø", "depth", "wall", "base", "holds", "clear by"), rows)


def draw_cut_table(page: Page, nest: Nest, y: float) -> float:
    """Write a line for each cut; return where what follows may start."""
    rows = [
        (
            *(str(c.number), c.cutter, f"{-c.pivot[1]:.1f} mm", offset_words(c.pivot[0]), f"{c.axis_depth:.0f} mm"),
            *(f"{c.start_rpm:.0f}", f"{c.top_rpm:.0f} rpm"),
        )
        for c in nest.cuts
    ]
    return table(page, y, ("cut", "cutter", "stand-off", "offset", "depth", "start", "never over"), rows) if rows else y


def table(page: Page, y: float, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> float:
    """Write a table whose first column is a number on a plate; return where what follows may start."""
    stops = np.linspace(EDGE + 15, page.width - EDGE, len(heads))
    y += line_height(style.SMALL)
    for head, x in zip(heads, stops, strict=True):
        page.text(x, y - 1, head, size=style.SMALL, colour=style.QUIET, across="right")
    page.line([(EDGE, y + 0.4), (page.width - EDGE, y + 0.4)], style.RULE)
    for number, *cells in rows:
        y += line_height(style.BODY) + 1.6
        wide, high = chip_size(number)
        draw_chip(page, Box(EDGE + 4, y - high + 0.6, wide, high), number, dark=True)
        for cell, x in zip(cells, stops[1:], strict=True):
            page.text(x, y - 1.2, cell, bold=True, across="right")
    return y + 1


def offset_words(offset: float) -> str:
    """Return a pivot's offset from the axis and the side it lies on.

    >>> offset_words(2.66), offset_words(-11.5), offset_words(0.0)
    ('2.7 near', '11.5 far', 'none')
    """
    if abs(offset) < 0.05:
        return "none"
    return f"{abs(offset):.1f} {'near' if offset > 0 else 'far'}"


def _holds(bowl: Bowl) -> tuple[str, str]:
    """Return what a bowl holds, and how far it keeps from the nearest defect."""
    near = "none near" if bowl.clearance >= 1000 else f"{bowl.clearance:.0f} mm"
    return f"{bowl.capacity_ml / 1000:.1f} l", near
