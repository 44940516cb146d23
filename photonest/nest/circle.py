"""The largest clear circle on the face, with a certificate: branch and bound on the distance to what must be avoided.

The clear radius at a point, the least over all keep-outs of ``distance - reach - margin - 2 standard errors``, changes
no faster than the point moves, so a square cell of half diagonal d whose centre has clear radius v holds none above
v + d. Cells are split best first until the best bound is within the tolerance of the best value. Within a cell only
keep-outs whose figure is within 2 d of the least can matter, so each split keeps a shorter list.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photonest.model import Circle, Points
from photonest.nest.keepouts import KeepOut, distances, holds, segments_of
from photonest.nest.rules import Real

MOST_CELLS = 60_000


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

    def away_and_keep(self, x: float, y: float, picked: NDArray[np.intp] | slice = slice(None)) -> tuple[Real, Real]:
        """Return how far each segment lies from a point, and the distance to keep from it."""
        away = distances(x, y, self.segments[picked])
        spread = np.hypot(self.error[picked], self.scale_error * away)
        return away, self.reach[picked] + self.margin[picked] + 2 * spread

    def each(self, x: float, y: float, picked: NDArray[np.intp] | slice = slice(None)) -> Real:
        """Return the radius that each segment leaves clear about a point."""
        away, keep = self.away_and_keep(x, y, picked)
        return away - keep

    def blocking(self, x: float, y: float) -> Real | None:
        """Return the sides that keep a point from being clear: the wood's, or an area's around it."""
        if not holds(x, y, self.edge):
            return self.edge
        return next((area for area in self.areas if holds(x, y, area)), None)

    def at(self, x: float, y: float) -> float:
        """Return the clear radius of a point; minus infinity outside the wood or in a defect."""
        return -math.inf if self.blocking(x, y) is not None else float(self.each(x, y).min())


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


def widest(
    clear: ClearRadius, tolerance: float = 0.05, beyond: tuple[float, float, float] | None = None
) -> tuple[float, float, float, float]:
    """Return the centre (x, y) of the widest clear circle, its radius, and a proven upper bound of the radius.

    The radius is negative when nothing is clear. `beyond` is a circle (x, y, radius) that the centre must lie outside.
    """
    search = _Search(clear, tolerance, beyond)
    low, high = clear.edge[:, :2].min(axis=0), clear.edge[:, :2].max(axis=0)
    half = float(max(high - low)) / 2
    x, y = ((low + high) / 2).tolist()
    search.push(x, y, half, np.arange(len(clear.segments)))
    return search.run()


class _Search:
    """The open cells, best bound first, and the best point so far."""

    def __init__(self, clear: ClearRadius, tolerance: float, beyond: tuple[float, float, float] | None) -> None:
        self.clear, self.tolerance, self.beyond = clear, tolerance, beyond
        self.best, self.point = -math.inf, (0.0, 0.0)
        self.cells: list[tuple[float, int, float, float, float, NDArray[np.intp]]] = []
        self.count = itertools.count()

    def push(self, x: float, y: float, half: float, active: NDArray[np.intp]) -> None:
        """Value a cell's centre and keep the cell if it may hold something better."""
        diagonal = half * math.sqrt(2)
        short = 0.0 if self.beyond is None else self.beyond[2] - math.hypot(x - self.beyond[0], y - self.beyond[1])
        if short > diagonal:
            return
        each = self.clear.each(x, y, active)
        least = float(each.min())
        blocking = self.clear.blocking(x, y)
        if blocking is None:
            bound = least + diagonal
            if least > self.best and short <= 0:
                self.best, self.point = least, (x, y)
        else:
            bound = diagonal - float(distances(x, y, blocking).min())
        if bound > self.best + self.tolerance:
            near = active[each <= least + 2 * diagonal]
            heapq.heappush(self.cells, (-bound, next(self.count), x, y, half, near))

    def run(self) -> tuple[float, float, float, float]:
        """Split cells until none can hold a circle better by more than the tolerance."""
        while self.cells and -self.cells[0][0] > self.best + self.tolerance and next(self.count) < MOST_CELLS:
            _, _, x, y, half, active = heapq.heappop(self.cells)
            for across, down in ((-1, -1), (1, -1), (-1, 1), (1, 1)):
                self.push(x + across * half / 2, y + down * half / 2, half / 2, active)
        bound = -self.cells[0][0] if self.cells else -math.inf
        return *self.point, self.best, max(bound, self.best + self.tolerance)


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
