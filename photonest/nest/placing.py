"""Where a first bowl of a given shape can lie: branch and bound over two coordinates of the axis.

A first bowl's outside bounds a convex part of the half-plane: some of a disc below the rim plane, cut flat at the foot.
What it must keep clear of is a set of half-plane points, each with a distance to keep. As the axis moves by e, no point
moves by more than e, so what a cell of axes with half diagonal e has room for is at most what its middle has room for
with every point e farther off.
"""

from __future__ import annotations

import heapq
import itertools
import math
from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from photonest.nest.chains import IMPOSSIBLE
from photonest.nest.curves import Outside
from photonest.nest.rules import Real
from photonest.nest.solve import FirstBowls

MOST_CELLS = 20_000
COARSE = 6.0  # mm: half diagonal of a cell above which some of the points are asked
SPARSE = 8  # one point in so many
FAR = 1e6
ALL = slice(None)


class HalfPlanePoints(NamedTuple):
    """Points that a first bowl must keep clear of.

    `keep` is the distance to keep. Points of the wood's edge have `edge` true: what they keep is taken off `rho` alone,
    already, and they bind only below the rim plane.
    """

    rho: Real
    h: Real
    keep: Real
    edge: NDArray[np.bool_]


class Site(Protocol):
    """A family of axes with two coordinates, and what each has to keep clear of."""

    @property
    def low(self) -> tuple[float, float]:
        """The least of each coordinate."""
        ...

    @property
    def high(self) -> tuple[float, float]:
        """The greatest of each coordinate."""
        ...

    @property
    def rate(self) -> float:
        """How fast a point's figure may change as the axis moves: 1, and what the scale's error adds."""
        ...

    @property
    def count(self) -> int:
        """How many points there are."""
        ...

    def points(self, a: float, b: float, picked: NDArray[np.intp] | slice = ALL) -> HalfPlanePoints:
        """Return what the axis at (a, b) has to keep clear of, or the points picked of it."""
        ...

    def outside(self, a: float, b: float, h: float) -> float:
        """Return how far the point at depth h on the axis lies outside the wood, 0 if it lies inside."""
        ...


def distance_to_shape(shape: Outside, rho: Real, h: Real) -> Real:
    """Return the signed distance of points to first bowls, shape (bowls, points); negative inside.

    Exact, but for bowls whose arc has its centre below the rim plane, where it may be more than the distance.
    """
    radius, stand_off, rim = shape.radius[:, None], shape.stand_off[:, None], shape.rim[:, None]
    foot, depth = shape.foot[:, None], shape.depth[:, None]
    rho = np.maximum(rho, 0.0)[None, :]
    h = h[None, :]
    disc = np.hypot(rho, h + stand_off) - radius
    inside = np.maximum(np.maximum(disc, h - depth), -h)
    above = np.hypot(np.maximum(rho - rim, 0.0), h)
    below = np.hypot(np.maximum(rho - foot, 0.0), h - depth)
    at_foot = (h > depth) & (rho * (depth + stand_off) <= foot * (h + stand_off))
    found: Real = np.where(h < 0, above, np.where(at_foot, below, inside))
    return found


def clearances(shape: Outside, points: HalfPlanePoints) -> Real:
    """Return by how much each shape clears each point, shape (bowls, points); negative where it does not."""
    return distance_to_shape(shape, points.rho, points.h) - points.keep[None, :]


class Place(NamedTuple):
    """An axis by its two coordinates, and its value."""

    a: float
    b: float
    value: float


class _Cell(NamedTuple):
    """A rectangle of axes."""

    a: float
    b: float
    across: float
    down: float

    def parts(self) -> list[_Cell]:
        """Return its quarters, or the halves of a thin one."""
        across, down = self.across / 2, self.down / 2
        if self.across > 2 * self.down:
            return [_Cell(self.a + side * across, self.b, across, self.down) for side in (-1, 1)]
        if self.down > 2 * self.across:
            return [_Cell(self.a, self.b + side * down, self.across, down) for side in (-1, 1)]
        return [_Cell(self.a + x * across, self.b + y * down, across, down) for x in (-1, 1) for y in (-1, 1)]


def clearest(shape: Outside, site: Site, tolerance: float = 0.1, most_cells: int = 1500) -> Place:
    """Return where one first bowl (arrays of one) clears all by the most, as near as so many cells tell."""
    best = Place(0.0, 0.0, -math.inf)
    order = itertools.count()
    heap: list[tuple[float, int, _Cell]] = []
    h = float(shape.depth[0]) / 2
    ball = -float(distance_to_shape(shape, np.zeros(1), np.array([h]))[0, 0])
    todo = [_whole(site)]
    while todo:
        for cell in todo:
            found = float(clearances(shape, site.points(cell.a, cell.b)).min(initial=FAR))
            away = site.outside(cell.a, cell.b, h)
            if away > 0:  # a ball about that point lies in the bowl, and must lie in the wood
                found = min(found, -away - ball)
            if found > best.value:
                best = Place(cell.a, cell.b, found)
            heapq.heappush(heap, (-found - site.rate * math.hypot(cell.across, cell.down), next(order), cell))
        top, _, cell = heapq.heappop(heap)
        todo = cell.parts() if -top > best.value + tolerance and next(order) < most_cells else []
    return best


def _whole(site: Site) -> _Cell:
    (left, top), (right, bottom) = site.low, site.high
    return _Cell((left + right) / 2, (top + bottom) / 2, (right - left) / 2, (bottom - top) / 2)


@dataclass(frozen=True)
class Best:
    """The axis whose first bowls may be worth the most, their rank there, and the most any axis may reach."""

    a: float
    b: float
    rank: float
    bound: float


def most_valuable(first: FirstBowls, site: Site, share: float) -> Best:
    """Return the axis of a site whose first bowl may begin the best nest, by branch and bound.

    Stops when no axis can be worth more than the best seen by more than a share of it. A rank below 0 means that no
    bowl fits.
    """
    search = _Search(first, site)
    whole = _whole(site)
    best, order = Best(whole.a, whole.b, IMPOSSIBLE, IMPOSSIBLE), itertools.count()
    if min(whole.across, whole.down) < 0 or not len(first.low):
        return best
    heap: list[tuple[float, int, _Cell, NDArray[np.intp]]] = []
    todo = [(whole, np.arange(len(first.low)))]
    while True:
        for cell, spans in todo:
            bounds = search.within(cell, spans)
            alive = bounds > max(best.rank, 0.0)
            rank = search.at(cell, spans[alive])
            if rank > best.rank:
                best = Best(cell.a, cell.b, rank, best.bound)
                alive = bounds > max(best.rank, 0.0)
            if alive.any():
                heapq.heappush(heap, (-float(bounds.max()), next(order), cell, spans[alive]))
        bound = -heap[0][0] if heap else IMPOSSIBLE
        near = best.rank + share * first.work.value_of(best.rank)
        if bound <= max(near, 0.0) or next(order) > MOST_CELLS:
            return Best(best.a, best.b, best.rank, max(bound, best.rank))
        _, _, cell, spans = heapq.heappop(heap)
        todo = [(part, spans) for part in cell.parts()]


class _Search:
    """Values axes and cells of axes by the first bowls they have room for."""

    def __init__(self, first: FirstBowls, site: Site) -> None:
        self.first, self.site = first, site
        self.sparse = np.arange(0, site.count, SPARSE)
        self.depth = float(first.depth[0])

    def at(self, cell: _Cell, spans: NDArray[np.intp]) -> float:
        """Return the rank of the middle of a cell, where it has room for all that its points ask."""
        if not len(spans) or self.site.outside(cell.a, cell.b, self.depth / 2) > 0:
            return IMPOSSIBLE
        found = room(self.first.low[spans], self.first.foot[spans], self.site.points(cell.a, cell.b))
        return float(self.first.at_most(spans, found).max())

    def within(self, cell: _Cell, spans: NDArray[np.intp]) -> Real:
        """Return an upper bound of the rank of every axis in a cell, by spans of rim radii."""
        reach = self.site.rate * math.hypot(cell.across, cell.down)
        if self.site.outside(cell.a, cell.b, self.depth / 2) > reach:
            return np.full(len(spans), IMPOSSIBLE)
        points = self.site.points(cell.a, cell.b, self.sparse if reach > COARSE else ALL)
        found = room(self.first.low[spans], self.first.foot[spans], loosened(points, reach))
        return self.first.at_most(spans, found)


def loosened(points: HalfPlanePoints, reach: float) -> HalfPlanePoints:
    """Return points that ask for less than these do, wherever the axis moves to by no more than `reach` on the face."""
    rho = np.where(points.edge, points.rho + reach, points.rho)
    return HalfPlanePoints(rho, points.h, np.where(points.edge, 0.0, points.keep - reach), points.edge)


def tightened(points: HalfPlanePoints, reach: float) -> HalfPlanePoints:
    """Return points that ask for as much as these may, wherever each moves by no more than `reach`."""
    rho = np.where(points.edge, points.rho - reach, points.rho)
    h = np.where(points.edge & (points.h > 0), np.maximum(points.h - reach, 0.0), points.h)
    return HalfPlanePoints(rho, h, points.keep + reach, points.edge)


def room(rim: Real, foot: Real, points: HalfPlanePoints) -> Real:
    """Return how deep a first bowl of each rim radius may be to keep clear of all points; 0 where none fits.

    A bowl's radius at depth h is ``sqrt(r^2 (1 - h/H) + f^2 h/H + h H - h^2)``, so a point of the edge asks for the
    root of a quadratic in H. A defect must lie below the foot, off its corner, or off the arc: the distance from the
    arc's circle gives a quadratic in its stand-off. The bowls of one rim radius lie within each other, so the best of
    these answers holds. A negative distance to keep lets the bowl hold the point, no deeper inside than that.
    """
    r, f = rim[:, None], foot[:, None]
    most = float(rim.max(initial=0.0))
    edge = points.edge & (points.h > -1e-9) & (points.rho < most)
    others = (
        ~points.edge & (points.rho < most + points.keep) & (points.h > -points.keep) & (points.h < most + points.keep)
    )
    at_edge = room_by_edge(r, f, points.rho[edge][None, :], points.h[edge][None, :])
    asked = (figure[others][None, :] for figure in (points.rho, points.h, points.keep))
    least: Real = np.minimum(at_edge, room_by_defects(r, f, *asked).min(axis=1, initial=np.inf))
    return least


def room_by_edge(r: Real, f: Real, w: Real, h: Real) -> Real:
    """Return the room that points of the edge leave bowls of rim radius r and foot radius f, least by rows."""
    below = h > 1e-9
    depth = np.where(below, h, 1.0)
    b = r**2 - (depth**2 + np.maximum(w, 0.0) ** 2)
    found = (np.sqrt(b * b + 4 * depth**2 * np.maximum(r**2 - f**2, 0.0)) - b) * (0.5 / depth)
    found = np.maximum(found, depth)
    if not below.all():
        found = np.where(below, found, np.where((h < -1e-9) | (r <= w), np.inf, 0.0))
    least: Real = found.min(axis=1, initial=np.inf)
    return least


def room_by_defects(r: Real, f: Real, rho: Real, h: Real, keep: Real) -> Real:
    """Return the room that points of defects leave bowls of rim radius r and foot radius f, each by itself.

    A bowl keeps off by its arc where ``lead + 2 h s = 2 keep sqrt(r^2 + s^2)`` or more, s its stand-off: a quadratic.
    """
    span, rest = np.maximum(r**2 - f**2, 0.0), h**2 - keep**2
    lead = (rho**2 + rest) - r**2
    with np.errstate(invalid="ignore", divide="ignore"):
        root = keep * np.sqrt(np.maximum(lead * lead + 4 * rest * r**2, 0.0))
        s = np.where(rest > 0, (root - lead * h) * (0.5 / rest), 1e9)
        # nearer to the rim plane than the distance to keep, a point clears an arc only where it stands off the rim too
        off_rim = (rest <= 0) & (keep > 0) & (h > 0) & (rho > r) & (np.hypot(rho - r, h) >= keep)
        s = np.where(off_rim, (4 * keep**2 * r**2 - lead * lead) / (2 * (root + lead * h)), s)
    s = np.maximum(s, 0.0)
    found = np.where(lead >= 2 * keep * r, np.inf, np.sqrt(s * s + span) - s)
    found = np.maximum(np.maximum(found, h - keep), 0.0)
    by_corner = (keep > 0) & (h > 0) & (rho - f < keep)
    if by_corner.any():
        found[by_corner] = np.maximum(found[by_corner], _room_by_corner(by_corner, span, f, rho, h, keep))
    beside = h <= 0
    if beside.any():
        clear = np.hypot(np.maximum(rho - r, 0.0), h) >= keep - 1e-12
        found = np.where(beside, np.where(clear, np.inf, 0.0), found)
    return np.where(h <= -keep, np.inf, found)


def _room_by_corner(picked: NDArray[np.bool_], *figures: Real) -> Real:
    """Return the room of points, picked of a table, that the corner of the foot comes nearest to; 0 for others."""
    span, f, rho, h, keep = (np.broadcast_to(figure, picked.shape)[picked] for figure in figures)
    corner = h - np.sqrt(np.maximum(keep**2 - np.maximum(rho - f, 0.0) ** 2, 0.0))
    s = (span - corner**2) / (2 * np.maximum(corner, 1e-9))
    nearest = (corner > 0) & (s >= 0) & (rho * (corner + s) <= f * (h + s))
    found: Real = np.where(nearest, corner, 0.0)
    return found
