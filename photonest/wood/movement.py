"""How a piece of wood changes shape as it dries: the stress-free polar map about the pith.

Shrinkage differs along the rays (er), along the rings (et) and along the grain (el). Where the piece does not close
round the pith, the map of a point at (r, theta) about the pith and z along the grain,

    r' = (1 - er) r,    theta' = k theta,    z' = (1 - el) z,    k = (1 - et) / (1 - er),

stretches every point by 1 - er, 1 - et and 1 - el in its own three directions and only turns it otherwise. Each point
has just the size it wants, so no stress is left: the shape is exact for a straight pith and an even moisture. Round
the pith the angles would have to add up to 360 k degrees, and no such shape exists.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from photonest.model import FieldError, Point3
from photonest.wood.moisture import Shrink

Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class PithLine:
    """The pith as a straight line in space, and the side of it on which the piece lies.

    Attributes
    ----------
    point : (x, y, z)
        Any point of the line, in mm.
    grain : (x, y, z)
        Along the line; of any length.
    towards : (x, y, z)
        Any point of the piece, away from the line: the plane through it and the line keeps its direction.
    """

    point: Point3
    grain: Point3
    towards: Point3

    def frame(self) -> Array:
        """Return the rows along the ray to `towards`, along the ring and along the grain; shape (3, 3)."""
        grain = _unit(np.asarray(self.grain, dtype=np.float64), "grain")
        out = np.asarray(self.towards, dtype=np.float64) - np.asarray(self.point)
        ray = _unit(out - (out @ grain) * grain, "towards")
        return np.stack([ray, np.cross(grain, ray), grain])


def _unit(vector: Array, name: str) -> Array:
    length = float(np.linalg.norm(vector))
    if not length > 1e-9:
        raise FieldError(name, "must point away from the pith" if name == "towards" else "must have a direction")
    return vector / length


def polar_map(points: Array, shrink: Shrink) -> Array:
    """Return where points of a cross-section go, the pith being the origin.

    Parameters
    ----------
    points : array of float, shape (..., 2)
        In mm. The direction of the first axis is kept; the piece must not reach across the negative first axis.
    shrink : Shrink
        Free shrinkage.

    Returns
    -------
    array of float, shape (..., 2)

    Examples
    --------
    >>> polar_map(np.array([[100.0, 0.0]]), Shrink(0.04, 0.08, 0.0))
    array([[96.,  0.]])
    """
    k = (1 - shrink.tangential) / (1 - shrink.radial)
    radius = np.hypot(points[..., 0], points[..., 1]) * (1 - shrink.radial)
    angle = np.arctan2(points[..., 1], points[..., 0]) * k
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=-1)


def move(points: Array, pith: PithLine, shrink: Shrink) -> Array:
    """Return where points of a piece go as it dries.

    Parameters
    ----------
    points : array of float, shape (..., 3)
        In mm.
    pith : PithLine
        The piece must lie within 180 degrees either side of ``pith.towards``, and not hold the pith.
    shrink : Shrink
        Free shrinkage.

    Returns
    -------
    array of float, shape (..., 3)
        In the same frame; points of the pith that lie level with ``pith.point`` stay.
    """
    frame = pith.frame()
    local = (points - np.asarray(pith.point)) @ frame.T
    moved = np.concatenate([polar_map(local[..., :2], shrink), local[..., 2:] * (1 - shrink.longitudinal)], axis=-1)
    home: Array = moved @ frame + np.asarray(pith.point)
    return home


def gap_angle(shrink: Shrink) -> float:
    """Return the angle in degrees that one crack from the pith opens to if it takes all the movement of a whole disc.

    ``360 (et - er) / (1 - er)``. A piece that closes round the pith can't shrink without stress: it cracks, or it
    keeps the stress.

    Examples
    --------
    >>> round(gap_angle(Shrink(0.0352, 0.0726, 0.0)), 1)
    14.0
    """
    return 360 * (shrink.tangential - shrink.radial) / (1 - shrink.radial)
