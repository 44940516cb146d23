"""What is left to do once the bowls are cut: sizes after drying, and the weights to keep."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from photonest.model import Bowl, Plan
from photonest.report import style
from photonest.report.blocks import table
from photonest.report.book import Book
from photonest.report.page import line_height
from photonest.report.units import Units, stacked

WEIGHINGS = ("today", "1 month", "2", "3", "4", "5", "6")


def drying_part(book: Book, plan: Plan, units: Units) -> None:
    """Write sizes after drying where they are known, and a table for the weights."""
    book.start("Drying")
    bowls = [bowl for nest in plan.nests for bowl in nest.bowls]
    known = [bowl for bowl in bowls if bowl.after_drying]
    if known:
        _sizes(book, known, units)
    else:
        book.paragraph("No wood was named, so sizes after drying are not told.")
    book.heading("Weigh every bowl")
    book.paragraph(
        "Write number, wood and weight on each bowl the day it is cut, and weigh it every month. It is dry when the "
        "weight has not changed for three months (common practice)."
    )
    _weight_grid(book, [str(bowl.number) for bowl in bowls])


def _sizes(book: Book, bowls: Sequence[Bowl], units: Units) -> None:
    facts = bowls[0].after_drying
    to, wood = _number(facts, "moisture_pct"), str(facts.get("species", "this wood"))
    dried = f" to {to:.0f} % moisture" if to is not None else ""
    book.heading(f"What is left round of {wood}, dried{dried}")
    heads = ("bowl", "rim Ø", "depth", "wall", "low wall", "oval by", "weighs", "dry about")
    book.need(30.0 + 12.0 * len(bowls))
    book.y = table(book.page, book.y, heads, [_row(bowl, units) for bowl in bowls])
    book.paragraph(
        "The largest round bowl in the dried one. Pieces of one species differ: in about one of six less is left than "
        "the low wall. Weights are for the species' mean: trust your scales.",
        size=style.SMALL,
    )  # fmt: skip
    notes = dict.fromkeys(str(note) for bowl in bowls for note in bowl.after_drying.get("notes", ()))
    for note in notes:
        book.paragraph(note, bold=True)


def _row(bowl: Bowl, units: Units) -> tuple[str, ...]:
    facts = bowl.after_drying
    more = facts.get("moves_more", {})

    def size(source: Mapping[str, Any], name: str) -> str:
        value = _number(source, name)
        return "–" if value is None else stacked(value, units)

    def plain(name: str, unit: str, digits: int) -> str:
        value = _number(facts, name)
        return "–" if value is None else f"{value:.{digits}f} {unit}"

    return (
        str(bowl.number), size(facts, "rim_diameter"), size(facts, "depth"), size(facts, "wall"), size(more, "wall"),
        plain("ovality_pct", "%", 1), plain("green_weight_g", "g", 0), plain("dry_weight_g", "g", 0),
    )  # fmt: skip


def _number(facts: Mapping[str, Any], name: str) -> float | None:
    value = facts.get(name)
    return float(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else None


def _weight_grid(book: Book, names: Sequence[str]) -> None:
    """Draw an empty table of weights to fill in, one line for each bowl."""
    page, row = book.page, 12.0
    book.need(row * (len(names) + 1) + 4)
    page = book.page
    top, first = book.y + 4, page.left + 18
    step = (page.right - first) / len(WEIGHINGS)
    for i, head in enumerate(WEIGHINGS):
        page.text(first + (i + 0.5) * step, top + 6, head, size=style.SMALL, across="center")
    for k, name in enumerate(names):
        page.text(page.left + 2, top + row * (k + 1.7), f"bowl {name}", size=style.SMALL, bold=True)
    bottom = top + row * (len(names) + 1)
    for k in range(len(names) + 2):
        page.line([(page.left, top + row * k), (page.right, top + row * k)], style.HAIRLINE)
    for i in range(len(WEIGHINGS) + 1):
        page.line([(first + i * step, top), (first + i * step, bottom)], style.HAIRLINE)
    book.y = bottom + line_height(style.SMALL)
