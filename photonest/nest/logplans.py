"""Plans of logs: the best pair of nests, one either side of the rip."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from photonest.model import (
    Alternative,
    Axis,
    Nest,
    NoPlanError,
    Point,
    StockError,
)
from photonest.nest.asked import Answer, Question, counted, names_of, nest_of, with_room
from photonest.nest.keepouts import KeepOut
from photonest.nest.logs import HalfNest, Log, nest_at, room_on_axis
from photonest.nest.logsearch import LogPlan, best_of_log
from photonest.nest.logsite import Split, gathered, log_site, marks
from photonest.nest.logwishes import best_shared, fits, in_numbers, in_sizes, largest_beside
from photonest.nest.marking import log_marking
from photonest.nest.placing import HalfPlanePoints
from photonest.nest.reasons import NEAR
from photonest.nest.refusals import why_no_bowl
from photonest.nest.rounds import bowls_kept
from photonest.nest.runnersup import RIP_TURN, best_choices, cutters_of, runner_up
from photonest.nest.solve import PER_BOWL, Found, nests_on_axis
from photonest.nest.wanted import using

COARSE_GAP = 0.05  # for what is told beside a wish that can't be met
RUNNER_UP_SHARE = 10  # of the work, one part in so many goes into another rip


def plan_log(question: Question, gap: float, work: int, seconds: float) -> Answer:
    """Return the best nests of a log, of those asked for."""
    log = _log(question)
    found = _best(question, log, gap, work, seconds)
    if not found.halves:
        if found.bound > 0:
            raise NoPlanError("The search stopped before it found a bowl in this log.", "Give it more time.")
        raise NoPlanError(*why_no_bowl(question, max(log.widest), float(question.stock.length or 0.0)))
    nests, value, warnings, asked_for = [], 0.0, [], bool(question.want or question.bowls)
    for half in found.halves:
        nests.append(_half(question, log, half, found.halves))
        value += half.found.value
    count = sum(half.found.bowls for half in found.halves)
    if len(found.halves) == 1 and not asked_for:
        warnings.append("Only one half of the log gives a bowl.")
    per_count = question.work.worth.objective == "bowls"
    top, worth = divmod(found.bound, PER_BOWL) if per_count else (count, found.bound)
    bound = worth if int(top) == count else value
    if int(top) > count:
        warnings.append(f"The search stopped before it could rule out {int(top)} bowls.")
    if found.stopped == "clock":
        warnings.append("The search was stopped by the clock: on another machine it may end with another plan.")
    answer = Answer(tuple(nests), value, bound, int(top), warnings=tuple(warnings))
    if not question.others:
        return answer
    return replace(
        answer,
        alternatives=_alternatives(question, log, found.halves, tuple(nest.axis for nest in nests)),
        runners_up=() if question.wished else _runners_up(question, log, found.halves, nests, work, seconds),
        reasons=() if asked_for else _gains(question, log, found.halves, nests),
    )


def _runners_up(
    question: Question, log: Log, halves: Sequence[HalfNest], nests: Sequence[Nest], work: int, seconds: float
) -> tuple[Alternative, ...]:
    """Return the best plan found with another rip, and the best on these axes with fewer cutters."""
    middle, turn = halves[0].angle % math.pi + math.pi / 2, math.radians(RIP_TURN) * 1.01
    others = replace(log, rips=((middle, math.pi / 2 - turn),))
    tried = [best_of_log(others, COARSE_GAP, work // RUNNER_UP_SHARE, seconds).halves]
    names = cutters_of(nests)
    for few in itertools.combinations(names, len(names) - 1) if len(names) > 1 else ():
        fewer = replace(log, work=using(log.work, few))
        cut = (nest_at(fewer, half.angle, half.u, half.t, half.z, 2, half.side) for half in halves)
        tried.append(tuple(half for half in cut if half is not None))
    found = []
    for other in filter(None, tried):
        their = [_half(question, log, half, other) for half in other]
        value = sum(half.found.value for half in halves)
        worth = sum(half.found.value for half in other)
        found.append(runner_up(log.work, nests, value, their, worth, question.face.size.mean_diameter))
    return best_choices(found)


def _best(question: Question, log: Log, gap: float, work: int, seconds: float) -> LogPlan:
    """Return the best nests of those asked for; raise NoPlanError, with what is nearest, where none is."""
    count = len(question.want) or question.bowls
    if not count:
        return best_of_log(log, gap, work, seconds)
    shares = in_sizes(log, question.want) if question.want else in_numbers(log, count)
    found = best_shared(log, shares, count, gap, work // 2, seconds)
    if found.halves:
        return found
    free = best_of_log(log, COARSE_GAP, work // 3, seconds)
    if not free.halves:
        return free
    settled = "don't fit" if not found.stopped else "were not found to fit in as much work as was allowed"
    nearest = _rims_of(log, free.halves)
    if question.want:
        why = _what_stops(question, log, work // 6, seconds)
        raise NoPlanError(why, f"Ask for smaller or fewer bowls. Without that wish the log gives {nearest}.")
    most = sum(half.found.bowls for half in free.halves)
    raise NoPlanError(
        f"{counted(count)} {settled} in this log: the most found is {most}, {nearest}.",
        "Ask for fewer, lower min_rim or min_depth, or use thinner walls or another cutter.",
    )


def _what_stops(question: Question, log: Log, work: int, seconds: float) -> str:
    """Return which of the sizes wanted does not fit, and what does in its place."""
    sizes = sorted(question.want, reverse=True)
    for place, size in enumerate(sizes):
        tried = fits(log, sizes[: place + 1], work, seconds)
        if tried.halves:
            continue
        kept = ", ".join(f"{each:.0f}" for each in sizes[:place])
        largest = largest_beside(log, sizes[:place], work, seconds)
        beside = f"beside {kept} mm " if kept else ""
        reach = f"the largest found {beside}is {largest:.0f} mm" if largest else f"nothing was found {beside}".strip()
        settled = "was not found to fit" if tried.stopped else "does not fit"
        return f"A bowl {size:.0f} mm across {settled} {beside}in this log: {reach}."
    return "These sizes were not found to fit together in as much work as was allowed."


def _rims_of(log: Log, halves: Sequence[HalfNest]) -> str:
    """Return the rims of nests in words, the halves set apart."""
    parts = []
    for half in halves:
        rims = ", ".join(f"{2 * float(bowl.rim):.0f}" for bowl in half.found.recipe.bowls(log.work.rules))
        parts.append(f"{rims} mm")
    return " in one half and ".join(parts) + (" in the other" if len(parts) > 1 else " in one half")


def _alternatives(
    question: Question, log: Log, halves: Sequence[HalfNest], axes: tuple[Axis, ...]
) -> tuple[Alternative, ...]:
    """Return the best plan of every smaller number of bowls on the same axes."""
    choices: list[dict[int, Found]] = []
    for half in halves:
        room = room_on_axis(log.work.rules, log.site(half.angle, half.z), half.u, half.t)
        choices.append(nests_on_axis(log.work, room, log.widest[log.zs.index(half.z)], starts=1))
    best: dict[int, tuple[float, tuple[int, ...]]] = {}
    for counts in itertools.product(*((0, *each) for each in choices)):
        value = sum(each[n].value for each, n in zip(choices, counts, strict=True) if n)
        best[sum(counts)] = max(best.get(sum(counts), (0.0, ())), (value, counts))
    found = []
    for number in range(sum(half.found.bowls for half in halves) - 1, 0, -1):
        counts = best[number][1] if number in best else ()
        picked = [(axis, each[n]) for axis, each, n in zip(axes, choices, counts, strict=False) if n]
        rims = (float(bowl.rim) for _, nest in picked for bowl in nest.recipe.bowls(log.work.rules))
        told = tuple(round(2 * rim, 1) for rim in rims)
        if told:
            found.append(
                Alternative(
                    number, told, tuple(axis for axis, _ in picked), f"the best {counted(number)} on these axes"
                )
            )
    return tuple(found)


def _gains(question: Question, log: Log, halves: Sequence[HalfNest], nests: Sequence[Nest]) -> tuple[str, ...]:
    """Return what more length, or a defect less, would bring at least: on the axes as they are."""
    told = []
    for half, nest in zip(halves, nests, strict=True):
        bowl, where = nest.bowls[0], f"the blank with the {2 * half.found.recipe.rim:.0f} mm bowl"
        if any("length" in word for word in bowl.binds):
            longer = replace(log, widest=tuple(wide + 0.5 for wide in log.widest))
            told.append(f"One millimetre more of length would bring {where} {_more(longer, half)}.")
        for place, name in enumerate(names_of(question.outs).tolist()):
            if place and name in bowl.binds:
                without = replace(log, marks=log.marks.without(place))
                told.append(f"Without {name} {where} would have {_more(without, half)}.")
    return tuple(dict.fromkeys(told))


def _more(log: Log, half: HalfNest) -> str:
    """Return what a changed log gives more on an axis, in words."""
    other = nest_at(log, half.angle, half.u, half.t, half.z, 2, half.side)
    if other is None:
        return "nothing more"
    bowls = other.found.bowls - half.found.bowls
    gain = other.found.value - half.found.value
    if log.work.worth.objective == "bowls" and bowls > 0:
        return f"{counted(bowls)} more, on this axis"
    unit = {"bowls": "mm of rim diameters", "capacity": "ml", "value": "in price"}[log.work.worth.objective]
    return f"{gain:.1f} {unit} more, on this axis" if gain >= 0.3 else "nothing more, on this axis"


def _log(question: Question) -> Log:
    face, stock, shop = question.face, question.stock, question.shop
    if face.pith is None and not stock.through_pith:
        raise StockError(
            "The pith of this log is not known, and the log is ripped beside it.",
            "Mark it with photonest adjust --pith X,Y, or let bowls hold the pith with --through-pith.",
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
            f"No bowl fits: end checks {checked:g} mm deep at one end and {far:g} mm at the other leave nothing clear "
            f"in {length:g} mm of log.",
            "Use a longer log; or tell how deep the far end is checked with --far-check-depth, where it is less.",
        )
    widest = tuple(min(z - shop.trueing, length - far - keep - z, most) for z in places)
    kept = question.keep_axis
    centre = np.asarray(face.outline.wood).mean(axis=0) if kept is None else np.asarray(kept)
    if stock.through_pith or face.pith is None:
        split = Split(None if face.pith is None else face.pith.point, shop.saw_kerf / 2, stock.rim_towards == "pith")
    else:
        slab = shop.pith_slab + 2 * face.pith.standard_error
        split = Split(face.pith.point, max(slab, shop.saw_kerf / 2), stock.rim_towards == "pith")
    found = gathered(marks(_with_far_outline(question)), question.scale_error)
    log = Log(question.work, found, centre, split, tuple(places), widest, question.scale_error)
    rips = log.rips if question.rip is None else ((math.radians(90 - question.rip) % math.pi, 0.0),)
    return replace(log, rips=rips, through_centre=kept is not None)


def _with_far_outline(question: Question) -> Sequence[KeepOut]:
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


def _half(question: Question, log: Log, half: HalfNest, halves: Sequence[HalfNest]) -> Nest:
    site = log_site(log.marks, log.centre, half.angle, half.z, log.scale_error, log.split)
    into = np.array([math.cos(half.angle), math.sin(half.angle)])
    sideways = np.array([-into[1], into[0]])
    x, y = (log.centre + half.u * sideways + half.t * into).tolist()
    axis = Axis((x, y, half.z), (float(into[0]), float(into[1]), 0.0))
    points = _and_pith(question, site.points(half.u, half.t), (x, y), into)
    names = names_of(question.outs)[site.marks.owner]
    names = np.append(names, ["the pith"] * (len(points.rho) - len(names)))
    recipe = half.found.recipe
    widest = log.widest[log.zs.index(half.z)]
    marking = log_marking(question.face, question.stock, axis, recipe, question.shop)
    nest = nest_of(question, axis, recipe, points, names, math.inf, marking)
    if recipe.rim > widest - NEAR and widest < question.shop.swing / 2 - question.shop.trueing:
        first = replace(nest.bowls[0], binds=(*nest.bowls[0].binds, "the length of the log"))
        nest = replace(nest, bowls=(first, *nest.bowls[1:]))
    along = min(widest - recipe.rim, half.slack)
    kept = bowls_kept(question.work, points, math.inf, widest, half.found.bowls)
    return with_room(nest, max(0.0, along), max(0.0, along, kept))


def _and_pith(question: Question, points: HalfPlanePoints, at: Point, into: np.ndarray) -> HalfPlanePoints:
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
