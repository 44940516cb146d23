"""The nest over the photo: rims from above, or, in the end of a log, sections."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import Bowl, Face, Nest, Photo, Plan
from photonest.report import style
from photonest.report.findings import MOST_LENGTHS, draw_defects, draw_edges, draw_pith, points_to_show
from photonest.report.ground import Ground, photo_ground, plain_ground, points_of_interest
from photonest.report.marks import Label, cross, draw_labels, scale_bar
from photonest.report.page import Box, Page
from photonest.report.section import wall_ring
from photonest.report.units import Units, brief

TOP_VIEW_ANGLES = (-50.0, -130.0, 130.0, 50.0, 0.0)
LEAST_ROOM = {"inch": 1200.0, "mm": 600.0}
"""Of the picture for each label that tells a size, in mm²: with less they hide each other and the marks."""


def draw_nest_on_face(
    page: Page,
    photo: Photo | None,
    face: Face,
    plan: Plan,
    box: Box,
    units: Units = "mm",
    also: Callable[[Page, Ground, Units | None], list[Label]] = lambda _page, _ground, _units: [],
) -> float:
    """Draw the nest over the photo, or over the outline alone; return where what follows may start.

    Parameters
    ----------
    also : callable
        Draws more over it, and returns the labels of that, in the units it is given; they come before all others.
    """
    ground = ground_in(photo, face, box)
    cracks = sum(crack.status != "dismissed" for crack in face.cracks)
    told = sum(len(nest.bowls) for nest in plan.nests) + min(cracks, MOST_LENGTHS)
    on_labels = label_units(ground.frame, told, units)
    ground.lay(page, face.outline.points)
    if photo is None:
        page.area(ground.to_page(face.outline.points), style.Fill("#e9dcc3"))
    draw_edges(page, ground, face)
    labels: list[Label] = []
    for nest in plan.nests:
        labels += (_draw_lying if plan.stock.kind == "log" else _draw_standing)(page, ground, nest, on_labels)
    first = also(page, ground, on_labels)
    defects, pith = draw_defects(page, ground, face, on_labels), draw_pith(page, ground, face)
    bar = scale_bar(page, ground, face.scale.standard_error_pct)
    draw_labels(page, [*first, *labels, *pith, *defects], ground.frame.grown(-1), points_to_show(ground, face), [bar])
    return ground.frame.bottom


def label_units(frame: Box, labels: int, units: Units) -> Units | None:
    """Return the units of sizes on labels: mm where a picture is too small for inches, None where for any size.

    >>> [label_units(Box(0, 0, side, side), 11, "inch") for side in (120, 90, 75)]
    ['inch', 'mm', None]
    """
    choices: tuple[Units, ...] = ("mm",) if units == "mm" else ("inch", "mm")
    return next((each for each in choices if frame.width * frame.height >= LEAST_ROOM[each] * labels), None)


def _bowl_words(bowl: Bowl, units: Units | None) -> str:
    return str(bowl.number) if units is None else f"{bowl.number}: Ø {brief(bowl.rim_diameter, units)}"


def ground_in(photo: Photo | None, face: Face, box: Box) -> Ground:
    """Return the ground of a face at the top of a box, over the photo where there is one."""
    return plain_ground(points_of_interest(face), box) if photo is None else photo_ground(photo, face, box)


def half_number(plan: Plan, nest: Nest) -> int:
    """Return which half of a log a nest is in, from 1."""
    return next(number for number, other in enumerate(plan.nests, start=1) if other is nest)


def nest_name(plan: Plan, nest: Nest) -> str:
    """Return the half a nest belongs to, empty where there is but one."""
    return f", half {half_number(plan, nest)}" if len(plan.nests) > 1 else ""


def _draw_standing(page: Page, ground: Ground, nest: Nest, units: Units | None) -> list[Label]:
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
                _bowl_words(bowl, units),
                (float(at[0]), float(at[1])),
                tuple(way.tolist()),
                dark=True,
            )
        )
    middle = ground.to_page([centre])[0]
    cross(page, middle, 5, style.CENTRE)
    labels.append(Label("axis", (float(middle[0]), float(middle[1])), (-1.0, 1.0)))
    return labels


def _draw_lying(page: Page, ground: Ground, nest: Nest, units: Units | None) -> list[Label]:
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
        labels.append(Label(_bowl_words(bowl, units), (float(at[0]), float(at[1])), dark=True))
    page.line(to_page([(0, -6), (0, nest.bowls[0].depth + 6)]), style.AXIS_LINE)
    reach = nest.bowls[0].rim_diameter / 2 + 6
    page.line(to_page([(-reach, 0), (reach, 0)]), style.RULE)
    return labels
