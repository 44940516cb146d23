"""What is left to do once the bowls are cut: sizes after drying, and the weights to keep."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from photonest.model import Bowl, Plan
from photonest.report import style
from photonest.report.blocks import table
from photonest.report.book import Book
from photonest.report.page import line_height
from photonest.report.units import Units, told

WEIGHINGS = ("today", "1 month", "2", "3", "4", "5", "6")


def drying_part(book: Book, plan: Plan, units: Units) -> None:
    """Write sizes after drying where they are known, and a table for the weights."""
    bowls = [bowl for nest in plan.nests for bowl in nest.bowls]
    book.start("Drying")
    dried = [bowl for bowl in bowls if bowl.after_drying]
    if dried:
        book.paragraph(_species_words(dried[0].after_drying))
        book.y = table(
            book.page, book.y, ("bowl", "rim Ø", "depth", "wall", "out of round"), [_row(b, units) for b in dried]
        )
        book.paragraph("Single pieces move by about 15 % more or less than the tables say.", size=style.SMALL)
    else:
        book.paragraph("No species was given, so sizes after drying are not told.")
    book.heading("Weigh every bowl")
    book.paragraph(
        "Write number, wood and weight on each bowl the day it is cut, and weigh it every month. It is dry when the "
        "weight has not changed for three months (common practice)."
    )
    _weight_grid(book, [str(bowl.number) for bowl in bowls])


def _species_words(after: Any) -> str:
    wood = after.get("species", "This wood")
    to = after.get("moisture_pct")
    return f"{wood}, dried to {to:.0f} % moisture:" if isinstance(to, (int, float)) else f"{wood}, dried:"


def _row(bowl: Bowl, units: Units) -> tuple[str, ...]:
    after = bowl.after_drying

    def size(name: str) -> str:
        value = after.get(name)
        return told(float(value), units) if isinstance(value, (int, float)) else "–"

    oval = after.get("ovality_pct")
    out_of_round = f"{oval:.1f} %" if isinstance(oval, (int, float)) else "–"
    return (str(bowl.number), size("diameter"), size("depth"), size("wall"), out_of_round)


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
    book.paragraph("Weights in grams.", size=style.SMALL)
