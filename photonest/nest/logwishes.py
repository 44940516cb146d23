"""What a person may ask of a log: so many bowls in all, or bowls of sizes wanted, shared out between its halves."""

from __future__ import annotations

import itertools
import time
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from photonest.model import StockError
from photonest.nest.logs import HalfWish, Log
from photonest.nest.logsearch import LogPlan, best_of_log
from photonest.nest.solve import PER_BOWL
from photonest.nest.spans import table_of
from photonest.nest.wanted import counting, making

ANY_GAP = 1e3  # the first nests found will do
COARSE_GAP = 0.03
MOST_SIZES = 8

Share = tuple[HalfWish, HalfWish]


def in_numbers(log: Log, bowls: int) -> list[Share]:
    """Return the ways to share out a number of bowls between the halves, the evenest first."""
    counts = sorted(range(bowls + 1), key=lambda one: (abs(2 * one - bowls), one))
    each = [HalfWish(counting(log.work, n), count=n) for n in range(bowls + 1)]
    return [(each[n], each[bowls - n]) for n in counts]


def in_sizes(log: Log, sizes: Sequence[float]) -> list[Share]:
    """Return the ways to share out rim diameters wanted between the halves, the evenest first.

    Raises
    ------
    StockError
        If they are more than two halves are shared out for.
    """
    if len(sizes) > MOST_SIZES:
        raise StockError(
            f"{len(sizes)} sizes are more than are looked for in one log.", f"Ask for {MOST_SIZES} or fewer."
        )
    ordered = sorted(sizes, reverse=True)
    parts = {
        tuple(tuple(size for size, side in zip(ordered, sides, strict=True) if side == half) for half in (0, 1))
        for sides in itertools.product((0, 1), repeat=len(ordered))
    }
    ranked = sorted(parts, key=lambda pair: (abs(sum(pair[0]) - sum(pair[1])), pair))
    return [(_half_of(log, one), _half_of(log, other)) for one, other in ranked]


def _half_of(log: Log, sizes: tuple[float, ...]) -> HalfWish:
    return HalfWish(making(log.work, sizes), sizes=sizes) if sizes else HalfWish(counting(log.work, 0), count=0)


def best_shared(log: Log, shares: Sequence[Share], bowls: int, gap: float, work: int, seconds: float) -> LogPlan:
    """Return the best nests of just so many bowls, over the ways to share them out; none where none was found.

    Each way is looked at with little work first, then the most promising with what is left. The bound holds for all of
    them together; `stopped` tells what left any unsettled.
    """
    floor = bowls * PER_BOWL if log.work.worth.objective == "bowls" else 0.0
    tops = [sum(_ceiling(log, wish) for wish in share) for share in shares]
    stops = {place: "work" for place, top in enumerate(tops) if top > floor}
    little, spent, end = work // (2 * max(1, len(stops))), 0, time.monotonic() + seconds
    best, rank = LogPlan((), floor, 0), floor
    for last in (False, True):
        for place in sorted(stops, key=lambda place: -tops[place]) if last else list(stops):
            if tops[place] <= rank or spent >= work or (best.halves and gap >= ANY_GAP):
                continue
            asked, left = replace(log, wishes=shares[place], beat=rank), end - time.monotonic()
            found = best_of_log(asked, gap, work - spent if last else little, max(left, 0.0))
            spent, tops[place] = spent + found.work, min(tops[place], found.bound)
            if sum(half.found.bowls for half in found.halves) == bowls:
                best, rank = found, sum(log.rank(half) for half in found.halves)
            if found.stopped:
                stops[place] = found.stopped
            else:
                del stops[place]
    stopped = next((why for place, why in stops.items() if tops[place] > rank), "")
    return LogPlan(best.halves, max(rank, *tops), spent, stopped)


def _ceiling(log: Log, wish: HalfWish) -> float:
    """Return what a half's nest ranks at most in sound wood as wide and as long as the log."""
    edge = log.marks.at[log.marks.edge]
    across = float(np.hypot(*(edge[:, None, :] - edge[None, ::8, :]).T).max())
    widest = min(max(log.widest), across / 2)
    table = table_of(wish.work, widest)
    coarse = table.levels[-1]
    rows = np.flatnonzero(coarse.low <= widest)
    if not len(rows):
        return 0.0
    return max(0.0, float(table.at_most(len(table.levels) - 1, rows, np.full(len(rows), coarse.depth[-1])).max()))


def fits(log: Log, sizes: Sequence[float], work: int, seconds: float) -> LogPlan:
    """Return some nests of the sizes wanted, the first found."""
    return best_shared(log, in_sizes(log, sizes), len(sizes), ANY_GAP, work, seconds)


def largest_beside(log: Log, sizes: Sequence[float], work: int, seconds: float) -> float:
    """Return the rim diameter of a large bowl found to fit beside bowls of the sizes given; 0 where none was found."""
    shares = in_sizes(log, [*sizes, log.work.rules.shop.min_rim]) if sizes else in_numbers(log, 1)
    found = best_shared(log, shares, len(sizes) + 1, COARSE_GAP, work, seconds)
    bowls = (bowl for half in found.halves for bowl in half.found.recipe.bowls(log.work.rules))
    return min((2 * float(bowl.rim) for bowl in bowls), default=0.0)
