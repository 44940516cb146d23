"""What is printed on the references made to measure by: sheets and markers, bars; for rulers see `ruler_prints`."""

from __future__ import annotations

import functools
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from photonest.scale.board import MARKER_CELLS, marker_cells, sheet_raster
from photonest.scale.cut_outs import MARGIN_MM, STRIP_MARKERS, STRIP_STEP_MM
from tests.drawn.ink import Artwork, inked, mixed, px_per_mm
from tests.drawn.noise import Array
from tests.drawn.references import Item


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
