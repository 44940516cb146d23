"""From the face, the stock and the workshop to the largest safe nest, and the proof of how near the best it is."""

from __future__ import annotations

import re
from collections.abc import Sequence

from photonest.model import (
    Bound,
    Face,
    FaceFacts,
    Objective,
    OutlineError,
    Plan,
    Point,
    Score,
    Shop,
    ShopError,
    Stock,
    StockError,
)
from photonest.nest.asked import Question, in_words
from photonest.nest.keepouts import KeepOut, distances, holds, keepouts
from photonest.nest.knots import leaning
from photonest.nest.logplans import plan_log
from photonest.nest.roundplans import plan_round
from photonest.nest.rules import WallNeed
from photonest.nest.solve import workshop

MOST_WORK = 150_000_000  # points asked of a log: some seconds

THICK = 2.0  # times the mean diameter: a slice or blank thicker than this is more likely a slip


def plan_nest(
    face: Face,
    stock: Stock,
    shop: Shop,
    *,
    objective: Objective = "bowls",
    wall_need: WallNeed | None = None,
    facts: FaceFacts | None = None,
    bowls: int | None = None,
    keep_axis: Point | None = None,
    rip: float | None = None,
    want: Sequence[float] | None = None,
    others: bool = True,
    gap_pct: float = 1.0,
    work: int = MOST_WORK,
    seconds: float = 60.0,
) -> Plan:
    """Return the largest safe nest of bowls.

    Parameters
    ----------
    face : Face
        The measured face, in mm.
    stock : Stock
        What piece of wood it belongs to.
    shop : Shop
        The workshop's figures.
    objective : {"bowls", "capacity", "value"}
        Most bowls and then the greatest sum of rim diameters; what they hold in all; or the shop's prices in all.
    wall_need : callable or None
        The wall in mm that drying asks for, from the rim radius in mm; it should not fall as the radius grows.
    facts : FaceFacts or None
        Which file the face came from, for the plan's record.
    bowls : int or None
        Plan this many bowls, not more; None for as many as are best.
    keep_axis : (x, y) or None
        Keep the axis of a blank or slice at this point of the face; let both axes of a log cross it.
    rip : float or None
        Rip a log in this direction: degrees from the photo's horizontal, counted as on paper.
    want : sequence of float or None
        Rim diameters wanted, in mm: the nest has these bowls, each at least so large; a log's nests have them together.
    others : bool
        Whether to tell of other plans too, and of what a little more wood would bring.
    gap_pct : float
        The search stops when no plan can be better by more than this.
    work : int
        The search of a log also stops after asking about so many points, and the plan says how far it got: the same on
        every machine.
    seconds : float
        It stops after this long in any case, and the plan warns.

    Raises
    ------
    OutlineError
        If the outline crosses itself.
    StockError
        If the piece as described can't be planned.
    ShopError
        If the workshop's figures leave nothing to plan with.
    NoPlanError
        If no bowl fits, or not those wanted; says what is nearest.
    """
    _see_that_it_can_be_planned(face, shop, objective)
    if unreal := [size for size in want or () if not size > 0]:
        raise StockError(f"A bowl {unreal[0]:g} mm across can't be had.", "Ask for rim diameters in mm, more than 0.")
    if rip is not None and stock.kind != "log":
        raise StockError(f"A {stock.kind} is not ripped.", "Leave out the direction of the rip.")
    values = workshop(shop, wall_need, objective)
    outs = keepouts(face, stock, shop)
    if keep_axis is not None and not holds(*keep_axis, outs[0].segments):
        x, y = keep_axis
        raise StockError(
            f"The axis at {x:g}, {y:g} lies outside the wood.", "Give a point of the face, in mm from its middle."
        )
    question = Question(face, stock, shop, values, outs, bowls, tuple(want or ()), keep_axis, rip, others)
    answer = (
        plan_log(question, gap_pct / 100, work, seconds) if stock.kind == "log" else plan_round(question, gap_pct / 100)
    )
    total = sum(bowl.rim_diameter for nest in answer.nests for bowl in nest.bowls)
    count = sum(len(nest.bowls) for nest in answer.nests)
    value = answer.value
    bound = max(answer.bound, value)
    most = answer.bowls_bound if objective == "bowls" else 0  # else more bowls need not be better
    gap = max(bound / value - 1 if value > 0 else 0.0, most / count - 1)
    return Plan(
        face=facts or FaceFacts("", ""),
        stock=stock,
        shop=shop,
        nests=answer.nests,
        score=Score(objective, count, total, value),
        bound=Bound(bound, 100 * gap, most),
        warnings=(*_warnings(face, stock, shop, outs), *answer.warnings),
        alternatives=answer.alternatives,
        runners_up=answer.runners_up,
        reasons=(*_no_more(question, count, answer.bowls_bound), *answer.reasons),
    )


def _no_more(question: Question, count: int, bound: int) -> tuple[str, ...]:
    """Return that no further bowl is to be had, where that is proven."""
    shop = question.shop
    if question.wished or bound > count or question.work.worth.objective != "bowls":
        return ()
    return (f"No further bowl at least {shop.min_rim:.0f} mm across and {shop.min_depth:.0f} mm deep is to be had.",)


def _see_that_it_can_be_planned(face: Face, shop: Shop, objective: Objective) -> None:
    import shapely

    ring = shapely.LinearRing(face.outline.wood)
    if not ring.is_simple:
        where = re.search(r"\[(\S+) (\S+)\]", shapely.is_valid_reason(shapely.Polygon(ring)))
        at = "" if where is None else f" at {float(where[1]):.0f}, {float(where[2]):.0f} mm from the middle of the face"
        raise OutlineError(
            f"The outline crosses itself{at}.",
            "Measure again, or draw it by hand without loops: photonest adjust --outline.",
        )
    if objective == "value" and not shop.prices:
        raise ShopError("A plan by value needs prices.", "Add [[prices]] with a diameter and a price to the shop file.")
    if all(2 * shop.foot_share * shop.swing < 0.5 * jaws.diameter.low for jaws in shop.jaws):
        least = min(jaws.diameter.low for jaws in shop.jaws)
        raise ShopError(
            f"No jaws hold any foot: the smallest grips {least:g} mm, and the largest bowl that swings has a foot of "
            f"{shop.foot_share * shop.swing:.0f} mm.",
            "Check the jaws' ranges, foot_share and swing in the shop file.",
        )


def _warnings(face: Face, stock: Stock, shop: Shop, outs: Sequence[KeepOut]) -> tuple[str, ...]:
    found = []
    if stock.kind == "slice" and face.pith is None and not stock.through_pith:
        found.append("The pith of this slice is not known: see that no bowl holds it.")
    if (stock.thickness or 0.0) > THICK * face.size.mean_diameter:
        found.append(f"A thickness of {stock.thickness:g} mm is much for a face so wide: see that it is right.")
    if stock.through_pith:
        found.append("Bowls may hold the pith, as asked: such bowls often split while they dry.")
    if face.outline.cut_by_frame:
        found.append("Part of the piece lies outside the photo: the plan uses only what is seen.")
    possible = sum(crack.status == "possible" for crack in face.cracks)
    if possible:  # the face's own words, so that they are told once where both are shown
        noun = "crack is" if possible == 1 else "cracks are"
        found.append(f"{possible} possible {noun} avoided as if real: look at the wood, and dismiss what is none.")
    for out in outs[1:]:
        x, y = out.segments[0, :2].tolist()
        if not holds(x, y, outs[0].segments) and float(distances(x, y, outs[0].segments).min()) > 5:
            name = in_words(out.name)
            found.append(f"{name[0].upper()}{name[1:]} lies outside the wood: see that it belongs to this piece.")
    found += _about_knots(face, stock)
    wide = [cutter.name for cutter in shop.cutters if cutter.kerf > shop.wall_min]
    if wide:
        found.append(f"The kerf of {', '.join(wide)} is wider than the thinnest wall: check the figure.")
    if face.place_error > 0.015:
        found.append(
            "The scale is uncertain, so the plan keeps far from every defect: a better photo gives larger bowls."
        )
    return tuple(found)


def _about_knots(face: Face, stock: Stock) -> list[str]:
    """Return what is not known of the branches below the knots on the face."""
    knots = [defect for defect in face.defects if defect.kind == "knot" and defect.status != "dismissed"]
    straight = [knot.id for knot in knots if leaning(knot, face, stock) is None]
    if not straight:
        return []
    told = "Knots are" if len(straight) == len(knots) else f"Knot {', '.join(straight)} is"
    end = " Or plan with --knots-lean." if stock.kind != "blank" and not stock.knots_lean and face.pith else ""
    return [
        f"{told} taken to run straight down from the face: a branch that leans may come into a wall below. Look for it "
        f"on the other faces.{end}"
    ]
