"""Bowls and grooves in the meridian half-plane: rho from the axis, h below the rim plane, all in mm.

A bowl's outside is an arc about (centre, -stand_off), cut flat at its foot; a groove's edges are arcs about its pivot.
What lies above an arc and below the rim plane is part of a disc, so a wall is at least t thick exactly when the disc of
the inside lies in the outside's disc made t smaller and stays t above the foot: the erosion of an intersection of
convex sets is the intersection of their erosions. That gives every condition here in closed form. All functions work
on arrays that broadcast.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.nest.rules import Real, Rules


class Outside(NamedTuple):
    """The outside of a bowl, and what its inside must keep to.

    `floor` is the greatest depth the inside may reach anywhere, `axis_floor` the greatest on the axis.
    """

    centre: Real
    stand_off: Real
    radius: Real
    rim: Real
    foot: Real
    depth: Real
    wall: Real
    floor: Real
    axis_floor: Real

    def at(self, picked: slice | list[int] | NDArray[np.bool_]) -> Outside:
        """Return the bowls that are picked."""
        return Outside(*(field[picked] for field in self))

    def column(self) -> Outside:
        """Return the bowls as a column, to be paired with a row of grooves."""
        return Outside(*(np.asarray(field)[:, None] for field in self))


def turned_outside(rules: Rules, rim: ArrayLike, depth: ArrayLike) -> Outside:
    """Return the outside of a first bowl: an arc about the axis through (rim, 0) and (foot, depth).

    Where the arc's centre would lie behind the rim plane (a bowl deeper than ``sqrt(rim^2 - foot^2)``), or the foot is
    wider than the rim, the radius is NaN.
    """
    rim, depth = np.broadcast_arrays(np.asarray(rim, float), np.asarray(depth, float))
    foot = rules.foot(rim)
    with np.errstate(invalid="ignore", divide="ignore"):
        stand_off = (rim**2 - foot**2 - depth**2) / (2 * depth)
        possible = (stand_off >= -1e-9) & (foot < rim) & (depth > 0)
    stand_off = np.where(possible, np.maximum(stand_off, 0.0), np.nan)
    wall = rules.wall(rim)
    radius = np.hypot(rim, stand_off)
    return Outside(np.zeros_like(rim), stand_off, radius, rim, foot, depth, wall, *_floors(rules, depth, wall))


def _floors(rules: Rules, depth: Real, wall: Real) -> tuple[Real, Real]:
    """Return how deep the inside of a first bowl may go: anywhere, and on the axis, where the tenon is.

    Screws of a faceplate reach in from the foot: the bowl is turned round on it once its outside is done.
    """
    base = wall + rules.shop.tenon
    return depth - np.maximum(wall, rules.screw_reach), depth - np.maximum(base, rules.screw_reach)


def deepest(rules: Rules, rim: ArrayLike) -> Real:
    """Return the depth of the deepest first bowl of a rim radius: a half circle cut flat at the foot."""
    rim = np.asarray(rim, float)
    found: Real = np.sqrt(np.maximum(rim**2 - rules.foot(rim) ** 2, 0.0))
    return found


def loosest_outside(rules: Rules, low: Real, high: Real, room: Real) -> Outside:
    """Return an outside that holds every first bowl of rim radius low to high, no deeper than `room`.

    At depth h the radius of such a bowl is ``sqrt(r^2 (1 - h/H) + f^2 h/H + h H - h^2)``, which grows with the rim r,
    the foot f and the depth H; and it is never more than that of the half circle.
    """
    most, least = rules.greatest_foot_to(high), rules.least_foot_from(low)
    depth = np.minimum(room, np.sqrt(np.maximum(high**2 - least**2, 0.0)))
    with np.errstate(invalid="ignore", divide="ignore"):
        stand_off = np.maximum((high**2 - most**2 - depth**2) / (2 * depth), 0.0)
    wall = rules.least_wall_from(low)
    radius = np.where(depth > 0, np.hypot(high, stand_off), np.nan)
    return Outside(np.zeros_like(high), stand_off, radius, high, least, depth, wall, *_floors(rules, depth, wall))


def cored_outside(rules: Rules, edge: ArrayLike, offset: ArrayLike, stand_off: ArrayLike) -> Outside:
    """Return the outside of a core: the groove's inner edge, of radius `edge`, cut flat at the foot.

    The radius is NaN where no bowl comes out: the arc misses the rim plane, or leaves a dimple in the foot.
    """
    edge, offset, stand_off = np.broadcast_arrays(
        np.asarray(edge, float), np.asarray(offset, float), np.asarray(stand_off, float)
    )
    with np.errstate(invalid="ignore"):
        rim = offset + np.sqrt(edge**2 - stand_off**2)
        foot = rules.foot(np.nan_to_num(rim))
        depth = -stand_off + np.sqrt(edge**2 - (foot - offset) ** 2)
        possible = (rim > foot) & (depth > 0) & (2 * offset <= foot + 1e-9)
    radius = np.where(possible, edge, np.nan)
    rim, depth = np.where(possible, rim, np.nan), np.where(possible, depth, np.nan)
    wall = rules.wall(np.nan_to_num(rim))
    floor = depth - wall
    return Outside(offset, stand_off, radius, rim, foot, depth, wall, floor, floor - rules.shop.tenon)


def worth_having(rules: Rules, bowl: Outside) -> NDArray[np.bool_]:
    """Return which bowls are large enough and leave something to hollow."""
    shop = rules.shop
    with np.errstate(invalid="ignore"):
        large = (2 * bowl.rim >= shop.min_rim - 1e-9) & (bowl.depth >= shop.min_depth - 1e-9)
        hollow = (bowl.axis_floor > 1.0) & (bowl.rim - bowl.wall > 1.0) & (bowl.radius - bowl.wall > 1.0)
    both: NDArray[np.bool_] = large & hollow & np.isfinite(bowl.radius)
    return both


def least_stand_off(bowl: Outside, edge: ArrayLike, offset: ArrayLike) -> Real:
    """Return the least stand-off at which a groove whose outer edge has radius `edge` leaves the wall and base.

    Every larger stand-off is safe too: the groove's disc only shrinks. Infinite where none is.
    """
    edge, offset = np.asarray(edge, float), np.asarray(offset, float)
    inner = bowl.radius - bowl.wall
    with np.errstate(invalid="ignore"):
        on_axis = np.sqrt(edge**2 - offset**2)
        base = on_axis - bowl.axis_floor
        floor = np.where(offset > 0, edge - bowl.floor, -np.inf)
        at_axis = bowl.stand_off + on_axis - np.sqrt(inner**2 - bowl.centre**2)
        reach = bowl.centre + np.sqrt(inner**2 - bowl.stand_off**2) - offset
        at_rim = np.where(reach < edge, np.sqrt(edge**2 - reach**2), -np.inf)
        least = np.maximum(np.maximum(base, floor), np.maximum(at_axis, at_rim))
        least = np.maximum(least, 0.0)
        least = _clear_of_the_side(bowl, inner, edge, offset, least)
        possible = np.isfinite(least) & (reach > 0) & (inner > 0) & (least < edge)
    found: Real = np.where(possible, least, np.inf)
    return found


def _clear_of_the_side(bowl: Outside, inner: Real, edge: Real, offset: Real, least: Real) -> Real:
    """Raise the stand-off where the groove comes nearest to the side between rim and axis, on the line of centres."""
    across, down = offset - bowl.centre, bowl.stand_off - least
    apart = np.hypot(across, down)
    share = edge / np.maximum(apart, 1e-12)
    on_arc = (down * share - least > 0) & (offset + across * share > 0)
    clash = on_arc & (apart + edge > inner + 1e-9)
    room = inner - edge
    raised = bowl.stand_off - np.sqrt(room**2 - across**2)
    found: Real = np.where(clash, np.where(room >= np.abs(across), np.maximum(raised, least), np.inf), least)
    return found


def wall_between(bowl: Outside, edge: ArrayLike, offset: ArrayLike, stand_off: ArrayLike) -> Real:
    """Return the shortest distance from a bowl's outside, foot included, to the arc of its inside."""
    edge, offset, stand_off = np.asarray(edge, float), np.asarray(offset, float), np.asarray(stand_off, float)
    at_rim = np.hypot(offset + np.sqrt(edge**2 - stand_off**2) - bowl.centre, bowl.stand_off)
    on_axis = np.sqrt(edge**2 - offset**2) - stand_off
    at_axis = np.hypot(bowl.centre, bowl.stand_off + on_axis)
    across, down = offset - bowl.centre, bowl.stand_off - stand_off
    apart = np.hypot(across, down)
    share = edge / np.maximum(apart, 1e-12)
    on_arc = (down * share - stand_off > 0) & (offset + across * share > 0)
    farthest = np.maximum(np.maximum(at_rim, at_axis), np.where(on_arc, apart + edge, 0.0))
    lowest = np.where(offset > 0, edge - stand_off, on_axis)
    wall: Real = np.minimum(bowl.radius - farthest, bowl.depth - lowest)
    return wall


def volume_under(edge: ArrayLike, offset: ArrayLike, stand_off: ArrayLike, floor: ArrayLike = np.inf) -> Real:
    """Return what the hollow under an arc holds, in mm3, down to a flat floor where one is given.

    Discs of radius ``offset + sqrt(edge^2 - (h + stand_off)^2)`` are integrated over h in closed form; below the depth
    where an arc of positive offset meets the axis they are rings.
    """
    edge, offset, stand_off = np.asarray(edge, float), np.asarray(offset, float), np.asarray(stand_off, float)
    on_axis = np.sqrt(edge**2 - offset**2) - stand_off
    discs_end = np.minimum(on_axis, floor)
    rings_end = np.where(offset > 0, np.minimum(edge - stand_off, floor), discs_end)

    def half_disc(h: Real) -> Real:  # integral of sqrt(edge^2 - x^2), x = h + stand_off
        x = np.clip(h + stand_off, -edge, edge)
        area: Real = (x * np.sqrt(edge**2 - x**2) + edge**2 * np.arcsin(x / edge)) / 2
        return area

    def whole(h: Real) -> Real:
        x = h + stand_off
        integral: Real = (offset**2 + edge**2) * x - x**3 / 3 + 2 * offset * half_disc(h)
        return integral

    top = np.zeros_like(discs_end)
    discs = whole(discs_end) - whole(top)
    rings = 4 * offset * (half_disc(rings_end) - half_disc(discs_end))
    volume: Real = np.pi * (discs + np.where(rings_end > discs_end, rings, 0.0))
    return volume
