"""Families of axes in a piece of wood, and what each axis must keep clear of in its half-plane."""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photonest.nest.circle import ClearRadius, clear_radius
from photonest.nest.keepouts import KeepOut, distances, holds
from photonest.nest.placing import ALL, HalfPlanePoints
from photonest.nest.rules import Real

EDGE_STEP = 2.0
DEFECT_STEP = 0.5
BINS = 720
TAPER_POINTS = 40


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
    loose : ndarray, shape (n,)
        How far the point may have moved: 0 but for a span of directions taken together.
    owner : ndarray of int, shape (n,)
        Which keep-out the point is of.
    """

    at: Real
    margin: Real
    error: Real
    edge: NDArray[np.bool_]
    depth: Real
    loose: Real
    owner: NDArray[np.intp]

    def keeping(self, away: Real, scale_error: float, picked: NDArray[np.intp] | slice = ALL) -> Real:
        """Return the distance to keep from each point picked, which lies so far away from the axis on the face."""
        spread = np.hypot(self.error[picked], scale_error * away)
        found: Real = self.margin[picked] + 2 * spread - self.loose[picked]
        return found

    def with_plane(self) -> Marks:
        """Return the marks and one more, of a plane that no foot may pass."""
        more = (np.full((1, 2), np.nan), [0.0], [0.0], [True], [math.inf], [0.0], [0])
        fields = (self.at, self.margin, self.error, self.edge, self.depth, self.loose, self.owner)
        return Marks(*(np.concatenate([field, extra]) for field, extra in zip(fields, more, strict=True)))

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
        np.zeros(sum(sizes)),
        np.repeat(np.arange(len(sizes)), sizes),
    )


def _inside(sides: Real) -> Real:
    """Return points 3 mm apart in a polygon."""
    low, high = sides[:, :2].min(axis=0), sides[:, :2].max(axis=0)
    grid = np.stack(np.meshgrid(np.arange(low[0], high[0], 3.0), np.arange(low[1], high[1], 3.0)), axis=-1)
    inside = [(x, y) for x, y in grid.reshape(-1, 2).tolist() if holds(x, y, sides)]
    return np.array(inside, float).reshape(-1, 2)


@dataclass(frozen=True, eq=False)
class RoundSite:
    """The axes square to the face of a blank or slice; the two coordinates are x and y.

    Attributes
    ----------
    clear : ClearRadius
        All that reaches down to `depth` of 0, the edge of the wood among it.
    below : ndarray, shape (n,)
        How far below the rim plane each segment's defect begins: 0 but for defects seen on the far face.
    taper : ClearRadius or None
        The far face's edge, where it was measured.
    thickness : float
    """

    clear: ClearRadius
    below: Real
    taper: ClearRadius | None
    thickness: float
    low: tuple[float, float]
    high: tuple[float, float]

    @property
    def rate(self) -> float:
        """How fast a point's figure may change as the axis moves."""
        return 1 + 2 * self.clear.scale_error

    @property
    def count(self) -> int:
        """How many points there are, without those of a taper."""
        return len(self.below)

    def points(self, a: float, b: float, picked: NDArray[np.intp] | slice = ALL) -> HalfPlanePoints:
        """Return what the axis at (x, y) has to keep clear of."""
        edge = self.clear.owner[picked] == 0
        away, keep = self.clear.away_and_keep(a, b, picked)
        rho, keep = np.where(edge, away - keep, away), np.where(edge, 0.0, keep)
        width, depths = self._sides(a, b)
        return HalfPlanePoints(
            np.concatenate([rho, width]),
            np.concatenate([self.below[picked], depths]),
            np.concatenate([keep, np.zeros(len(width))]),
            np.concatenate([edge, np.ones(len(width), bool)]),
        )

    def _sides(self, a: float, b: float) -> tuple[Real, Real]:
        """Return the far face, as a plane no foot may pass, and the straight sides down to it of wood that tapers."""
        if self.taper is None:
            return np.zeros(1), np.array([self.thickness])
        ends = (float(self.clear.each(a, b)[self.clear.owner == 0].min()), float(self.taper.each(a, b).min()))
        depths = np.linspace(0.0, self.thickness, TAPER_POINTS)
        width = ends[0] + (ends[1] - ends[0]) * depths / self.thickness
        return np.append(width, 0.0), np.append(depths, self.thickness)

    @property
    def owner(self) -> NDArray[np.intp]:
        """Which keep-out each point is of; those of the sides and the far face are of the edge."""
        sides = 1 if self.taper is None else TAPER_POINTS + 1
        return np.concatenate([self.clear.owner, np.zeros(sides, np.intp)])

    def outside(self, a: float, b: float, h: float) -> float:
        """Return how far the axis lies outside the wood, 0 if it lies inside."""
        blocking = self.clear.blocking(a, b)
        return 0.0 if blocking is None else float(distances(a, b, blocking).min())


def round_site(
    outs: Sequence[KeepOut], thickness: float, scale_error: float, *, far: bool, taper: Real | None
) -> RoundSite:
    """Return the axes of a blank or slice; `far` tells that the rim plane is the face that was not photographed."""
    clear = clear_radius(outs, scale_error)
    below = [0.0 if not far or out.depth is None else thickness - out.depth for out in outs]
    second = None
    if taper is not None:
        edge = outs[0]
        second = clear_radius([replace(edge, segments=taper, reach=np.zeros(len(taper)))], scale_error)
        if far:
            swapped = replace(edge, segments=taper, reach=np.zeros(len(taper)))
            clear, second = clear_radius([swapped, *outs[1:]], scale_error), clear_radius([edge], scale_error)
    sizes = np.bincount(clear.owner, minlength=len(outs))
    low, high = clear.edge[:, :2].min(axis=0), clear.edge[:, :2].max(axis=0)
    return RoundSite(
        clear, np.repeat(below, sizes), second, thickness, (low[0], low[1]), (high[0], high[1])
    )  # fmt: skip


@dataclass(frozen=True, eq=False)
class LogSite:
    """The axes across a log in one direction, or in a span of directions taken together.

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


def log_site(
    found: Marks, centre: Real, angle: float, z: float, scale_error: float, split: Split, half: float = 0.0
) -> LogSite:
    """Return the axes of the directions within `half` of an angle, radians from x to y; it points into the wood."""
    if half > 0:
        found = _loosened(found, centre, angle, half)
    into = np.array([math.cos(angle), math.sin(angle)])
    offset = found.at - centre
    across, along = offset @ np.array([-into[1], into[0]]), offset @ into
    nearest, foot_at = split.limits(centre, angle, half)
    reach = float(np.hypot(*offset[found.edge].T).max())
    if math.isfinite(foot_at):
        found, across, along = found.with_plane(), np.append(across, np.nan), np.append(along, foot_at)
    low, high = (-reach, max(nearest, -reach)), (reach, reach)
    return LogSite(across, along, found, z, scale_error, low, high, foot_at)


def _loosened(found: Marks, centre: Real, angle: float, half: float) -> Marks:
    """Return marks that leave out all that any of the directions within `half` of an angle clears.

    The edge of the wood is replaced by points at its farthest in any of the directions, so that turning a round log
    costs nothing; defects keep their place, and what they ask for is less by as much as they may have moved.
    """
    rim, others = found.edge, ~found.edge
    farthest = _farthest_by_bin(found.at[rim] - centre, half)
    theta = (np.arange(BINS) + 0.5) * (2 * math.pi / BINS)
    picked = np.arange(0, BINS, 3)
    ends = centre + farthest[picked, None] * np.stack([np.cos(theta[picked]), np.sin(theta[picked])], axis=1)
    moved = np.hypot(*(found.at[others] - centre).T) * 2 * math.sin(half / 2)
    count = len(picked)

    def joined(of_edge: float, of_others: np.ndarray) -> np.ndarray:
        return np.concatenate([np.full(count, of_edge), of_others])

    return Marks(
        np.vstack([ends, found.at[others]]),
        joined(float(found.margin[rim].min()), found.margin[others]),
        joined(float(found.error[rim].min()), found.error[others]),
        np.arange(count + len(moved)) < count,
        joined(math.inf, found.depth[others]),
        joined(0.0, moved),
        np.concatenate([np.zeros(count, np.intp), found.owner[others]]),
    )


def _farthest_by_bin(outline: Real, half: float) -> Real:
    """Return, by bins of direction, how far the outline reaches within half a span to either side.

    Between two points of the outline the distance from the centre is largest at one of them; so each bin looks as far
    to either side as the points may be apart.
    """
    radius = np.hypot(outline[:, 0], outline[:, 1])
    angle = np.arctan2(outline[:, 1], outline[:, 0]) % (2 * math.pi)
    place = np.minimum((angle / (2 * math.pi) * BINS).astype(int), BINS - 1)
    farthest = np.zeros(BINS)
    np.maximum.at(farthest, place, radius)
    gap = EDGE_STEP / max(float(radius.min()), EDGE_STEP)
    wide = math.ceil((half + gap) / (2 * math.pi) * BINS) + 1
    found: Real = np.max([np.roll(farthest, shift) for shift in range(-wide, wide + 1)], axis=0)
    return found
