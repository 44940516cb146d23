"""The blocks that pages are made of: headings, warnings, tables."""

from __future__ import annotations

import bisect
from collections.abc import Sequence

import numpy as np

from photonest.report import style
from photonest.report.marks import chip_size, draw_chip
from photonest.report.page import Box, Page, line_height, text_width, wrapped


def draw_title(page: Page, title: str, detail: str) -> float:
    """Write the heading of a picture; return where what follows may start."""
    y = page.margin + line_height(style.TITLE)
    page.text(page.left, y - 2.5, title, size=style.TITLE, bold=True)
    room = page.room - page.margin - text_width(title, style.TITLE, bold=True)
    page.text(
        page.right,
        y - 2.5,
        shortened(detail, room, style.SMALL),
        size=style.SMALL,
        colour=style.QUIET,
        across="right",
    )
    page.line([(page.left, y), (page.right, y)], style.RULE)
    return y + 2


def draw_warnings(page: Page, warnings: Sequence[str], y: float) -> float:
    """Write warnings on a dark plate, nothing where there are none; return where what follows may start."""
    if not warnings:
        return y
    width, size = page.room - 16, style.BODY if len(warnings) < 4 else style.SMALL
    lines = [line for text in warnings for line in wrapped(text, width, size, bold=True)]
    height = len(lines) * line_height(size) + 3.5 + 1.5 * (len(warnings) - 1)
    page.rectangle(Box(page.left, y, page.room, height), style.Fill(style.INK))
    draw_alert(page, page.left + 6.5, y + 7)
    at = y + 1.5
    for text in warnings:
        at = page.paragraph(page.left + 13, at, text, width, size=size, bold=True, colour=style.PAPER) + 1.5
    return y + height + 2


def shortened(words: str, width: float, size: float) -> str:
    """Return a text that is no wider than `width` mm, cut at its end if it must be."""
    if text_width(words, size) <= width:
        return words
    fits = bisect.bisect(range(len(words)), width, key=lambda n: text_width(words[:n] + "…", size))
    return words[: fits - 1] + "…"


def heading(page: Page, x: float, y: float, words: str) -> float:
    """Write the heading of a part; return where what follows may start."""
    y += line_height(style.HEADING)
    page.text(x, y - 1.5, words, size=style.HEADING, bold=True)
    return y + 0.5


def table(page: Page, y: float, heads: Sequence[str], rows: Sequence[Sequence[str]]) -> float:
    """Write a table whose first column is a number on a plate; return where what follows may start.

    A line break in a cell sets what follows it below, in small type.
    """
    stops = np.linspace(page.left + 15, page.right, len(heads))
    y += line_height(style.SMALL)
    for head, x in zip(heads, stops, strict=True):
        page.text(x, y - 1, head, size=style.SMALL, colour=style.QUIET, across="right")
    page.line([(page.left, y + 0.4), (page.right, y + 0.4)], style.RULE)
    for number, *cells in rows:
        y += line_height(style.BODY) + 1.6
        wide, high = chip_size(number)
        draw_chip(page, Box(page.left + 4, y - high + 0.6, wide, high), number, dark=True)
        for cell, x in zip(cells, stops[1:], strict=True):
            main, _, below = cell.partition("\n")
            page.text(x, y - 1.2, main, bold=True, across="right")
            page.text(x, y + line_height(style.SMALL) - 1.8, below, size=style.SMALL, across="right")
        y += line_height(style.SMALL) if any("\n" in cell for cell in cells) else 0
    return y + 1


def draw_alert(page: Page, x: float, y: float) -> None:
    """Draw an upright triangle with an exclamation mark."""
    page.area([(x, y - 4), (x + 4.6, y + 4), (x - 4.6, y + 4)], style.Fill(style.YELLOW))
    page.text(x, y + 3, "!", size=15, bold=True, across="center")
