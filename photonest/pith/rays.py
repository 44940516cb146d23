"""How straight the rays lie about a point, and the point where they do: what an eye goes by where no rings are seen."""

from __future__ import annotations

import functools

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import Image, sampled
from photonest.pith.straight import Place, straightest

WAYS, EVENED = 360, 31  # looked along, and over as many a ring is taken off, which goes on about the pith
BETWEEN = 0.1, 0.5  # mean radii of the piece: nearer the heart is spoilt, farther off rays bend
BANDS = 4  # of the radius: a ray is seen over a part of it
BY_CHANCE = 0.8  # over as many places: the share of mere noise that their median explains
STRIDE, QUICK = 2.0, 4.0  # pixels along the radius
STEP, REACH = 6.0, 24.0  # pixels of the grid looked at first


def rays_straight(image: Image, centre: Place, radius: float, stride: float = STRIDE) -> float:
    """Return how much of the wood's contrast about a point its rays explain.

    The face (nan outside the wood) is unrolled between a tenth and a half of the mean `radius`, in pixels, and what
    goes on about the point, rings and wide stains, is taken off; the rays are the median of each way over each band of
    the radius. It is looked at every `stride` pixels along the radius.
    """
    across, down = _ways(radius, stride)
    values = sampled(image, across + np.float32(centre[0]), down + np.float32(centre[1]))
    held = np.isfinite(values)
    if held.all():
        values = values - _around(values)
    else:
        values = np.where(held, values, np.float32(0))
        share = np.maximum(_around(held.astype(np.float32)), np.float32(1e-6))
        values = np.where(held, values - _around(values) / share, np.float32(0))
    shares = []
    for part in np.array_split(values, BANDS, axis=1):
        count = part.shape[1]
        ordered = np.sort(part, axis=1)  # in rows so short faster than np.median
        rays = (ordered[:, (count - 1) // 2] + ordered[:, count // 2]) / 2
        left = float(np.abs(part - rays[:, None]).sum()) / (1 - BY_CHANCE / count)
        shares.append(1 - left / max(float(np.abs(part).sum()), 1e-9))
    return float(np.mean(shares))


def rays_meet(image: Image, near: Place, radius: float) -> Place:
    """Return the point within some percents of `near` about which the rays lie straightest."""
    steps = np.arange(-REACH, REACH + 1, STEP)

    def quick(point: Place) -> float:
        return rays_straight(image, point, radius, QUICK)

    def value(point: Place) -> float:
        return rays_straight(image, point, radius)

    start = max((near + np.array((x, y)) for x in steps for y in steps), key=quick)
    return straightest(value, start, start, 0.1 * radius, (STEP / 2, 0.5))


def rays_beside(image: Image, centre: Place, radius: float) -> float:
    """Return how straight the rays lie a tenth of the mean radius from a point, on either side."""
    ways = ((1, 0), (0, 1), (-1, 0), (0, -1))
    return float(
        np.median([rays_straight(image, centre + BETWEEN[0] * radius * np.array(way), radius) for way in ways])
    )


@functools.lru_cache(maxsize=4)
def _ways(radius: float, stride: float) -> tuple[Image, Image]:
    """Return how far the places looked at lie from the centre, across and down: a row a way, a column a distance."""
    angles = ((np.arange(WAYS) + 0.5) * 2 * np.pi / WAYS)[:, None]
    away = np.arange(BETWEEN[0] * radius, BETWEEN[1] * radius, stride)
    return (np.cos(angles) * away).astype(np.float32), (np.sin(angles) * away).astype(np.float32)


def _around(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the means over some ways on either side."""
    import cv2

    wrapped = np.concatenate([values[-EVENED:], values, values[:EVENED]])
    return np.asarray(cv2.blur(wrapped, (1, EVENED))[EVENED:-EVENED])
