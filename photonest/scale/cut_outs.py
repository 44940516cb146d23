"""Printed references to cut out: single markers to lay around a slice, and strips for long logs.

Each piece has numbers of its own, so that one marker in sight tells how large it is and, of a strip, where on it.
Positions are mm, x to the right and y down.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from photonest.scale.board import (
    CHECK_LINE_MM,
    CUT_OUTS,
    FIRST_CUT_OUT,
    MARKER_CELLS,
    PAPER_MM,
    Paper,
    Text,
    check_line_rectangles,
    marker_cells,
    pdf,
    raster,
)

Cutting = Literal["markers", "strips"]
SIDE_MM, MARGIN_MM = 40.0, 8.0  # of a single marker: its dark square, and the white around it
STRIP_SIDE_MM, STRIP_STEP_MM, STRIP_MARKERS = 40.0, 56.0, 4
FIRST_STRIP, STRIPS = FIRST_CUT_OUT + CUT_OUTS, 10
_TILE = SIDE_MM + 2 * MARGIN_MM


def piece_of(number: int) -> int | None:
    """Return which piece a marker is on: its own number, or that of a strip's first marker; None for other numbers.

    >>> piece_of(85), piece_of(102), piece_of(7)
    (85, 100, None)
    """
    if FIRST_CUT_OUT <= number < FIRST_STRIP:
        return number
    if FIRST_STRIP <= number < FIRST_STRIP + STRIPS * STRIP_MARKERS:
        return number - (number - FIRST_STRIP) % STRIP_MARKERS
    return None


def place_on_piece(number: int) -> tuple[float, float]:
    """Return where a marker's dark square has its top left corner on its piece, in mm."""
    piece = piece_of(number)
    if piece is None:
        raise ValueError(f"marker {number} is on no piece to cut out")
    return (number - piece) * STRIP_STEP_MM, 0.0


def cut_out_sheet(paper: Paper, cutting: Cutting) -> tuple[NDArray[np.float64], tuple[Text, ...]]:
    """Return what is printed on a sheet of pieces: dark rectangles (x0, y0, x1, y1), shape (n, 4), and words."""
    width, _ = PAPER_MM[paper]
    columns, rows = 3, 4
    left, top = (width - columns * _TILE) / 2, 18.0
    parts, numbers = [], iter(_numbers(cutting, columns, rows))
    for j in range(rows if cutting == "markers" else columns):
        for i in range(columns if cutting == "markers" else rows):
            column, row = (i, j) if cutting == "markers" else (j, i)
            at = np.array([left + column * _TILE + MARGIN_MM, top + row * _TILE + MARGIN_MM])
            parts.append(_marker(next(numbers), at, turned=cutting == "strips"))
    crosses = np.array([(left + i * _TILE, top + j * _TILE) for i in range(columns + 1) for j in range(rows + 1)])
    line = (left, top + rows * _TILE + 14.0, left + CHECK_LINE_MM, top + rows * _TILE + 14.0)
    rectangles = np.vstack([*parts, _crosses(crosses), check_line_rectangles(line)])
    what = "markers to lay around a slice" if cutting == "markers" else "strips for long logs"
    how = "cut along the small crosses" if cutting == "markers" else "cut between the columns only"
    around = "Lay four or more flat and level with the face, spread all around it."
    along = "Lay two or more flat and level with the face, along opposite sides of it."
    below = line[1]
    texts = (
        Text(left, 9.5, 4.2, f"photonest {what}, {paper}, version 1"),
        Text(left, 14.5, 3.4, f"Print at 100 % (actual size, not 'fit to page') on stiff matt paper; {how}."),
        Text(left, below - 6.0, 3.4, around if cutting == "markers" else along),
        Text(left + CHECK_LINE_MM + 3, below + 1.2, 3.2, "This line is 100 mm long: check it."),
    )
    return rectangles, texts


def cut_out_pdf(paper: Paper = "A4", cutting: Cutting = "markers") -> bytes:
    """Return a sheet of pieces to cut out as a PDF of one page, in its exact size; the same bytes every time."""
    rectangles, texts = cut_out_sheet(paper, cutting)
    return pdf(rectangles, texts, PAPER_MM[paper], f"photonest {cutting} to cut out, {paper}")


def cut_out_raster(paper: Paper = "A4", cutting: Cutting = "markers", px_per_mm: float = 8.0) -> NDArray[np.uint8]:
    """Return a sheet of pieces as a grey picture, uint8, as `photonest.scale.board.sheet_raster` does."""
    rectangles, texts = cut_out_sheet(paper, cutting)
    return raster(rectangles, texts, PAPER_MM[paper], px_per_mm)


def _numbers(cutting: Cutting, columns: int, rows: int) -> range:
    first = FIRST_CUT_OUT if cutting == "markers" else FIRST_STRIP
    return range(first, first + columns * rows)


def _marker(number: int, at: NDArray[np.float64], turned: bool) -> NDArray[np.float64]:
    """Return the dark cells of a marker whose dark square begins at a place; `turned` runs its x down the page."""
    cells = marker_cells(number)
    y, x = np.nonzero(np.rot90(cells, -1) if turned else cells)
    corner = at + np.column_stack([x, y]) * SIDE_MM / MARKER_CELLS
    return np.hstack([corner, corner + SIDE_MM / MARKER_CELLS])


def _crosses(places: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return small crosses, each of two thin rectangles."""
    thin, long = 0.1, 2.5
    flat = [(x - long, y - thin, x + long, y + thin) for x, y in places]
    up = [
        part
        for x, y in places
        for part in ((x - thin, y - long, x + thin, y - thin), (x - thin, y + thin, x + thin, y + long))
    ]
    return np.array([*flat, *up])
