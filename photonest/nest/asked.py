"""What is asked of the planner, and the parts that its answers for all kinds of stock share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photonest.model import (
    Alternative,
    Axis,
    Face,
    Nest,
    Point,
    Shop,
    Stock,
)
from photonest.nest.bowls import bowls_of, clearance_from, cuts_of
from photonest.nest.keepouts import KeepOut
from photonest.nest.placing import HalfPlanePoints
from photonest.nest.reasons import binding
from photonest.nest.refine import Recipe
from photonest.nest.solve import Workshop


@dataclass(frozen=True)
class Question:
    """What is asked of the planner, its workshop and keep-outs worked out.

    `keep_axis` is where the axis of a blank or slice stands, or a point that a log's axes cross; `rip` is the direction
    of a log's rip in degrees from the photo's horizontal, as on paper.
    """

    face: Face
    stock: Stock
    shop: Shop
    work: Workshop
    outs: tuple[KeepOut, ...]
    bowls: int | None
    want: tuple[float, ...]
    keep_axis: Point | None = None
    rip: float | None = None

    @property
    def wished(self) -> bool:
        """Whether a person settles how many bowls, which or where."""
        return bool(self.want) or any(each is not None for each in (self.bowls, self.keep_axis, self.rip))

    @property
    def scale_error(self) -> float:
        """Standard error of the scale as a share."""
        return self.face.scale.standard_error_pct / 100


@dataclass(frozen=True)
class Answer:
    """What the planner found."""

    nests: tuple[Nest, ...]
    value: float
    bound: float
    bowls_bound: int
    alternatives: tuple[Alternative, ...] = ()
    runners_up: tuple[Alternative, ...] = ()
    warnings: tuple[str, ...] = ()
    reasons: tuple[str, ...] = ()


def names_of(outs: Sequence[KeepOut]) -> NDArray[np.str_]:
    """Return the keep-outs' names as they stand in a sentence."""
    return np.array([out.name if " " in out.name and out.kind != "edge" else f"the {out.name}" for out in outs])


def counted(bowls: int) -> str:
    """Return a number of bowls.

    >>> counted(1), counted(3)
    ('1 bowl', '3 bowls')
    """
    return f"{bowls} bowl{'s' * (bowls != 1)}"


def nest_of(
    question: Question,
    axis: Axis,
    recipe: Recipe,
    points: HalfPlanePoints,
    owners: NDArray[np.str_],
    limit: float,
    thickness: float,
    marking: tuple[str, ...],
) -> Nest:
    """Return a nest on an axis from its recipe; `owners` names what each of the points is of."""
    rules = question.work.rules
    names = binding(rules, recipe, points, owners, limit, thickness)
    return Nest(
        axis,
        bowls_of(rules, recipe, clearance_from(points, question.shop.clearance), limit, names),
        cuts_of(rules, recipe),
        saw_diameter=2 * (recipe.rim + question.shop.trueing),
        marking=marking,
    )


def with_room(nest: Nest, may_be_off: float, kept: float) -> Nest:
    """Return a nest that tells how far its axis may be off."""
    return replace(nest, may_be_off=may_be_off, bowls_kept_off=kept)


def why_no_bowl(question: Question, radius: float, along: float) -> tuple[str, str]:
    """Return why no bowl fits, and what to do."""
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


def _what_is_nearest(question: Question) -> str:
    """Return, in words, how wide the circle would be without any one defect."""
    from photonest.nest.circle import clear_radius, widest

    outs = question.outs
    best = (0.0, "")
    for out in outs[1:30]:
        radius = widest(clear_radius([other for other in outs if other is not out], question.scale_error), 0.5)[2]
        best = max(best, (radius, out.name))
    return f"; without {best[1]} it would be {2 * best[0]:.0f} mm" if best[1] else ""
