"""What the axes of a span of rip directions have room for: an upper bound, by cells of axes.

As the axis moves within its cell, each point of the wood moves in a rectangle; as the log turns within the span, along
an arc. What keeps a bowl of one rim to less than a depth is a convex set of points, for bowls and balls are convex. So
the room that any of a point's places leaves is at most that of the corners of what holds them all, and the deepest and
farthest corner of a rectangle below the rim plane alone counts. Few points and few rims are asked of large cells, all
of small ones. Cells are valued together, as arrays.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.nest.chains import IMPOSSIBLE
from photonest.nest.logsite import Marks, Split, turned
from photonest.nest.placing import room_by_defects, room_by_edge
from photonest.nest.rules import Real
from photonest.nest.spans import Cells, Table, level_for
from photonest.nest.turning import EDGE_BINS, Reach

RING_BINS = 4 * EDGE_BINS
EXACT_BELOW = 2  # single axes ask all points up to this level
FARTHEST = 1000.0  # mm: no point of a log lies farther from an axis
FEWER = 8  # one point in so many is asked first
MANY = 1_000  # pairs of a cell and a rim, for which that pays
CHUNK = 6_000  # figures at once, so that they stay near the processor

Asked = tuple[Real, ...]
"""Figures of points that may bind, each of shape (cells, points)."""


class Defects(NamedTuple):
    """Points of the defects in a span of directions, each of shape (n,).

    Attributes
    ----------
    across, along, margin, error
    above : how far each ends above the axis's place along the log
    moved : how far it may have moved as the log turns
    ends : (across, along) where it lies at either end of the span
    bend : how far its way from end to end may lie beside the straight line
    """

    across: Real
    along: Real
    margin: Real
    error: Real
    above: Real
    moved: Real
    ends: tuple[tuple[Real, Real], ...]
    bend: Real

    def at(self, picked: slice | NDArray[np.intp]) -> Defects:
        """Return the points that are picked."""
        ends = tuple((across[picked], along[picked]) for across, along in self.ends)
        across, along, margin, error, above, moved = (field[picked] for field in self[:6])
        return Defects(across, along, margin, error, above, moved, ends, self.bend[picked])


@dataclass(frozen=True, eq=False)
class View:
    """The wood in a span of directions about one, from the axes' side.

    Attributes
    ----------
    edge : (across, along, margin, error)
        Points of the edge at its farthest in any direction of the span.
    defects : Defects
    ring : (across, along)
        Corners of a polygon around the wood.
    around : (across, along)
        Corners of a polygon that holds the wood more closely.
    """

    edge: tuple[Real, Real, float, float]
    defects: Defects
    ring: tuple[Real, ...]
    around: tuple[Real, ...]
    nearest: float
    foot_at: float
    scale_error: float

    def bounds(
        self, table: Table, cells: Cells, floor: float, level: int | None = None
    ) -> tuple[Cells, Real, float, int]:
        """Return the cells that may rank above `floor`, each one's bound, the bound of all others, and the work.

        The work is counted in points asked. How coarsely is told by `level`, or by the cells' size.
        """
        level = level_for(cells.reach + self.most_moved) if level is None else level
        cells = table.at(cells, level)
        first = table.levels[cells.level]
        inside = self._outside(cells.a, cells.b + first.depth[0] / 2) <= cells.reach
        inside &= cells.b + cells.down >= self.nearest
        widest = np.where(inside, self._widest(cells), 0.0)
        cell, row = np.nonzero(cells.rims & (first.low[None, :] <= widest[:, None]))
        depth = np.maximum(self.foot_at - cells.b + cells.down, 0.0)[cell]
        value, others, work = np.zeros(len(cell)), 0.0, 0
        exact = cells.reach == 0 and cells.level <= EXACT_BELOW
        for edge, picked in self._points(0 if exact else cells.level, few_first=len(cell) > MANY):
            if not len(cell):
                break
            rooms, asked = self._rooms(cells, cell, first.low[row], first.foot[row], picked, edge)
            work += asked
            depth = np.minimum(depth, rooms)
            value = table.at_most(cells.level, row, depth, widest[cell])
            above = value > floor
            others = max(others, float(value[~above].max(initial=0.0)))
            cell, row, depth, value = cell[above], row[above], depth[above], value[above]
        rims = np.zeros_like(cells.rims)
        rims[cell, row] = True
        tops = np.full(len(cells.a), IMPOSSIBLE)
        np.maximum.at(tops, cell, value)
        alive = tops > IMPOSSIBLE / 2
        return cells._replace(rims=rims).picked(alive), tops[alive], others, work

    @property
    def most_moved(self) -> float:
        """How far any defect may have moved."""
        return float(self.defects.moved.max(initial=0.0))

    def _points(self, level: int, *, few_first: bool) -> Iterator[tuple[bool, slice]]:
        """Yield the points to ask: few first, then as many as the level asks; of the edge, then of the defects."""
        of_edge, of_defects = 2 ** max(level - 2, 0), 2**level
        for fewer in (FEWER, 1) if few_first else (1,):
            yield True, slice(None, None, of_edge * fewer)
            if len(self.defects.across):
                yield False, slice(None, None, of_defects * fewer)

    def _rooms(
        self, cells: Cells, cell: NDArray[np.intp], rim: Real, foot: Real, picked: slice, edge: bool
    ) -> tuple[Real, int]:
        """Return the room of each pair of a cell and a rim, and the work."""
        widest = float(rim.max())
        asked, work = self._at_edge(cells, picked, widest) if edge else self._at_defects(cells, picked, widest)
        ask = room_by_edge if edge else _room_of_either_end
        count = sum(figure.shape[1] for figure in asked) // len(asked)
        size = max(1, CHUNK // max(count, 1))
        parts = []
        for start in range(0, len(cell), size):
            part = slice(start, start + size)
            parts.append(ask(rim[part, None], foot[part, None], *(figure[cell[part]] for figure in asked)))
        return np.concatenate(parts), len(cell) * count * (1 if edge else len(asked) // 3) + work

    def _widest(self, cells: Cells) -> Real:
        """Return the widest rim radius that each cell's wood leaves at the rim plane, wherever in the cell."""
        x0, y0 = self.around[0][None, :], self.around[1][None, :]
        x1, y1 = np.roll(x0, -1), np.roll(y0, -1)
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = (x1 - x0) / (y1 - y0)
        low, high = np.maximum(cells.b - cells.down, self.nearest)[:, None], (cells.b + cells.down)[:, None]
        within = (y0 >= low) & (y0 <= high)
        left, right = np.where(within, x0, np.inf).min(axis=1), np.where(within, x0, -np.inf).max(axis=1)
        for level in (low, high):
            crosses = (y0 <= level) != (y1 <= level)
            x = x0 + (level - y0) * slope
            left = np.minimum(left, np.where(crosses, x, np.inf).min(axis=1))
            right = np.maximum(right, np.where(crosses, x, -np.inf).max(axis=1))
        side = np.minimum(right - cells.a, cells.a - left) + cells.across
        _, _, margin, error = self.edge
        found: Real = side - margin - 2 * np.hypot(error, self.scale_error * np.maximum(side, 0.0))
        return found

    def _at_edge(self, cells: Cells, picked: slice, widest: float) -> tuple[Asked, int]:
        """Return the edge's points that may bind, in the half-plane of each cell."""
        across, along, margin, error = self.edge
        near = _within_reach(across[picked], along[picked], np.array(0.0), cells, widest)
        order = near[np.argsort(along[picked][near], kind="stable")]
        side = np.abs(across[picked][order][None, :] - cells.a[:, None])
        h = along[picked][order][None, :] - cells.b[:, None]
        keep = margin + 2 * np.hypot(error, self.scale_error * np.hypot(side, h)) - 2 * self.scale_error * cells.reach
        width = side - keep + cells.across
        asks = (h > cells.down) & (width < widest)  # what may lie above the rim plane asks for nothing
        foremost = _foremost(np.where(asks, width, np.inf))
        gathered = (_gathered(figure, foremost, none) for figure, none in ((width, 1e6), (h + cells.down, 1.0)))
        return tuple(gathered), side.size

    def _at_defects(self, cells: Cells, picked: slice, widest: float) -> tuple[Asked, int]:
        """Return the defects' points that may bind, in the half-plane of each cell: rho, h and keep at either end.

        What may lie above the rim plane is taken from the middle of the cell and of the span, and may come nearer by as
        much as it may have moved in all.
        """
        found = self.defects.at(picked)
        most = found.margin + 2 * (found.error + self.scale_error * FARTHEST)
        near = _within_reach(found.across, found.along, most, cells, widest)
        front = found.along - found.margin + found.moved  # the depth less the distance to keep
        found = found.at(near[np.argsort(front[near], kind="stable")])
        side, h = np.abs(found.across - cells.a[:, None]), found.along - cells.b[:, None]
        moved = cells.reach + found.moved
        sure = found.margin + 2 * np.hypot(found.error, self.scale_error * np.hypot(side, h))
        sure -= 2 * self.scale_error * moved
        keep, rho = sure - moved, np.hypot(side, found.above)
        asks = (h > -keep) & (rho < widest + keep)
        below = asks & (h > 0)
        foremost = _foremost(np.where(below, rho - keep, np.inf)) | (asks & (h <= 0))
        ends = [
            (np.abs(across - cells.a[:, None]) + cells.across, along - cells.b[:, None]) for across, along in found.ends
        ]
        under = np.min([along for _, along in ends], axis=0) - found.bend > cells.down
        asked: list[Real] = []
        for end_side, end_h in ends:
            figures = (
                (np.where(under, np.hypot(end_side, found.above), rho), 1e6),
                (np.where(under, end_h + cells.down, h), 1.0),
                (np.where(under, sure - found.bend, keep), 0.0),
            )
            asked += [_gathered(figure, foremost, none) for figure, none in figures]
        return tuple(asked), side.size * len(ends)

    def _outside(self, x: Real, y: Real) -> Real:
        """Return how far points lie outside the edge, shape (n,); 0 inside."""
        ax, ay = self.ring[0][None, :], self.ring[1][None, :]
        bx, by = np.roll(ax, -1), np.roll(ay, -1)
        x, y = x[:, None], y[:, None]
        ux, uy = bx - ax, by - ay
        with np.errstate(divide="ignore", invalid="ignore"):
            crosses = ((ay > y) != (by > y)) & (x < ax + (y - ay) / uy * ux)
        share = np.clip(((x - ax) * ux + (y - ay) * uy) / np.maximum(ux**2 + uy**2, 1e-12), 0.0, 1.0)
        away = np.hypot(ax + share * ux - x, ay + share * uy - y).min(axis=1)
        found: Real = np.where(crosses.sum(axis=1) % 2 == 1, 0.0, away)
        return found


def _room_of_either_end(r: Real, f: Real, *asked: Real) -> Real:
    """Return the room that points leave, each at the better of its two ends; least by rows."""
    if len(asked) == 3:
        rooms = room_by_defects(r, f, *asked)
    else:
        rooms = np.maximum(room_by_defects(r, f, *asked[:3]), room_by_defects(r, f, *asked[3:]))
    least: Real = rooms.min(axis=1, initial=np.inf)
    return least


def _within_reach(across: Real, along: Real, keep: Real, cells: Cells, widest: float) -> NDArray[np.intp]:
    """Return which points a bowl of any cell may come near to."""
    reach = widest + np.maximum(keep, 0.0) + cells.reach
    side = np.maximum(cells.a.min() - across, across - cells.a.max())
    asks = (side < reach) & (along - cells.b.max() < reach) & (along - cells.b.min() > -keep)
    return np.flatnonzero(asks)


def _foremost(across: Real) -> NDArray[np.bool_]:
    """Return which points, in order of depth, lie nearer to the axis than all before them: only these can bind.

    What lies both deeper and farther off than another asks for less, as a bowl only narrows with depth.
    """
    before = np.minimum.accumulate(across, axis=1)
    found = np.isfinite(across)
    found[:, 1:] &= across[:, 1:] < before[:, :-1]
    return found


def _gathered(figure: Real, picked: NDArray[np.bool_], none: float) -> Real:
    """Return the figures picked in each row, moved to its start; `none` fills up the rows."""
    count = picked.sum(axis=1)
    found = np.full((len(figure), int(count.max(initial=0))), none)
    found[np.arange(found.shape[1])[None, :] < count[:, None]] = figure[picked]
    return found


def view_of(
    found: Marks, reach: Reach, centre: Real, split: Split, z: float, scale_error: float, angle: float, half: float
) -> View:
    """Return the wood in the directions within `half` of an angle (radians), for axes at z along the log."""
    rim, others = found.edge, ~found.edge
    ends = centre + reach.outermost(half) if half > 0 else found.at[rim][::2]
    edge = (*turned(ends, centre, angle), float(found.margin[rim].min()), float(found.error[rim].min()))
    across, along = turned(found.at[others], centre, angle)
    away, sine, cosine = np.hypot(across, along), math.sin(half), math.cos(half)
    ways = (-1.0, 1.0) if half > 0 else (0.0,)
    defects = Defects(
        across, along, found.margin[others], found.error[others],
        above=np.maximum(z - found.depth[others], 0.0),
        moved=away * 2 * math.sin(half / 2),
        ends=tuple((across * cosine - way * along * sine, along * cosine + way * across * sine) for way in ways),
        bend=away * (1 - cosine),
    )  # fmt: skip
    ring = turned(centre + reach.polygon(half, RING_BINS), centre, angle)
    around = turned(found.at[rim] if half == 0 else centre + reach.polygon(half, EDGE_BINS), centre, angle)
    return View(edge, defects, ring, around, *split.limits(centre, angle, half), scale_error)
