"""Rough bowls of simple shapes."""

from __future__ import annotations

import math

import numpy as np

from photonest.model import Points
from photonest.wood.bowl import RoundBowl, best_seat, dry, largest_round, rough_bowl, seated
from photonest.wood.moisture import Shrink
from photonest.wood.movement import PithLine


def arc_bowl(rim_diameter: float, depth: float, wall: float, foot_share: float = 0.28) -> tuple[Points, Points]:
    """Return the outside and inside of a rough bowl turned to arcs about one centre on its axis."""
    rim, foot = rim_diameter / 2, foot_share * rim_diameter / 2
    front = (rim**2 - foot**2 - depth**2) / (2 * depth)
    assert front >= -1e-9, "too deep"
    radius = math.hypot(rim, front)
    hollow = radius - wall
    floor = min(depth - wall - 6, hollow - front)
    assert floor > 0 and hollow > front, "nothing to hollow"
    return (*arc(radius, front, depth), (0.0, depth)), (*arc(hollow, front, floor), (0.0, floor))


def arc(radius: float, front: float, depth: float, points: int = 24) -> Points:
    """Return an arc about (0, -front) from the rim plane down to a depth."""
    angle = np.linspace(math.acos(front / radius), math.acos(min(1.0, (front + depth) / radius)), points)
    return tuple((float(radius * math.sin(a)), float(radius * math.cos(a)) - front) for a in angle)


def straight_bowl(rim_diameter: float, depth: float, wall: float) -> tuple[Points, Points]:
    """Return the outside and inside of a rough bowl with a wall square to its rim."""
    rim = rim_diameter / 2
    floor = depth - wall - 6
    return ((rim, 0.0), (rim, depth), (0.0, depth)), ((rim - wall, 0.0), (rim - wall, floor), (0.0, floor))


def round_after_drying(outer: Points, inner: Points, pith: PithLine, shrink: Shrink) -> RoundBowl:
    """Return the largest true round bowl left in a rough bowl after drying, on its best axis."""
    dried = dry(rough_bowl(outer, inner), pith, shrink)
    return largest_round(seated(dried, best_seat(dried, pith)))
