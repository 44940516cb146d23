"""Plans of blanks and slices: the best nest, others to choose from, and what a little more wood would bring."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np

from photonest.model import (
    Alternative,
    Axis,
    Nest,
    NoPlanError,
    Point,
)
from photonest.nest.asked import Answer, Question, counted, in_words, names_of, nest_of, with_room
from photonest.nest.circle import beyond, clear_radius, widest
from photonest.nest.curves import turned_outside
from photonest.nest.marking import round_marking
from photonest.nest.placing import room
from photonest.nest.refusals import why_no_bowl
from photonest.nest.rounds import RoundPlan, axis_slack, best_of_round, bowls_kept
from photonest.nest.rules import Real
from photonest.nest.runnersup import another_axis, best_choices, cutters_of, runner_up
from photonest.nest.solve import Found
from photonest.nest.wanted import Wanted, using, wanted_nest

MOST_GAINS = 3


def plan_round(question: Question, gap: float) -> Answer:
    """Return the best nest of a blank or slice."""
    stock, work = question.stock, question.work
    thickness, keep_axis = float(stock.thickness or 0.0), question.keep_axis
    found = best_of_round(work, question.outs, stock, question.scale_error, keep_axis, gap)
    if question.want:
        found = _with_wanted(question, found, gap)
    count = _count_asked(question, found)
    best = found.nests[count]
    nest = _nest(question, found, count)
    # farther off, the hollow may hold its defects no more, however many bowls there are
    kept = 0.0 if found.in_hollow else bowls_kept(work, found.points, thickness, found.widest, count)
    nest = with_room(nest, nest.may_be_off, max(kept, nest.may_be_off))
    bounds = found.bounds
    bound = bounds.get(count, best.value) if work.worth.objective == "bowls" else max(bounds.values())
    return Answer(
        (nest,),
        best.value,
        bound,
        question.bowls or max(bounds, default=count),
        _round_alternatives(question, found, nest.axis, count),
        () if question.wished or not question.others else _runners_up(question, nest, best),
        tuple(f"{name} stays in the wood hollowed out of the last bowl while it spins." for name in found.in_hollow),
        () if question.want or question.bowls or not question.others else _gains(question, found, keep_axis, best),
    )


def _nest(question: Question, found: RoundPlan, count: int) -> Nest:
    """Return the nest found of a number of bowls."""
    best, thickness = found.nests[count], float(question.stock.thickness or 0.0)
    far = question.stock.rim == "far"
    axis = Axis((found.x, found.y, thickness if far else 0.0), (0.0, 0.0, -1.0 if far else 1.0))
    first = turned_outside(question.work.rules, np.array([best.recipe.rim]), np.array([best.recipe.depth]))
    names, marking = names_of(question.outs)[found.owner], round_marking(question.face, axis, best, question.shop)
    nest = nest_of(question, axis, best.recipe, found.points, names, thickness, marking)
    slack = axis_slack(found.points, first)
    if found.demand is not None:
        slack = min(slack, found.demand.slack(best.recipe.bowls(question.work.rules)[-1]))
    return with_room(nest, slack, 0.0)


def _runners_up(question: Question, best: Nest, worth: Found) -> tuple[Alternative, ...]:
    """Return the best plan about another axis, and the best about this one with fewer cutters, where there are such."""
    x, y, _ = best.axis.point
    diameter = question.face.size.mean_diameter
    clear = clear_radius(question.outs, question.scale_error)
    elsewhere = widest(clear, 0.2, beyond(x, y, another_axis(diameter)))
    names = cutters_of([best])
    fewer = itertools.combinations(names, len(names) - 1) if len(names) > 1 else ()
    tried = [(using(question.work, few), (x, y)) for few in fewer]
    if 2 * elsewhere[2] >= question.shop.min_rim:
        tried.append((question.work, (round(elsewhere[0], 1), round(elsewhere[1], 1))))
    found = []
    for work, at in tried:
        plan = best_of_round(work, question.outs, question.stock, question.scale_error, at)
        if plan.nests:
            count = max(plan.nests, key=lambda n: float(work.rank(n, plan.nests[n].value)))
            other, value = _nest(question, plan, count), plan.nests[count].value
            found.append(runner_up(question.work, [best], worth.value, [other], value, diameter))
    return best_choices(found)


def _gains(question: Question, found: RoundPlan, keep_axis: Point | None, best: Found) -> tuple[str, ...]:
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
        told.append(
            f"Without {in_words(name)} there would be {_difference(question, other, best)}.".replace(
                "nothing", "no more"
            )
        )
    return tuple(told)


def _difference(question: Question, other: RoundPlan, best: Found) -> str:
    if not other.nests:
        return "nothing"
    count = max(other.nests, key=lambda n: float(question.work.rank(n, other.nests[n].value)))
    more = count - best.bowls
    if more and question.work.worth.objective == "bowls":
        return f"{more:+d} bowl{'s' * (abs(more) > 1)}"
    unit = {"bowls": " mm of rim diameters in all", "capacity": " ml", "value": " in price"}
    gain = other.nests[count].value - best.value
    return f"{gain:+.1f}{unit[question.work.worth.objective]}" if abs(gain) >= 0.3 else "nothing"


def _nearest_defects(question: Question, found: RoundPlan, best: Found) -> list[str]:
    """Return the names of the defects that the first bowl just clears."""
    clear = clear_radius(question.outs, question.scale_error)
    each = clear.each(found.x, found.y)
    owners = np.unique(clear.owner[(each < best.recipe.rim + 1.0) & (clear.owner > 0)])
    return [question.outs[i].name for i in owners if question.outs[i].name not in found.in_hollow]


def _with_wanted(question: Question, free: RoundPlan, gap: float) -> RoundPlan:
    """Return the plan with the nest that holds the bowls wanted alone; raise NoPlanError where none does.

    The hollow of a smaller last bowl may not hold what that of the best does: then all defects are kept clear of.
    """
    rules, thickness = question.work.rules, float(question.stock.thickness or 0.0)

    def wanted_in(plan: RoundPlan) -> Wanted:
        def room_at(rim: Real) -> Real:
            return np.minimum(room(rim, rules.foot(rim), plan.points), thickness)

        may_end = None if plan.demand is None else plan.demand.met
        return wanted_nest(question.work, room_at, plan.widest, question.want, may_end)

    found, wanted = free, wanted_in(free)
    if wanted.found is None and free.in_hollow:
        asked = (question.work, question.outs, question.stock, question.scale_error, question.keep_axis, gap)
        found = best_of_round(*asked, hollow=False)
        wanted = wanted_in(found)
    if wanted.found is None:
        told = f" Without that wish the rims are {_rims(question, free.nests)}." if free.nests else ""
        raise NoPlanError(
            wanted.stops, f"Ask for smaller bowls or fewer, or use thinner walls or another cutter.{told}"
        )
    return replace(found, nests={len(question.want): wanted.found})


def _rims(question: Question, nests: dict[int, Found]) -> str:
    """Return the rims of the best of some nests, in words."""
    best = max(nests.values(), key=lambda nest: float(question.work.rank(nest.bowls, nest.value)))
    rims = ", ".join(f"{2 * float(bowl.rim):.0f}" for bowl in best.recipe.bowls(question.work.rules))
    return f"{rims} mm across"


def _count_asked(question: Question, found: RoundPlan) -> int:
    """Return the number of bowls to plan; raise NoPlanError where none, or not so many, fit."""
    work, nests = question.work, found.nests
    if not nests:
        raise NoPlanError(*why_no_bowl(question, found.widest, float(question.stock.thickness or 0.0)))
    if question.bowls is not None:
        if question.bowls not in nests:
            raise NoPlanError(
                f"{counted(question.bowls)} don't fit: the most found is {max(nests)}, {_rims(question, nests)}.",
                "Ask for fewer, lower min_rim or min_depth, or use thinner walls or another cutter.",
            )
        return question.bowls
    return max(nests, key=lambda n: float(work.rank(n, nests[n].value)))


def _round_alternatives(question: Question, found: RoundPlan, axis: Axis, chosen: int) -> tuple[Alternative, ...]:
    """Return the best plan of every other number of bowls, on the same axis."""
    rules, others = question.work.rules, []
    for count in sorted(found.nests, reverse=True):
        if count != chosen:
            rims = tuple(round(2 * float(bowl.rim), 1) for bowl in found.nests[count].recipe.bowls(rules))
            others.append(Alternative(count, rims, (axis,), f"the best with {counted(count)}"))
    return tuple(others)
