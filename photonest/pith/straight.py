"""How straight the rings lie when unrolled about a point, and the point where they lie straightest."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import unrolled
from photonest.pith.directions import View


def straightness(seen: View, centre: NDArray[np.float64], radius: float, rays: int = 180) -> float:
    """Return the share of the variance about a point, out to `radius` pixels, that the rings' own means explain."""
    radii = np.arange(2.0, radius)
    angles = np.arange(rays) * 2 * np.pi / rays
    values = unrolled(seen.image, centre, radii, angles)
    held = unrolled(seen.mask.astype(np.float32), centre, radii, angles) > 0.5
    count = held.sum(axis=0)
    mean = (values * held).sum(axis=0) / np.maximum(count, 1)
    total = float((values * values * held).sum())
    return float((count * mean * mean).sum()) / max(total, 1e-9)


def straightest(seen: View, centre: NDArray[np.float64], radius: float, step: float = 2.0) -> NDArray[np.float64]:
    """Return the point near `centre` with the straightest rings, by a pattern search down to an eighth of a pixel."""
    best, place = straightness(seen, centre, radius), centre
    while step > 0.12:
        around = [place + step * np.array(way) for way in ((1, 0), (-1, 0), (0, 1), (0, -1))]
        scores = [straightness(seen, point, radius) for point in around]
        k = int(np.argmax(scores))
        if scores[k] > best:
            best, place = scores[k], around[k]
        else:
            step /= 2
    return place
