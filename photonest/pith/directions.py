"""Which way the rings run: the face made even, and a sample of points with the direction across the rings at each."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import (
    Image,
    Mask,
    cropped,
    flattened,
    luminance,
    mean_diameter,
    orientation,
    polygon_mask,
    reduced,
    without_regular_marks,
)
from photonest.model import FlatPhoto, Points


class View(NamedTuple):
    """The wood alone at working size: even brightness and contrast, saw marks taken down; 0 outside the mask."""

    flat: FlatPhoto
    image: Image
    mask: Mask
    diameter: float
    """Mean diameter of the wood, in pixels."""


class Directions(NamedTuple):
    """Points in pixels, unit vectors across the rings there (sign unknown), and how much each counts (mean 1)."""

    points: NDArray[np.float64]
    across: NDArray[np.float64]
    weights: NDArray[np.float64]


class Field(NamedTuple):
    """The direction across the rings at every pixel, and its weight (0 where unknown)."""

    x: Image
    y: Image
    weight: Image


def view(flat: FlatPhoto, wood: Points, diameter_px: float) -> View:
    """Return the wood with a mean diameter of about `diameter_px` pixels, or as many as the photo has."""
    edge = np.asarray(wood)
    low, high = edge.min(axis=0), edge.max(axis=0)
    diameter = mean_diameter(edge)
    part = cropped(flat, low, high)
    small = reduced(part, diameter_px * float((high - low).max()) / diameter)
    shape = (small.pixels.shape[0], small.pixels.shape[1])
    mask = polygon_mask(small.to_px(edge), shape)
    if small.covered is not None:
        mask &= small.covered
    if len(small.reference) >= 3:
        mask &= ~polygon_mask(small.to_px(small.reference), shape)
    size = diameter / small.mm_per_px
    image = flattened(luminance(small.pixels), mask, size / 40)
    image = without_regular_marks(image) * mask
    return View(small, image.astype(np.float32), mask, size)


def field(seen: View, gradient_sigma: float, tensor_sigma: float) -> Field:
    """Return the direction across the rings; pixels near the mask's edge have no weight, for the edge is no ring."""
    import cv2

    lines = orientation(seen.image, gradient_sigma, tensor_sigma)
    margin = int(2 * tensor_sigma + gradient_sigma + 0.01 * seen.diameter)
    inner = cv2.erode(seen.mask.astype(np.uint8), np.ones((3, 3), np.uint8), iterations=margin, borderValue=0)
    weight = lines.coherence**2 * np.sqrt(lines.energy) * inner
    return Field(lines.x, lines.y, weight.astype(np.float32))


def sample(fields: list[Field], centre: NDArray[np.float64], radius: float, count: int) -> Directions:
    """Return up to `count` points from each field within `radius` of `centre`, the same ones every time."""
    parts = [_sample_one(one, centre, radius, count) for one in fields]
    return Directions(*(np.concatenate(columns) for columns in zip(*parts, strict=True)))


def _sample_one(one: Field, centre: NDArray[np.float64], radius: float, count: int) -> Directions:
    height, width = one.weight.shape
    reach = min(radius, 2.0 * (height + width))
    left, upper = np.clip(np.floor(centre - reach), 0, (width, height)).astype(int)
    right, lower = np.clip(np.ceil(centre + reach) + 1, 0, (width, height)).astype(int)
    rows, columns = np.nonzero(one.weight[upper:lower, left:right])
    rows, columns = rows + upper, columns + left
    near = (columns - centre[0]) ** 2 + (rows - centre[1]) ** 2 < reach**2
    rows, columns = rows[near], columns[near]
    if len(rows) > count:
        chosen = np.random.default_rng(0).choice(len(rows), count, replace=False)
        rows, columns = rows[chosen], columns[chosen]
    weights = one.weight[rows, columns].astype(np.float64)
    return Directions(
        np.column_stack([columns, rows]).astype(np.float64),
        np.column_stack([one.x[rows, columns], one.y[rows, columns]]).astype(np.float64),
        weights / max(float(weights.mean()), 1e-12) if len(weights) else weights,
    )


def turned(seen: Directions, centre: NDArray[np.float64]) -> Directions:
    """Return the directions with those of rays, cracks and knots made directions across rings.

    Such lines run from the pith outwards: a direction more across the ray from `centre` than along it is turned by a
    right angle.
    """
    offset = seen.points - centre
    radial = np.abs((offset * seen.across).sum(axis=1)) >= np.abs(
        offset[:, 0] * seen.across[:, 1] - offset[:, 1] * seen.across[:, 0]
    )
    quarter = np.column_stack([-seen.across[:, 1], seen.across[:, 0]])
    return seen._replace(across=np.where(radial[:, None], seen.across, quarter))
