"""What a rough bowl becomes as it dries, and the largest true round bowl left in it.

A bowl's own frame has x along the grain on the rim plane (for end grain: away from the pith), y across it, and h from
the rim plane into the bowl.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from photonest.model import Axis, Point3, Points
from photonest.wood.moisture import Shrink
from photonest.wood.movement import Array, PithLine, move

MERIDIANS = 48
"""Meridians a bowl is followed on; a multiple of four. The largest circle between them is then off by less than
1 - cos(180 / 48 degrees) = 0.2 % of the movement."""
STEP = 5.0
"""Longest step along a meridian, in mm; on an arc of 60 mm radius its sagitta is 0.05 mm."""
LEVELS = 48


@dataclass(frozen=True)
class RoughBowl:
    """The two surfaces of a rough bowl, in its own frame.

    Attributes
    ----------
    outer, inner : array of float, shape (MERIDIANS, m, 3)
        From the rim to the axis along each meridian, the first one along x.
    foot : int
        Index of the foot's edge on the outer meridians.
    """

    outer: Array
    inner: Array
    foot: int


@dataclass(frozen=True)
class RoundBowl:
    """The largest true round bowl in a dried one, and how far the dried one is from round (mm).

    Attributes
    ----------
    diameter, depth : float
        Over the rim once it is faced flat; from there to the flat foot.
    wall : float
        The least distance between outside and inside, the base included; below 0 when nothing is left somewhere.
    base : float
        On the axis.
    along, across : float
        Diameters of the dried rim before it is turned: along the grain and across it (for end grain: along and
        across the ray through its middle).
    ovality_pct : float
        ``100 (along - across) / along``.
    rim_lift : float
        How much deeper the rim lies at the sides, across the grain, than at the two ends of the grain; negative
        where the sides stand proud.
    """

    diameter: float
    depth: float
    wall: float
    base: float
    along: float
    across: float
    ovality_pct: float
    rim_lift: float


def pith_in_bowl(axis: Axis, pith: Point3, grain: Point3, depth: float) -> PithLine:
    """Return the pith in the frame of a bowl.

    Parameters
    ----------
    axis : Axis
        Of the bowl, its point in the rim plane.
    pith, grain : (x, y, z)
        A point of the pith and its direction, in the frame of the axis.
    depth : float
        Of the bowl: its middle says on which side of the pith it lies.
    """
    down = np.asarray(axis.direction) / np.linalg.norm(axis.direction)
    along = np.asarray(grain) / np.linalg.norm(grain)
    away = np.asarray(axis.point) - np.asarray(pith)
    level = along - (along @ down) * down
    if np.linalg.norm(level) < 1e-6:  # end grain
        level = away - (away @ down) * down
    if np.linalg.norm(level) < 1e-6:  # the pith on the axis
        level = np.cross(down, [1.0, 0.0, 0.0] if abs(down[0]) < 0.9 else [0.0, 1.0, 0.0])
    x = level / np.linalg.norm(level)
    frame = np.stack([x, np.cross(down, x), down])
    point, direction = frame @ -away, frame @ along
    return PithLine(_point(point), _point(direction), (0.0, 0.0, depth / 2))


def _point(values: Array) -> Point3:
    return (float(values[0]), float(values[1]), float(values[2]))


def holds_pith(outer: Points, pith: PithLine, margin: float = 0.0) -> bool:
    """Return whether the pith runs through a bowl or its hollow, or nearer to it than a margin in mm.

    Parameters
    ----------
    outer : points (rho, h)
        The outside, from the rim to the axis.
    """
    profile = np.asarray(outer)
    reach = 2 * float(np.abs(profile).max()) + margin
    grain = np.asarray(pith.grain) / np.linalg.norm(pith.grain)
    nearest = np.asarray(pith.point) - (np.asarray(pith.point) @ grain) * grain
    line = nearest + np.linspace(-reach, reach, 2001)[:, None] * grain
    radius, h = np.hypot(line[:, 0], line[:, 1]), line[:, 2]
    outside = np.interp(h, profile[:, 1], profile[:, 0])
    level = (h >= -margin) & (h <= profile[-1, 1] + margin)
    return bool((level & (radius < outside + margin)).any())


def rough_bowl(outer: Points, inner: Points) -> RoughBowl:
    """Return the surfaces of a bowl whose meridian curves (rho, h) run from the rim to the axis."""
    outside, inside = _fine(outer), _fine(inner)
    depth = outside[-1, 1]
    foot = int(np.argmax(outside[:, 1] >= depth - 1e-6))
    return RoughBowl(_revolve(outside), _revolve(inside), foot)


def _fine(curve: Points) -> Array:
    """Return a curve with its corners kept and its long steps divided."""
    corners = np.asarray(curve, dtype=np.float64)
    pieces = [corners[:1]]
    for start, end in itertools.pairwise(corners):
        steps = max(1, math.ceil(float(np.linalg.norm(end - start)) / STEP))
        pieces.append(start + (end - start) * (np.arange(1, steps + 1) / steps)[:, None])
    return np.concatenate(pieces)


def _revolve(curve: Array) -> Array:
    angle = np.arange(MERIDIANS) * (2 * math.pi / MERIDIANS)
    return np.stack(
        [
            np.cos(angle)[:, None] * curve[:, 0],
            np.sin(angle)[:, None] * curve[:, 0],
            np.broadcast_to(curve[:, 1], (MERIDIANS, len(curve))),
        ],
        axis=-1,
    )


def dry(bowl: RoughBowl, pith: PithLine, shrink: Shrink) -> RoughBowl:
    """Return the bowl dried, laid back on its green self as well as a rigid motion can.

    Parameters
    ----------
    bowl : RoughBowl
        Green. It must not hold the pith, nor reach past it on the far side.
    pith : PithLine
        In the bowl's frame.
    shrink : Shrink
        Free shrinkage.
    """
    green = np.concatenate([bowl.outer.reshape(-1, 3), bowl.inner.reshape(-1, 3)])
    dried = move(green, pith, shrink)
    laid = _lay(dried, green)
    split = bowl.outer.size // 3
    return RoughBowl(laid[:split].reshape(bowl.outer.shape), laid[split:].reshape(bowl.inner.shape), bowl.foot)


def _lay(points: Array, onto: Array) -> Array:
    """Return points moved rigidly so that the sum of squared distances to others is least (Kabsch 1976)."""
    here, there = points.mean(axis=0), onto.mean(axis=0)
    u, _, vt = np.linalg.svd((points - here).T @ (onto - there))
    flip = np.diag([1.0, 1.0, np.sign(np.linalg.det(u @ vt))])
    moved: Array = (points - here) @ (u @ flip @ vt) + there
    return moved


Seat = tuple[float, float, float, float]
"""An axis near that of a bowl's frame: its shift (mm) and slope (mm per mm) along x, and along y."""
CENTRED: Seat = (0.0, 0.0, 0.0, 0.0)


def seated(bowl: RoughBowl, seat: Seat) -> RoughBowl:
    """Return a bowl in the frame of another axis."""
    shift_x, slope_x, shift_y, slope_y = seat
    down = np.array([slope_x, slope_y, 1.0]) / math.sqrt(1 + slope_x**2 + slope_y**2)
    x = np.array([1.0, 0.0, 0.0]) - down[0] * down
    x /= np.linalg.norm(x)
    frame = np.stack([x, np.cross(down, x), down])
    origin = np.array([shift_x, shift_y, 0.0])
    return RoughBowl((bowl.outer - origin) @ frame.T, (bowl.inner - origin) @ frame.T, bowl.foot)


def best_seat(bowl: RoughBowl, pith: PithLine) -> Seat:
    """Return the axis that keeps the most wood: the greatest sum of radius, depth and wall of the round bowl.

    Parameters
    ----------
    bowl : RoughBowl
        Dried, with an even number of meridians.
    pith : PithLine
        Of the green bowl: where it makes the bowl symmetrical, the axis is looked for in the plane of symmetry only.
    """
    from scipy.optimize import minimize

    point, grain = np.asarray(pith.point), np.asarray(pith.grain) / np.linalg.norm(pith.grain)
    over_x = abs(point[1]) < 1e-6 and abs(grain[1]) < 1e-9  # y and -y are alike
    over_y = float(np.hypot(grain[1], grain[2])) < 1e-9  # x and -x are alike: the pith runs along x
    free = [i for i in range(4) if not (over_y if i < 2 else over_x)]
    if not free:
        return CENTRED
    coarse = RoughBowl(bowl.outer[::2], bowl.inner[::2], bowl.foot)
    unit = np.array([1.0, 0.01, 1.0, 0.01])

    def seat(values: Array) -> Seat:
        full = np.zeros(4)
        full[free] = values
        a, b, c, d = full * unit
        return (float(a), float(b), float(c), float(d))

    def wood_lost(values: Array) -> float:
        found = largest_round(seated(coarse, seat(values)))
        return -(found.diameter / 2 + found.depth + found.wall)

    simplex = np.vstack([np.zeros(len(free)), np.eye(len(free))])
    options = {"initial_simplex": simplex, "xatol": 0.05, "fatol": 0.02, "maxfev": 300}
    return seat(minimize(wood_lost, simplex[0], method="Nelder-Mead", options=options).x)


def largest_round(bowl: RoughBowl) -> RoundBowl:
    """Return the largest true round bowl about the axis of a dried bowl's frame.

    At each level the outside is turned down to the nearest point of the dried outside, and the inside opened to the
    farthest point of the dried inside; the rim is faced at its deepest point, the foot at its highest.
    """
    rim = np.concatenate([bowl.outer[:, 0], bowl.inner[:, 0]])
    top = float(rim[:, 2].max())
    foot = float(bowl.outer[:, bowl.foot :, 2].min())
    floor = float(bowl.inner[..., 2].max())
    levels = np.linspace(top, max(foot, top), LEVELS)
    outside = _level_radii(bowl.outer[:, : bowl.foot + 1], levels).min(axis=0)
    inside = _level_radii(bowl.inner, levels).max(axis=0)
    quarters = bowl.outer[:: len(bowl.outer) // 4, 0]
    along, across = (float(np.linalg.norm(quarters[i] - quarters[i + 2])) for i in (0, 1))
    rim_h = quarters[:, 2]
    return RoundBowl(
        diameter=2 * float(outside[0]),
        depth=foot - top,
        wall=_least_wall(levels, outside, inside, foot, floor),
        base=foot - floor,
        along=along,
        across=across,
        ovality_pct=100 * (along - across) / along,
        rim_lift=float(rim_h[1] + rim_h[3] - rim_h[0] - rim_h[2]) / 2,
    )


def _level_radii(surface: Array, levels: Array) -> Array:
    """Return the radius of each meridian at each level, 0 below its end; shape (meridians, levels)."""
    radius = np.hypot(surface[..., 0], surface[..., 1])
    h = np.maximum.accumulate(surface[..., 2], axis=1)
    return np.stack([np.interp(levels, h[i], radius[i], right=0.0) for i in range(len(surface))])


def _least_wall(levels: Array, outside: Array, inside: Array, foot: float, floor: float) -> float:
    """Return the least distance between the two meridian curves; where they cross, the overlap as a negative number."""
    hollow = levels < floor
    gap = float((outside - inside)[hollow].min()) if hollow.any() else math.inf
    if min(gap, foot - floor) <= 0:
        return min(gap, foot - floor)
    outer = np.append(np.stack([outside, levels], axis=1), [[0.0, foot]], axis=0)
    edge = float(np.interp(floor, levels, inside))
    inner = np.append(np.stack([inside, levels], axis=1)[hollow], [[edge, floor], [0.0, floor]], axis=0)
    return min(_distance(outer, inner), _distance(inner, outer))


def _distance(points: Array, line: Array) -> float:
    """Return the least distance from points (n, 2) to a polyline (m, 2)."""
    start, step = line[:-1], np.diff(line, axis=0)
    square = np.maximum((step**2).sum(axis=1), 1e-12)
    offset = points[:, None] - start
    share = np.clip((offset * step).sum(axis=-1) / square, 0, 1)
    return float(np.sqrt(((offset - share[..., None] * step) ** 2).sum(axis=-1)).min())
