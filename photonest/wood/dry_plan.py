"""The bowls of a plan after drying: what each becomes, with the natural scatter, filled into the plan."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from photonest.model import Axis, Bowl, Face, FieldError, Nest, Plan, Points, Stock
from photonest.wood.bowl import (
    RoundBowl,
    best_seat,
    dry,
    holds_pith,
    largest_round,
    pith_in_bowl,
    rough_bowl,
    seated,
)
from photonest.wood.moisture import SCATTER, Shrink, check_moisture, green_density, shrink_of, weight_at
from photonest.wood.movement import PithLine, gap_angle
from photonest.wood.species import Species

NEAR = 10.0
"""Nearest place of an unknown pith outside a bowl, in mm."""


@dataclass(frozen=True)
class BlankGrain:
    """How the wood lies in a side-grain blank, where somebody knows it.

    Attributes
    ----------
    direction : float or None
        Of the grain on the face in degrees, from x (right) towards y (down): which way the bowl becomes oval.
    pith_depth : float or None
        How deep below the photographed face the pith runs, in mm; negative in front of it. None: the worst case.
    """

    direction: float | None = None
    pith_depth: float | None = None


UNKNOWN_GRAIN = BlankGrain()


def fill_after_drying(
    plan: Plan, face: Face, species: Species, moisture_pct: float = 8.0, grain: BlankGrain = UNKNOWN_GRAIN
) -> Plan:
    """Return the plan with `after_drying` of every bowl filled, and a warning where too little wall will be left.

    Parameters
    ----------
    plan, face : Plan, Face
        The face is the one the plan was made for.
    species : Species
        With radial and tangential shrinkage.
    moisture_pct : float
        At which the bowls are turned again; 6 to 8 % is usual indoors in a heated room.
    grain : BlankGrain
        For a blank only.

    Raises
    ------
    SpeciesError, MoistureError
        If the species lacks a figure, or no wood can have that moisture.
    FieldError
        If the pith is said to run through the blank.
    """
    check_moisture(moisture_pct)
    shrink = shrink_of(species, moisture_pct)
    thickness = plan.stock.thickness
    depth = grain.pith_depth
    if plan.stock.kind == "blank" and depth is not None and thickness is not None and 0 <= depth <= thickness:
        raise FieldError("pith_depth", f"must lie outside the blank, 0 to {thickness:g}, but is {depth:g}")
    warnings: list[str] = []
    nests: list[Nest] = []
    for index, nest in enumerate(plan.nests, 1):
        bowls: list[Bowl] = []
        for bowl in nest.bowls:
            piths = _piths(plan.stock, face, nest.axis, bowl, grain)
            known = _bowl_after_drying(bowl, piths, shrink, plan.stock.kind == "slice")
            label = f"Nest {index}, bowl {bowl.number}" if len(plan.nests) > 1 else f"Bowl {bowl.number}"
            warnings += [f"{label}: {text}" for text in _worries(known, plan.shop.finished_wall)]
            facts = {"species": species.name, "moisture_pct": moisture_pct, **known}
            bowls.append(dataclasses.replace(bowl, after_drying=facts | _weights(bowl, species, moisture_pct)))
        nests.append(dataclasses.replace(nest, bowls=tuple(bowls)))
    warnings += _assumptions(plan.stock, face, grain)
    return dataclasses.replace(plan, nests=tuple(nests), warnings=(*plan.warnings, *warnings))


def _piths(stock: Stock, face: Face, axis: Axis, bowl: Bowl, grain: BlankGrain) -> Sequence[PithLine]:
    """Return where the pith lies in the bowl's frame; several places where it is not known."""
    if stock.kind != "blank" and face.pith is not None:
        x, y = face.pith.point
        return [pith_in_bowl(axis, (x, y, 0.0), (0.0, 0.0, 1.0), bowl.depth)]
    if stock.kind == "blank":
        angle = math.radians(grain.direction or 0.0)
        along = (math.cos(angle), math.sin(angle), 0.0)
        if grain.pith_depth is not None:
            x, y, _ = axis.point
            return [pith_in_bowl(axis, (x, y, grain.pith_depth), along, bowl.depth)]
    middle = (0.0, 0.0, bowl.depth / 2)
    far = 20 * bowl.rim_diameter
    if stock.kind == "slice":
        aside = (bowl.rim_diameter / 2 + NEAR, bowl.rim_diameter, far)
        return [PithLine((-d, 0.0, 0.0), (0.0, 0.0, 1.0), middle) for d in aside]
    below = (NEAR, bowl.rim_diameter / 2, far)
    heights = (*(-d for d in below), *((bowl.depth + d for d in below) if stock.kind == "blank" else ()))
    return [PithLine((0.0, 0.0, h), (1.0, 0.0, 0.0), middle) for h in heights]


def _bowl_after_drying(bowl: Bowl, piths: Sequence[PithLine], shrink: Shrink, end_grain: bool) -> dict[str, Any]:
    if any(holds_pith(bowl.outer, pith) for pith in piths):
        return {
            "stress_free": False,
            "gap_angle_deg": round(gap_angle(shrink), 1),
            "notes": [
                "It holds the pith: wood that closes round the pith can't shrink without stress, so no shape can be "
                "given. It will most likely crack; choose a centre off the pith."
            ],
        }
    cases = [_scattered(bowl, pith, shrink) for pith in piths]
    mean, more, less = (_worst([case[i] for case in cases]) for i in range(3))
    return {
        "stress_free": True,
        **_sizes(mean),
        "oval_along": "ray" if end_grain else "grain",
        "rim_along": round(mean.along, 1),
        "rim_across": round(mean.across, 1),
        "scatter_pct": round(100 * SCATTER),
        "moves_more": _sizes(more),
        "moves_less": _sizes(less),
        "worst_case": len(piths) > 1,
        "notes": [],
    }


def _scattered(bowl: Bowl, pith: PithLine, shrink: Shrink) -> tuple[RoundBowl, RoundBowl, RoundBowl]:
    """Return the round bowl at the mean movement, and one standard deviation more and less."""
    rough = rough_bowl(bowl.outer, bowl.inner)
    dried = dry(rough, pith, shrink)
    seat = best_seat(dried, pith)

    def moved(factor: float) -> RoundBowl:
        a, b, c, d = (value * factor for value in seat)
        return largest_round(seated(dry(rough, pith, shrink.scaled(factor)), (a, b, c, d)))

    return largest_round(seated(dried, seat)), moved(1 + SCATTER), moved(1 - SCATTER)


def _worst(cases: Sequence[RoundBowl]) -> RoundBowl:
    """Return the least of every size and the most of every fault."""
    oval = max(cases, key=lambda case: abs(case.ovality_pct))
    return RoundBowl(
        diameter=min(case.diameter for case in cases),
        depth=min(case.depth for case in cases),
        wall=min(case.wall for case in cases),
        base=min(case.base for case in cases),
        along=oval.along,
        across=oval.across,
        ovality_pct=oval.ovality_pct,
        rim_lift=max((case.rim_lift for case in cases), key=abs),
    )


def _sizes(found: RoundBowl) -> dict[str, float]:
    return {
        "rim_diameter": round(found.diameter, 1),
        "depth": round(found.depth, 1),
        "wall": round(found.wall, 1),
        "base": round(found.base, 1),
        "ovality_pct": round(found.ovality_pct, 2),
        "rim_lift": round(found.rim_lift, 1) + 0.0,  # never -0
    }


def _worries(known: Mapping[str, Any], finished: float) -> list[str]:
    if not known["stress_free"]:
        return [*known["notes"], f"One crack from the pith could open by {known['gap_angle_deg']:g} degrees."]
    wall, low = known["wall"], known["moves_more"]["wall"]
    if low >= finished:
        return []
    chance = "will probably" if wall < finished else "may"
    return [
        f"after drying it {chance} be too thin to turn round: about {wall:g} mm can be left ({low:g} if it moves more "
        f"than most), and {finished:g} is asked for. Leave it thicker."
    ]


def _assumptions(stock: Stock, face: Face, grain: BlankGrain) -> list[str]:
    if stock.kind != "blank":
        return (
            []
            if face.pith is not None
            else ["The pith is not known: sizes after drying are for the worst place it could have beside the bowls."]
        )
    told = []
    if grain.pith_depth is None:
        told.append(
            "How far the pith was is not known: sizes after drying are for the worst place it could have above or "
            "below the blank."
        )
    else:
        told.append("Sizes after drying take the pith to run straight below or above the bowls' axis.")
    if grain.direction is None:
        told.append("The grain's direction is not known: which way the bowls become oval is not said.")
    return told


def _weights(bowl: Bowl, species: Species, moisture_pct: float) -> dict[str, float]:
    """Return the weight of the rough bowl in grams, fresh and dried; nothing where the species has no figures."""
    if species.specific_gravity is None or species.green_moisture is None:
        return {}
    wood = _volume(bowl.outer) - _volume(bowl.inner)
    fresh = wood * green_density(species) * 1e-6
    return {
        "green_weight_g": round(fresh),
        "dry_weight_g": round(weight_at(fresh, species.green_moisture.value, moisture_pct)),
    }


def _volume(curve: Points) -> float:
    """Return the volume in mm3 between the rim plane and a meridian curve turned about the axis: frustums."""
    rho, h = np.asarray(curve).T
    return float((math.pi / 3 * np.diff(h) * (rho[1:] ** 2 + rho[1:] * rho[:-1] + rho[:-1] ** 2)).sum())
