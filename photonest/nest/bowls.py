"""From a recipe to the bowls and cuts of a plan."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from photonest.model import Bowl, Cut, Points
from photonest.nest.curves import Outside, volume_under, wall_between
from photonest.nest.keepouts import distances
from photonest.nest.placing import HalfPlanePoints
from photonest.nest.refine import Recipe
from photonest.nest.rules import Real, Rules

ARC_POINTS = 61
NO_DEFECT = 1000.0
TOGETHER = 200  # points whose distances are taken at once

Clearance = Callable[[Real], float]
"""The distance in mm from the nearest defect to points (rho, h), shape (n, 2), after twice the standard errors."""


def hollow(bowl: Outside) -> tuple[float, float, float, float]:
    """Return the inside turned by hand of a last bowl: its arc's radius, offset and stand-off, and its flat floor."""
    return float(bowl.radius - bowl.wall), float(bowl.centre), float(bowl.stand_off), float(bowl.axis_floor)


def capacities(bowls: Sequence[Outside], grooves: Sequence[tuple[float, float, float]]) -> list[float]:
    """Return what each bowl holds, in ml."""
    arcs = [volume_under(*groove) for groove in grooves]
    return [float(volume) / 1000 for volume in [*arcs, volume_under(*hollow(bowls[-1]))]]


def clearance_from(points: HalfPlanePoints, clearance: float) -> Clearance:
    """Return the function that tells how far a curve lies from the nearest defect, after twice the standard errors.

    `clearance` is what the workshop keeps from a defect; what a point asks for beyond it is its errors and half width.
    """
    defects = ~points.edge
    rho, h, beyond = points.rho[defects], points.h[defects], points.keep[defects] - clearance

    def away(line: Real) -> float:
        if not len(rho):
            return NO_DEFECT
        sides = np.hstack([line[:-1], line[1:]])
        parts = (slice(start, start + TOGETHER) for start in range(0, len(rho), TOGETHER))
        found = (distances(rho[part, None], h[part, None], sides).min(axis=1) - beyond[part] for part in parts)
        return float(min(part.min() for part in found))

    return away


def bowls_of(
    rules: Rules,
    recipe: Recipe,
    clearance: Clearance,
    binds: Sequence[tuple[str, ...]] | None = None,
) -> tuple[Bowl, ...]:
    """Return the bowls of a recipe, the largest first."""
    outsides, grooves = recipe.bowls(rules), recipe.grooves(rules)
    volumes = capacities(outsides, grooves)
    found = []
    for place, bowl in enumerate(outsides):
        outer = _outside_line(bowl)
        if place < len(grooves):
            edge, offset, stand_off = grooves[place]
            inner = _arc(edge, offset, stand_off, 0.0)
            wall = float(wall_between(bowl, edge, offset, stand_off))
        else:
            edge, offset, stand_off, floor = hollow(bowl)
            across = offset + math.sqrt(edge**2 - (floor + stand_off) ** 2)
            inner = (*_arc(edge, offset, stand_off, max(across, 0.0)), (0.0, floor))
            wall = min(float(bowl.wall), float(bowl.depth) - floor)
        found.append(
            Bowl(
                number=place + 1,
                rim_diameter=2 * float(bowl.rim),
                depth=float(bowl.depth),
                wall_min=wall,
                base_min=float(bowl.depth) - inner[-1][1],
                clearance=clearance(np.asarray(outer)),
                capacity_ml=volumes[place],
                outer=outer,
                inner=inner,
                wall_required=float(bowl.wall),
                foot_diameter=2 * float(bowl.foot),
                jaws=rules.jaws(float(bowl.rim)).name,
                binds=binds[place] if binds else (),
            )
        )
    return tuple(found)


def cuts_of(rules: Rules, recipe: Recipe) -> tuple[Cut, ...]:
    """Return the cuts of a recipe in the order they are made, the outermost first."""
    rims = [2 * float(bowl.rim) for bowl in recipe.bowls(rules)]
    found = []
    for place, (index, offset, stand_off) in enumerate(recipe.cuts):
        cutter = rules.shop.cutters[index]
        start, top = rules.speeds(rims[place])
        found.append(
            Cut(
                number=place + 1,
                cutter=cutter.name,
                radius=cutter.radius,
                kerf=cutter.kerf,
                pivot=(offset, -stand_off),
                entry_radius=offset + math.sqrt(cutter.radius**2 - stand_off**2),
                axis_depth=math.sqrt(cutter.radius**2 - offset**2) - stand_off,
                start_rpm=start,
                top_rpm=top,
            )
        )
    return tuple(found)


def _outside_line(bowl: Outside) -> Points:
    arc = _arc(float(bowl.radius), float(bowl.centre), float(bowl.stand_off), float(bowl.foot))
    return (*arc, (0.0, float(bowl.depth)))


def _arc(radius: float, offset: float, stand_off: float, end_rho: float) -> Points:
    """Return points of an arc below the rim plane, evenly spaced in angle, from the rim to where rho is `end_rho`."""
    first = math.acos(min(1.0, stand_off / radius))
    last = math.asin(min(1.0, max(-1.0, (end_rho - offset) / radius)))
    angles = np.linspace(first, last, ARC_POINTS)
    rho, h = offset + radius * np.sin(angles), radius * np.cos(angles) - stand_off
    h[0], rho[-1] = 0.0, end_rho
    return tuple(zip(rho.tolist(), h.tolist(), strict=True))
