"""Pages of paper that follow one another: text flows onto a new one where the room ends."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from photonest.report import style
from photonest.report.blocks import draw_alert, draw_title
from photonest.report.marks import chip_size, draw_chip
from photonest.report.page import Box, Page, line_height, save_book, text_width, wrapped

Paper = Literal["A4", "Letter"]
PAPERS: dict[str, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height in mm: A4 of ISO 216, and US Letter, 8.5 by 11 inches."""
MARGIN = 10.0
FOOT = 9.0
COLUMN = 57.0
"""Where the values of facts begin, from the left margin, in mm."""


class Book:
    """Pages in order, and the place on the last one where the next block goes.

    Parameters
    ----------
    paper : {"A4", "Letter"}
        Size of every page.
    name : str
        Of what the pages are about; stands on each of them.
    """

    def __init__(self, paper: Paper, name: str) -> None:
        self.size = PAPERS[paper]
        self.name = name
        self.pages: list[Page] = []
        self.title = ""
        self.y = 0.0

    @property
    def page(self) -> Page:
        """The page being filled."""
        return self.pages[-1]

    @property
    def bottom(self) -> float:
        """Where blocks must end."""
        return self.size[1] - MARGIN - FOOT

    @property
    def rest(self) -> float:
        """The height left on this page."""
        return self.bottom - self.y

    def start(self, title: str) -> None:
        """Begin a page."""
        self.pages.append(Page(*self.size, margin=MARGIN))
        self.title = title
        self.y = draw_title(self.page, title, self.name)

    def need(self, height: float) -> None:
        """Begin another page under the same title unless this one has the height left."""
        if self.rest < height:
            self.start(self.title)

    def heading(self, words: str, keep: float = 0.0) -> None:
        """Write the heading of a part, on a page that has room for `keep` of it as well, and never at its very foot."""
        self.need(line_height(style.HEADING) + max(2.3 + keep, 2 * line_height(style.BODY)))
        self.y += line_height(style.HEADING) + 1.5
        self.page.text(self.page.left, self.y - 1.5, words, size=style.HEADING, bold=True)
        self.y += 0.8

    def paragraph(self, words: str, *, size: float = style.BODY, bold: bool = False, colour: str = style.INK) -> None:
        """Write a paragraph over the full width."""
        self.need(self.height_of([words], size=size))
        self.y = self.page.paragraph(self.page.left, self.y, words, self.page.room, size=size, bold=bold, colour=colour)

    def fact_height(self, value: str) -> float:
        """Return the height that a fact takes."""
        width = self.size[0] - 2 * MARGIN - COLUMN
        return len(wrapped(value, width, style.BODY, bold=True)) * line_height(style.BODY)

    def fact(self, name: str, value: str) -> None:
        """Write a name and its value in words."""
        self.need(self.fact_height(value))
        self.page.text(self.page.left, self.y + 0.72 * line_height(style.BODY), name, size=style.BODY)
        width = self.page.room - COLUMN
        self.y = self.page.paragraph(self.page.left + COLUMN, self.y, value, width, size=style.BODY, bold=True)

    def steps(self, steps: Sequence[str], *, size: float = style.BODY, marks: Sequence[str] = ()) -> None:
        """Write numbered steps, or steps with marks of their own."""
        for i, words in enumerate(steps):
            self.need(self.height_of([words], size=size, indent=11.0) + 1.4)
            mark = marks[i] if marks else str(i + 1)
            wide, high = chip_size(mark, size)
            draw_chip(self.page, Box(self.page.left, self.y + 0.7, max(wide, 7.0), high), mark, size=size, dark=True)
            self.y = self.page.paragraph(self.page.left + 11.0, self.y, words, self.page.room - 11.0, size=size) + 1.4

    def warnings(self, warnings: Sequence[str], *, size: float = style.BODY) -> None:
        """Write warnings white on black, each with the sign of danger."""
        for words in warnings:
            lines = wrapped(words, self.page.room - 17, size, bold=True)
            height = max(len(lines) * line_height(size) + 3.0, 10.5)
            self.need(height + 1.5)
            self.page.rectangle(Box(self.page.left, self.y, self.page.room, height), style.Fill(style.INK))
            draw_alert(self.page, self.page.left + 6.5, self.y + height / 2)
            top = self.y + (height - len(lines) * line_height(size)) / 2
            for i, line in enumerate(lines):
                at = top + (i + 0.72) * line_height(size)
                self.page.text(self.page.left + 14, at, line, size=size, bold=True, colour=style.PAPER)
            self.y += height + 1.5

    def cautions(self, cautions: Sequence[str], *, size: float = style.BODY) -> None:
        """Write cautions in a heavy frame, each with the sign of danger."""
        lines = [wrapped(words, self.page.room - 17, size, bold=True) for words in cautions]
        height = sum(len(each) for each in lines) * line_height(size) + 1.2 * len(lines) + 3.0
        self.need(height + 2)
        frame = Box(self.page.left, self.y + 1, self.page.room, height)
        self.page.rectangle(frame, style.Fill(style.PAPER, edge=style.INK, edge_width=2.4))
        draw_alert(self.page, self.page.left + 7, self.y + 1 + min(height / 2, 8.0))
        at = self.y + 2.2
        for words in cautions:
            at = self.page.paragraph(self.page.left + 14, at, words, self.page.room - 17, size=size, bold=True) + 1.2
        self.y += height + 2.5

    def height_of(self, texts: Sequence[str], *, size: float = style.BODY, indent: float = 0.0) -> float:
        """Return the height that texts take."""
        width = self.size[0] - 2 * MARGIN - indent
        return sum(len(wrapped(words, width, size)) for words in texts) * line_height(size)

    def bound(self, title: str) -> bytes:
        """Return the pages, numbered, as one PDF."""
        for i, page in enumerate(self.pages, start=1):
            number = f"page {i} of {len(self.pages)}"
            at = page.height - MARGIN + 2
            page.line([(page.left, at - 5.2), (page.right, at - 5.2)], style.HAIRLINE)
            page.text(page.right, at, number, size=style.SMALL, across="right", colour=style.QUIET)
            room = page.room - text_width(number, style.SMALL) - 5
            first = wrapped(title, room, style.SMALL)[0]
            page.text(page.left, at, first, size=style.SMALL, colour=style.QUIET)
        return save_book(self.pages, title)
