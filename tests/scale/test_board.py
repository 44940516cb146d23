"""The sheet is what it says: page, squares, markers and check line, read back from the PDF by another library."""

import io
from typing import cast

import cv2
import numpy as np
import pypdfium2
import pytest

from photonest.scale.board import PAPER_MM, Paper, marker_dictionary, marker_sheet_pdf, sheet_layout, sheet_raster

PAPERS = [cast(Paper, paper) for paper in PAPER_MM]
POINT_MM = 25.4 / 72


def rendered(paper: Paper, px_per_mm: float) -> np.ndarray:
    document = pypdfium2.PdfDocument(io.BytesIO(marker_sheet_pdf(paper)))
    picture = document[0].render(scale=px_per_mm * POINT_MM, grayscale=True).to_numpy()
    document.close()
    return np.ascontiguousarray(picture.reshape(picture.shape[:2]))


def test_pages_are_the_standard_sizes() -> None:
    """ISO 216: A4 is 210 x 297 mm, the rounded halvings of A0 (1 m2, sides 1 to root 2); Letter is 8.5 x 11 inches."""
    a0 = 1000 * np.array([2**-0.25, 2**0.25])
    assert PAPER_MM["A4"] == tuple(np.floor(a0 / 4 + 0.2))  # ISO 216 rounds to the lower millimetre, 841/4 = 210.25
    assert PAPER_MM["Letter"] == pytest.approx((215.9, 279.4))


@pytest.mark.parametrize("paper", PAPERS)
def test_page_box_is_exact(paper: Paper) -> None:
    document = pypdfium2.PdfDocument(io.BytesIO(marker_sheet_pdf(paper)))
    assert len(document) == 1
    left, bottom, right, top = document[0].get_mediabox()
    assert (left, bottom) == (0, 0)
    # PDF viewers keep single precision: 297 mm to 1e-4 mm
    assert np.multiply([right, top], POINT_MM) == pytest.approx(PAPER_MM[paper], abs=1e-4)
    document.close()


@pytest.mark.parametrize("paper", PAPERS)
def test_board_read_back_from_pdf(paper: Paper) -> None:
    """OpenCV's own ChArUco detector finds every corner of the printed page within 0.1 mm of where it should be."""
    px_per_mm = 6.0
    layout = sheet_layout(paper)
    board = cv2.aruco.CharucoBoard(
        layout.squares, layout.square, layout.marker, marker_dictionary(), np.array(layout.ids)
    )
    page = rendered(paper, px_per_mm)
    corners, numbers, _, marker_numbers = cv2.aruco.CharucoDetector(board).detectBoard(page)
    assert sorted(np.ravel(marker_numbers)) == list(layout.ids)
    assert len(numbers) == len(layout.board_corners())
    # the renderer fills whole pixels: the page may come out a pixel taller than its size asks
    mm = (np.reshape(corners, (-1, 2)) + 0.5) * layout.size / page.shape[::-1]
    expected = layout.board_corners()[np.ravel(numbers)]
    assert np.abs(mm - expected).max() < 0.1


@pytest.mark.parametrize("paper", PAPERS)
def test_opencv_agrees_on_the_board(paper: Paper) -> None:
    layout = sheet_layout(paper)
    board = cv2.aruco.CharucoBoard(
        layout.squares, layout.square, layout.marker, marker_dictionary(), np.array(layout.ids)
    )
    assert np.reshape(board.getChessboardCorners(), (-1, 3))[:, :2] + layout.origin == pytest.approx(
        layout.board_corners(), abs=1e-4
    )
    theirs = np.array(board.getObjPoints())[:, :, :2] + layout.origin
    assert theirs == pytest.approx(layout.marker_corners(), abs=1e-4)


@pytest.mark.parametrize("paper", PAPERS)
def test_raster_and_pdf_are_one_artwork(paper: Paper) -> None:
    raster, page = sheet_raster(paper, 5.0), rendered(paper, 5.0)
    height, width = np.minimum(raster.shape, page.shape)
    off = np.abs(raster[:height, :width].astype(float) - page[:height, :width])
    # letters differ by their anti-aliasing; squares only on their rims, a pixel of 25 mm sides
    assert off.mean() < 6
    dark = sheet_layout(paper).origin
    assert off[int(dark[1] * 5) + 10, int(dark[0] * 5) + 10] == 0


def test_raster_is_area_exact() -> None:
    """The mean grey of the board does not depend on the resolution, down to pixels wider than a marker's cell."""
    fine, coarse = (255 - sheet_raster("A4", scale).astype(float) for scale in (4.0, 1.0))
    board = np.s_[14:264, 17:193]
    assert coarse[board].sum() == pytest.approx(fine[14 * 4 : 264 * 4, 17 * 4 : 193 * 4].sum() / 16, rel=2e-3)


@pytest.mark.parametrize("paper", PAPERS)
def test_check_line_is_100_mm_in_print(paper: Paper) -> None:
    px_per_mm = 10.0
    x0, y, x1, _ = sheet_layout(paper).check_line
    row = rendered(paper, px_per_mm)[round(y * px_per_mm), : round((x1 + 2) * px_per_mm)]
    dark = np.flatnonzero(row < 128)
    dark = dark[dark > (x0 - 2) * px_per_mm]
    assert (dark[-1] + 1 - dark[0]) / px_per_mm == pytest.approx(100, abs=0.1)


def test_pdf_is_the_same_every_time() -> None:
    first = marker_sheet_pdf("A4")
    assert first == marker_sheet_pdf("A4")
    assert b"CreationDate" not in first


def test_words_fit_the_page_and_keep_off_the_board() -> None:
    for paper in PAPERS:
        layout, page = sheet_layout(paper), sheet_raster(paper, 4.0)
        printed = np.flatnonzero((page < 250).any(axis=0)) / 4
        # no printer prints the outermost 5 mm (common practice, no source)
        assert printed.min() > 5
        assert printed.max() < layout.size[0] - 5
        rows = np.flatnonzero((page < 250).any(axis=1)) / 4
        assert rows.min() > 5
        assert rows.max() < layout.size[1] - 5
        below = layout.origin[1] + layout.squares[1] * layout.square
        quiet = page[round((below + 0.5) * 4) : round((below + 3) * 4)]
        assert (quiet == 255).all()


def test_every_sheet_has_numbers_of_its_own() -> None:
    numbers = [number for paper in PAPERS for number in sheet_layout(paper).ids]
    assert len(numbers) == len(set(numbers))
    assert max(numbers) < 250
