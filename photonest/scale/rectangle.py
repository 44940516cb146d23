"""Rectangles of known size in a photo: found by straight edges, told by proportion and corners, fitted by sides."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import light
from photonest.model import Photo
from photonest.scale.camera import Array, Prior, View
from photonest.scale.edges import Edge, fine_edges, meet
from photonest.scale.rough_shapes import area, looks
from photonest.scale.side_points import rectangle
from photonest.scale.sides import enlarged, fit_sides, refit_sides

LEAST_SHARE = 0.5  # of each side must be seen as an edge
NARROW = 0.0018  # half of the strip that a side is looked for in, over the longer side
CLOSER = 0.5  # once found, a side is read in a strip so much narrower
ROUGHEST = 0.0004  # error of a piece of a side, as a share of the photo's longer side: rougher ones are no cut edges
# error of a piece of a side by light, as a share of the photo's longer side, from which on it is rough; over how rough
# it is by light, that it must be by colour to count as read so
ROUGH_BY_LIGHT, SMOOTHER = 0.00008, 0.7
ANY_PROPORTION = 0.35
FORESHORTENED = 1.5  # by which factor a rectangle is taken to look longer or shorter than it is at most


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


@dataclass(frozen=True, eq=False)
class Proportion:
    """Width over height of a shape seen, and the standard error of its logarithm."""

    value: float
    error: float

    def is_about(self, value: float, tolerance: float = 0.0, within: float = 3.5) -> bool:
        """Whether it may be a value, within so many standard errors."""
        return abs(math.log(self.value / value)) < within * math.hypot(self.error, tolerance)


def sharpened(
    photo: Photo, rough: Array, margin: float, worth: Callable[[Array], bool], bend: float = 0.0, shaded: bool = False
) -> Seen | None:
    """Return a shape with its sides found again in the full photo, or None where a side isn't there.

    Parameters
    ----------
    margin : float
        Share of each side left out at either end.
    worth : callable
        Of its corners as they are found to be, to a pixel or two, whether it is worth reading its sides closely: that
        takes most of the time, and most shapes are something else.
    bend : float
        By what share of their length its sides may be bent; they then meet where they would go on bending.
    shaded : bool
        Whether what lies about it is rough, or in the shape's own shadow, so that each side is told by colour where
        it is smoother so.
    """
    longer = max(photo.width, photo.height)
    narrow = max(4.0, NARROW * longer)
    sides = np.stack([rough, np.roll(rough, -1, axis=0)], axis=1)

    def is_worth(lines: Array) -> bool:
        corners = np.array([meet(lines[k - 1], lines[k]) for k in range(4)])
        return bool(np.isfinite(corners).all()) and area(corners) > 0 and worth(corners)

    roughest = ROUGHEST * longer
    found = fine_edges(
        photo.pixels,
        sides,
        narrow,
        margin,
        closer=CLOSER,
        roughest_px=None if shaded else roughest,
        worth=is_worth,
        bend=bend,
    )
    if shaded:
        other = fine_edges(photo.pixels, sides, narrow, margin, closer=CLOSER, worth=is_worth, shaded=True, bend=bend)
        found = [smoother(*pair, ROUGH_BY_LIGHT * longer) for pair in zip(found, other, strict=True)]
    edges = [edge for edge in found if edge is not None and edge.share >= LEAST_SHARE]
    if len(edges) < 4 or max(edge.error_px for edge in edges) > roughest:
        return None
    lines = [_line(edge.px) for edge in edges]
    corners = np.array([meet(lines[k - 1], lines[k]) for k in range(4)])
    if bend and np.isfinite(corners).all():
        ends = [(_line(edges[k - 1].px, corners[k]), _line(edges[k].px, corners[k])) for k in range(4)]
        corners = np.array([meet(*pair) for pair in ends])
    if not np.isfinite(corners).all() or area(corners) <= 0:
        return None
    return Seen(corners, edges, area(corners) / (photo.width * photo.height))


def smoother(by_light: Edge | None, by_colour: Edge | None, rough_px: float) -> Edge | None:
    """Return a side as read by light, or by colour where it is rough by light and much less so by colour."""
    one, other = (edge if edge and edge.share >= LEAST_SHARE else None for edge in (by_light, by_colour))
    if one is None or other is None:
        return one or other
    return other if one.error_px > rough_px and other.error_px < SMOOTHER * one.error_px else one


def rough_proportion(prior: Prior, corners: Array, corner_px: float) -> Proportion:
    """Return about which proportion a rectangle has by its corners alone, each to `corner_px` along x and y.

    The columns of the homography from the rectangle to the camera's rays are its sides (Zhang 2000); what the corners'
    errors and the focal length's do to their lengths is worked out by differences.
    """
    corner_steps = np.concatenate([np.zeros((1, 4, 2)), corner_px * np.eye(8).reshape(8, 4, 2), np.zeros((1, 4, 2))])
    focal = prior.focal_px * np.exp([*[0.0] * 9, prior.focal_error])
    rays = (corners + corner_steps - prior.centre_px) / focal[:, None, None]
    a, b, c, d = np.moveaxis(rays, 1, 0)
    far, near, across = b - c, d - c, a - b + c - d
    whole = far[:, 0] * near[:, 1] - far[:, 1] * near[:, 0]
    g = (across[:, 0] * near[:, 1] - across[:, 1] * near[:, 0]) / whole
    h = (far[:, 0] * across[:, 1] - far[:, 1] * across[:, 0]) / whole
    wide = np.hypot(np.linalg.norm(b - a + g[:, None] * b, axis=1), g)
    tall = np.hypot(np.linalg.norm(d - a + h[:, None] * d, axis=1), h)
    value = np.log(wide / tall)
    return Proportion(float(np.exp(value[0])), float(np.linalg.norm(value[1:] - value[0])))


def _line(points: Array, near: Array | None = None) -> Array:
    """Return two points on the line through points, or on the tangent near a place to a parabola through them."""
    middle = points.mean(axis=0)
    along = np.linalg.svd(points - middle)[2][0]
    if near is None:
        return np.array([middle, middle + along])
    aside = np.array([-along[1], along[0]])
    curve = np.polyfit((points - middle) @ along, (points - middle) @ aside, 2)
    at = float((near - middle) @ along) + np.array([0.0, 1.0])
    return np.asarray(
        middle + at[:, None] * along + (curve[2] + curve[1] * at + curve[0] * at[0] * (2 * at - at[0]))[:, None] * aside
    )


def proportion(prior: Prior, seen: Seen, bend: float = 0.0) -> tuple[Proportion, list[View]] | None:
    """Return the proportion of a shape taken to be a rectangle of any, and its likely views, 100 mm high.

    The camera's tilt is part of the fit; so is how far it is bent, up to about `bend` of its height.
    """
    look = looks(seen.corners)
    # what the corners alone say: begun as long as the shape looks, the fit may end in a view far from the likeliest
    told = rough_proportion(prior, seen.corners, 1.0).value
    width = 100 * min(max(told, look / FORESHORTENED), look * FORESHORTENED)
    size, errors = (width, 100.0), (ANY_PROPORTION * width, 1e-3)
    answer = fit_sides(
        prior,
        shape_homography(seen.corners, size),
        rectangle(*size),
        seen.edges,
        errors,
        (width / 2, 50.0),
        bend_error=100 * bend,
    )
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
    return Proportion(wide / 100, error), [view for view in answer if view is not None]


def fitted(
    prior: Prior,
    seen: Seen,
    views: Sequence[View],
    size: tuple[float, float],
    errors: Sequence[float],
    bend: float = 0.0,
) -> tuple[View, View | None] | None:
    """Return the view of a shape taken to be a rectangle of a size in mm, and the second best.

    Parameters
    ----------
    views : sequence of View
        Of the shape as `proportion` sees it, 100 mm high, bent or not.
    size : (width, height)
        Side 0 is its width.
    """
    begun = [enlarged(view, size[1] / 100, bent=bend > 0) for view in views]
    return refit_sides(prior, begun, rectangle(*size), seen.edges, errors, bend_error=bend * size[1])


def shape_homography(corners: Array, size: tuple[float, float]) -> Array:
    """Return the homography from a rectangle's mm to a shape seen."""
    import cv2

    width, height = size
    square = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    return np.asarray(cv2.getPerspectiveTransform(square, corners.astype(np.float32)), dtype=float)


def interior(photo: Photo, corners: Array, samples: int = 24) -> NDArray[np.float64]:
    """Return linear light at places inside a four-sided shape, shape (samples, samples, 3)."""
    import cv2

    at = (_within(samples) @ corners).astype(np.float32)
    x, y = at[..., 0], at[..., 1]
    seen = cv2.remap(photo.pixels, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return light(seen).astype(float)


@cache
def _within(samples: int) -> Array:
    """Return what share each corner has in places inside a four-sided shape, shape (samples, samples, 4)."""
    u, v = np.meshgrid(*[np.linspace(0.06, 0.94, samples)] * 2)
    return np.stack([(1 - u) * (1 - v), u * (1 - v), u * v, (1 - u) * v], axis=-1)
