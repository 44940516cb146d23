"""Straightened pictures: the face resampled so that the cracks sought run down the columns.

About a pith the face is laid out in polar coordinates, rows along the radius: a radial check becomes a nearly upright
line whatever its bearing. Without a pith the face is only turned.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]


@dataclass(frozen=True)
class PolarGrid:
    """Rows of equal radius and columns of equal bearing about a centre; bearings wrap around.

    Attributes
    ----------
    centre : (x, y)
        In pixels of the picture that is resampled.
    rows : int
        Row i has radius i in pixels.
    columns : int
        Column j has bearing ``2 pi j / columns``, from x towards y.
    """

    centre: tuple[float, float]
    rows: int
    columns: int

    wraps = True

    def to_px(self, rows: NDArray[np.floating], columns: NDArray[np.floating]) -> NDArray[np.float64]:
        """Return grid positions as picture pixels, shape (n, 2).

        >>> PolarGrid((10.0, 10.0), 8, 4).to_px(np.array([2.0]), np.array([1.0])).round(6).tolist()
        [[10.0, 12.0]]
        """
        angle = columns * (2 * np.pi / self.columns)
        x = self.centre[0] + rows * np.cos(angle)
        y = self.centre[1] + rows * np.sin(angle)
        return np.column_stack([x, y])

    def bands(self) -> Iterator[tuple[int, int, int]]:
        """Yield (first row, last row, columns): rings of rows in which a column is about a pixel wide or less."""
        last, columns = self.rows, self.columns
        while last > 12 and columns % 4 == 0:
            first = last // 4 * 2
            yield first, last, columns
            last, columns = first, columns // 2

    def maps(self, first: int, last: int, columns: int, margin: int, step: int = 1) -> tuple[Floats, Floats]:
        """Return where every `step`-th cell lies in the picture, `margin` columns repeated at either side."""
        angle = (np.arange(-margin, columns + margin, step) * (2 * np.pi / columns)).astype(np.float32)
        radius = np.arange(first, last, step, dtype=np.float32)[:, None]
        return (
            np.float32(self.centre[0]) + radius * np.cos(angle),
            np.float32(self.centre[1]) + radius * np.sin(angle),
        )


@dataclass(frozen=True)
class TurnedGrid:
    """The picture turned about a centre: rows run along `bearing`, a pixel apart, columns across it.

    Attributes
    ----------
    centre : (x, y)
        In pixels of the picture; lies in the middle of the grid.
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

    def to_px(self, rows: NDArray[np.floating], columns: NDArray[np.floating]) -> NDArray[np.float64]:
        """Return grid positions as picture pixels, shape (n, 2).

        >>> TurnedGrid((10.0, 10.0), 5, 5, np.pi / 2).to_px(np.array([3.0]), np.array([2.0])).round(6).tolist()
        [[10.0, 11.0]]
        """
        along, across = rows - (self.rows - 1) / 2, columns - (self.columns - 1) / 2
        c, s = np.cos(self.bearing), np.sin(self.bearing)
        return np.column_stack([self.centre[0] + along * c - across * s, self.centre[1] + along * s + across * c])

    def bands(self) -> Iterator[tuple[int, int, int]]:
        """Yield the one band there is."""
        yield 0, self.rows, self.columns

    def maps(self, first: int, last: int, columns: int, margin: int, step: int = 1) -> tuple[Floats, Floats]:
        """Return where every `step`-th cell lies in the picture, `margin` more columns at either side."""
        along = (np.arange(first, last, step, dtype=np.float32) - np.float32((self.rows - 1) / 2))[:, None]
        across = np.arange(-margin, columns + margin, step, dtype=np.float32) - np.float32((self.columns - 1) / 2)
        c, s = np.float32(np.cos(self.bearing)), np.float32(np.sin(self.bearing))
        x, y = (np.float32(value) for value in self.centre)
        return (x + along * c) - across * s, (y + along * s) + across * c


@dataclass(frozen=True)
class RingGrid:
    """Rows of equal bearing and columns of equal radius: a ring shake runs down the columns.

    Attributes
    ----------
    centre : (x, y)
        In pixels of the picture.
    round_ : int
        Rows that make a full turn; the first eighth comes again at the end, so that no shake is cut there.
    columns : int
        Column j has radius j in pixels.
    """

    centre: tuple[float, float]
    round_: int
    columns: int

    wraps = False

    @property
    def rows(self) -> int:
        """Number of rows."""
        return self.round_ // 8 * 9

    def to_px(self, rows: NDArray[np.floating], columns: NDArray[np.floating]) -> NDArray[np.float64]:
        """Return grid positions as picture pixels, shape (n, 2).

        >>> RingGrid((10.0, 10.0), 8, 4).to_px(np.array([2.0]), np.array([3.0])).round(6).tolist()
        [[10.0, 13.0]]
        """
        return PolarGrid(self.centre, self.columns, self.round_).to_px(columns, rows)

    def bands(self) -> Iterator[tuple[int, int, int]]:
        """Yield the one band there is."""
        yield 0, self.rows, self.columns

    def maps(self, first: int, last: int, columns: int, margin: int, step: int = 1) -> tuple[Floats, Floats]:
        """Return where every `step`-th cell lies in the picture, `margin` more columns at either side."""
        angle = (np.arange(first, last, step, dtype=np.float32) * np.float32(2 * np.pi / self.round_))[:, None]
        radius = np.arange(-margin, columns + margin, step, dtype=np.float32)
        return (
            np.float32(self.centre[0]) + radius * np.cos(angle),
            np.float32(self.centre[1]) + radius * np.sin(angle),
        )


Grid = PolarGrid | TurnedGrid | RingGrid
