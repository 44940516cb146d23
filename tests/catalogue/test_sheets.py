"""Labels and overviews: two readers read the symbols back, everything stays on its page."""

from __future__ import annotations

import dataclasses
import io
from datetime import date

import cv2
import numpy as np
import pypdfium2
import pytest
from numpy.typing import NDArray
from PIL import Image

from photonest.catalogue.entries import Entry
from photonest.catalogue.sheets import LABELS, STOCK, label_sheet, qr_picture, stock_sheet
from photonest.model import CatalogueError
from photonest.report.book import PAPERS, Paper

DAY = date(2031, 4, 2)
PIECE = Entry(
    "KMGF", "ab" * 32, "elm.jpg", "slice", 120.0, None, 543.0, 489.0, 456.0, 430.0, 2, "white ash", "drying", DAY,
    "loft, left", 5400.0, DAY, None, DAY, False,
)  # fmt: skip


def pages(pdf: bytes) -> list[Image.Image]:
    document = pypdfium2.PdfDocument(pdf)
    found = [page.render(scale=200 / 72).to_pil().convert("RGB") for page in document]
    document.close()
    return found


def pieces(count: int) -> list[Entry]:
    return [dataclasses.replace(PIECE, code=f"K{number}MG") for number in range(count)]


def read_label(page: Image.Image, index: int, paper: Paper = "A4") -> str:
    """Return what OpenCV reads on one label of a page, as a phone held over it would."""
    grid = LABELS[paper]
    row, column = divmod(index, grid.columns)
    left, top = grid.left + column * grid.width, grid.top + row * grid.height
    box = [round(mm / 25.4 * 200) for mm in (left, top, left + 34.0, top + grid.height)]
    text, _, _ = cv2.QRCodeDetector().detectAndDecode(np.asarray(page.crop((box[0], box[1], box[2], box[3]))))
    return str(text)


def test_opencv_reads_every_label_of_a_printed_page() -> None:
    (page,) = pages(label_sheet(pieces(24)))
    assert [read_label(page, index) for index in range(24)] == [entry.code for entry in pieces(24)]


def test_letter_paper_has_a_row_less() -> None:
    first, second = pages(label_sheet(pieces(22), paper="Letter"))
    assert first.size == (1700, 2200)  # 8.5 by 11 inches at 200 dots an inch
    assert [read_label(first, index, "Letter") for index in (0, 20)] == ["K0MG", "K20MG"]
    assert read_label(second, 0, "Letter") == "K21MG"
    assert len(pages(stock_sheet(pieces(17), jpeg, paper="Letter"))) == 2


def test_another_reader_reads_them_too() -> None:
    zxing = pytest.importorskip("zxingcpp")
    (page,) = pages(label_sheet(pieces(24)))
    found = zxing.read_barcodes(np.asarray(page))
    assert sorted(code.text for code in found) == sorted(entry.code for entry in pieces(24))
    assert all(code.format == zxing.BarcodeFormat.QRCode for code in found)


@pytest.mark.parametrize("code", ["A", "KMGF", "ELM-7", "X" * 16])
def test_a_symbol_alone(code: str) -> None:
    text, _, _ = cv2.QRCodeDetector().detectAndDecode(np.asarray(qr_picture(code, 340)))
    assert text == code


def test_labels_go_on_to_the_next_page_and_leave_used_ones() -> None:
    first, second = pages(label_sheet(pieces(24), skip=5))
    assert first.size == (1654, 2339)  # A4 at 200 dots an inch
    ink = np.asarray(first.convert("L")) < 128
    assert not ink[: int(37 / 25.4 * 200), :].any()  # the first row is used up
    assert ink[int(39 / 25.4 * 200) :, :].any()
    assert [read_label(second, index) for index in range(6)] == [f"K{n}MG" for n in range(19, 24)] + [""]
    with pytest.raises(CatalogueError, match="can't be skipped"):
        label_sheet(pieces(1), skip=24)


def code_on_label(code: str) -> NDArray[np.bool_]:
    """Return where the ink of a label's code is, at 200 dots an inch."""
    (page,) = pages(label_sheet([dataclasses.replace(PIECE, code=code)]))
    left, top, right, bottom = (round(mm / 25.4 * 200) for mm in (34.0, 0.5, 70.0, 15.0))
    return np.asarray(page.convert("L").crop((left, top, right, bottom))) < 128


def test_a_code_is_read_off_a_shelf_and_never_cut_short() -> None:
    rows = np.flatnonzero(code_on_label("KMHF").any(axis=1))
    assert (rows[-1] - rows[0]) / 200 * 25.4 > 6.0  # mm; 3 mm high for each metre away, common practice, no source
    assert not np.array_equal(code_on_label("W" * 15 + "A"), code_on_label("W" * 15 + "B"))


def test_cells_stay_on_the_page() -> None:
    for paper, (width, height) in PAPERS.items():
        for grid in (LABELS[paper], STOCK[paper]):
            assert grid.left + grid.columns * grid.width <= width + 1e-9
            assert grid.top + grid.rows * grid.height <= height + 1e-9


def jpeg(_: Entry) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (320, 240), (200, 30, 30)).save(out, "JPEG")
    return out.getvalue()


def test_an_overview_has_a_page_for_twenty() -> None:
    assert len(pages(stock_sheet(pieces(21), jpeg))) == 2
    with Image.open(io.BytesIO(stock_sheet(pieces(21), jpeg, "png"))) as picture:
        assert picture.height / picture.width == pytest.approx(2 * 297 / 210, rel=0.01)
        red = np.asarray(picture.convert("RGB")).astype(int)
    assert ((red[..., 0] - red[..., 1]) > 100).mean() > 0.05  # the pieces' pictures are there


def test_a_lost_thumbnail_leaves_a_gap_not_an_error() -> None:
    assert stock_sheet([PIECE], lambda _: b"").startswith(b"%PDF")
    assert stock_sheet([PIECE], lambda entry: jpeg(entry)[:-400]).startswith(b"%PDF")  # cut off


@pytest.mark.parametrize("place", ["ø" * 200, "🪵\n" * 3, ""])
def test_any_words_fit(place: str) -> None:
    odd = dataclasses.replace(PIECE, place=place, species=None, clear_diameter=None, weight=None)
    (page,) = pages(label_sheet([odd]))
    ink = np.asarray(page.convert("L")) < 200
    assert not ink[:, int(69 / 25.4 * 200) :].any()  # nothing runs into the next label
    assert stock_sheet([odd], jpeg)


def test_nothing_to_print_is_said() -> None:
    with pytest.raises(CatalogueError, match="nothing to print"):
        label_sheet([])
