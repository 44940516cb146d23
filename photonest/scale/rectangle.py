"""Rectangles of known size in a photo: found by straight edges, told by proportion and corners, fitted by sides."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photonest.model import Photo
from photonest.scale.camera import Array, Prior, View
from photonest.scale.edges import Edge, coarse_edge, fine_edge, light
from photonest.scale.quads import SEARCH_PX, find_quads
from photonest.scale.sides import fit_sides, rectangle

LEAST_SHARE = 0.55  # of each side must be seen as an edge
MOST_TRIED = 40
ROUGHEST = 0.0003  # error of all sides but one, as a share of the photo's longer side: rougher ones are no cut edges
ANY_PROPORTION = 0.35


@dataclass(frozen=True, eq=False)
class Seen:
    """A shape with four straight sides.

    Attributes
    ----------
    corners : ndarray, shape (4, 2)
        Clockwise as seen, in pixels, to about half a pixel.
    edges : list of Edge
        Edge k runs from corner k to corner k + 1.
    share : float
        Of the frame's area.
    """

    corners: Array
    edges: list[Edge]
    share: float

    @property
    def looks(self) -> float:
        """Length of sides 0 and 2 over that of sides 1 and 3, as seen."""
        sides = np.linalg.norm(np.roll(self.corners, -1, axis=0) - self.corners, axis=1)
        return float(np.sqrt(sides[0] * sides[2] / (sides[1] * sides[3])))


@dataclass(frozen=True, eq=False)
class Proportion:
    """Width over height of a shape seen, and the standard error of its logarithm."""

    value: float
    error: float

    def is_about(self, value: float, tolerance: float = 0.0) -> bool:
        """Whether it may be a value, within three and a half standard errors."""
        return abs(math.log(self.value / value)) < 3.5 * math.hypot(self.error, tolerance)


def straight_shapes(photo: Photo, margin: float = 0.1) -> list[Seen]:
    """Return shapes whose four sides are in sight nearly whole, those that closed best first."""
    shapes: list[Seen] = []
    for quad in find_quads(photo.pixels)[:MOST_TRIED]:
        seen = _verified(photo, quad, margin)
        if seen is not None and not any(_same(seen, other) for other in shapes):
            shapes.append(seen)
    return shapes


def _same(one: Seen, other: Seen) -> bool:
    return any(np.abs(np.roll(one.corners, turn, axis=0) - other.corners).max() < 8 for turn in range(4))


def _verified(photo: Photo, quad: Array, margin: float) -> Seen | None:
    """Return a shape with its sides found again in the full photo, or None where a side isn't there."""
    longer = max(photo.width, photo.height)
    reach = max(3.0, 2.5 * longer / SEARCH_PX)
    ends = []
    for k in range(4):
        moved = coarse_edge(photo.pixels, [quad[k], quad[(k + 1) % 4]], reach)
        if moved is None or moved[1] < LEAST_SHARE:
            return None
        ends.append(moved[0])
    corners = np.array([_meet(ends[k - 1], ends[k]) for k in range(4)])
    if not np.isfinite(corners).all() or np.abs(corners - quad).max() > 4 * reach:
        return None
    narrow = max(4.0, 0.0018 * longer)
    edges = []
    for k in range(4):
        edge = fine_edge(photo.pixels, [corners[k], corners[(k + 1) % 4]], narrow, margin)
        if edge is None or edge.share < LEAST_SHARE:
            return None
        edges.append(edge)
    if sorted(edge.error_px for edge in edges)[-2] > ROUGHEST * longer:
        return None
    lines = [_line(edge.px) for edge in edges]
    corners = np.array([_meet(lines[k - 1], lines[k]) for k in range(4)])
    x, y = corners.T
    area = float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2
    if not np.isfinite(corners).all() or area <= 0:
        return None
    return Seen(corners, edges, area / (photo.width * photo.height))


def _line(points: Array) -> Array:
    """Return two points on the straight line through points."""
    middle = points.mean(axis=0)
    along = np.linalg.svd(points - middle)[2][0]
    return np.array([middle, middle + along])


def _meet(one: Array, other: Array) -> Array:
    """Return where two lines, each by two points, meet."""
    u, v = one[1] - one[0], other[1] - other[0]
    cross = u[0] * v[1] - u[1] * v[0]
    gap = other[0] - one[0]
    return np.asarray(one[0] + u * (gap[0] * v[1] - gap[1] * v[0]) / cross if cross else np.full(2, np.nan))


def fitted(
    prior: Prior, seen: Seen, size: tuple[float, float], errors: Sequence[float]
) -> tuple[View, View | None] | None:
    """Return the view of a shape taken to be a rectangle of a size in mm, side 0 its width; and the second best."""
    import cv2

    width, height = size
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    homography = cv2.getPerspectiveTransform(corners, seen.corners.astype(np.float32))
    return fit_sides(prior, homography, rectangle(width, height), seen.edges, errors, (width / 2, height / 2))


def proportion(prior: Prior, seen: Seen) -> Proportion | None:
    """Return the proportion of a shape taken to be a rectangle of any: the camera's tilt is part of the fit."""
    width = 100 * seen.looks
    answer = fitted(prior, seen, (width, 100.0), (ANY_PROPORTION * width, 1e-3))
    if answer is None:
        return None
    view, other = answer
    assert view.covariance is not None
    wide = width + float(view.more[0])
    if wide <= 0:
        return None
    error = math.sqrt(view.covariance[11, 11]) / wide
    if other is not None:
        weight = 1 / (1 + math.exp(min(50.0, (other.cost - view.cost) / 2)))
        error = math.hypot(error, math.sqrt(weight) * (other.more[0] - view.more[0]) / wide)
    return Proportion(wide / 100, error)


def corner_depths(photo: Photo, view: View, size: tuple[float, float], depth_mm: float) -> Array:
    """Return how far inside each sharp corner a shape begins, along the bisector, in mm, shape (4,).

    A corner rounded with radius r begins r (sqrt 2 - 1) inside.
    """
    import cv2

    width, height = size
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]])
    inward = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]]) / math.sqrt(2)
    away = np.linspace(-1.2 * depth_mm, 3.2 * depth_mm, 89)
    mm = corners[:, None] + away[None, :, None] * inward[:, None]
    px = view.to_px(mm.reshape(-1, 2)).reshape(4, -1, 2).astype(np.float32)
    colour = cv2.remap(photo.pixels, px[..., 0], px[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    value = light(colour).astype(float)
    depths = np.full(4, np.nan)
    for k in range(4):
        within = np.median(value[k, -28:], axis=0)
        unlike = np.linalg.norm(value[k] - within, axis=1)
        usual = float(np.median(unlike[:16]))
        # from inside outward, as far as it looks like the inside; the ground may be of any pattern
        other = np.flatnonzero(unlike > 0.5 * usual)
        if usual > 0.01 and len(other) and other[-1] + 1 < len(away):
            depths[k] = away[other[-1] + 1]
    return depths


def interior(photo: Photo, corners: Array, samples: int = 24) -> NDArray[np.float64]:
    """Return linear light at places inside a four-sided shape, shape (samples, samples, 3)."""
    import cv2

    u, v = np.meshgrid(*[np.linspace(0.06, 0.94, samples)] * 2)
    a, b, c, d = corners
    at = ((1 - u) * (1 - v))[..., None] * a + (u * (1 - v))[..., None] * b
    at = at + (u * v)[..., None] * c + ((1 - u) * v)[..., None] * d
    x, y = at.astype(np.float32).transpose(2, 0, 1)
    seen = cv2.remap(photo.pixels, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return light(seen).astype(float)
