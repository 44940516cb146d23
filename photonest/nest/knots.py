"""Where a branch may run whose knot is seen on end grain, however it leans.

A branch grows outwards from the pith, as a cone whose tip lies on the pith line. Seen along that line, a cone of any
lean through a knot's outline lies between the two tangents from the pith to the outline, and all such cones together
fill the sector between them, from the pith to the bark. (Common practice, no source: branches are taken to grow in
planes that hold the pith line, and knots as cones.) How far the branch leans, up or down the trunk, and whether it ends
within the wood, can't be seen on one face; so the sector is kept clear through the whole stock.
"""

from __future__ import annotations

import math

import numpy as np

from photonest.model import Defect, Face, Pith, Points, Stock

ARC = 24  # points of the arc round a sector
WIDEST = 0.9 * math.pi  # a wider sector tells nothing: the knot lies about the pith


def leaning(defect: Defect, face: Face, stock: Stock) -> tuple[Points, float] | None:
    """Return the area that a knot's branch may run in and the standard error of its sides; None for another defect.

    None also where that isn't asked for, and where the face or the pith can't tell: on side grain, or about the pith.
    """
    if defect.kind != "knot" or not stock.knots_lean or stock.kind == "blank" or face.pith is None:
        return None
    found = sector(defect.outline, face.pith.point, _reach(face, face.pith))
    if found is None:
        return None
    area, radius = found
    grown = max(1.0, _reach(face, face.pith) / radius)
    return area, math.hypot(defect.standard_error * grown, face.pith.standard_error * max(1.0, grown - 1.0))


def sector(outline: Points, pith: tuple[float, float], reach: float) -> tuple[Points, float] | None:
    """Return the sector from the pith, between the tangents to an outline, and how near the nearer touches it.

    It ends at `reach` mm from the pith or farther. None where the outline lies about the pith.

    >>> area, radius = sector(((10, -1), (20, -2), (20, 2), (10, 1)), (0.0, 0.0), 100.0)
    >>> round(radius, 2), len(area), round(max(x for x, _ in area))
    (10.05, 26, 100)
    """
    away = np.asarray(outline, float) - pith
    radius, angle = np.hypot(*away.T), np.arctan2(away[:, 1], away[:, 0])
    middle = math.atan2(float(np.sin(angle).mean()), float(np.cos(angle).mean()))
    turn = (angle - middle + math.pi) % (2 * math.pi) - math.pi
    low, high = int(np.argmin(turn)), int(np.argmax(turn))
    wide = float(turn[high] - turn[low])
    if wide > WIDEST or radius.min() < 1.0:
        return None
    turns = middle + np.linspace(float(turn[low]), float(turn[high]), ARC + 1)
    far = max(reach, float(radius.max())) / math.cos(wide / ARC / 2)
    arc = np.asarray(pith) + far * np.stack([np.cos(turns), np.sin(turns)], axis=1)
    return (pith, *((x, y) for x, y in arc.tolist())), float(min(radius[low], radius[high]))


def _reach(face: Face, pith: Pith) -> float:
    return float(np.hypot(*(np.asarray(face.outline.wood) - pith.point).T).max())
