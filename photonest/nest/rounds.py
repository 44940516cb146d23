"""The best nests of a blank or slice, whose axis stands square to the photographed face."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photonest.model import Point, Stock
from photonest.nest.chains import levels
from photonest.nest.circle import Short, clear_radius, widest
from photonest.nest.curves import Outside, turned_outside
from photonest.nest.keepouts import KeepOut, distances, segments_of
from photonest.nest.placing import HalfPlanePoints, clearances, clearest, most_valuable, room, tightened
from photonest.nest.rules import Real
from photonest.nest.sites import RoundSite, round_site
from photonest.nest.solve import (
    Found,
    Workshop,
    bound_on_axis,
    first_bowl_values,
    most_bowls,
    nests_on_axis,
)

FEW = 4
SHARE_OF_GAP = 0.1  # the rest is left to the tables, which are bounds
NEAR = 12.0  # mm: how far a found axis is moved to where it clears all by the most
MOST_SUBSETS = 8


@dataclass(frozen=True)
class RoundPlan:
    """The best nests found, by their number of bowls, on one axis, and what no nest can be worth more than.

    Attributes
    ----------
    points : HalfPlanePoints
        What the axis keeps clear of.
    bounds : mapping
        The most a nest of each number of bowls may be worth, on any axis allowed.
    owner : ndarray of int
        Which keep-out each of the points is of.
    in_hollow : tuple of str
        Defects that stay in the wood hollowed out of the last bowl.
    demand : Demand or None
        What that hollow must hold of them.
    """

    x: float
    y: float
    widest: float
    points: HalfPlanePoints
    nests: dict[int, Found]
    bounds: dict[int, float]
    owner: NDArray[np.intp]
    in_hollow: tuple[str, ...] = ()
    demand: Demand | None = None


@dataclass(frozen=True)
class Demand:
    """Corners (rho, h) of shallow defects that a last bowl's hollow must hold, each with the distance to keep.

    A defect's half width is part of that distance: a crack is no surer to end at its depth than at its sides.
    """

    rho: Real
    h: Real
    keep: Real

    def met(self, bowl: Outside) -> NDArray[np.bool_]:
        """Return which bowls' hollows hold all corners; the hollow is an arc one wall inside, and a flat floor."""
        deepest = float(np.max(self.h + self.keep, initial=-math.inf))
        return np.asarray((self._left(bowl) >= 0) & (deepest <= bowl.axis_floor))

    def slack(self, bowl: Outside) -> float:
        """Return how far the axis may be off, in mm, with a last bowl still holding all corners."""
        return max(0.0, float(np.min(self._left(bowl))))

    def _left(self, bowl: Outside) -> Real:
        """Return how far the nearest corner stays inside the arc of each bowl's hollow; NaN for bowls that are none."""
        left = np.full(np.shape(bowl.rim), np.inf)
        for rho, h, keep in zip(self.rho, self.h, self.keep, strict=True):
            across = np.maximum(np.abs(rho - bowl.centre), np.abs(bowl.centre))
            left = np.minimum(left, bowl.radius - bowl.wall - keep - np.hypot(across, h + bowl.stand_off))
        return left


def best_of_round(
    work: Workshop,
    outs: Sequence[KeepOut],
    stock: Stock,
    scale_error: float,
    keep_axis: Point | None = None,
    gap: float = 0.01,
    hollow: bool = True,
) -> RoundPlan:
    """Return the best nests of a blank or slice; none in them when no bowl fits.

    Defects through the stock limit the radius alone, so the widest clear circle's centre is the best axis. A shallow
    defect at the rim may also lie in the last bowl's hollow: each such choice that may help is tried, on the axis of
    the widest clear circle that can hold it, unless `hollow` is false. Defects seen on the far face, and a taper, make
    it a search over the face, which stops well within the gap.
    """
    thickness = float(stock.thickness or 0.0)
    far = stock.rim == "far"
    shallow = [out for out in outs if out.depth is not None]
    taper = None if stock.far_outline is None else segments_of(stock.far_outline, closed=True)
    if taper is not None or (far and shallow):
        site = round_site(outs, thickness, scale_error, far=far, taper=taper)
        rims = outs[0] if taper is None or not far else replace(outs[0], segments=taper, reach=np.zeros(len(taper)))
        edge = clear_radius([rims], scale_error)
        room = widest(edge)[3] if keep_axis is None else edge.at(*keep_axis)
        found = _by_search(work, site, keep_axis, gap * SHARE_OF_GAP)
        return replace(found, widest=min(found.widest, max(room, 0.0)))
    plan = _with_shallow(work, outs, (), thickness, scale_error, keep_axis)
    bounds = dict(plan.bounds)
    for ignored in _choices(shallow) if hollow else ():
        asked = (work, outs, ignored, thickness, scale_error, keep_axis)
        other = _with_shallow(*asked, beat=_top(work, plan), every=len(shallow) <= FEW)
        bounds = {n: max(bounds.get(n, 0.0), other.bounds.get(n, 0.0)) for n in {*bounds, *other.bounds}}
        plan = max(plan, other, key=lambda each: _top(work, each))
    return replace(plan, bounds=bounds)


def _top(work: Workshop, plan: RoundPlan) -> float:
    return max((float(work.rank(n, found.value)) for n, found in plan.nests.items()), default=-math.inf)


def _choices(shallow: list[KeepOut]) -> list[tuple[KeepOut, ...]]:
    """Return sets of shallow defects to leave to the hollow: all sets while few, else all of them and each alone."""
    if len(shallow) <= FEW:
        return [found for n in range(len(shallow), 0, -1) for found in itertools.combinations(shallow, n)]
    return [tuple(shallow), *((out,) for out in shallow[:MOST_SUBSETS])]


def _with_shallow(
    work: Workshop,
    outs: Sequence[KeepOut],
    ignored: tuple[KeepOut, ...],
    thickness: float,
    scale_error: float,
    keep_axis: Point | None,
    beat: float | None = None,
    every: bool = False,
) -> RoundPlan:
    """Return the best nests with some shallow defects left to the hollow; none where they can't rank above `beat`.

    Where every choice of such defects is tried, the hollow must hold all of these.
    """
    kept = [out for out in outs if all(out is not other for other in ignored)]
    clear = clear_radius(kept, scale_error)
    if keep_axis is None:
        x, y, radius, bound = widest(clear, short=_holding(work, ignored, thickness, scale_error) if every else None)
    else:
        (x, y), radius = keep_axis, clear.at(*keep_axis)
        bound = radius
    most = work.rules.shop.swing / 2 - work.rules.shop.trueing

    def room_at(rim: Real) -> Real:
        return np.full_like(rim, thickness)

    bounds = bound_on_axis(work, room_at, min(bound, most))
    if beat is not None and max((float(work.rank(n, value)) for n, value in bounds.items()), default=0.0) <= beat:
        return RoundPlan(
            x,
            y,
            min(radius, most),
            HalfPlanePoints(*(np.empty(0),) * 3, np.empty(0, bool)),
            {},
            {},
            np.empty(0, np.intp),
        )
    demand, names = _demand(ignored, x, y, min(radius, most), scale_error)
    may_end = demand.met(work.points.grid.bowls) if names else None
    ends = None if may_end is None else levels(work.points, work.worth, may_end)
    nests = nests_on_axis(
        work, room_at, min(radius, most), ends=ends, may_end=demand.met if names else None
    )  # fmt: skip
    all_clear = clear_radius(outs, scale_error)
    away, keep = all_clear.away_and_keep(x, y)
    edge = all_clear.owner == 0
    points = HalfPlanePoints(np.where(edge, away - keep, away), np.zeros(len(away)), np.where(edge, 0.0, keep), edge)
    standing = np.isin(all_clear.owner, [i for i, out in enumerate(outs) if out.name not in names])
    return RoundPlan(
        x,
        y,
        min(radius, most),
        _picked(points, standing),
        nests,
        bounds,
        all_clear.owner[standing],
        tuple(names),
        demand if names else None,
    )


def _holding(work: Workshop, ignored: Sequence[KeepOut], thickness: float, scale_error: float) -> Short | None:
    """Return where an axis may lie whose first bowl is wide enough to hold all of some defects within its wall.

    How far they reach and the distance to keep change no faster than 1 and twice the scale's error a mm, the clear
    radius no faster than 1.
    """
    if not ignored:
        return None
    shop = work.rules.shop

    def short(x: Real, y: Real, radius: Real) -> Real:
        need = np.zeros(len(x))
        for out in ignored:
            keep = out.margin + float(out.reach.max())
            if float(out.depth or 0.0) + keep + shop.wall_min + shop.tenon > thickness:
                return np.full(len(x), np.inf)
            ends = (np.hypot(out.segments[:, k] - x[:, None], out.segments[:, k + 1] - y[:, None]) for k in (0, 2))
            far = np.maximum(*ends).max(axis=1)
            need = np.maximum(need, far + keep + 2 * np.hypot(out.standard_error, scale_error * far))
        rim = np.minimum(radius, shop.swing / 2 - shop.trueing)
        found: Real = need - (rim - np.maximum(shop.wall_min, 2 * shop.wall_share * rim))
        return found / (2 + 2 * scale_error)

    return short


def _picked(points: HalfPlanePoints, picked: NDArray[np.bool_]) -> HalfPlanePoints:
    return HalfPlanePoints(points.rho[picked], points.h[picked], points.keep[picked], points.edge[picked])


def _demand(
    ignored: Sequence[KeepOut], x: float, y: float, radius: float, scale_error: float
) -> tuple[Demand, list[str]]:
    """Return what the hollow must hold of the defects ignored, and the names of those that reach into the nest."""
    corners, names = [], []
    for out in ignored:
        near = distances(x, y, out.segments) - out.reach
        keep = out.margin + 2 * math.hypot(out.standard_error, scale_error * float(near.min()))
        if near.min() - keep >= radius:
            continue
        ends = (
            np.hypot(out.segments[:, 2] - x, out.segments[:, 3] - y),
            np.hypot(out.segments[:, 0] - x, out.segments[:, 1] - y),
        )
        far, reach = float(np.maximum(*ends).max()), float(out.reach.max())
        keep = out.margin + 2 * math.hypot(out.standard_error, scale_error * (far + reach))
        corners.append((far, float(out.depth or 0.0), reach + keep))
        names.append(out.name)
    table = np.array(corners, float).reshape(-1, 3)
    return Demand(table[:, 0], table[:, 1], table[:, 2]), names


def _by_search(work: Workshop, site: RoundSite, keep_axis: Point | None, share: float) -> RoundPlan:
    shop = work.rules.shop
    most = shop.swing / 2 - shop.trueing
    first = first_bowl_values(work, most)
    if keep_axis is not None:
        site = replace(site, low=keep_axis, high=keep_axis)
    best = most_valuable(first, site, share)
    x, y = best.a, best.b
    nests: dict[int, Found] = {}
    for _ in range(3):
        points = site.points(x, y)
        found = _on(work, points, most)
        if not found or (nests and _rank_of(work, found) <= _rank_of(work, nests)):
            break
        nests, at = found, (x, y)
        top = found[max(found)].recipe
        near = replace(site, low=(x - NEAR, y - NEAR), high=(x + NEAR, y + NEAR)) if keep_axis is None else site
        place = clearest(turned_outside(work.rules, np.array([top.rim]), np.array([top.depth])), near)
        x, y = place.a, place.b
    if nests:
        x, y = at
    count, value = divmod(max(best.bound, 0.0), 1e6) if work.worth.objective == "bowls" else (0.0, best.bound)
    top_count = max(nests, default=0)
    bounds = {n: found.value for n, found in nests.items()}
    bounds[int(count) or top_count] = max(value, bounds.get(int(count) or top_count, 0.0))
    return RoundPlan(x, y, most, site.points(x, y), nests, bounds, site.owner)


def _on(work: Workshop, points: HalfPlanePoints, most: float) -> dict[int, Found]:
    rules = work.rules
    return nests_on_axis(work, lambda rim: room(rim, rules.foot(rim), points), most)


def _rank_of(work: Workshop, nests: dict[int, Found]) -> float:
    return max(float(work.rank(n, found.value)) for n, found in nests.items())


def bowls_kept(work: Workshop, points: HalfPlanePoints, thickness: float, widest: float, count: int) -> float:
    """Return how far the axis may be off, in mm, with as many bowls still possible."""
    rules = work.rules

    def holds_at(off: float) -> bool:
        tighter = tightened(points, off)

        def room_at(rim: Real) -> Real:
            return np.minimum(room(rim, rules.foot(rim), tighter), thickness)

        return most_bowls(work, room_at, widest) >= count

    low, high = 0.0, 64.0
    while high - low > 0.5:
        middle = (low + high) / 2
        low, high = (middle, high) if holds_at(middle) else (low, middle)
    return low


def axis_slack(points: HalfPlanePoints, first: Outside) -> float:
    """Return how far the axis may be off, in mm, with the first bowl (arrays of one) as planned."""
    return max(0.0, float(clearances(first, points).min(initial=1e3)))
