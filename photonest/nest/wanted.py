"""Bowls of sizes asked for: the nest that holds them, or what stops it."""

from __future__ import annotations

import functools
import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from photonest.nest.chains import IMPOSSIBLE, Chains, Level, Worth, best_following, following, level_of
from photonest.nest.curves import Outside, deepest
from photonest.nest.refine import Recipe, Room, refined, trace
from photonest.nest.rules import Real
from photonest.nest.solve import Found, MayEnd, Workshop, first_bowls, nest_worth

SLACK = 0.05  # mm: figures are in tenths


@dataclass(frozen=True)
class Wanted:
    """The nest that holds the bowls wanted, or None and, in words, what stops it."""

    found: Found | None
    stops: str


def wanted_nest(
    work: Workshop,
    room: Room,
    widest: float,
    sizes: Sequence[float],
    may_end: MayEnd | None = None,
) -> Wanted:
    """Return a nest on one axis whose bowls are at least of the rim diameters wanted, largest first.

    `may_end` tells which bowls may be the last. Where no nest is, the first sizes are kept and the next is made as
    large as it can be: that says what stops it.
    """
    rims = sorted((size / 2 for size in sizes), reverse=True)
    found = _holding(work, room, widest, rims, may_end)
    if found is not None:
        return Wanted(found, "")
    if may_end is not None:
        return Wanted(None, "No last bowl of these sizes holds in its hollow the shallow defects left to it.")
    for count in range(1, len(rims) + 1):
        if _holding(work, room, widest, rims[:count]) is not None:
            continue
        if count == 1:
            most = first_bowls(work, room, widest).rim
            reason = "no bowl fits" if not len(most) else f"the wood is clear to {2 * float(most.max()):.0f} mm there"
            return Wanted(None, f"A bowl {2 * rims[0]:.0f} mm across does not fit: {reason}.")
        best = _largest_after(work, room, widest, rims[: count - 1])
        kept = ", ".join(f"{2 * rim:.0f}" for rim in rims[: count - 1])
        reach = (
            f"the largest bowl after {kept} mm is {2 * best:.0f} mm" if best > 0 else f"nothing fits after {kept} mm"
        )
        return Wanted(None, f"A bowl {2 * rims[count - 1]:.0f} mm across does not fit as number {count}: {reach}.")
    return Wanted(None, "These sizes don't fit together.")


@dataclass(frozen=True)
class FirstOf(Worth):
    """How nests are valued whose first bowl is at least of a rim radius."""

    least: float = field(default=0.0, kw_only=True)

    def of_rim(self, rim: Real) -> Real:
        """Return what bowls are worth by their rim radius; no first bowl may be smaller than `least`."""
        return np.where(np.asarray(rim) >= self.least - SLACK, super().of_rim(rim), IMPOSSIBLE)


def _first_of(work: Workshop, least: float) -> Worth:
    return FirstOf(work.worth.objective, work.worth.prices, least=least)


@functools.lru_cache(maxsize=16)
def counting(work: Workshop, count: int) -> Workshop:
    """Return a workshop that makes nests of so many bowls."""
    worth = work.worth if count else _first_of(work, math.inf)
    cores = max(count - 1, 0)
    points, cells = work.point_levels[:cores], work.cell_levels[:cores]
    return replace(work, worth=worth, point_levels=points, cell_levels=cells, memory={}, only=count or None)


@functools.lru_cache(maxsize=32)
def making(work: Workshop, sizes: tuple[float, ...]) -> Workshop:
    """Return a workshop that makes only nests of bowls at least of the rim diameters given, largest first."""
    rims = [size / 2 for size in sizes]
    return replace(
        work,
        worth=_first_of(work, rims[0] if rims else math.inf),
        point_levels=_levels(work.points, work.worth, rims[1:]),
        cell_levels=_levels(work.cells, work.worth, rims[1:]),
        memory={},
        only=len(sizes) or None,
    )


@functools.lru_cache(maxsize=16)
def using(work: Workshop, cutters: tuple[str, ...]) -> Workshop:
    """Return a workshop that cuts with some of its cutters alone."""
    picked = [place for place, cutter in enumerate(work.rules.shop.cutters) if cutter.name in cutters]

    def levels(chains: Chains, count: int) -> list[Level]:
        mask = np.isin(chains.grid.cutter, picked)[:, None]
        found = _levels_of(chains, work.worth, [mask] * count)
        return [level for level in found if (level.value > IMPOSSIBLE / 2).any()]

    points, cells = levels(work.points, len(work.point_levels)), levels(work.cells, len(work.cell_levels))
    return replace(work, point_levels=points, cell_levels=cells, memory={})


def _levels(chains: Chains, worth: Worth, rims: Sequence[float], may_end: MayEnd | None = None) -> list[Level]:
    """Return the values of the cores wanted, the last first: each at least as large as asked."""
    sizes = np.nan_to_num(chains.grid.bowls.rim)
    allowed = [sizes >= rim - SLACK for rim in reversed(rims)]
    if allowed and may_end is not None:
        allowed[0] &= may_end(chains.grid.bowls)
    return _levels_of(chains, worth, allowed)


def _levels_of(chains: Chains, worth: Worth, allowed: Sequence[NDArray[np.bool_]]) -> list[Level]:
    """Return the values of one core more a level, the last first, each of those allowed of the grid."""
    grid = chains.grid
    entering, last = worth.entering(grid), worth.last(grid)
    found: list[Level] = []
    for may_be in allowed:
        rest = last
        if found:
            rest = np.full(grid.good.shape, IMPOSSIBLE)
            rest[grid.good] = best_following(chains.follows, found[-1])[0]
        possible = grid.good & may_be & (rest > IMPOSSIBLE / 2)
        found.append(level_of(grid, worth, np.where(possible, entering + rest, IMPOSSIBLE), rest))
    return found


def _holding(
    work: Workshop, room: Room, widest: float, rims: Sequence[float], may_end: MayEnd | None = None
) -> Found | None:
    firsts = first_bowls(work, room, widest)
    firsts = firsts.at(firsts.rim >= rims[0] - SLACK)
    if len(rims) == 1 and may_end is not None:
        firsts = firsts.at(may_end(firsts))
    if not len(firsts.rim):
        return None
    levels = _levels(work.points, work.worth, rims[1:], may_end)
    total = work.worth.of_rim(firsts.rim)
    total = total + (best_following(following(work.points.grid, firsts), levels[-1])[0] if levels else 0.0)
    place = int(np.argmax(total))
    if total[place] <= IMPOSSIBLE / 2:
        return None
    cuts = trace(work.points, levels, firsts.at([place]))

    def worth(bowls: list[Outside], grooves: list[tuple[Real, Real, Real]]) -> Real:
        allowed = [bowl.rim >= rim - SLACK for bowl, rim in zip(bowls, rims, strict=True)]
        allowed += [] if may_end is None else [may_end(bowls[-1])]
        return np.where(np.all(allowed, axis=0), nest_worth(work.worth, bowls, grooves), IMPOSSIBLE)

    def depth_at(rim: Real) -> Real:  # thicker wood is turned away first
        return np.minimum(room(rim), deepest(work.rules, rim))

    best = refined(work.rules, Recipe(float(firsts.rim[place]), 0.0, cuts), widest, depth_at, worth)
    return None if best is None else Found(*best)


def _largest_after(work: Workshop, room: Room, widest: float, rims: Sequence[float]) -> float:
    """Return the largest rim radius, to 0.5 mm, that can follow bowls of the sizes given."""
    low, high = 0.0, rims[-1]
    while high - low > 0.5:
        middle = (low + high) / 2
        fits = _holding(work, room, widest, [*rims, middle]) is not None
        low, high = (middle, high) if fits else (low, middle)
    return low
