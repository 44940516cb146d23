"""The best nest on one axis, and which first bowls any better nest would need."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from photonest.model import Objective, Shop
from photonest.nest.chains import (
    IMPOSSIBLE,
    Chains,
    Level,
    Worth,
    best_following,
    cell_grid,
    chains_on,
    following,
    levels,
    point_grid,
)
from photonest.nest.curves import Outside, deepest, loosest_outside, turned_outside, worth_having
from photonest.nest.refine import Recipe, Room, refined, trace
from photonest.nest.rules import Real, Rules, WallNeed

POINT_STEP = 1.0
CELL_STEP = 0.5
MOST_CUTS = 5e6
"""mm³: how far offsets reach in all, squared, times the stand-off's travel. Time goes with that over the step cubed."""
RADIUS_STEP = 0.5
DEPTH_STEP = 1.0
MOST_BOWLS = 12
TOGETHER = 8  # depths of a span of rims are worked out together
PER_BOWL = 1e6
"""Weight of one bowl more in a rank, where counts come first; more than any sum of rim diameters."""


@dataclass(frozen=True, eq=False)
class Workshop:
    """A workshop's chains and their values by an objective: on exact cuts, and as an upper bound. Worked out once.

    `only` is the number of bowls that alone counts, where one was asked for.
    """

    rules: Rules
    worth: Worth
    points: Chains
    point_levels: list[Level]
    cells: Chains
    cell_levels: list[Level]
    memory: dict[tuple[float, float, float], FirstBowls] = field(default_factory=dict)
    only: int | None = None

    def rank(self, count: int, value: Any) -> Any:
        """Return the rank of nests among nests: by count and then by worth, or by worth alone."""
        return count * PER_BOWL + value if self.worth.objective == "bowls" else value

    def value_of(self, rank: float) -> float:
        """Return what nests of a rank are worth, however many bowls they have."""
        return max(rank, 0.0) % PER_BOWL if self.worth.objective == "bowls" else max(rank, 0.0)


@functools.lru_cache(maxsize=4)
def _grids(shop: Shop, wall_need: WallNeed | None) -> tuple[Rules, Chains, Chains]:
    rules = Rules(shop, wall_need)
    steps = wider(rules)
    points, cells = point_grid(rules, POINT_STEP * steps), cell_grid(rules, CELL_STEP * steps)
    return rules, chains_on(rules, points), chains_on(rules, cells)


def wider(rules: Rules) -> float:
    """Return how many times the usual steps a workshop's grids have: more for rigs that move far, so that they end."""
    spans = [rules.offsets(cutter.radius) or (0.0, 0.0) for cutter in rules.shop.cutters]
    travel = rules.shop.stand_off
    down = min(travel.high, max(cutter.radius for cutter in rules.shop.cutters)) - travel.low
    cuts = sum(high - low for low, high in spans) ** 2 * down
    return max(1.0, float(np.cbrt(cuts / MOST_CUTS)))


@functools.lru_cache(maxsize=12)
def workshop(shop: Shop, wall_need: WallNeed | None, objective: Objective = "bowls") -> Workshop:
    """Return a workshop's chains, valued by an objective."""
    rules, points, cells = _grids(shop, wall_need)
    worth = Worth(objective, shop.prices)
    return Workshop(rules, worth, points, levels(points, worth), cells, levels(cells, worth))


MayEnd = Callable[[Outside], NDArray[np.bool_]]


@dataclass(frozen=True)
class Found:
    """A nest on one axis: its recipe, and what it is worth by the objective."""

    recipe: Recipe
    value: float

    @property
    def bowls(self) -> int:
        """How many bowls it has."""
        return len(self.recipe.cuts) + 1


def first_bowls(work: Workshop, room: Room, widest: float) -> Outside:
    """Return the deepest first bowl of each rim radius up to the widest; only those worth having."""
    least = work.rules.shop.min_rim / 2
    if widest < least:
        return turned_outside(work.rules, np.empty(0), np.empty(0))
    rims = np.append(np.arange(least, widest, RADIUS_STEP), widest)
    found = turned_outside(work.rules, rims, np.minimum(room(rims), deepest(work.rules, rims)))
    return found.at(worth_having(work.rules, found))


def nests_on_axis(
    work: Workshop,
    room: Room,
    widest: float,
    ends: Sequence[Level] | None = None,
    most: int = MOST_BOWLS,
    best_only: bool = False,
    may_end: MayEnd | None = None,
    starts: int = 2,
) -> dict[int, Found]:
    """Return the best nest of each number of bowls on one axis.

    Parameters
    ----------
    work : Workshop
        The chains.
    room : callable
        How deep a first bowl of each rim radius may be on this axis.
    widest : float
        The greatest rim radius.
    ends : sequence of Level or None
        The values to use where not every core may be the last.
    most : int
        Numbers of bowls above this are not tried.
    best_only : bool
        Whether to stop at the largest number of bowls.
    may_end : callable or None
        Which of many bowls may be the last.
    starts : int
        How many first bowls each number of bowls is refined from: 1 or 2.
    """
    rules, worth = work.rules, work.worth
    firsts = first_bowls(work, room, widest)
    if not len(firsts.rim):
        return {}
    chains = work.point_levels if ends is None else ends
    follows = following(work.points.grid, firsts)
    found: dict[int, Found] = {}
    for count in range(min(len(chains) + 1, most), 0, -1):
        if best_only and found:
            break
        total = worth.of_rim(firsts.rim)
        total = total + (worth.of_hollow(firsts) if count == 1 else best_following(follows, chains[count - 2])[0])
        if count == 1 and may_end is not None:
            total = np.where(may_end(firsts), total, IMPOSSIBLE)
        tried = [
            Recipe(float(firsts.rim[place]), 0.0, trace(work.points, chains[: count - 1], firsts.at([place])))
            for place in _starts(total)[:starts]
        ]
        for start in tried or _near_misses(work, firsts, count):
            best = refined(
                rules, start, widest, lambda rim: np.minimum(room(rim), deepest(rules, rim)),
                lambda bowls, grooves: _worth_where(worth, bowls, grooves, may_end),
            )  # fmt: skip
            if best is not None and (count not in found or best[1] > found[count].value + 1e-9):
                found[count] = Found(*best)
    return found


def _starts(total: Real) -> list[int]:
    """Return the best place, and the best well away from it."""
    order = np.argsort(-total, kind="stable")
    picked = [int(order[0])]
    picked += [int(place) for place in order if abs(place - picked[0]) > 10][:1]
    return [place for place in picked if total[place] > IMPOSSIBLE / 2]


def _near_misses(work: Workshop, firsts: Outside, count: int) -> list[Recipe]:
    """Return a chain that may lead to a nest of so many bowls where the grid of exact cuts has none."""
    if not 2 <= count <= len(work.cell_levels) + 1:
        return []
    total = best_following(following(work.cells.grid, firsts), work.cell_levels[count - 2])[0]
    place = int(np.argmax(total + work.worth.of_rim(firsts.rim)))
    if total[place] <= IMPOSSIBLE / 2:
        return []
    cuts = trace(work.cells, work.cell_levels[: count - 1], firsts.at([place]))
    return [Recipe(float(firsts.rim[place]), 0.0, cuts)]


def nest_worth(worth: Worth, bowls: list[Outside], grooves: list[tuple[Real, Real, Real]]) -> Real:
    """Return what nests are worth, from their bowls and the outer edges of their grooves (arrays of candidates)."""
    total: Real = np.sum([worth.of_rim(bowl.rim) for bowl in bowls], axis=0)
    for groove in grooves:
        total = total + worth.of_groove(*groove)
    return total + worth.of_hollow(bowls[-1])


def _worth_where(
    worth: Worth, bowls: list[Outside], grooves: list[tuple[Real, Real, Real]], may_end: MayEnd | None
) -> Real:
    found = nest_worth(worth, bowls, grooves)
    return found if may_end is None else np.where(may_end(bowls[-1]), found, IMPOSSIBLE)


def most_bowls(work: Workshop, room: Room, widest: float) -> int:
    """Return how many bowls fit on one axis, on the grid of exact cuts."""
    firsts = first_bowls(work, room, widest)
    if not len(firsts.rim):
        return 0
    follows = following(work.points.grid, firsts)
    counts = [n for n, level in enumerate(work.point_levels, 2) if best_following(follows, level)[0].max() > 0]
    return max(counts, default=1)


def upper_values(work: Workshop, firsts: Outside) -> list[Real]:
    """Return an upper bound of what a nest of n bowls is worth below each of some loosest first bowls."""
    worth = work.worth
    follows = following(work.cells.grid, firsts)
    possible = (firsts.axis_floor > 0) & np.isfinite(firsts.radius) & (firsts.depth >= work.rules.shop.min_depth - 1e-9)
    own = np.where(possible, worth.of_rim(firsts.rim), IMPOSSIBLE)
    found = [own + worth.of_hollow(firsts)]
    return found + [own + best_following(follows, level)[0] for level in work.cell_levels]


def bound_on_axis(work: Workshop, room: Room, widest: float) -> dict[int, float]:
    """Return an upper bound of what a nest of each number of bowls is worth on one axis.

    `room` must not grow with the rim radius.
    """
    least = work.rules.shop.min_rim / 2
    if widest < least:
        return {}
    lows = np.arange(least, widest + 1e-9, RADIUS_STEP)
    firsts = loosest_outside(work.rules, lows, np.minimum(lows + RADIUS_STEP, widest), room(lows))
    tops = {n: float(values.max()) for n, values in enumerate(upper_values(work, firsts), 1)}
    return {n: value for n, value in tops.items() if value > IMPOSSIBLE / 2}


@dataclass(frozen=True, eq=False)
class FirstBowls:
    """What a nest is worth at most, by its first bowl. Worked out, some depths at a time, when first asked.

    Attributes
    ----------
    low, high : ndarray, shape (n,)
        Ends of spans of rim radii.
    foot : ndarray, shape (n,)
        The least foot radius of a span.
    depth : ndarray, shape (m,)
        Depths, evenly spaced.
    rank : ndarray, shape (n, m)
        An upper bound of the rank of every nest whose first bowl is of the span and no deeper.
    known : ndarray of bool, shape (n, m / TOGETHER)
        Which depths of a span are worked out.
    """

    work: Workshop
    low: Real
    high: Real
    foot: Real
    depth: Real
    rank: Real
    known: NDArray[np.bool_]

    def at_most(self, picked: NDArray[np.intp], room: Real) -> Real:
        """Return the bound for the spans picked, each with its room in depth."""
        column = np.ceil((room - self.depth[0]) / (self.depth[1] - self.depth[0]) - 1e-9)
        last = np.minimum(np.searchsorted(self.depth, self.high[picked]), len(self.depth) - 1)  # none is deeper
        place = np.clip(column, 0, last).astype(np.intp)
        enough = room >= self.depth[0] - 1e-9
        asked = np.flatnonzero(enough & ~self.known[picked, place // TOGETHER])
        if len(asked):
            self._work_out(np.unique(picked[asked] * self.known.shape[1] + place[asked] // TOGETHER))
        found: Real = np.where(enough, self.rank[picked, place], IMPOSSIBLE)
        return found

    def _work_out(self, blocks: NDArray[np.intp]) -> None:
        row, block = np.divmod(blocks, self.known.shape[1])
        self.known[row, block] = True
        row = np.repeat(row, TOGETHER)
        column = (block[:, None] * TOGETHER + np.arange(TOGETHER)).ravel()
        inside = column < len(self.depth)
        row, column = row[inside], column[inside]
        firsts = loosest_outside(self.work.rules, self.low[row], self.high[row], self.depth[column])
        best = np.full(len(row), IMPOSSIBLE)
        for number, values in enumerate(upper_values(self.work, firsts), 1):
            if self.work.only not in (None, number):
                continue
            best = np.maximum(best, np.where(values > IMPOSSIBLE / 2, self.work.rank(number, values), IMPOSSIBLE))
        self.rank[row, column] = best


def first_bowl_values(work: Workshop, widest: float, step: float = RADIUS_STEP, down: float = DEPTH_STEP) -> FirstBowls:
    """Return what nests are worth at most by their first bowls, up to a widest rim radius; kept for the next time."""
    key = (widest, step, down)
    if key not in work.memory:
        rules = work.rules
        low = np.arange(rules.shop.min_rim / 2, widest + 1e-9, step)
        depth = np.arange(rules.shop.min_depth, max(widest, rules.shop.min_depth + down) + down, down)
        rank = np.full((len(low), len(depth)), IMPOSSIBLE)
        high = np.minimum(low + step, widest)
        foot = rules.least_foot_from(low)
        known = np.zeros((len(low), math.ceil(len(depth) / TOGETHER)), bool)
        work.memory[key] = FirstBowls(work, low, high, foot, depth, rank, known)
    return work.memory[key]
