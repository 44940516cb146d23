"""The page of the piece: the nest over the photo, and how to mark the wood for it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from photonest.model import Face, Nest, Photo, Plan
from photonest.report import style
from photonest.report.book import Book
from photonest.report.ground import Ground
from photonest.report.marking import (
    Landmark,
    centre_landmarks,
    edge_distances,
    line_landmarks,
    rip_frame,
    rip_line,
)
from photonest.report.marks import Label
from photonest.report.nest_view import draw_nest_on_face, half_number
from photonest.report.page import Box, Page
from photonest.report.units import Units, at_least, at_most, retold, told
from photonest.report.words import counted, give_or_take, twice_error, warnings_of

MANY = 4
"""Warnings from which their type is set smaller."""
LEAST_PHOTO = 75.0
"""Height of the picture, in mm: rather a small one than a step alone on the next page."""
FINEST = 0.5
"""What can be marked on wood, in mm."""


def piece_pages(book: Book, photo: Photo | None, face: Face, plan: Plan, units: Units) -> None:
    """Write the pages of the piece: warnings, the nest over the photo, and how to mark the wood."""
    book.start("The piece")
    warnings = [*warnings_of(face, plan)]
    if photo is None:
        warnings.append(f"The photo {face.photo.file} was not at hand: drawn from the measurements alone.")
    book.warnings(
        [retold(words, units) for words in warnings], size=style.BODY if len(warnings) < MANY else style.SMALL
    )
    book.paragraph(_stock_words(plan, units), size=style.HEADING, bold=True)
    if assumed := _assumed(plan, units):
        book.paragraph(assumed)
    log = plan.stock.kind == "log"
    marks = () if log else centre_landmarks(face, plan.nests[0].axis.point[:2])
    steps = (
        [s for nest in plan.nests for s in _log_steps(face, plan, nest, units)]
        if log
        else _steps(face, plan, marks, units)
    )
    wanted = book.height_of(steps, indent=11) + 1.4 * len(steps) + 14
    height = float(np.clip(book.rest - wanted, LEAST_PHOTO, 150))
    book.need(height)

    def also(page: Page, ground: Ground, on_labels: Units | None) -> list[Label]:
        if log:
            return [
                label
                for nest in plan.nests
                for label in _draw_rip_line(page, ground, face, nest, half_number(plan, nest))
            ]
        return _draw_landmarks(page, ground, marks, plan.nests[0].axis.point[:2], on_labels)

    book.y = draw_nest_on_face(
        book.page, photo, face, plan, Box(book.page.left, book.y + 2, book.page.room, height), units, also
    )
    book.heading("Mark the wood")
    book.steps(steps)


def _stock_words(plan: Plan, units: Units) -> str:
    stock, bowls = plan.stock, sum(len(nest.bowls) for nest in plan.nests)
    thick = f"{told(stock.thickness or 0, units)} thick once its faces are flat"
    size = f"{told(stock.length, units)} long" if stock.length else thick
    rim = " The rims lie on the far face." if stock.rim == "far" else ""
    return f"{stock.kind.capitalize()}, {size}: {counted(bowls)}.{rim}"


def _assumed(plan: Plan, units: Units) -> str:
    """Return what a log is taken to be where the photo can't show it, empty for other stock."""
    stock = plan.stock
    if stock.kind != "log":
        return ""
    near, far = stock.check_depth, stock.far_check_depth
    beyond = near if far is None else far
    words = ["The rims face the bark."] if stock.rim_towards == "bark" else []
    words.append(
        "Every crack is taken to run all through, but where its depth is told."
        if near is None
        else f"End checks are taken to reach {told(near, units)} into it."
    )
    there = "have no other cracks" if not beyond else f"be checked {told(beyond, units)} deep"
    words.append(f"The far end, which no photo shows, is taken to {there}: look at it before you saw.")
    return " ".join(words)


def _edge(face: Face) -> str:
    """Return what edge distances are taken from."""
    return "edge" if face.outline.under_bark is None else "edge of the bark"


def _steps(face: Face, plan: Plan, marks: Sequence[Landmark], units: Units) -> list[str]:
    """Return how to mark centre and circle on a face that the axis stands square to."""
    centre, bowl = plan.nests[0].axis.point[:2], plan.nests[0].bowls[0]
    steps = []
    if marks:
        arcs = "; ".join(f"{m.letter}, the {m.name}: {told(m.distance, units)} {give_or_take(m.error)}" for m in marks)
        steps.append(f"Swing arcs about {arcs}. They meet at the centre.")
    elif face.pith is not None and face.pith.inside:
        away = float(np.hypot(face.pith.point[0] - centre[0], face.pith.point[1] - centre[1]))
        error = twice_error(face, away, face.pith.standard_error)
        steps.append(f"The centre lies {told(away, units)} {give_or_take(error)} from the pith.")
    edges = ", ".join(f"{name} {told(far, units)}" for name, far in edge_distances(face, centre).items())
    steps.append(
        f"{'Check' if marks else 'Mark the centre'}: from it to the {_edge(face)}, as the photo lies: {edges}."
    )
    circle = at_least(saw_diameter(plan, plan.nests[0]) / 2, units)
    first = f"Draw a circle of {circle} radius about it and saw round that."
    steps.append(first + f" It turns true at Ø {told(bowl.rim_diameter, units)}.")
    return [*steps, *_leeway(plan.nests[0], units)]


def saw_diameter(plan: Plan, nest: Nest) -> float:
    """Return the diameter of the circle to saw about the axis, in mm."""
    return nest.saw_diameter or nest.bowls[0].rim_diameter + 2 * plan.shop.trueing


def _leeway(nest: Nest, units: Units) -> list[str]:
    """Return how exactly the centre must be marked, where that is known."""
    if nest.may_be_off <= 0:
        return []
    near = f"no farther than {at_most(nest.may_be_off, units)} from where it is marked"
    words = (
        f"With the centre {near if nest.may_be_off >= FINEST else 'just as marked'}, every bowl comes out as planned."
    )
    if nest.bowls_kept_off > nest.may_be_off + FINEST:
        words += f" Up to {at_most(nest.bowls_kept_off, units)} off there are as many, some smaller: plan again then."
    return [words]


def _log_steps(face: Face, plan: Plan, nest: Nest, units: Units) -> list[str]:
    """Return how to mark a half's rip line on the end of a log, and its centre along it."""
    through, into = rip_frame(face, nest)
    number, ends = half_number(plan, nest), rip_line(face, nest)
    where = []
    for mark in line_landmarks(face, (float(through[0]), float(through[1])), (into[1], -into[0])):
        side = "away from" if mark.distance > 0 else "toward"
        where.append(
            f"the {mark.name} is {told(abs(mark.distance), units)} {give_or_take(mark.error)} off, {side} the bowls"
        )
    if len(where) < 2:
        where.append(f"as the photo lies it leans {lean(ends[1] - ends[0])}")
    wide, *aside = (float(np.hypot(*(a - b))) for a, b in ((ends[0], ends[1]), (ends[0], through), (ends[1], through)))
    bark = "" if face.outline.under_bark is None else ", bark and all"
    where.append(f"from edge to edge{bark}, M{number} to N{number}, it is {told(wide, units)} long")
    return [
        f"Rip line {number}: {'; '.join(where)}. Saw beside it, on the side away from the bowls.",
        f"Half {number}: centre on the ripped face {told(nest.axis.point[2], units)} from this end, "
        f"{told(aside[0], units)} from M{number}'s edge, {told(aside[1], units)} from N{number}'s. "
        f"Saw round a circle of Ø {at_least(saw_diameter(plan, nest), units)}.",
        *(f"Half {number}: {words}" for words in _leeway(nest, units)),
    ]


def lean(along: NDArray[np.float64]) -> str:
    """Return which way a line leans on the photo (y grows downwards).

    >>> lean(np.array([1.0, -10.0])), lean(np.array([3.0, 3.0])), lean(np.array([0.0, 1.0]))
    ('6° to the right of upright', '45° to the left of upright', '0° to the right of upright')
    """
    x, y = along if along[1] <= 0 else -along
    angle = float(np.degrees(np.arctan2(x, -y)))
    return f"{abs(angle):.0f}° to the {'right' if angle >= 0 else 'left'} of upright"


def _draw_landmarks(
    page: Page, ground: Ground, marks: Sequence[Landmark], centre: Sequence[float], units: Units | None
) -> list[Label]:
    labels = []
    middle = ground.to_page([centre])[0]
    for mark in marks:
        at = ground.to_page([mark.point])[0]
        page.line([middle, at], style.Stroke(style.INK, 1.4, dash=(4, 2), casing=style.PAPER, casing_width=1.0))
        half = (middle + at) / 2
        words = mark.letter if units is None else f"{mark.letter} {told(mark.distance, units)}"
        labels.append(
            Label(
                words, (float(half[0]), float(half[1])), (float(at[1] - middle[1]), float(middle[0] - at[0])), dark=True
            )
        )
    return labels


def _draw_rip_line(page: Page, ground: Ground, face: Face, nest: Nest, number: int) -> list[Label]:
    ends = ground.to_page(rip_line(face, nest))
    page.line(ends, style.Stroke(style.INK, 2.0, dash=(9, 3), casing=style.PAPER))
    away = ends - ends.mean(axis=0)
    return [
        Label(f"{letter}{number}", (float(x), float(y)), (float(dx), float(dy)), dark=True)
        for letter, (x, y), (dx, dy) in zip("MN", ends, away, strict=True)
    ]
