"""Which cut can follow which, worked out once for a workshop: the best chain of cores below any first bowl.

A chain is valued by dynamic programming over a grid of cutters, offsets and stand-offs. For one cutter and offset, the
grooves that fit in a bowl are all those from some least stand-off upwards, so a suffix maximum answers what may follow.
The same machinery, fed with whole cells of the grid in place of its points and with every figure taken at its most
favourable, gives an upper bound that holds for every chain between the points too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.model import Objective, Price
from photonest.nest.curves import Outside, cored_outside, least_stand_off, volume_under, worth_having
from photonest.nest.rules import Real, Rules

IMPOSSIBLE = -1e18
CHUNK = 12_000  # figures at once, so that they stay near the processor
SHARES = 255


@dataclass(frozen=True)
class Grid:
    """Every cut of the workshop on a grid: rows are a cutter and an offset, columns the stand-offs.

    Attributes
    ----------
    cutter : ndarray of int, shape (rows,)
    offset, half_offset : ndarray, shape (rows,)
        Middle and half width of the row's cell; the half width is 0 for a grid of points.
    stand_off : ndarray, shape (columns,)
        Lower ends of the cells.
    step : float
        Their width; 0 for a grid of points.
    inner, outer : ndarray, shape (rows,)
        Radii of the groove's edges.
    bowls : Outside
        What each cut sets free, each field of shape (rows, columns); at its most favourable for a grid of cells.
    good : ndarray of bool, shape (rows, columns)
    least_rim, least_depth : float
        The rim radius and depth at which a core is worth having.
    """

    cutter: NDArray[np.intp]
    offset: Real
    half_offset: Real
    stand_off: Real
    step: float
    inner: Real
    outer: Real
    bowls: Outside
    good: NDArray[np.bool_]
    least_rim: float
    least_depth: float


class Following(NamedTuple):
    """What fits in each of some bowls, shape (bowls, rows) and (bowls,).

    `column` is the first column of each row that fits, the number of columns where none does; `share` how much of that
    column's cell is passed before anything fits, in SHARES, rounded down; `reach` is how far from the axis an inside
    may come at the rim plane.
    """

    column: NDArray[np.int16]
    share: NDArray[np.uint8]
    reach: Real


class Level(NamedTuple):
    """The best value of exactly n bowls from each cut on.

    `value` has the shape of the grid; `tail` is its maximum over a column and all later ones, with one more.
    """

    value: Real
    tail: Real
    cells: CellLevel | None = None


class CellLevel(NamedTuple):
    """What a grid of cells adds to a level, each of the shape of the grid with one more column.

    A cell's value is that of its lower end. `drop` is what is lost from there to its upper end at least, evenly; past
    `most` of the SHARES no core is worth having. `beyond` is the tail of the value less twice the rim that a reach of 0
    would leave: the rim of a core is at most its bowl's reach less the groove, whatever the cell's corner says.
    """

    drop: Real
    most: NDArray[np.uint8]
    value: Real
    beyond: Real | None


@dataclass(frozen=True)
class Chains:
    """A grid, and what follows what."""

    rules: Rules
    grid: Grid
    follows: Following


@dataclass(frozen=True)
class Worth:
    """How an objective values a nest: bowl by bowl, by the rim or by what it holds.

    ``"bowls"`` sums rim diameters in mm (counts are compared before), ``"capacity"`` what the bowls hold in ml,
    ``"value"`` the prices of the shop's list: straight between two entries, nothing below the first.
    """

    objective: Objective
    prices: tuple[Price, ...] = ()

    def of_rim(self, rim: Real) -> Real:
        """Return what bowls are worth by their rim radius."""
        if self.objective == "bowls":
            return 2 * rim
        if self.objective == "capacity" or not self.prices:
            return np.zeros_like(rim)
        sizes, prices = zip(*((price.diameter, price.price) for price in self.prices), strict=True)
        found: Real = np.interp(2 * rim, sizes, prices, left=0.0)
        return found

    def of_hollow(self, bowl: Outside) -> Real:
        """Return what is added for the inside turned by hand of a last bowl."""
        if self.objective != "capacity":
            return np.zeros_like(bowl.rim)
        with np.errstate(invalid="ignore"):
            volume = volume_under(bowl.radius - bowl.wall, bowl.centre, bowl.stand_off, bowl.axis_floor)
        return np.nan_to_num(volume) / 1000

    def of_groove(self, edge: Real, offset: Real, stand_off: Real) -> Real:
        """Return what is added for a bowl whose inside is the outer edge of a groove."""
        if self.objective != "capacity":
            return np.zeros(np.broadcast_shapes(edge.shape, offset.shape, stand_off.shape))
        with np.errstate(invalid="ignore"):
            return np.nan_to_num(volume_under(edge, offset, stand_off)) / 1000

    def entering(self, grid: Grid) -> Real:
        """Return what each cut adds: its core by the rim, and the inside of the bowl before it."""
        offset = (grid.offset + grid.half_offset)[:, None]
        inside = self.of_groove(grid.outer[:, None], offset, grid.stand_off[None, :])
        return self.of_rim(np.nan_to_num(grid.bowls.rim)) + inside

    def dropping(self, grid: Grid) -> Real:
        """Return what each cell's value drops by at least, evenly, from its lower end to its upper.

        A rim radius is concave in the stand-off, so the tangent holds; a volume is convex, so the chord does.
        """
        if self.objective == "bowls":
            return 2 * grid.step * _slope(grid)
        if self.objective != "capacity":
            return np.zeros(grid.good.shape)
        offset, edge = (grid.offset + grid.half_offset)[:, None], grid.outer[:, None]
        ends = (self.of_groove(edge, offset, grid.stand_off[None, :] + more) for more in (0.0, grid.step))
        low, high = ends
        return np.where(high > 0, low - high, 0.0)

    def last(self, grid: Grid) -> Real:
        """Return what each cut adds when its core is the last bowl."""
        centre = grid.bowls.centre + grid.half_offset[:, None]
        return self.of_hollow(grid.bowls._replace(centre=centre))


def point_grid(rules: Rules, step: float) -> Grid:
    """Return the grid of points: each is one exact cut."""
    rows = [(i, c) for i, c, _ in _rows(rules, step, cells=False)]
    return _grid(rules, rows, [0.0] * len(rows), _stand_offs(rules, step), 0.0)


def cell_grid(rules: Rules, step: float) -> Grid:
    """Return the grid of cells that together hold every cut the workshop can make."""
    rows = _rows(rules, step, cells=True)
    return _grid(rules, [(i, c) for i, c, _ in rows], [half for _, _, half in rows], _stand_offs(rules, step), step)


def chains_on(rules: Rules, grid: Grid) -> Chains:
    """Return what follows what on a grid."""
    half = np.broadcast_to(grid.half_offset[:, None], grid.good.shape)[grid.good]
    return Chains(rules, grid, following(grid, grid.bowls.at(grid.good), half))


def following(grid: Grid, bowls: Outside, half: Real | float = 0.0) -> Following:
    """Return what fits in each of some bowls.

    `half` is how far the bowls' centres may lie to either side of what is given, for a grid of cells.
    """
    wide = np.broadcast_to(np.asarray(half, float), bowls.rim.shape)
    size = max(1, CHUNK // max(len(grid.offset), 1))
    parts = [slice(start, start + size) for start in range(0, len(bowls.rim), size)] or [slice(None)]
    found = [_following(grid, bowls.at(part), wide[part]) for part in parts]
    return Following(*(np.concatenate(field) for field in zip(*found, strict=True)))


def _following(grid: Grid, bowls: Outside, wide: Real) -> Following:
    least = _least_for_cells(bowls.column(), wide[:, None], grid)
    columns = len(grid.stand_off)
    pitch = grid.stand_off[1] - grid.stand_off[0] if columns > 1 else max(grid.step, 1.0)
    place = (least - grid.stand_off[0]) / pitch
    first = np.floor(place - 1e-9) if grid.step > 0 else np.ceil(place - 1e-9)
    column: NDArray[np.int16] = np.clip(np.nan_to_num(first, posinf=columns), 0, columns).astype(np.int16)
    with np.errstate(invalid="ignore"):
        reach = bowls.centre + wide + np.sqrt((bowls.radius - bowls.wall) ** 2 - bowls.stand_off**2)
    share = np.floor(SHARES * np.clip(np.nan_to_num(place) - column, 0.0, 1.0)).astype(np.uint8)
    return Following(column, share, np.nan_to_num(reach))


def _least_for_cells(bowls: Outside, wide: Real, grid: Grid) -> Real:
    """Return the least stand-off at its most favourable over the cells.

    Each condition of `least_stand_off` may be met by another member of the cells; that only lowers the answer. The side
    condition is asked of the disc common to all grooves of the row, within the disc around all outsides.
    """
    if not wide.any() and not grid.half_offset.any():
        return least_stand_off(bowls, grid.outer, grid.offset)
    low, high = grid.offset - grid.half_offset, grid.offset + grid.half_offset
    far = np.maximum(np.abs(low), np.abs(high))
    inner = bowls.radius - bowls.wall
    nearest = np.maximum(np.abs(bowls.centre) - wide, 0.0)
    with np.errstate(invalid="ignore"):
        on_axis = np.sqrt(grid.outer**2 - far**2)
        base = on_axis - bowls.axis_floor
        floor = np.where(low > 0, grid.outer - bowls.floor, -np.inf)
        at_axis = bowls.stand_off + on_axis - np.sqrt(inner**2 - nearest**2)
        reach = bowls.centre + wide + np.sqrt(inner**2 - bowls.stand_off**2) - low
        at_rim = np.where(reach < grid.outer, np.sqrt(grid.outer**2 - reach**2), -np.inf)
    separate = np.maximum(np.maximum(base, floor), np.maximum(at_axis, at_rim))
    endless = np.full_like(bowls.radius, np.inf)
    loose = bowls._replace(radius=bowls.radius + wide, floor=endless, axis_floor=endless)
    common = least_stand_off(loose, grid.outer - grid.half_offset, grid.offset)
    possible = np.isfinite(separate) & (reach > 0)
    found: Real = np.where(possible, np.maximum(separate, common), np.inf)
    return found


def _rows(rules: Rules, step: float, *, cells: bool) -> list[tuple[int, float, float]]:
    rows = []
    for index, cutter in enumerate(rules.shop.cutters):
        span = rules.offsets(cutter.radius)
        if span is None:
            continue
        low, high = span
        if cells:
            count = max(1, int(np.ceil((high - low) / step - 1e-9)))
            half = (high - low) / count / 2
            rows += [(index, low + half * (2 * k + 1), half) for k in range(count)]
        else:
            inside = np.arange(np.ceil(low / step - 1e-9), np.floor(high / step + 1e-9) + 1) * step
            rows += [(index, float(c), 0.0) for c in (inside if len(inside) else [(low + high) / 2])]
    return rows


def _stand_offs(rules: Rules, step: float) -> Real:
    travel = rules.shop.stand_off
    largest = max(cutter.radius for cutter in rules.shop.cutters)
    end = min(travel.high, largest)
    count = int(np.floor((end - travel.low) / step + 1e-9))
    found: Real = travel.low + step * np.arange(max(count, 0) + 1, dtype=float)
    return found


def _grid(rules: Rules, rows: list[tuple[int, float]], halves: list[float], stand_off: Real, step: float) -> Grid:
    cutters = rules.shop.cutters
    cutter = np.array([index for index, _ in rows], dtype=np.intp)
    offset, half = np.array([c for _, c in rows], float), np.array(halves, float)
    radius = np.array([cutters[i].radius for i in cutter], float)
    kerf = np.array([cutters[i].kerf for i in cutter], float)
    inner, outer = radius - kerf / 2, radius + kerf / 2
    shape = (len(rows), len(stand_off))
    wide = (inner[:, None], offset[:, None], stand_off[None, :])
    edges, offsets, stand_offs = (np.broadcast_to(x, shape) for x in wide)
    if step > 0:
        bowls = _most_favourable(rules, edges, offsets, stand_offs, np.broadcast_to(half[:, None], shape), step)
    else:
        bowls = cored_outside(rules, edges, offsets, stand_offs)
    least = (rules.shop.min_rim / 2 - 1e-6, rules.shop.min_depth - 1e-6)
    return Grid(cutter, offset, half, stand_off, step, inner, outer, bowls, worth_having(rules, bowls), *least)


def _most_favourable(rules: Rules, edge: Real, offset: Real, stand_off: Real, half: Real, step: float) -> Outside:
    """Return, for cells, the largest rim and depth and the least wall that any cut in them leaves."""
    with np.errstate(invalid="ignore"):
        rim = offset + half + np.sqrt(edge**2 - stand_off**2)
        least_rim = offset - half + np.sqrt(np.maximum(edge**2 - (stand_off + step) ** 2, 0.0))
        least_rim = np.maximum(np.nan_to_num(least_rim), rules.shop.min_rim / 2)
        foot = rules.least_foot_from(least_rim)
        depth = -stand_off + np.sqrt(edge**2 - np.maximum(foot - offset - half, 0.0) ** 2)
    wall = rules.least_wall_from(least_rim)
    radius, floor = np.where(np.isfinite(rim), edge, np.nan), depth - wall
    return Outside(offset, stand_off, radius, rim, foot, depth, wall, floor, floor - rules.shop.tenon)


def levels(chains: Chains, worth: Worth, ends: NDArray[np.bool_] | None = None, most: int = 12) -> list[Level]:
    """Return the values of exactly n bowls from each cut on, for n = 1, 2, ...

    `ends` tells which cuts may set the last bowl free, of the grid's shape; None means all.
    """
    grid, good = chains.grid, chains.grid.good
    entering, last = worth.entering(grid), worth.last(grid)
    may_end = good if ends is None else good & ends
    found = [level_of(grid, worth, np.where(may_end, entering + last, IMPOSSIBLE), last)]
    while len(found) < most and (found[-1].value > IMPOSSIBLE / 2).any():
        rest = np.full(good.shape, IMPOSSIBLE)
        rest[good] = best_following(chains.follows, found[-1])[0]
        value = np.where(rest > IMPOSSIBLE / 2, entering + rest, IMPOSSIBLE)
        found.append(level_of(grid, worth, value, rest))
    return found if (found[-1].value > IMPOSSIBLE / 2).any() else found[:-1]


def level_of(grid: Grid, worth: Worth, value: Real, rest: Real) -> Level:
    """Return a level from the value of each cut, and of that what follows its core."""
    if grid.step == 0:
        return Level(value, _tail(value))
    none = np.full((len(value), 1), IMPOSSIBLE)
    drop, most = worth.dropping(grid), _most_shares(grid)
    return Level(
        value,
        _tail(value),
        CellLevel(
            np.hstack([drop, np.zeros_like(none)]),
            np.hstack([most, np.zeros_like(none, np.uint8)]),
            np.hstack([value, none]),
            _beyond(grid, value, rest) if worth.objective == "bowls" else None,
        ),
    )


def _beyond(grid: Grid, value: Real, rest: Real) -> Real:
    with np.errstate(invalid="ignore"):
        columns = grid.stand_off[None, :] ** 2
        groove = np.sqrt(grid.outer[:, None] ** 2 - columns) - np.sqrt(grid.inner[:, None] ** 2 - columns)
    return _tail(np.where(value > IMPOSSIBLE / 2, rest - 2 * np.nan_to_num(groove), IMPOSSIBLE))


def _most_shares(grid: Grid) -> NDArray[np.uint8]:
    """Return past how much of each cell no core is worth having: what is left of its depth and rim runs out."""
    deep = grid.bowls.depth - grid.least_depth
    wide = grid.bowls.rim - grid.least_rim
    with np.errstate(invalid="ignore", divide="ignore"):
        most = np.minimum(deep, wide / _slope(grid)) / grid.step
    found: NDArray[np.uint8] = np.ceil(SHARES * np.clip(np.nan_to_num(most), 0.0, 1.0)).astype(np.uint8)
    return found


def _slope(grid: Grid) -> Real:
    """Return how fast the rim of each cell's core shrinks at least as the stand-off grows: most slowly at first."""
    stand_off = grid.stand_off[None, :]
    with np.errstate(invalid="ignore", divide="ignore"):
        found: Real = np.nan_to_num(stand_off / np.sqrt(grid.inner[:, None] ** 2 - stand_off**2), posinf=0.0)
    return found


def _tail(value: Real) -> Real:
    rows, columns = value.shape
    tail = np.full((rows, columns + 1), IMPOSSIBLE)
    tail[:, :columns] = np.maximum.accumulate(value[:, ::-1], axis=1)[:, ::-1]
    return tail


def best_following(follows: Following, level: Level) -> tuple[Real, NDArray[np.intp]]:
    """Return the best value that can follow each bowl, and the row where it lies."""
    rows, columns = level.tail.shape
    place = np.arange(rows) * columns + follows.column
    if level.cells is None:
        found = np.take(level.tail, place)
    else:
        drop, most, value, beyond = level.cells
        here = np.take(value, place) - np.take(drop, place) * (follows.share / SHARES)
        here[follows.share > np.take(most, place)] = IMPOSSIBLE
        later = np.take(level.tail, np.minimum(place + 1, (np.arange(rows) + 1) * columns - 1))
        found = np.maximum(here, later)
        if beyond is not None:
            found = np.minimum(found, 2 * follows.reach[:, None] + np.take(beyond, place))
    where = np.argmax(found, axis=1)
    return found[np.arange(len(found)), where], where
