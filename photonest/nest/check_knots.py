"""The independent check's own picture of a branch that leans: it shares nothing with the search's.

A cone of any lean, its tip on the pith line, passes the face at the knot's outline. Every ray from the pith through a
point of that outline is walked outwards to the edge of the wood.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from photonest.model import Defect, Face, Plan

RAY_STEP = 0.5  # mm
RAYS_APART = 2.0  # mm, at the edge of the wood


def rays_through(defect: Defect, face: Face, plan: Plan) -> tuple[NDArray[np.float64], float] | None:
    """Return points (n, 2) of all rays from the pith through a knot, and the standard error of the outermost.

    None where knots are not to be followed, and for a knot about the pith.
    """
    import shapely

    if not plan.stock.knots_lean or plan.stock.kind == "blank" or defect.kind != "knot" or face.pith is None:
        return None
    pith = np.asarray(face.pith.point, float)
    wood: Any = np.asarray(face.outline.wood, float)
    most = float(np.linalg.norm(wood - pith, axis=1).max())
    corners = [complex(*(np.asarray(point) - pith)) for point in defect.outline]
    towards = sum(corner / abs(corner) for corner in corners if abs(corner) > 0)
    if min(abs(corner) for corner in corners) < 1.0 or shapely.Polygon(defect.outline).contains(shapely.Point(pith)):
        return None
    ahead = [float(np.angle(corner / towards)) for corner in corners]
    if max(ahead) - min(ahead) > 0.9 * np.pi:
        return None
    tangents = [abs(corners[int(pick(ahead))]) for pick in (np.argmin, np.argmax)]
    count = max(2, int(np.ceil((max(ahead) - min(ahead)) * most / RAYS_APART)) + 1)
    turns = np.angle(towards) + np.linspace(min(ahead), max(ahead), count)
    steps = np.arange(0.0, most + RAY_STEP, RAY_STEP)
    points = pith + (steps[:, None, None] * np.stack([np.cos(turns), np.sin(turns)], axis=1)[None]).reshape(-1, 2)
    times = max(1.0, most / min(tangents))
    error = float(np.hypot(defect.standard_error * times, face.pith.standard_error * max(1.0, times - 1.0)))
    return points, error
