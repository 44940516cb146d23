"""Where four squares of a chequered pattern meet, below a pixel."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
Grey = NDArray[np.uint8]
LEAST_CONTRAST = 12.0  # grey levels between the lighter and the darker squares about a corner


def refined(grey: Grey, guesses: ArrayLike, half_window_px: float) -> Array:
    """Return corners, shape (n, 2), moved to where all gradients about them point past them.

    Förstner & Gülch 1987, as OpenCV's cornerSubPix has it; a saddle is symmetric, so blur does not shift it.
    """
    import cv2

    points = np.asarray(guesses, dtype=np.float32).reshape(-1, 1, 2)
    if not len(points):
        return np.zeros((0, 2))
    half = max(2, round(half_window_px))
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 50, 0.005)
    return np.asarray(cv2.cornerSubPix(grey, points.copy(), (half, half), (-1, -1), stop), float).reshape(-1, 2)


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
