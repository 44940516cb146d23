"""Which of several closed rims is the piece's: what speaks for each, and how it is weighed.

The weights maximise the likelihood of choosing a good rim (a choice model: probabilities as the exponentials of the
weighted sums, McFadden 1974), fitted on drawn scenes that the benchmark does not use.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import Path, polygon_area, polygon_centroid, polygon_mask
from photonest.outline.parting import UNITS
from photonest.outline.polar import Ground

Floats = NDArray[np.float64]


class Rim(NamedTuple):
    """A closed edge in mm, and how far each of its points is like an edge."""

    points: Path
    strength: Floats


class Pleas(NamedTuple):
    """What speaks for a rim, or its weights; lengths are shares of the photo's longer side."""

    mean: float
    """Mean strength."""
    quarter: float
    """The strength that three quarters of it exceed."""
    weakest: float
    """Mean strength of its weakest tenth."""
    solid: float
    """Area over that of its convex hull."""
    away: float
    """From the aim to the piece."""
    off: float
    """From the aim to its middle, at most 0.5."""
    size: float
    """Logarithm of the diameter."""
    heart: float
    """The strength of the best rim well inside: a log has a heart, a shadow or a board has a log."""
    unlike: float
    """Logarithm of how much colour and texture differ across it, at the median ray."""


WEIGHTS = Pleas(5.9, 5.8, 3.3, 8.0, -11.6, -6.0, 1.75, 1.7, 1.5)
INWARDS, OUTWARDS = np.linspace(0.55, 0.95, 6), np.linspace(1.06, 1.30, 5)


def appeals(ground: Ground, rims: list[Rim]) -> Floats:
    """Return what speaks for each rim, one number each; only differences mean something."""
    return np.asarray(np.array(list(map(_plead, *_facts(ground, rims)))) @ np.array(WEIGHTS))


def strong(strength: Floats) -> float:
    """Return how strong a rim is all around, 0 to 1."""
    return float(0.5 * strength.mean() + 0.5 * np.percentile(strength, 25))


def _facts(ground: Ground, rims: list[Rim]) -> tuple[list[Ground], list[Rim], Floats]:
    return [ground] * len(rims), rims, _hearts(ground, rims)


def _hearts(ground: Ground, rims: list[Rim]) -> Floats:
    """Return for each rim the strength of the best rim well inside it."""
    shape = ground.usable.shape
    masks = [polygon_mask(ground.flat.to_px(rim.points), shape)[::2, ::2].ravel() for rim in rims]
    cover = np.array(masks, np.float32)
    area = cover.sum(axis=1)
    within = (cover @ cover.T > 0.97 * area) & (area < 0.8 * area[:, None])
    strength = np.array([strong(rim.strength) for rim in rims])
    return np.asarray(np.where(within, strength, 0.0).max(axis=1))


def _plead(ground: Ground, rim: Rim, heart: float) -> Pleas:
    import shapely

    points = ground.flat.to_px(rim.points)
    shape = shapely.Polygon(points)
    size = max(ground.usable.shape)
    aim = ground.flat.to_px([ground.flat.aim])[0]
    middle = polygon_centroid(points)
    sides = [_looks(ground, middle, points, shares) for shares in (INWARDS, OUTWARDS)]
    unlike = np.sqrt(((sides[0] - sides[1])[:, 1:] ** 2).sum(axis=1))
    tenth = max(1, len(rim.strength) // 10)
    return Pleas(
        mean=float(rim.strength.mean()),
        quarter=float(np.percentile(rim.strength, 25)),
        weakest=float(np.sort(rim.strength)[:tenth].mean()),
        solid=shape.area / shape.convex_hull.area,
        away=shape.distance(shapely.Point(aim)) / size,
        off=min(float(np.hypot(*(middle - aim))) / size, 0.5),
        size=0.5 * float(np.log(4 * polygon_area(points) / np.pi / size**2)),
        heart=heart,
        unlike=float(np.log(np.median(unlike) + 0.1)),
    )


def _looks(ground: Ground, middle: Path, points: Path, shares: Floats) -> Floats:
    """Return the mean look of each ray at shares of its length, shape (r, layers)."""
    import cv2

    at = (middle + (points - middle) * shares[:, None, None]).astype(np.float32)
    seen = cv2.remap(ground.layers, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(seen.mean(axis=0) / UNITS, float)
