"""How to mark the wood, in plain words with distances that can be measured on it."""

from __future__ import annotations

import math

import numpy as np

from photonest.model import Axis, Face, Point, Shop, Stock
from photonest.nest.keepouts import distances, segments_of
from photonest.nest.refine import Recipe
from photonest.nest.solve import Found


def round_marking(face: Face, axis: Axis, found: Found, shop: Shop) -> tuple[str, ...]:
    """Return how to mark the centre of a blank or slice, and the circle to saw."""
    x, y, _ = axis.point
    lines = [f"Mark the centre {_from_edge(face, (x, y))}."]
    if face.pith is not None:
        away, direction = _offset(face.pith.point, (x, y))
        where = f"{away:.0f} mm from the pith, {direction} it as the photo shows it" if away >= 0.5 else "on the pith"
        lines.append(f"It lies {where}.")
    return (*lines, f"{_saw_words(found.recipe, shop)}; scribe that circle and check it.")


def log_marking(face: Face, stock: Stock, axis: Axis, recipe: Recipe, shop: Shop) -> tuple[str, ...]:
    """Return how to mark the rip line, the centre and the circle of one half of a log.

    The rims lie at the rip line or, where they face the bark, the foot of the first bowl does.
    """
    at, into = np.asarray(axis.point[:2]), np.asarray(axis.direction[:2])
    if stock.rim_towards == "bark":
        at, into = at + recipe.depth * into, -into
    across = np.array([-into[1], into[0]])
    angle = f"at {angle_on_paper(across):.0f} degrees to the photo's horizontal"
    if face.pith is not None:
        away, along = (float((at - face.pith.point) @ way) for way in (into, across))
        lines = [
            f"Rip along a line {away:.0f} mm from the pith, on the {_direction(into)} side of it, {angle}; saw beside "
            "it, on the side away from the bowls."
        ]
        beside = "where the pith is nearest"
        if abs(along) >= 0.5:
            beside = f"{abs(along):.0f} mm to the {_direction(along * across)} of where the pith is nearest"
    else:
        lines = [
            f"Rip along a line {angle}, through a point {_from_edge(face, (at[0], at[1]))}; saw beside it, on the side "
            f"away from the bowls, which lie to the {_direction(into)} of it."
        ]
        beside = "at that point"
    one, other = (f"{_exit(face, (at[0], at[1]), way):.0f} mm from the {_direction(way)}" for way in (across, -across))
    return (
        *lines,
        f"On the sawn face the centre lies {beside}, {one} edge{_under_bark(face)} and {other} one as the photo shows "
        f"them, and {axis.point[2]:.0f} mm from the photographed end.",
        f"{_saw_words(recipe, shop)} about that centre.",
    )


def _saw_words(recipe: Recipe, shop: Shop) -> str:
    """Return the circle to saw, told upwards to a tenth of a millimetre: what is sawn off can't be turned true."""
    across = math.ceil(20 * (recipe.rim + shop.trueing) - 1e-6) / 10
    return f"Saw the blank no smaller than {across:.1f} mm across"


def _from_edge(face: Face, point: Point) -> str:
    right = _exit(face, point, np.array([1.0, 0.0]))
    left = _exit(face, point, np.array([-1.0, 0.0]))
    up, down = _exit(face, point, np.array([0.0, -1.0])), _exit(face, point, np.array([0.0, 1.0]))
    return (
        f"{left:.0f} mm from the left edge{_under_bark(face)}, {right:.0f} mm from the right, {up:.0f} mm from the top "
        f"and {down:.0f} mm from the bottom, as the photo shows it"
    )


def _under_bark(face: Face) -> str:
    """Say which edge distances are taken from where there are two."""
    return "" if face.outline.under_bark is None else " of the wood under the bark"


def _exit(face: Face, point: Point, direction: np.ndarray) -> float:
    """Return how far the wood's edge lies from a point in a direction; to the nearest edge where the ray misses."""
    sides = segments_of(face.outline.wood, closed=True)
    start, span = sides[:, :2] - np.asarray(point), sides[:, 2:] - sides[:, :2]
    cross = direction[0] * span[:, 1] - direction[1] * span[:, 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        along = (start[:, 0] * span[:, 1] - start[:, 1] * span[:, 0]) / cross
        share = (start[:, 0] * direction[1] - start[:, 1] * direction[0]) / cross
    hits = along[(share >= 0) & (share <= 1) & (along >= 0)]
    return float(hits.min()) if len(hits) else float(distances(*point, sides).min())


def _offset(origin: Point, point: Point) -> tuple[float, str]:
    away = np.asarray(point) - np.asarray(origin)
    names = (
        "right of",
        "below right of",
        "below",
        "below left of",
        "left of",
        "above left of",
        "above",
        "above right of",
    )
    return float(np.hypot(*away)), names[_eighth(away)]


def _direction(vector: np.ndarray) -> str:
    names = ("right", "lower right", "lower", "lower left", "left", "upper left", "upper", "upper right")
    return names[_eighth(vector)]


def _eighth(vector: np.ndarray) -> int:
    """Return which eighth of a turn a vector lies in, from the right, downwards."""
    return round(math.atan2(float(vector[1]), float(vector[0])) / (math.pi / 4)) % 8


def angle_on_paper(vector: np.ndarray) -> float:
    """Return the angle of a line to the horizontal, counted as on paper: from the right, upwards, 0 to 180."""
    return math.degrees(math.atan2(-float(vector[1]), float(vector[0]))) % 180
