"""Image helpers that the finders share: pure functions on arrays, positions tied to mm by a `FlatPhoto`."""

from __future__ import annotations

import functools
import itertools
import math
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import FlatPhoto

Image = NDArray[np.float32]
Mask = NDArray[np.bool_]
Path = NDArray[np.float64]


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


def usable_part(flat: FlatPhoto) -> Mask:
    """Return where the photo reaches and no reference lies."""
    shape = (flat.pixels.shape[0], flat.pixels.shape[1])
    usable = np.ones(shape, bool) if flat.covered is None else flat.covered.copy()
    if len(flat.reference) >= 3:
        usable &= ~polygon_mask(flat.to_px(flat.reference), shape)
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


def best_closed_path(cost: NDArray[np.floating], step: int, bend: float = 0.0) -> NDArray[np.intp]:
    """Return for each row the column of the cheapest closed path, moving at most `step` columns from row to row.

    Dynamic programming over rows; the ring is closed by going round once and a half and keeping the middle round, as
    in polar contour tracking. A move of k columns costs `bend` times k, so that corners stay possible.

    >>> cost = np.ones((8, 5)); cost[:, 2] = 0.0
    >>> best_closed_path(cost, 1).tolist()
    [2, 2, 2, 2, 2, 2, 2, 2]
    """
    rows, columns = cost.shape
    lead, wide = rows // 4, columns + 2 * step
    order = np.arange(-lead, rows + lead + rows % 2) % rows
    half = len(order) // 2
    # Up to each row from both ends at once, which is quicker, side by side between walls that no path comes from.
    sums = np.full((half, 2, wide), np.inf)
    sums[:, :, step : step + columns] = cost[np.stack([order[:half], order[: -half - 1 : -1]], axis=1)]
    sums = sums.reshape(half, 2 * wide)
    rooms = [np.empty(2 * wide - 2 * k) for k in range(1, step + 1)]
    for before, here in itertools.pairwise(sums):
        near = before
        for room in rooms:  # a move of one column at a time
            np.minimum(near[:-2], near[2:], out=room)
            room += bend
            near = np.minimum(room, near[1:-1], out=room)
        here[step:-step] += near
    penalty = bend * np.abs(np.arange(-step, step + 1))
    meeting = np.lib.stride_tricks.sliding_window_view(sums[-1, :wide], 2 * step + 1) + penalty
    last = int((meeting.min(axis=1) + sums[-1, wide + step : 2 * wide - step]).argmin())
    first = last - step + int(meeting[last].argmin())
    path = np.concatenate([_trail(sums[:, :wide], first, penalty), _trail(sums[:, wide:], last, penalty)[::-1]])
    return path[lead : lead + rows]


def _trail(sums: NDArray[np.float64], column: int, penalty: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return the columns along which a path of the least sums came to a column of the last row."""
    moves = len(penalty)
    path = [column]
    for before in sums[-2::-1]:
        column += int((before[column : column + moves] + penalty).argmin()) - moves // 2
        path.append(column)
    return np.array(path[::-1], np.intp)


def meeting_score(
    places: NDArray[np.float64],
    points: NDArray[np.float64],
    across: NDArray[np.float64],
    weights: NDArray[np.float64],
    near: float = 1.0,
) -> NDArray[np.float64]:
    """Return for each place how many of the lines through `points` along the unit vectors `across` run towards it.

    A line counts with the eighth power of the cosine it misses by, and less where its point is nearer than `near`.

    >>> meeting_score(np.zeros((1, 2)), np.array([[5.0, 0.0], [0.0, 5.0]]), np.eye(2), np.ones(2)).tolist()
    [2.0]
    """
    # Single precision, about the middle of the points: the squares stay small, and it is three times as fast.
    middle = points.mean(axis=0)
    at, seen, ways = ((v - m).astype(np.float32) for v, m in ((places, middle), (points, middle), (across, 0.0)))
    along = at @ ways.T
    along -= (seen * ways).sum(axis=1)
    apart = -2 * (at @ seen.T)
    apart += (at**2).sum(axis=1)[:, None]
    apart += (seen**2).sum(axis=1)
    np.maximum(apart, 1e-6, out=apart)
    along *= along
    along /= apart
    along *= along
    along *= along
    apart /= near**2
    along *= np.minimum(apart, 1.0, out=apart)
    return np.asarray(along @ weights.astype(np.float32), np.float64)


def grid(low: ArrayLike, high: ArrayLike, count: int) -> NDArray[np.float64]:
    """Return the `count` x `count` points of an even grid between two corners, shape (count * count, 2)."""
    (x0, y0), (x1, y1) = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    columns, rows = np.meshgrid(np.linspace(x0, x1, count), np.linspace(y0, y1, count))
    return np.column_stack([columns.ravel(), rows.ravel()])


def evenly(closed: Path, points: int) -> Path:
    """Return `points` points evenly along a closed polygon, from its first point on.

    >>> evenly(np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]]), 8)[1].tolist()
    [1.0, 0.0]
    """
    ring = np.vstack([closed, closed[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    at = np.arange(points) * along[-1] / points
    return np.column_stack([np.interp(at, along, ring[:, 0]), np.interp(at, along, ring[:, 1])])


def polygon_area(points: ArrayLike) -> float:
    """Return the area of a closed polygon, shape (n, 2), by the shoelace formula.

    >>> polygon_area([[0, 0], [2, 0], [2, 1], [0, 1]])
    2.0
    """
    x, y = np.asarray(points, dtype=float).T
    return abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2


def mean_diameter(points: ArrayLike) -> float:
    """Return the diameter of the circle that has a closed polygon's area."""
    return math.sqrt(4 * polygon_area(points) / math.pi)


def polygon_centroid(points: ArrayLike) -> NDArray[np.float64]:
    """Return the centroid of a closed polygon's area; of its points where it has no area."""
    p = np.asarray(points, dtype=float)
    q = p - p.mean(axis=0)
    r = np.roll(q, -1, axis=0)
    cross = q[:, 0] * r[:, 1] - r[:, 0] * q[:, 1]
    total = float(cross.sum())
    if abs(total) < 1e-12:
        return np.asarray(p.mean(axis=0))
    return np.asarray(p.mean(axis=0) + ((q + r) * cross[:, None]).sum(axis=0) / (3 * total))


def k_means(every: Image, some: Image, count: int, rounds: int) -> NDArray[np.intp]:
    """Return each point's cluster, shape (n,), by k-means on a part of them; there is no chance in it.

    Parameters
    ----------
    every, some : ndarray, shape (features, n) and (features, m)
        All points, and those that the centres are found from; the first centres are far apart.
    """
    middle = np.empty((len(some), count), np.float32)
    distance = ((some - some.mean(axis=1)[:, None]) ** 2).sum(axis=0)
    for k in range(count):
        middle[:, k] = some[:, distance.argmax()]
        distance = np.minimum(distance, ((some - middle[:, k, None]) ** 2).sum(axis=0))
    for _ in range(rounds):
        nearest = _nearest(some, middle)
        counts = np.bincount(nearest, minlength=count)
        sums = np.array([np.bincount(nearest, feature, count) for feature in some])
        middle = np.where(counts > 0, sums / np.maximum(counts, 1), middle).astype(np.float32)
    return _nearest(every, middle)


def _nearest(points: Image, centres: Image) -> NDArray[np.intp]:
    apart = points.T @ (-2 * centres)
    apart += (centres**2).sum(axis=0)
    return np.asarray(apart.argmin(axis=1))
