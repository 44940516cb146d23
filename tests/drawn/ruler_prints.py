"""What is printed on rulers, tape measures and fold rules, and how use wears it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photonest.scale.board import Text, raster
from tests.drawn.camera import decode_srgb, encode_srgb
from tests.drawn.ink import Artwork, mixed, px_per_mm
from tests.drawn.looks import Colour
from tests.drawn.noise import Array, Grid, clouds, generator
from tests.drawn.references import RULER_START, Item

PITCHES = {"mm": 1.0, "half": 0.5, "eighths": 25.4 / 8, "inch": 25.4 / 16, "thirty-seconds": 25.4 / 32}
WHOLES = {"mm": 10, "half": 20, "eighths": 8, "inch": 16, "thirty-seconds": 32}
KINDS: dict[str, tuple[int, ...]] = {
    "mm": (5, 10), "half": (2, 10, 20), "eighths": (2, 4, 8), "inch": (2, 4, 8, 16),
    "thirty-seconds": (2, 4, 8, 16, 32),
}  # fmt: skip
"""Of ticks along an edge: their spacing in mm, how many make what figures stand at, and which are longer."""
RED: Colour = (0.75, 0.08, 0.08)
HINGE_MM, LIMB_MM = 200.0, 235.0
"""Between the joints of a fold rule, and the length of a limb; common sizes, from memory."""


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
        Ticks along the other edge: "" or one of `PITCHES`.
    wear : float
        How much of the print is rubbed off, 0 to 1.
    base_line : bool
        A thin line runs along the feet of the ticks.
    red : int
        After how many figures one is red; 0: none is.
    """

    inset: float = 0.0
    short: float = 4.0
    longer: float = 1.6
    thick: float = 0.18
    figures: float = 4.0
    second: str = ""
    wear: float = 0.0
    base_line: bool = False
    red: int = 0


def ruler_print(item: Item) -> RulerPrint:
    """Return a plain print for seed 0, else any of the ruler's make."""
    inch = item.variant.endswith("inch")
    if not item.seed:
        return RulerPrint(short=3.0, longer=1.2, thick=0.22) if inch else RulerPrint()
    rng = generator(item.seed, "ruler")
    make = item.variant.split()[0]
    other = "mm" if inch else "inch"
    if make in ("tape", "whitetape", "fold", "whitefold"):  # narrow: ticks leave the middle to one row of figures
        width, tape = item.size[1], "tape" in make
        kinds = len(KINDS["inch" if inch else "mm"])
        short = float(rng.uniform(0.12, 0.18)) * width
        return RulerPrint(
            short=short,
            longer=float(rng.uniform(0.32, 0.42) * width - short) / kinds,
            thick=float(rng.uniform(0.15, 0.3)),
            figures=float(rng.uniform(0.2, 0.3)) * width,
            second="" if rng.random() < 0.2 else other if tape and rng.random() < 0.4 else "inch" if inch else "mm",
            wear=float(rng.uniform(0.2, 1)) if rng.random() < 0.5 else 0.0,
            red=12 if inch else 10,
        )
    wide = item.size[1] > 24
    second = other if rng.random() < 0.4 else "half" if rng.random() < 0.15 else ""
    plain = RulerPrint(
        inset=float(rng.uniform(0.3, 1.5)) if rng.random() < 0.3 else 0.0,
        short=float(rng.uniform(2.4, 4.2)),
        longer=float(rng.uniform(0.9, 1.3) if inch else rng.uniform(1.0, 1.9)),
        thick=float(rng.uniform(0.13, 0.26)),
        figures=float(rng.uniform(2.6, 4.4)),
        second=second if wide else "",
        wear=float(rng.uniform(0, 1)) if rng.random() < 0.5 else 0.0,
    )
    if make == "engineer":
        seconds = ("half", "mm") if not inch else ("thirty-seconds", "eighths", "inch")
        return replace(plain, inset=0.0, second=seconds[int(rng.integers(len(seconds)))], short=2.2, figures=2.6)
    if make in ("clear", "quilt"):
        return replace(plain, wear=0.3 * plain.wear, second=plain.second if make == "clear" else "")
    return replace(plain, base_line=True) if rng.random() < 0.15 else plain


def scale_marks(length: float, unit: str, marks: RulerPrint) -> tuple[Array, list[tuple[float, str]], float]:
    """Return ticks (x0, y0, x1, y1) from an upper edge, where figures stand with their middles, and their base line."""
    pitch, whole = PITCHES[unit], WHOLES[unit]
    k = np.arange(round(length / pitch) + 1)
    tall = marks.short + marks.longer * sum((k % n == 0).astype(float) for n in KINDS[unit])
    x = RULER_START + k * pitch
    ticks = np.stack([x - marks.thick / 2, np.full(len(k), marks.inset), x + marks.thick / 2, marks.inset + tall], 1)
    figures = [(float(x[n]), str(n // whole)) for n in range(whole, len(k), whole)]
    return ticks, figures, float(marks.inset + tall.max() + marks.figures + 0.8)


def ruler_art(item: Item, step: float) -> Artwork:
    """Ticks from the upper edge, maybe others from the lower; longer at fives and tens, or at parts of an inch."""
    marks = ruler_print(item)
    make, unit = item.variant.split()[0], item.variant.split()[-1]
    length, width = item.size[0] - 2 * RULER_START, item.size[1]
    ticks, figures, base = scale_marks(length, unit, marks)
    texts = _written(marks, figures, base)
    narrow = make in ("tape", "whitetape", "fold", "whitefold")
    if narrow:
        texts = _written(marks, figures, (width + 0.7 * marks.figures) / 2)
    if marks.second and (narrow or width > 2 * base):
        other, figures, base = scale_marks(length, marks.second, marks)
        ticks = np.vstack(
            [ticks, np.column_stack([other[:, 0], width - other[:, 3], other[:, 2], width - other[:, 1]])]
        )
        texts += [] if narrow else _written(marks, figures, width - base + marks.figures)
    if marks.base_line:
        ticks = np.vstack([ticks, [0.0, marks.inset, item.size[0], marks.inset + 0.2]])
    if make == "quilt":
        ticks = np.vstack([ticks, _grid_lines(item, marks.inset)])
    dark_ground = np.mean(item.colour) < 0.4
    ink = (0.88, 0.88, 0.86) if dark_ground else (0.08, 0.08, 0.09)
    fine = px_per_mm(step)
    black = tuple(text for text, red in texts if not red)
    pixels = mixed(ink, item.colour, raster(ticks, black, item.size, fine))
    red = tuple(text for text, red in texts if red)
    if red:
        pixels = _overprinted(pixels, RED, raster(np.zeros((1, 4)), red, item.size, fine))
    if make in ("fold", "whitefold"):
        _joints(item, pixels, fine)
    if make in ("tape", "whitetape"):
        _hook(pixels, fine, float(generator(item.seed, "hook").uniform(9, 16)))
    art = Artwork(pixels, 1 / fine)
    return _worn(item, art, marks.wear) if item.seed else art


def _written(marks: RulerPrint, figures: list[tuple[float, str]], base: float) -> list[tuple[Text, bool]]:
    """Return figures as words on their base line, and which of them are red."""
    return [
        (Text(x - 0.32 * marks.figures * len(word), base, marks.figures, word), bool(marks.red and not n % marks.red))
        for n, (x, word) in enumerate(figures, 1)
    ]


def _grid_lines(item: Item, inset: float) -> Array:
    """Return lines of a ruler that cloth is cut along: every inch or centimetre along and across, from end to end."""
    every, thick = (25.4 if item.variant.endswith("inch") else 10.0), 0.2
    x = np.arange(RULER_START, item.size[0], every)
    y = np.arange(inset + every, item.size[1], every)
    upright = np.stack([x - thick / 2, np.full(len(x), inset), x + thick / 2, np.full(len(x), item.size[1])], 1)
    level = np.stack([np.zeros(len(y)), y - thick / 2, np.full(len(y), item.size[0]), y + thick / 2], 1)
    return np.vstack([upright, level])


def _overprinted(pixels: NDArray[np.uint8], ink: Colour, blank: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return a print with another ink over it where `blank` is dark."""
    share = blank[..., None] / np.float32(255)
    light = decode_srgb(pixels) * share + decode_srgb(np.array(ink)) * (1 - share)
    return encode_srgb(np.asarray(light, np.float32))


def _joints(item: Item, pixels: NDArray[np.uint8], fine: int) -> None:
    """Draw where the limbs of a fold rule end and the rivets that hold them."""
    import cv2

    width = item.size[1]
    for x in np.arange(RULER_START + LIMB_MM - HINGE_MM / 10, item.size[0], HINGE_MM):
        for end in (x - 17.0, x + 17.0):
            column = int(np.clip(end * fine, 0, pixels.shape[1] - 1))
            pixels[:, column : column + max(1, fine // 2)] = (60, 50, 40)
        middle = (int(x * fine), int(width * fine / 2))
        cv2.circle(pixels, middle, int(0.28 * width * fine), (150.0, 150.0, 150.0), -1, cv2.LINE_AA)
        cv2.circle(pixels, middle, int(0.12 * width * fine), (95.0, 95.0, 95.0), -1, cv2.LINE_AA)


def _hook(pixels: NDArray[np.uint8], fine: int, long: float) -> None:
    """Draw the hook of a tape measure over its first mm."""
    import cv2

    columns, tall = int((RULER_START + long) * fine), pixels.shape[0]
    pixels[int(0.1 * tall) : int(0.9 * tall), :columns] = (168, 168, 170)
    for y in (0.33, 0.67):
        cv2.circle(pixels, (int(0.6 * columns), int(y * tall)), int(1.6 * fine), (110.0, 110.0, 112.0), -1, cv2.LINE_AA)
    pixels[:, : max(1, fine)] = (120, 120, 122)


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
