"""Drawings at full size: one sheet of their own size as SVG, or cut into pages of paper as PDF."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photonest.report import style
from photonest.report.blocks import shortened
from photonest.report.book import PAPERS, Paper
from photonest.report.page import Box, Page, save, save_book, text_width
from photonest.report.units import sixteenths

CHECK = 100.0
"""Length of the check lines, in mm."""
EXACTLY = f"exactly {CHECK:.0f} mm ({sixteenths(CHECK)} in)"
"""On an inch ruler a hundredth of a mm too long."""
MARGIN = 6.0
HEAD, SIDE = 26.0, 9.0
"""Paper for the words and the level check line above the drawing, and for the upright one beside it, in mm."""
OVERLAP = 10.0
HINT = "Print at 100 %, not fitted to the page. Hold a ruler to both check lines."


@dataclass(frozen=True)
class Drawing:
    """Something to be drawn at full size.

    Attributes
    ----------
    title : str
        In a few words.
    ring : array, shape (n, 2)
        Points round all of it, in mm of its own frame: sheets outside their hull are left out.
    note : str
        What to do with it.
    draw : callable
        Draws it on a page, 1 mm to the mm, in its own frame.
    """

    title: str
    ring: NDArray[np.float64]
    note: str
    draw: Callable[[Page], None]

    @property
    def extent(self) -> Box:
        """The upright rectangle that holds all of it."""
        low, high = self.ring.min(axis=0), self.ring.max(axis=0)
        return Box(float(low[0]), float(low[1]), float(high[0] - low[0]), float(high[1] - low[1]))


def as_svg(drawing: Drawing) -> bytes:
    """Return a drawing at full size as an SVG of one sheet."""
    extent = drawing.extent
    page = Page(max(extent.width, CHECK) + 2 * MARGIN + SIDE, max(extent.height, CHECK) + 2 * MARGIN + HEAD)
    frame = Box(MARGIN + SIDE, MARGIN + HEAD, page.width - 2 * MARGIN - SIDE, page.height - 2 * MARGIN - HEAD)
    _draw_tile(page, drawing, frame, (extent.left, extent.top), drawing.title)
    return save(page, "svg")


def as_pdf(drawing: Drawing, paper: Paper) -> bytes:
    """Return a drawing at full size as a PDF of as many sheets as it takes; they overlap by `OVERLAP` mm."""
    width, height = PAPERS[paper]
    frame = Box(MARGIN + SIDE, MARGIN + HEAD, width - 2 * MARGIN - SIDE, height - 2 * MARGIN - HEAD)
    size = grid(drawing.extent, frame)
    pages = []
    for row, column in sheets(drawing, frame):
        page = Page(width, height)
        where = f" · sheet {sheet_name(row, column)}" if size != (1, 1) else ""
        _draw_tile(page, drawing, frame, corner_of(drawing.extent, frame, row, column), drawing.title + where)
        _draw_joins(page, frame, (row, column), size)
        pages.append(page)
    return save_book(pages, drawing.title)


def sheets(drawing: Drawing, frame: Box) -> list[tuple[int, int]]:
    """Return the row and column of each sheet that holds some of a drawing."""
    import shapely

    whole = shapely.MultiPoint(drawing.ring).convex_hull
    columns, rows = grid(drawing.extent, frame)

    def there(row: int, column: int) -> bool:
        x, y = corner_of(drawing.extent, frame, row, column)
        return bool(whole.intersects(shapely.box(x, y, x + frame.width, y + frame.height)))

    return [(row, column) for row in range(rows) for column in range(columns) if there(row, column)]


def sheet_name(row: int, column: int) -> str:
    """Return a sheet's place: rows are letters from the top, columns numbers from the left.

    >>> sheet_name(1, 0)
    'B1'
    """
    return f"{chr(ord('A') + row)}{column + 1}"


def corner_of(extent: Box, frame: Box, row: int, column: int) -> tuple[float, float]:
    """Return the upper left corner of a sheet in the drawing's own frame."""
    return extent.left + column * (frame.width - OVERLAP), extent.top + row * (frame.height - OVERLAP)


def grid(extent: Box, frame: Box) -> tuple[int, int]:
    """Return how many columns and rows of a frame cover an extent, each overlapping the one before.

    >>> grid(Box(0, 0, 171, 220), Box(15, 22, 189, 269)), grid(Box(0, 0, 360, 360), Box(15, 22, 189, 269))
    ((1, 1), (2, 2))
    """

    def count(long: float, step: float) -> int:
        return max(1, math.ceil((long - OVERLAP) / (step - OVERLAP) - 1e-9))

    return count(extent.width, frame.width), count(extent.height, frame.height)


def _draw_tile(page: Page, drawing: Drawing, frame: Box, corner: tuple[float, float], title: str) -> None:
    with page.window(frame, (frame.left - corner[0], frame.top - corner[1])):
        drawing.draw(page)
    _draw_checks(page, frame)
    room = page.width - 2 * MARGIN
    for i, words in enumerate((HINT, drawing.note)):
        size = min(style.SMALL - 1, (style.SMALL - 1) * room / text_width(words, style.SMALL - 1))
        page.text(MARGIN, MARGIN + 9.5 + 5 * i, words, size=size)
    page.text(MARGIN, MARGIN + 4, shortened(title, room, style.BODY - 1), size=style.BODY - 1, bold=True)


def _draw_checks(page: Page, frame: Box) -> None:
    """Draw a check line each way, and say what it is for."""
    thin = style.Stroke(style.INK, 0.5)
    y, x = MARGIN + HEAD - 5, MARGIN + SIDE - 5
    for start, end, tick in (
        ((frame.left, y), (frame.left + CHECK, y), (0.0, 1.5)),
        ((x, frame.top), (x, frame.top + CHECK), (1.5, 0.0)),
    ):
        page.line([start, end], thin)
        for at in (start, end):
            page.line([(at[0] - tick[0], at[1] - tick[1]), (at[0] + tick[0], at[1] + tick[1])], thin)
    page.text(frame.left + 2, y - 1, EXACTLY, size=style.SMALL - 2)
    page.text(x - 1, frame.top + 2, EXACTLY, size=style.SMALL - 2, across="right", turned=90)


def _draw_joins(page: Page, frame: Box, place: tuple[int, int], size: tuple[int, int]) -> None:
    """Draw where the neighbouring sheets join: crosses that must fall on each other."""
    (row, column), (columns, rows) = place, size
    thin = style.Stroke(style.INK, 0.5)
    half = OVERLAP / 2
    xs = [x for x, there in ((frame.left + half, column > 0), (frame.right - half, column < columns - 1)) if there]
    ys = [y for y, there in ((frame.top + half, row > 0), (frame.bottom - half, row < rows - 1)) if there]
    for x in xs:
        page.line([(x, frame.top), (x, frame.bottom)], style.Stroke(style.QUIET, 0.4, dash=(2, 4)))
    for y in ys:
        page.line([(frame.left, y), (frame.right, y)], style.Stroke(style.QUIET, 0.4, dash=(2, 4)))
    for x in xs:
        aside = column + (-1 if x < frame.left + frame.width / 2 else 1)
        page.text(x + 1, frame.bottom - 12, f"join {sheet_name(row, aside)}", size=style.SMALL - 2, turned=90)
    for y in ys:
        beyond = row + (-1 if y < frame.top + frame.height / 2 else 1)
        page.text(frame.left + 12, y - 1, f"join {sheet_name(beyond, column)}", size=style.SMALL - 2)
    marks = [(x, y) for x in xs for y in (frame.top + 45, frame.bottom - 45)]
    marks += [(x, y) for y in ys for x in (frame.left + 40, frame.right - 40)]
    for x, y in marks:
        page.line([(x - 4, y), (x + 4, y)], thin)
        page.line([(x, y - 4), (x, y + 4)], thin)
