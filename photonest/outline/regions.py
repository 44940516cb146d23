"""Regions of like colour and texture, and the closed edge that tells two kinds of them apart best.

Every pixel gets the label of one of some forty clusters of colour and texture. What the wood and the rest look like
is learnt from the photo itself: shares of the clusters within and without the present edge. The edge that separates
them best is the cheapest closed path in polar coordinates; both are repeated until nothing moves (region competition,
Zhu & Yuille 1996, with the shape of a star about the middle instead of a snake).
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import (
    Image,
    Mask,
    Path,
    best_closed_path,
    blurred,
    luminance,
    orientation,
    polygon_mask,
    unrolled,
)
from photonest.model import FlatPhoto

Labels = NDArray[np.intp]


class Ground(NamedTuple):
    """A small picture made ready: smooth Lab colours, cluster labels and their number, where it may be used."""

    lab: Image
    labels: Labels
    clusters: int
    usable: Mask


class Star(NamedTuple):
    """A closed edge as seen from its middle: radii in pixels at evenly spaced angles."""

    middle: NDArray[np.float64]
    angles: NDArray[np.float64]
    radii: NDArray[np.float64]

    def points(self, factor: float = 1.0) -> Path:
        """Return its corners in pixels, shape (n, 2), the radii taken times `factor`."""
        ray = np.column_stack([np.cos(self.angles), np.sin(self.angles)])
        return np.asarray(self.middle + (self.radii * factor)[:, None] * ray)


def prepare(flat: FlatPhoto, usable: Mask, middle: NDArray[np.float64], clusters: int = 40) -> Ground:
    """Return the picture's colours and clusters; features: colour, texture at two scales, rings about the middle."""
    import cv2

    grey = luminance(flat.pixels)
    sharp = cv2.cvtColor(flat.pixels, cv2.COLOR_RGB2LAB).astype(np.float32)
    lab = np.dstack([blurred(np.ascontiguousarray(sharp[..., k]), 1.0) for k in range(3)])
    features: list[NDArray[np.floating[Any]]] = [
        lab[..., 0] / 40,
        _texture(grey, 2.0),
        _texture(grey, 5.0),
        2 * _ring_alignment(grey, middle),
    ]
    if not flat.grey:
        features += [lab[..., 1] / 12, lab[..., 2] / 12]
    labels = _clusters(np.dstack(features), clusters)
    return Ground(lab.astype(np.float32), labels, clusters, usable)


def _texture(grey: Image, sigma: float) -> Image:
    """Return the logarithm of the local contrast."""
    detail = grey - blurred(grey, sigma)
    out: Image = np.log(np.sqrt(blurred(detail * detail, 1.25 * sigma)) + 2)
    return out


def _ring_alignment(grey: Image, middle: NDArray[np.float64]) -> Image:
    """Return how far the lines run around the middle: 1 all of them, -1 all run away from it, 0 none or any way."""
    lines = orientation(grey, 1.0, 2.0)
    rows, columns = np.mgrid[: grey.shape[0], : grey.shape[1]]
    dx, dy = columns - middle[0], rows - middle[1]
    cosine = (lines.x * dx + lines.y * dy) / (np.hypot(dx, dy) + 1)
    aligned = (2 * cosine * cosine - 1) * lines.coherence
    return blurred(aligned.astype(np.float32), max(grey.shape) / 60)


def _clusters(features: Image, count: int) -> Labels:
    """Return each pixel's cluster by k-means, started from points far apart; no chance in it."""
    every = features.reshape(-1, features.shape[2]).astype(np.float64)
    some = every[np.linspace(0, len(every) - 1, 6000).astype(int)]
    centres = [some.mean(axis=0)]
    distance = ((some - centres[0]) ** 2).sum(axis=1)
    for _ in range(count):
        far = some[distance.argmax()]
        centres.append(far)
        distance = np.minimum(distance, ((some - far) ** 2).sum(axis=1))
    middle = np.array(centres[1:])
    for _ in range(12):
        nearest = _nearest(some, middle)
        filled = np.bincount(nearest, minlength=count)
        for k in np.flatnonzero(filled):
            middle[k] = some[nearest == k].mean(axis=0)
    return _nearest(every, middle).reshape(features.shape[:2])


def _nearest(points: NDArray[np.float64], centres: NDArray[np.float64]) -> Labels:
    """Return the index of the nearest centre of each point."""
    return np.asarray(((centres**2).sum(axis=1) - 2 * points @ centres.T).argmin(axis=1))


def log_ratio(inside: NDArray[Any], outside: NDArray[Any], limit: float) -> NDArray[np.float64]:
    """Return each cluster's log likelihood ratio from its counts inside and outside, one count added to each."""
    p, q = (inside + 1) / (inside.sum() + len(inside)), (outside + 1) / (outside.sum() + len(outside))
    return np.asarray(np.clip(np.log(p / q), -limit, limit))


def compete(
    ground: Ground, start: Star, rounds: int = 10, region: float = 12.0, edge: float = 5.0
) -> tuple[Star, Image]:
    """Return the closed edge that separates inside from outside best, and the log likelihood ratio of every pixel.

    Parameters
    ----------
    start : Star
        A first edge, within the piece or about it.
    region, edge : float
        Weights of the regions (summed along each ray in units of the mean radius) and of a strong edge.
    """
    height, width = ground.labels.shape
    corner = np.maximum(start.middle, np.array([width, height]) - start.middle)
    radii = np.arange(3.0, max(5.0, float(np.hypot(*corner))))
    within = unrolled(ground.usable.astype(np.float32), start.middle, radii, start.angles) > 0.5
    within &= _in_picture(start, radii, ground.labels.shape)
    strength = edge_strength(ground.lab, start, radii)
    star, ratio = start, np.zeros(ground.labels.shape, np.float32)
    for _ in range(rounds):
        inside = polygon_mask(star.points(0.93), ground.labels.shape) & ground.usable
        outside = ~polygon_mask(star.points(1.1), ground.labels.shape) & ground.usable
        if inside.sum() < 30 or outside.sum() < 30:
            break
        count = [np.bincount(ground.labels[part], minlength=ground.clusters) for part in (inside, outside)]
        table = log_ratio(count[0], count[1], 3.0)
        ratio = np.where(ground.usable, table[ground.labels], -1.0).astype(np.float32)
        along = unrolled(blurred(ratio, 1.0), star.middle, radii, star.angles)
        along[~within] = -3.0
        cost = -region / star.radii.mean() * np.cumsum(along, axis=1) - edge * strength
        found = radii[best_closed_path(cost, 6, 0.15)]
        moved = float(np.abs(found - star.radii).mean())
        star = star._replace(radii=found)
        if moved < 0.3:
            break
    return star, ratio


def edge_strength(lab: Image, star: Star, radii: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how much the colour changes along each ray, 1 for the strongest twentieth."""
    rays = [unrolled(np.ascontiguousarray(lab[..., k]), star.middle, radii, star.angles) for k in range(3)]
    change = np.sqrt(sum(np.gradient(ray, axis=1) ** 2 for ray in rays))
    return np.asarray(np.minimum(change / (np.percentile(change, 95) + 1e-6), 1.0))


def _in_picture(star: Star, radii: NDArray[np.float64], shape: tuple[int, int]) -> Mask:
    """Return which points of the rays lie in the picture."""
    x = star.middle[0] + radii * np.cos(star.angles)[:, None]
    y = star.middle[1] + radii * np.sin(star.angles)[:, None]
    return np.asarray((x >= -0.5) & (x <= shape[1] - 0.5) & (y >= -0.5) & (y <= shape[0] - 0.5))
