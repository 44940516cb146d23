"""Printed sheets: labels with a short code and its QR symbol, and an overview of the stock in pictures."""

from __future__ import annotations

import functools
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from photonest.catalogue.entries import Entry
from photonest.model import CatalogueError
from photonest.report.book import PAPERS, Paper

if TYPE_CHECKING:
    from PIL.Image import Image

DPI = 300
LARGEST = 10.0
"""Size of a label's code in mm, its letters 7 mm high: legible from 2 m at 3 mm a metre (common practice)."""
QUIET = 4
"""Blank modules round a QR symbol that ISO/IEC 18004 asks for."""


@dataclass(frozen=True)
class Grid:
    """Cells on a page, in mm."""

    columns: int
    rows: int
    width: float
    height: float
    left: float
    top: float

    @property
    def size(self) -> int:
        """How many cells it has."""
        return self.columns * self.rows

    def corner(self, index: int) -> tuple[int, int]:
        """Return the upper left corner of a cell in pixels."""
        row, column = divmod(index, self.columns)
        return px(self.left + column * self.width), px(self.top + row * self.height)


LABEL, PIECE = (70.0, 37.0), (47.5, 56.0)
LABELS = {"A4": Grid(3, 8, *LABEL, 0.0, 0.5), "Letter": Grid(3, 7, *LABEL, 2.95, 10.2)}
STOCK = {"A4": Grid(4, 5, *PIECE, 10.0, 8.0), "Letter": Grid(4, 4, *PIECE, 12.95, 27.7)}


def px(mm: float) -> int:
    """Return a length on paper in pixels."""
    return round(mm * DPI / 25.4)


def label_sheet(entries: Sequence[Entry], skip: int = 0, paper: Paper = "A4") -> bytes:
    """Return a PDF of labels of 70 x 37 mm, 24 to a page of A4, 21 to one of Letter.

    Parameters
    ----------
    entries : sequence of Entry
    skip : int
        Labels of the first page that are already used up.
    paper : {"A4", "Letter"}
    """
    most = LABELS[paper].size
    if not 0 <= skip < most:
        raise CatalogueError(f"A page has {most} labels; {skip} can't be skipped.")
    return _pdf(_pages(LABELS[paper], PAPERS[paper], [None] * skip + list(entries), _draw_label))


def stock_sheet(
    entries: Sequence[Entry], thumbnail: Callable[[Entry], bytes], format: str = "pdf", paper: Paper = "A4"
) -> bytes:
    """Return an overview of entries as pictures with size, species, day and warnings.

    Parameters
    ----------
    entries : sequence of Entry
    thumbnail : callable
        Gives the JPEG of an entry.
    format : {"pdf", "png"}
        A PDF has a page for each 20 entries (16 on Letter); a PNG is one tall picture.
    paper : {"A4", "Letter"}
    """

    def draw(page: Any, x: int, y: int, entry: Entry) -> None:
        _draw_piece(page, x, y, entry, thumbnail(entry))

    pages = _pages(STOCK[paper], PAPERS[paper], list(entries), draw)
    return _pdf(pages) if format == "pdf" else _png(pages)


def _pages(
    grid: Grid,
    paper: tuple[float, float],
    cells: Sequence[Entry | None],
    draw: Callable[[Any, int, int, Entry], None],
) -> list[Image]:
    from PIL import Image

    if not any(cell is not None for cell in cells):
        raise CatalogueError("There is nothing to print.", "Nothing in the catalogue is like what was asked for.")
    pages = []
    for first in range(0, len(cells), grid.size):
        page = Image.new("RGB", (px(paper[0]), px(paper[1])), "white")
        for index, entry in enumerate(cells[first : first + grid.size]):
            if entry is not None:
                draw(page, *grid.corner(index), entry)
        pages.append(page)
    return pages


def _draw_label(page: Any, x: int, y: int, entry: Entry) -> None:
    symbol = qr_picture(entry.code, px(29.0))
    page.paste(symbol, (x + px(3.0), y + (px(LABEL[1]) - symbol.height) // 2))
    left, width = x + px(34.0), px(33.0)
    _write(page, left, y + px(3.0), width, entry.code, _code_mm(entry.code, width))
    size = f"{entry.min_diameter:.0f}–{entry.max_diameter:.0f} mm"
    lines = [entry.species or "", size, f"in {entry.added_day}", entry.place or ""]
    for index, text in enumerate(line for line in lines if line):
        _write(page, left, y + px(15.0 + 4.6 * index), width, text, 3.2)


def _code_mm(code: str, width: int) -> float:
    """Return the size of type in which all of a code goes into a width in pixels: large, to be read off a shelf."""
    wide = float(_font(px(LARGEST)).getlength(code))
    return min(LARGEST, 0.98 * LARGEST * width / wide)  # a little less, since type is set in whole pixels


def qr_picture(text: str, side: int) -> Image:
    """Return a QR symbol (ISO/IEC 18004, error correction Q) at most `side` pixels wide, its quiet zone included."""
    import segno
    from PIL import Image

    symbol = segno.make(text, error="q", micro=False, boost_error=False)
    modules = symbol.symbol_size(border=QUIET)[0]
    out = io.BytesIO()
    symbol.save(out, kind="png", scale=max(1, side // modules), border=QUIET)
    return Image.open(out).convert("RGB")


def _draw_piece(page: Any, x: int, y: int, entry: Entry, thumbnail: bytes) -> None:
    from PIL import Image, ImageDraw

    width, height = px(PIECE[0] - 4.0), px(33.0)
    try:
        with Image.open(io.BytesIO(thumbnail)) as opened:
            picture = opened.convert("RGB")
    except OSError:  # Pillow's, for what is no picture or is cut off
        picture = Image.new("RGB", (4, 3), "#cccccc")
    scale = min(width / picture.width, height / picture.height)
    picture = picture.resize((round(picture.width * scale), round(picture.height * scale)))
    page.paste(picture, (x + (width - picture.width) // 2, y))
    clear = "no clear circle" if entry.clear_diameter is None else f"clear {entry.clear_diameter:.0f} mm"
    lines = [
        f"{entry.code}  {entry.species or 'unknown wood'}",
        f"{entry.min_diameter:.0f}–{entry.max_diameter:.0f} mm, {clear}",
        f"{entry.state} since {entry.state_day}",
        entry.place or "",
    ]
    top = y + height + px(1.5)
    for index, text in enumerate(lines):
        _write(page, x, top + px(4.0 * index), width, text, 3.0)
    if entry.warnings:
        told = f"{entry.warnings} warning{'s' if entry.warnings > 1 else ''}"
        bottom = top + px(4.0 * len(lines))
        ImageDraw.Draw(page).rectangle((x, bottom, x + px(20.0), bottom + px(4.2)), outline="black", width=3)
        _write(page, x + px(1.0), bottom + px(0.5), width, told, 2.8)


def _write(page: Any, x: int, y: int, width: int, text: str, size_mm: float) -> None:
    """Write one line, shortened to a width in pixels."""
    from PIL import ImageDraw

    font = _font(px(size_mm))
    line = " ".join(text.split())
    while line and font.getlength(line) > width:
        line = line[:-2].rstrip() + "…" if len(line) > 2 else ""
    ImageDraw.Draw(page).text((x, y), line, fill="black", font=font)


@functools.lru_cache(maxsize=16)
def _font(size: int) -> Any:
    """Return DejaVu Sans, which Matplotlib brings along: it knows far more letters than Pillow's own font."""
    from matplotlib import get_data_path
    from PIL import ImageFont

    return ImageFont.truetype(str(Path(get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"), size)


def _pdf(pages: Sequence[Image]) -> bytes:
    out = io.BytesIO()
    pages[0].save(out, "PDF", resolution=DPI, save_all=True, append_images=list(pages[1:]))
    return out.getvalue()


def _png(pages: Sequence[Image]) -> bytes:
    from PIL import Image

    tall = Image.new("RGB", (pages[0].width, sum(page.height for page in pages)), "white")
    for index, page in enumerate(pages):
        tall.paste(page, (0, index * page.height))
    out = io.BytesIO()
    tall.resize((tall.width // 2, tall.height // 2)).save(out, "PNG")
    return out.getvalue()
