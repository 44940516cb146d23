"""The picture of a plan: the nest over the photo, and the section through its axis."""

from __future__ import annotations

from photonest.model import Face, Nest, Photo, Plan
from photonest.report import style
from photonest.report.blocks import draw_title, draw_warnings, heading, table
from photonest.report.face_picture import TALLEST, WIDTH
from photonest.report.nest_view import draw_nest_on_face, half_number
from photonest.report.page import Box, Format, Page, save
from photonest.report.section import draw_section
from photonest.report.units import Units, retold, sixteenths, stacked
from photonest.report.words import counted, instead, proof, runners_up, warnings_of

NO_DEFECT = 1000.0
"""Clearance of a bowl where there is no defect, as the plan file tells it."""


def plan_picture(photo: Photo | None, face: Face, plan: Plan, *, format: Format = "png", units: Units = "mm") -> bytes:
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
    units : {"mm", "inch"}
        Millimetres, or inches in sixteenths below them.

    Raises
    ------
    PhotoError
        If the photo is not the one that the face was measured in.
    """
    with style.drawing_settings():
        page = Page(WIDTH, TALLEST)
        y = draw_title(page, counted(plan.score.bowls).capitalize(), face.photo.file)
        y = draw_warnings(page, [retold(words, units) for words in warnings_of(face, plan)], y)
        y = draw_nest_on_face(page, photo, face, plan, Box(page.left, y, page.room, 170.0), units)
        for nest in plan.nests:
            if len(plan.nests) > 1:
                y = heading(page, page.left, y + 3, f"Half {half_number(plan, nest)}")
            y += draw_section(page, plan, nest, face.outline.wood, Box(page.left, y + 3, page.room, 130.0), units) + 3
            y = draw_bowl_table(page, nest, y + 2, units)
            y = draw_cut_table(page, nest, y + 3, units)
        others = " ".join(filter(None, [instead(plan, units), *runners_up(plan, units)]))
        for words in filter(None, [" ".join(notes(plan)), others]):
            y = page.paragraph(page.left, y + 2, words, page.room, size=style.SMALL)
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
    return [*words, proof(plan)]


def draw_bowl_table(page: Page, nest: Nest, y: float, units: Units) -> float:
    """Write a line for each bowl; return where what follows may start."""
    rows = [
        (
            str(b.number),
            *(stacked(value, units) for value in (b.rim_diameter, b.depth, b.wall_min, b.base_min)),
            f"{b.capacity_ml / 1000:.1f} l",
            "none near" if b.clearance >= NO_DEFECT else stacked(b.clearance, units),
        )
        for b in nest.bowls
    ]
    return table(page, y, ("bowl", "rim Ø", "depth", "wall", "base", "holds", "clear by"), rows)


def draw_cut_table(page: Page, nest: Nest, y: float, units: Units) -> float:
    """Write a line for each cut; return where what follows may start."""
    rows = [
        (
            *(str(c.number), c.cutter, stacked(-c.pivot[1], units, 1), offset_words(c.pivot[0], units)),
            *(stacked(c.axis_depth, units), f"{c.start_rpm:.0f}", f"{c.top_rpm:.0f} rpm"),
        )
        for c in nest.cuts
    ]
    return table(page, y, ("cut", "cutter", "stand-off", "offset", "depth", "start", "never over"), rows) if rows else y


def offset_words(offset: float, units: Units = "mm") -> str:
    """Return a pivot's offset from the axis and the side it lies on.

    >>> offset_words(2.66), offset_words(-11.5), offset_words(0.0)
    ('2.7 near', '11.5 far', 'none')
    """
    if abs(offset) < 0.05:
        return "none"
    inches = "" if units == "mm" else f"\n{sixteenths(abs(offset))} in"
    return f"{abs(offset):.1f} {'near' if offset > 0 else 'far'}{inches}"
