"""The printed references of our own: geometry, raster and PDF from one description in millimetres.

A sheet is a chequered board whose light squares hold square markers (OpenCV's ChArUco arrangement). Each paper size and
version has marker numbers of its own, so one marker in sight tells which sheet it is and thereby every length on it.
All positions are mm from the sheet's top left corner, x to the right and y down.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Paper = Literal["A4", "Letter"]

MM_PER_INCH = 25.4
PAPER_MM: dict[str, tuple[float, float]] = {
    "A4": (210.0, 297.0),  # ISO 216
    "Letter": (8.5 * MM_PER_INCH, 11 * MM_PER_INCH),  # ANSI/ASME Y14.1, size A
}
VERSION = 1
MARKER_CELLS = 7  # 5 x 5 code cells and a dark border of one cell
CHECK_LINE_MM = 100.0


@dataclass(frozen=True)
class Text:
    """A line of print: its left end on the base line in mm, and the height of the letters' em square in mm."""

    x: float
    y: float
    size: float
    words: str


@dataclass(frozen=True, eq=False)
class SheetLayout:
    """Where everything on a sheet is.

    Attributes
    ----------
    paper : str
        Name of the paper size.
    size : (width, height)
        Of the page, in mm.
    origin : (x, y)
        Top left corner of the board.
    squares : (columns, rows)
        Of the board; the square at the top left is dark.
    square, marker : float
        Sides, in mm.
    first_id : int
        Number of the first marker; they count along the rows.
    check_line : (x0, y0, x1, y1)
        Outer ends of the line to hold a ruler against.
    texts : tuple of Text
        What is printed in words.
    """

    paper: str
    size: tuple[float, float]
    origin: tuple[float, float]
    squares: tuple[int, int]
    square: float
    marker: float
    first_id: int
    check_line: tuple[float, float, float, float]
    texts: tuple[Text, ...]

    @property
    def light_squares(self) -> list[tuple[int, int]]:
        """(column, row) of the squares that hold a marker, in the order of their numbers."""
        columns, rows = self.squares
        return [(i, j) for j in range(rows) for i in range(columns) if (i + j) % 2]

    @property
    def ids(self) -> range:
        """Numbers of the markers."""
        return range(self.first_id, self.first_id + len(self.light_squares))

    def marker_corners(self) -> NDArray[np.float64]:
        """Return the markers' corners from the top left on, clockwise as printed, shape (markers, 4, 2), mm."""
        inset = (self.square - self.marker) / 2
        corner = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * self.marker + inset
        return np.array([np.add(self.origin, np.multiply(at, self.square)) + corner for at in self.light_squares])

    def rim(self) -> NDArray[np.float64]:
        """Return the page's corners from the top left on, clockwise as printed, shape (4, 2), mm."""
        return np.asarray(np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]) * np.asarray(self.size))

    def board_corners(self) -> NDArray[np.float64]:
        """Return where four squares meet, along the rows, shape (corners, 2), mm."""
        columns, rows = self.squares
        x, y = np.meshgrid(np.arange(1, columns), np.arange(1, rows))
        return np.asarray(np.column_stack([x.ravel(), y.ravel()]) * self.square + np.asarray(self.origin))


# Marker numbers stay taken for good: a sheet printed years ago must still be read rightly.
_FIRST_ID = {"A4": 0, "Letter": 40}
FIRST_CUT_OUT, CUT_OUTS = 80, 20


def sheet_layout(paper: Paper = "A4") -> SheetLayout:
    """Return the marker sheet for a paper size.

    >>> layout = sheet_layout("A4")
    >>> layout.size, len(layout.ids), layout.board_corners().shape
    ((210.0, 297.0), 35, (54, 2))
    """
    width, height = PAPER_MM[paper]
    columns, rows, square = 7, 10 if paper == "A4" else 9, 25.0
    left, top = (width - columns * square) / 2, 14.0
    below = top + rows * square
    line = (left, below + 15.0, left + CHECK_LINE_MM, below + 15.0)
    texts = (
        Text(left, 9.5, 4.2, f"photonest marker sheet, {paper}, version {VERSION}"),
        Text(
            left,
            below + 7.0,
            3.4,
            "Print at 100 % (actual size, not 'fit to page') on plain white matt paper. Keep it flat:",
        ),
        Text(
            left, below + 11.4, 3.4, "tape or glue it to something stiff. Lay it level with the face, close beside it."
        ),
        Text(left + CHECK_LINE_MM + 4, below + 16.2, 3.4, "This line is 100 mm long: check with a ruler."),
    )
    return SheetLayout(
        paper, (width, height), (left, top), (columns, rows), square, 19.0, _FIRST_ID[paper], line, texts
    )


def marker_dictionary() -> Any:
    """Return OpenCV's dictionary of 250 markers of 5 x 5 cells, which differ in six cells or more."""
    import cv2

    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_250)


@cache
def marker_cells(number: int) -> NDArray[np.bool_]:
    """Return which cells of a marker are dark, border included, shape (7, 7)."""
    image = marker_dictionary().generateImageMarker(number, MARKER_CELLS, borderBits=1)
    cells: NDArray[np.bool_] = np.asarray(image) < 128
    cells.setflags(write=False)
    return cells


def dark_rectangles(layout: SheetLayout) -> NDArray[np.float64]:
    """Return everything dark but the words as rectangles (x0, y0, x1, y1), none overlapping, shape (n, 4), mm."""
    columns, rows = layout.squares
    dark = np.array([(i, j) for j in range(rows) for i in range(columns) if (i + j) % 2 == 0], float)
    corner = dark * layout.square + np.asarray(layout.origin)
    parts = [np.hstack([corner, corner + layout.square])]
    cell = layout.marker / MARKER_CELLS
    for number, corners in zip(layout.ids, layout.marker_corners(), strict=True):
        y, x = np.nonzero(marker_cells(number))
        at = np.column_stack([x, y]) * cell + corners[0]
        parts.append(np.hstack([at, at + cell]))
    return np.vstack([*parts, check_line_rectangles(layout.check_line)])


def check_line_rectangles(line: tuple[float, float, float, float]) -> NDArray[np.float64]:
    """Return a line with an upright at either end; the uprights' outer edges are the ends."""
    x0, y, x1, _ = line
    thick, tall = 0.3, 2.5
    ends = [(x0, y - tall, x0 + thick, y + tall), (x1 - thick, y - tall, x1, y + tall)]
    return np.array([*ends, (x0 + thick, y - thick / 2, x1 - thick, y + thick / 2)])


def sheet_raster(paper: Paper = "A4", px_per_mm: float = 8.0) -> NDArray[np.uint8]:
    """Return the printed sheet as a grey picture, uint8, every pixel the mean of the area it covers.

    Pixel (row i, column j) covers j / px_per_mm to (j + 1) / px_per_mm mm from the left edge.
    """
    layout = sheet_layout(paper)
    return raster(dark_rectangles(layout), layout.texts, layout.size, px_per_mm)


def raster(
    rectangles: NDArray[np.float64], texts: tuple[Text, ...], size: tuple[float, float], px_per_mm: float
) -> NDArray[np.uint8]:
    """Return rectangles and words on white paper as a grey picture, area-exact but for the words."""
    width, height = (round(side * px_per_mm) for side in size)
    xs, ys = (np.unique(rectangles[:, [axis, axis + 2]].round(6)) for axis in (0, 1))
    grid = np.zeros((len(ys) - 1, len(xs) - 1))
    for x0, y0, x1, y1 in rectangles.round(6):
        grid[np.searchsorted(ys, y0) : np.searchsorted(ys, y1), np.searchsorted(xs, x0) : np.searchsorted(xs, x1)] = 1
    ink = _overlap(ys * px_per_mm, height).T @ grid @ _overlap(xs * px_per_mm, width)
    paper: NDArray[np.uint8] = np.rint(255 * (1 - ink.clip(0, 1))).astype(np.uint8)
    _print_words(paper, texts, px_per_mm)
    return paper


def _overlap(edges: NDArray[np.float64], pixels: int) -> NDArray[np.float64]:
    """How much of each pixel lies between consecutive edges, shape (intervals, pixels)."""
    at = np.arange(pixels)
    return (np.minimum(edges[1:, None], at + 1) - np.maximum(edges[:-1, None], at)).clip(min=0)


def _print_words(paper: NDArray[np.uint8], texts: tuple[Text, ...], px_per_mm: float) -> None:
    """Fill the outlines of the letters, anti-aliased, into a grey picture."""
    import cv2
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath

    font = FontProperties(family="DejaVu Sans")
    for text in texts:
        path = TextPath((0, 0), text.words, size=text.size, prop=font)
        rings = [np.asarray(ring) * [1, -1] + [text.x, text.y] for ring in path.to_polygons()]
        fixed = [np.rint((ring * px_per_mm - 0.5) * 16).astype(np.int32) for ring in rings]
        cv2.fillPoly(paper, fixed, 0, lineType=cv2.LINE_AA, shift=4)


def marker_sheet_pdf(paper: Paper = "A4") -> bytes:
    """Return the marker sheet as a PDF of one page, in its exact size; the same bytes every time."""
    layout = sheet_layout(paper)
    return pdf(dark_rectangles(layout), layout.texts, layout.size, f"photonest marker sheet, {paper}")


def pdf(rectangles: NDArray[np.float64], texts: tuple[Text, ...], size: tuple[float, float], title: str) -> bytes:
    """Return rectangles and words as a PDF page of `size` mm, the rectangles joined into seamless shapes."""
    from matplotlib.backends.backend_pdf import FigureCanvasPdf
    from matplotlib.figure import Figure
    from matplotlib.patches import PathPatch

    width, height = size
    figure = Figure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH))
    axes = figure.add_axes((0, 0, 1, 1), xlim=(0, width), ylim=(height, 0))
    axes.set_axis_off()
    axes.add_patch(PathPatch(_joined(rectangles), facecolor="black", linewidth=0, edgecolor="none", snap=False))
    for text in texts:
        points = text.size / MM_PER_INCH * 72
        axes.text(text.x, text.y, text.words, fontsize=points, family="DejaVu Sans", va="baseline", ha="left")
    file = io.BytesIO()
    FigureCanvasPdf(figure).print_pdf(file, metadata={"Title": title, "CreationDate": None})
    return file.getvalue()


def _joined(rectangles: NDArray[np.float64]) -> Any:
    """One compound path around rectangles that touch; side by side, each alone would leave a hairline between."""
    import shapely
    from matplotlib.path import Path
    from shapely.geometry.polygon import orient

    union = shapely.union_all(shapely.box(*rectangles.round(6).T), grid_size=1e-6)
    parts = [orient(part) for part in getattr(union, "geoms", [union])]
    rings = [ring for part in parts for ring in (part.exterior, *part.interiors)]
    return Path.make_compound_path(*(Path(np.asarray(ring.coords), closed=True) for ring in rings))
