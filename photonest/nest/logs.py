"""A log to be planned: its axes, and the best nest on one of them."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass, replace

import numpy as np

from photonest.nest.curves import deepest, turned_outside
from photonest.nest.logsite import LogSite, Marks, Split, log_site
from photonest.nest.placing import clearest, room
from photonest.nest.refine import Room
from photonest.nest.rules import Real, Rules
from photonest.nest.solve import Found, Workshop, nests_on_axis
from photonest.nest.turning import Reach, reach_of
from photonest.nest.views import View, view_of
from photonest.nest.wanted import wanted_nest

LOWER_BY = 0.2  # mm
MOST_LOWERED = 25
CLEARER = 12.0  # mm: how far a found axis is moved to where it clears all by the most


@dataclass(frozen=True)
class HalfNest:
    """The best nest found in a half log: its direction (radians), its axis and its recipe.

    `side` tells the half it is of: 0, or 1 where the axes lie half a turn from the directions searched.
    """

    angle: float
    u: float
    t: float
    z: float
    found: Found
    slack: float
    side: int = 0


@dataclass(frozen=True)
class HalfWish:
    """What is asked of one half: a workshop that makes only that; just so many bowls; bowls of sizes, largest first."""

    work: Workshop
    count: int | None = None
    sizes: tuple[float, ...] = ()


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
    rips : tuple of (middle, half width)
        The directions allowed, in radians from x to y, of one half's axes; the other's lie half a turn from them.
    through_centre : bool
        Whether every axis crosses `centre`.
    wishes : tuple of HalfWish
        What is asked of either half; empty where nothing is but the best.
    beat : float
        Nests of no higher rank than this are not looked for.
    """

    work: Workshop
    marks: Marks
    centre: Real
    split: Split
    zs: tuple[float, ...]
    widest: tuple[float, ...]
    scale_error: float
    rips: tuple[tuple[float, float], ...] = ((math.pi / 2, math.pi / 2),)
    through_centre: bool = False
    wishes: tuple[HalfWish, ...] = ()
    beat: float = 0.0

    def wish(self, side: int) -> HalfWish:
        """Return what is asked of a half."""
        return self.wishes[side] if self.wishes else HalfWish(self.work)

    def allows(self, angle: float) -> bool:
        """Return whether a direction is allowed; one and half a turn from it are the same rip."""
        quarter = math.pi / 2
        return any(abs((angle - middle + quarter) % math.pi - quarter) <= half + 1e-9 for middle, half in self.rips)

    def swept(self, count: int) -> tuple[float, ...]:
        """Return so many directions to a half turn, as far as they are allowed; else the middles of those allowed."""
        angles = [math.pi * k / count for k in range(count)]
        found = [angle for angle in angles if any(abs(angle - middle) <= half for middle, half in self.rips)]
        return tuple(found or (middle for middle, _ in self.rips))

    def spans(self, count: int) -> tuple[tuple[float, float], ...]:
        """Return the directions allowed as spans, (middle, half width), none wider than one of so many."""
        found = []
        for middle, half in self.rips:
            parts = max(1, math.ceil(2 * half * count / math.pi - 1e-9))
            width = half / parts
            found += [(middle - half + (2 * k + 1) * width, width) for k in range(parts)]
        return tuple(found)

    def site(self, angle: float, z: float) -> LogSite:
        """Return the axes in one direction at a place along the log."""
        found = log_site(self.marks, self.centre, angle, z, self.scale_error, self.split)
        if self.through_centre:
            found = replace(found, low=(0.0, found.low[1]), high=(0.0, found.high[1]))
        return found

    def view(self, angle: float, half: float, z: float) -> View:
        """Return the wood in a span of directions."""
        return view_of(self.marks, self.reach, self.centre, self.split, z, self.scale_error, angle, half)

    @functools.cached_property
    def reach(self) -> Reach:
        """How far the edge reaches as the log turns about its centre."""
        return reach_of(self.marks.at[self.marks.edge] - self.centre)

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


def nest_at(log: Log, angle: float, a: float, b: float, z: float, starts: int = 1, side: int = 0) -> HalfNest | None:
    """Return the best nest on the axis (u, t) of a direction, at z along the log: of those asked of its half."""
    widest = log.widest[log.zs.index(z)]
    room_at = room_on_axis(log.work.rules, log.site(angle, z), a, b)
    wish, found = log.wish(side), None
    if wish.sizes:
        found = wanted_nest(log.work, room_at, widest, wish.sizes).found
    else:
        counted = log.work.worth.objective == "bowls"
        nests = nests_on_axis(wish.work, room_at, widest, best_only=counted and wish.count is None, starts=starts)
        if wish.count is not None:
            found = nests.get(wish.count)
        elif nests:
            found = max(nests.values(), key=lambda nest: float(log.work.rank(nest.bowls, nest.value)))
    return HalfNest(angle, a, b, z, found, 0.0, side) if found is not None else None


def polished(log: Log, nest: HalfNest) -> HalfNest:
    """Return a nest moved to where its first bowl clears all by the most, and the best nest there.

    Clearing the marks says nothing of its corners between two of them: the room on the axis has to hold it too.
    """
    site = log.site(nest.angle, nest.z)
    for _ in range(2):
        recipe = nest.found.recipe
        rim = np.array([recipe.rim])
        first = turned_outside(log.work.rules, rim, np.array([recipe.depth]))
        better = clearest(first, near(site, nest.u, nest.t, CLEARER), most_cells=600)
        if better.value < 0 or room_on_axis(log.work.rules, site, better.a, better.b)(rim)[0] < recipe.depth - 1e-9:
            break
        other = nest_at(log, nest.angle, better.a, better.b, nest.z, 2, nest.side)
        moved = replace(nest, u=better.a, t=better.b, slack=better.value)
        if other is None or log.rank(other) <= log.rank(nest) + 0.2:
            return moved
        nest = other
    return nest


def near(site: LogSite, a: float, b: float, reach: float) -> LogSite:
    """Return the axes of a site within a square about one."""
    low = (max(site.low[0], a - reach), max(site.low[1], b - reach))
    high = (min(site.high[0], a + reach), min(site.high[1], b + reach))
    return replace(site, low=low, high=high)
