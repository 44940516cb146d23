"""Parts of a book of pages."""

from __future__ import annotations

import pytest

from photonest.report.book import Book
from photonest.report.style import drawing_settings


@pytest.mark.parametrize(("kept_whole", "pages"), [(False, 1), (True, 2)])
def test_a_heading_goes_to_the_next_page_with_what_is_to_be_kept_with_it(kept_whole: bool, pages: int) -> None:
    with drawing_settings():
        book = Book("A4", "a name")
        book.start("Part")
        book.y += book.rest - 40.0  # room for a heading and a few lines
        book.heading("What follows", keep=60.0 if kept_whole else 0.0)
    assert len(book.pages) == pages
    assert book.rest > 60.0 or not kept_whole
