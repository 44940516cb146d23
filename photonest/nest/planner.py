"""From the face, the stock and the workshop to the largest safe nest, and the proof of how near the best it is."""

from __future__ import annotations

import functools
import math
from dataclasses import dataclass

import numpy as np

from photonest.model import (
    Axis,
    Bound,
    Face,
    FaceFacts,
    Nest,
    NoPlanError,
    Plan,
    Score,
    Shop,
    Stock,
    StockError,
)
from photonest.nest.bowls import bowls_of, cuts_of
from photonest.nest.chains import (
    IMPOSSIBLE,
    Chains,
    best_following,
    cell_grid,
    chains_on,
    first_columns,
    point_grid,
    values,
)
from photonest.nest.circle import ClearRadius, clear_radius, widest
from photonest.nest.curves import Outside, deepest, loosest_outside, turned_outside, worth_having
from photonest.nest.keepouts import keepouts
from photonest.nest.refine import Recipe, refined, trace
from photonest.nest.rules import Real, Rules, WallNeed

POINT_STEP = 1.0
CELL_STEP = 0.7
RADIUS_STEP = 0.5
NO_DEFECT = 1000.0


@dataclass(frozen=True)
class Tables:
    """A workshop's chains and their values: on exact cuts, and as an upper bound."""

    rules: Rules
    points: Chains
    point_values: list[Real]
    cells: Chains
    cell_values: list[Real]


@functools.lru_cache(maxsize=8)
def tables(shop: Shop, wall_need: WallNeed | None) -> Tables:
    """Return a workshop's chains; worked out once."""
    rules = Rules(shop, wall_need)
    points = chains_on(rules, point_grid(rules, POINT_STEP))
    cells = chains_on(rules, cell_grid(rules, CELL_STEP))
    return Tables(rules, points, values(points, "bowls"), cells, values(cells, "bowls"))


def plan_nest(
    face: Face,
    stock: Stock,
    shop: Shop,
    *,
    wall_need: WallNeed | None = None,
    facts: FaceFacts | None = None,
) -> Plan:
    """Return the largest safe nest of bowls: most bowls, then the greatest sum of rim diameters.

    Parameters
    ----------
    face : Face
        The measured face, in mm.
    stock : Stock
        What piece of wood it belongs to.
    shop : Shop
        The workshop's figures.
    wall_need : callable or None
        The wall in mm that drying asks for, from the rim radius in mm; it should not fall as the radius grows.
    facts : FaceFacts or None
        Which file the face came from, for the plan's record.

    Raises
    ------
    StockError
        If the piece as described can't be planned.
    ShopError
        If no cut can be made with the workshop's figures.
    NoPlanError
        If no bowl fits; says what is nearest.
    """
    if stock.kind == "log":
        raise StockError("Planning a log is not there yet.", "Plan a slice or a blank.")
    assert stock.thickness is not None
    outs = keepouts(face, stock, shop)
    clear = clear_radius(outs, face.scale.standard_error_pct / 100)
    x, y, radius, radius_bound = widest(clear)
    most = shop.swing / 2 - shop.trueing
    work = tables(shop, wall_need)
    limit = math.inf if shop.screws is None else stock.thickness - shop.screws - shop.clearance
    recipe = _best(work, min(radius, most), stock.thickness, limit)
    if recipe is None:
        raise NoPlanError(*_nearest(work.rules, radius, stock.thickness))
    count = len(recipe.cuts) + 1
    bound, bowls_bound = _bound(work, min(radius_bound, most), stock.thickness, limit, count)
    far = stock.rim == "far"
    axis = Axis((x, y, stock.thickness if far else 0.0), (0.0, 0.0, -1.0 if far else 1.0))
    away = _nearest_defect(clear, x, y)
    nest = Nest(
        axis,
        bowls_of(work.rules, recipe, lambda line: away - float(line[:, 0].max()) if away < NO_DEFECT else NO_DEFECT),
        cuts_of(work.rules, recipe),
    )
    total = sum(bowl.rim_diameter for bowl in nest.bowls)
    return Plan(
        face=facts or FaceFacts("", ""),
        stock=stock,
        shop=shop,
        nests=(nest,),
        score=Score("bowls", count, total, total),
        bound=Bound(max(bound, total), max(0.0, 100 * (bound / total - 1)), extra={"bowls": bowls_bound}),
        warnings=_warnings(face, stock),
    )


def _room(rules: Rules, thickness: float, rim: Real) -> Real:
    return np.minimum(deepest(rules, rim), thickness)


def _candidates(rules: Rules, radius: float, thickness: float, limit: float) -> tuple[Real, Outside]:
    least = rules.shop.min_rim / 2
    rims = np.append(np.arange(least, radius, RADIUS_STEP), radius) if radius >= least else np.empty(0)
    return rims, turned_outside(rules, rims, _room(rules, thickness, rims), limit)


def _best(work: Tables, radius: float, thickness: float, limit: float) -> Recipe | None:
    rules = work.rules
    rims, firsts = _candidates(rules, radius, thickness, limit)
    good = worth_having(rules, firsts)
    if not good.any():
        return None
    follows = first_columns(work.points.grid, firsts)
    for cores in range(len(work.point_values), -1, -1):
        total = np.where(good, 2 * rims, IMPOSSIBLE)
        if cores:
            total = total + best_following(work.points.grid, follows, work.point_values[cores - 1])[0]
        for place in np.argsort(-total)[:3]:
            if total[place] <= 0:
                continue
            cuts = trace(work.points, work.point_values[:cores], firsts.at([place]))
            found = refined(
                rules,
                Recipe(radius, 0.0, cuts),
                lambda rim: _room(rules, thickness, rim),
                lambda bowls: np.sum([2 * bowl.rim for bowl in bowls], axis=0),
            )
            if found is not None:
                return found
    return None


def _bound(work: Tables, radius: float, thickness: float, limit: float, count: int) -> tuple[float, int]:
    rules = work.rules
    rims, _ = _candidates(rules, radius, thickness, limit)
    tops = np.minimum(rims + RADIUS_STEP, radius)
    firsts = loosest_outside(rules, rims, tops, np.full(len(rims), thickness), limit)
    follows = first_columns(work.cells.grid, firsts, np.zeros(len(rims)))
    best = [float(2 * radius)]
    best += [float((2 * tops + best_following(work.cells.grid, follows, level)[0]).max()) for level in work.cell_values]
    possible = [n for n, value in enumerate(best, 1) if value > 0]
    return best[count - 1], max(possible)


def _nearest_defect(clear: ClearRadius, x: float, y: float) -> float:
    defects = clear.owner > 0
    if not defects.any():
        return NO_DEFECT
    return float((clear.each(x, y) + clear.margin)[defects].min())


def _nearest(rules: Rules, radius: float, thickness: float) -> tuple[str, str]:
    shop = rules.shop
    if 2 * radius < shop.min_rim:
        return (
            f"No bowl fits: the widest clear circle is {max(2 * radius, 0):.0f} mm across, and the smallest bowl worth "
            f"having is set to {shop.min_rim:.0f} mm.",
            "Dismiss cracks that are not there, give the depth of those you probed, or lower min_rim.",
        )
    return (
        f"No bowl fits: {thickness:.0f} mm of thickness leaves no bowl {shop.min_depth:.0f} mm deep with a base.",
        "Use a thicker piece, or lower min_depth.",
    )


def _warnings(face: Face, stock: Stock) -> tuple[str, ...]:
    found = []
    if stock.kind == "slice" and face.pith is None and not stock.through_pith:
        found.append("The pith of this slice is not known: see that no bowl holds it.")
    if face.outline.cut_by_frame:
        found.append("Part of the piece lies outside the photo: the plan uses only what is seen.")
    return tuple(found)
