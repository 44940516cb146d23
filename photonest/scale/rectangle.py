"""Rectangles of known size in a photo: found by straight edges, told by proportion and corners, fitted by sides."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from photonest.model import Photo
from photonest.scale.camera import Array, Prior, View, mapped
from photonest.scale.edges import Edge, coarse_edge, fine_edge, light
from photonest.scale.quads import SEARCH_PX, find_quads
from photonest.scale.sides import enlarged, fit_sides, rectangle, refit_sides

ROUGH_SHARE, LEAST_SHARE = 0.4, 0.5  # of each side must be seen as an edge, at first and in the end
ROUGH_PX = 1600  # least longer side, where the photo has it, of the picture that sides are first looked for in
LEAST_AREA, LONGEST = 0.002, 3.0  # of shapes looked at: share of the frame, and length over width
NEARLY_SAME = 0.003  # of the longer side, that all corners of two shapes lie apart
MOST_TRIED = 40
CLOSER = 0.5  # once found, a side is read in a strip so much narrower
ROUGHEST = 0.0004  # error of a piece of a side, as a share of the photo's longer side: rougher ones are no cut edges
ANY_PROPORTION = 0.35
CORNER_SLACK = 0.2  # of a corner's radius, that its edge may be seen off
LEAST_CONTRAST = 0.01  # of light, between a shape and the ground at its corners


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


def rough_shapes(photo: Photo) -> tuple[Array, ...]:
    """Return corners of shapes with four straight sides, to a pixel or two, clockwise, those that closed best first.

    Cards and paper are both looked for in one photo: it is searched once.
    """
    if photo not in _SEARCHED:
        _SEARCHED[photo] = tuple(_searched(photo.pixels))
    return _SEARCHED[photo]


_SEARCHED: WeakKeyDictionary[Photo, tuple[Array, ...]] = WeakKeyDictionary()  # nothing but answers worked out before


def _searched(pixels: NDArray[np.uint8]) -> list[Array]:
    """Return shapes that lines close, their sides moved onto edges in a picture of moderate size."""
    import cv2

    height, width = pixels.shape[:2]
    fold = max(1, max(width, height) // ROUGH_PX)
    small = pixels if fold == 1 else cv2.resize(pixels, (width // fold, height // fold), interpolation=cv2.INTER_AREA)
    ratio = np.array(small.shape[1::-1]) / [width, height]
    longer = max(small.shape[:2])
    found: list[Array] = []
    for quad in [quad for quad in find_quads(small) if _is_worth_a_look(quad, small.shape)][:MOST_TRIED]:
        moved = _moved(small, quad, max(3.0, 2.5 * longer / SEARCH_PX))
        if moved is not None:
            found += [
                one for one in (moved, quad) if not any(_same(one, other, NEARLY_SAME * longer) for other in found)
            ]
    return [(corners + 0.5) / ratio - 0.5 for corners in found]


def _is_worth_a_look(quad: Array, shape: tuple[int, ...]) -> bool:
    return area(quad) > LEAST_AREA * shape[0] * shape[1] and 1 / LONGEST < looks(quad) < LONGEST


def _moved(pixels: NDArray[np.uint8], quad: Array, reach: float) -> Array | None:
    """Return a shape with its sides moved onto the strongest straight edges near them; None where one isn't there."""
    ends = []
    for k in range(4):
        moved = coarse_edge(pixels, [quad[k], quad[(k + 1) % 4]], reach)
        if moved is None or moved[1] < ROUGH_SHARE:
            return None
        ends.append(moved[0])
    corners = np.array([_meet(ends[k - 1], ends[k]) for k in range(4)])
    return corners if np.isfinite(corners).all() and np.abs(corners - quad).max() < 4 * reach else None


def sharpened(photo: Photo, rough: Array, margin: float) -> Seen | None:
    """Return a shape with its sides found again in the full photo, or None where a side isn't there.

    Parameters
    ----------
    margin : float
        Share of each side left out at either end.
    """
    longer = max(photo.width, photo.height)
    narrow = max(4.0, 0.0018 * longer)
    edges: list[Edge] = []
    for k in range(4):
        edge = fine_edge(photo.pixels, [rough[k], rough[(k + 1) % 4]], narrow, margin, closer=CLOSER)
        if edge is None or edge.share < LEAST_SHARE:
            return None
        edges.append(edge)
    if max(edge.error_px for edge in edges) > ROUGHEST * longer:
        return None
    lines = [_line(edge.px) for edge in edges]
    corners = np.array([_meet(lines[k - 1], lines[k]) for k in range(4)])
    if not np.isfinite(corners).all() or area(corners) <= 0:
        return None
    return Seen(corners, edges, area(corners) / (photo.width * photo.height))


def area(corners: Array) -> float:
    """Return the area of a four-sided shape, positive where its corners run clockwise as seen."""
    x, y = corners.T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2


def looks(corners: Array) -> float:
    """Return the length of sides 0 and 2 over that of sides 1 and 3, as seen."""
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    return float(np.sqrt(sides[0] * sides[2] / (sides[1] * sides[3])))


def _same(one: Array, other: Array, nearer: float) -> bool:
    if np.abs(one.mean(axis=0) - other.mean(axis=0)).max() > nearer:
        return False
    return any(np.abs(np.roll(one, turn, axis=0) - other).max() < nearer for turn in range(4))


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


def proportion(prior: Prior, seen: Seen, bend: float = 0.0) -> tuple[Proportion, list[View]] | None:
    """Return the proportion of a shape taken to be a rectangle of any, and its likely views, 100 mm high.

    The camera's tilt is part of the fit; so is how far it is bent, up to about `bend` of its height.
    """
    width = 100 * looks(seen.corners)
    size, errors = (width, 100.0), (ANY_PROPORTION * width, 1e-3)
    answer = fit_sides(
        prior, _homography(seen, size), rectangle(*size), seen.edges, errors, (width / 2, 50.0), bend_error=100 * bend
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
        Of the shape as `proportion` sees it, 100 mm high.
    size : (width, height)
        Side 0 is its width.
    """
    begun = [enlarged(view, size[1] / 100) for view in views]
    return refit_sides(prior, begun, rectangle(*size), seen.edges, errors, bend_error=bend * size[1])


def _homography(seen: Seen, size: tuple[float, float]) -> Array:
    """Return the homography from a rectangle's mm to a shape seen."""
    import cv2

    width, height = size
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32)
    return np.asarray(cv2.getPerspectiveTransform(corners, seen.corners.astype(np.float32)), dtype=float)


def right_corners(photo: Photo, seen: Seen, size: tuple[float, float], radius_mm: float, *, sharp: bool) -> int:
    """Return how many corners are seen to be rounded with a radius, or to be sharp as far as such a radius would reach.

    One corner may be hidden, another in shadow; by chance a corner of something else looks right one time in fifty.
    """
    reach = corner_reaches(photo, seen, size, radius_mm) / radius_mm
    slant = np.radians([15, 30, 45, 30, 15])
    off = reach - (1 / np.cos(slant) if sharp else 1)
    near = np.abs(off) < CORNER_SLACK
    middle = near[:, 2] if sharp else (off[:, 2] > -0.31) & (off[:, 2] < 0.226)
    others = [0, 1, 3, 4]
    closely = (np.abs(off[:, others]) < CORNER_SLACK / 2).all(axis=1)  # a mark beside the arc's middle is let pass
    return int(np.sum((middle & (near[:, others].sum(axis=1) >= 3)) | closely))


def corner_reaches(photo: Photo, seen: Seen, size: tuple[float, float], radius_mm: float) -> Array:
    """Return how far a shape reaches in its corners, from the centres of their arcs, shape (4, 5), in mm.

    Along rays at 15, 30, 45, 60 and 75 degrees between the sides' normals; a corner rounded with that radius reaches as
    far in all of them, a sharp one farther in the middle. Nan where the ground looks like the shape.
    """
    import cv2

    width, height = size
    centres = np.array([[0, 0], [width, 0], [width, height], [0, height]], float)
    outward = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    centres -= radius_mm * outward
    angle = np.radians([15, 30, 45, 60, 75])
    rays = outward[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    away = np.linspace(0.2, 2.0, 73)
    mm = centres[:, None, None] + radius_mm * away[:, None] * rays[:, :, None]
    px = mapped(_homography(seen, size), mm).astype(np.float32).reshape(20, -1, 2)
    colour = cv2.remap(photo.pixels, px[..., 0], px[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    value = light(colour).astype(float)
    within = np.median(value[:, away < 0.6], axis=1)
    unlike = np.linalg.norm(value - within[:, None], axis=2)
    usual = np.median(unlike[:, away > 1.5], axis=1)
    # from inside outward, as far as it looks like the inside; the ground may be of any pattern
    other = unlike > 0.5 * usual[:, None]
    reach = np.where((usual > LEAST_CONTRAST) & other.any(axis=1), away[other.argmax(axis=1)], np.nan)
    return np.asarray(radius_mm * reach.reshape(4, 5))


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
