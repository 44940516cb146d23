"""What is left to do once the bowls are cut: sizes after drying, and the weights to keep."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from photonest.model import Bowl, Plan
from photonest.report import style
from photonest.report.blocks import table
from photonest.report.book import Book
from photonest.report.nest_view import nest_name
from photonest.report.page import line_height, text_width
from photonest.report.units import Units, stacked

GRID_ROW = 12.0
"""Height of a row to write a weight in, in mm."""
WEIGHINGS = ("today", "1 month", "2", "3", "4", "5", "6")


def drying_part(book: Book, plan: Plan, units: Units) -> None:
    """Write sizes after drying where they are known, and a table for the weights."""
    book.start("Drying")
    dried = [(nest_name(plan, nest), [bowl for bowl in nest.bowls if bowl.after_drying]) for nest in plan.nests]
    if any(bowls for _, bowls in dried):
        _sizes(book, [(half, bowls) for half, bowls in dried if bowls], units)
    else:
        book.paragraph("No wood was named, so sizes after drying are not told.")
    names = [f"bowl {bowl.number}{nest_name(plan, nest)}" for nest in plan.nests for bowl in nest.bowls]
    words = (
        f"Write {'half, ' if len(plan.nests) > 1 else ''}number, wood and weight on each bowl the day it is cut, and "
        "weigh it every month. It is dry when the weight has not changed for three months (common practice)."
    )
    book.heading("Weigh every bowl", keep=book.height_of([words]) + _grid_height(names))
    book.paragraph(words)
    _weight_grid(book, names)


def _sizes(book: Book, dried: Sequence[tuple[str, Sequence[Bowl]]], units: Units) -> None:
    """Write a table for each half, or the one nest, and what its figures rest on."""
    heads = ("bowl", "rim Ø", "depth", "wall", "low wall", "oval by", "weighs", "dry about")
    for half, bowls in dried:
        book.heading(f"What is left round{half}", keep=8.0 + 12.0 * len(bowls))
        book.y = table(book.page, book.y, heads, [_row(bowl, units) for bowl in bowls])
    facts = dried[0][1][0].after_drying
    to, wood = _number(facts, "moisture_pct"), str(facts.get("species", "this wood"))
    moisture = f" to {to:.0f} % moisture" if to is not None else ""
    book.paragraph(
        f"Of {wood}, dried{moisture}: the largest round bowl in the dried one. Pieces of one species differ: in about "
        f"one of six less is left than the low wall. {_oval(facts)}Weights are for the species' mean: trust your "
        "scales.",
        size=style.SMALL,
    )
    notes: dict[str, list[str]] = {}
    for half, bowls in dried:
        for bowl in bowls:
            for note in bowl.after_drying.get("notes", ()):
                notes.setdefault(str(note), []).append(f"bowl {bowl.number}{half}")
    for note, of in notes.items():
        book.paragraph(f"{' and '.join(of).capitalize()}: {note}", bold=True)


def _oval(facts: Mapping[str, Any]) -> str:
    """Return which way a dried rim is longest, where that is told."""
    along, by = facts.get("oval_along"), _number(facts, "ovality_pct")
    if along is None or by is None:
        return ""
    return f"The rim is longest {'along' if by >= 0 else 'across'} the {along}. "


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


def _grid_height(names: Sequence[str]) -> float:
    return GRID_ROW * (len(names) + 1) + 4


def _weight_grid(book: Book, names: Sequence[str]) -> None:
    """Draw an empty table of weights to fill in, one line for each bowl."""
    book.need(_grid_height(names))
    page, row = book.page, GRID_ROW
    wide = max(text_width(name, style.SMALL, bold=True) for name in names)
    top, first = book.y + 4, page.left + wide + 4
    step = (page.right - first) / len(WEIGHINGS)
    for i, head in enumerate(WEIGHINGS):
        page.text(first + (i + 0.5) * step, top + 6, head, size=style.SMALL, across="center")
    for k, name in enumerate(names):
        page.text(page.left + 2, top + row * (k + 1.7), name, size=style.SMALL, bold=True)
    bottom = top + row * (len(names) + 1)
    for k in range(len(names) + 2):
        page.line([(page.left, top + row * k), (page.right, top + row * k)], style.HAIRLINE)
    for i in range(len(WEIGHINGS) + 1):
        page.line([(first + i * step, top), (first + i * step, bottom)], style.HAIRLINE)
    book.y = bottom + line_height(style.SMALL)
