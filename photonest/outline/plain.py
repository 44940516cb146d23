"""The piece before a plain background: white paper, a black cloth without folds, or cut out beforehand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import Mask, blurred
from photonest.model import FlatPhoto
from photonest.planar import Path, evenly

PLAIN_ERROR = 0.0013  # of the diameter: standard error of an edge found so, on real discs in other light and sizes


@dataclass(frozen=True)
class PlainLimits:
    """What counts as plain; colour distances are in grey levels (0 to 255), as the largest over red, green and blue."""

    tolerance: float = 24.0
    """A pixel this near to the background's colour belongs to it."""
    rim_share: float = 0.45
    """At least this share of the photo's rim, or of its corners, has the background's colour."""
    spread: float = 3.0
    """The background's colours lie this near to each other (half of them)."""


def plain_piece(flat: FlatPhoto, usable: Mask, limits: PlainLimits = PlainLimits()) -> Mask | None:
    """Return where the piece at the aim lies before a plain background; None when the background is not plain.

    Parameters
    ----------
    flat : FlatPhoto
        Best at 500 to 1500 pixels.
    usable : ndarray of bool, shape (height, width)
        False where the photo does not reach and on the reference.
    """
    import cv2

    rim = _rim(usable, max(2, round(0.004 * max(usable.shape))))
    colours = flat.pixels[rim].astype(np.int16)
    if len(colours) < 50:
        return None
    colour = _most_common(colours)
    near = np.abs(colours - colour).max(axis=1)
    held = near <= limits.tolerance
    if held.mean() < limits.rim_share or np.median(near[held]) > limits.spread:
        return None
    ground = (np.abs(flat.pixels - colour).max(axis=2) <= limits.tolerance) & usable
    ground = _touching(ground, rim)
    count, labels, facts, _ = cv2.connectedComponentsWithStats((~ground & usable).astype(np.uint8), connectivity=4)
    if count < 2:
        return None
    piece = labels == _label_at(labels, facts, flat)
    share = piece.sum() / piece.size
    return _without_twigs(piece) if 0.01 < share < 0.98 else None


def _rim(usable: Mask, width: int) -> Mask:
    """Return the outermost usable pixels, `width` wide."""
    import cv2

    inner = cv2.erode(usable.astype(np.uint8), np.ones((2 * width + 1, 2 * width + 1), np.uint8), borderValue=0)
    return np.asarray(usable & ~inner.astype(bool))


def _most_common(colours: NDArray[np.int16]) -> NDArray[np.int16]:
    """Return the median of the fullest cell of a coarse colour histogram, and of its neighbours."""
    cells = colours // 16
    code = (cells[:, 0] * 256 + cells[:, 1] * 16 + cells[:, 2]).astype(np.int64)
    best = np.bincount(code).argmax()
    middle = np.array([best // 256, best // 16 % 16, best % 16]) * 16 + 8
    near = np.abs(colours - middle).max(axis=1) <= 24
    median: NDArray[np.int16] = np.median(colours[near], axis=0).astype(np.int16)
    return median


def _touching(ground: Mask, rim: Mask) -> Mask:
    """Return the parts of `ground` that reach the rim."""
    import cv2

    _, labels = cv2.connectedComponents(ground.astype(np.uint8), connectivity=4)
    keep = np.unique(labels[rim & ground])
    table = np.zeros(labels.max() + 1, bool)
    table[keep] = True
    return np.asarray(table[labels] & ground)


def _label_at(labels: NDArray[np.int32], facts: NDArray[np.int32], flat: FlatPhoto) -> int:
    """Return the piece that holds the aim; else the one whose nearest pixel is nearest for its size."""
    x, y = np.round(flat.to_px([flat.aim])[0]).astype(int)
    height, width = labels.shape
    if 0 <= x < width and 0 <= y < height and labels[y, x] and facts[labels[y, x], 4] > 0.005 * labels.size:
        return int(labels[y, x])
    large = [k for k in range(1, len(facts)) if facts[k, 4] > 0.005 * labels.size] or [1 + int(facts[1:, 4].argmax())]
    rows, columns = np.nonzero(np.isin(labels, large))
    nearest = ((columns - x) ** 2 + (rows - y) ** 2).argmin()
    return int(labels[rows[nearest], columns[nearest]])


def _without_twigs(piece: Mask) -> Mask:
    """Return the piece with its holes filled and without what is thinner than a fortieth of its width; corners stay."""
    import cv2

    contours, _ = cv2.findContours(piece.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    whole = cv2.drawContours(np.zeros(piece.shape, np.uint8), contours, -1, 1, cv2.FILLED)
    radius = max(2, round(0.0125 * float(np.sqrt(piece.sum()))))
    side = 2 * radius
    pad = cv2.copyMakeBorder(whole, side, side, side, side, cv2.BORDER_REPLICATE)
    opened = cv2.morphologyEx(pad, cv2.MORPH_OPEN, _disc(radius))
    # A right corner loses (sqrt(2) - 1) of the radius when opened; grow back by that much, but only into the piece.
    grown = cv2.dilate(opened, _disc(max(1, round(0.45 * radius))))[side:-side, side:-side]
    _, labels, facts, _ = cv2.connectedComponentsWithStats(grown & whole)
    return np.asarray(labels == 1 + facts[1:, 4].argmax()) if len(facts) > 1 else piece


def _disc(radius: int) -> NDArray[np.uint8]:
    """Return a round structuring element."""
    import cv2

    disc: NDArray[np.uint8] = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))
    return disc


def contour(piece: Mask, smooth_px: float, points: int) -> Path:
    """Return the piece's edge in pixels, between pixels, at evenly spaced points; shape (points, 2)."""
    from skimage.measure import find_contours

    pad = int(np.ceil(3 * smooth_px)) + 1
    # Beyond the photo's rim the piece is taken to end there: half a pixel outside the outermost pixel's centre.
    level = blurred(np.pad(piece.astype(np.float32), pad), smooth_px)
    longest = max(find_contours(level, 0.5), key=len)
    return evenly(longest[:-1, ::-1] - pad, points)
