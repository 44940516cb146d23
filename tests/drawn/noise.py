"""Seeded smooth noise over millimetres, the same at any resolution where it bends something that the truth tells."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
F32 = NDArray[np.float32]


def generator(seed: int, *key: int | str) -> np.random.Generator:
    """Return the random generator of one part of a scene; parts don't disturb each other."""
    words = [seed] + [int.from_bytes(k.encode(), "little") % 2**63 if isinstance(k, str) else k for k in key]
    return np.random.default_rng(words)


@dataclass(frozen=True)
class Grid:
    """A raster over mm: sample (i, j) has its centre at origin + step (j, i)."""

    x0: float
    y0: float
    step: float
    columns: int
    rows: int

    @property
    def x(self) -> F32:
        """Positions of the columns."""
        return (self.x0 + self.step * np.arange(self.columns)).astype(np.float32)

    @property
    def y(self) -> F32:
        """Positions of the rows."""
        return (self.y0 + self.step * np.arange(self.rows)).astype(np.float32)

    @classmethod
    def over(cls, low: ArrayLike, high: ArrayLike, step: float) -> Grid:
        """Return a raster that covers a box of mm with a margin of a few samples."""
        (x0, y0), (x1, y1) = np.asarray(low, float) - 3 * step, np.asarray(high, float) + 3 * step
        return cls(float(x0), float(y0), step, int((x1 - x0) / step) + 2, int((y1 - y0) / step) + 2)

    def sample_of(self, x: F32, y: F32) -> tuple[F32, F32]:
        """Return fractional columns and rows of positions in mm."""
        return (x - np.float32(self.x0)) / np.float32(self.step), (y - np.float32(self.y0)) / np.float32(self.step)


@dataclass(frozen=True, eq=False)
class Field:
    """Smooth noise of unit variance about zero: a cubic B-spline over random nodes `cell` mm apart.

    The nodes repeat after `nodes.shape` cells, so that the field is defined everywhere.
    """

    nodes: Array
    cell: float

    @classmethod
    def seeded(cls, seed: int, key: str, cell: float, size: int = 64) -> Field:
        """Return the field of a seed and a name."""
        # 0.479 is the standard deviation of a 2-D cubic B-spline over white unit nodes, averaged over phases
        return cls(generator(seed, key).standard_normal((size, size)) / 0.479, cell)

    def at(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Return the values at points."""
        jx, wx = _weights(np.asarray(x, float) / self.cell, self.nodes.shape[1])
        jy, wy = _weights(np.asarray(y, float) / self.cell, self.nodes.shape[0])
        return np.asarray(sum(wy[a] * wx[b] * self.nodes[jy[a], jx[b]] for a in range(4) for b in range(4)))

    def over(self, grid: Grid) -> F32:
        """Return the values at a raster's samples, shape (rows, columns)."""
        by = _matrix(grid.y / self.cell, self.nodes.shape[0])
        bx = _matrix(grid.x / self.cell, self.nodes.shape[1])
        return np.asarray((by @ self.nodes.astype(np.float32)) @ bx.T)


def _weights(t: Array, size: int) -> tuple[list[NDArray[np.int64]], list[Array]]:
    base = np.floor(t)
    f = t - base
    w = [(1 - f) ** 3 / 6, (3 * f**3 - 6 * f**2 + 4) / 6, (-3 * f**3 + 3 * f**2 + 3 * f + 1) / 6, f**3 / 6]
    return [(base.astype(np.int64) + k - 1) % size for k in range(4)], w


def _matrix(t: NDArray[np.floating], size: int) -> F32:
    index, weights = _weights(np.asarray(t, float), size)
    m = np.zeros((len(t), size), np.float32)
    for j, w in zip(index, weights, strict=True):
        m[np.arange(len(t)), j] += w
    return m


def speckle(grid: Grid, rng: np.random.Generator, cell: float, stretch: float = 1.0) -> F32:
    """Return unit noise with features about `cell` mm wide (and `stretch` times as long in y), shape of the raster."""
    import cv2

    sx, sy = max(cell / grid.step, 1.0), max(cell * stretch / grid.step, 1.0)
    small = rng.standard_normal((int(grid.rows / sy) + 3, int(grid.columns / sx) + 3), np.float32)
    wide = cv2.resize(small, (int(small.shape[1] * sx), int(small.shape[0] * sy)), interpolation=cv2.INTER_CUBIC)
    return np.asarray(wide[: grid.rows, : grid.columns]) * np.float32(1.35 if max(sx, sy) > 1 else 1.0)


def clouds(grid: Grid, rng: np.random.Generator, cell: float, octaves: int = 3) -> F32:
    """Return noise with features of several sizes, the largest `cell` mm, about unit variance."""
    import cv2

    finest = cell / 2 ** (octaves - 1)
    every = int(np.clip(finest / grid.step / 3, 1, 16))  # drawn on a coarser raster where that loses nothing
    coarse = Grid(grid.x0, grid.y0, every * grid.step, grid.columns // every + 2, grid.rows // every + 2)
    total = np.zeros((coarse.rows, coarse.columns), np.float32)
    for k in range(octaves):
        total += speckle(coarse, rng, cell / 2**k) * np.float32(0.6**k)
    total *= np.float32(1 / np.sqrt(sum(0.36**k for k in range(octaves))))
    if every == 1:
        return total[: grid.rows, : grid.columns]
    wide = cv2.resize(total, (coarse.columns * every, coarse.rows * every), interpolation=cv2.INTER_LINEAR)
    return np.asarray(wide[: grid.rows, : grid.columns])


def walk(rng: np.random.Generator, count: int, stay: float) -> Array:
    """Return a random series of unit variance whose neighbours are correlated by `stay`."""
    fresh = np.sqrt(1 - stay * stay)
    values = []
    value = float(rng.standard_normal())
    for white in rng.standard_normal(count):
        value = stay * value + fresh * float(white)
        values.append(value)
    return np.array(values)


def periodic(rng: np.random.Generator, count: int, waves: range, slope: float) -> Array:
    """Return a closed random curve of unit variance over `count` angles: amplitudes fall as frequency^-slope."""
    n = np.arange(waves.start, waves.stop)
    waves_of = np.zeros(count // 2 + 1, complex)
    waves_of[n] = n.astype(float) ** -slope * (rng.standard_normal(len(n)) + 1j * rng.standard_normal(len(n)))
    curve = np.fft.irfft(waves_of, count)
    return np.asarray(curve / max(curve.std(), 1e-12))
