"""The best nests of a log: rip direction, rim planes and axes, by branch and bound with proof.

A node is a span of rip directions with the cells of axes, in either half, that may still belong to a better pair of
nests than the best found. The node of the greatest bound is taken, the middle of its span tried, and either its span or
its cells are made smaller, whichever brings the bound down more for its work. Work is counted in points asked, not in
seconds, so that the same log gives the same plan on every machine.
"""

from __future__ import annotations

import heapq
import itertools
import math
import time
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photonest.nest.logaxes import FIRST_SPANS, Axes, Half, Spot
from photonest.nest.logs import HalfNest, Log, polished
from photonest.nest.rules import Real
from photonest.nest.solve import PER_BOWL
from photonest.nest.spans import Cells
from photonest.nest.views import View

SWEPT = 12
TAKEN = 2
ASKED = 6  # cells that tell whether a smaller span or smaller cells bring more
ALMOST_NONE = 1e-3  # of a span's or a cell's width
FEWEST_PAIRS = 50  # of cells and rims: what any smaller node costs, in pairs asked
WORTH_A_TRY = 0.003  # the table's ranks are some thousandths above what is found
MOST_TOGETHER = 60  # cells of a half made smaller at once
MOST_RESTED = 12
MUCH_WORK = 40_000_000
WORK_A_NODE, WORK_A_POLISH = 400_000, 500_000  # in points asked, by the time they take
NEAR_THE_END = 1.5  # times the gap: how near the bound comes before the best is polished


@dataclass(frozen=True)
class LogPlan:
    """The best nests of a log, at most one a half, and the rank that none can be above: proven.

    `stopped` tells what ended the search early: nothing, the work allowed or the clock.
    """

    halves: tuple[HalfNest, ...]
    bound: float
    work: int
    stopped: str = ""


@dataclass(frozen=True, eq=False)
class _Node:
    """A span of directions; for each half the cells of axes that may matter, with their bounds."""

    angle: float
    half: float
    views: tuple[View, ...]
    cells: tuple[Cells, ...]
    tops: tuple[Real, ...]

    def bound(self, halves: tuple[Half, ...], side: int) -> float:
        """Return the bound of one side."""
        tops = (float(top.max(initial=0.0)) for half, top in zip(halves, self.tops, strict=True) if half.side == side)
        return max(tops)


def best_of_log(log: Log, gap: float, work: int, seconds: float) -> LogPlan:
    """Return the best nests of a log.

    Parameters
    ----------
    log : Log
    gap : float
        The search stops when no rip direction can be better by more than this share.
    work : int
        It stops after asking so many points.
    seconds : float
        It stops after this long in any case, and its bound says how far it got.
    """
    return _Search(log, gap).run(work, time.monotonic() + seconds)


def plain_nests(log: Log) -> tuple[HalfNest, ...]:
    """Return the nests of the plain way: the log ripped along the photo's x axis, each axis as in sound wood."""
    axes = Axes(log)
    return axes.plain(_plainest(log)) if axes.halves else ()


def _plainest(log: Log) -> float:
    """Return of the directions looked at the nearest to a rip along the photo's x axis."""
    return min(log.swept(SWEPT), key=lambda each: abs(each - math.pi / 2))


class _Search:
    """The open nodes, best bound first, and the best pair of nests so far."""

    def __init__(self, log: Log, gap: float) -> None:
        self.log, self.gap, self.work = log, gap, 0
        self.best, self.pair, self.settled = 0.0, tuple[HalfNest, ...](), 0.0
        self.axes = Axes(log)
        self.halves = self.axes.halves
        self.all = frozenset(range(len(self.halves)))
        self.heap: list[tuple[float, int, _Node]] = []
        self.order = itertools.count()
        self.resting, self.failed = 0, 0
        self.polished = tuple[HalfNest, ...]()

    def run(self, work: int, end: float) -> LogPlan:
        """Take nodes until none may better the best by more than the gap."""
        stopped = ""
        if self.halves:
            self.start(end, thorough=work > MUCH_WORK and not self.log.wishes)
        while self.heap and -self.heap[0][0] > self.near_enough and not stopped:
            node = heapq.heappop(self.heap)[2]
            self.try_middle(node)
            self.work += WORK_A_NODE
            for child in self.smaller(node):
                self.push(child)
            if self.heap and -self.heap[0][0] <= self.near(NEAR_THE_END * self.gap):
                self.polish()
            stopped = "work" if self.spent > work else "clock" if time.monotonic() > end else ""
        self.polish()
        bound = max(self.best, self.settled, -self.heap[0][0] if self.heap else 0.0)
        return LogPlan(self.pair, bound, self.spent, stopped)

    @property
    def spent(self) -> int:
        """The points asked so far, in finding and in proving."""
        return self.work + self.axes.work

    @property
    def near_enough(self) -> float:
        """The rank up to which a bound is near enough: as many bowls, worth no more than the gap above."""
        return self.near(self.gap)

    def near(self, gap: float) -> float:
        """Return the rank of as many bowls as the best, worth more by a share."""
        if self.log.work.worth.objective != "bowls":
            return self.best * (1 + gap)
        count, value = divmod(self.best, PER_BOWL)
        return count * PER_BOWL + value * (1 + gap)

    def polish(self) -> None:
        """Move the best nests to where they clear all by the most, once."""
        if self.polished != self.pair:
            self.work += len(self.pair) * WORK_A_POLISH
            self.pair = self.polished = tuple(polished(self.log, nest) for nest in self.pair)
            self.best = max(self.best, sum(self.log.rank(nest) for nest in self.pair))

    def start(self, end: float, *, thorough: bool) -> None:
        """Begin with the plain rip, sweep the directions for a better pair of nests, then open the spans.

        Thousands of defects take long: past the end no further direction is looked at.
        """
        pair = self.axes.plain(_plainest(self.log))
        rank = sum(self.log.rank(nest) for nest in pair)
        self.best, self.pair = (rank, pair) if rank > self.log.beat else (self.log.beat, ())
        found: list[tuple[float, int, float, list[Spot]]] = []
        for k, angle in enumerate(self.log.swept(SWEPT)):
            if found and time.monotonic() > end:
                break
            spots = [self.axes.best_spot(angle, side) for side in (0, 1)]
            found.append((sum(spot.rank for spot in spots), -k, angle, spots))
        for _, _, angle, spots in sorted(found, key=lambda each: each[:2], reverse=True)[:TAKEN]:
            self.take(*(self.axes.turned(spots, angle) if thorough else (spots, angle)))
        for angle, width in self.log.spans(FIRST_SPANS):
            cells = tuple(self.axes.first_cells(half, angle) for half in self.halves)
            node = self.node(angle, width, cells)
            self.push(self.narrowed(node, [math.inf, math.inf], self.all))

    def push(self, node: _Node | None) -> None:
        if node is not None:
            bound = sum(node.bound(self.halves, side) for side in (0, 1))
            heapq.heappush(self.heap, (-bound, next(self.order), node))

    def narrowed(self, node: _Node, bounds: list[float], fresh: frozenset[int] = frozenset()) -> _Node | None:
        """Return a node with the cells alone that may matter; None when none do.

        `bounds` are of either side, as far as known. The halves in `fresh` are valued anew, the others hold still.
        """
        bounds, cells, tops = list(bounds), list(node.cells), list(node.tops)
        for side in (0, 1):
            other = bounds[1 - side]
            floor = max(self.near_enough - other, 0.0)
            for place, half in enumerate(self.halves):
                if half.side != side:
                    continue
                if place in fresh:
                    cells[place], tops[place], lost, work = node.views[place].bounds(half.table, cells[place], floor)
                    self.work += work
                else:
                    alive = tops[place] > floor
                    lost = float(tops[place][~alive].max(initial=0.0))
                    cells[place], tops[place] = cells[place].picked(alive), tops[place][alive]
                if lost > 0 and math.isfinite(other):
                    self.settled = max(self.settled, lost + other)
            mine = [top for half, top in zip(self.halves, tops, strict=True) if half.side == side]
            bounds[side] = min(bounds[side], max(float(top.max(initial=0.0)) for top in mine))
        if sum(bounds) <= self.near_enough:
            self.settled = max(self.settled, sum(bounds))
            return None
        return replace(node, cells=tuple(cells), tops=tuple(tops))

    def smaller(self, node: _Node) -> list[_Node | None]:
        """Return the nodes of half the span, or of the same span with smaller cells: what brings more for its work.

        What either brings is told by a few cells in a span, and by single axes, of almost no width: half of what they
        lower the bound by, but no more than it takes to be done with the node.
        """
        bounds = [node.bound(self.halves, side) for side in (0, 1)]
        excess = sum(bounds) - self.near_enough
        turned, worth = 0.0, {-1: 0.0}
        pairs = [int(cells.rims.sum()) for cells in node.cells]
        for side in (0, 1):
            place = self.head(node, side)
            if place is None:
                continue
            few = np.argsort(-node.tops[place], kind="stable")[:ASKED]
            few_cells, half = node.cells[place].picked(few), self.halves[place]
            still = self.log.view(half.towards(node.angle), node.half * ALMOST_NONE, half.z)
            turned += bounds[side] - self.top_of(still, place, _allowed(few_cells, still))
            small = few_cells._replace(across=few_cells.across * ALMOST_NONE, down=few_cells.down * ALMOST_NONE)
            gain = bounds[side] - self.top_of(node.views[place], place, _allowed(small, node.views[place]))
            worth[place] = min(gain / 2, excess) / (4 * pairs[place] + FEWEST_PAIRS)
        worth[-1] = min(turned / 2, excess) / (2 * sum(pairs) + FEWEST_PAIRS)
        place = max(worth, key=lambda place: (worth[place], place))
        if place < 0:
            width = node.half / 2
            halved = [self.node(node.angle + way * width, width, node.cells) for way in (-1, 1)]
            return [self.narrowed(part, bounds, self.all) for part in halved]
        upper, rest = self.parted(node, place)
        cells = list(upper.cells)
        cells[place] = cells[place].quarters()
        return [self.narrowed(replace(upper, cells=tuple(cells)), bounds, frozenset({place})), rest]

    def node(self, angle: float, width: float, cells: tuple[Cells, ...]) -> _Node:
        """Return a node whose cells are not valued yet."""
        views = tuple(self.log.view(half.towards(angle), width, half.z) for half in self.halves)
        return _Node(angle, width, views, cells, (np.empty(0),) * len(cells))

    def parted(self, node: _Node, place: int) -> tuple[_Node, _Node | None]:
        """Return a node with the better of one half's cells, and one with the others, where they are many."""
        tops = node.tops[place]
        if len(tops) <= MOST_TOGETHER:
            return node, None
        upper = tops >= np.partition(tops, -MOST_TOGETHER)[-MOST_TOGETHER]

        def of(which: NDArray[np.bool_]) -> _Node:
            cells, bounds = list(node.cells), list(node.tops)
            cells[place], bounds[place] = cells[place].picked(which), tops[which]
            return replace(node, cells=tuple(cells), tops=tuple(bounds))

        return of(upper), (of(~upper) if not upper.all() else None)

    def top_of(self, view: View, place: int, cells: Cells) -> float:
        _, tops, _, work = view.bounds(self.halves[place].table, cells, 0.0)
        self.work += work
        return float(tops.max(initial=0.0))

    def head(self, node: _Node, side: int) -> int | None:
        """Return which half of a side has the greatest bound; None where none has any."""
        tops = [
            (float(top.max()), -place)
            for place, (half, top) in enumerate(zip(self.halves, node.tops, strict=True))
            if half.side == side and len(top)
        ]
        return -max(tops)[1] if tops else None

    def try_middle(self, node: _Node) -> None:
        """Look for a better pair of nests in the middle of a node's span; less often while that fails."""
        self.resting -= 1
        if self.resting > 0:
            return
        before = self.best
        heads = [self.head(node, side) for side in (0, 1)]
        spots = [
            self.axes.in_cells(node.angle, place, node.cells[place], node.tops[place])
            for place in heads
            if place is not None
        ]
        if self.take(spots, node.angle):
            self.take(*self.axes.turned(spots, node.angle))
        self.failed = 0 if self.best > before + 1.0 else min(self.failed + 1, MOST_RESTED)
        self.resting = self.failed

    def take(self, spots: list[Spot], angle: float) -> bool:
        """Work out the nests on two axes, and keep them where they are better than the best; say whether they are."""
        value = self.best % PER_BOWL if self.log.work.worth.objective == "bowls" else self.best
        if sum(spot.rank for spot in spots) <= self.best + WORTH_A_TRY * value:
            return False
        pair, rank = [], sum(spot.rank for spot in spots)
        for spot in sorted(spots, key=lambda spot: -spot.rank):
            nest = self.axes.nest(angle, spot)
            pair += [nest] if nest is not None else []
            rank += (self.log.rank(nest) if nest is not None else 0.0) - spot.rank
            if rank <= self.best:
                return False
        self.best, self.pair = rank, tuple(sorted(pair, key=lambda nest: nest.angle))
        return True


def _allowed(cells: Cells, view: View) -> Cells:
    """Return cells moved to where they just hold an axis that the rip allows."""
    return cells._replace(b=np.maximum(cells.b, view.nearest - cells.down))
