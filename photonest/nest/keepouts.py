"""What no bowl may come near: the edge of the wood and its defects, in the plane of the face."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from photonest.model import Crack, Defect, Face, Points, Shop, Stock
from photonest.nest.knots import leaning
from photonest.nest.rules import Real

Mark = TypeVar("Mark", Crack, Defect)


@dataclass(frozen=True)
class KeepOut:
    """The edge of the wood, or one defect.

    Attributes
    ----------
    name : str
        As it is called in plans: ``"bark"``, ``"pith"``, ``"crack c2"``.
    segments : ndarray, shape (n, 4)
        x0, y0, x1, y1 of each side in mm.
    reach : ndarray, shape (n,)
        Half the opening at each segment: how far the defect reaches to either side of it.
    margin : float
        The distance to keep, before standard errors.
    standard_error : float
        Of its position, in mm, without the scale's.
    kind : {"edge", "line", "area"}
        The edge keeps bowls in; an area keeps them out of its inside too.
    depth : float or None
        How far below the photographed face it reaches; None means through the stock.
    """

    name: str
    segments: Real
    reach: Real
    margin: float
    standard_error: float = 0.0
    kind: str = "line"
    depth: float | None = None


def segments_of(points: Points, closed: bool) -> Real:
    """Return the sides of a polyline or polygon as rows x0, y0, x1, y1; a single point gives a side of no length."""
    array = np.asarray(points, float).reshape(-1, 2)
    if closed:
        return np.hstack([array, np.roll(array, -1, axis=0)])
    if len(array) == 1:
        return np.hstack([array, array])
    return np.hstack([array[:-1], array[1:]])


def keepouts(face: Face, stock: Stock, shop: Shop) -> tuple[KeepOut, ...]:
    """Return the edge of the wood and every defect that is not dismissed, the edge first.

    The pith of a log is left out: how near its bowls may come to it is a matter of the rip.

    Knots are prisms like every other defect, as wide at every depth as on the face; on end grain, where it is asked
    for, they are the sectors that hold their branches however these lean. End checks end at their depth, but no other
    defect does that was not probed; a ring shake is none of them, for drying splits wood across the rings.
    """
    edge_error = face.outline.standard_error
    sides = segments_of(face.outline.wood, closed=True)
    name = "edge of the wood" if face.outline.under_bark is None else "bark"
    found = [KeepOut(name, sides, np.zeros(len(sides)), shop.trueing, edge_error, "edge")]
    if face.pith is not None and not stock.through_pith and stock.kind != "log":
        pith = segments_of((face.pith.point,), closed=False)
        found.append(KeepOut("pith", pith, np.zeros(1), shop.clearance, face.pith.standard_error))
    checks = stock.check_depth if stock.kind == "log" else None
    for crack in _standing(face.cracks):
        depth = checks if crack.depth is None and crack.kind != "ring" else crack.depth
        found.append(_from_crack(crack, shop, depth_of(depth, stock)))
    found += [_from_defect(defect, face, stock, shop) for defect in _standing(face.defects)]
    return tuple(found)


def depth_of(depth: float | None, stock: Stock) -> float | None:
    """Return how deep a defect reaches below the photographed face; None when through the stock."""
    through = stock.length if stock.kind == "log" else stock.thickness
    return None if depth is None or (through is not None and depth >= through) else depth


def _standing(marks: Iterable[Mark]) -> list[Mark]:
    return [mark for mark in marks if mark.status != "dismissed"]


def _from_crack(crack: Crack, shop: Shop, depth: float | None) -> KeepOut:
    segments = segments_of(crack.path, closed=False)
    widths = np.asarray(crack.openings)
    reach = np.maximum(widths[:-1], widths[1:]) / 2
    return KeepOut(f"crack {crack.id}", segments, reach, shop.clearance, crack.standard_error, "line", depth)


def _from_defect(defect: Defect, face: Face, stock: Stock, shop: Shop) -> KeepOut:
    area, error = leaning(defect, face, stock) or (defect.outline, defect.standard_error)
    segments, depth = segments_of(area, closed=True), depth_of(defect.depth, stock)
    name = f"{defect.kind} {defect.id}"
    return KeepOut(name, segments, np.zeros(len(segments)), shop.clearance, error, "area", depth)


def distances(x: Real | float, y: Real | float, segments: Real) -> Real:
    """Return the distance of a point to each segment; of each point of a column, as rows."""
    ax, ay = segments[:, 0], segments[:, 1]
    ux, uy = segments[:, 2] - ax, segments[:, 3] - ay
    length2 = ux * ux + uy * uy
    along = ((x - ax) * ux + (y - ay) * uy) / np.where(length2 > 0, length2, 1.0)
    along = np.clip(along, 0.0, 1.0)
    found: Real = np.hypot(ax + along * ux - x, ay + along * uy - y)
    return found


def holds(x: float, y: float, sides: Real) -> bool:
    """Return whether a polygon, given by its sides, holds a point (even-odd rule)."""
    return bool(holds_each(np.array([x]), np.array([y]), sides)[0])


def holds_each(x: Real, y: Real, sides: Real) -> NDArray[np.bool_]:
    """Return which of some points, shape (n,), a polygon holds."""
    x0, y0, x1, y1 = sides.T
    crosses = (y0 > y[:, None]) != (y1 > y[:, None])
    with np.errstate(divide="ignore", invalid="ignore"):
        right = x[:, None] < x0 + (y[:, None] - y0) / (y1 - y0) * (x1 - x0)
    found: NDArray[np.bool_] = np.count_nonzero(crosses & right, axis=1) % 2 == 1
    return found
