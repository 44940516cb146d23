"""How sure a length on the face is: the standard error of a scale carried to where something is measured.

All positions are mm in the scale's own frame. First-order propagation of the covariance in `MapError`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import MapError, Scale

Array = NDArray[np.float64]
UNSQUARE_PCT = 2.0
"""Standard error, in percent, of a mean diameter by a length in one direction, where the photo's tilt is not known.

A tilt t shortens one direction by 1 - cos t; a mean diameter by half of that. Over all directions of the length, and
tilts spread evenly over the directions within 25 degrees of square, the root mean square of the difference is T^2 over
sqrt(96), T being 25 degrees in radians: 1.9 %; perspective adds a little.
"""
TILT_LEFT = "a tilt of the camera is not removed."
"""How the warning of a scale ends that knows of no tilt."""
AFFINE = [1, 2, 4, 5]
"""Which of the ten ways stretch and shear what is seen: xx, xy, yx, yy."""
PERSPECTIVE = [6, 7]
"""Which of the ten ways make one side of what is seen larger and the other smaller, as a tilt does, to first order."""


def modes(error: MapError, points_px: ArrayLike) -> Array:
    """Return by how many pixels each of the ten ways moves undistorted pixels, shape (n, 2, 10)."""
    u, v = ((np.asarray(points_px, dtype=float) - error.centre_px) / error.unit_px).T
    one, none, r2 = np.ones_like(u), np.zeros_like(u), u * u + v * v
    x = [one, u, v, none, none, none, u * u, u * v, u * r2, u * r2 * r2]
    y = [none, none, none, one, u, v, u * v, v * v, v * r2, v * r2 * r2]
    return np.stack([np.stack(x, -1), np.stack(y, -1)], axis=1) * error.unit_px


def modes_mm(scale: Scale, points_mm: ArrayLike) -> Array:
    """Return by how many mm each of the ten ways moves points of the face, shape (n, 2, 10)."""
    if scale.map_error is None:
        raise ValueError("this scale does not say how its error depends on the place")
    points = np.asarray(points_mm, dtype=float)
    inverse = np.linalg.inv(np.asarray(scale.px_to_mm, dtype=float))
    homogeneous = points @ inverse[:, :2].T + inverse[:, 2]
    points_px = homogeneous[:, :2] / homogeneous[:, 2:]
    return np.asarray(_slope(scale.px_to_mm, points_px) @ modes(scale.map_error, points_px))


def _slope(homography: ArrayLike, points: Array) -> Array:
    """Return the derivative of a homography at points, shape (n, 2, 2)."""
    matrix = np.asarray(homography, dtype=float)
    moved = points @ matrix[:, :2].T + matrix[:, 2]
    at = moved[:, :2] / moved[:, 2:]
    return np.asarray((matrix[None, :2, :2] - at[:, :, None] * matrix[2, :2]) / moved[:, 2, None, None])


def diameter_error_pct(scale: Scale, outline_mm: ArrayLike) -> float:
    """Return the standard error of a closed outline's mean diameter due to the scale, in percent.

    The mean diameter goes with the root of the area, and the area changes by what the edge moves across itself.
    """
    if scale.map_error is None:
        return scale.standard_error_pct
    return 100 * _spread(scale.map_error, diameter_slope(scale, outline_mm))


def diameter_slope(scale: Scale, outline_mm: ArrayLike) -> Array:
    """Return by which share a closed outline's mean diameter changes with each of the ten ways, shape (10,)."""
    points = np.asarray(outline_mm, dtype=float)
    ahead, behind = np.roll(points, -1, axis=0), np.roll(points, 1, axis=0)
    outward = (ahead - behind)[:, ::-1] * [0.5, -0.5]  # derivative of the shoelace area by each point
    area = 0.5 * float(np.sum(points[:, 0] * ahead[:, 1] - points[:, 1] * ahead[:, 0]))
    return np.asarray(np.einsum("ni,nim->m", outward, modes_mm(scale, points)) / (2 * area))


def rim_error_mm(scale: Scale, outline_mm: ArrayLike) -> float:
    """Return the greatest standard error of a point of the outline against the outline as a whole, in mm.

    A shift and a turn of the whole outline change no measure of it, and are taken out.
    """
    points = np.asarray(outline_mm, dtype=float)
    centred = points - points.mean(axis=0)
    if scale.map_error is None:
        return float(scale.standard_error_pct / 100 * np.linalg.norm(centred, axis=1).max())
    flat = modes_mm(scale, points).reshape(2 * len(points), -1)
    shift_x, shift_y = np.tile([1.0, 0.0], len(points)), np.tile([0.0, 1.0], len(points))
    turn = (centred[:, ::-1] * [-1, 1]).ravel()
    rigid = np.linalg.qr(np.column_stack([shift_x, shift_y, turn]))[0]
    moved = (flat - rigid @ (rigid.T @ flat)).reshape(len(points), 2, -1)
    covariance = np.einsum("nim,mk,njk->nij", moved, np.asarray(scale.map_error.covariance), moved)
    return float(np.sqrt(np.linalg.eigvalsh(covariance).max()))


def growth(scale: Scale) -> Array:
    """Return the ten numbers, over the share, by which the map is wrong where all lengths are too large by a share.

    Lengths grow about the frame's origin; a shift changes nothing measured.
    """
    error = scale.map_error
    assert error is not None
    (x, y), unit = error.centre_px, error.unit_px
    matrix = np.asarray(scale.px_to_mm, dtype=float) @ np.array([[unit, 0, x], [0, unit, y], [0, 0, 1.0]])
    e = np.linalg.inv(matrix) @ np.diag([1.0, 1.0, 0.0]) @ matrix
    e = e - e[2, 2] * np.eye(3)
    return np.array([e[0, 2], e[0, 0], e[0, 1], e[1, 2], e[1, 0], e[1, 1], -e[2, 0], -e[2, 1], 0.0, 0.0])


def disc(centre_mm: ArrayLike, radius: float, points: int = 72) -> Array:
    """Return points around a circle, shape (points, 2)."""
    angle = np.arange(points) * 2 * np.pi / points
    return np.asarray(np.asarray(centre_mm, dtype=float) + radius * np.column_stack([np.cos(angle), np.sin(angle)]))


def _spread(error: MapError, direction: Array) -> float:
    variance = float(direction @ np.asarray(error.covariance) @ direction)
    return float(np.sqrt(max(variance, 0.0)))
