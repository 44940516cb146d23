"""Where four squares of a chequered pattern meet, below a pixel."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Grey = NDArray[np.uint8]
SADDLE_STEPS = 6  # each takes away two thirds of what is left, or more where blurred
WIDEST_PX = 40  # a window twice as wide holds points enough
LEAST_CONTRAST = 12.0  # grey levels between the lighter and the darker squares about a corner


def saddle_points(grey: Grey, guesses: ArrayLike, half_window_px: float) -> Array:
    """Return corners, shape (n, 2), moved to the saddle of a paraboloid fitted to the light about them.

    Lucchese & Mitra 2002. A saddle is symmetric, so blur does not shift it, and the fit holds however blurred it is.
    Where all gradients are asked to point past the corner (Förstner & Gülch 1987), a window within the blur, which
    shows the mere saddle x y, makes of a place off by e one off by 2 e.
    """
    import cv2

    half = min(max(2, round(half_window_px)), WIDEST_PX)
    v, u = (grid.ravel().astype(float) for grid in np.mgrid[-half : half + 1, -half : half + 1])
    weight = np.exp(-(u**2 + v**2) / (0.5 * half**2))
    terms = np.stack([u**2, u * v, v**2, u, v, np.ones_like(u)], axis=1)
    solver = np.linalg.solve(terms.T @ (weight[:, None] * terms), terms.T * weight)
    points = np.array(guesses, dtype=float).reshape(-1, 2)
    for _ in range(SADDLE_STEPS if len(points) else 0):
        at = (points[:, None] + np.stack([u, v], axis=1)).astype(np.float32)
        seen = cv2.remap(grey, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        a, b, c, d, e, _ = solver @ seen.T.astype(float)
        bend = np.minimum(4 * a * c - b**2, -1e-9)  # negative at a saddle; elsewhere the step is cut below
        step = np.stack([b * e - 2 * c * d, b * d - 2 * a * e], axis=1) / bend[:, None]
        points += np.clip(step, -half / 2, half / 2)
    return points


def are_saddles(grey: Grey, around: ArrayLike) -> NDArray[np.bool_]:
    """Return whether the squares about each corner are light, dark, light and dark.

    Parameters
    ----------
    around : array_like, shape (n, 4, 2)
        A pixel in each of the four squares about each corner, in order, a light one first.
    """
    import cv2

    at = np.asarray(around, dtype=np.float32)
    seen = cv2.remap(grey, at[..., 0], at[..., 1], cv2.INTER_LINEAR).astype(float) if len(at) else np.zeros((0, 4))
    light, dark = seen[:, ::2].min(axis=1), seen[:, 1::2].max(axis=1)
    return np.asarray(light - dark > LEAST_CONTRAST)


def in_picture(points: ArrayLike, shape: tuple[int, ...], margin: float) -> NDArray[np.bool_]:
    """Return which points, shape (n, 2), lie in a picture and at least `margin` pixels from its rim."""
    x, y = np.asarray(points, dtype=float).T
    height, width = shape[:2]
    return np.asarray((x >= margin) & (y >= margin) & (x <= width - 1 - margin) & (y <= height - 1 - margin))
