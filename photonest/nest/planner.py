"""From the face, the stock and the workshop to the largest safe nest, and the proof of how near the best it is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photonest.model import (
    Alternative,
    Axis,
    Bound,
    Face,
    FaceFacts,
    Nest,
    NoPlanError,
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
from photonest.nest.bowls import bowls_of, clearance_from, cuts_of
from photonest.nest.circle import clear_radius
from photonest.nest.curves import turned_outside
from photonest.nest.keepouts import KeepOut, distances, holds, keepouts
from photonest.nest.logs import HalfNest, Log
from photonest.nest.logsearch import best_of_log
from photonest.nest.logsite import Split, log_site, marks
from photonest.nest.marking import log_marking, round_marking
from photonest.nest.placing import HalfPlanePoints, room
from photonest.nest.reasons import binding
from photonest.nest.refine import Recipe
from photonest.nest.rounds import RoundPlan, axis_slack, best_of_round, bowls_kept
from photonest.nest.rules import Real, WallNeed
from photonest.nest.solve import PER_BOWL, Found, Workshop, workshop
from photonest.nest.wanted import wanted_nest

MOST_GAINS = 3
MOST_WORK = 150_000_000  # points asked of a log: some seconds


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
    want: Sequence[float] | None = None,
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
        Keep the axis of a blank or slice at this point of the face.
    want : sequence of float or None
        Rim diameters wanted of a blank or slice, in mm: the nest has these bowls, each at least so large.
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
    values = workshop(shop, wall_need, objective)
    outs = keepouts(face, stock, shop)
    question = _Question(face, stock, shop, values, outs, bowls, tuple(want or ()))
    if stock.kind == "log":
        if keep_axis is not None or want or bowls is not None:
            raise StockError(
                "An axis, sizes or a number of bowls can't be asked of a log.",
                "Ask it of each blank sawn from the log.",
            )
        answer = _plan_log(question, gap_pct / 100, work, seconds)
    else:
        answer = _plan_round(question, keep_axis)
    total = sum(bowl.rim_diameter for nest in answer.nests for bowl in nest.bowls)
    value = answer.value
    bound = max(answer.bound, value)
    return Plan(
        face=facts or FaceFacts("", ""),
        stock=stock,
        shop=shop,
        nests=answer.nests,
        score=Score(objective, sum(len(nest.bowls) for nest in answer.nests), total, value),
        bound=Bound(bound, 100 * (bound / value - 1) if value > 0 else 0.0, answer.bowls_bound),
        warnings=(*_warnings(face, stock, shop, outs), *answer.warnings),
        alternatives=answer.alternatives,
        reasons=answer.reasons,
    )


@dataclass(frozen=True)
class _Question:
    face: Face
    stock: Stock
    shop: Shop
    work: Workshop
    outs: tuple[KeepOut, ...]
    bowls: int | None
    want: tuple[float, ...]

    @property
    def scale_error(self) -> float:
        return self.face.scale.standard_error_pct / 100


@dataclass(frozen=True)
class _Answer:
    nests: tuple[Nest, ...]
    value: float
    bound: float
    bowls_bound: int
    alternatives: tuple[Alternative, ...] = ()
    warnings: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()


def _see_that_it_can_be_planned(face: Face, shop: Shop, objective: Objective) -> None:
    import shapely

    ring = shapely.LinearRing(face.outline.wood)
    if not ring.is_simple:
        reason = shapely.is_valid_reason(shapely.Polygon(ring))
        raise OutlineError(
            f"The outline crosses itself: {reason}.", "Measure again, or draw the outline by hand without loops."
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


def _plan_round(question: _Question, keep_axis: Point | None) -> _Answer:
    stock, shop, work = question.stock, question.shop, question.work
    thickness = float(stock.thickness or 0.0)
    if keep_axis is not None and not holds(*keep_axis, question.outs[0].segments):
        raise StockError(f"The axis {keep_axis} lies outside the wood.", "Give a point of the face, in mm.")
    found = best_of_round(work, question.outs, stock, question.scale_error, keep_axis)
    limit = math.inf if shop.screws is None else thickness - shop.screws - shop.clearance
    if question.want:
        found = _with_wanted(question, found, thickness, limit)
    count = _count_asked(question, found)
    best = found.nests[count]
    far = stock.rim == "far"
    axis = Axis((found.x, found.y, thickness if far else 0.0), (0.0, 0.0, -1.0 if far else 1.0))
    first = turned_outside(work.rules, np.array([best.recipe.rim]), np.array([best.recipe.depth]))
    names, marking = _names(question.outs)[found.owner], round_marking(question.face, axis, best)
    nest = _nest(question, axis, best.recipe, found.points, names, limit, thickness, marking)
    nest = _with_room(nest, axis_slack(found.points, first), 0.0)
    kept = bowls_kept(work, found.points, thickness, found.widest, count, limit)
    nest = _with_room(nest, nest.may_be_off, max(kept, nest.may_be_off))
    bounds = found.bounds
    bound = bounds.get(count, best.value) if work.worth.objective == "bowls" else max(bounds.values())
    return _Answer(
        (nest,),
        best.value,
        bound,
        question.bowls or max(bounds, default=count),
        _round_alternatives(question, found, axis, count),
        tuple(f"{name} stays in the wood hollowed out of the last bowl while it spins." for name in found.in_hollow),
        () if question.want or question.bowls else _gains(question, found, keep_axis, best),
    )


def _gains(question: _Question, found: RoundPlan, keep_axis: Point | None, best: Found) -> tuple[str, ...]:
    """Return what a millimetre more of thickness, or the nearest defect less, would bring."""
    stock, told = question.stock, []
    if stock.far_outline is not None or (stock.rim == "far" and any(out.depth is not None for out in question.outs)):
        return ()  # a search over the face for each answer would take too long
    thicker = replace(stock, thickness=float(stock.thickness or 0.0) + 1.0)
    more = best_of_round(question.work, question.outs, thicker, question.scale_error, keep_axis)
    told.append(f"One millimetre more of thickness would bring {_difference(question, more, best)}.")
    binding = _nearest_defects(question, found, best)
    for name in binding[:MOST_GAINS]:
        without = [out for out in question.outs if out.name != name]
        other = best_of_round(question.work, without, stock, question.scale_error, keep_axis)
        told.append(f"Without {name} there would be {_difference(question, other, best)}.")
    return tuple(told)


def _difference(question: _Question, other: RoundPlan, best: Found) -> str:
    if not other.nests:
        return "nothing"
    count = max(other.nests, key=lambda n: float(question.work.rank(n, other.nests[n].value)))
    more = count - best.bowls
    if more and question.work.worth.objective == "bowls":
        return f"{more:+d} bowl{'s' * (abs(more) > 1)}"
    unit = {"bowls": " mm of rim diameters in all", "capacity": " ml", "value": " in price"}
    gain = other.nests[count].value - best.value
    return f"{gain:+.1f}{unit[question.work.worth.objective]}" if abs(gain) >= 0.3 else "nothing"


def _nearest_defects(question: _Question, found: RoundPlan, best: Found) -> list[str]:
    """Return the names of the defects that the first bowl just clears."""
    clear = clear_radius(question.outs, question.scale_error)
    each = clear.each(found.x, found.y)
    owners = np.unique(clear.owner[(each < best.recipe.rim + 1.0) & (clear.owner > 0)])
    return [question.outs[i].name for i in owners if question.outs[i].name not in found.in_hollow]


def _with_wanted(question: _Question, found: RoundPlan, thickness: float, limit: float) -> RoundPlan:
    """Return the plan with the nest that holds the bowls wanted alone; raise NoPlanError where none does."""
    rules = question.work.rules

    def room_at(rim: Real) -> Real:
        return np.minimum(room(rim, rules.foot(rim), found.points), thickness)

    wanted = wanted_nest(question.work, room_at, found.widest, limit, question.want)
    if wanted.found is None:
        raise NoPlanError(wanted.stops, "Ask for smaller bowls or fewer, thinner walls, or use another cutter.")
    return replace(found, nests={len(question.want): wanted.found})


def _count_asked(question: _Question, found: RoundPlan) -> int:
    """Return the number of bowls to plan; raise NoPlanError where none, or not so many, fit."""
    work, nests = question.work, found.nests
    if not nests:
        raise NoPlanError(*_why_no_bowl(question, found.widest, float(question.stock.thickness or 0.0)))
    if question.bowls is not None:
        if question.bowls not in nests:
            raise NoPlanError(
                f"{question.bowls} bowls don't fit: the most on this axis is {max(nests)}.",
                "Ask for fewer, lower min_rim or min_depth, or use thinner walls or another cutter.",
            )
        return question.bowls
    return max(nests, key=lambda n: float(work.rank(n, nests[n].value)))


def _round_alternatives(question: _Question, found: RoundPlan, axis: Axis, chosen: int) -> tuple[Alternative, ...]:
    """Return the best plan of every other number of bowls, on the same axis."""
    rules, others = question.work.rules, []
    for count in sorted(found.nests, reverse=True):
        if count != chosen:
            rims = tuple(round(2 * float(bowl.rim), 1) for bowl in found.nests[count].recipe.bowls(rules))
            others.append(Alternative(count, rims, (axis,), f"the best with {count} bowl{'s' * (count > 1)}"))
    return tuple(others)


def _plan_log(question: _Question, gap: float, work: int, seconds: float) -> _Answer:
    log = _log(question)
    found = best_of_log(log, gap, work, seconds)
    if not found.halves:
        if found.bound > 0:
            raise NoPlanError("The search stopped before it found a bowl in this log.", "Give it more time.")
        raise NoPlanError(*_why_no_bowl(question, max(log.widest), float(question.stock.length or 0.0)))
    nests, value, warnings = [], 0.0, []
    for half in found.halves:
        nests.append(_half(question, log, half, found.halves))
        value += half.found.value
    count = sum(half.found.bowls for half in found.halves)
    if len(found.halves) == 1:
        warnings.append("Only one half of the log gives a bowl.")
    per_count = question.work.worth.objective == "bowls"
    top, worth = divmod(found.bound, PER_BOWL) if per_count else (count, found.bound)
    bound = worth if int(top) == count else value
    if int(top) > count:
        warnings.append(f"The search stopped before it could rule out {int(top)} bowls.")
    if found.stopped == "clock":
        warnings.append("The search was stopped by the clock: on another machine it may end with another plan.")
    return _Answer(tuple(nests), value, bound, int(top), (), tuple(warnings))


def _log(question: _Question) -> Log:
    face, stock, shop = question.face, question.stock, question.shop
    if face.pith is None and not stock.through_pith:
        raise StockError(
            "The pith of this log is not known, and the log is ripped beside it.",
            "Mark the pith by hand, or allow bowls through the pith.",
        )
    length = float(stock.length or 0.0)
    checked = stock.check_depth or 0.0
    far = stock.far_check_depth if stock.far_check_depth is not None else checked
    keep = shop.clearance if far > 0 else shop.trueing
    known = [out.depth for out in question.outs if out.depth is not None]
    beyond = max([*known, checked]) + shop.clearance
    most = shop.swing / 2 - shop.trueing
    zs = {length / 2} | ({(beyond + length - far - keep) / 2} if known and beyond < length - far - keep else set())
    places = sorted(z for z in zs if min(z - shop.trueing, length - far - keep - z) > 0)
    if not places:
        raise NoPlanError(
            f"No bowl fits: end checks {far:g} mm deep leave nothing clear in {length:g} mm of log.",
            "Use a longer log.",
        )
    widest = tuple(min(z - shop.trueing, length - far - keep - z, most) for z in places)
    centre = np.asarray(face.outline.wood).mean(axis=0)
    if stock.through_pith or face.pith is None:
        split = Split(None if face.pith is None else face.pith.point, shop.saw_kerf / 2, stock.rim_towards == "pith")
    else:
        slab = shop.pith_slab + 2 * face.pith.standard_error
        split = Split(face.pith.point, max(slab, shop.saw_kerf / 2), stock.rim_towards == "pith")
    found = marks(_with_far_outline(question))
    return Log(question.work, found, centre, split, tuple(places), widest, question.scale_error)


def _with_far_outline(question: _Question) -> Sequence[KeepOut]:
    """Return the keep-outs with the edge drawn in to where both ends of the log have wood."""
    import shapely

    from photonest.nest.keepouts import segments_of

    if question.stock.far_outline is None:
        return question.outs
    both = shapely.Polygon(question.outs[0].segments[:, :2]).intersection(shapely.Polygon(question.stock.far_outline))
    if both.geom_type != "Polygon" or both.is_empty:
        raise StockError("The two ends of the log don't overlap.", "Give both outlines in the face's frame, in mm.")
    edge = question.outs[0]
    sides = segments_of(tuple(both.exterior.coords)[:-1], closed=True)
    drawn = KeepOut(edge.name, sides, np.zeros(len(sides)), edge.margin, edge.standard_error, "edge")
    return (drawn, *question.outs[1:])


def _half(question: _Question, log: Log, half: HalfNest, halves: Sequence[HalfNest]) -> Nest:
    site = log_site(log.marks, log.centre, half.angle, half.z, log.scale_error, log.split)
    into = np.array([math.cos(half.angle), math.sin(half.angle)])
    sideways = np.array([-into[1], into[0]])
    x, y = (log.centre + half.u * sideways + half.t * into).tolist()
    axis = Axis((x, y, half.z), (float(into[0]), float(into[1]), 0.0))
    points = _and_pith(question, site.points(half.u, half.t), (x, y), into)
    names = _names(question.outs)[site.marks.owner]
    names = np.append(names, ["the pith"] * (len(points.rho) - len(names)))
    recipe = half.found.recipe
    widest = log.widest[log.zs.index(half.z)]
    marking = log_marking(question.face, axis, recipe, question.shop)
    nest = _nest(question, axis, recipe, points, names, math.inf, math.inf, marking)
    along = min(widest - recipe.rim, half.slack)
    kept = bowls_kept(question.work, points, math.inf, widest, half.found.bowls, math.inf)
    return _with_room(nest, max(0.0, along), max(0.0, along, kept))


def _and_pith(question: _Question, points: HalfPlanePoints, at: Point, into: np.ndarray) -> HalfPlanePoints:
    """Return the points and the pith, which the rip has kept at its distance already."""
    pith = question.face.pith
    if pith is None or question.stock.through_pith:
        return points
    offset = np.asarray(pith.point) - np.asarray(at)
    h = float(offset @ into)
    more = ([math.hypot(*offset)], [h], [question.shop.clearance + 2 * pith.standard_error], [False])
    rho = math.sqrt(max(more[0][0] ** 2 - h**2, 0.0))
    extra = ([rho], *more[1:])
    return HalfPlanePoints(*(np.concatenate([field, new]) for field, new in zip(points, extra, strict=True)))


def _names(outs: Sequence[KeepOut]) -> NDArray[np.str_]:
    """Return the keep-outs' names as they stand in a sentence."""
    return np.array([out.name if " " in out.name and out.kind != "edge" else f"the {out.name}" for out in outs])


def _nest(
    question: _Question,
    axis: Axis,
    recipe: Recipe,
    points: HalfPlanePoints,
    owners: NDArray[np.str_],
    limit: float,
    thickness: float,
    marking: tuple[str, ...],
) -> Nest:
    rules = question.work.rules
    names = binding(rules, recipe, points, owners, limit, thickness)
    return Nest(
        axis,
        bowls_of(rules, recipe, clearance_from(points, question.shop.clearance), limit, names),
        cuts_of(rules, recipe),
        saw_diameter=2 * (recipe.rim + question.shop.trueing),
        marking=marking,
    )


def _with_room(nest: Nest, may_be_off: float, kept: float) -> Nest:
    return replace(nest, may_be_off=may_be_off, bowls_kept_off=kept)


def _why_no_bowl(question: _Question, radius: float, along: float) -> tuple[str, str]:
    shop = question.shop
    if question.stock.kind == "log":
        return (
            f"No bowl fits in either half of this log: its length leaves {2 * max(radius, 0):.0f} mm across, and "
            f"beside the pith and the defects none is {shop.min_rim:.0f} mm across and {shop.min_depth:.0f} mm deep.",
            "Use a longer or thicker log, dismiss cracks that are not there, or lower min_rim or min_depth.",
        )
    if 2 * radius < shop.min_rim:
        nearest = _what_is_nearest(question)
        return (
            f"No bowl fits: the widest clear circle is {max(2 * radius, 0):.0f} mm across, and the smallest bowl worth "
            f"having is set to {shop.min_rim:.0f} mm{nearest}.",
            "Dismiss cracks that are not there, give the depth of those you probed, or lower min_rim.",
        )
    return (
        f"No bowl fits: {along:.0f} mm of thickness leaves no bowl {shop.min_depth:.0f} mm deep with a base.",
        "Use a thicker piece, or lower min_depth.",
    )


def _what_is_nearest(question: _Question) -> str:
    """Return, in words, how wide the circle would be without any one defect."""
    from photonest.nest.circle import clear_radius, widest

    outs = question.outs
    best = (0.0, "")
    for out in outs[1:30]:
        radius = widest(clear_radius([other for other in outs if other is not out], question.scale_error), 0.5)[2]
        best = max(best, (radius, out.name))
    return f"; without {best[1]} it would be {2 * best[0]:.0f} mm" if best[1] else ""


def _warnings(face: Face, stock: Stock, shop: Shop, outs: Sequence[KeepOut]) -> tuple[str, ...]:
    found = []
    if stock.kind == "slice" and face.pith is None and not stock.through_pith:
        found.append("The pith of this slice is not known: see that no bowl holds it.")
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
            found.append(f"{out.name} lies outside the wood: see that it belongs to this piece.")
    wide = [cutter.name for cutter in shop.cutters if cutter.kerf > shop.wall_min]
    if wide:
        found.append(f"The kerf of {', '.join(wide)} is wider than the thinnest wall: check the figure.")
    if face.scale.standard_error_pct > 1.5:
        found.append(
            "The scale is uncertain, so the plan keeps far from every defect: a better photo gives larger bowls."
        )
    return tuple(found)
