"""How the piece of wood grew and was cut: its outline, its rings and its rays, in mm on the face.

The frame's origin is the middle of the outline's base circle. All of it is geometry.
"""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tests.drawn.noise import Array, Field, Grid, generator, periodic, walk

Piece = Literal["whole", "half", "quarter"]
ANGLES = 4096
"""Nodes of the radius tables; between them the outline departs from a smooth curve by under 0.001 mm."""


@dataclass(frozen=True)
class Knot:
    """A branch met by the face: a wedge along a ray from the pith (end grain) or an ellipse (side grain)."""

    angle_deg: float
    reach: float
    """How far from the pith it ends, as a share of the radius."""
    width: float
    """Its greatest width in mm."""


@dataclass(frozen=True)
class Fold:
    """A radial line along which every ring is bent: it looks like a crack and is none."""

    angle_deg: float
    height: float
    """Greatest displacement of a ring in mm, at the rim."""
    width_deg: float


@dataclass(frozen=True)
class Saw:
    """A straight side of a side-grain blank: its face ends at `distance` mm from the middle, towards `deg`."""

    deg: float
    distance: float
    bark: bool = False
    """The log's own side, under its bark, as straight as a log grows."""


@dataclass(frozen=True)
class WoodSpec:
    """A piece of wood and how its face looks.

    Attributes
    ----------
    look : str
        A species' look, from `tests.drawn.looks`.
    cut : str
        "end" (the pith stands on the face) or "side" (the face is along the grain, which runs along `grain_deg`).
    diameter : float
        Under bark, of the base circle.
    ovality, lobes, roughness : float
        Difference of the axes as a share of the diameter; lobes as a share of the radius; mm of edge noise.
    pith : (x, y)
        On the face. For side grain: the point of the face nearest to the pith's line.
    pith_depth : float
        Side grain: how far the pith lies below the face.
    taper : float
        Side grain: slope of the rings against the face, which draws them to arches.
    bark, bark_missing : float
        Mean thickness, and the share of the rim from which it is gone.
    plates : float
        How far the bark is broken into plates of their own thickness, with steps and furrows between them: 0 to 1.
    ring, ring_spread : float
        Mean ring width; standard deviation of its logarithm.
    heart, heart_rough : float
        Heartwood's radius as a share of the rim's (0: none told apart), and how far its edge leaves the rings.
    heart_shift : (x, y)
        How far the heartwood's middle lies from the pith, in mm.
    piece, cut_deg, cut_offset : str, float, float
        Whole disc, or sawn along one or two lines: the first has a normal of this direction and passes the pith at
        this distance (positive: the pith stays on the piece).
    saws : tuple of Saw
        Side grain: the straight sides of a blank that isn't sawn round, those of bark as thick as `bark`.
    """

    seed: int = 0
    look: str = "maple"
    cut: Literal["end", "side"] = "end"
    diameter: float = 300.0
    ovality: float = 0.03
    lobes: float = 0.02
    roughness: float = 0.3
    pith: tuple[float, float] = (0.0, 0.0)
    pith_depth: float = 60.0
    grain_deg: float = 90.0
    taper: float = 0.02
    bark: float = 6.0
    bark_missing: float = 0.0
    plates: float = 0.0
    ring: float = 3.0
    ring_spread: float = 0.25
    heart: float = 0.5
    heart_rough: float = 0.03
    heart_shift: tuple[float, float] = (0.0, 0.0)
    wobble: float = 1.0
    piece: Piece = "whole"
    cut_deg: float = 90.0
    cut_offset: float = 5.0
    knots: tuple[Knot, ...] = ()
    folds: tuple[Fold, ...] = ()
    saws: tuple[Saw, ...] = ()


class Growth:
    """The geometry that follows from a `WoodSpec`."""

    def __init__(self, spec: WoodSpec) -> None:
        self.spec = spec
        self.pith = np.asarray(spec.pith, float)
        rng = generator(spec.seed, "outline")
        angle = np.linspace(0, 2 * np.pi, ANGLES, endpoint=False)
        oval = spec.ovality / 2 * np.cos(2 * (angle - rng.uniform(0, np.pi)))
        lobes = spec.lobes * periodic(rng, ANGLES, range(3, 12), 1.3)
        rough = spec.roughness * periodic(rng, ANGLES, range(20, 300), 0.5)
        self.under: Array = spec.diameter / 2 * (1 + oval + lobes) + rough
        self.outer: Array = self.under + self._bark(rng)
        if spec.saws:
            self.under, self.outer = self._sawn(angle)
        self.ring_edges = self._rings()
        self._slow = Field.seeded(spec.seed, "slow wobble", 28.0)
        self._fast = Field.seeded(spec.seed, "fast wobble", 7.0)
        self._crimp = periodic(generator(spec.seed, "crimp"), ANGLES, range(5, 40), 1.3)
        about = np.stack([np.cos(angle), np.sin(angle)], 1) * self.under[:, None] - self.pith
        order = np.argsort(np.arctan2(about[:, 1], about[:, 0]))
        self._rim_angle = np.arctan2(about[:, 1], about[:, 0])[order]
        self._rim = np.hypot(about[:, 0], about[:, 1])[order]

    def _sawn(self, angle: Array) -> tuple[Array, Array]:
        """Return the radius tables of a blank with straight sides, under the bark and over it."""
        s, rng = self.spec, generator(self.spec.seed, "saws")
        under, outer = self.under, self.under
        for saw in s.saws:
            slope = np.cos(angle - np.radians(saw.deg))
            waves = periodic(rng, ANGLES, range(2, 12), 1.0) if saw.bark else periodic(rng, ANGLES, range(20, 300), 0.5)
            side = saw.distance + (0.02 * saw.distance if saw.bark else s.roughness) * waves
            bark = self.outer - self.under if saw.bark else 0.0
            with np.errstate(divide="ignore"):
                inner, outside = (np.where(slope > 0.02, reach / slope, np.inf) for reach in (side, side + bark))
            under, outer = np.minimum(under, inner), np.minimum(outer, outside)
        return under, outer

    def _bark(self, rng: np.random.Generator) -> Array:
        s = self.spec
        if s.bark <= 0:
            return np.zeros(ANGLES)
        plates = 0.24 * periodic(rng, ANGLES, range(2, 24), 0.7) + 0.11 * periodic(rng, ANGLES, range(24, 200), 0.8)
        bark = np.maximum(s.bark * (1 + (1 - 0.7 * s.plates) * plates), 0.15 * s.bark)
        if s.bark_missing > 0:
            hole = periodic(rng, ANGLES, range(2, 9), 0.7)
            edge = np.quantile(hole, s.bark_missing)
            bark *= np.clip((hole - edge) / 0.12, 0, 1)
        return np.asarray(bark * self._plates() if s.plates > 0 else bark)

    def _plates(self) -> Array:
        """Return how many times as thick as its mean the bark is where it is broken into plates."""
        s, rng = self.spec, generator(self.spec.seed, "plates")
        mm = np.arange(ANGLES) * np.pi * s.diameter / ANGLES
        ends = np.append(0.0, np.cumsum((1.5 * s.bark + 4.0) * np.exp(0.5 * rng.standard_normal(400))))
        ends = np.append(ends[ends < mm[-1] - 4.0], mm[-1])
        plate = np.searchsorted(ends, mm, side="right") - 1
        height = np.exp(np.clip(0.45 * s.plates * rng.standard_normal(len(ends)), -1.2, 0.8))
        height[rng.random(len(ends)) < 0.15 * s.plates] *= 0.15  # some are broken off
        across = 2 * (mm - ends[plate]) / np.append(np.diff(ends), 1.0)[plate] - 1
        sloping = np.clip(s.plates * rng.normal(0, 0.2, len(ends)), -0.4, 0.4)[plate]
        furrow = np.abs(mm[:, None] - ends).min(axis=1) / max(1.0, 0.1 * s.bark)
        deep = s.plates * rng.uniform(0, 0.7, len(ends))[plate]
        table = height[plate] * (1 + sloping * across) * (1 - deep * np.exp(-(furrow**2)))
        return _smoothed(table / table.mean(), max(1, round(1.2 * ANGLES / (np.pi * s.diameter))))

    def _rings(self) -> Array:
        s = self.spec
        rng = generator(s.seed, "rings")
        count = int(1.6 * (s.diameter + 2 * s.pith_depth) / s.ring) + 20
        trend = np.interp(np.linspace(0, 1, count), [0, 0.1, 0.5, 1], [1.25, 1.35, 0.95, 0.75])
        widths = s.ring * trend * np.exp(s.ring_spread * walk(rng, count, 0.55))
        return np.concatenate([[0], np.cumsum(widths)])

    def radius(self, angle: NDArray[np.floating] | float, table: Array) -> NDArray[np.floating]:
        """Return a radius table's values at angles about the origin, in radians; in the precision of the angles."""
        a = np.asarray(angle)
        t = a * a.dtype.type(ANGLES / (2 * np.pi))
        base = np.floor(t)
        i = base.astype(np.int32) % ANGLES
        near = table.astype(a.dtype)
        step = np.roll(near, -1) - near
        return np.asarray(near[i] + (t - base) * step[i])

    def rim(self, angle: ArrayLike) -> Array:
        """Return how far the wood reaches under bark from the pith, at angles about the pith."""
        return np.asarray(np.interp(np.asarray(angle, float), self._rim_angle, self._rim, period=2 * np.pi))

    def facing(self, angle: NDArray[np.floating]) -> NDArray[np.floating]:
        """Return the directions that the outline's smoothed sides face, at angles about the origin, in radians."""
        table = _smoothed(self.outer, 12)
        slope = (np.roll(table, -1) - np.roll(table, 1)) / (4 * np.pi / ANGLES)
        return np.asarray(angle - np.arctan2(self._table(slope, angle), self._table(table, angle)))

    @functools.cached_property
    def half_planes(self) -> tuple[tuple[float, float, float], ...]:
        """Saw lines: the piece keeps where nx x + ny y <= d."""
        if self.spec.piece == "whole":
            return ()
        a = np.radians(self.spec.cut_deg)
        lines = [a] if self.spec.piece == "half" else [a, a + np.pi / 2]
        normals = [(math.cos(t), math.sin(t)) for t in lines]
        return tuple((nx, ny, float(self.pith @ [nx, ny]) + self.spec.cut_offset) for nx, ny in normals)

    def polygon(self, table: Array) -> Array:
        """Return the outline of a radius table, sawn, as points (n, 2); the first is not repeated."""
        angle = np.linspace(0, 2 * np.pi, ANGLES, endpoint=False)
        points = np.stack([np.cos(angle), np.sin(angle)], 1) * table[:, None]
        if not self.half_planes:
            return points
        from shapely.geometry import Polygon

        whole = Polygon(points).buffer(0)
        for nx, ny, d in self.half_planes:
            n, t = np.array([nx, ny]), np.array([-ny, nx])
            far = 4 * self.spec.diameter
            corners = [n * d + t * far, n * d - t * far, n * (d - far) - t * far, n * (d - far) + t * far]
            whole = whole.intersection(Polygon(corners))
        largest = whole if whole.geom_type == "Polygon" else max(whole.geoms, key=lambda g: g.area)
        return np.asarray(largest.exterior.coords)[:-1]

    def depth(self, x: ArrayLike, y: ArrayLike, table: Array) -> NDArray[np.floating]:
        """Return the distance inside the outline of a table, in mm: exact where zero, first order about it."""
        x, y = np.asarray(x), np.asarray(y)
        angle = np.arctan2(y, x)
        slope = (np.roll(table, -1) - np.roll(table, 1)) / (4 * np.pi / ANGLES)
        lean = 1 / np.sqrt(1 + (slope / table) ** 2)
        near = (self.radius(angle, table) - np.hypot(x, y)) * self._table(lean, angle)
        for nx, ny, d in self.half_planes:
            near = np.minimum(near, d - nx * x - ny * y)
        return np.asarray(near)

    def age(self, x: ArrayLike, y: ArrayLike) -> Array:
        """Return the ring coordinate at points: mm from the pith along a mean radius; equal along a ring."""
        x, y = np.asarray(x, float), np.asarray(y, float)
        return self.smooth_age(x, y) + self._bend(x, y, self._slow.at(x, y), self._fast.at(x, y))

    def age_over(self, grid: Grid) -> NDArray[np.floating]:
        """Return the ring coordinate over a raster."""
        x, y = np.meshgrid(grid.x, grid.y)
        return np.asarray(self.smooth_age(x, y) + self._bend(x, y, self._slow.over(grid), self._fast.over(grid)))

    def smooth_age(self, x: NDArray[np.floating], y: NDArray[np.floating]) -> NDArray[np.floating]:
        """Return the ring coordinate without its small wobble."""
        if self.spec.cut == "side":
            u, v = self.along_grain(x, y)
            d = self.spec.pith_depth + self.spec.taper * v
            return np.asarray(np.hypot(u, d))
        dx, dy = x - x.dtype.type(self.pith[0]), y - y.dtype.type(self.pith[1])
        r, angle = np.hypot(dx, dy), np.arctan2(dy, dx)
        return self._aged(r, angle)

    def _aged(self, r: NDArray[np.floating], angle: NDArray[np.floating]) -> NDArray[np.floating]:
        # circles at the pith that turn into the outline's shape at the rim, so that the rings' centres drift
        rim = self._table(self._rim_even, angle)
        share = np.minimum(r / rim, 1.15)
        aged = r * (1 + (self.mean_rim / rim - 1) * np.sqrt(share) * share)
        for knot in self.spec.knots:
            across = np.abs(_turn(angle - np.radians(knot.angle_deg))) * r
            within = 1 / (1 + np.exp(np.clip((r / (knot.reach * rim) - 1) * 18, -30, 30)))
            aged = aged - 0.5 * knot.width * np.exp(-((across / (0.9 * knot.width)) ** 2)) * within * np.minimum(
                share * 4, 1
            )
        for fold in self.spec.folds:
            across = _turn(angle - np.radians(fold.angle_deg)) / np.radians(fold.width_deg)
            aged = aged + fold.height * share * np.exp(-across * across)
        return np.asarray(aged)

    @functools.cached_property
    def mean_rim(self) -> float:
        """Mean distance from the pith to the rim under bark."""
        return float(self._rim_even.mean())

    @functools.cached_property
    def _rim_even(self) -> Array:
        angle = np.linspace(0, 2 * np.pi, ANGLES, endpoint=False)
        return _smoothed(self.rim(angle))  # the rings don't copy the rim's fine roughness

    @functools.cached_property
    def smooth_outer(self) -> Array:
        """The outline's radius table without its fine roughness."""
        return _smoothed(self.outer)

    def _table(self, table: Array, angle: NDArray[np.floating]) -> NDArray[np.floating]:
        index = (angle * angle.dtype.type(ANGLES / (2 * np.pi))).astype(np.int32) % ANGLES
        return table.astype(angle.dtype)[index]

    def _bend(
        self,
        x: NDArray[np.floating],
        y: NDArray[np.floating],
        slow: NDArray[np.floating],
        fast: NDArray[np.floating],
    ) -> NDArray[np.floating]:
        k = self.spec.wobble
        if self.spec.cut == "side":
            return np.asarray(k * (1.1 * slow + 0.3 * fast))
        dx, dy = x - x.dtype.type(self.pith[0]), y - y.dtype.type(self.pith[1])
        r = np.hypot(dx, dy)
        grown = np.minimum(r / x.dtype.type(0.3 * self.spec.diameter), 1)
        crimp = self._table(self._crimp, np.arctan2(dy, dx))
        return np.asarray(k * grown * (0.45 * slow + 0.10 * fast + 0.30 * grown * crimp))

    def along_grain(self, x: ArrayLike, y: ArrayLike) -> tuple[NDArray[np.floating], NDArray[np.floating]]:
        """Return the positions across and along the grain of a side-grain face."""
        c, s = math.cos(math.radians(self.spec.grain_deg)), math.sin(math.radians(self.spec.grain_deg))
        dx, dy = np.asarray(x) - float(self.spec.pith[0]), np.asarray(y) - float(self.spec.pith[1])
        return -s * dx + c * dy, c * dx + s * dy

    def ray(self, x: float, y: float) -> Array:
        """Return the unit direction in which the wood splits, away from the pith (side grain: along the grain)."""
        if self.spec.cut == "side":
            a = np.radians(self.spec.grain_deg)
            return np.array([np.cos(a), np.sin(a)])
        h = 0.5
        px = np.array([x + h, x - h, x, x])
        py = np.array([y, y, y + h, y - h])
        e = self.smooth_age(px, py)
        g = np.array([e[0] - e[1], e[2] - e[3]])
        return np.asarray(g / max(float(np.hypot(*g)), 1e-9))


def _smoothed(table: Array, width: int = 60) -> Array:
    kernel = np.hanning(2 * width + 1) / np.hanning(2 * width + 1).sum()
    wrapped = np.concatenate([table[-width:], table, table[:width]])
    return np.asarray(np.convolve(wrapped, kernel, "valid"))


def _turn(angle: NDArray[np.floating]) -> NDArray[np.floating]:
    """Return angles brought between -pi and pi."""
    two_pi = angle.dtype.type(2 * np.pi)
    return np.asarray(angle - two_pi * np.round(angle / two_pi))
