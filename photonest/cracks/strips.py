"""The face laid out straight: grids of cells down whose columns the cracks sought run.

About a pith the cells lie in polar coordinates, rows along the radius: a radial check becomes a nearly upright line
whatever its bearing; or bearings run down the columns, for ring shakes. Without a pith the face is only turned.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
Reals = NDArray[np.floating]
Places = NDArray[np.floating] | NDArray[np.integer]
CELL = 2.0  # pixels from cell to cell


@dataclass(frozen=True)
class PolarGrid:
    """Rows of equal radius and columns of equal bearing about a centre; bearings wrap around.

    Attributes
    ----------
    centre : (x, y)
        In pixels.
    rows : int
        Row i has radius ``CELL (i + 1/2)``.
    columns : int
        Column j has bearing ``2 pi j / columns``, from x towards y.
    """

    centre: tuple[float, float]
    rows: int
    columns: int

    wraps = True
    steps = np.float32(1.0)

    def at(self, rows: Places, columns: Places) -> tuple[Reals, Reals]:
        """Return x and y in pixels of places on the grid.

        >>> x, y = PolarGrid((10.0, 10.0), 8, 4).at(np.array([1.5]), np.array([1.0]))
        >>> x.round(6).tolist(), y.round(6).tolist()
        ([10.0], [14.0])
        """
        angle, radius = columns * (2 * np.pi / self.columns), CELL * (rows + 0.5)
        return self.centre[0] + radius * np.cos(angle), self.centre[1] + radius * np.sin(angle)


@dataclass(frozen=True)
class RingGrid:
    """Rows of equal bearing and columns of equal radius: a ring shake runs down the columns.

    Attributes
    ----------
    centre : (x, y)
        In pixels.
    round_ : int
        Rows that make a full turn; the first eighth comes again at the end, so that no shake is cut there.
    columns : int
        Column j has radius ``CELL (j + 1/2)``.
    """

    centre: tuple[float, float]
    round_: int
    columns: int

    wraps = False

    @property
    def rows(self) -> int:
        """Number of rows."""
        return self.round_ // 8 * 9

    @property
    def steps(self) -> Floats:
        """Cells from row to row, of each column: few near the centre.

        >>> [round(float(step), 2) for step in RingGrid((10.0, 10.0), 8, 2).steps]
        [0.39, 1.18]
        """
        return np.asarray(2 * np.pi / self.round_ * (np.arange(self.columns) + 0.5), np.float32)

    def at(self, rows: Places, columns: Places) -> tuple[Reals, Reals]:
        """Return x and y in pixels of places on the grid.

        >>> x, y = RingGrid((10.0, 10.0), 8, 4).at(np.array([2.0]), np.array([1.5]))
        >>> x.round(6).tolist(), y.round(6).tolist()
        ([10.0], [14.0])
        """
        return PolarGrid(self.centre, self.columns, self.round_).at(columns, rows)


@dataclass(frozen=True)
class TurnedGrid:
    """The picture turned about a centre: rows run along `bearing`, columns across it.

    Attributes
    ----------
    centre : (x, y)
        In pixels; lies in the middle of the grid.
    rows, columns : int
        Size of the grid.
    bearing : float
        Direction of growing rows in radians, from x towards y.
    """

    centre: tuple[float, float]
    rows: int
    columns: int
    bearing: float

    wraps = False
    steps = np.float32(1.0)

    def at(self, rows: Places, columns: Places) -> tuple[Reals, Reals]:
        """Return x and y in pixels of places on the grid.

        >>> x, y = TurnedGrid((10.0, 10.0), 5, 5, np.pi / 2).at(np.array([3.0]), np.array([2.0]))
        >>> x.round(6).tolist(), y.round(6).tolist()
        ([10.0], [12.0])
        """
        along, across = CELL * (rows - (self.rows - 1) / 2), CELL * (columns - (self.columns - 1) / 2)
        c, s = float(np.cos(self.bearing)), float(np.sin(self.bearing))
        return self.centre[0] + along * c - across * s, self.centre[1] + along * s + across * c


Grid = PolarGrid | RingGrid | TurnedGrid


def cells(grid: Grid) -> tuple[Floats, Floats]:
    """Return x and y in pixels of every cell, shape (rows, columns)."""
    x, y = grid.at(np.arange(grid.rows, dtype=np.float32)[:, None], np.arange(grid.columns, dtype=np.float32))
    return np.asarray(x, np.float32), np.asarray(y, np.float32)
