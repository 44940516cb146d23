"""The axes across a log, and what each must keep clear of in its half-plane."""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photonest.nest.keepouts import KeepOut, distances, holds, holds_each
from photonest.nest.placing import ALL, HalfPlanePoints
from photonest.nest.rules import Real

EDGE_STEP = 1.0
DEFECT_STEP = 0.5
MOST_MARKS, CROWDED = 20_000, 1.0  # marks of defects, and the mm within which they are first taken together


def sampled(segments: Real, step: float) -> tuple[Real, NDArray[np.intp]]:
    """Return points along segments no farther apart than a step, ends included, and each point's segment."""
    lengths = np.hypot(segments[:, 2] - segments[:, 0], segments[:, 3] - segments[:, 1])
    counts = np.maximum(np.ceil(lengths / step).astype(int), 1) + 1
    owner = np.repeat(np.arange(len(segments)), counts)
    place = np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)
    share = (place / np.repeat(counts - 1, counts))[:, None]
    points = segments[owner, :2] * (1 - share) + segments[owner, 2:] * share
    return points, owner


@dataclass(frozen=True, eq=False)
class Marks:
    """Points of the face that bowls keep clear of.

    Attributes
    ----------
    at : ndarray, shape (n, 2)
    margin, error : ndarray, shape (n,)
        The distance to keep and the standard error of the point, in mm.
    edge : ndarray of bool, shape (n,)
        Whether the point is of the edge of the wood.
    depth : ndarray, shape (n,)
        How far the defect reaches below the face; infinite through the stock.
    owner : ndarray of int, shape (n,)
        Which keep-out the point is of.
    """

    at: Real
    margin: Real
    error: Real
    edge: NDArray[np.bool_]
    depth: Real
    owner: NDArray[np.intp]

    def keeping(self, away: Real, scale_error: float, picked: NDArray[np.intp] | slice = ALL) -> Real:
        """Return the distance to keep from each point picked, which lies so far away from the axis on the face."""
        spread = np.hypot(self.error[picked], scale_error * away)
        found: Real = self.margin[picked] + 2 * spread
        return found

    def with_plane(self) -> Marks:
        """Return the marks and one more, of a plane that no foot may pass."""
        more = (np.full((1, 2), np.nan), [0.0], [0.0], [True], [math.inf], [0])
        fields = (self.at, self.margin, self.error, self.edge, self.depth, self.owner)
        return Marks(*(np.concatenate([field, extra]) for field, extra in zip(fields, more, strict=True)))

    def of_edge(self) -> Marks:
        """Return the marks of the edge alone."""
        return self._picked(self.edge)

    def without(self, owner: int) -> Marks:
        """Return the marks but for those of one keep-out."""
        return self._picked(self.owner != owner)

    def _picked(self, on: NDArray[np.bool_]) -> Marks:
        return Marks(self.at[on], self.margin[on], self.error[on], self.edge[on], self.depth[on], self.owner[on])

    @functools.cached_property
    def through(self) -> bool:
        """Whether every defect goes through the stock."""
        return bool(np.isinf(self.depth).all())


def marks(keepouts: Sequence[KeepOut]) -> Marks:
    """Return points along the edge of the wood and all defects, close enough together to stand for them."""
    parts = []
    for out in keepouts:
        edge = out.kind == "edge"
        points, owner = sampled(out.segments, EDGE_STEP if edge else DEFECT_STEP)
        if out.kind == "area":
            inside = _inside(out.segments)
            points, owner = np.vstack([points, inside]), np.append(owner, np.zeros(len(inside), int))
        depth = math.inf if out.depth is None else out.depth
        parts.append((points, out.margin + out.reach[owner], out.standard_error, edge, depth))
    sizes = [len(part[0]) for part in parts]
    return Marks(
        np.vstack([part[0] for part in parts]),
        np.concatenate([part[1] for part in parts]),
        np.repeat([part[2] for part in parts], sizes),
        np.repeat([part[3] for part in parts], sizes),
        np.repeat([float(part[4]) for part in parts], sizes),
        np.repeat(np.arange(len(sizes)), sizes),
    )


def gathered(found: Marks, scale_error: float) -> Marks:
    """Return the marks as they are while few; else those of defects that lie near each other as one that keeps as much.

    Each stands for all in a square, with the most that any of them asks for and the way to it, so that nothing comes
    nearer to any of them. Thousands of cracks would take minutes otherwise.
    """
    size, which = CROWDED, np.flatnonzero(~found.edge)
    if len(which) <= MOST_MARKS:
        return found
    at = found.at[which]
    while True:
        cells, first, of = np.unique(np.floor(at / size), axis=0, return_index=True, return_inverse=True)
        if len(cells) <= MOST_MARKS:
            break
        size *= 2
    middle, of = (cells + 0.5) * size, of.ravel()
    away = np.hypot(*(at - middle[of]).T)
    most = [np.full(len(cells), -math.inf) for _ in range(3)]
    # what the scale's error asks for grows with the distance too
    asked = (found.margin[which] + (1 + 2 * scale_error) * away, found.error[which], found.depth[which])
    for held, each in zip(most, asked, strict=True):
        np.maximum.at(held, of, each)
    rest, owner = found.of_edge(), found.owner[which][first]
    together = (middle, *most[:2], np.zeros(len(cells), bool), most[2], owner)
    fields = (rest.at, rest.margin, rest.error, rest.edge, rest.depth, rest.owner)
    return Marks(*(np.concatenate([field, more]) for field, more in zip(fields, together, strict=True)))


def _inside(sides: Real) -> Real:
    """Return points 3 mm apart in a polygon."""
    low, high = sides[:, :2].min(axis=0), sides[:, :2].max(axis=0)
    grid = np.stack(np.meshgrid(np.arange(low[0], high[0], 3.0), np.arange(low[1], high[1], 3.0)), axis=-1)
    points = grid.reshape(-1, 2)
    return points[holds_each(points[:, 0], points[:, 1], sides)]


@dataclass(frozen=True, eq=False)
class LogSite:
    """The axes across a log in one direction.

    The two coordinates are u, across the direction from the outline's centre, and t, from that centre to the rim plane
    along the direction into the wood.

    Attributes
    ----------
    across, along : ndarray, shape (n,)
        The marks' coordinates in the turned frame about the centre; one with no place across lies on every axis.
    marks : Marks
    z : float
        The axis's distance from the photographed end.
    scale_error : float
        Standard error of the scale as a share.
    foot_at : float
        How far along the direction a foot may lie, where the pith lies below it.
    """

    across: Real
    along: Real
    marks: Marks
    z: float
    scale_error: float
    low: tuple[float, float]
    high: tuple[float, float]
    foot_at: float = math.inf

    @property
    def rate(self) -> float:
        """How fast a point's figure may change as the axis moves."""
        return 1 + 2 * self.scale_error

    @property
    def count(self) -> int:
        """How many points there are."""
        return len(self.across)

    def points(self, a: float, b: float, picked: NDArray[np.intp] | slice = ALL) -> HalfPlanePoints:
        """Return what the axis at (u, t) has to keep clear of."""
        found = self.marks
        side, h = np.abs(self.across[picked] - a), self.along[picked] - b
        if math.isfinite(self.foot_at):
            side = np.nan_to_num(side)
        edge = found.edge[picked]
        keep = found.keeping(np.hypot(side, h), self.scale_error, picked)
        rho = side if found.through else np.hypot(side, np.maximum(self.z - found.depth[picked], 0.0))
        return HalfPlanePoints(np.where(edge, side - keep, rho), h, np.where(edge, 0.0, keep), edge)

    def half_width(self, a: float, b: float, h: Real) -> Real:
        """Return how far the wood reaches to the nearer side of the axis at (u, t), at each depth, less the trueing."""
        x0, y0, x1, y1 = self.ring.T
        level = (b + h)[:, None]
        with np.errstate(divide="ignore", invalid="ignore"):
            share = (level - y0) / (y1 - y0)
            side = np.abs(x0 + share * (x1 - x0) - a)
        side = np.where((share >= 0) & (share <= 1), side, np.inf).min(axis=1)
        edge = self.marks.edge
        margin, error = float(self.marks.margin[edge].max()), float(self.marks.error[edge].max())
        found: Real = side - margin - 2 * np.hypot(error, self.scale_error * np.hypot(side, h))
        return found

    def outside(self, a: float, b: float, h: float) -> float:
        """Return how far the point at depth h on the axis lies outside the wood, 0 if it lies inside."""
        if b + h > self.foot_at:
            return b + h - self.foot_at
        return 0.0 if holds(a, b + h, self.ring) else float(distances(a, b + h, self.ring).min())

    @functools.cached_property
    def ring(self) -> Real:
        """The edge's sides, as rows x0, y0, x1, y1 in the turned frame."""
        edge = self.marks.edge & np.isfinite(self.across)
        corners = np.stack([self.across[edge], self.along[edge]], axis=1)
        return np.hstack([corners, np.roll(corners, -1, axis=0)])


@dataclass(frozen=True)
class Split:
    """Which side of the pith a half log's bowls lie on: how near the rim plane or the foot may come to it.

    `pith` is None where bowls may hold it; then `keep` is from the outline's centre.
    """

    pith: tuple[float, float] | None
    keep: float
    towards_pith: bool

    def limits(self, centre: Real, angle: float, half: float) -> tuple[float, float]:
        """Return the least t of the rim plane and the farthest a foot may lie, at their loosest over a span."""
        offset = np.zeros(2) if self.pith is None else np.asarray(self.pith) - centre
        along = float(offset @ np.array([math.cos(angle), math.sin(angle)]))
        moved = float(np.hypot(*offset)) * 2 * math.sin(half / 2)
        if self.towards_pith:
            return along + self.keep - moved, math.inf
        return -math.inf, along - self.keep + moved


def turned(at: Real, centre: Real, angle: float) -> tuple[Real, Real]:
    """Return points' coordinates across and along a direction, radians from x to y, about a centre."""
    into, offset = np.array([math.cos(angle), math.sin(angle)]), at - centre
    return offset @ np.array([-into[1], into[0]]), offset @ into


def log_site(found: Marks, centre: Real, angle: float, z: float, scale_error: float, split: Split) -> LogSite:
    """Return the axes of a direction, radians from x to y; it points into the wood."""
    across, along = turned(found.at, centre, angle)
    nearest, foot_at = split.limits(centre, angle, 0.0)
    reach = float(np.hypot(across, along)[found.edge].max())
    if math.isfinite(foot_at):
        found, across, along = found.with_plane(), np.append(across, np.nan), np.append(along, foot_at)
    low, high = (-reach, max(nearest, -reach)), (reach, reach)
    return LogSite(across, along, found, z, scale_error, low, high, foot_at)
