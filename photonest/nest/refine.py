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

from photonest.nest.chains import IMPOSSIBLE, Chains, best_following, first_columns
from photonest.nest.curves import Outside, cored_outside, least_stand_off, turned_outside, worth_having
from photonest.nest.rules import Real, Rules

STEPS = (1.6, 0.8, 0.4, 0.2, 0.1)
MOST_MOVES = 3000


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


Room = Callable[[Real], Real]
"""The depth at hand for a first bowl, from its rim radius; NaN or at most 0 where there is none."""


def trace(chains: Chains, levels: Sequence[Real], first: Outside) -> tuple[tuple[int, float, float], ...]:
    """Return the cuts of the best chain of ``len(levels)`` cores below a first bowl (arrays of one)."""
    grid = chains.grid
    place = np.full(grid.good.shape, -1)
    place[grid.good] = np.arange(np.count_nonzero(grid.good))
    follows = first_columns(grid, first)
    cuts = []
    for level in reversed(levels):
        _, rows = best_following(grid, follows, level)
        row = int(rows[0])
        column = int(follows[0, row])
        column += int(np.argmax(level[row, column:]))
        cuts.append((int(grid.cutter[row]), float(grid.offset[row]), float(grid.stand_off[column])))
        follows = chains.follows[place[row, column]][None, :]
    return tuple(cuts)


def refined(rules: Rules, start: Recipe, room: Room, worth: Callable[[list[Outside]], Real]) -> Recipe | None:
    """Return the best recipe that small moves from `start` lead to; None if not even rounding leaves one.

    The first bowl's rim, every offset and every stand-off above the least possible move together, by steps that end
    at 0.1 mm. `worth` values the bowls of many candidates at once.
    """
    cutters = [index for index, _, _ in start.cuts]
    spans = [rules.offsets(rules.shop.cutters[i].radius) for i in cutters]
    if any(span is None for span in spans):
        return None
    lows = [math.ceil(span[0] * 10 - 1e-6) / 10 for span in spans if span]
    highs = [math.floor(span[1] * 10 + 1e-6) / 10 for span in spans if span]
    moves = _moves(2 * len(cutters) + 1)
    point = np.array([start.rim, *(offset for _, offset, _ in start.cuts), *([0.0] * len(cutters))])
    best = IMPOSSIBLE
    found: Recipe | None = None
    for step in STEPS:
        for _ in range(60):
            trial = point + step * moves
            trial[:, 0] = np.floor(np.minimum(trial[:, 0], start.rim) * 10 + 1e-6) / 10
            offsets = trial[:, 1 : 1 + len(cutters)]
            offsets[:] = np.clip(np.round(offsets, 1), lows, highs)
            extra = trial[:, 1 + len(cutters) :]
            extra[:] = np.maximum(np.round(extra, 1), 0.0)
            value, depth, stand_offs = _value(rules, cutters, trial[:, 0], offsets, extra, room, worth)
            winner = int(np.argmax(value))
            if value[winner] <= best + 1e-9:
                break
            best, point = float(value[winner]), trial[winner]
            cuts = zip(cutters, offsets[winner].tolist(), stand_offs[winner].tolist(), strict=True)
            found = Recipe(float(point[0]), float(depth[winner]), tuple(cuts))
    return found


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


def _value(
    rules: Rules,
    cutters: list[int],
    rim: Real,
    offsets: Real,
    extra: Real,
    room: Room,
    worth: Callable[[list[Outside]], Real],
) -> tuple[Real, Real, Real]:
    """Return the worth, first depth and stand-offs of many candidates; IMPOSSIBLE where one does not fit."""
    travel = rules.shop.stand_off
    depth = np.floor(np.nan_to_num(room(rim)) * 10 + 1e-6) / 10
    bowl = turned_outside(rules, rim, depth)
    fits = worth_having(rules, bowl)
    bowls, stand_offs = [bowl], []
    for place, index in enumerate(cutters):
        cutter = rules.shop.cutters[index]
        outer, inner = cutter.radius + cutter.kerf / 2, cutter.radius - cutter.kerf / 2
        least = np.maximum(least_stand_off(bowl, outer, offsets[:, place]), travel.low)
        tenths = np.ceil(np.where(np.isfinite(least), least, 1e6) * 10 - 1e-6) / 10
        stand_off = np.round(tenths + extra[:, place], 1)
        bowl = cored_outside(rules, inner, offsets[:, place], stand_off)
        fits &= (stand_off <= travel.high + 1e-9) & worth_having(rules, bowl)
        bowls.append(bowl)
        stand_offs.append(stand_off)
    value = np.where(fits, worth(bowls), IMPOSSIBLE)
    return np.nan_to_num(value, nan=IMPOSSIBLE), depth, np.stack(stand_offs, axis=1) if stand_offs else offsets
