"""The page of one cut: its figures in large type, its drawing, how the piece is held before and after."""

from __future__ import annotations

from photonest.model import Bowl, Cut, Nest, Plan
from photonest.report import cautions, style
from photonest.report.book import Book
from photonest.report.cut_drawing import caliper_places, draw_cut
from photonest.report.holding import face_recess, first_hold, tenon_of
from photonest.report.marks import chip_size, draw_chip
from photonest.report.page import Box, line_height
from photonest.report.speeds import rim_speed, usual_power
from photonest.report.units import Units, at_least, sixteenths, told

FIGURE = 20.0
LEAST_DRAWING, MOST_DRAWING = 60.0, 110.0
READINGS = 1.5 + line_height(style.BODY) + line_height(style.HEADING) + line_height(style.SMALL) + 1.5
"""Height of the block of caliper readings, in mm."""


def cut_page(book: Book, plan: Plan, nest: Nest, index: int, units: Units, half: str = "") -> None:
    """Write the page of a cut."""
    cut, bowl = nest.cuts[index], nest.bowls[index]
    book.start(f"Cut {cut.number} of {len(nest.cuts)}{half}")
    book.cautions(cautions.EACH_CUT)
    settings, facts = figures(cut, units), _holding(plan, nest, index, units)
    text = len(settings) * line_height(FIGURE) + book.height_of([cautions.CORE_IN_HAND]) + READINGS
    text += sum(book.fact_height(value) for _, value in facts) + line_height(style.SMALL)
    height = min(max(book.rest - text - 3, LEAST_DRAWING), MOST_DRAWING)
    draw_cut(book.page, nest, index, Box(book.page.left, book.y, book.page.room, height))
    book.y += height + 1
    for letter, name, value in settings:
        _figure(book, letter, name, value)
    _readings(book, bowl, units)
    for name, words in facts:
        book.fact(name, words)
    book.paragraph(cautions.CORE_IN_HAND, bold=True)
    speed = rim_speed(bowl.rim_diameter, cut.top_rpm)
    power = f"Usual motor: {usual_power(bowl.rim_diameter)} (common practice)."
    book.paragraph(f"At {cut.top_rpm:.0f} rpm the rim moves at {speed:.1f} m/s. {power}", size=style.SMALL)


def _readings(book: Book, bowl: Bowl, units: Units) -> None:
    """Write what calipers should read at three places, side by side."""
    places = caliper_places(bowl, units)
    book.need(READINGS)
    book.y += 1.5
    page = book.page
    book.fact("then measure the wall", f"nowhere under {at_least(bowl.wall_required, units)}")
    step = page.room / len(places)
    for i, each in enumerate(places):
        x, y = page.left + i * step, book.y + line_height(style.HEADING)
        wide, high = chip_size(each.letter)
        draw_chip(page, Box(x, y - high + 0.8, max(wide, 8), high), each.letter)
        page.text(x + 10, y - 0.8, told(each.wall, "mm", 1), size=style.HEADING, bold=True)
        inches = "" if units == "mm" else f"{sixteenths(each.wall)} in, "
        page.text(x + 10, y + line_height(style.SMALL) - 1, inches + each.name, size=style.SMALL)
    book.y += line_height(style.HEADING) + line_height(style.SMALL) + 1


def figures(cut: Cut, units: Units) -> list[tuple[str, str, str]]:
    """Return the settings of a cut: letter on the drawing, name, value."""
    c, h = cut.pivot
    beside = "pivot beside the axis, toward the cut" if c > 0 else "pivot beside the axis, away from the cut"
    offset = ("B", beside, told(abs(c), units, 1)) if abs(c) >= 0.05 else ("", "pivot beside the axis", "none")
    return [
        ("", "cutter", f"{cut.cutter}, slot {told(cut.kerf, units)}"),
        ("A", "pivot in front of the rim plane", told(-h, units, 1)),
        offset,
        ("C", "enters the face at a radius of", told(cut.entry_radius, units, 1)),
        ("D", "reaches the axis at a depth of", told(cut.axis_depth, units, 1)),
        ("", "start at", f"{cut.start_rpm:.0f} rpm"),
        ("", "never over", f"{cut.top_rpm:.0f} rpm"),
    ]


def _figure(book: Book, letter: str, name: str, value: str) -> None:
    book.need(line_height(FIGURE))
    book.y += line_height(FIGURE)
    page, y = book.page, book.y - 2.2
    if letter:
        wide, high = chip_size(letter, style.HEADING)
        draw_chip(page, Box(page.left, y - high + 1.6, max(wide, 8), high), letter, size=style.HEADING, dark=True)
    page.text(page.left + 11, y, name, size=style.BODY)
    page.text(page.right, y, value, size=FIGURE, bold=True, across="right")
    page.line([(page.left, book.y - 0.4), (page.right, book.y - 0.4)], style.Stroke(style.QUIET, 0.4))


def _holding(plan: Plan, nest: Nest, index: int, units: Units) -> list[tuple[str, str]]:
    """Return how the piece is held now, how its core is held next, and what that becomes."""
    core, shop = nest.bowls[index + 1], plan.shop
    now = first_hold(nest, shop, units) if index == 0 else tenon_of(nest.bowls[index], shop).words(units)
    inside = len(nest.bowls) - index - 2
    more = f"{inside} more inside it" if inside else "the last"
    recess = face_recess(nest, shop)
    turned = recess.words(units) if recess else "what you settled beforehand"
    return [
        ("held now by", now),
        ("the core next by", f"{turned}; then {tenon_of(core, shop).words(units)}"),
        ("the core becomes", f"bowl {core.number}, Ø {told(core.rim_diameter, units)}, {more}"),
    ]
