"""The page itself: its size in every kind of file, its text, and that nothing in it changes from run to run."""

from __future__ import annotations

import io
import re
from typing import Literal

import numpy as np
import pypdf
import pytest
from PIL import Image

from photonest.report.page import Box, Format, Page, line_height, printable, save, save_book, text_width, wrapped
from photonest.report.style import INK, Fill, Stroke, drawing_settings


def drawn(width: float = 210.0, height: float = 297.0) -> Page:
    page = Page(width, height)
    page.line([(10, 10), (110, 10)], Stroke(INK, 1.0))
    page.area(Box(20, 30, 40, 40).corners, Fill(INK), holes=[Box(30, 40, 20, 20).corners])
    page.text(10, 100, "Ø 120 ± 3 mm")
    return page


def test_pdf_page_is_a4() -> None:
    """ISO 216: A4 is 210 mm by 297 mm."""
    with drawing_settings():
        reader = pypdf.PdfReader(io.BytesIO(save(drawn(), "pdf")))
    box = reader.pages[0].mediabox
    assert float(box.width) * 25.4 / 72 == pytest.approx(210, abs=0.01)  # PDF counts in 1/72 inch
    assert float(box.height) * 25.4 / 72 == pytest.approx(297, abs=0.01)


def test_pdf_letters_are_embedded_and_can_be_read_back() -> None:
    with drawing_settings():
        content = save(drawn(), "pdf")
    page = pypdf.PdfReader(io.BytesIO(content)).pages[0]
    assert "120 ± 3 mm" in page.extract_text()
    fonts = page["/Resources"]["/Font"].values()  # type: ignore[index]
    # ISO 32000-1, 9.6.5: a Type 3 font brings the drawing of each of its letters with it
    assert all(font["/Subtype"] == "/Type3" and len(font["/CharProcs"]) for font in fonts)


def test_svg_page_is_full_size_and_keeps_its_words() -> None:
    with drawing_settings():
        svg = save(drawn(100.0, 50.0), "svg").decode()
    match = re.search(r'<svg[^>]*\bwidth="([\d.]+)pt"[^>]*', svg)
    assert match is not None
    assert float(match[1]) * 25.4 / 72 == pytest.approx(100, abs=0.01)
    assert "Ø 120 ± 3 mm" in svg


def test_png_places_things_where_they_were_put() -> None:
    with drawing_settings():
        pixels = np.asarray(Image.open(io.BytesIO(save(drawn(), "png", dpi=254))).convert("L"))
    assert pixels.shape == (2970, 2100)  # 254 dots per inch are 10 to the mm
    assert pixels[350, 250] < 60  # in the filled frame
    assert pixels[500, 400] > 250  # in its hole
    dark = np.flatnonzero(pixels[100] < 128)
    # The line runs from 10 to 110 mm, with round caps of half its width (1 point = 0.35 mm); a dot is 0.1 mm.
    assert dark.min() / 10 == pytest.approx(10 - 0.18, abs=0.15)
    assert dark.max() / 10 == pytest.approx(110 + 0.18, abs=0.15)


def test_lines_and_areas_drawn_as_one_lie_where_each_of_them_would() -> None:
    lines = [[(10, 10), (60, 15)], [(20, 40), (20, 80), (50, 60)], [(70, 20), (90, 90)]]
    rings = [Box(60, 40, 25, 25).corners, Box(10, 60, 20, 30).corners[::-1]]
    stroke, fill = Stroke(INK, 1.5), Fill(INK, 0.4)
    each, together = Page(100, 100), Page(100, 100)
    with drawing_settings():
        for line in lines:
            each.line(line, stroke, closed=True)
        for ring in rings:
            each.area(ring, fill)
        together.lines(lines, stroke, closed=True)
        together.areas(rings, fill)
        pictures = [np.asarray(Image.open(io.BytesIO(save(page, "png")))) for page in (each, together)]
    np.testing.assert_array_equal(pictures[0], pictures[1])
    assert len(np.unique(pictures[0])) > 2
    assert len(together.axes.lines) == len(together.axes.patches) == 1


@pytest.mark.parametrize("format", ["png", "svg", "pdf"])
def test_the_same_drawing_gives_the_same_bytes(format: Format) -> None:
    with drawing_settings():
        assert save(drawn(), format) == save(drawn(), format)


def test_book_has_its_pages() -> None:
    with drawing_settings():
        reader = pypdf.PdfReader(io.BytesIO(save_book([drawn(), drawn(215.9, 279.4)], "A title")))
    assert len(reader.pages) == 2
    assert float(reader.pages[1].mediabox.width) == pytest.approx(612, abs=0.05)  # Letter: 8.5 inches of 72 points
    assert reader.metadata is not None
    assert reader.metadata.title == "A title"
    assert reader.metadata.creation_date is None


def test_letters_the_font_lacks_do_not_stop_the_drawing() -> None:
    assert printable("木の年輪.jpg") == "????.jpg"
    assert printable("two\nlines\t$x$") == "two lines $x$"


def test_width_of_text_is_what_is_drawn() -> None:
    with drawing_settings():
        page = Page(100, 20)
        page.text(5, 12, "Wandering HEART 0123", size=14)
        pixels = np.asarray(Image.open(io.BytesIO(save(page, "png", dpi=254))).convert("L"))
    columns = np.flatnonzero((pixels < 128).any(axis=0))
    # Side bearings of the first and last letter are not inked: at most a tenth of the size, 0.5 mm, at each end.
    assert (columns.max() - columns.min()) / 10 == pytest.approx(text_width("Wandering HEART 0123", 14), abs=1.0)


def test_wrapped_lines_fit() -> None:
    words = "Missing a crack is dangerous, a false one only costs wood."
    lines = wrapped(words, 60, 14)
    assert " ".join(lines) == words
    assert len(lines) > 1
    assert all(text_width(line, 14) <= 60 for line in lines)
    assert wrapped("", 60, 14) == []


def test_paragraph_says_where_it_ends() -> None:
    with drawing_settings():
        page = Page(100, 100)
        assert page.paragraph(5, 10, "one two", 80, size=12) == pytest.approx(10 + line_height(12))


@pytest.mark.parametrize("turned", [0.0, 55.0, -90.0, 200.0])
@pytest.mark.parametrize("across", ["left", "center", "right"])
@pytest.mark.parametrize("at", [(51.0, 60.0), (149.0, 51.0), (100.0, 149.5), (50.0, 150.0)])
def test_text_in_a_window_is_never_cut(
    at: tuple[float, float], across: Literal["left", "center", "right"], turned: float
) -> None:
    """Measured as matplotlib draws it, which knows nothing of how the page counts widths."""
    window = Box(50, 50, 100, 100)
    with drawing_settings():
        page = Page(210, 297)
        with page.window(window, (40.0, 30.0)):
            page.text(at[0] - 40, at[1] - 30, "centre; rim Ø 296 mm", size=11, across=across, turned=turned)
            page.text(200.0, 20.0, "begins outside", size=11, across=across)
        (text,) = page.axes.texts
        extent = text.get_window_extent().transformed(page.axes.transData.inverted())
    assert window.left - 0.2 <= min(extent.x0, extent.x1)
    assert max(extent.x0, extent.x1) <= window.right + 0.2
    assert window.top - 0.2 <= min(extent.y0, extent.y1)
    assert max(extent.y0, extent.y1) <= window.bottom + 0.2
