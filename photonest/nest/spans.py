"""What the axes of a span of rip directions have room for: an upper bound, by cells of axes.

A cell is a rectangle of axes (u, t) in every direction of a span. As the axis moves within it, and the log turns within
the span, each point of the wood moves by no more than a known distance in the half-plane; so the room that any of
them leaves is at most the room of the middle with every point that much farther off. Few points and few rims are asked
of large cells, all of small ones. Cells are valued together, as arrays.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.nest.chains import IMPOSSIBLE
from photonest.nest.logsite import EDGE_STEP, Marks, Split, turned
from photonest.nest.placing import room_by_defects, room_by_edge
from photonest.nest.rules import Real
from photonest.nest.solve import FirstBowls, Workshop, first_bowl_values

BINS = 720
FINER = 4  # so many times as many points of the edge are looked at, for how far it reaches
EDGE_BINS = 3  # bins from one point of the edge to the next
RING_STEP = 4
EXACT_BELOW = 2  # single axes ask all points up to this level
RING_BINS = RING_STEP * EDGE_BINS
FARTHEST = 1000.0  # mm: no point of a log lies farther from an axis
FINEST = 1.0  # mm: cells reaching no farther ask all points and rims
MOST_HALVED = 4
FINE_RIMS, FINE_DEPTHS = 0.25, 0.5  # mm
CHUNK = 60_000


class Cells(NamedTuple):
    """Rectangles of axes of one size, and which rims of each may still matter.

    Attributes
    ----------
    a, b : ndarray, shape (n,)
        Their middles, across and along.
    across, down : float
        Half their sides.
    rims : ndarray of bool, shape (n, m)
        By the rows of the table of first bowls of this `level`.
    level : int
        How many times the rows are halved in number.
    """

    a: Real
    b: Real
    across: float
    down: float
    rims: NDArray[np.bool_]
    level: int

    @property
    def reach(self) -> float:
        """Half a diagonal."""
        return math.hypot(self.across, self.down)

    def picked(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> Cells:
        """Return some of the cells."""
        return self._replace(a=self.a[which], b=self.b[which], rims=self.rims[which])

    def quarters(self) -> Cells:
        """Return each cell's quarters, or the halves of thin ones."""
        thin, flat = self.across < 0.6 * self.down, self.down < 0.6 * self.across
        sides = [(x, y) for x in ((0,) if thin else (-1, 1)) for y in ((0,) if flat else (-1, 1))]
        across, down = self.across / (1 if thin else 2), self.down / (1 if flat else 2)
        a = np.concatenate([self.a + x * across for x, _ in sides])
        b = np.concatenate([self.b + y * down for _, y in sides])
        return Cells(a, b, across, down, np.tile(self.rims, (len(sides), 1)), self.level)


def level_for(slack: float) -> int:
    """Return how many times points and rims may be halved in number for cells with so much slack, in mm."""
    return int(np.clip(math.log2(max(slack, 1e-9) / FINEST), 0, MOST_HALVED))


@dataclass(frozen=True)
class Table:
    """What nests are worth by their first bowls, none wider than `widest`: by spans of rims twice as wide a level."""

    levels: tuple[FirstBowls, ...]
    widest: float
    by_rims: bool

    def at_most(self, level: int, row: NDArray[np.intp], depth: Real) -> Real:
        """Return the most that nests may rank whose first bowls are of some rows and no deeper."""
        first = self.levels[level]
        found = first.at_most(row, depth)
        return found - 2 * np.maximum(first.high[row] - self.widest, 0.0) if self.by_rims else found

    def at(self, cells: Cells, level: int) -> Cells:
        """Return cells whose rims go by the rows of a finer or coarser level."""
        rims, low = cells.rims, self.levels[level].low
        if level < cells.level:
            rims = np.repeat(rims, 2 ** (cells.level - level), axis=1)[:, : len(low)]
        elif level > cells.level:
            wide = 2 ** (level - cells.level)
            padded = np.pad(rims, ((0, 0), (0, len(low) * wide - rims.shape[1])))
            rims = np.logical_or.reduce(padded.reshape(len(rims), len(low), wide), axis=2)
        return cells._replace(rims=np.logical_and(rims, low <= self.widest), level=level)


def table_of(work: Workshop, widest: float) -> Table:
    """Return the table of first bowls up to a widest rim radius."""
    shop = work.rules.shop
    most = shop.swing / 2 - shop.trueing
    steps = [2.0**k for k in range(MOST_HALVED + 1)]
    levels = (first_bowl_values(work, most, step=FINE_RIMS * k, down=FINE_DEPTHS * k) for k in steps)
    return Table(tuple(levels), widest, work.worth.objective == "bowls")


@dataclass(frozen=True, eq=False)
class View:
    """The wood in a span of directions about one, from the axes' side.

    Attributes
    ----------
    edge : (across, along, margin, error)
        Points of the edge at its farthest in any direction of the span.
    defects : (across, along, margin, error, above, moved)
        Points of the defects; how far each ends above the axis's place along the log, and how far it may have moved.
    ring : (across, along)
        Corners of a polygon around the wood.
    """

    edge: tuple[Real, Real, float, float]
    defects: tuple[Real, ...]
    ring: tuple[Real, ...]
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
        cell, row = np.nonzero(cells.rims & inside[:, None])
        depth = np.maximum(self.foot_at - cells.b + cells.down, 0.0)[cell]
        value, others, work = np.zeros(len(cell)), 0.0, 0
        for edge, picked in self._points(0 if cells.reach == 0 and cells.level <= EXACT_BELOW else cells.level):
            if not len(cell):
                break
            rooms, asked = self._rooms(cells, cell, first.low[row], first.foot[row], picked, edge)
            work += asked
            depth = np.minimum(depth, rooms)
            value = table.at_most(cells.level, row, depth)
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
        return float(self.defects[5].max(initial=0.0))

    def _points(self, level: int) -> Iterator[tuple[bool, slice]]:
        """Yield the points to ask: of the edge first, then few of the defects, then as many as the level asks."""
        yield True, slice(None, None, 2 ** max(level - 2, 0))
        if len(self.defects[0]):
            yield False, slice(None, None, 2**level)

    def _rooms(
        self, cells: Cells, cell: NDArray[np.intp], rim: Real, foot: Real, picked: slice, edge: bool
    ) -> tuple[Real, int]:
        widest = float(rim.max())
        points, asked = self._at_edge(cells, picked, widest) if edge else self._at_defects(cells, picked, widest)
        ask = room_by_edge if edge else room_by_defects
        count = points[0].shape[1]
        size = max(1, CHUNK // max(count, 1))
        parts = []
        for start in range(0, len(cell), size):
            part = slice(start, start + size)
            parts.append(ask(rim[part, None], foot[part, None], *(figure[cell[part]] for figure in points)))
        return np.concatenate(parts), len(cell) * count + asked

    def _at_edge(self, cells: Cells, picked: slice, widest: float) -> tuple[tuple[Real, ...], int]:
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

    def _at_defects(self, cells: Cells, picked: slice, widest: float) -> tuple[tuple[Real, ...], int]:
        figures = [figure[picked] for figure in self.defects]
        most = figures[2] + 2 * (figures[3] + self.scale_error * FARTHEST)
        near = _within_reach(figures[0], figures[1], most, cells, widest)
        front = figures[1] - figures[2] + figures[5]  # the depth less the distance to keep
        order = near[np.argsort(front[near], kind="stable")]
        across, along, margin, error, above, moved = (figure[order][None, :] for figure in figures)
        side, h = np.abs(across - cells.a[:, None]), along - cells.b[:, None]
        keep = margin + 2 * np.hypot(error, self.scale_error * np.hypot(side, h))
        keep -= (1 + 2 * self.scale_error) * (cells.reach + moved)
        rho = np.hypot(side, above)
        asks = (h > -keep) & (rho < widest + keep)
        below = asks & (h > 0)
        foremost = _foremost(np.where(below, rho - keep, np.inf)) | (asks & (h <= 0))
        gathered = (_gathered(figure, foremost, none) for figure, none in ((rho, 1e6), (h, 1.0), (keep, 0.0)))
        return tuple(gathered), side.size

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


def view_of(found: Marks, centre: Real, split: Split, z: float, scale_error: float, angle: float, half: float) -> View:
    """Return the wood in the directions within `half` of an angle (radians), for axes at z along the log."""
    rim, others = found.edge, ~found.edge
    ends = centre + _farthest(found.at[rim] - centre, half) if half > 0 else found.at[rim][::2]
    outer = turned(ends, centre, angle)
    edge = (*outer, float(found.margin[rim].min()), float(found.error[rim].min()))
    across, along = turned(found.at[others], centre, angle)
    moved = np.hypot(across, along) * 2 * math.sin(half / 2)
    above = np.maximum(z - found.depth[others], 0.0)
    defects = (across, along, found.margin[others], found.error[others], above, moved)
    around = turned(centre + _farthest(found.at[rim] - centre, half + RING_BINS * math.pi / BINS), centre, angle)
    coarse = tuple(figure[::RING_STEP] / math.cos(RING_BINS * math.pi / BINS) for figure in around)
    return View(edge, defects, coarse, *split.limits(centre, angle, half), scale_error)


def _farthest(outline: Real, half: float) -> Real:
    """Return points round the outline, each as far out as it reaches within half a span to either side.

    Between two points of the outline the distance from the centre is largest at one of them; so each bin looks as far
    to either side as the points may be apart.
    """
    from scipy import ndimage

    shares = np.arange(FINER)[None, :, None] / FINER
    outline = (outline[:, None] * (1 - shares) + np.roll(outline, -1, axis=0)[:, None] * shares).reshape(-1, 2)
    radius = np.hypot(outline[:, 0], outline[:, 1])
    angle = np.arctan2(outline[:, 1], outline[:, 0]) % (2 * math.pi)
    place = np.minimum((angle / (2 * math.pi) * BINS).astype(int), BINS - 1)
    farthest = np.zeros(BINS)
    np.maximum.at(farthest, place, radius)
    gap = EDGE_STEP / FINER / max(float(radius.min()), EDGE_STEP)
    wide = math.ceil((half + gap) / (2 * math.pi) * BINS) + 1
    found = ndimage.maximum_filter1d(farthest, 2 * wide + 1, mode="wrap")
    picked = np.arange(0, BINS, EDGE_BINS)
    theta = (picked + 0.5) * (2 * math.pi / BINS)
    points: Real = found[picked, None] * np.stack([np.cos(theta), np.sin(theta)], axis=1)
    return points
