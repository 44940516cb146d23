"""One camera looking at one plane: the most likely view, from what was measured and what is known beforehand.

A pinhole camera with square pixels and a radial lens sees a plane of known mm. Everything measured on a reference, and
everything known of cameras (focal length from the file, the axis near the middle of the picture, a lens nearly free of
distortion, a photo taken from roughly above), enters one least-squares fit; the inverse of its normal matrix is the
covariance (maximum a posteriori under normal errors; Hartley & Zisserman, Multiple View Geometry, 2004, ch. 5 and 8).

The mm frame has x to the right, y down and z into the wood, away from the camera.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import MapError, Photo, Point

Array = NDArray[np.float64]
FOCAL, CENTRE, RADIAL, TURN, SHIFT = 0, slice(1, 3), slice(3, 5), slice(5, 8), slice(8, 11)
OPTICS = 11  # parameters of a view; what a reference adds comes behind them
STRAINED = 16.0
_STEPS = 40
_TURN_STEP = 1e-6
_DIMENSIONLESS = [0, 3, 4, 5, 6, 7, 10]  # of the parameters: those where a change of 1 is a very large one
_BOLDEST = 0.3  # change of one of them in a step
_EASING = 1 / 30  # of the damping that is left at the least after a step that kept all it promised


@dataclass(frozen=True)
class Prior:
    """What is known of the camera before the reference is looked at; standard errors are marked so.

    Attributes
    ----------
    focal_px, focal_error : float
        Focal length in pixels; standard error of its logarithm.
    centre_px, centre_error_px : float
        Where the camera's axis meets the picture.
    k1_error, k2_error : float
        Of the radial coefficients, taken to be zero.
    tilt_error : float
        Of the plane's normal across the camera's axis, in radians.
    """

    focal_px: float
    focal_error: float
    centre_px: Point
    centre_error_px: float
    k1_error: float = 0.022
    k2_error: float = 0.01
    tilt_error: float = 0.35


def prior_of(photo: Photo) -> Prior:
    """Return what a photo's file tells of the camera, and what is common where it does not.

    Common practice, no source: cameras take most of their lens's distortion out before they write the file; phones and
    compact cameras in daily use have 24 to 60 mm equivalent focal length; a focal length in the file is rounded to the
    millimetre of 24 to 30; the axis of calibrated phones lies within a hundredth of the longer side of the picture's
    middle, and a photo without such data may have been cropped a little. Of one that has been, by its proportion, the
    axis may lie anywhere about the middle, and its angle of view is smaller.
    """
    if photo.cropped:
        return prior_if_cropped(photo)
    longer, centre = _frame(photo)
    if photo.focal_px is not None:
        return Prior(photo.focal_px, 0.02, centre, 0.006 * longer)
    return Prior(0.9 * longer, 0.3, centre, 0.008 * longer)


def prior_if_cropped(photo: Photo) -> Prior:
    """Return what is known of the camera where a photo may be any part of what it took."""
    longer, centre = _frame(photo)
    return Prior(1.05 * longer, 0.35, centre, 0.05 * longer)


def _frame(photo: Photo) -> tuple[int, Point]:
    """Return a photo's longer side and its middle."""
    return max(photo.width, photo.height), ((photo.width - 1) / 2, (photo.height - 1) / 2)


@dataclass(frozen=True, eq=False)
class View:
    """A camera and a plane before it; or many of them, where `values` has more axes in front.

    Attributes
    ----------
    values : ndarray, shape (..., 11 + more)
        Logarithm of the focal length, centre (2), radial coefficients (2), a small turn from `turned` (rotation
        vector, 3), where an ideal lens shows the mm frame's origin (2) and the logarithm of the mm that a pixel shows
        there (so that the focal length can change without moving everything), and what the reference adds.
    turned : ndarray, shape (3, 3)
        Rotation from the mm frame to the camera before that small turn.
    covariance : ndarray, shape (11 + more, 11 + more), or None
        Of `values`, once fitted.
    cost : float
        Sum of squared, weighted residuals and departures from the prior.
    """

    values: Array
    turned: Array
    covariance: Array | None = None
    cost: float = math.inf

    @cached_property
    def focal_px(self) -> Array:
        """Focal length in pixels."""
        return np.asarray(np.exp(self.values[..., FOCAL]))

    @cached_property
    def rotation(self) -> Array:
        """Rotation from the mm frame to the camera, shape (..., 3, 3)."""
        return rotation(self.values[..., TURN]) @ self.turned

    @cached_property
    def turn_slopes(self) -> Array:
        """How the rotation of one view changes with its small turn, shape (3, 3, 3).

        A difference does: a rotation is nearly linear in so short a step.
        """
        steps = rotation(self.values[TURN] + _TURN_STEP * np.eye(3)) @ self.turned
        return np.asarray((steps - self.rotation) / _TURN_STEP)

    @cached_property
    def shift(self) -> Array:
        """The mm frame's origin seen from the camera, in mm, shape (..., 3)."""
        focal = self.focal_px[..., None]
        far = focal * np.exp(self.values[..., SHIFT][..., 2:])
        aside = (self.values[..., SHIFT][..., :2] - self.values[..., CENTRE]) / focal
        return np.concatenate([aside * far, far], axis=-1)

    @property
    def more(self) -> Array:
        """What the reference adds to the parameters."""
        return self.values[..., OPTICS:]

    @cached_property
    def homography(self) -> Array:
        """From mm to undistorted pixels, shape (..., 3, 3)."""
        plane = self.rotation.copy()
        plane[..., 2] = self.shift
        plane[..., :2, :] *= self.focal_px[..., None, None]
        plane[..., :2, :] += self.values[..., CENTRE, None] * plane[..., 2:, :]
        return plane

    @property
    def tilt_deg(self) -> float:
        """Angle between the camera's axis and the plane's normal."""
        return math.degrees(math.acos(min(1.0, abs(float(self.rotation[2, 2])))))

    def camera_mm(self) -> Array:
        """Return where the camera is in the mm frame, shape (3,); z is negative before the plane."""
        return np.asarray(-self.rotation.T @ self.shift)

    def to_px(self, points_mm: ArrayLike) -> Array:
        """Return where the photo shows points of the plane, shape (..., n, 2), or of space, shape (..., n, 3)."""
        points = np.asarray(points_mm, dtype=float)
        turned = self.rotation[..., : points.shape[-1]]
        seen = points @ np.swapaxes(turned, -1, -2) + self.shift[..., None, :]
        offset, centre, focal = seen[..., :2] / seen[..., 2:], *self._optics()
        return np.asarray(centre + focal * offset * self._stretch(offset))

    def to_mm(self, points_px: ArrayLike) -> Array:
        """Return the points of the plane that the photo shows at pixels, shape (..., n, 2)."""
        return mapped(np.asarray(np.linalg.inv(self.homography)), self.ideal(points_px))

    def ideal(self, points_px: ArrayLike) -> Array:
        """Return pixels, shape (..., n, 2), where a lens without distortion would have shown them."""
        centre, focal = self._optics()
        seen = (np.asarray(points_px, dtype=float) - centre) / focal
        k1, k2 = self.values[..., 3, None], self.values[..., 4, None]
        seen2 = seen[..., 0] ** 2 + seen[..., 1] ** 2
        stretch = np.ones_like(seen2)
        for _ in range(4):  # the error shrinks about thirtyfold a round for |k1| up to 0.1 inside the frame
            r2 = seen2 / (stretch * stretch)
            stretch = 1 + r2 * (k1 + k2 * r2)
        return np.asarray(centre + focal / stretch[..., None] * seen)

    def _optics(self) -> tuple[Array, Array]:
        """Return the centre and the focal length, shaped to go with points."""
        return self.values[..., None, CENTRE], self.focal_px[..., None, None]

    def _stretch(self, offset: Array) -> Array:
        k1, k2 = self.values[..., 3, None, None], self.values[..., 4, None, None]
        r2 = (offset**2).sum(axis=-1, keepdims=True)
        return np.asarray(1 + r2 * (k1 + k2 * r2))


Residuals = Callable[[View], Array]
Slopes = Callable[[View], Array]


def start(prior: Prior, homography: ArrayLike, more: int = 0) -> View | None:
    """Return a first view from a homography of mm to pixels; None where that shows the plane from behind or edge-on."""
    h = np.asarray(homography, dtype=float)
    (x, y), f = prior.centre_px, prior.focal_px
    columns = np.linalg.inv(np.array([[f, 0, x], [0, f, y], [0, 0, 1]])) @ h
    size = float(np.sqrt(np.linalg.norm(columns[:, 0]) * np.linalg.norm(columns[:, 1])))
    if not np.isfinite(columns).all() or size <= 0:
        return None
    columns = columns / (size if columns[2, 2] > 0 else -size)
    left, _, right = np.linalg.svd(np.column_stack([columns[:, :2], np.cross(columns[:, 0], columns[:, 1])]))
    turned = left @ np.diag([1, 1, np.linalg.det(left @ right)]) @ right
    if turned[2, 2] <= 0.1:
        return None
    if columns[2, 2] <= 0:
        return None
    seen = h[:2, 2] / h[2, 2]
    values = np.concatenate([[math.log(f), x, y, 0, 0, 0, 0, 0, *seen, math.log(columns[2, 2] / f)], np.zeros(more)])
    return View(values, np.asarray(turned))


def mirrored(view: View, at_mm: Point = (0.0, 0.0)) -> View:
    """Return the view that a distant plane is easily mistaken for: turned the other way about the line of sight."""
    sight = view.rotation @ np.array([*at_mm, 0.0]) + view.shift
    sight = sight / np.linalg.norm(sight)
    flip = np.eye(3) - 2 * np.outer(sight, sight)
    turned = flip @ view.rotation @ np.diag([1.0, 1.0, -1.0])
    values = view.values.copy()
    values[SHIFT] = _seen(view, view.shift + (view.rotation - turned)[:, :2] @ at_mm)
    values[TURN] = 0
    return View(values, np.asarray(turned))


def squarely(view: View, at_mm: Point = (0.0, 0.0)) -> View:
    """Return the view of the same plane with no tilt, the point `at_mm` kept where it is and its turn as it looks."""
    x, y = view.rotation[:2, 0] + view.rotation[[1, 0], 1] * [1, -1]
    angle = math.atan2(y, x)
    turned = rotation(np.array([0.0, 0.0, angle]))
    values = view.values.copy()
    values[SHIFT] = _seen(view, view.shift + (view.rotation - turned)[:, :2] @ at_mm)
    values[TURN] = 0
    return View(values, turned)


def _seen(view: View, shift: Array) -> Array:
    """Return an origin seen from the camera, in mm, as the parameters of a view have it."""
    focal = float(view.focal_px)
    return np.array([*(view.values[CENTRE] + focal * shift[:2] / shift[2]), math.log(shift[2] / focal)])


def fit(
    view: View,
    prior: Prior,
    residuals: Residuals,
    more_errors: Sequence[float] = (),
    settled: float = 1e-6,
    steps: int = _STEPS,
    slopes: Slopes | None = None,
) -> View | None:
    """Return the most likely view near a first one, with its covariance (Levenberg-Marquardt).

    The damping follows how well each step keeps what it promised (Nielsen 1999): a focal length and a distance that
    change together make a narrow, bent valley, in which a step is too bold or too timid for many in a row.

    Parameters
    ----------
    residuals : callable
        Of a view: what was measured less what it predicts, each over its standard error.
    more_errors : sequence of float
        Standard errors of what the reference adds to the parameters, all taken to be zero.
    settled : float
        Gain of a step, as a share of the cost, below which no further one is taken.
    steps : int
        The most that are taken.
    slopes : callable, optional
        Of a view: the residuals' derivatives, shape (parameters, n); by differences if not given.

    Returns
    -------
    View or None
        None where the fit runs away.
    """

    def whole(at: View) -> Array:
        return np.concatenate([residuals(at), _departures(at, prior, more_errors)], axis=-1)

    def jacobian_at(at: View, here: Array) -> Array:
        if slopes is None:
            return _jacobian(whole, at, here)
        return np.concatenate([slopes(at).T, _departure_slopes(at, prior, more_errors)])

    current, damping = whole(view), 1e-3
    jacobian = jacobian_at(view, current)
    for _ in range(steps):
        normal, slope = jacobian.T @ jacobian, jacobian.T @ current
        if not np.isfinite(normal).all():
            return None
        rise = 2.0
        while True:
            change = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -slope)
            change /= max(1.0, float(np.abs(change[_DIMENSIONLESS]).max()) / _BOLDEST)
            tried = replace(view, values=view.values + change)
            result = whole(tried)
            gain = float(current @ current - result @ result)
            if gain >= 0 or damping > 1e8:
                break
            damping, rise = damping * rise, 2 * rise
        if not gain >= 0:
            return None
        kept = gain / max(-float(change @ (2 * slope + normal @ change)), 1e-12)
        view, current, damping = tried, result, max(damping * max(_EASING, 1 - (2 * kept - 1) ** 3), 1e-9)
        jacobian = jacobian_at(view, current)
        if gain <= settled * (1 + float(current @ current)):
            break
    covariance = np.asarray(np.linalg.inv(jacobian.T @ jacobian))
    return replace(view, covariance=covariance, cost=float(current @ current))


def _steps(view: View) -> Array:
    more = np.full(len(view.more), 1e-5)
    return np.concatenate([[1e-6, 1e-3, 1e-3, 1e-6, 1e-6, 1e-6, 1e-6, 1e-6, 1e-3, 1e-3, 1e-6], more])


def _jacobian(function: Residuals, view: View, here: Array) -> Array:
    """Return the derivative of a function that is `here` at the view, by forward differences in one call."""
    steps = _steps(view)
    there = function(replace(view, values=view.values + np.diag(steps)))
    return np.asarray(((there - here) / steps[:, None]).T)


def _departures(view: View, prior: Prior, more_errors: Sequence[float]) -> Array:
    """Return how far views are from what is known beforehand, in standard errors, shape (..., 7 + more)."""
    values = view.values
    parts = [
        (values[..., :1] - math.log(prior.focal_px)) / prior.focal_error,
        (values[..., CENTRE] - prior.centre_px) / prior.centre_error_px,
        values[..., RADIAL] / [prior.k1_error, prior.k2_error],
        view.rotation[..., :2, 2] / prior.tilt_error,
        values[..., OPTICS:] / np.asarray(more_errors, dtype=float),
    ]
    return np.concatenate(parts, axis=-1)


def strained(view: View, prior: Prior) -> bool:
    """Return whether what was measured speaks so loudly against what is known of the camera that the photo is cropped.

    Focal length, centre and lens of 62 sheets on whole drawn photos were off by a chi square of 8.5 at most; of half of
    them, cut to a smaller frame of the same proportion, by more than 16.
    """
    known = _departures(view, prior, [1.0] * len(view.more))[:5]
    return bool(known @ known > STRAINED)


def _departure_slopes(view: View, prior: Prior, more_errors: Sequence[float]) -> Array:
    """Return the derivative of the departures of one view, shape (7 + more, 11 + more)."""
    slopes = np.zeros((7 + len(view.more), OPTICS + len(view.more)))
    slopes[:5, :5] = np.diag(
        1 / np.array([prior.focal_error, *[prior.centre_error_px] * 2, prior.k1_error, prior.k2_error])
    )
    slopes[5:7, TURN] = view.turn_slopes[:, :2, 2].T / prior.tilt_error
    slopes[7:, OPTICS:] = np.diag(1 / np.asarray(more_errors, dtype=float))
    return slopes


def rotation(vectors: Array) -> Array:
    """Return rotations about vectors, shape (..., 3), by their lengths in radians (Rodrigues), shape (..., 3, 3)."""
    x, y, z = np.moveaxis(vectors, -1, 0)
    angle = np.sqrt(x * x + y * y + z * z)
    half = np.maximum(angle / 2, 1e-9)
    sinc = np.sin(half) / half
    sine, rest = sinc * np.cos(half), 0.5 * sinc * sinc
    turned = rest[..., None, None] * vectors[..., :, None] * vectors[..., None, :]
    for k, (i, j) in enumerate(((1, 2), (2, 0), (0, 1))):
        turned[..., k, k] += 1 - rest * angle * angle
        turned[..., i, j] -= sine * vectors[..., k]
        turned[..., j, i] += sine * vectors[..., k]
    return np.asarray(turned)


def mapped(matrix: Array, points: Array) -> Array:
    """Return points, shape (..., n, 2), moved by homographies, shape (..., 3, 3)."""
    moved = points @ np.swapaxes(matrix[..., :2], -1, -2) + matrix[..., None, :, 2]
    return np.asarray(moved[..., :2] / moved[..., 2:])


def modes_between(view: View, other: View) -> Array:
    """Return the ten numbers of `MapError` that lead from one view's map to another's, for small differences."""
    f, (x, y) = float(view.focal_px), view.values[CENTRE]
    unit = np.array([[f, 0, x], [0, f, y], [0, 0, 1]])
    inner = np.linalg.inv(unit) @ view.homography @ np.linalg.inv(other.homography) @ unit
    e = inner / inner[2, 2] - np.eye(3)
    radial = view.values[RADIAL] - other.values[RADIAL]
    return np.array([e[0, 2], e[0, 0], e[0, 1], e[1, 2], e[1, 0], e[1, 1], -e[2, 0], -e[2, 1], *radial])


def map_error(view: View) -> MapError:
    """Return the standard error as a function of the place."""
    assert view.covariance is not None
    steps = np.diag(_steps(view))
    slopes = [modes_between(view, replace(view, values=view.values + step)) / step.sum() for step in steps]
    slope = np.stack(slopes, axis=1)
    covariance = slope @ view.covariance @ slope.T
    x, y = view.values[CENTRE]
    return MapError((float(x), float(y)), float(view.focal_px), tuple(tuple(row) for row in covariance.tolist()))


def distance_error(view: View) -> float:
    """Return the standard error of the camera's distance from the plane, in mm."""
    assert view.covariance is not None
    here = view.camera_mm()[2]
    steps = np.diag(_steps(view))
    slope = [(replace(view, values=view.values + step).camera_mm()[2] - here) / step.sum() for step in steps]
    return float(np.sqrt(slope @ view.covariance @ slope))
