"""Image helpers that the finders share: pure functions on arrays of pixels."""

from __future__ import annotations

import functools
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import FlatPhoto

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]
VEILED = 0.4  # light of a picture's darkest over that of its middle from which on a veil is seen


def light(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return linear light, 0 to 1, of sRGB values (IEC 61966-2-1)."""
    import cv2

    out: NDArray[np.float32] = cv2.LUT(pixels, light_of_values())
    return out


@functools.cache
def light_of_values() -> NDArray[np.float32]:
    """Return linear light, 0 to 1, of the 256 values of sRGB."""
    value = np.arange(256) / 255
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4).astype(np.float32)


def veil_over(dark: NDArray[np.float64], middle: NDArray[np.float64], left: float) -> float:
    """Return the even light that a misted lens, dust or backlight lays over all of a picture; 0 where none is seen.

    In a clear photo something is dark in one colour at least. Where the darkest gives more than `VEILED` of the
    middle's light in every colour, all but a share `left` of the middle's is taken for a veil.
    """
    return 0.0 if (dark <= VEILED * middle).any() else float(((dark - left * middle) / (1 - left)).min())


def without_light(pixels: NDArray[np.uint8], veil: float, kept: float) -> NDArray[np.uint8]:
    """Return a picture with even light taken off, what has the light `kept` as bright as before."""
    import cv2

    light = light_of_values().astype(float)
    cleared = np.interp((light - veil) * kept / max(kept - veil, 1e-3), light, np.arange(256.0))
    return np.asarray(cv2.LUT(pixels, np.round(cleared).astype(np.uint8)), np.uint8)


def usable_part(flat: FlatPhoto) -> Mask:
    """Return where the photo reaches and no reference lies."""
    shape = (flat.pixels.shape[0], flat.pixels.shape[1])
    usable = np.ones(shape, bool) if flat.covered is None else flat.covered.copy()
    for reference in flat.references:
        usable &= ~polygon_mask(flat.to_px(reference), shape)
    return usable


def luminance(pixels: NDArray[np.uint8]) -> Image:
    """Return the brightness of RGB pixels (ITU-R BT.601 weights), 0 to 255.

    >>> float(luminance(np.full((1, 1, 3), 200, np.uint8))[0, 0])
    200.0
    """
    import cv2

    grey: Image = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32)
    return grey


def polygon_mask(points_px: ArrayLike, shape: tuple[int, int]) -> Mask:
    """Return where a closed polygon in pixels covers the centres of a picture's pixels, to a sixteenth of a pixel."""
    import cv2

    mask = np.zeros(shape, np.uint8)
    fixed = np.round(np.asarray(points_px, dtype=float) * 16).astype(np.int32)
    if len(fixed) >= 3:
        cv2.fillPoly(mask, [fixed.reshape(-1, 1, 2)], 1, shift=4)
    return mask.astype(bool)


def blurred(image: Image, sigma: float) -> Image:
    """Return the image under a Gaussian of `sigma` pixels; wide ones are taken at reduced size."""
    import cv2

    if sigma <= 6:
        out: Image = cv2.GaussianBlur(image, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
        return out
    step = int(sigma // 3)
    size = (max(1, image.shape[1] // step), max(1, image.shape[0] // step))
    small = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), sigma * size[0] / image.shape[1], borderType=cv2.BORDER_REFLECT)
    wide: Image = cv2.resize(small, image.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    return wide


def blurred_within(image: Image, weight: Image, sigma: float) -> Image:
    """Return the local mean of `image` under a Gaussian, counting each pixel by its weight (normalised convolution).

    Knutsson & Westin 1993: blur of the weighted image over blur of the weights. Where no weight is near, 0.
    """
    share = blurred(weight, sigma)
    return (blurred(image * weight, sigma) / np.maximum(share, 1e-3)).astype(np.float32)


def flattened(grey: Image, mask: Mask, scale: float) -> Image:
    """Return the image with its local median taken off and its local contrast made one, inside a mask; 0 outside.

    A median over some `scale` pixels follows steps, as at the edge of a stained heart, where a local mean would leave
    a line along the edge stronger than any ring. `grey` runs from 0 to 255.
    """
    import cv2

    weight = mask.astype(np.float32)
    share = np.maximum(blurred(weight, scale), np.float32(1e-3))
    filled = np.where(mask, grey, blurred(grey * weight, scale) / share)
    small = cv2.resize(np.clip(filled, 0, 255).astype(np.uint8), None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    level = cv2.resize(cv2.medianBlur(small, 2 * max(1, round(0.65 * scale)) + 1), grey.shape[1::-1])
    detail = (grey - blurred(level.astype(np.float32), 1.5)) * weight
    strong = 2.5 * np.sqrt(blurred(np.minimum(detail * detail, 900), scale) / share)  # cracks count no more
    detail = np.clip(detail, -strong, strong)
    square = detail * detail
    spread = np.sqrt(blurred(square, scale) / share)
    floor = 0.1 * float(np.sqrt(square.sum() / max(weight.sum(), 1))) + 1e-3
    out: Image = (np.clip(detail / np.maximum(spread, floor), -2.5, 2.5) * weight).astype(np.float32)
    return out


def without_regular_marks(image: Image, limit: float = 1.5) -> Image:
    """Return the image with what repeats evenly in one direction (saw marks) taken down in the spectrum.

    Rings spread over all directions of their wavelength; saw marks stand in one. Each radius of the spectrum is
    capped at `limit` times its median over the directions.
    """
    import cv2
    from scipy import fft

    height, width = image.shape
    rows, columns = cv2.getOptimalDFTSize(height), cv2.getOptimalDFTSize(width)
    spectrum = fft.rfft2(image, (rows, columns))  # in single precision, unlike numpy's
    size = np.abs(spectrum)
    v = np.fft.fftfreq(rows).astype(np.float32)[:, None]
    u = np.fft.rfftfreq(columns).astype(np.float32)
    ring = np.sqrt(u * u + v * v) * min(rows, columns)
    band = np.minimum(ring, min(rows, columns) / 2).astype(np.int32)
    median = _median_by_label(size.ravel(), band.ravel())
    cap = limit * np.maximum(median, 1e-9).astype(np.float32)
    cap[:3] = np.inf
    gain = np.minimum(cap[band] / np.maximum(size, np.float32(1e-9)), np.float32(1.0))
    out: Image = fft.irfft2(spectrum * gain, (rows, columns))[:height, :width]
    return out


def _median_by_label(values: NDArray[np.floating], labels: NDArray[np.int32]) -> NDArray[np.float64]:
    """Return the median of the values (not negative) of each label 0, 1, 2 ..."""
    top = max(float(values.max()), 1e-30) * 1.001
    ordered = np.sort(labels + values / top)  # by label, then by value: many times faster than a sort by two keys
    counts = np.bincount(labels)
    starts = np.concatenate([[0], np.cumsum(counts)[:-1]])
    middle = ordered[np.minimum(starts + counts // 2, len(values) - 1)]
    return np.asarray((middle - np.floor(middle)) * top, np.float64)


class Orientation(NamedTuple):
    """Where the structure tensor points.

    `cosine` and `sine` are those of twice the bearing across the lines (along the steepest change), `coherence` runs
    from 0 (no direction) to 1 (one direction only), `energy` is the mean squared gradient.
    """

    cosine: Image
    sine: Image
    coherence: Image
    energy: Image

    def across(self) -> tuple[Image, Image]:
        """Return x and y of the unit vectors across the lines."""
        angle = np.arctan2(self.sine, self.cosine) / 2
        return np.cos(angle), np.sin(angle)


def orientation(image: Image, gradient_sigma: float, tensor_sigma: float, step: int = 1) -> Orientation:
    """Return the local orientation by the structure tensor (Förstner & Gülch 1987; Bigün & Granlund 1987).

    With a `step` it is worked out for squares of so many pixels a side; what fills none at the rims is left out.

    >>> ramp = np.tile(np.arange(32, dtype=np.float32), (32, 1))
    >>> x, y = orientation(ramp, 1.0, 2.0).across()
    >>> bool(np.allclose(np.abs(x[16, 16]), 1.0, atol=1e-3))
    True
    """
    import cv2

    smooth = blurred(image, gradient_sigma)
    gx, gy = cv2.Scharr(smooth, cv2.CV_32F, 1, 0) / 32, cv2.Scharr(smooth, cv2.CV_32F, 0, 1) / 32
    height, width = (side // step for side in image.shape)
    xx, yy, xy = (product[: height * step, : width * step] for product in (gx * gx, gy * gy, gx * gy))
    if step > 1:
        xx, yy, xy = (cv2.resize(one, (width, height), interpolation=cv2.INTER_AREA) for one in (xx, yy, xy))
    xx, yy, xy = (blurred(one, tensor_sigma / step) for one in (xx, yy, xy))
    energy = xx + yy
    difference, cross = xx - yy, 2 * xy
    length = cv2.magnitude(difference, cross) + np.float32(1e-12)
    return Orientation(difference / length, cross / length, length / np.maximum(energy, 1e-9), energy)


def sampled(image: NDArray[np.uint8] | Image, x: ArrayLike, y: ArrayLike) -> Image:
    """Return the image between pixels (bilinear) at positions in pixels; beyond its rim the rim's own value."""
    import cv2

    maps = np.asarray(x, np.float32), np.asarray(y, np.float32)
    out: Image = cv2.remap(image, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return out
