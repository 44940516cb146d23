"""What is printed on the flat things of `tests.drawn.references`."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from photonest.scale.board import MARKER_CELLS, Text, marker_cells, raster, sheet_raster
from photonest.scale.cut_outs import MARGIN_MM, STRIP_MARKERS, STRIP_STEP_MM
from tests.drawn.camera import decode_srgb, encode_srgb
from tests.drawn.looks import Colour
from tests.drawn.noise import Array, Grid, clouds, generator, speckle
from tests.drawn.references import RULER_START, Item


@dataclass(frozen=True, eq=False)
class Artwork:
    """A print: sRGB bytes (rows, columns, 3); pixel (i, j) covers the mm from (j, i) to (j + 1, i + 1) times `step`."""

    pixels: NDArray[np.uint8]
    step: float


def artwork(item: Item, step: float) -> Artwork:
    """Return the item's print with pixels of about `step` mm or finer."""
    makers = {
        "marker-sheet": _sheet_art,
        "marker": _markers_art,
        "strip": _markers_art,
        "bar": _bar_art,
        "ruler": _ruler_art,
        "paper": _paper_art,
        "heap": _heap_art,
        "stick": _board_art,
        "card": _card_art,
        "book": _book_art,
        "tile": _tile_art,
        "label": _label_art,
        "board": _board_art,
        "log": _log_art,
    }
    return makers.get(item.kind, _plain_art)(item, step)


def _canvas(item: Item, step: float) -> NDArray[np.uint8]:
    columns, rows = (max(2, int(np.ceil(v / step))) for v in item.size)
    art = np.empty((rows, columns, 3), np.uint8)
    art[:] = np.clip(255 * np.array(item.colour), 0, 255).astype(np.uint8)
    return art


def _plain_art(item: Item, step: float) -> Artwork:
    art = _canvas(item, step)
    return Artwork(_mottled(art, generator(item.seed, "plain"), 1.5), step)


def _mottled(art: NDArray[np.uint8], rng: np.random.Generator, strength: float) -> NDArray[np.uint8]:
    import cv2

    small = rng.standard_normal((art.shape[0] // 12 + 2, art.shape[1] // 12 + 2, 1)).astype(np.float32)
    wide = cv2.resize(small, (art.shape[1], art.shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(np.clip(art + strength * wide[..., None], 0, 255).astype(np.uint8))


def _px_per_mm(step: float) -> int:
    return next((px for px in (2, 3, 4, 6, 8) if 1 / px <= step), 12)


def _sheet_art(item: Item, step: float) -> Artwork:
    fine = _px_per_mm(step)
    return Artwork(_sheet_print("Letter" if item.variant == "Letter" else "A4", fine), 1 / fine)


@functools.cache
def _sheet_print(paper: Literal["A4", "Letter"], px_per_mm: int) -> NDArray[np.uint8]:
    """Return the printed sheet: grey ink on paper that isn't quite white."""
    pixels = _mixed((0.10, 0.10, 0.10), (0.95, 0.95, 0.95), sheet_raster(paper, px_per_mm))
    pixels.setflags(write=False)
    return pixels


def _mixed(ink: Colour, ground: Colour, blank: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the print where `blank` of 255 of each pixel is free of ink: light adds up, sRGB values don't."""
    dark, light = decode_srgb(np.array(ink)), decode_srgb(np.array(ground))
    return encode_srgb(np.asarray(dark + (light - dark) * (blank[..., None] / np.float32(255)), np.float32))


def _inked(item: Item, rectangles: Array, texts: tuple[Text, ...], step: float, ink: Colour) -> Artwork:
    """Return rectangles (x0, y0, x1, y1) and words in one ink on the item's ground, area-exact."""
    fine = _px_per_mm(step)
    return Artwork(_mixed(ink, item.colour, raster(rectangles, texts, item.size, fine)), 1 / fine)


def _markers_art(item: Item, step: float) -> Artwork:
    """One marker, or the markers of a strip side by side."""
    cell = item.pitch / MARKER_CELLS
    parts = []
    for k in range(STRIP_MARKERS if item.kind == "strip" else 1):
        rows, columns = np.nonzero(marker_cells(item.number + k))
        at = np.array([MARGIN_MM + k * STRIP_STEP_MM, MARGIN_MM]) + np.stack([columns, rows], 1) * cell
        parts.append(np.hstack([at, at + cell]))
    return _inked(item, np.vstack(parts), (), step, (0.10, 0.10, 0.10))


def bar_origin(item: Item) -> Array:
    """Return where the first square of a bar has its upper left corner, in the item's own mm."""
    return (np.asarray(item.size) - item.pitch * np.array([item.number, 2])) / 2


def _bar_art(item: Item, step: float) -> Artwork:
    dark = np.array([(i, j) for j in range(2) for i in range(item.number) if (i + j) % 2 == 0], float)
    at = bar_origin(item) + dark * item.pitch
    return _inked(item, np.hstack([at, at + item.pitch]), (), step, (0.08, 0.08, 0.09))


@dataclass(frozen=True)
class RulerPrint:
    """How a ruler is marked, in mm: where ticks start, their lengths, how thick they and the figures are.

    Attributes
    ----------
    inset : float
        From the ruler's edge to where ticks start.
    short, longer : float
        Length of the finest ticks, and by how much each coarser kind is longer.
    second : str
        Ticks along the other edge: "", "mm", "inch" or "half" (every half millimetre).
    wear : float
        How much of the print is rubbed off, 0 to 1.
    """

    inset: float = 0.0
    short: float = 4.0
    longer: float = 1.6
    thick: float = 0.18
    figures: float = 4.0
    second: str = ""
    wear: float = 0.0


def _ruler_print(item: Item) -> RulerPrint:
    """Return a plain print for seed 0, else any."""
    inch = item.variant.endswith("inch")
    if not item.seed:
        return RulerPrint(short=3.0, longer=1.2, thick=0.22) if inch else RulerPrint()
    rng = generator(item.seed, "ruler")
    wide = item.size[1] > 24
    second = ("mm" if inch else "inch") if rng.random() < 0.4 else "half" if rng.random() < 0.15 else ""
    return RulerPrint(
        inset=float(rng.uniform(0.3, 1.5)) if rng.random() < 0.3 else 0.0,
        short=float(rng.uniform(2.4, 4.2)),
        longer=float(rng.uniform(0.9, 1.3) if inch else rng.uniform(1.0, 1.9)),
        thick=float(rng.uniform(0.13, 0.26)),
        figures=float(rng.uniform(2.6, 4.4)),
        second=second if wide else "",
        wear=float(rng.uniform(0, 1)) if rng.random() < 0.5 else 0.0,
    )


def _scale_marks(length: float, unit: str, marks: RulerPrint) -> tuple[Array, list[tuple[float, str]], float]:
    """Return ticks (x0, y0, x1, y1) from an upper edge, where figures stand with their middles, and their base line."""
    pitch, whole = {"mm": (1.0, 10), "half": (0.5, 20), "inch": (25.4 / 16, 16)}[unit]
    k = np.arange(round(length / pitch) + 1)
    kinds = {"mm": (5, 10), "half": (2, 10, 20), "inch": (2, 4, 8, 16)}[unit]
    tall = marks.short + marks.longer * sum((k % n == 0).astype(float) for n in kinds)
    x = RULER_START + k * pitch
    ticks = np.stack([x - marks.thick / 2, np.full(len(k), marks.inset), x + marks.thick / 2, marks.inset + tall], 1)
    figures = [(float(x[n]), str(n // whole)) for n in range(whole, len(k), whole)]
    return ticks, figures, float(marks.inset + tall.max() + marks.figures + 0.8)


def _ruler_art(item: Item, step: float) -> Artwork:
    """Ticks from the upper edge, maybe others from the lower; longer at fives and tens, or at parts of an inch."""
    marks = _ruler_print(item)
    unit = item.variant.split()[-1]
    length, width = item.size[0] - 2 * RULER_START, item.size[1]
    ticks, figures, base = _scale_marks(length, unit, marks)
    texts = [Text(x - 0.32 * marks.figures * len(t), base, marks.figures, t) for x, t in figures]
    if marks.second and width > 2 * base:
        other, figures, base = _scale_marks(length, marks.second, marks)
        ticks = np.vstack(
            [ticks, np.column_stack([other[:, 0], width - other[:, 3], other[:, 2], width - other[:, 1]])]
        )
        base = width - base + marks.figures
        texts += [Text(x - 0.32 * marks.figures * len(t), base, marks.figures, t) for x, t in figures]
    dark_ground = np.mean(item.colour) < 0.4
    art = _inked(item, ticks, tuple(texts), step, (0.88, 0.88, 0.86) if dark_ground else (0.08, 0.08, 0.09))
    return _worn(item, art, marks.wear) if item.seed else art


def _worn(item: Item, art: Artwork, wear: float) -> Artwork:
    """Rub a ruler's print off in places; give wood its grain and metal its brushing, and all some scratches."""
    import cv2

    rng = generator(item.seed, "wear")
    rows, columns = art.pixels.shape[:2]
    grid = Grid(0.0, 0.0, art.step, columns, rows)
    ground = np.asarray(item.colour, np.float32) * 255
    kept = 1 - wear * np.clip(clouds(grid, rng, 25.0, 3) * 0.7, 0, 1)[..., None]
    light = ground + (art.pixels.astype(np.float32) - ground) * kept
    fine, long, strength = (
        (1.5, 60.0, 0.05)
        if item.variant.startswith("wood")
        else (0.5, 90.0, 0.02 if item.variant.startswith("steel") else 0.006)
    )
    small = rng.standard_normal((max(4, int(item.size[1] / fine)), max(3, int(item.size[0] / long)))).astype(np.float32)
    light *= 1 + strength * cv2.resize(small, (columns, rows), interpolation=cv2.INTER_CUBIC)[..., None]
    for _ in range(int(rng.poisson(6 * wear))):
        ends = rng.uniform(0, 1, (2, 2)) * [columns, rows]
        ends[1] = ends[0] + (ends[1] - ends[0]) * rng.uniform(0.05, 0.3)
        tone = [float(v) for v in np.clip(ground * rng.uniform(0.75, 1.25), 0, 255)]
        first, second = ([int(v) for v in end] for end in ends)
        cv2.line(light, first, second, tone, max(1, round(0.2 / art.step)), cv2.LINE_AA)
    return Artwork(np.clip(light, 0, 255).astype(np.uint8), art.step)


def _paper_art(item: Item, step: float) -> Artwork:
    art = _canvas(item, step)
    rng = generator(item.seed, "paper")
    k = 1 / step
    w, h = item.size
    if item.variant.endswith("ruled"):
        for y in np.arange(18.0, h - 8, 8.0):
            art[int(y * k) : int(y * k) + max(1, int(0.25 * k))] = (170, 190, 215)
    elif item.variant.endswith("written"):
        for y in np.arange(25.0, 25.0 + 10.0 * int(rng.integers(1, 9)), 10.0):
            words = "".join(chr(97 + c) if c < 26 else " " for c in rng.integers(0, 30, int(rng.integers(8, 30))))
            _figures(art, words, (0.08 * w, float(y)), 5.0, [45.0, 45.0, 80.0], k)
    return Artwork(_mottled(art, rng, 1.2), step)


def _heap_art(item: Item, step: float) -> Artwork:
    art = _canvas(item, step).astype(np.float32)
    rng = generator(item.seed, "heap")
    grid = Grid(0.0, 0.0, step, art.shape[1], art.shape[0])
    tone = 1 + 0.16 * speckle(grid, rng, 0.5) + 0.14 * speckle(grid, rng, 1.3) + 0.06 * clouds(grid, rng, 12.0, 2)
    return Artwork(np.clip(art * tone[..., None], 0, 255).astype(np.uint8), step)


def _card_art(item: Item, step: float) -> Artwork:
    import cv2

    art = _canvas(item, step)
    rng = generator(item.seed, "card")
    k = 1 / step
    ground = np.array(item.colour) * 255
    if item.variant == "plain":
        return Artwork(_mottled(art, rng, 1.0), step)
    for _ in range(3):  # broad curves of a second tone
        centre = tuple(int(v) for v in rng.uniform(0, 1, 2) * [art.shape[1], art.shape[0]])
        tone = np.clip(ground * rng.uniform(0.85, 1.15) + rng.normal(0, 6, 3), 0, 255)
        cv2.circle(art, centre, int(rng.uniform(15, 50) * k), [float(v) for v in tone], -1, cv2.LINE_AA)
    ink = [float(v) for v in (np.full(3, 30.0) if ground.mean() > 128 else np.full(3, 235.0))]
    if item.variant == "bank":
        chip = np.array([[10, 19], [22, 19], [22, 28], [10, 28]]) * k
        cv2.fillPoly(art, [chip.astype(np.int32)], (205, 180, 110), cv2.LINE_AA)
        for j in range(4):
            _figures(art, "".join(str(d) for d in rng.integers(0, 10, 4)), (10 + 17 * j, 38), 5.0, ink, k)
        _figures(art, "M. SAMPLE", (10, 48), 3.2, ink, k)
    else:
        _figures(art, "WORKSHOP PASS", (8, 14), 4.5, ink, k)
        cv2.rectangle(art, (int(8 * k), int(20 * k)), (int(28 * k), int(46 * k)), (150.0, 140.0, 130.0), -1)
        for j in range(4):
            _figures(art, "".join(chr(97 + d) for d in rng.integers(0, 26, 10)), (33, 25 + 6 * j), 3.0, ink, k)
    return Artwork(_mottled(art, rng, 1.0), step)


def _figures(
    art: NDArray[np.uint8], text: str, at: tuple[float, float], height: float, ink: list[float], k: float
) -> None:
    import cv2

    scale = height * k / 21  # Hershey capitals are 21 units tall
    place = (int(at[0] * k), int(at[1] * k))
    cv2.putText(art, text, place, cv2.FONT_HERSHEY_SIMPLEX, scale, ink, max(1, int(0.10 * height * k)), cv2.LINE_AA)


def _book_art(item: Item, step: float) -> Artwork:
    import cv2

    art = _canvas(item, step)
    rng = generator(item.seed, "book")
    k = 1 / step
    w, h = item.size
    tone = [float(v) for v in np.clip(255 * np.array(item.colour) * 0.7, 0, 255)]
    cv2.rectangle(art, (0, 0), (int(0.07 * w * k), art.shape[0]), tone, -1)
    ink = [235.0, 225.0, 190.0] if np.mean(item.colour) < 0.6 else [40.0, 35.0, 30.0]
    _figures(art, "ORCHARD TREES", (0.15 * w, 0.3 * h), 0.08 * w, ink, k)
    cv2.circle(art, (int(0.55 * w * k), int(0.62 * h * k)), int(0.18 * min(w, h) * k), ink, max(1, int(k)), cv2.LINE_AA)
    return Artwork(_mottled(art, rng, 3.0), step)


def _tile_art(item: Item, step: float) -> Artwork:
    return Artwork(_mottled(_canvas(item, step), generator(item.seed, "tile"), 6.0), step)


def _label_art(item: Item, step: float) -> Artwork:
    art = _canvas(item, step)
    rng = generator(item.seed, "label")
    h = item.size[1]
    text = item.variant or f"{chr(65 + int(rng.integers(0, 26)))}{int(rng.integers(2, 99))}"
    tall = min(0.45 * h, 1.1 * item.size[0] / len(text))
    _figures(art, text, (0.1 * item.size[0], h / 2 + tall / 2), tall, [35.0, 35.0, 60.0], 1 / step)
    return Artwork(_mottled(art, rng, 2.0), step)


def _board_art(item: Item, step: float) -> Artwork:
    import cv2

    art = _canvas(item, step).astype(np.float32)
    rng = generator(item.seed, "board")
    small = rng.standard_normal((max(4, int(item.size[1] / 1.2)), max(3, int(item.size[0] / 40)))).astype(np.float32)
    grain = cv2.resize(small, (art.shape[1], art.shape[0]), interpolation=cv2.INTER_CUBIC)
    return Artwork(np.clip(art * (1 + 0.07 * grain[..., None]), 0, 255).astype(np.uint8), step)


def _log_art(item: Item, step: float) -> Artwork:
    """Another log's end, with wavy rings and bark."""
    rng = generator(item.seed, "log")
    step = max(step, 0.4)  # nothing on it is finer
    art = _canvas(item, step).astype(np.float32)
    w = item.size[0]
    grid = Grid(-w / 2, -w / 2, step, art.shape[1], art.shape[0])
    x, y = np.meshgrid(grid.x, grid.y)
    slow = clouds(grid, rng, 60.0, 3)
    r = np.hypot(x - np.float32(0.06 * w), y + np.float32(0.03 * w)) + 1.2 * slow
    dark = (r / np.float32(rng.uniform(2, 4.5)) + 0.4 * np.sin(r / 9)) % 1
    art *= (1 - 0.22 * dark**3 + 0.03 * slow)[..., None]
    heart = r < np.float32(rng.uniform(0.15, 0.35) * w)
    art[heart] *= np.array([0.86, 0.74, 0.66], np.float32)
    in_bark = np.hypot(x, y) + 1.5 * clouds(grid, rng, 14.0, 3) > np.float32(0.465 * w)
    art[in_bark] = np.array([80, 62, 50], np.float32) * (1 + 0.25 * clouds(grid, rng, 6.0, 3)[in_bark])[:, None]
    return Artwork(np.clip(art, 0, 255).astype(np.uint8), step)
