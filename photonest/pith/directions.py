"""Which way the rings run: the face made even, and a sample of points with the direction across the rings at each."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import Image, Mask, flattened, luminance, orientation, polygon_mask, without_regular_marks
from photonest.model import FlatPhoto, Points
from photonest.pith.hollow import dark_areas
from photonest.planar import mean_diameter
from photonest.resizing import cropped, reduced

WAYS = 36  # in a half turn
LEAST_ENERGY = 1e-6  # of a gradient, where contrast is one: less is rounding
STRONGEST = 8.0  # times as much as the middle one a line counts at most: a pencil's would outweigh all faint rays
STEP = 3  # pixels between the points where directions are read: the tensor is as wide


class View(NamedTuple):
    """The wood alone at working size: even brightness and contrast, saw marks taken down; 0 outside the mask."""

    flat: FlatPhoto
    image: Image
    mask: Mask
    holes: Mask
    """Dark areas within the wood."""
    depth: Image
    """How far each pixel lies from the nearest outside the mask."""
    diameter: float
    """Mean diameter of the wood, in pixels."""


class Directions(NamedTuple):
    """Points in pixels, unit vectors across the rings there (sign unknown), and how much each counts (mean 1)."""

    points: NDArray[np.float64]
    across: NDArray[np.float64]
    weights: NDArray[np.float64]


def view(flat: FlatPhoto, wood: Points, diameter_px: float) -> View:
    """Return the wood with a mean diameter of about `diameter_px` pixels, or as many as the photo has."""
    import cv2

    edge = np.asarray(wood)
    low, high = edge.min(axis=0), edge.max(axis=0)
    diameter = mean_diameter(edge)
    part = cropped(flat, low, high)
    small = reduced(part, diameter_px * float((high - low).max()) / diameter)
    shape = (small.pixels.shape[0], small.pixels.shape[1])
    mask = polygon_mask(small.to_px(edge), shape)
    if small.covered is not None:
        mask &= small.covered
    for reference in small.references:
        mask &= ~polygon_mask(small.to_px(reference), shape)
    size = diameter / small.mm_per_px
    grey = luminance(small.pixels)
    holes = dark_areas(grey, mask, size)
    image = flattened(grey, mask, size / 40)
    image = without_regular_marks(image) * mask
    framed = cv2.copyMakeBorder(mask.view(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    depth: Image = cv2.distanceTransform(framed, cv2.DIST_L2, 3)[1:-1, 1:-1]
    return View(small, image.astype(np.float32), mask, holes, depth, size)


def directions(seen: View, gradient_sigma: float, tensor_sigma: float) -> Directions:
    """Return the direction across the rings on an even grid, in an order shuffled the same way every time.

    Points near the mask's edge are left out, for the edge is no ring.
    """
    lines = orientation(seen.image, gradient_sigma, tensor_sigma, STEP)
    margin = 2 * tensor_sigma + gradient_sigma + 0.01 * seen.diameter
    x, y = lines.across()
    height, width = x.shape
    inside = seen.depth[STEP // 2 :: STEP, STEP // 2 :: STEP][:height, :width] > margin
    strength = lines.coherence**2 * np.sqrt(lines.energy)
    rows, columns = np.nonzero(inside & (lines.energy > LEAST_ENERGY))
    strength = strength[rows, columns]
    if len(strength):
        strength = np.minimum(strength, STRONGEST * np.median(strength))
    order = np.random.default_rng(0).permutation(len(rows))
    rows, columns = rows[order], columns[order]
    return Directions(
        STEP * np.column_stack([columns, rows]).astype(np.float64) + (STEP - 1) / 2,
        np.column_stack([x[rows, columns], y[rows, columns]]).astype(np.float64),
        strength[order].astype(np.float64),
    )


def near(parts: Sequence[Directions], centre: NDArray[np.float64], radius: float, count: int) -> Directions:
    """Return up to `count` points of each part within `radius` of `centre`, the same ones every time."""
    chosen = []
    for part in parts:
        x, y = part.points.T
        kept = np.flatnonzero((x - centre[0]) ** 2 + (y - centre[1]) ** 2 < radius**2)[:count]
        weights = part.weights[kept]
        mean = max(float(weights.mean()), 1e-12) if len(weights) else 1.0
        chosen.append(Directions(part.points[kept], part.across[kept], weights / mean))
    return Directions(*(np.concatenate(columns) for columns in zip(*chosen, strict=True)))


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


def evened(seen: Directions) -> Directions:
    """Return the directions with each way across counting alike, up to five times as much as before.

    Rings and rays about one point run every way, saw marks and grain one way: so they don't outvote the others.
    """
    way = (np.arctan2(seen.across[:, 1], seen.across[:, 0]) % np.pi * (WAYS / np.pi)).astype(np.intp) % WAYS
    counts = np.bincount(way, seen.weights, WAYS)
    total = (np.roll(counts, 1) + 2 * counts + np.roll(counts, -1)) / 4
    weights = seen.weights * (total.mean() / np.maximum(total, total.mean() / 5))[way]
    return seen._replace(weights=weights / max(float(weights.mean()), 1e-12))
