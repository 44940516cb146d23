"""Cells of axes of a log, and what nests are worth at most by their first bowls: coarse for large cells, else fine.

A cell is a rectangle of axes (u, t) in every direction of a span. Cells are valued together, as arrays.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.nest.rules import Real
from photonest.nest.solve import FirstBowls, Workshop, first_bowl_values

FINEST = 1.0  # mm: cells reaching no farther ask all points and rims
MOST_HALVED = 4
FINE_RIMS, FINE_DEPTHS = 0.25, 0.5  # mm


class Cells(NamedTuple):
    """Rectangles of axes of one size, and which rims of each may still matter.

    Attributes
    ----------
    a, b : ndarray, shape (n,)
        Their middles, across and along.
    across, down : float
        Half their sides.
    rims : ndarray of bool, shape (n, m)
        By the rows of the table of first bowls of this `level`.
    level : int
        How many times the rows are halved in number.
    """

    a: Real
    b: Real
    across: float
    down: float
    rims: NDArray[np.bool_]
    level: int

    @property
    def reach(self) -> float:
        """Half a diagonal."""
        return math.hypot(self.across, self.down)

    def picked(self, which: NDArray[np.bool_] | NDArray[np.intp] | list[int]) -> Cells:
        """Return some of the cells."""
        return self._replace(a=self.a[which], b=self.b[which], rims=self.rims[which])

    def quarters(self) -> Cells:
        """Return each cell's quarters, or the halves of thin ones."""
        thin, flat = self.across < 0.6 * self.down, self.down < 0.6 * self.across
        sides = [(x, y) for x in ((0,) if thin else (-1, 1)) for y in ((0,) if flat else (-1, 1))]
        across, down = self.across / (1 if thin else 2), self.down / (1 if flat else 2)
        a = np.concatenate([self.a + x * across for x, _ in sides])
        b = np.concatenate([self.b + y * down for _, y in sides])
        return Cells(a, b, across, down, np.tile(self.rims, (len(sides), 1)), self.level)


def level_for(slack: float) -> int:
    """Return how many times points and rims may be halved in number for cells with so much slack, in mm."""
    return int(np.clip(math.log2(max(slack, 1e-9) / FINEST), 0, MOST_HALVED))


@dataclass(frozen=True)
class Table:
    """What nests are worth by their first bowls, none wider than `widest`: by spans of rims twice as wide a level."""

    levels: tuple[FirstBowls, ...]
    widest: float
    by_rims: bool

    def at_most(self, level: int, row: NDArray[np.intp], depth: Real, widest: Real | float = math.inf) -> Real:
        """Return the most that nests may rank whose first bowls are of some rows, no deeper and no wider."""
        first = self.levels[level]
        found = first.at_most(row, depth)
        over = first.high[row] - np.minimum(widest, self.widest)
        return found - 2 * np.maximum(over, 0.0) if self.by_rims else found

    def at(self, cells: Cells, level: int) -> Cells:
        """Return cells whose rims go by the rows of a finer or coarser level."""
        rims, low = cells.rims, self.levels[level].low
        if level < cells.level:
            rims = np.repeat(rims, 2 ** (cells.level - level), axis=1)[:, : len(low)]
        elif level > cells.level:
            wide = 2 ** (level - cells.level)
            padded = np.pad(rims, ((0, 0), (0, len(low) * wide - rims.shape[1])))
            rims = np.logical_or.reduce(padded.reshape(len(rims), len(low), wide), axis=2)
        return cells._replace(rims=np.logical_and(rims, low <= self.widest), level=level)


def table_of(work: Workshop, widest: float) -> Table:
    """Return the table of first bowls up to a widest rim radius."""
    shop = work.rules.shop
    most = shop.swing / 2 - shop.trueing
    steps = [2.0**k for k in range(MOST_HALVED + 1)]
    levels = (first_bowl_values(work, most, step=FINE_RIMS * k, down=FINE_DEPTHS * k) for k in steps)
    return Table(tuple(levels), widest, work.worth.objective == "bowls")
