"""The set-up sheet: what a turner carries to the lathe, on paper."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from photonest.model import Face, Nest, Photo, Plan, UnsafePlanError
from photonest.report import cautions, style
from photonest.report.blocks import table
from photonest.report.book import Book, Paper
from photonest.report.cut_sheet import cut_page
from photonest.report.drying_sheet import drying_part
from photonest.report.holding import Grip, defects_in_recess, face_recess, first_hold, tenon_of
from photonest.report.nest_view import nest_name
from photonest.report.page import Box, line_height
from photonest.report.piece_sheet import piece_pages
from photonest.report.section import draw_section
from photonest.report.speeds import turning_speeds
from photonest.report.units import SIXTEENTH, Units, at_least, at_most, retold, stacked, told
from photonest.report.words import instead, runners_up, what_limits

ORDER = 15.5
GAP = 1.2  # mm between paragraphs in small type
LEAST_SECTION = 80.0  # mm of height for the drawing of the nest; what then finds no room goes on to another page


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
        piece_pages(book, photo, face, plan, units)
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
        listed = "; ".join(f"{fault.where}: {fault.message}" for fault in faults)
        raise UnsafePlanError(f"This plan fails the independent check, so it is not printed: {listed}.", "Plan again.")


def _nest_pages(book: Book, face: Face, plan: Plan, nest: Nest, units: Units) -> None:
    book.start(f"The nest{nest_name(plan, nest)}")
    taken = (line_height(style.BODY) + line_height(style.SMALL) + 2) * (len(nest.bowls) + 1) + 8
    choices = _choices(plan, units) if nest is plan.nests[0] else []
    taken += book.height_of(choices, size=style.SMALL) + len(choices) * GAP
    limits = [(f"bowl {b.number}", retold("; ".join(what_limits(b)), units)) for b in nest.bowls if b.binds]
    taken += line_height(style.HEADING) + 2.3 + sum(book.fact_height(words) for _, words in limits)
    box = Box(book.page.left, book.y + 1, book.page.room, max(book.rest - taken, LEAST_SECTION))
    book.y += draw_section(book.page, plan, nest, face.outline.wood, box, units) + 3
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
    dashed = "the tenons, and the recess by which cores are turned round" if nest.cuts else "the tenon"
    unit = "mm" if units == "mm" else "mm (and inches)"
    book.paragraph(f"The drawing is in {unit}. Dashed: {dashed}.", size=style.SMALL)
    for words in choices:
        book.y += GAP
        book.paragraph(words, size=style.SMALL)
    if limits:
        book.heading("What limits each bowl", keep=sum(book.fact_height(words) for _, words in limits))
        for name, words in limits:
            book.fact(name, words)
    _order_of_work(book, _order(face, plan, nest, units), nest_name(plan, nest))


def _choices(plan: Plan, units: Units) -> list[str]:
    """Return what else could be had of the piece, a paragraph each: fewer bowls, another place, a little more wood."""
    return [*filter(None, [instead(plan, units), *runners_up(plan, units), retold(" ".join(plan.reasons), units)])]


def _order_of_work(book: Book, order: Sequence[str], half: str) -> None:
    """Write the order of work: on this page if all of it fits, else on the next."""
    wanted = book.height_of(order, size=ORDER, indent=11) + 1.4 * len(order) + 60
    title = f"Order of work{half}"
    if book.rest < wanted:
        book.start(title)
    else:
        book.heading(title)
    book.cautions(cautions.BEFORE_START)
    book.y += 2
    book.steps(order, size=ORDER)
    book.paragraph(cautions.LAST_WORD, bold=True)


def _order(face: Face, plan: Plan, nest: Nest, units: Units) -> list[str]:
    """Return the order of work in full."""
    shop, first = plan.shop, nest.bowls[0]
    start, top = turning_speeds(shop, first.rim_diameter + 2 * shop.trueing)
    steps = [
        "Mount the blank, its rim face to the headstock, between centres or on a faceplate screwed only into wood that "
        f"is hollowed away later. Start at {start} rpm, never over {top} rpm. Turn the outside to its template, rim Ø "
        f"{told(first.rim_diameter, units)}.",
        f"Turn its {tenon_of(first, shop).words(units)}.",
    ]
    flat = f"Turn the face flat; {told(first.depth, units, 1)} must be left from there to the foot, else plan again."
    if not nest.cuts:
        return [*steps, f"Turn it round, held by that. {flat}", _hollow(nest, units)]
    recess = face_recess(nest, shop)
    hold = "Turn it round, held by that." if shop.screws is None else f"Turn it round: {first_hold(nest, shop, units)}."
    steps.append(f"{hold} {flat}")
    steps.append(_recess_words(face, nest, recess, units))
    by = "by the recess" if recess else "as settled beforehand"
    exactly = "" if units == "mm" else f", and set it by the mm: its inches may be {SIXTEENTH / 2:.1f} mm off"
    for cut, core in zip(nest.cuts, nest.bowls[1:], strict=True):
        steps.append(f"Cut {cut.number}: see its page{exactly}. Bowl {cut.number} is free: measure its wall.")
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
        f"Hollow bowl {last.number} by hand to its template: wall at least {at_least(last.wall_min, units)}, no deeper "
        f"than {at_most(last.inner[-1][1], units)}."
    )
