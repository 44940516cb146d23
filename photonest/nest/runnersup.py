"""Other plans that differ from the best by more than a detail: what each loses, and why one might prefer it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from photonest.model import Alternative, Nest, Objective
from photonest.nest.asked import counted
from photonest.nest.bowls import NO_DEFECT
from photonest.nest.marking import angle_on_paper
from photonest.nest.solve import Workshop

AXIS_SHARE = 0.15  # of the mean diameter: an axis that lies farther off than this is another axis
RIP_TURN = 20.0  # degrees: a rip turned by more than this is another rip
SIZE_SHARE = 0.08  # of its rim: a bowl that differs by more than this is of another size
CLEARER, FREER = 2.0, 1.5  # mm more of clearance, and of freedom in marking the axis, that one might want
WIDER = 8.0  # mm
OTHER_SIZES = "other sizes"


def what_differs(best: Sequence[Nest], other: Sequence[Nest], diameter: float) -> str:
    """Return in a few words what sets two plans of one piece apart; empty where it is no more than a detail.

    Plans differ where a log is ripped another way, where an axis has no other within a share of the mean diameter, or
    where they hold other bowls: more or fewer, or one of another size. `diameter` is the mean diameter of the piece, in
    mm.
    """
    turn = rip_turn(best, other)
    if turn > RIP_TURN:
        return f"ripped {turn:.0f} degrees from there"
    far = max((away for nest in other if math.isfinite(away := min(_apart(nest, each) for each in best))), default=0.0)
    if far > AXIS_SHARE * diameter:
        return f"an axis {far:.0f} mm from there"
    one, two = _rims(best), _rims(other)
    if len(one) != len(two) or any(abs(a - b) > SIZE_SHARE * max(a, b) for a, b in zip(one, two, strict=True)):
        return OTHER_SIZES
    return ""


def rip_turn(best: Sequence[Nest], other: Sequence[Nest]) -> float:
    """Return by how many degrees, 0 to 90, the rips of two plans of a log are turned; 0 for other stock."""
    angles = [math.degrees(math.atan2(*nests[0].axis.direction[1::-1])) for nests in (best, other)]
    if max(abs(nests[0].axis.direction[2]) for nests in (best, other)) > 0.5:
        return 0.0
    turn = abs(angles[0] - angles[1]) % 180
    return min(turn, 180 - turn)


def rip_of(nest: Nest) -> float:
    """Return the direction of a log's rip in degrees, 0 to 180, from the photo's horizontal as on paper.

    >>> from photonest.model import Axis
    >>> rip_of(Nest(Axis((0, 0, 9), (0.0, 1.0, 0.0)), (None,), ()))
    0.0
    """
    x, y, _ = nest.axis.direction
    return angle_on_paper(np.array([-y, x]))


def why_prefer(best: Sequence[Nest], other: Sequence[Nest]) -> tuple[str, ...]:
    """Return what speaks for the other plan, in plain words; empty where nothing does."""
    told = [*_tools(best, other), *_clear_of(best, other)]
    free, freer = (min(nest.may_be_off for nest in nests) for nests in (best, other))
    if freer >= free + FREER:
        told.append(f"the axis may lie {freer:.0f} mm off instead of {free:.0f}")
    one, two = _rims(best), _rims(other)
    if two[0] >= one[0] + WIDER:
        told.append(f"its largest bowl is {two[0] - one[0]:.0f} mm wider")
    if two[-1] >= one[-1] + WIDER and len(one) == len(two):
        told.append(f"its smallest bowl is {two[-1] - one[-1]:.0f} mm wider")
    return tuple(told)


def _tools(best: Sequence[Nest], other: Sequence[Nest]) -> list[str]:
    many, few = (len(cutters_of(nests)) for nests in (best, other))
    if not 0 < few < many:
        return []
    return [f"{'one cutter does' if few == 1 else f'{few} cutters do'} all its cuts, instead of {many}"]


def _clear_of(best: Sequence[Nest], other: Sequence[Nest]) -> list[str]:
    """Return by how much more it keeps clear of defects, or which of them no longer bind."""
    near, far = (min(bowl.clearance for nest in nests for bowl in nest.bowls) for nests in (best, other))
    if far >= NO_DEFECT > near:
        return ["no defect comes near it"]
    if far >= near + CLEARER:
        return [f"it keeps {far - near:.0f} mm more from the nearest defect"]
    bound = [name for name in _defects(best) if name not in _defects(other)]
    return [f"{' and '.join(bound[:2])} {'does' if len(bound) == 1 else 'do'} not come as near"] if bound else []


def _defects(nests: Sequence[Nest]) -> list[str]:
    found = (name for nest in nests for name in nest.bowls[0].binds)
    kinds = ("crack", "knot", "hole", "bark ", "decay", "pith")
    return list(dict.fromkeys(name for name in found if any(f"the {kind}" in name for kind in kinds)))


def cutters_of(nests: Sequence[Nest]) -> tuple[str, ...]:
    """Return the cutters that nests are cut with, each once, in order."""
    return tuple(dict.fromkeys(cut.cutter for nest in nests for cut in nest.cuts))


def what_it_loses(objective: Objective, value: float, bowls: int, other_value: float, other_bowls: int) -> str:
    """Return what a plan is worth less than the best, in words.

    >>> what_it_loses("bowls", 700.0, 3, 530.0, 2), what_it_loses("bowls", 700.0, 3, 665.0, 3)
    ('1 bowl', '35 mm of rims (5 %)')
    """
    if objective == "bowls" and other_bowls != bowls:
        return counted(bowls - other_bowls)
    unit = {"bowls": "mm of rims", "capacity": "ml", "value": "in price"}[objective]
    less = value - other_value
    share = f"{100 * less / value:.0f} %" if less >= 0.01 * value else "less than 1 %"
    return f"{less:.0f} {unit} ({share})" if less >= 0.5 else "nothing"


def both_fit(best: Nest, other: Nest, kerf: float) -> bool:
    """Return whether the blanks of two nests of a blank or slice can both be sawn from it."""
    if abs(best.axis.direction[2]) < 0.5:
        return False
    apart = math.dist(best.axis.point[:2], other.axis.point[:2])
    return apart >= (best.saw_diameter + other.saw_diameter) / 2 + kerf


def runner_up(
    work: Workshop, best: Sequence[Nest], value: float, other: Sequence[Nest], other_value: float, diameter: float
) -> Alternative | None:
    """Return another plan as a choice beside the best, where it differs by more than a detail."""
    bowls, fewer = (sum(len(nest.bowls) for nest in nests) for nests in (best, other))
    apart = what_differs(best, other, diameter)
    if not apart or work.rank(fewer, other_value) > work.rank(bowls, value):
        return None
    prefer = why_prefer(best, other)
    if both_fit(best[0], other[0], work.rules.shop.saw_kerf):
        prefer = ("it lies clear of the first, so that both blanks can be sawn from this piece", *prefer)
    if not prefer:
        if apart == OTHER_SIZES:
            return None
        prefer = ("it takes other wood, should the best place prove unsound",)
    return Alternative(
        fewer,
        tuple(round(bowl.rim_diameter, 1) for nest in other for bowl in nest.bowls),
        tuple(nest.axis for nest in other),
        apart,
        loses=what_it_loses(work.worth.objective, value, bowls, other_value, fewer),
        prefer=prefer,
        asked=_asked(apart, other),
    )


def _asked(apart: str, other: Sequence[Nest]) -> tuple[str, str]:
    """Return the wish that leads to a plan."""
    axis = other[0].axis
    if apart == OTHER_SIZES:
        return "cutters", ",".join(cutters_of(other))
    if abs(axis.direction[2]) > 0.5:
        return "keep-axis", f"{axis.point[0]:.1f},{axis.point[1]:.1f}"
    return "rip", f"{rip_of(other[0]):.1f}"


def best_choices(found: Sequence[Alternative | None]) -> tuple[Alternative, ...]:
    """Return the best of those in another place, and of those with fewer tools: one each at most."""
    choices: dict[bool, Alternative] = {}
    for each in found:
        if each is not None:
            elsewhere = each.note != OTHER_SIZES
            choices[elsewhere] = max(choices.get(elsewhere, each), each, key=lambda a: (a.bowls, sum(a.rim_diameters)))
    return tuple(choices[elsewhere] for elsewhere in (True, False) if elsewhere in choices)


def _rims(nests: Sequence[Nest]) -> list[float]:
    return sorted((bowl.rim_diameter for nest in nests for bowl in nest.bowls), reverse=True)


def _apart(one: Nest, other: Nest) -> float:
    """Return how far one axis lies from another, across it; infinite for the two halves of a log."""
    along = np.asarray(one.axis.direction)
    if float(along @ np.asarray(other.axis.direction)) <= 0:
        return math.inf
    away = np.asarray(other.axis.point) - np.asarray(one.axis.point)
    return float(np.linalg.norm(away - (away @ along) * along))


def another_axis(diameter: float) -> float:
    """Return how far off an axis lies at least that counts as another."""
    return 1.01 * AXIS_SHARE * diameter
