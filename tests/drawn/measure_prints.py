"""What is printed on the references made to measure by: sheets and markers, bars, rulers."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from photonest.scale.board import MARKER_CELLS, Text, marker_cells, sheet_raster
from photonest.scale.cut_outs import MARGIN_MM, STRIP_MARKERS, STRIP_STEP_MM
from tests.drawn.ink import Artwork, inked, mixed, px_per_mm
from tests.drawn.noise import Array, Grid, clouds, generator
from tests.drawn.references import RULER_START, Item


def sheet_art(item: Item, step: float) -> Artwork:
    """The printed marker sheet."""
    fine = px_per_mm(step)
    return Artwork(_sheet_print("Letter" if item.variant == "Letter" else "A4", fine), 1 / fine)


@functools.cache
def _sheet_print(paper: Literal["A4", "Letter"], fine: int) -> NDArray[np.uint8]:
    """Return the printed sheet: grey ink on paper that isn't quite white."""
    pixels = mixed((0.10, 0.10, 0.10), (0.95, 0.95, 0.95), sheet_raster(paper, fine))
    pixels.setflags(write=False)
    return pixels


def markers_art(item: Item, step: float) -> Artwork:
    """One marker, or the markers of a strip side by side."""
    cell = item.pitch / MARKER_CELLS
    parts = []
    for k in range(STRIP_MARKERS if item.kind == "strip" else 1):
        rows, columns = np.nonzero(marker_cells(item.number + k))
        at = np.array([MARGIN_MM + k * STRIP_STEP_MM, MARGIN_MM]) + np.stack([columns, rows], 1) * cell
        parts.append(np.hstack([at, at + cell]))
    return inked(item, np.vstack(parts), (), step, (0.10, 0.10, 0.10))


def bar_origin(item: Item) -> Array:
    """Return where the first square of a bar has its upper left corner, in the item's own mm."""
    return (np.asarray(item.size) - item.pitch * np.array([item.number, 2])) / 2


def bar_art(item: Item, step: float) -> Artwork:
    """A chequered bar."""
    dark = np.array([(i, j) for j in range(2) for i in range(item.number) if (i + j) % 2 == 0], float)
    at = bar_origin(item) + dark * item.pitch
    return inked(item, np.hstack([at, at + item.pitch]), (), step, (0.08, 0.08, 0.09))


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


def ruler_art(item: Item, step: float) -> Artwork:
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
    art = inked(item, ticks, tuple(texts), step, (0.88, 0.88, 0.86) if dark_ground else (0.08, 0.08, 0.09))
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
