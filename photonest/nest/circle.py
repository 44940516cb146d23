"""The largest clear circle on the face, with a certificate: branch and bound on the distance to what must be avoided.

The clear radius at a point, the least over all keep-outs of ``distance - reach - margin - 2 standard errors``, changes
no faster than the point moves, so a square cell of half diagonal d whose centre has clear radius v holds none above
v + d. Those that may hold something better than the best by more than the tolerance are quartered, all together, until
none are left. In a cell only keep-outs whose figure is within 2 d of the least can matter, so each round asks fewer.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photonest.model import Circle, Points
from photonest.nest.keepouts import KeepOut, distances, holds_each, segments_of
from photonest.nest.rules import Real

MOST_CELLS = 60_000
CHUNK = 100_000  # figures at once
QUARTERS = np.array([(-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0), (1.0, 1.0)])


@dataclass(frozen=True)
class ClearRadius:
    """The clear radius of any point of the face, from a list of keep-outs.

    Attributes
    ----------
    segments : ndarray, shape (n, 4)
    margin, reach, error : ndarray, shape (n,)
        The distance to keep, how far the defect reaches beside the segment, and the standard error of its position.
    scale_error : float
        Standard error of the scale as a share of any distance.
    edge, areas : the wood's sides; each area's sides
    owner : ndarray of int, shape (n,)
        Which keep-out each segment belongs to.
    """

    segments: Real
    margin: Real
    reach: Real
    error: Real
    owner: NDArray[np.intp]
    scale_error: float
    edge: Real
    areas: tuple[Real, ...]

    def away_and_keep(
        self, x: Real | float, y: Real | float, picked: NDArray[np.intp] | slice = slice(None)
    ) -> tuple[Real, Real]:
        """Return how far each segment lies from a point, and the distance to keep from it."""
        away = distances(x, y, self.segments[picked])
        spread = np.hypot(self.error[picked], self.scale_error * away)
        return away, self.reach[picked] + self.margin[picked] + 2 * spread

    def each(self, x: Real | float, y: Real | float, picked: NDArray[np.intp] | slice = slice(None)) -> Real:
        """Return the radius that each segment leaves clear about a point."""
        away, keep = self.away_and_keep(x, y, picked)
        return away - keep

    def outside(self, x: Real, y: Real) -> Real:
        """Return how far points, shape (n,), lie outside the wood or inside an area; 0 where neither."""
        found = np.zeros(len(x))
        for sides, inward in ((self.edge, True), *((area, False) for area in self.areas)):
            off = np.flatnonzero((found == 0) & (holds_each(x, y, sides) != inward))
            if len(off):
                found[off] = distances(x[off, None], y[off, None], sides).min(axis=1)
        return found

    def at(self, x: float, y: float) -> float:
        """Return the clear radius of a point; minus infinity outside the wood or in a defect."""
        away = self.outside(np.array([x]), np.array([y]))[0]
        return -math.inf if away > 0 else float(self.each(x, y).min())


def clear_radius(keepouts: Sequence[KeepOut], scale_error: float) -> ClearRadius:
    """Return the clear radius function of some keep-outs, the first of which is the edge of the wood."""
    return ClearRadius(
        segments=np.vstack([k.segments for k in keepouts]),
        margin=np.concatenate([np.full(len(k.segments), k.margin) for k in keepouts]),
        reach=np.concatenate([k.reach for k in keepouts]),
        error=np.concatenate([np.full(len(k.segments), k.standard_error) for k in keepouts]),
        owner=np.concatenate([np.full(len(k.segments), i) for i, k in enumerate(keepouts)]),
        scale_error=scale_error,
        edge=keepouts[0].segments,
        areas=tuple(k.segments for k in keepouts if k.kind == "area"),
    )


Short = Callable[[Real, Real, Real], Real]
"""How far points x, y of clear radii are from where a centre may lie, at least; 0 or less where it may."""


def widest(
    clear: ClearRadius, tolerance: float = 0.05, short: Short | None = None
) -> tuple[float, float, float, float]:
    """Return the centre (x, y) of the widest clear circle, its radius, and a proven upper bound of the radius.

    Where nothing is clear, the radius is not positive, and that of whatever was found first. `short` tells where the
    centre may lie; everywhere where not given.
    """
    low, high = clear.edge[:, :2].min(axis=0), clear.edge[:, :2].max(axis=0)
    half, groups = float(max(high - low)) / 2, [((low + high)[None, :] / 2, np.arange(len(clear.segments)))]
    best, point, seen, bound = -math.inf, (0.0, 0.0), 0, math.inf
    while groups and seen < MOST_CELLS:
        diagonal, bound = half * math.sqrt(2), -math.inf
        smaller: list[tuple[Real, NDArray[np.intp]]] = []
        for at, active in groups:
            x, y = at.T
            each = clear.each(x[:, None], y[:, None], active)
            least, outside = each.min(axis=1), clear.outside(x, y)
            away = np.zeros(len(x)) if short is None else short(x, y, least)
            allowed = np.where((outside > 0) | (away > 0), -math.inf, least)
            top = int(np.argmax(allowed))
            if allowed[top] > best:
                best, point = float(allowed[top]), (float(x[top]), float(y[top]))
            most = np.where(outside > 0, np.minimum(-outside, least), least) + diagonal
            bounds = np.where(away > diagonal, -math.inf, most)
            bound, alive = max(bound, float(bounds.max())), bounds > max(best, -tolerance) + tolerance
            smaller += _quartered(at[alive], half / 2, active, each[alive] <= least[alive, None] + 2 * diagonal)
        seen, half, groups = seen + sum(len(at) for at, _ in groups), half / 2, smaller
    return *point, best, max(bound, best + tolerance)


def _quartered(
    at: Real, half: float, active: NDArray[np.intp], matters: NDArray[np.bool_]
) -> list[tuple[Real, NDArray[np.intp]]]:
    """Return the quarters of cells in groups, and which segments matter in each; neighbours stay together."""
    asked = matters.any(axis=0)
    if len(at) > 1 and 4 * len(at) * np.count_nonzero(asked) > CHUNK:
        middle = len(at) // 2
        parts = (slice(None, middle), slice(middle, None))
        return [group for part in parts for group in _quartered(at[part], half, active, matters[part])]
    return [((at[:, None] + half * QUARTERS).reshape(-1, 2), active[asked])] if len(at) else []


def beyond(x: float, y: float, radius: float) -> Short:
    """Return that a centre must lie outside a circle."""
    return lambda a, b, _: radius - np.hypot(a - x, b - y)


def largest_clear_circle(boundary: Points, obstacles: Sequence[Points] = (), *, tolerance: float = 0.05) -> Circle:
    """Return the largest circle in a polygon that holds no obstacle.

    Parameters
    ----------
    boundary : points
        The polygon, in mm, its first point not repeated.
    obstacles : sequence of points
        Open polylines or single points, in mm.
    tolerance : float
        The radius is within this of the largest possible, proven by branch and bound.

    >>> circle = largest_clear_circle(((0, 0), (100, 0), (100, 60), (0, 60)))
    >>> abs(circle.radius - 30) <= 0.05
    True
    """
    sides = segments_of(boundary, closed=True)
    found = [KeepOut("edge of the wood", sides, np.zeros(len(sides)), 0.0, 0.0, "edge")]
    for points in obstacles:
        lines = segments_of(points, closed=False)
        found.append(KeepOut("obstacle", lines, np.zeros(len(lines)), 0.0))
    x, y, radius, _ = widest(clear_radius(found, 0.0), tolerance)
    return Circle((x, y), max(radius, 0.0))
