"""How straight the rings lie when unrolled about a point, and the point where they lie straightest."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import sampled
from photonest.pith.directions import View

SECTORS, RAYS = 24, 5


def straightness(seen: View, centre: NDArray[np.float64], radius: float, family: NDArray[np.float64]) -> float:
    """Return how much of the wood's contrast about a point, out to `radius` pixels, its rings explain.

    The face is unrolled and averaged over sectors; the rings are the median of the sectors at each distance, so that
    knots, cracks and stains in a few of them don't count. 1 means perfectly straight, 0 no rings about this point.
    The face is unrolled along the rings of a `family` (drift x, drift y, oval, oval at 45 degrees); zeros mean circles.
    """
    drift_x, drift_y, oval, slant = family
    radii = np.arange(2.0, max(radius, 6.0))
    angles = ((np.arange(SECTORS * RAYS) + 0.5) * 2 * np.pi / (SECTORS * RAYS))[:, None]
    # To first order in the oval, the inverse square root of its matrix.
    x = centre[0] + radii * (drift_x + (1 - oval / 2) * np.cos(angles) - slant / 2 * np.sin(angles))
    y = centre[1] + radii * (drift_y + (1 + oval / 2) * np.sin(angles) - slant / 2 * np.cos(angles))
    height, width = seen.mask.shape
    held = (x >= 0) & (x <= width - 1) & (y >= 0) & (y <= height - 1)
    held &= sampled(seen.mask.view(np.uint8), x, y) > 0
    values = np.where(held, sampled(seen.image, x, y), 0.0)
    count = held.reshape(SECTORS, RAYS, -1).sum(axis=1)
    mean = values.reshape(SECTORS, RAYS, -1).sum(axis=1) / np.maximum(count, 1)
    enough = count >= 3
    columns = enough.sum(axis=0) >= 0.3 * SECTORS
    if not columns.any():
        return 0.0
    if enough.all():  # the usual case, and many times faster than with gaps
        rings, level = np.median(mean, axis=0), np.median(mean)
        return float(1 - np.abs(mean - rings).sum() / max(float(np.abs(mean - level).sum()), 1e-9))
    kept = np.where(enough, mean, np.nan)[:, columns]
    rings, level = np.nanmedian(kept, axis=0), np.nanmedian(kept)
    return float(1 - np.nansum(np.abs(kept - rings)) / max(float(np.nansum(np.abs(kept - level))), 1e-9))


def straightest(
    seen: View,
    start: NDArray[np.float64],
    anchor: NDArray[np.float64],
    radius: float,
    hold: float,
    family: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the point near `start` with the straightest rings, by a pattern search down to a sixth of a pixel.

    A point twice `hold` pixels off the anchor must win a fifth of the contrast to be believed.
    """

    def value(point: NDArray[np.float64]) -> float:
        return straightness(seen, point, radius, family) - 0.05 * float(((point - anchor) ** 2).sum()) / hold**2

    place, step = start, 2.0
    best = value(place)
    while step > 0.16:
        around = [place + step * np.array(way) for way in ((1, 0), (-1, 0), (0, 1), (0, -1))]
        scores = [value(point) for point in around]
        k = int(np.argmax(scores))
        if scores[k] > best:
            best, place = scores[k], around[k]
        else:
            step /= 2
    return place
