"""A log to be planned: its axes, and the best nest on one of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from photonest.nest.curves import deepest, turned_outside
from photonest.nest.logsite import LogSite, Marks, Split, log_site
from photonest.nest.placing import clearest, room
from photonest.nest.refine import Room
from photonest.nest.rules import Real, Rules
from photonest.nest.solve import Found, Workshop, nests_on_axis
from photonest.nest.spans import View, view_of

LOWER_BY = 0.2  # mm
MOST_LOWERED = 25
CLEARER = 12.0  # mm: how far a found axis is moved to where it clears all by the most


@dataclass(frozen=True)
class HalfNest:
    """The best nest found in a half log: its direction (radians), its axis and its recipe."""

    angle: float
    u: float
    t: float
    z: float
    found: Found
    slack: float


@dataclass(frozen=True, eq=False)
class Log:
    """A log to be planned.

    Attributes
    ----------
    marks : Marks
    centre : ndarray, shape (2,)
        Of the outline; directions turn about it.
    split : Split
    zs : tuple of float
        The places along the log tried for the axes.
    widest : tuple of float
        The widest rim radius at each.
    scale_error : float
    """

    work: Workshop
    marks: Marks
    centre: Real
    split: Split
    zs: tuple[float, ...]
    widest: tuple[float, ...]
    scale_error: float

    def site(self, angle: float, z: float) -> LogSite:
        """Return the axes in one direction at a place along the log."""
        return log_site(self.marks, self.centre, angle, z, self.scale_error, self.split)

    def view(self, angle: float, half: float, z: float) -> View:
        """Return the wood in a span of directions."""
        return view_of(self.marks, self.centre, self.split, z, self.scale_error, angle, half)

    def rank(self, nest: HalfNest) -> float:
        """Return a nest's rank among nests."""
        return float(self.work.rank(nest.found.bowls, nest.found.value))


def room_on_axis(rules: Rules, site: LogSite, a: float, b: float) -> Room:
    """Return the depth at hand on an axis, lowered until rim and foot, between two marks of the edge, are inside."""
    points = site.points(a, b)

    def room_at(rim: Real) -> Real:
        foot = rules.foot(rim)
        depth = np.minimum(room(rim, foot, points), deepest(rules, rim))
        depth = np.where(site.half_width(a, b, np.zeros(1)) >= rim, depth, 0.0)
        for _ in range(MOST_LOWERED):
            out = (depth > 0) & (site.half_width(a, b, depth) < foot)
            if not out.any():
                return depth
            depth = np.where(out, np.maximum(depth - LOWER_BY, 0.0), depth)
        return np.where(out, 0.0, depth)

    return room_at


def nest_at(log: Log, angle: float, a: float, b: float, z: float, starts: int = 1) -> HalfNest | None:
    """Return the best nest on the axis (u, t) of a direction, at z along the log."""
    widest = log.widest[log.zs.index(z)]
    room_at = room_on_axis(log.work.rules, log.site(angle, z), a, b)
    found = nests_on_axis(log.work, room_at, widest, best_only=True, starts=starts)
    return HalfNest(angle, a, b, z, found[max(found)], 0.0) if found else None


def polished(log: Log, nest: HalfNest) -> HalfNest:
    """Return a nest moved to where its first bowl clears all by the most, and the best nest there."""
    site = log.site(nest.angle, nest.z)
    for _ in range(2):
        recipe = nest.found.recipe
        first = turned_outside(log.work.rules, np.array([recipe.rim]), np.array([recipe.depth]))
        better = clearest(first, near(site, nest.u, nest.t, CLEARER), most_cells=600)
        if better.value < 0:
            break
        other = nest_at(log, nest.angle, better.a, better.b, nest.z, 2)
        moved = HalfNest(nest.angle, better.a, better.b, nest.z, nest.found, better.value)
        if other is None or log.rank(other) <= log.rank(nest) + 0.2:
            return moved
        nest = other
    return nest


def near(site: LogSite, a: float, b: float, reach: float) -> LogSite:
    """Return the axes of a site within a square about one."""
    low = (max(site.low[0], a - reach), max(site.low[1], b - reach))
    high = (min(site.high[0], a + reach), min(site.high[1], b + reach))
    return LogSite(site.across, site.along, site.marks, site.z, site.scale_error, low, high, site.foot_at)
