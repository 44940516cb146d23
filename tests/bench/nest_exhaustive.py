"""Plans beside an exhaustive search: python -m tests.bench.nest_exhaustive [--blanks 12] [--slices 8] [--logs 3].

Random small pieces of invented wood are planned, and searched through by plain code that shares nothing with the
planner: every axis on a 1 mm grid of the face of a blank or slice; of a log every rip 10 degrees apart, its axes on a
4 mm grid. On an axis every first bowl on a 1 mm grid (2 mm for logs) is tried, and every chain of cuts by cutters,
offsets and stand-offs a millimetre apart; walls are measured at points along the insides. Columns: what was planned and
what was found exhaustively (bowls, and the sum of rim diameters in mm), the difference of the sums where the bowls are
as many, and the gap that the plan states. The last line counts plans with fewer bowls, or a sum below by over 0.3 %.
"""

from __future__ import annotations

import argparse
import functools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from photonest.model import Face, NoPlanError, Shop, Stock
from photonest.nest import check_plan, plan_nest
from tests.nest.examples import face, radial_crack, ring

SHOP = Shop()
ALONG = 17  # points along an inside
A_BOWL = 1e5  # in a rank, one bowl more
NOTHING = -1e9
ALLOWED = 0.3  # percent
GRID, LOG_GRID, LOG_STEP, RIP_STEP = 1.0, 4.0, 2.0, 10.0  # mm; degrees
Real = NDArray[np.float64]


def foot_of(rim: Real) -> Real:
    """Return the foot radius: a share of the rim's, in the jaws that miss it by the least."""
    asked = SHOP.foot_share * 2 * np.asarray(rim, float)
    held = np.stack([np.clip(asked, jaws.diameter.low, jaws.diameter.high) for jaws in SHOP.jaws])
    found: Real = np.take_along_axis(held, np.abs(held - asked).argmin(axis=0)[None], axis=0)[0] / 2
    return found


def wall_of(rim: Real) -> Real:
    return np.maximum(SHOP.wall_min, SHOP.wall_share * 2 * rim)


@dataclass(frozen=True)
class Arc:
    """A bowl's outside: an arc about (centre, -stand_off), its depth, and the wall it must keep."""

    centre: float
    stand_off: float
    radius: float
    depth: float
    wall: float
    rim: float


@dataclass(frozen=True)
class Cuts:
    """Every cut of the workshop on the grid whose core is worth having, the smallest core first.

    `best` has for n bowls the greatest sum of rim diameters of n cores, the first of them this cut's.
    """

    offset: Real
    stand_off: Real
    edge: Real
    inner: Real
    rim: Real
    depth: Real
    best: list[Real]

    def core(self, place: int) -> Arc:
        offset, stand_off, radius = (float(f[place]) for f in (self.offset, self.stand_off, self.inner))
        rim = float(self.rim[place])
        return Arc(offset, stand_off, radius, float(self.depth[place]), float(wall_of(np.array(rim))), rim)

    def fits(self, bowl: Arc) -> NDArray[np.intp]:
        """Return which cuts leave a bowl its wall and base."""
        offset, stand_off, edge = self.offset, self.stand_off, self.edge
        on_axis = np.sqrt(edge**2 - offset**2) - stand_off
        at_rim = offset + np.sqrt(edge**2 - stand_off**2)
        ends = np.maximum(
            np.hypot(at_rim - bowl.centre, bowl.stand_off), np.hypot(bowl.centre, on_axis + bowl.stand_off)
        )
        base = bowl.depth - on_axis >= bowl.wall + SHOP.tenon
        picked = np.flatnonzero(base & (ends <= bowl.radius - bowl.wall) & (self.rim < bowl.rim))
        offset, stand_off, edge = offset[picked], stand_off[picked], edge[picked]
        first, last = np.arcsin(-offset / edge), np.arccos(stand_off / edge)
        turn = first + (last - first) * np.linspace(0.0, 1.0, ALONG)[:, None]
        rho, h = offset + edge * np.sin(turn), edge * np.cos(turn) - stand_off
        to_arc = bowl.radius - np.hypot(rho - bowl.centre, h + bowl.stand_off)
        return picked[(np.minimum(to_arc, bowl.depth - h) >= bowl.wall).all(axis=0)]


@functools.cache
def all_cuts() -> Cuts:
    """Return the workshop's cuts, each with the best chains from it on."""
    rows = []
    for cutter in SHOP.cutters:
        most = cutter.radius * math.sin(math.radians(SHOP.max_slope))
        offsets = np.arange(math.ceil(max(SHOP.offset.low, -most)), min(SHOP.offset.high, most) + 1e-9)
        stand_offs = np.arange(SHOP.stand_off.low, min(SHOP.stand_off.high, cutter.radius - cutter.kerf / 2 - 1))
        grid = np.stack(np.meshgrid(offsets, stand_offs), axis=-1).reshape(-1, 2)
        edges = np.broadcast_to([cutter.radius + cutter.kerf / 2, cutter.radius - cutter.kerf / 2], grid.shape)
        rows.append(np.hstack([grid, edges]))
    offset, stand_off, edge, inner = np.vstack(rows).T
    rim = offset + np.sqrt(inner**2 - stand_off**2)
    foot = foot_of(np.maximum(rim, 1.0))
    depth = np.sqrt(np.maximum(inner**2 - (foot - offset) ** 2, 0.0)) - stand_off
    good = (2 * rim >= SHOP.min_rim) & (depth >= SHOP.min_depth) & (2 * offset <= foot) & (rim > foot)
    order = np.flatnonzero(good)[np.argsort(rim[good], kind="stable")]
    offset, stand_off, edge, inner, rim, depth = (f[order] for f in (offset, stand_off, edge, inner, rim, depth))
    found = Cuts(offset, stand_off, edge, inner, rim, depth, [])
    best = np.full((len(order), 6), NOTHING)
    best[:, 0] = 2 * found.rim
    for place in range(len(order)):
        if len(following := found.fits(found.core(place))):
            best[place, 1:] = 2 * found.rim[place] + best[following, :-1].max(axis=0)
    found.best.extend(best.T)
    return found


@functools.cache
def best_below(rim: float, depth: float) -> float:
    """Return the rank of the best nest whose first bowl has a rim radius and depth: bowls, then the sum of rims."""
    foot = float(foot_of(np.array(rim)))
    depth = min(depth, math.sqrt(max(rim**2 - foot**2, 0.0)))
    if 2 * rim < SHOP.min_rim or depth < SHOP.min_depth or foot >= rim:
        return 0.0
    stand_off = (rim**2 - foot**2 - depth**2) / (2 * depth)
    cuts, bowl = all_cuts(), Arc(0.0, stand_off, math.hypot(rim, stand_off), depth, float(wall_of(np.array(rim))), rim)
    if depth - bowl.wall - SHOP.tenon < 1.0:
        return 0.0
    following, rank = cuts.fits(bowl), A_BOWL + 2 * rim
    for count, best in enumerate(cuts.best, 2) if len(following) else ():
        top = float(best[following].max())
        rank = max(rank, count * A_BOWL + 2 * rim + top) if top > 0 else rank
    return rank


def clear_radii(wood: Face, stock: Stock, x: Real, y: Real) -> Real:
    """Return how wide the wood is clear about each axis of a blank or slice; negative outside the wood."""
    points, share = shapely.points(x, y), wood.scale.standard_error_pct / 100
    outline = shapely.Polygon(wood.outline.wood)
    kept = [(outline.exterior, SHOP.trueing, wood.outline.standard_error)]
    kept += [(shapely.LineString(c.path), SHOP.clearance + c.width / 2, c.standard_error) for c in wood.cracks]
    if wood.pith is not None and not stock.through_pith:
        kept.append((shapely.Point(wood.pith.point), SHOP.clearance, wood.pith.standard_error))
    found = np.full(len(x), np.inf)
    for shape, margin, error in kept:
        away = shapely.distance(points, shape)
        found = np.minimum(found, away - margin - 2 * np.hypot(error, share * away))
    return np.where(shapely.contains(outline, points), found, -1.0)


def exhaustive_round(wood: Face, stock: Stock) -> float:
    """Return the rank of the best nest of a blank or slice."""
    low, high = np.min(wood.outline.wood, axis=0), np.max(wood.outline.wood, axis=0)
    x, y = np.meshgrid(np.arange(low[0], high[0], GRID), np.arange(low[1], high[1], GRID))
    widest = min(float(clear_radii(wood, stock, x.ravel(), y.ravel()).max()), SHOP.swing / 2 - SHOP.trueing)
    rims = np.append(np.arange(SHOP.min_rim / 2, widest, GRID), widest)  # any axis less clear has some of these
    return max((best_below(float(rim), float(stock.thickness or 0.0)) for rim in rims), default=0.0)


@dataclass(frozen=True)
class FirstBowls:
    """First bowls on a grid of rim radii and depths: the rank of the best nest of each, and its radius at each depth.

    Shapes: (n,), (m,), (n, m), (n,), (l,), (n, m, l).
    """

    rim: Real
    depth: Real
    rank: Real
    foot: Real
    levels: Real
    radius: Real


@functools.cache
def first_bowls(widest: float) -> FirstBowls:
    rim = np.arange(SHOP.min_rim / 2, widest + 1e-9, LOG_STEP)
    depth, levels = np.arange(SHOP.min_depth, widest, LOG_STEP), np.arange(0.0, widest + 1.0)
    rank = np.array([[best_below(float(r), float(d)) for d in depth] for r in rim])
    foot = foot_of(rim)
    r, d, f = rim[:, None, None], depth[None, :, None], foot[:, None, None]
    stand_off = (r**2 - f**2 - d**2) / (2 * d)
    rank[stand_off[..., 0] < 0] = 0.0
    radius = np.sqrt(np.maximum(r**2 + stand_off**2 - (levels + stand_off) ** 2, 0.0))
    return FirstBowls(rim, depth, rank, foot, levels, np.where(levels <= d, radius, -np.inf))


def exhaustive_log(wood: Face, stock: Stock) -> float:
    """Return the rank of the best pair of nests of a log, one either side of the pith."""
    assert stock.length is not None
    firsts = first_bowls(min(stock.length / 2 - SHOP.trueing, SHOP.swing / 2 - SHOP.trueing))
    turns = np.radians(np.arange(0.0, 180.0, RIP_STEP)).tolist()
    return max(sum(_half(wood, firsts, turn + side) for side in (0.0, math.pi)) for turn in turns)


def _half(wood: Face, firsts: FirstBowls, turn: float) -> float:
    """Return the rank of the best nest whose axis points in one direction, its rim plane beyond the pith."""
    assert wood.pith is not None
    into, pith = np.array([math.cos(turn), math.sin(turn)]), np.asarray(wood.pith.point)
    frame = np.column_stack([[-into[1], into[0]], into])
    outline = shapely.Polygon((np.asarray(wood.outline.wood) - pith) @ frame)
    slab = SHOP.pith_slab + 2 * wood.pith.standard_error
    cracks = [(np.asarray(c.path) - pith, c.width / 2 + SHOP.clearance, c.standard_error) for c in wood.cracks]
    marks = [(_walked(path @ frame), keep, error) for path, keep, error in cracks]
    share, (low, high) = wood.scale.standard_error_pct / 100, np.reshape(outline.bounds, (2, 2))
    best = 0.0
    for t in np.arange(slab, high[1] - SHOP.min_depth, LOG_GRID):
        ends = np.array([_chord(outline, t + h, low[0], high[0]) for h in firsts.levels])
        for u in np.arange(low[0], high[0], LOG_GRID):
            side = np.minimum(u - ends[:, 0], ends[:, 1] - u)
            error = 2 * np.hypot(wood.outline.standard_error, share * np.hypot(side, firsts.levels))
            width = np.where(np.isfinite(side), side - SHOP.trueing - error, -1.0)
            if width[0] < firsts.rim[0]:
                continue
            inside = (firsts.radius <= width).all(axis=2)
            inside &= np.interp(firsts.depth, firsts.levels, width)[None, :] >= firsts.foot[:, None]
            best = max(best, _best_clear(firsts, np.where(inside, firsts.rank, 0.0), best, marks, (u, t), share))
    return best


def _best_clear(
    firsts: FirstBowls,
    rank: Real,
    beat: float,
    marks: list[tuple[Real, float, float]],
    at: tuple[float, float],
    share: float,
) -> float:
    """Return the greatest rank of the bowls that clear all marks; of those holding one that does not, none does."""
    rank = rank.copy()
    while (top := float(rank.max())) > beat:
        row, column = np.unravel_index(int(rank.argmax()), rank.shape)
        if _clear(float(firsts.rim[row]), float(firsts.depth[column]), marks, *at, share):
            return top
        rank[row:, column:] = 0.0
    return 0.0


def _chord(outline: shapely.Polygon, level: float, low: float, high: float) -> tuple[float, float]:
    line = outline.intersection(shapely.LineString([(low - 1, level), (high + 1, level)]))
    return (line.bounds[0], line.bounds[2]) if not line.is_empty else (math.inf, -math.inf)


def _walked(path: Real) -> Real:
    line = shapely.LineString(path)
    found: Real = shapely.get_coordinates(
        [line.interpolate(at) for at in np.append(np.arange(0, line.length, 0.5), line.length)]
    )
    return found


def _profile(rim: float, depth: float, h: Real) -> Real:
    """Return the radius of a first bowl at depths above its foot."""
    foot = float(foot_of(np.array(rim)))
    stand_off = (rim**2 - foot**2 - depth**2) / (2 * depth)
    found: Real = np.sqrt(np.maximum(rim**2 + stand_off**2 - (h + stand_off) ** 2, 0.0))
    return found


def _clear(rim: float, depth: float, marks: list[tuple[Real, float, float]], u: float, t: float, share: float) -> bool:
    h = np.linspace(0.0, depth, 60)
    line = np.column_stack([_profile(rim, depth, h), h])
    area = shapely.Polygon([(0.0, 0.0), *line.tolist(), (0.0, depth)])
    shapely.prepare(area)
    for points, keep, error in marks:
        rho, down = np.abs(points[:, 0] - u), points[:, 1] - t
        needed = keep + 2 * np.hypot(error, share * np.hypot(rho, down))
        if (shapely.distance(area, shapely.points(rho, down)) < needed).any():
            return False
    return True


def pieces(kind: str, count: int, seed: int) -> Iterator[tuple[Face, Stock]]:
    """Yield small random pieces of invented wood, all of whose cracks go through."""
    for index in range(count):
        random = np.random.default_rng([seed, index, len(kind)])
        radius = float(random.uniform(100, 150) if kind == "log" else random.uniform(90, 190))
        pith = (float(random.normal(0, 0.1 * radius)), float(random.normal(0, 0.1 * radius)))
        cracks = []
        for place in range(int(random.integers(0, 7))):
            start = radius * math.sqrt(random.uniform(0.2, 1))
            angle, end = float(random.uniform(0, 360)), start + float(random.uniform(5, 50))
            cracks.append(
                radial_crack(f"c{place}", angle, start, end, pith, standard_error=float(random.uniform(0.1, 1)))
            )
        outline = ring(radius, 120, float(random.uniform(0, 0.12)), float(random.uniform(0, 0.03)))
        known = pith if kind != "blank" else None
        wood = face(outline, tuple(cracks), known, float(random.uniform(0.1, 1.0)))
        if kind == "log":
            yield wood, Stock("log", length=float(random.uniform(200, 300)))
        else:
            yield wood, Stock(kind, thickness=float(random.uniform(60, 160)))  # type: ignore[arg-type]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--blanks", type=int, default=12)
    parser.add_argument("--slices", type=int, default=8)
    parser.add_argument("--logs", type=int, default=3)
    parser.add_argument("--seed", type=int, default=1)
    told = parser.parse_args()
    print(f"{'kind':6} {'planned':>12} {'exhaustive':>12} {'sums':>8} {'gap':>7}")
    below, worst, all_pieces = 0, 0.0, 0
    for kind, count in (("blank", told.blanks), ("slice", told.slices), ("log", told.logs)):
        for wood, stock in pieces(kind, count, told.seed):
            try:
                plan = plan_nest(wood, stock, SHOP, others=False)
                assert check_plan(wood, plan) == ()
                bowls, rims, gap = plan.score.bowls, plan.score.total_rim_diameter, f"{plan.bound.gap_pct:5.2f} %"
            except NoPlanError:
                bowls, rims, gap = 0, 0.0, ""
            many, most = divmod(exhaustive_log(wood, stock) if kind == "log" else exhaustive_round(wood, stock), A_BOWL)
            more = 100 * (rims / most - 1) if most > 0 and bowls == many else math.nan
            below += bowls < many or more < -ALLOWED
            worst, all_pieces = min(worst, more if more == more else 0.0), all_pieces + 1
            sums = f"{more:+.2f} %" if more == more else ""
            print(f"{kind:6} {bowls:3} {rims:8.1f} {int(many):3} {most:8.1f} {sums:>8} {gap:>7}", flush=True)
    print(
        f"{all_pieces} pieces: {below} below the exhaustive search by a bowl or over {ALLOWED} %; worst {worst:+.2f} %"
    )


if __name__ == "__main__":
    main()
