"""Bowls of sizes asked for: the nest that holds them, or what stops it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from photonest.nest.chains import IMPOSSIBLE, Level, best_following, following, level_of
from photonest.nest.curves import Outside
from photonest.nest.refine import Recipe, Room, refined, trace
from photonest.nest.rules import Real
from photonest.nest.solve import Found, Workshop, first_bowls, nest_worth

SLACK = 0.05  # mm: figures are in tenths


@dataclass(frozen=True)
class Wanted:
    """The nest that holds the bowls wanted, or None and, in words, what stops it."""

    found: Found | None
    stops: str


def wanted_nest(work: Workshop, room: Room, widest: float, limit: float, sizes: Sequence[float]) -> Wanted:
    """Return a nest on one axis whose bowls are at least of the rim diameters wanted, largest first.

    Where none is, the first sizes are kept and the next is made as large as it can be: that says what stops it.
    """
    rims = sorted((size / 2 for size in sizes), reverse=True)
    found = _holding(work, room, widest, limit, rims)
    if found is not None:
        return Wanted(found, "")
    for count in range(1, len(rims) + 1):
        if _holding(work, room, widest, limit, rims[:count]) is not None:
            continue
        if count == 1:
            most = first_bowls(work, room, widest, limit).rim
            reason = "no bowl fits" if not len(most) else f"the wood is clear to {2 * float(most.max()):.0f} mm there"
            return Wanted(None, f"A bowl {2 * rims[0]:.0f} mm across does not fit: {reason}.")
        best = _largest_after(work, room, widest, limit, rims[: count - 1])
        kept = ", ".join(f"{2 * rim:.0f}" for rim in rims[: count - 1])
        reach = (
            f"the largest bowl after {kept} mm is {2 * best:.0f} mm" if best > 0 else f"nothing fits after {kept} mm"
        )
        return Wanted(None, f"A bowl {2 * rims[count - 1]:.0f} mm across does not fit as number {count}: {reach}.")
    return Wanted(None, "These sizes don't fit together.")


def _levels(work: Workshop, rims: Sequence[float]) -> list[Level]:
    """Return the values of the cores wanted, the last first: each at least as large as asked."""
    grid, worth = work.points.grid, work.worth
    entering, last = worth.entering(grid), worth.last(grid)
    found: list[Level] = []
    for rim in reversed(rims):
        rest = last
        if found:
            rest = np.full(grid.good.shape, IMPOSSIBLE)
            rest[grid.good] = best_following(work.points.follows, found[-1])[0]
        large = grid.good & (np.nan_to_num(grid.bowls.rim) >= rim - SLACK) & (rest > IMPOSSIBLE / 2)
        found.append(level_of(grid, worth, np.where(large, entering + rest, IMPOSSIBLE), rest))
    return found


def _holding(work: Workshop, room: Room, widest: float, limit: float, rims: Sequence[float]) -> Found | None:
    firsts = first_bowls(work, room, widest, limit)
    firsts = firsts.at(firsts.rim >= rims[0] - SLACK)
    if not len(firsts.rim):
        return None
    levels = _levels(work, rims[1:])
    total = work.worth.of_rim(firsts.rim)
    total = total + (best_following(following(work.points.grid, firsts), levels[-1])[0] if levels else 0.0)
    place = int(np.argmax(total))
    if total[place] <= IMPOSSIBLE / 2:
        return None
    cuts = trace(work.points, levels, firsts.at([place]))

    def worth(bowls: list[Outside], grooves: list[tuple[Real, Real, Real]]) -> Real:
        large = [bowl.rim >= rim - SLACK for bowl, rim in zip(bowls, rims, strict=True)]
        return np.where(np.all(large, axis=0), nest_worth(work.worth, bowls, grooves), IMPOSSIBLE)

    best = refined(work.rules, Recipe(float(firsts.rim[place]), 0.0, cuts), widest, room, limit, worth)
    return None if best is None else Found(*best)


def _largest_after(work: Workshop, room: Room, widest: float, limit: float, rims: Sequence[float]) -> float:
    """Return the largest rim radius, to 0.5 mm, that can follow bowls of the sizes given."""
    low, high = 0.0, rims[-1]
    while high - low > 0.5:
        middle = (low + high) / 2
        fits = _holding(work, room, widest, limit, [*rims, middle]) is not None
        low, high = (middle, high) if fits else (low, middle)
    return low
