"""A page to draw on in millimetres of paper, and its PDF, SVG and PNG: one drawing for all three."""

from __future__ import annotations

import contextlib
import functools
import io
import re
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.report.style import BODY, INK, PAPER, Fill, Stroke

Format = Literal["png", "svg", "pdf"]
MM_PER_INCH = 25.4
MM_PER_POINT = MM_PER_INCH / 72
LINE_SPACING = 1.32
PEN_UP = np.full((1, 2), np.nan)
"""Between two lines that are drawn as one."""
ASCENT = 0.7
"""Share of a line's height above its baseline."""


@dataclass(frozen=True)
class Box:
    """An upright rectangle on the page, in mm; y grows downwards."""

    left: float
    top: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """The right edge."""
        return self.left + self.width

    @property
    def bottom(self) -> float:
        """The lower edge."""
        return self.top + self.height

    @property
    def corners(self) -> NDArray[np.float64]:
        """The four corners, shape (4, 2)."""
        return np.array(
            [[self.left, self.top], [self.right, self.top], [self.right, self.bottom], [self.left, self.bottom]]
        )

    def grown(self, margin: float) -> Box:
        """Return the rectangle with every edge moved outwards.

        >>> Box(0, 0, 10, 4).grown(1)
        Box(left=-1, top=-1, width=12, height=6)
        """
        return Box(self.left - margin, self.top - margin, self.width + 2 * margin, self.height + 2 * margin)

    def holds(self, x: float, y: float) -> bool:
        """Tell whether a point lies in the rectangle."""
        return self.left <= x <= self.right and self.top <= y <= self.bottom

    def shift_in(self, points: ArrayLike) -> NDArray[np.float64]:
        """Return how far points, shape (n, 2), must be moved together to lie inside, the upper left first; shape (2,).

        >>> Box(0, 0, 10, 4).shift_in([(8, -1), (13, 2)]).tolist()
        [-3.0, 1.0]
        """
        some = np.asarray(points, dtype=float)
        low, size = some.min(axis=0), np.ptp(some, axis=0)
        first, last = np.array([self.left, self.top]), np.array([self.right, self.bottom])
        return np.asarray(np.clip(low, first, np.maximum(first, last - size)) - low)

    def overlap(self, other: Box) -> float:
        """Return the area shared with another rectangle, in mm2.

        >>> Box(0, 0, 2, 2).overlap(Box(1, 1, 5, 5))
        1
        """
        across = min(self.right, other.right) - max(self.left, other.left)
        down = min(self.bottom, other.bottom) - max(self.top, other.top)
        return across * down if across > 0 and down > 0 else 0


class Page:
    """One page; everything on it is placed in mm from its upper left corner.

    Parameters
    ----------
    width, height : float
        Of the page, in mm.
    margin : float
        Kept free on every side by what is set in blocks, in mm.
    """

    def __init__(self, width: float, height: float, margin: float = 6.0) -> None:
        from matplotlib.figure import Figure

        self.width, self.height, self.margin = width, height, margin
        self.figure = Figure(figsize=(width / MM_PER_INCH, height / MM_PER_INCH), facecolor=PAPER)
        self.axes = self.figure.add_axes((0, 0, 1, 1))
        self.axes.set_xlim(0, width)
        self.axes.set_ylim(height, 0)
        self.axes.set_axis_off()
        self._order = 0
        self._shift = np.zeros(2)
        self._window: Box | None = None

    @property
    def left(self) -> float:
        """Where blocks begin."""
        return self.margin

    @property
    def right(self) -> float:
        """Where blocks end."""
        return self.width - self.margin

    @property
    def room(self) -> float:
        """The width between the margins."""
        return self.width - 2 * self.margin

    def line(self, points: ArrayLike, stroke: Stroke, *, closed: bool = False, clip: Box | None = None) -> None:
        """Draw a line through points, shape (n, 2)."""
        self.lines([points], stroke, closed=closed, clip=clip)

    def lines(
        self, lines: Iterable[ArrayLike], stroke: Stroke, *, closed: bool = False, clip: Box | None = None
    ) -> None:
        """Draw lines of one kind, each through points of shape (n, 2), as one: all their casings lie below them all."""
        parts: list[NDArray[np.float64]] = []
        for points in lines:
            xy = np.asarray(points, dtype=float) + self._shift
            parts += [xy, *([xy[:1]] if closed else []), PEN_UP]
        if not parts:
            return
        xy = np.vstack(parts[:-1])
        widths = [(stroke.colour, stroke.width, (0, stroke.dash) if stroke.dash else "solid")]
        if stroke.casing is not None:
            widths.insert(0, (stroke.casing, stroke.width + 2 * stroke.casing_width, "solid"))
        for colour, width, style in widths:
            (artist,) = self.axes.plot(
                xy[:, 0], xy[:, 1], color=colour, lw=width, ls=style, alpha=stroke.alpha,
                solid_capstyle="round", dash_capstyle="butt", solid_joinstyle="round", zorder=self._next(),
            )  # fmt: skip
            self._clip(artist, clip)

    def area(self, ring: ArrayLike, fill: Fill, *, holes: Sequence[ArrayLike] = (), clip: Box | None = None) -> None:
        """Fill a polygon, shape (n, 2), leaving out its holes."""
        self._fill([_wound(ring, clockwise=False), *(_wound(hole, clockwise=True) for hole in holes)], fill, clip)

    def areas(self, rings: Iterable[ArrayLike], fill: Fill, *, clip: Box | None = None) -> None:
        """Fill polygons of one kind, each of shape (n, 2), as one: no darker where they overlap."""
        self._fill([_wound(ring, clockwise=False) for ring in rings], fill, clip)

    def _fill(self, rings: Sequence[NDArray[np.float64]], fill: Fill, clip: Box | None) -> None:
        """Fill what closed rings wind about; a hole is wound the other way."""
        from matplotlib.patches import PathPatch
        from matplotlib.path import Path

        if not rings:
            return
        outline = Path.make_compound_path(*(Path(points + self._shift, closed=True) for points in rings))
        common: dict[str, Any] = {"zorder": self._next()}
        patches = [PathPatch(outline, facecolor=fill.colour, edgecolor="none", alpha=fill.alpha, lw=0, **common)]
        if fill.hatch or fill.edge_width:
            patches.append(
                PathPatch(
                    outline, facecolor="none", edgecolor=fill.edge, lw=fill.edge_width, hatch=fill.hatch, **common
                )
            )
        for patch in patches:
            self.axes.add_patch(patch)
            self._clip(patch, clip)

    def rectangle(self, box: Box, fill: Fill) -> None:
        """Fill a rectangle."""
        self.area(box.corners, fill)

    def text(
        self,
        x: float,
        y: float,
        words: str,
        *,
        size: float = BODY,
        bold: bool = False,
        colour: str = INK,
        across: Literal["left", "center", "right"] = "left",
        upright: Literal["top", "center", "baseline", "bottom"] = "baseline",
        turned: float = 0.0,
    ) -> None:
        """Write one line of text; characters the font lacks become question marks.

        In a window a text is never cut: one that begins outside is left to the window there, and one that would
        reach over an edge is moved inside.
        """
        if not words:
            return
        x, y = x + float(self._shift[0]), y + float(self._shift[1])
        if self._window is not None:
            if not self._window.holds(x, y):
                return
            share = {"left": 0.0, "center": 0.5, "right": 1.0}[across]
            at = np.array([x, y])
            x, y = at + self._window.shift_in(at + _text_corners(words, size, bold, turned, share))
        artist = self.axes.text(
            x, y, printable(words), fontsize=size, fontweight="bold" if bold else "normal", color=colour,
            ha=across, va="center_baseline" if upright == "center" else upright, rotation=turned,
            rotation_mode="anchor", zorder=self._next(),
        )  # fmt: skip
        self._clip(artist, None)

    def paragraph(
        self, x: float, y: float, words: str, width: float, *, size: float = BODY, bold: bool = False, colour: str = INK
    ) -> float:
        """Write text in lines no wider than `width`, the first one just below y; return where the next may start."""
        for line in wrapped(words, width, size, bold):
            y += line_height(size)
            self.text(x, y - (1 - ASCENT) * line_height(size), line, size=size, bold=bold, colour=colour)
        return y

    def image(self, pixels: NDArray[np.uint8], box: Box) -> None:
        """Lay a picture, shape (height, width, 3), into a rectangle."""
        self.axes.imshow(
            _with_alpha(pixels), extent=(box.left, box.right, box.bottom, box.top), aspect="auto",
            interpolation="bilinear", zorder=self._next(),
        )  # fmt: skip
        self.axes.set_xlim(0, self.width)
        self.axes.set_ylim(self.height, 0)

    def trim(self, height: float) -> None:
        """Cut the page off below a height."""
        self.height = height
        self.figure.set_size_inches(self.width / MM_PER_INCH, height / MM_PER_INCH)
        self.axes.set_ylim(height, 0)

    def _next(self) -> int:
        self._order += 1
        return self._order

    @contextlib.contextmanager
    def window(self, box: Box, shift: tuple[float, float]) -> Iterator[None]:
        """Draw shifted by (dx, dy) mm, and only what lies in a rectangle of the page."""
        self._shift, self._window = np.asarray(shift, dtype=float), box
        try:
            yield
        finally:
            self._shift, self._window = np.zeros(2), None

    def _clip(self, artist: Any, clip: Box | None) -> None:
        clip = self._window if self._window is not None else clip
        if clip is not None:
            from matplotlib.patches import Rectangle

            frame = Rectangle((clip.left, clip.top), clip.width, clip.height, transform=self.axes.transData)
            artist.set_clip_path(frame)
            artist.set_clip_on(True)


def save(page: Page, format: Format, *, dpi: float = 200) -> bytes:
    """Return the page as a file; the same drawing always gives the same bytes."""
    no_date: dict[str, dict[str, Any]] = {
        "png": {"Software": "photonest"},
        "svg": {"Date": None, "Creator": "photonest"},
        "pdf": {"CreationDate": None, "Creator": "photonest", "Producer": "photonest"},
    }
    quick: dict[str, Any] = {"pil_kwargs": {"compress_level": 3}} if format == "png" else {}
    file = io.BytesIO()
    page.figure.savefig(file, format=format, dpi=dpi, metadata=no_date[format], **quick)
    return file.getvalue()


def save_book(pages: Sequence[Page], title: str) -> bytes:
    """Return several pages as one PDF."""
    from matplotlib.backends.backend_pdf import PdfPages

    file = io.BytesIO()
    facts = {"CreationDate": None, "Creator": "photonest", "Producer": "photonest", "Title": title}
    with PdfPages(file, metadata=facts) as book:
        for page in pages:
            book.savefig(page.figure, dpi=200)
    return file.getvalue()


def line_height(size: float) -> float:
    """Return the distance of one line of text from the next in mm, for a type size in points."""
    return size * LINE_SPACING * MM_PER_POINT


def text_width(words: str, size: float, bold: bool = False) -> float:
    """Return how wide a line of text is, in mm."""
    return _width_in_ems(printable(words), bold) * size * MM_PER_POINT


def _text_corners(words: str, size: float, bold: bool, turned: float, share: float) -> NDArray[np.float64]:
    """Return the corners of a line of text, turned in degrees against the clock, about a share of its width; (4, 2)."""
    wide, high = text_width(words, size, bold), line_height(size)
    turn = np.radians(turned)
    along, down = np.array([np.cos(turn), -np.sin(turn)]), np.array([np.sin(turn), np.cos(turn)])
    return np.array([wide * x * along + high * y * down for x in (-share, 1 - share) for y in (-ASCENT, 1 - ASCENT)])


def wrapped(words: str, width: float, size: float, bold: bool = False) -> list[str]:
    """Return the lines that a text takes when none may be wider than `width` mm; a longer word stands alone.

    A number stays with its unit, and a sign with its number.

    >>> wrapped("green wood moves 12 mm", 30, 12)
    ['green wood', 'moves', '12 mm']
    """
    lines: list[str] = []
    for word in _words(words):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, bold) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


def printable(words: str) -> str:
    """Return a text without line breaks and control characters, '?' for each character the font lacks."""
    known = _characters()
    plain = unicodedata.normalize("NFC", " ".join(words.split()))
    return "".join(letter if ord(letter) in known else "?" for letter in plain)


def _words(words: str) -> list[str]:
    """Return the parts of a text between which a line may end."""
    glued = re.sub(r"(?<=[Ø±\d]) (?=mm\b|rpm\b|in\b|[%±\d])", "\0", " ".join(words.split()))
    return [part.replace("\0", " ") for part in glued.split(" ") if part]


def _with_alpha(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return a picture with a fourth, opaque channel, which matplotlib otherwise adds in floating point."""
    return np.dstack([pixels, np.full(pixels.shape[:2], 255, np.uint8)])


@functools.cache
def _characters() -> frozenset[int]:
    from matplotlib import font_manager

    font = font_manager.get_font(font_manager.findfont("DejaVu Sans"))
    return frozenset(font.get_charmap())


@functools.lru_cache(maxsize=4096)
def _width_in_ems(words: str, bold: bool) -> float:
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    font = FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal", size=100)
    width, _, _ = text_to_path.get_text_width_height_descent(words, font, ismath=False)
    return float(width) / 100


def _wound(ring: ArrayLike, *, clockwise: bool) -> NDArray[np.float64]:
    """Return a ring closed and wound as asked, so that holes stay empty whatever way they were given."""
    points = np.asarray(ring, dtype=float)
    x, y = points.T
    turning = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    if (turning > 0) != clockwise:
        points = points[::-1]
    return np.vstack([points, points[:1]])
