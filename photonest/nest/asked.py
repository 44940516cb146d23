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
    of a log's rip in degrees from the photo's horizontal, as on paper. Without `others` the best plan alone is told.
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
    others: bool = True

    @property
    def wished(self) -> bool:
        """Whether a person settles how many bowls, which or where."""
        return bool(self.want) or any(each is not None for each in (self.bowls, self.keep_axis, self.rip))

    @property
    def scale_error(self) -> float:
        """Standard error, due to the scale, of any place seen from an axis, as a share of the way there."""
        return self.face.place_error


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


def in_words(name: str) -> str:
    """Return the name of a keep-out as it stands in a sentence.

    >>> in_words("pith"), in_words("crack c2")
    ('the pith', 'crack c2')
    """
    return name if " " in name else f"the {name}"


def names_of(outs: Sequence[KeepOut]) -> NDArray[np.str_]:
    """Return the keep-outs' names as they stand in a sentence."""
    return np.array([f"the {out.name}" if out.kind == "edge" else in_words(out.name) for out in outs])


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
    thickness: float,
    marking: tuple[str, ...],
) -> Nest:
    """Return a nest on an axis from its recipe; `owners` names what each of the points is of."""
    rules = question.work.rules
    names = binding(rules, recipe, points, owners, thickness)
    return Nest(
        axis,
        bowls_of(rules, recipe, clearance_from(points, question.shop.clearance), names),
        cuts_of(rules, recipe),
        saw_diameter=2 * (recipe.rim + question.shop.trueing),
        marking=marking,
    )


def with_room(nest: Nest, may_be_off: float, kept: float) -> Nest:
    """Return a nest that tells how far its axis may be off."""
    return replace(nest, may_be_off=may_be_off, bowls_kept_off=kept)
