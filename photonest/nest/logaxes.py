"""Good axes of a log in one direction, and the nests on them: where the search finds what it then proves.

Axes are ranked by the table of first bowls; only those that promise more than the best so far are worked out. The work
that takes is counted in points asked.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from photonest.nest.logs import HalfNest, Log, nest_at
from photonest.nest.rules import Real
from photonest.nest.solve import PER_BOWL
from photonest.nest.spans import Cells, Table, table_of
from photonest.nest.views import View

FIRST_SPANS = 12
FIRST_CELL = 16.0  # mm: half a side, at most
CLIMB = ((0.0, 4), (6.0, 3), (3.0, 2), (1.5, 2), (0.7, 1), (0.3, 1))  # steps in mm, and how coarsely each is valued
CLIMB_SLACK = 0.03
DIVE_TO = 0.1  # mm
DIVERS = 4  # cells followed together
SMALL = 3.0  # mm: cells reaching no farther are dived into
TURNS = tuple(math.radians(step) for step in (4.0, 2.0, 1.0))
WORK_A_NEST = 500_000  # in points asked, by the time it takes
AROUND = tuple(itertools.product((-1, 0, 1), repeat=2))


class Half(NamedTuple):
    """One side of the rip and one place along the log."""

    side: int
    z: float
    widest: float
    table: Table

    def towards(self, angle: float) -> float:
        """Return the direction of this half's axes where the other's is half a turn from it."""
        return angle + self.side * math.pi


class Spot(NamedTuple):
    """An axis (u, t) in one half of a log, and its rank by the table of first bowls."""

    place: int
    rank: float
    a: float
    b: float


class Axes:
    """The halves of a log, and what looking for good axes in them has cost: `work`, in points asked."""

    def __init__(self, log: Log) -> None:
        self.log, self.work = log, 0
        self.halves = tuple(
            Half(side, z, widest, table_of(log.wish(side).work, widest))
            for side in (0, 1)
            for z, widest in zip(log.zs, log.widest, strict=True)
            if widest >= log.work.rules.shop.min_rim / 2
        )

    def first_cells(self, half: Half, angle: float) -> Cells:
        """Return the cells that hold all axes of a half in the directions of the first spans."""
        log = self.log
        reach = float(np.hypot(*(log.marks.at[log.marks.edge] - log.centre).T).max())
        nearest, _ = log.split.limits(log.centre, half.towards(angle), math.pi / FIRST_SPANS / 2)
        low = max(nearest, -reach)
        wide, deep = (max(1, math.ceil(span / 2 / FIRST_CELL)) for span in (2 * reach, reach - low))
        across, down = reach / wide, max(reach - low, 0.0) / 2 / deep
        a, b = np.meshgrid(across * (2 * np.arange(wide) + 1) - reach, low + down * (2 * np.arange(deep) + 1))
        if log.through_centre:
            a, b, across = np.zeros(deep), b[:, 0], 0.0
        rims = np.ones((a.size, len(half.table.levels[0].low)), bool)
        return Cells(a.ravel(), b.ravel(), across, down, rims, 0)

    def plain(self, angle: float) -> tuple[HalfNest, ...]:
        """Return the nests of the plain way: ripped in one direction, each axis as it would be in sound wood."""
        sound = replace(self.log, marks=self.log.marks.of_edge())
        nests = (self.nest(angle, self.best_spot(angle, side, sound)) for side in (0, 1))
        return tuple(nest for nest in nests if nest is not None)

    def best_spot(self, angle: float, side: int, log: Log | None = None) -> Spot:
        """Return a good axis on one side of a rip, in the log or in another of its shape."""
        spots = [
            self.climbed(angle, place, self.first_cells(half, angle), log)
            for place, half in enumerate(self.halves)
            if half.side == side
        ]
        return max(spots, key=lambda spot: spot.rank)

    def climbed(self, angle: float, place: int, cells: Cells, log: Log | None = None) -> Spot:
        """Return a good axis in one direction, from the middles of some cells, by the table of first bowls."""
        half = self.halves[place]
        view = (log or self.log).view(half.towards(angle), 0.0, half.z)
        best = Spot(place, 0.0, 0.0, 0.0)
        rims = np.logical_or.reduce(cells.rims, axis=0)[None, :]
        a, b = cells.a, np.maximum(cells.b, view.nearest)
        for step, level in CLIMB:
            if step:
                steps = (0.0 if self.log.through_centre else step, step)
                a, b = (np.array([at + steps[k] * move[k] for move in AROUND]) for k, at in enumerate((best.a, best.b)))
            trial = Cells(a, b, 0.0, 0.0, np.tile(rims, (len(a), 1)), cells.level)
            trial = trial.picked(np.flatnonzero(trial.b >= view.nearest))
            floor = best.rank - CLIMB_SLACK * (best.rank % PER_BOWL)  # a finer table ranks a little lower
            spot = self._best_of(view, place, trial, floor, level)
            if spot is None:
                return best if step else self.dived(view, place, cells)
            best = spot
        return best

    def in_cells(self, angle: float, place: int, cells: Cells, tops: Real) -> Spot:
        """Return a good axis in one direction: in the best of some cells where they are small, else about them."""
        half = self.halves[place]
        if cells.reach > SMALL:
            return self.climbed(angle, place, cells)
        best = np.argsort(-tops, kind="stable")[:DIVERS]
        return self.dived(self.log.view(half.towards(angle), 0.0, half.z), place, cells.picked(best))

    def dived(self, view: View, place: int, cells: Cells) -> Spot:
        """Return the axis that the best of some cells, their best quarters and so on lead to.

        The best axes often stand just clear of a crack, where the next lose a bowl: so the corners of the last cells
        are asked, not their middles alone.
        """
        table = self.halves[place].table
        while True:
            cells, tops, _, work = view.bounds(table, cells, 0.0)
            self.work += work
            if not len(tops) or cells.reach <= DIVE_TO:
                break
            cells = cells.picked(np.argsort(-tops, kind="stable")[:DIVERS]).quarters()
        a = np.concatenate([cells.a + x * cells.across for x, _ in AROUND])
        b = np.concatenate([cells.b + y * cells.down for _, y in AROUND])
        rims = np.tile(cells.rims, (len(AROUND), 1))
        corners = Cells(a, np.maximum(b, view.nearest), 0.0, 0.0, rims, cells.level)
        return self._best_of(view, place, corners) or Spot(place, 0.0, 0.0, 0.0)

    def _best_of(
        self, view: View, place: int, axes: Cells, floor: float = 0.0, level: int | None = None
    ) -> Spot | None:
        """Return the best of some axes by the table of first bowls, valued as coarsely as told; None if none may do."""
        kept, tops, _, work = view.bounds(self.halves[place].table, axes, floor, level)
        self.work += work
        if not len(tops):
            return None
        top = int(np.argmax(tops))
        return Spot(place, float(tops[top]), float(kept.a[top]), float(kept.b[top]))

    def turned(self, spots: list[Spot], angle: float) -> tuple[list[Spot], float]:
        """Return axes about some, and a direction near theirs, where both together rank the highest by the table."""
        for step in TURNS:
            for turn in (-step, step):
                if not self.log.allows(angle + turn):
                    continue
                others = [self.climbed(angle + turn, spot.place, self.single(spot)) for spot in spots]
                if sum(spot.rank for spot in others) > sum(spot.rank for spot in spots):
                    spots, angle = others, angle + turn
                    break
        return spots, angle

    def single(self, spot: Spot) -> Cells:
        """Return an axis as a cell of its own."""
        rims = np.ones((1, len(self.halves[spot.place].table.levels[0].low)), bool)
        return Cells(np.array([spot.a]), np.array([spot.b]), 0.0, 0.0, rims, 0)

    def nest(self, angle: float, spot: Spot) -> HalfNest | None:
        """Return the best nest on an axis; None where the table gives it no bowl, or there is none."""
        if spot.rank <= 0:
            return None
        self.work += WORK_A_NEST
        half = self.halves[spot.place]
        return nest_at(self.log, half.towards(angle), spot.a, spot.b, half.z, side=half.side)
