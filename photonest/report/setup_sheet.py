"""The set-up sheet: what a turner carries to the lathe, on paper."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from photonest.model import Face, Nest, Photo, Plan, UnsafePlanError
from photonest.report import cautions, style
from photonest.report.blocks import table
from photonest.report.book import Book, Paper
from photonest.report.cut_sheet import cut_page
from photonest.report.drying_sheet import drying_part
from photonest.report.ground import Ground
from photonest.report.holding import Grip, defects_in_recess, face_recess, first_hold, tenon_of
from photonest.report.marking import Landmark, centre_landmarks, edge_distances, line_landmarks, rip_line
from photonest.report.marks import Label
from photonest.report.nest_view import draw_nest_on_face, half_number
from photonest.report.page import Box, Page, line_height
from photonest.report.section import draw_section
from photonest.report.speeds import turning_speeds
from photonest.report.units import Units, at_least, at_most, stacked, told
from photonest.report.words import all_warnings, twice_error

ORDER = 15.5
MANY = 4
"""Warnings from which their type is set smaller."""
COUNT = ("no bowls", "one bowl", "two bowls", "three bowls", "four bowls", "five bowls")


def setup_sheet(
    photo: Photo | None,
    face: Face,
    plan: Plan,
    *,
    paper: Paper = "A4",
    units: Units = "mm",
    wall_need: Callable[[float], float] | None = None,
) -> bytes:
    """Return the set-up sheet of a plan as a PDF.

    Parameters
    ----------
    photo : Photo or None
        The photo that the face was measured in; without it the sheet is made from the figures, and says so.
    face : Face
        The face that the plan was made for.
    plan : Plan
        What is to be cut.
    paper : {"A4", "Letter"}
        Size of the pages.
    units : {"mm", "inch"}
        Millimetres, or inches in sixteenths beside them.
    wall_need : callable or None
        The wall that drying needs, from the rim radius, where the plan was made with it.

    Raises
    ------
    UnsafePlanError
        If the plan breaks a rule of safe coring: such a plan is never printed.
    PhotoError
        If the photo is not the one that the face was measured in.
    """
    refuse_unsafe(face, plan, wall_need)
    with style.drawing_settings():
        book = Book(paper, face.photo.file)
        _piece_pages(book, photo, face, plan, units)
        for nest in plan.nests:
            _nest_pages(book, face, plan, nest, units)
            for index in range(len(nest.cuts)):
                cut_page(book, plan, nest, index, units, nest_name(plan, nest))
        drying_part(book, plan, units)
        return book.bound(f"Set-up sheet for {face.photo.file}")


def refuse_unsafe(face: Face, plan: Plan, wall_need: Callable[[float], float] | None = None) -> None:
    """Raise UnsafePlanError if the independent check finds fault with a plan."""
    from photonest.nest import check_plan

    faults = check_plan(face, plan, wall_need)
    if faults:
        listed = "; ".join(str(fault) for fault in faults)
        raise UnsafePlanError(f"This plan fails the independent check, so it is not printed: {listed}.", "Plan again.")


def nest_name(plan: Plan, nest: Nest) -> str:
    """Return the half a nest belongs to, empty where there is but one."""
    return f", half {half_number(plan, nest)}" if len(plan.nests) > 1 else ""


def _piece_pages(book: Book, photo: Photo | None, face: Face, plan: Plan, units: Units) -> None:
    book.start("The piece")
    warnings = dict.fromkeys([*plan.warnings, *all_warnings(face)])
    if photo is None:
        warnings[f"The photo {face.photo.file} was not at hand: drawn from the measurements alone."] = None
    book.warnings(list(warnings), size=style.BODY if len(warnings) < MANY else style.SMALL)
    book.paragraph(_stock_words(plan, units), size=style.HEADING, bold=True)
    log = plan.stock.kind == "log"
    marks = () if log else centre_landmarks(face, plan.nests[0].axis.point[:2])
    steps = (
        [s for nest in plan.nests for s in _log_steps(face, plan, nest, units)]
        if log
        else _steps(face, plan, marks, units)
    )
    wanted = book.height_of(steps, indent=11) + 1.4 * len(steps) + 14
    height = float(np.clip(book.rest - wanted, 90, 150))
    book.need(height)

    def also(page: Page, ground: Ground) -> list[Label]:
        if log:
            return [
                label
                for nest in plan.nests
                for label in _draw_rip_line(page, ground, face, nest, half_number(plan, nest))
            ]
        return _draw_landmarks(page, ground, marks, plan.nests[0].axis.point[:2])

    book.y = draw_nest_on_face(
        book.page, photo, face, plan, Box(book.page.left, book.y + 2, book.page.room, height), also
    )
    book.heading("Mark the wood")
    book.steps(steps)


def _stock_words(plan: Plan, units: Units) -> str:
    stock, bowls = plan.stock, sum(len(nest.bowls) for nest in plan.nests)
    size = f"{told(stock.length, units)} long" if stock.length else f"{told(stock.thickness or 0, units)} thick"
    count = COUNT[bowls] if bowls < len(COUNT) else f"{bowls} bowls"
    rim = " The rims lie on the far face." if stock.rim == "far" else ""
    return f"{stock.kind.capitalize()}, {size}: {count}.{rim}"


def _steps(face: Face, plan: Plan, marks: Sequence[Landmark], units: Units) -> list[str]:
    """Return how to mark centre and circle on a face that the axis stands square to."""
    centre, bowl = plan.nests[0].axis.point[:2], plan.nests[0].bowls[0]
    steps = []
    if marks:
        arcs = "; ".join(f"{m.letter}, the {m.name}: {told(m.distance, units)} ± {m.error:.0f} mm" for m in marks)
        steps.append(f"Swing arcs about {arcs}. They meet at the centre.")
    elif face.pith is not None and face.pith.inside:
        away = float(np.hypot(face.pith.point[0] - centre[0], face.pith.point[1] - centre[1]))
        error = twice_error(face, away, face.pith.standard_error)
        steps.append(f"The centre lies {told(away, units)} ± {error:.0f} mm from the pith.")
    edges = ", ".join(f"{name} {told(far, units)}" for name, far in edge_distances(face, centre).items())
    steps.append(f"{'Check' if marks else 'Mark the centre'}: from it to the edge, as the photo lies: {edges}.")
    first = (
        f"Draw a circle of {told(bowl.rim_diameter / 2 + plan.shop.trueing, units)} radius about it and saw round that."
    )
    steps.append(first + f" It turns true at Ø {told(bowl.rim_diameter, units)}.")
    return steps


def _log_steps(face: Face, plan: Plan, nest: Nest, units: Units) -> list[str]:
    """Return how to mark a half's rip line on the end of a log, and its centre along it."""
    across = np.array([nest.axis.direction[1], -nest.axis.direction[0]])
    number = half_number(plan, nest)
    told_off = []
    for mark in line_landmarks(face, nest.axis.point[:2], across):
        side = "away from" if mark.distance > 0 else "toward"
        told_off.append(
            f"the {mark.name} is {told(abs(mark.distance), units)} ± {mark.error:.0f} mm off, {side} the bowls"
        )
    if not told_off:
        ends = rip_line(face, nest)
        wide = float(np.hypot(*(ends[1] - ends[0])))
        told_off.append(f"as drawn; it is {told(wide, units)} long from edge to edge")
    return [
        f"Rip line {number}: {'; '.join(told_off)}. Saw beside it, on the side away from the bowls.",
        f"Half {number}: centre {told(nest.axis.point[2], units)} from this end, on the ripped face; "
        f"circle Ø {told(nest.bowls[0].rim_diameter + 2 * plan.shop.trueing, units)}.",
    ]


def _draw_landmarks(page: Page, ground: Ground, marks: Sequence[Landmark], centre: Sequence[float]) -> list[Label]:
    labels = []
    middle = ground.to_page([centre])[0]
    for mark in marks:
        at = ground.to_page([mark.point])[0]
        page.line([middle, at], style.Stroke(style.INK, 1.4, dash=(4, 2), casing=style.PAPER, casing_width=1.0))
        half = (middle + at) / 2
        words = f"{mark.letter} {mark.distance:.0f} mm"
        labels.append(
            Label(
                words, (float(half[0]), float(half[1])), (float(at[1] - middle[1]), float(middle[0] - at[0])), dark=True
            )
        )
    return labels


def _draw_rip_line(page: Page, ground: Ground, face: Face, nest: Nest, number: int) -> list[Label]:
    ends = ground.to_page(rip_line(face, nest))
    page.line(ends, style.Stroke(style.INK, 2.0, dash=(9, 3), casing=style.PAPER))
    at = ends[0] + 0.12 * (ends[1] - ends[0])
    return [Label(f"rip line {number}", (float(at[0]), float(at[1])), dark=True)]


def _nest_pages(book: Book, face: Face, plan: Plan, nest: Nest, units: Units) -> None:
    book.start(f"The nest{nest_name(plan, nest)}")
    taken = (line_height(style.BODY) + line_height(style.SMALL) + 2) * (len(nest.bowls) + 1) + 8
    box = Box(book.page.left, book.y + 1, book.page.room, book.rest - taken)
    book.y += draw_section(book.page, plan, nest, box) + 3
    heads = ("bowl", "rim Ø", "depth", "wall", "base", "tenon Ø", "jaws")
    rows = [
        (
            str(b.number),
            *(stacked(v, units) for v in (b.rim_diameter, b.depth, b.wall_min, b.base_min, b.foot_diameter)),
            b.jaws,
        )
        for b in nest.bowls
    ]
    book.y = table(book.page, book.y, heads, rows)
    book.paragraph("In mm. Dashed: the tenons, and the recess by which cores are turned round.", size=style.SMALL)
    limits = [(f"bowl {b.number}", "; ".join(b.binds)) for b in nest.bowls if b.binds]
    if limits:
        book.heading("What limits each bowl")
        for name, words in limits:
            book.fact(name, words)
    book.start(f"Order of work{nest_name(plan, nest)}")
    book.cautions(cautions.BEFORE_START)
    book.y += 2
    book.steps(_order(face, plan, nest, units), size=ORDER)
    book.paragraph(cautions.LAST_WORD, bold=True)


def _order(face: Face, plan: Plan, nest: Nest, units: Units) -> list[str]:
    """Return the order of work in full."""
    shop, first = plan.shop, nest.bowls[0]
    start, top = turning_speeds(shop, first.rim_diameter + 2 * shop.trueing)
    steps = [
        f"Mount the blank. Start at {start} rpm, never over {top} rpm. Turn the outside to its template, rim Ø "
        f"{told(first.rim_diameter, units)}.",
        f"Turn its {tenon_of(first, shop).words(units)}.",
    ]
    if not nest.cuts:
        return [*steps, "Turn it round, held by that.", _hollow(nest, units)]
    recess = face_recess(nest, shop)
    hold = "Turn it round, held by that." if shop.screws is None else f"Turn it round: {first_hold(nest, shop, units)}."
    steps.append(f"{hold} Turn the face flat.")
    steps.append(_recess_words(face, nest, recess, units))
    by = "by the recess" if recess else "as settled beforehand"
    for cut, core in zip(nest.cuts, nest.bowls[1:], strict=True):
        steps.append(f"Cut {cut.number}: see its page. Bowl {cut.number} is free: measure its wall.")
        steps.append(
            f"Look the core over. Hold it {by}, back outwards. Flatten the back to a depth of "
            f"{told(core.depth, units, 1)}, turn its {tenon_of(core, shop).words(units)}. Turn it round."
        )
    return [*steps, _hollow(nest, units)]


def _recess_words(face: Face, nest: Nest, recess: Grip | None, units: Units) -> str:
    if recess is None:
        return (
            "None of your jaws fits a recess in wood that is hollowed away later: settle with a qualified turner how "
            "the cores will be held before you begin."
        )
    words = f"In the middle of the face cut a {recess.words(units)}. All of that wood is hollowed away later."
    unsound = defects_in_recess(face, nest, recess)
    if not unsound:
        return words
    return f"{words} But look: {' and '.join(unsound)} in it. Unsound wood holds nothing: settle another way first."


def _hollow(nest: Nest, units: Units) -> str:
    last = nest.bowls[-1]
    return (
        f"Hollow bowl {last.number} by hand: wall at least {at_least(last.wall_min, units)}, no deeper than "
        f"{at_most(last.inner[-1][1], units)}."
    )
