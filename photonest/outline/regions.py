"""Regions of like colour and texture, and the closed edge that tells two kinds of them apart best.

Every pixel gets the label of one of some forty clusters of colour and texture, and how far its lines run around the
middle of the rings. What the wood and the rest look like is learnt from the photo itself: shares of the labels within
and without the present edge. The edge that separates them best is the cheapest closed path in polar coordinates; both
are repeated until nothing moves (region competition, Zhu & Yuille 1996, with the shape of a star in place of a snake).
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import Image, Mask, Orientation, blurred, luminance, orientation, polygon_mask, sampled
from photonest.model import FlatPhoto
from photonest.planar import Path, best_closed_path, grid, k_means, meeting_score, polygon_centroid

Labels = NDArray[np.intp]
RAYS = 180
STARTS = (0.15, 0.27, 0.42)  # radii of the first circles, in shares of the shorter side
CLUSTERS, RING_BINS = 40, 10


class Ground(NamedTuple):
    """A small picture made ready: smooth Lab colours, cluster labels, how rings lie and its labels, where usable.

    The colours are three planes, shape (3, height, width).
    """

    lab: Image
    labels: Labels
    alignment: Image
    ring_labels: Labels
    usable: Mask


class Star(NamedTuple):
    """A closed edge as seen from its middle: radii in pixels at evenly spaced angles."""

    middle: NDArray[np.float64]
    radii: NDArray[np.float64]

    @property
    def rays(self) -> Path:
        """Unit vectors, shape (n, 2)."""
        angles = np.arange(len(self.radii)) * 2 * np.pi / len(self.radii)
        return np.column_stack([np.cos(angles), np.sin(angles)])

    def points(self, factor: float = 1.0) -> Path:
        """Return its corners in pixels, shape (n, 2), the radii taken times `factor`."""
        return np.asarray(self.middle + (self.radii * factor)[:, None] * self.rays)


class Candidate(NamedTuple):
    """An edge and what speaks for it."""

    star: Star
    score: float


def prepare(flat: FlatPhoto, usable: Mask, aim: NDArray[np.float64]) -> Ground:
    """Return the picture's colours, clusters and rings."""
    import cv2

    grey = luminance(flat.pixels)
    lab = planes(cv2.cvtColor(flat.pixels, cv2.COLOR_RGB2LAB), 1.0)
    labels = clusters(features(lab, grey, flat, (2.0, 5.0)), CLUSTERS)
    lines = orientation(grey, 1.0, 2.0)
    alignment = _ring_alignment(lines, ring_middle(lines, usable, aim))
    ring_labels = np.clip((alignment + 1) / 2 * RING_BINS, 0, RING_BINS - 1).astype(np.intp)
    return Ground(lab, labels, alignment, ring_labels, usable)


def planes(pixels: NDArray[np.uint8], sigma: float) -> Image:
    """Return colours under a Gaussian, each a plane by itself, shape (3, height, width)."""
    import cv2

    return np.stack(cv2.split(blurred(pixels.astype(np.float32), sigma)))


def features(lab: Image, grey: Image, flat: FlatPhoto, texture_sigmas: tuple[float, ...]) -> Image:
    """Return planes of brightness, texture and, unless grey, the colour's ratios, which a shadow leaves as they are."""
    layers = [lab[0] / 55] + [_texture(grey, sigma) for sigma in texture_sigmas]
    if not flat.grey:
        red, green, blue = planes(flat.pixels, 1.0) + 12
        layers += [10 * np.log(red / green), 10 * np.log(blue / green)]
    return np.asarray(np.stack(layers), np.float32)


def _texture(grey: Image, sigma: float) -> Image:
    """Return the logarithm of the local contrast."""
    detail = grey - blurred(grey, sigma)
    return np.asarray(np.log(np.sqrt(blurred(detail * detail, 1.25 * sigma)) + 2), np.float32)


def ring_middle(lines: Orientation, usable: Mask, aim: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the point about the aim that most lines run around.

    All directions count alike, however many pixels show them, so that the grain of a bench makes no middle.
    """
    import cv2

    height, width = usable.shape
    reach = 0.3 * min(height, width)
    rows, columns = np.nonzero(cv2.erode(usable.astype(np.uint8), np.ones((7, 7), np.uint8)))
    step = max(1, len(rows) // 2500)
    rows, columns = rows[::step], columns[::step]
    away = np.hypot(columns - aim[0], rows - aim[1])
    x, y = (part[rows, columns].astype(float) for part in lines.across())
    weights = lines.coherence[rows, columns] ** 2 * np.sqrt(lines.energy[rows, columns])
    weights = weights * np.exp(-0.5 * (away / reach) ** 2)
    sector = np.minimum((np.mod(np.arctan2(y, x), np.pi) / np.pi * 24).astype(int), 23)
    share = np.bincount(sector, weights, 24)
    weights = weights / np.maximum(share / max(float(share.mean()), 1e-9), 0.3)[sector]
    places = grid(aim - reach, aim + reach, 31)
    points = np.column_stack([columns, rows]).astype(float)
    return np.asarray(places[meeting_score(places, points, np.column_stack([x, y]), weights, 10.0).argmax()])


def _ring_alignment(lines: Orientation, middle: NDArray[np.float64]) -> Image:
    """Return how far the lines run around the middle: 1 all of them, -1 all run away from it, 0 none or any way."""
    x, y = lines.across()
    rows, columns = np.mgrid[: x.shape[0], : x.shape[1]]
    dx, dy = columns - middle[0], rows - middle[1]
    cosine = (x * dx + y * dy) / (np.hypot(dx, dy) + 1)
    aligned = (2 * cosine * cosine - 1) * lines.coherence
    return blurred(aligned.astype(np.float32), max(x.shape) / 60)


def clusters(layers: Image, count: int) -> Labels:
    """Return each pixel's cluster by k-means over planes, shape (features, height, width); there is no chance in it."""
    every = layers.reshape(len(layers), -1)
    some = every[:, np.linspace(0, every.shape[1] - 1, min(every.shape[1], 3000)).astype(int)]
    return k_means(every, some, count, rounds=6).reshape(layers.shape[1:])


def log_ratio(inside: NDArray[Any], outside: NDArray[Any], limit: float) -> NDArray[np.float64]:
    """Return each label's log likelihood ratio from its counts inside and outside, one count added to each."""
    p, q = (inside + 1) / (inside.sum() + len(inside)), (outside + 1) / (outside.sum() + len(outside))
    return np.asarray(np.clip(np.log(p / q), -limit, limit))


class _Rays(NamedTuple):
    """Points along the rays of a star, which of them may be used, and how much the colour changes there."""

    radii: NDArray[np.float64]
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    within: Mask
    strength: NDArray[np.float64]


def _look(ground: Ground, star: Star) -> _Rays:
    height, width = ground.labels.shape
    corner = np.maximum(star.middle, np.array([width, height]) - star.middle)
    radii = np.arange(3.0, max(8.0, float(np.hypot(*corner))))
    ray = star.rays
    x, y = star.middle[0] + radii * ray[:, :1], star.middle[1] + radii * ray[:, 1:]
    within = (x >= -0.5) & (x <= width - 0.5) & (y >= -0.5) & (y <= height - 0.5)
    within &= sampled(ground.usable.astype(np.float32), x, y) > 0.5
    return _Rays(radii, x, y, within, edge_strength(ground.lab, x, y))


def edge_strength(lab: Image, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how much the colour changes along each row of points, 1 for the strongest twentieth."""
    rows = [sampled(plane, x, y) for plane in lab]
    change = np.sqrt(sum(np.gradient(row, axis=1) ** 2 for row in rows))
    return np.asarray(np.minimum(change / (np.percentile(change, 95) + 1e-6), 1.0))


def compete(ground: Ground, start: Star, rounds: int = 12) -> Candidate:
    """Return the closed edge that separates inside from outside best, found from a first one near its place."""
    star, seen = start, _look(ground, start)
    for k in range(rounds):
        ratio = _ratio(ground, star)
        if ratio is None:
            break
        along = sampled(ratio, seen.x, seen.y)
        along[~seen.within] = -3.0
        cost = -12.0 / star.radii.mean() * np.cumsum(along, axis=1) - 5.0 * seen.strength
        found = seen.radii[best_closed_path(cost, 8, 0.6)]
        moved = float(np.abs(found - star.radii).mean())
        star = star._replace(radii=found)
        if moved < 0.3:
            break
        if k in (1, 3, 6):
            star = recentred(star)
            seen = _look(ground, star)
    return Candidate(star, _score(ground, star, seen))


def _ratio(ground: Ground, star: Star) -> Image | None:
    """Return each pixel's log likelihood ratio of wood to rest, learnt within and without the edge."""
    shape = ground.labels.shape
    inside = polygon_mask(star.points(0.93), shape) & ground.usable
    outside = ~polygon_mask(star.points(1.1), shape) & ground.usable
    if inside.sum() < 30 or outside.sum() < 30:
        return None
    ratio = np.zeros(shape)
    for labels, count, limit, weight in (
        (ground.labels, CLUSTERS, 3.0, 1.0),
        (ground.ring_labels, RING_BINS, 2.0, 0.5),
    ):
        parts = [np.bincount(labels[part], minlength=count) for part in (inside, outside)]
        ratio += weight * log_ratio(parts[0], parts[1], limit)[labels]
    return blurred(np.where(ground.usable, ratio, -1.0).astype(np.float32), 1.0)


def recentred(star: Star) -> Star:
    """Return the same edge as seen from its centroid; where that sees it more than once, one of the crossings."""
    points = star.points()
    middle = polygon_centroid(points)
    offset = points - middle
    angle = np.mod(np.arctan2(offset[:, 1], offset[:, 0]), 2 * np.pi)
    order = np.argsort(angle)
    at = np.arange(len(points)) * 2 * np.pi / len(points)
    radii = np.interp(at, angle[order], np.hypot(*offset[order].T), period=2 * np.pi)
    return Star(middle, np.maximum(radii, 3.0))


def _score(ground: Ground, star: Star, seen: _Rays) -> float:
    """Return what speaks for an edge: strong and smooth, and no rings going on outside it (heartwood is no edge)."""
    height, width = ground.labels.shape
    at = np.clip(np.searchsorted(seen.radii, star.radii), 0, len(seen.radii) - 1)
    strength = float(seen.strength[np.arange(len(at)), at].mean())
    beyond = star.middle + star.rays[:, None, :] * star.radii[:, None, None] * np.linspace(1.04, 1.2, 6)[:, None]
    last = beyond[:, -1]
    held = (last[:, 0] > 0) & (last[:, 0] < width - 1) & (last[:, 1] > 0) & (last[:, 1] < height - 1)
    rings = sampled(ground.alignment, beyond[..., 0], beyond[..., 1]).mean(axis=1)
    going_on = max(float(np.median(rings[held])), 0.0) if held.any() else 0.0
    rough = float(np.abs(np.diff(star.radii, append=star.radii[:1])).mean() / star.radii.mean())
    return strength - 0.5 * going_on - 15 * rough


def best_edge(ground: Ground, aim: NDArray[np.float64]) -> Candidate:
    """Return the best of the edges found from small, middling and large first circles about the aim."""
    shorter = min(ground.labels.shape)
    found = [compete(ground, Star(aim, np.full(RAYS, share * shorter))) for share in STARTS]
    return max(found, key=lambda candidate: candidate.score)
