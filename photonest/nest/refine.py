"""From a chain on the grid to the best chain near it, in tenths of a millimetre.

Figures are kept in whole tenths, rounded to the safe side (a stand-off up, a radius or depth down), so that what is
printed for the lathe is exactly what was checked.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from photonest.nest.chains import IMPOSSIBLE, Chains, Following, Level, best_following, following
from photonest.nest.curves import Outside, cored_outside, least_stand_off, turned_outside, worth_having
from photonest.nest.rules import Real, Rules

STEPS = (1.6, 0.8, 0.4, 0.2, 0.1)
MOST_MOVES = 3000
MOST_ROUNDS = 60
MISSES = -1e9


@dataclass(frozen=True)
class Recipe:
    """All that fixes a nest in the half-plane: the first bowl's rim radius and depth, and each cut.

    Attributes
    ----------
    cuts : tuple of (cutter, offset, stand-off)
        The cutter by its place in the workshop's list.
    """

    rim: float
    depth: float
    cuts: tuple[tuple[int, float, float], ...]

    def bowls(self, rules: Rules) -> list[Outside]:
        """Return the outside of each bowl, the largest first."""
        cutters = rules.shop.cutters
        found = [turned_outside(rules, self.rim, self.depth)]
        for index, offset, stand_off in self.cuts:
            edge = cutters[index].radius - cutters[index].kerf / 2
            found.append(cored_outside(rules, edge, offset, stand_off))
        return found

    def grooves(self, rules: Rules) -> list[tuple[float, float, float]]:
        """Return each groove's outer edge: its radius, offset and stand-off."""
        cutters = rules.shop.cutters
        return [(cutters[i].radius + cutters[i].kerf / 2, offset, s) for i, offset, s in self.cuts]


WorthOf = Callable[[list[Outside], list[tuple[Real, Real, Real]]], Real]
Room = Callable[[Real], Real]
"""The depth at hand for a first bowl, from its rim radius; NaN or at most 0 where there is none."""


def trace(chains: Chains, levels: Sequence[Level], first: Outside) -> tuple[tuple[int, float, float], ...]:
    """Return the cuts of the best chain of ``len(levels)`` cores below a first bowl (arrays of one)."""
    grid = chains.grid
    place = np.full(grid.good.shape, -1)
    place[grid.good] = np.arange(np.count_nonzero(grid.good))
    follows = following(grid, first)
    cuts = []
    for level in reversed(levels):
        _, rows = best_following(follows, level)
        row = int(rows[0])
        column = int(follows.column[0, row])
        column += int(np.argmax(level.value[row, column:]))
        cuts.append((int(grid.cutter[row]), float(grid.offset[row]), float(grid.stand_off[column])))
        at = [int(place[row, column])]
        every = chains.follows
        follows = Following(every.column[at], every.share[at], every.reach[at])
    return tuple(cuts)


def refined(rules: Rules, start: Recipe, widest: float, room: Room, worth: WorthOf) -> tuple[Recipe, float] | None:
    """Return the best recipe that small moves from `start` lead to, and its worth; None if they lead to none.

    A start that does not fit is moved to where it falls short by less, until it fits.

    The first bowl's rim (up to the widest), every offset and every stand-off above the least possible move together, by
    steps that end at 0.1 mm. `worth` values the bowls and grooves of many candidates at once.
    """
    cutters = [index for index, _, _ in start.cuts]
    spans = [rules.offsets(rules.shop.cutters[i].radius) or (0.0, 0.0) for i in cutters]
    lows = [math.ceil(low * 10 - 1e-6) / 10 for low, _ in spans]
    highs = [math.floor(high * 10 + 1e-6) / 10 for _, high in spans]
    count = len(cutters)
    moves = _moves(2 * count + 1)
    point = np.array([start.rim, *(offset for _, offset, _ in start.cuts), *([0.0] * count)])
    best, found = IMPOSSIBLE, None
    for step in STEPS:
        for _ in range(MOST_ROUNDS):
            trial = point + step * moves
            trial[:, 0] = np.floor(np.minimum(trial[:, 0], widest) * 10 + 1e-6) / 10
            trial[:, 1 : 1 + count] = np.clip(np.round(trial[:, 1 : 1 + count], 1), lows, highs)
            trial[:, 1 + count :] = np.maximum(np.round(trial[:, 1 + count :], 1), 0.0)
            value, depth, stand_offs = _value(rules, cutters, trial, room, worth)
            winner = int(np.argmax(value))
            if value[winner] <= best + 1e-9:
                break
            best, point = float(value[winner]), trial[winner]
            cuts = zip(cutters, point[1 : 1 + count].tolist(), stand_offs[winner].tolist(), strict=True)
            found = Recipe(float(point[0]), float(depth[winner]), tuple(cuts))
    return None if found is None or best <= MISSES else (found, best)


def _moves(count: int) -> Real:
    """Return the moves tried together: all of -1, 0, 1 in each figure while few, else in each pair of figures."""
    if 3**count <= MOST_MOVES:
        return np.array(list(itertools.product((0.0, -1.0, 1.0), repeat=count)))
    found = [np.zeros(count)]
    for pair in itertools.combinations(range(count), 2):
        for signs in itertools.product((0.0, -1.0, 1.0), repeat=2):
            move = np.zeros(count)
            move[list(pair)] = signs
            found.append(move)
    return np.array(found)


def _value(rules: Rules, cutters: list[int], trial: Real, room: Room, worth: WorthOf) -> tuple[Real, Real, Real]:
    """Return the worth, first depth and stand-offs of many candidates; below MISSES by what is missing to fit."""
    travel, count = rules.shop.stand_off, len(cutters)
    rim, offsets, extra = trial[:, 0], trial[:, 1 : 1 + count], trial[:, 1 + count :]
    rims, place_of = np.unique(rim, return_inverse=True)
    depth = (np.floor(np.nan_to_num(room(rims)) * 10 + 1e-6) / 10)[place_of]
    bowl = turned_outside(rules, rim, depth)
    missing = _missing(rules, bowl)
    bowls, grooves, stand_offs = [bowl], [], np.empty_like(offsets)
    for place, index in enumerate(cutters):
        cutter = rules.shop.cutters[index]
        outer, inner = cutter.radius + cutter.kerf / 2, cutter.radius - cutter.kerf / 2
        least = np.maximum(least_stand_off(bowl, outer, offsets[:, place]), travel.low)
        tenths = np.ceil(np.where(np.isfinite(least), least, 1e6) * 10 - 1e-6) / 10
        stand_offs[:, place] = np.round(tenths + extra[:, place], 1)
        grooves.append((np.full(len(rim), outer), offsets[:, place], stand_offs[:, place]))
        bowl = cored_outside(rules, inner, offsets[:, place], stand_offs[:, place])
        missing += np.maximum(stand_offs[:, place] - travel.high - 1e-9, 0.0) + _missing(rules, bowl)
        bowls.append(bowl)
    value = np.where(missing <= 0, worth(bowls, grooves), MISSES * (1 + missing))
    return np.nan_to_num(value, nan=IMPOSSIBLE), depth, stand_offs


def _missing(rules: Rules, bowl: Outside) -> Real:
    """Return by how many mm bowls fall short of being worth having; NaN where there is none."""
    short = np.maximum(rules.shop.min_rim / 2 - bowl.rim, 0.0) + np.maximum(rules.shop.min_depth - bowl.depth, 0.0)
    return np.where(np.isfinite(bowl.radius), np.where(worth_having(rules, bowl), 0.0, short + 1e-3), np.nan)
