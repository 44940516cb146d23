"""Dark areas of a face, which have no rings: holes, rotten hearts that fell out, wide open checks."""

from __future__ import annotations

import numpy as np

from photonest.imaging import Image, Mask

# of how bright the wood about them is in the middle, and of the diameter, from end to end: larger ones as dark are
# hearts, or shadows
DARK = ((0.65, 0.13), (0.45, 0.25))
ABOUT = 0.15  # of the diameter: so far about them that is told
NARROW = 0.012  # of the diameter: what is nowhere as wide is a line, as late wood, a check or the pith itself
SOFT = 0.01  # of the diameter: so far their edges reach


def dark_areas(grey: Image, mask: Mask, diameter: float) -> Mask:
    """Return what is much darker than the wood about it, neither a line nor as large as a heart.

    Its edge is a line as strong as no ring, about a place that is not the pith.

    Parameters
    ----------
    grey : array, shape (h, w), float32
        From 0 to 255.
    mask : array, shape (h, w), bool
        The wood.
    diameter : float
        Of the wood, in pixels.
    """
    import cv2

    scale = max(1, round(ABOUT * diameter / 30))
    filled = np.where(mask, grey, np.float32(np.median(grey[mask])) if mask.any() else np.float32(0))
    small = cv2.resize(
        np.clip(filled, 0, 255).astype(np.uint8), None, fx=1 / scale, fy=1 / scale, interpolation=cv2.INTER_AREA
    )
    level = cv2.resize(cv2.medianBlur(small, 2 * round(ABOUT * diameter / scale) + 1), grey.shape[1::-1])
    areas = np.zeros_like(mask)
    for tone, largest in DARK:
        dark = ((filled < tone * level) & mask).view(np.uint8)
        wide = cv2.morphologyEx(dark, cv2.MORPH_OPEN, _round(NARROW * diameter))
        _, labels, stats, _ = cv2.connectedComponentsWithStats(wide)
        kept = np.maximum(stats[:, cv2.CC_STAT_WIDTH], stats[:, cv2.CC_STAT_HEIGHT]) < largest * diameter
        kept[0] = False
        areas |= kept[labels]
    if not areas.any():
        return areas
    return np.asarray(cv2.dilate(areas.view(np.uint8), _round(2 * SOFT * diameter)) > 0) & mask


def _round(across: float) -> Mask:
    import cv2

    size = 2 * max(1, round(across / 2)) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size)))
