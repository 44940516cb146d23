"""From a fitted view to a `Scale`, and why some views can't be stood for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import Lens, Matrix3, NotFound, Photo, Points, Scale
from photonest.planar import mean_diameter
from photonest.scale.camera import View, distance_error, map_error, mapped, modes_between
from photonest.scale.height import grown
from photonest.scale.uncertainty import diameter_error_pct, diameter_slope, disc, growth

Array = NDArray[np.float64]
STEEPEST_DEG = 45.0
DISC_SHARE = 0.6  # the disc that the error is stated for has this share of the frame's shorter side as diameter


def scale_from_view(
    kind: str,
    photo: Photo,
    view: View,
    reference_px: ArrayLike,
    *,
    alternative: View | None = None,
    size_error: float = 0.0,
    reference_error: float | None = None,
    around_px: ArrayLike | None = None,
    warnings: Sequence[str] = (),
) -> Scale | NotFound:
    """Return the scale that a view of a reference gives, or why it can't be stood for.

    Parameters
    ----------
    reference_px : array_like, shape (n, 2) or (pieces, n, 2)
        Around the reference in the photo, or around each piece of it.
    alternative : View or None
        The second most likely view.
    size_error : float
        Standard error of the reference's own size, as a share, where the view does not hold it yet.
    reference_error : float or None
        The same in all, where it does.
    around_px : array_like, shape (n, 2), or None
        A closed line around what is to be measured; a circle in the middle of the photo if not given.
    """
    if view.tilt_deg > STEEPEST_DEG:
        return NotFound(
            f"the camera looks at the {kind} {view.tilt_deg:.0f} degrees from square; "
            f"beyond {STEEPEST_DEG:.0f} degrees it is not measured",
            "Take the photo again from straight above the face.",
        )
    inverse = np.asarray(np.linalg.inv(view.homography))
    middle = view.ideal([[(photo.width - 1) / 2, (photo.height - 1) / 2]])
    if middle[0] @ inverse[2, :2] + inverse[2, 2] <= 0:
        return NotFound(
            f"the {kind} is seen so slantwise that the middle of the photo shows no part of its plane",
            "Take the photo again from straight above the face.",
        )
    camera = view.camera_mm()
    x, y, k1, k2 = (float(value) for value in view.values[1:5])
    side = min(photo.width, photo.height)
    scale = Scale(
        kind=kind,
        px_to_mm=as_rows(inverse),
        standard_error_pct=0.0,
        mm_per_px=pixel_size(inverse, middle[0]),
        lens=Lens(float(view.focal_px), (x, y), k1, k2),
        references_px=tuple(as_points(piece) for piece in np.reshape(reference_px, (-1, *np.shape(reference_px)[-2:]))),
        tilt_deg=view.tilt_deg,
        map_error=map_error(view),
        reference_error_pct=100 * (size_error if reference_error is None else reference_error),
        distance_mm=float(-camera[2]),
        distance_error_mm=distance_error(view),
        foot_px=as_points(mapped(view.homography, camera[None, :2]))[0],
        warnings=tuple(warnings),
    )
    if alternative is not None:
        around = disc([(photo.width - 1) / 2, (photo.height - 1) / 2], DISC_SHARE / 2 * side)
        scale = _doubted(scale, view, alternative, around if around_px is None else around_px)
    scale = with_error(scale, middle[0], side)
    return grown(scale, size_error)


def _doubted(scale: Scale, view: View, alternative: View, around_px: ArrayLike) -> Scale:
    """Return the scale with how far the second most likely view is from it, by its likelihood, in its error.

    Such views lie too far apart for differences to first order: sizes differ as they do around what is measured.
    """
    error = scale.map_error
    assert error is not None
    apart = modes_between(view, alternative)
    here, there = view.to_mm(around_px), alternative.to_mm(around_px)
    share = np.log(mean_diameter(there) / mean_diameter(here))
    apart = apart + (share - float(diameter_slope(scale, here) @ apart)) * growth(scale)
    weight = 1 / (1 + np.exp(min(50.0, (alternative.cost - view.cost) / 2)))
    covariance = np.asarray(error.covariance) + weight * np.outer(apart, apart)
    return replace(scale, map_error=replace(error, covariance=tuple(tuple(row) for row in covariance.tolist())))


def with_error(scale: Scale, middle_px: ArrayLike, side_px: float) -> Scale:
    """Return the scale with its standard error stated for a disc in the middle of the photo."""
    centre = mapped(np.asarray(scale.px_to_mm, dtype=float), np.asarray(middle_px, dtype=float)[None])[0]
    around = disc(centre, DISC_SHARE / 2 * side_px * scale.mm_per_px)
    return replace(scale, standard_error_pct=diameter_error_pct(scale, around))


def pixel_size(px_to_mm: Array, point: ArrayLike) -> float:
    """Return the side in mm of a pixel at an undistorted pixel: the root of the area it covers."""
    weight = float(px_to_mm[2, :2] @ np.asarray(point, dtype=float) + px_to_mm[2, 2])
    return float(np.sqrt(abs(np.linalg.det(px_to_mm) / weight**3)))


def as_rows(matrix: Array) -> Matrix3:
    """Return a homography as a record keeps it, its last element 1."""
    a, b, c = (matrix / matrix[2, 2]).tolist()
    return (tuple(a), tuple(b), tuple(c))


def as_points(points: ArrayLike) -> Points:
    """Return points, shape (n, 2), as a record keeps them."""
    return tuple((float(x), float(y)) for x, y in np.asarray(points, dtype=float).reshape(-1, 2))
