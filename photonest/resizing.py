"""Photos made smaller, larger or cut, with every place still tied to its mm."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import FlatPhoto


def reduced(flat: FlatPhoto, longest_px: float, *, sharp: bool = False) -> FlatPhoto:
    """Return the same picture with its longer side at most `longest_px`; never enlarged.

    Up to a pixel of the result is lost at the right and lower rim, so that pixels stay square. It is halved while that
    goes, then interpolated, which is many times as quick as averaging areas and does the finders as well. A sharp one
    is halved only while it is three times as long or more, and the interpolation is cubic: that keeps more of thin
    lines.

    >>> flat = FlatPhoto(np.zeros((400, 600, 3), np.uint8), mm_per_px=0.5, origin=(0.0, 0.0), aim=(1.0, 1.0))
    >>> small = reduced(flat, 300)
    >>> small.pixels.shape, small.mm_per_px, small.origin
    ((200, 300, 3), 1.0, (0.25, 0.25))
    """
    import cv2

    way = cv2.INTER_CUBIC if sharp else cv2.INTER_LINEAR
    return _at_most(halved(flat, 1.5 * longest_px if sharp else longest_px), longest_px, way)


def averaged(flat: FlatPhoto, longest_px: float) -> FlatPhoto:
    """Return the same as `reduced`, by averaging areas at the end: for what a network was taught to see so."""
    import cv2

    return _at_most(halved(flat, 2 * longest_px), longest_px, cv2.INTER_AREA)


def enlarged(flat: FlatPhoto, longest_px: float) -> FlatPhoto:
    """Return the same picture with its longer side at least `longest_px`, to a pixel; never made smaller.

    >>> flat = FlatPhoto(np.zeros((40, 60, 3), np.uint8), mm_per_px=0.5, origin=(0.0, 0.0), aim=(1.0, 1.0))
    >>> large = enlarged(flat, 120)
    >>> large.pixels.shape, large.mm_per_px, large.origin
    ((80, 120, 3), 0.25, (-0.125, -0.125))
    """
    import cv2

    height, width = flat.pixels.shape[:2]
    factor = max(height, width) / longest_px
    size = int(width / factor + 1e-9), int(height / factor + 1e-9)
    return flat if factor >= 1 else _resized(flat, size, factor, cv2.INTER_CUBIC)


def halved(flat: FlatPhoto, least_px: float) -> FlatPhoto:
    """Return the same picture, halved by averaging for as long as its longer side keeps that many pixels.

    >>> flat = FlatPhoto(np.zeros((400, 601, 3), np.uint8), mm_per_px=0.5, origin=(0.0, 0.0), aim=(1.0, 1.0))
    >>> halved(flat, 150).pixels.shape
    (100, 150, 3)
    """
    import cv2

    while max(flat.pixels.shape[:2]) >= 2 * least_px and min(flat.pixels.shape[:2]) > 1:
        height, width = flat.pixels.shape[:2]
        flat = _resized(flat, (width // 2, height // 2), 2.0, cv2.INTER_AREA)
    return flat


def _at_most(flat: FlatPhoto, longest_px: float, way: int) -> FlatPhoto:
    """Return the picture with its longer side at most so many pixels."""
    height, width = flat.pixels.shape[:2]
    factor = max(height, width) / longest_px
    if factor <= 1:
        return flat
    return _resized(flat, (max(1, int(width / factor + 1e-9)), max(1, int(height / factor + 1e-9))), factor, way)


def _resized(flat: FlatPhoto, size: tuple[int, int], factor: float, way: int) -> FlatPhoto:
    """Return the picture `factor` times smaller; what of it exceeds the size (width, height) is lost."""
    import cv2

    part = np.s_[: math.ceil(size[1] * factor), : math.ceil(size[0] * factor)]

    def smaller(image: NDArray[np.uint8], way: int) -> NDArray[np.uint8]:
        # by the factor itself: by the sizes, pixels would not stay square
        out = cv2.resize(image[part], None, fx=1 / factor, fy=1 / factor, interpolation=way)
        return np.asarray(out[: size[1], : size[0]], np.uint8)

    covered = None
    if flat.covered is not None:
        linear = cv2.INTER_LINEAR if way == cv2.INTER_CUBIC else way
        covered = smaller(flat.covered.view(np.uint8) * np.uint8(255), linear) > 250
    offset = (factor - 1) / 2 * flat.mm_per_px
    return replace(
        flat,
        pixels=smaller(flat.pixels, way),
        covered=covered,
        mm_per_px=flat.mm_per_px * factor,
        origin=(flat.origin[0] + offset, flat.origin[1] + offset),
    )


def folded(pixels: NDArray[np.uint8], fold: int) -> NDArray[np.uint8]:
    """Return a picture so many times smaller, each pixel the mean of a square; what fills none at the rims is lost.

    Halving is by far the quickest, so that it is done as often as it goes.

    >>> folded(np.array([[0, 8, 9], [4, 4, 9]], np.uint8), 2).tolist()
    [[4]]
    """
    import cv2

    height, width = (side // fold for side in pixels.shape[:2])
    small = pixels[: height * fold, : width * fold]
    while fold > 1:
        step = 2 if fold % 2 == 0 else fold
        fold //= step
        size = (width * fold, height * fold)
        small = np.asarray(cv2.resize(small, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    return small


def cropped(flat: FlatPhoto, low_mm: ArrayLike, high_mm: ArrayLike) -> FlatPhoto:
    """Return the part of the picture between two corners in mm, clipped to the picture; a view, at least 1 x 1 pixel.

    >>> flat = FlatPhoto(np.zeros((40, 60, 3), np.uint8), mm_per_px=0.5, origin=(0.0, 0.0), aim=(1.0, 1.0))
    >>> part = cropped(flat, (5.0, 5.0), (10.0, 100.0))
    >>> part.pixels.shape, part.origin
    ((30, 11, 3), (5.0, 5.0))
    """
    height, width = flat.pixels.shape[:2]
    limits = np.array([width - 1, height - 1])
    left, upper = np.clip(np.floor(flat.to_px(np.asarray(low_mm, dtype=float)) + 1e-9), 0, limits).astype(int)
    right, lower = np.clip(np.ceil(flat.to_px(np.asarray(high_mm, dtype=float)) - 1e-9), (left, upper), limits).astype(
        int
    )
    window = np.s_[upper : lower + 1, left : right + 1]
    return replace(
        flat,
        pixels=flat.pixels[window],
        covered=None if flat.covered is None else flat.covered[window],
        origin=(
            flat.origin[0] + float(left) * flat.mm_per_px,
            flat.origin[1] + float(upper) * flat.mm_per_px,
        ),
    )
