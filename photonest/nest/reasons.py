"""What keeps each bowl from being larger, in plain words."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from photonest.nest.curves import deepest, wall_between
from photonest.nest.placing import HalfPlanePoints, distance_to_shape
from photonest.nest.refine import Recipe
from photonest.nest.rules import Rules

NEAR = 0.35  # mm: figures are in tenths, and two of them may be rounded


def binding(
    rules: Rules, recipe: Recipe, points: HalfPlanePoints, names: NDArray[np.str_], thickness: float
) -> list[tuple[str, ...]]:
    """Return, for each bowl, what binds it; `names` tells what each of the points is of."""
    return [_first(rules, recipe, points, names, thickness), *_cores(rules, recipe)]


def _first(
    rules: Rules, recipe: Recipe, points: HalfPlanePoints, names: NDArray[np.str_], thickness: float
) -> tuple[str, ...]:
    shape = recipe.bowls(rules)[0]
    shape = type(shape)(*(np.atleast_1d(field) for field in shape))
    each = distance_to_shape(shape, points.rho, points.h)[0] - points.keep
    found = list(dict.fromkeys(names[each < NEAR].tolist()))
    if recipe.depth > thickness - NEAR:
        found.append("the thickness of the wood")
    if recipe.depth > float(deepest(rules, recipe.rim)) - NEAR:
        found.append("its shape: it is a half ball already")
    if recipe.rim > rules.shop.swing / 2 - rules.shop.trueing - NEAR:
        found.append("the lathe's swing")
    return tuple(found)


def _cores(rules: Rules, recipe: Recipe) -> list[tuple[str, ...]]:
    shop, found = rules.shop, []
    bowls = recipe.bowls(rules)
    for place, groove in enumerate(recipe.grooves(rules)):
        bowl, (edge, offset, stand_off) = bowls[place], groove
        reasons = []
        if float(wall_between(bowl, *groove) - bowl.wall) < NEAR:
            reasons.append(f"the wall of bowl {place + 1}")
        if float(bowl.axis_floor) - (math.sqrt(edge**2 - offset**2) - stand_off) < NEAR:
            screwed = place == 0 and rules.screw_reach > float(bowl.wall) + shop.tenon
            reasons.append("the screws of the faceplate" if screwed else f"the base of bowl {place + 1}")
        index = recipe.cuts[place][0]
        low, high = rules.offsets(shop.cutters[index].radius) or (0.0, 0.0)
        if min(offset - low, high - offset) < NEAR:
            reasons.append("the offset of the cutter's pivot")
        if min(stand_off - shop.stand_off.low, shop.stand_off.high - stand_off) < NEAR:
            reasons.append("the reach of the rig")
        found.append(tuple(reasons) or ("the cutters at hand",))
    return found
