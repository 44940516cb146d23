"""The best nests of a log: rip direction, rim planes and axes, by branch and bound with proof.

For one direction the best nest of a half log is found over the axis's two coordinates; for a span of directions a bound
comes from the same search on all that any of them leaves clear. Targets (so many bowls, of so much worth) stand on a
scale of steps; a step is out of reach when none of the first bowls it needs fits anywhere. Spans are halved, the best
bound first, until no pair of opposite spans can better the best pair found by more than the gap.
"""

from __future__ import annotations

import heapq
import itertools
import math
import time
from dataclasses import dataclass, field

import numpy as np

from photonest.nest.curves import deepest
from photonest.nest.placing import clearest, most_valuable, room
from photonest.nest.refine import Room
from photonest.nest.rules import Real, Rules
from photonest.nest.sites import LogSite, Marks, Split, log_site
from photonest.nest.solve import PER_BOWL, Found, Workshop, first_bowl_values, nests_on_axis

FIRST_SPANS = 12
TOLERANCE = 0.01
PATIENCE = 4  # a first nest is looked for so many times as long
LOWER_BY = 0.2  # mm
MOST_LOWERED = 25


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
    limit_below : float
        How far from the far side no inside may reach.
    """

    work: Workshop
    marks: Marks
    centre: Real
    split: Split
    zs: tuple[float, ...]
    widest: tuple[float, ...]
    scale_error: float
    memory: dict[float, HalfNest | None] = field(default_factory=dict)

    def best_in_direction(self, angle: float) -> HalfNest | None:
        """Return the best nest found in one direction; None where no bowl fits."""
        key = round(angle % (2 * math.pi), 9)
        if key not in self.memory:
            self.memory[key] = _best_in_direction(self, key)
        return self.memory[key]


def _best_in_direction(log: Log, angle: float) -> HalfNest | None:
    best: HalfNest | None = None
    for z, widest in zip(log.zs, log.widest, strict=True):
        site = log_site(log.marks, log.centre, angle, z, log.scale_error, log.split)
        where = most_valuable(first_bowl_values(log.work, widest), site, TOLERANCE * 100)
        if where.rank < 0:
            continue
        found = _climb(log, site, angle, z, widest, (where.a, where.b))
        if found is not None and (best is None or _rank(found) > _rank(best)):
            best = found
    return best


def _rank(nest: HalfNest) -> tuple[int, float]:
    return nest.found.bowls, nest.found.value


def _climb(
    log: Log, site: LogSite, angle: float, z: float, widest: float, where: tuple[float, float]
) -> HalfNest | None:
    """Return the best nest at an axis, moved to where it clears all by the most and tried again while that helps."""
    rules, best, a, b = log.work.rules, None, *where
    for _ in range(4):
        found = nests_on_axis(log.work, room_on_axis(rules, site, a, b), widest, best_only=True)
        top = found[max(found)] if found else None
        if top is None or (best is not None and (top.bowls, top.value) <= (best.found.bowls, best.found.value + 0.2)):
            break
        best = HalfNest(angle, a, b, z, top, 0.0)
        first = top.recipe.bowls(rules)[0]
        first = type(first)(*(np.atleast_1d(x) for x in first))
        better = clearest(first, _near(site, a, b, 12.0))
        if better.value < 0:
            break
        a, b = better.a, better.b
        best = HalfNest(angle, a, b, z, top, better.value)
    return best


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


def _near(site: LogSite, a: float, b: float, reach: float) -> LogSite:
    low = (max(site.low[0], a - reach), max(site.low[1], b - reach))
    high = (min(site.high[0], a + reach), min(site.high[1], b + reach))
    return LogSite(site.across, site.along, site.marks, site.z, site.scale_error, low, high, site.foot_at)


@dataclass(frozen=True)
class LogPlan:
    """The best nests of a log, at most one a half, and the rank that none can be above: proven."""

    halves: tuple[HalfNest, ...]
    bound: float


def best_of_log(log: Log, gap: float, seconds: float) -> LogPlan:
    """Return the best nests of a log.

    Parameters
    ----------
    log : Log
    gap : float
        The search stops when no rip direction can be better by more than this share.
    seconds : float
        It stops after this long in any case, and its bound says how far it got.
    """
    start = time.monotonic()
    order = itertools.count()
    best, halves = 0.0, tuple[HalfNest, ...]()
    heap: list[tuple[float, int, float, float]] = []

    def bound(angle: float, half: float) -> float:
        tops = [0.0]
        for z, widest in zip(log.zs, log.widest, strict=True):
            site = log_site(log.marks, log.centre, angle, z, log.scale_error, log.split, half)
            tops.append(most_valuable(first_bowl_values(log.work, widest), site, TOLERANCE * 100).bound)
        return max(tops)

    def push(angle: float, half: float) -> None:
        heapq.heappush(heap, (-bound(angle, half) - bound(angle + math.pi, half), next(order), angle, half))

    width = math.pi / FIRST_SPANS / 2
    for k in range(FIRST_SPANS):
        push((2 * k + 1) * width, width)
    while heap and -heap[0][0] > _allowed(best, gap):
        if time.monotonic() - start > seconds * (1 if halves else PATIENCE):
            break
        _, _, angle, half = heapq.heappop(heap)
        pair = [nest for nest in (log.best_in_direction(angle), log.best_in_direction(angle + math.pi)) if nest]
        rank = sum(log.work.rank(nest.found.bowls, nest.found.value) for nest in pair)
        if rank > best:
            best, halves = rank, tuple(pair)
        for side in (-1, 1):
            push(angle + side * half / 2, half / 2)
    return LogPlan(halves, max(best, -heap[0][0] if heap else best))


def _allowed(rank: float, gap: float) -> float:
    """Return the rank up to which a bound is near enough: as many bowls, worth no more than the gap above."""
    count, value = divmod(rank, PER_BOWL)
    return count * PER_BOWL + value * (1 + gap)
