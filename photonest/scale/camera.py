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

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import MapError, Photo, Point

Array = NDArray[np.float64]
FOCAL, CENTRE, RADIAL, TURN, SHIFT = 0, slice(1, 3), slice(3, 5), slice(5, 8), slice(8, 11)
OPTICS = 11  # parameters of a view; what a reference adds comes behind them
_STEPS = 40


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
    k1_error: float = 0.05
    k2_error: float = 0.03
    tilt_error: float = 0.35


def prior_of(photo: Photo) -> Prior:
    """Return what a photo's file tells of the camera, and what is common where it does not.

    Common practice, no source: phones and compact cameras in daily use have 24 to 60 mm equivalent focal length; a
    focal length in the file is rounded to the millimetre of 24 to 30, and crops move the axis.
    """
    longer = max(photo.width, photo.height)
    centre = ((photo.width - 1) / 2, (photo.height - 1) / 2)
    if photo.focal_px is not None:
        return Prior(photo.focal_px, 0.03, centre, 0.012 * longer)
    return Prior(0.9 * longer, 0.3, centre, 0.03 * longer)


@dataclass(frozen=True, eq=False)
class View:
    """A camera and a plane before it.

    Attributes
    ----------
    values : ndarray, shape (11 + more,)
        Logarithm of the focal length, centre (2), radial coefficients (2), a small turn from `turned` (rotation
        vector, 3), the mm frame's origin seen from the camera (3), and what the reference adds.
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

    @property
    def focal_px(self) -> float:
        """Focal length in pixels."""
        return float(np.exp(self.values[FOCAL]))

    @property
    def rotation(self) -> Array:
        """Rotation from the mm frame to the camera."""
        return _rotation(self.values[TURN]) @ self.turned

    @property
    def more(self) -> Array:
        """What the reference adds to the parameters."""
        return self.values[OPTICS:]

    @property
    def homography(self) -> Array:
        """From mm to undistorted pixels, 3 x 3."""
        (x, y), f, turn = self.values[CENTRE], self.focal_px, self.rotation
        camera = np.array([[f, 0, x], [0, f, y], [0, 0, 1]])
        return np.asarray(camera @ np.column_stack([turn[:, 0], turn[:, 1], self.values[SHIFT]]))

    @property
    def tilt_deg(self) -> float:
        """Angle between the camera's axis and the plane's normal."""
        return math.degrees(math.acos(min(1.0, abs(float(self.rotation[2, 2])))))

    def camera_mm(self) -> Array:
        """Return where the camera is in the mm frame, shape (3,); z is negative before the plane."""
        return np.asarray(-self.rotation.T @ self.values[SHIFT])

    def to_px(self, points_mm: ArrayLike) -> Array:
        """Return where the photo shows points of the plane, shape (n, 2)."""
        p = np.asarray(points_mm, dtype=float)
        ideal = mapped(self.homography, p)
        offset = (ideal - self.values[CENTRE]) / self.focal_px
        k1, k2 = self.values[RADIAL]
        r2 = (offset**2).sum(axis=1, keepdims=True)
        return np.asarray(self.values[CENTRE] + self.focal_px * offset * (1 + k1 * r2 + k2 * r2**2))

    def to_mm(self, points_px: ArrayLike) -> Array:
        """Return the points of the plane that the photo shows at pixels, shape (n, 2)."""
        return mapped(np.asarray(np.linalg.inv(self.homography)), self.ideal(points_px))

    def ideal(self, points_px: ArrayLike) -> Array:
        """Return pixels, shape (n, 2), where a lens without distortion would have shown them."""
        seen = (np.asarray(points_px, dtype=float) - self.values[CENTRE]) / self.focal_px
        k1, k2 = self.values[RADIAL]
        offset = seen
        for _ in range(8):  # the error shrinks about thirtyfold a round for |k1| up to 0.1 inside the frame
            r2 = (offset**2).sum(axis=1, keepdims=True)
            offset = seen / (1 + k1 * r2 + k2 * r2**2)
        return np.asarray(self.values[CENTRE] + self.focal_px * offset)


Residuals = Callable[[View], Array]


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
    values = np.concatenate([[math.log(f), x, y, 0, 0, 0, 0, 0], columns[:, 2], np.zeros(more)])
    return View(values, np.asarray(turned))


def mirrored(view: View, at_mm: Point = (0.0, 0.0)) -> View:
    """Return the view that a distant plane is easily mistaken for: turned the other way about the line of sight."""
    sight = view.rotation @ np.array([*at_mm, 0.0]) + view.values[SHIFT]
    sight = sight / np.linalg.norm(sight)
    flip = np.eye(3) - 2 * np.outer(sight, sight)
    turned = flip @ view.rotation @ np.diag([1.0, 1.0, -1.0])
    values = view.values.copy()
    values[SHIFT] += view.rotation[:, :2] @ at_mm - turned[:, :2] @ at_mm
    values[TURN] = 0
    return View(values, np.asarray(turned))


def fit(view: View, prior: Prior, residuals: Residuals, more_errors: Sequence[float] = ()) -> View | None:
    """Return the most likely view near a first one, with its covariance (Levenberg-Marquardt).

    Parameters
    ----------
    residuals : callable
        Of a view: what was measured less what it predicts, each over its standard error.
    more_errors : sequence of float
        Standard errors of what the reference adds to the parameters, all taken to be zero.

    Returns
    -------
    View or None
        None where the fit runs away.
    """
    steps = _steps(view)

    def whole(at: View) -> Array:
        return np.concatenate([residuals(at), _departures(at, prior, more_errors)])

    current, damping = whole(view), 1e-3
    for _ in range(_STEPS):
        jacobian = _jacobian(whole, view, steps, current)
        normal, slope = jacobian.T @ jacobian, jacobian.T @ current
        if not np.isfinite(normal).all():
            return None
        while True:
            change = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -slope)
            tried = replace(view, values=view.values + change)
            result = whole(tried)
            gain = float(current @ current - result @ result)
            if gain >= 0 or damping > 1e8:
                break
            damping *= 10
        if not gain >= 0:
            return None
        view, current, damping = tried, result, max(damping / 10, 1e-9)
        if gain <= 1e-6 * (1 + float(current @ current)):
            break
    jacobian = _jacobian(whole, view, steps, current)
    covariance = np.asarray(np.linalg.inv(jacobian.T @ jacobian))
    return replace(view, covariance=covariance, cost=float(current @ current))


def _steps(view: View) -> Array:
    far = 1e-6 * float(np.linalg.norm(view.values[SHIFT]))
    more = np.full(len(view.more), 1e-5)
    return np.concatenate([[1e-6, 1e-3, 1e-3, 1e-6, 1e-6, 1e-6, 1e-6, 1e-6, far, far, far], more])


def _jacobian(function: Residuals, view: View, steps: Array, here: Array) -> Array:
    """Return the derivative of a function that is `here` at the view, by forward differences."""
    columns = []
    for index, step in enumerate(steps):
        change = np.zeros(len(steps))
        change[index] = step
        columns.append((function(replace(view, values=view.values + change)) - here) / step)
    return np.stack(columns, axis=1)


def _departures(view: View, prior: Prior, more_errors: Sequence[float]) -> Array:
    """Return how far a view is from what is known beforehand, in standard errors."""
    values = view.values
    return np.concatenate(
        [
            [(values[FOCAL] - math.log(prior.focal_px)) / prior.focal_error],
            (values[CENTRE] - prior.centre_px) / prior.centre_error_px,
            values[RADIAL] / [prior.k1_error, prior.k2_error],
            view.rotation[:2, 2] / prior.tilt_error,
            values[OPTICS:] / np.asarray(more_errors, dtype=float),
        ]
    )


def _rotation(vector: Array) -> Array:
    """Return the rotation about a vector by its length (Rodrigues)."""
    angle = float(np.linalg.norm(vector))
    x, y, z = vector
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    if angle < 1e-9:
        return np.asarray(np.eye(3) + cross)
    sine, rest = math.sin(angle) / angle, (1 - math.cos(angle)) / angle**2
    return np.asarray(np.eye(3) + sine * cross + rest * cross @ cross)


def mapped(matrix: Array, points: Array) -> Array:
    """Return points, shape (n, 2), moved by a homography."""
    moved = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(moved[:, :2] / moved[:, 2:])


def modes_between(view: View, other: View) -> Array:
    """Return the ten numbers of `MapError` that lead from one view's map to another's, for small differences."""
    f, (x, y) = view.focal_px, view.values[CENTRE]
    unit = np.array([[f, 0, x], [0, f, y], [0, 0, 1]])
    inner = np.linalg.inv(unit) @ view.homography @ np.linalg.inv(other.homography) @ unit
    e = inner / inner[2, 2] - np.eye(3)
    radial = view.values[RADIAL] - other.values[RADIAL]
    return np.array([e[0, 2], e[0, 0], e[0, 1], e[1, 2], e[1, 0], e[1, 1], -e[2, 0], -e[2, 1], *radial])


def map_error(view: View, prior: Prior, alternative: View | None = None, size_error: float = 0.0) -> MapError:
    """Return the standard error as a function of the place.

    Parameters
    ----------
    alternative : View or None
        The second most likely view: its distance counts by its likelihood.
    size_error : float
        Standard error of the reference's size, as a share.
    """
    assert view.covariance is not None
    slopes = []
    for index, step in enumerate(_steps(view)):
        change = np.zeros(len(view.values))
        change[index] = step
        upper, lower = (replace(view, values=view.values + sign * change) for sign in (1, -1))
        slopes.append((modes_between(view, upper) - modes_between(view, lower)) / (2 * step))
    slope = np.stack(slopes, axis=1)
    covariance = slope @ view.covariance @ slope.T
    if alternative is not None:
        weight = 1 / (1 + math.exp(min(50.0, (alternative.cost - view.cost) / 2)))
        apart = modes_between(view, alternative)
        covariance = covariance + weight * np.outer(apart, apart)
    if size_error:
        farther = replace(view, values=view.values.copy())
        farther.values[SHIFT] *= 1 + 1e-4
        way = modes_between(view, farther) / 1e-4 * size_error
        covariance = covariance + np.outer(way, way)
    rows = tuple(tuple(float(v) for v in row) for row in covariance)
    x, y = view.values[CENTRE]
    return MapError((float(x), float(y)), view.focal_px, rows)
