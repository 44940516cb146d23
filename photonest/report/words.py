"""Numbers and names in the words of a drawing: rounded as their error allows, and never without a unit."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable

from photonest.face_warnings import that_matter
from photonest.model import Bowl, Crack, Defect, DefectKind, Face, Plan
from photonest.report.units import Units, retold, sixteenths, told

MOST_LIMITS = 8
"""Reasons told of one bowl."""
CRACK_NAMES = {"radial": "radial check", "heart": "heart check", "ring": "ring shake", "other": "crack"}
DEFECT_NAMES: dict[DefectKind, str] = {"knot": "knot", "hole": "hole", "bark": "bark inclusion", "decay": "decay"}


def length(value: float, error: float = 0.0) -> str:
    """Return a length in mm with its error, both rounded to what the error leaves certain.

    >>> length(352.34), length(352.34, 0.28), length(31.26, 3.4)
    ('352 mm', '352.3 ± 0.3 mm', '31 ± 4 mm')
    """
    if error <= 0:
        return f"{round_half_up(value)} mm"
    digits = 0 if error >= 1 else 1
    upward = math.ceil(error * 10**digits - 1e-9) / 10**digits
    return f"{value:.{digits}f} ± {upward:.{digits}f} mm"


def give_or_take(error: float) -> str:
    """Return an error in whole mm, rounded upwards.

    >>> give_or_take(3.2)
    '± 4 mm'
    """
    return f"± {max(1, math.ceil(error - 1e-9))} mm"


def round_half_up(value: float) -> int:
    """Return the nearest whole number, halves upwards, as people round.

    >>> round_half_up(12.5), round_half_up(13.5)
    (13, 14)
    """
    return math.floor(value + 0.5)


def twice_error(face: Face, value: float, *own: float) -> float:
    """Return twice the standard error of a distance on the face: the scale's share of it and its ends' own errors.

    Parameters
    ----------
    value : float
        The distance, in mm.
    *own : float
        Standard errors of its ends, in mm.
    """
    return 2 * math.hypot(face.place_error * value, *own)


def twice_diameter_error(face: Face, value: float) -> float:
    """Return twice the standard error of a diameter of the face, across which the errors of a tilt cancel."""
    edge = face.outline.standard_error
    return 2 * math.hypot(face.scale.standard_error_pct / 100 * value, edge, edge)


def crack_words(crack: Crack, units: Units = "mm") -> str:
    """Return what a crack is and its length and width, in one short line.

    >>> crack_words(Crack("c1", ((0, 0), (84, 0)), 2.1, 84.0, "radial", 0.9, "seen", depth=40))
    'radial check, 84 × 2.1 mm, 40 deep'
    >>> crack_words(Crack("c2", ((0, 0), (31, 0)), 0.0, 31.0, "ring", 0.3, "possible"))
    'ring shake, 31 mm ?'
    >>> crack_words(Crack("c3", ((0, 0), (84, 0)), 2.1, 84.0, "radial", 0.9, "seen"), "inch")
    'radial check, 84 × 2.1 mm (3 5/16 in long)'
    """
    wide = f" × {crack.width:.1f}" if crack.width >= 0.05 else ""
    deep = f", {crack.depth:.0f} deep" if crack.depth is not None else ""
    doubt = " ?" if crack.status == "possible" else ""
    return f"{CRACK_NAMES[crack.kind]}, {crack.length:.0f}{wide} mm{_long(crack.length, units)}{deep}{doubt}"


def defect_size(defect: Defect) -> tuple[float, float]:
    """Return the length and the width of a defect in mm: the sides of the smallest box about it, turned as it lies."""
    import shapely

    corners = shapely.Polygon(defect.outline).minimum_rotated_rectangle.exterior.coords
    sides = sorted(math.dist(a, b) for a, b in itertools.pairwise(corners[:3]))
    return sides[1], sides[0]


def defect_words(defect: Defect, units: Units = "mm") -> str:
    """Return what a defect is and its size, in one short line.

    >>> defect_words(Defect("d1", "knot", ((0, 0), (30, 0), (30, 12), (0, 12)), 0.9, "seen", depth=40))
    'knot, 30 × 12 mm, 40 deep'
    >>> defect_words(Defect("d2", "hole", ((0, 0), (4, 0), (4, 4), (0, 4)), 0.4, "possible"))
    'hole, 4 × 4 mm ?'
    """
    long, wide = defect_size(defect)
    deep = f", {defect.depth:.0f} deep" if defect.depth is not None else ""
    doubt = " ?" if defect.status == "possible" else ""
    return f"{DEFECT_NAMES[defect.kind]}, {long:.0f} × {wide:.0f} mm{_long(long, units)}{deep}{doubt}"


def _long(value: float, units: Units) -> str:
    return "" if units == "mm" else f" ({sixteenths(value)} in long)"


def counted(bowls: int) -> str:
    """Return a number of bowls in words.

    >>> counted(1), counted(3), counted(12)
    ('one bowl', 'three bowls', '12 bowls')
    """
    words = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
    return f"{words[bowls] if bowls < len(words) else bowls} bowl{'' if bowls == 1 else 's'}"


def instead(plan: Plan, units: Units = "mm") -> str:
    """Return the other plans to choose from in one sentence, empty where there are none."""
    others = []
    for other in plan.alternatives:
        rims = ", ".join(told(rim, units) for rim in other.rim_diameters)
        others.append(f"{counted(other.bowls)}, {'rim' if other.bowls == 1 else 'rims'} Ø {rims}")
    if not others:
        return ""
    return f"You could have instead: {'; '.join(others)}. Plan again for just so many before you cut them."


def runners_up(plan: Plan, units: Units = "mm") -> tuple[str, ...]:
    """Return each plan that differs by more than a detail in one sentence: what it is, loses and has for it."""
    told_of = []
    for other in plan.runners_up:
        rims = ", ".join(told(rim, units) for rim in other.rim_diameters)
        again = "" if other.asked is None else f" with --{' '.join(other.asked)}"
        told_of.append(
            f"Or otherwise, {other.note}: {counted(other.bowls)}, {'rim' if other.bowls == 1 else 'rims'} Ø {rims}. "
            f"It loses {other.loses}, {'and' if other.loses == 'nothing' else 'but'} {', and '.join(other.prefer)}. "
            f"Plan again{again} before you cut that."
        )
    return tuple(retold(words, units) for words in told_of)


def all_warnings(face: Face) -> tuple[str, ...]:
    """Return every warning of a face once, in order."""
    parts: list[Iterable[str]] = [face.warnings, face.scale.warnings, face.outline.warnings]
    if face.pith is not None:
        parts.append(face.pith.warnings)
    return tuple(dict.fromkeys(text for part in parts for text in part))


def warnings_of(face: Face, plan: Plan) -> tuple[str, ...]:
    """Return every warning of a plan, and of its face those that matter to the stock, once, in order."""
    return tuple(dict.fromkeys([*plan.warnings, *that_matter(all_warnings(face), plan.stock.kind)]))


def what_limits(bowl: Bowl) -> list[str]:
    """Return what keeps a bowl from being larger, a long list cut short."""
    more = len(bowl.binds) - MOST_LIMITS
    return [*bowl.binds[:MOST_LIMITS], *([f"{more} more"] if more > 0 else [])]


def proof(plan: Plan) -> str:
    """Return how near the best a plan is known to be."""
    if plan.bound.bowls > plan.score.bowls:
        return f"Whether {counted(plan.bound.bowls)} could be had is not settled; {counted(plan.score.bowls)} can."
    gap = plan.bound.gap_pct
    return "No plan can do better." if gap < 0.05 else f"No plan can do better by more than {gap:.1f} %."
