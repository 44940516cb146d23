"""An even border about a photo that was turned, straightened or padded: no ground that the piece lies on."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import Mask
from photonest.model import FlatPhoto
from photonest.resizing import reduced

LOOK_PX = 480
EVEN = 6  # grey levels by which a border may depart from its colour, for JPEG's sake
STRAIGHT, SIDES = 0.004, 8  # of the length round; a rectangle turned in a frame that cuts its corners has eight sides
FULL = 0.985  # of its hull that what is within a border fills: a photo has no bays


def without_border(flat: FlatPhoto) -> FlatPhoto:
    """Return the picture with an even border about what is seen left out of what is covered, where there is one.

    What is within has straight sides and reaches two sides of the frame or all four, as a photo does. A piece of wood
    cut out does not: it is round somewhere, or has some room about it.
    """
    import cv2

    small = reduced(flat, LOOK_PX)
    hull = _within(small.pixels) if flat.covered is None else None
    if hull is None:
        return flat
    size = (flat.pixels.shape[0], flat.pixels.shape[1])
    mask = np.zeros(size, np.uint8)
    corners = flat.to_px(small.to_mm(hull.astype(float)))
    cv2.fillConvexPoly(mask, np.round(corners).astype(np.int32), 1)
    inward = 2 * round(1.5 * size[0] / small.pixels.shape[0]) + 1  # the outermost pixels are half border
    return replace(flat, covered=cv2.erode(mask, np.ones((inward, inward), np.uint8), borderValue=1).astype(bool))


def _within(pixels: NDArray[np.uint8]) -> NDArray[np.int32] | None:
    """Return the corners, shape (n, 2), of a photo within an even border; None where there is no border."""
    import cv2

    height, width = pixels.shape[:2]
    corners = pixels[[0, 0, -1, -1], [0, -1, 0, -1]].astype(int)
    if np.ptp(corners, axis=0).max() > EVEN:
        return None
    inside: Mask = np.abs(pixels - corners.mean(axis=0)).max(axis=2) > EVEN
    if inside.all() or inside.mean() < 0.2:
        return None
    hull = cv2.convexHull(np.argwhere(inside)[:, ::-1].astype(np.int32))
    left, upper, across, down = cv2.boundingRect(hull)
    sides = cv2.approxPolyDP(hull, STRAIGHT * cv2.arcLength(hull, True), True)
    reaches = (left <= 1 and across >= width - 3, upper <= 1 and down >= height - 3)
    if not any(reaches) or len(sides) > SIDES:
        return None
    filled = cv2.morphologyEx(inside.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((9, 9), np.uint8)).sum()
    return hull[:, 0] if filled > FULL * cv2.contourArea(hull) else None
