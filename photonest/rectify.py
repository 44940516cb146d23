"""Makes the photo flat: the one place where pixels become millimetres."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import FlatPhoto, Lens, Matrix3, Photo, Point, Point3, Scale, ScaleError
from photonest.photo import frozen_pixels

MOST_PIXELS = 36_000_000
_COARSEST = 3.0  # parts of the photo whose pixels are this many times larger than at the aim are left out


def matrix_rows(matrix: NDArray[np.floating]) -> Matrix3:
    """Return a 3 x 3 array as the tuples that records keep, normalised to a last element of 1."""
    rows = [tuple(float(value) for value in row) for row in matrix / matrix[2, 2]]
    return tuple(rows)  # type: ignore[return-value]


def map_points(homography: ArrayLike, points: ArrayLike) -> NDArray[np.float64]:
    """Return points, shape (n, 2), moved by a homography.

    >>> map_points(np.diag([2.0, 2.0, 1.0]), [[1.0, 3.0]]).tolist()
    [[2.0, 6.0]]
    """
    matrix = np.asarray(homography, dtype=float)
    points = np.atleast_2d(np.asarray(points, dtype=float))
    moved = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(moved[:, :2] / moved[:, 2:])


def undistort(points_px: ArrayLike, lens: Lens | None) -> NDArray[np.float64]:
    """Return pixels of the photo, shape (n, 2), where a perfect lens would have shown them."""
    points = np.atleast_2d(np.asarray(points_px, dtype=float))
    if lens is None:
        return points
    import cv2

    camera, coefficients = _camera(lens)
    return np.asarray(cv2.undistortPoints(points[:, None], camera, coefficients, P=camera)).reshape(-1, 2)


def distort(points_px: ArrayLike, lens: Lens | None) -> NDArray[np.float64]:
    """Return where the photo shows points, shape (n, 2), that a perfect lens would show at `points_px`."""
    points = np.atleast_2d(np.asarray(points_px, dtype=float))
    if lens is None:
        return points
    offset = points - np.asarray(lens.centre_px)
    square = (offset**2).sum(axis=1, keepdims=True) / lens.focal_px**2
    return np.asarray(offset * (1 + lens.k1 * square + lens.k2 * square**2) + np.asarray(lens.centre_px))


def photo_to_mm(scale: Scale, points_px: ArrayLike) -> NDArray[np.float64]:
    """Return pixels of the photo, shape (n, 2), in mm in the plane of the face."""
    return map_points(scale.px_to_mm, undistort(points_px, scale.lens))


def mm_to_photo(scale: Scale, points_mm: ArrayLike) -> NDArray[np.float64]:
    """Return points of the face in mm, shape (n, 2), in pixels of the photo."""
    return distort(map_points(np.linalg.inv(np.asarray(scale.px_to_mm)), points_mm), scale.lens)


def jacobian(homography: ArrayLike, point: Point) -> NDArray[np.float64]:
    """Return the 2 x 2 derivative of a homography at a point."""
    matrix = np.asarray(homography, dtype=float)
    x, y, w = matrix @ np.array([*point, 1.0])
    return np.asarray((matrix[:2, :2] - np.outer([x / w, y / w], matrix[2, :2])) / w)


def upright(scale: Scale, aim_px: Point) -> Scale:
    """Return the scale with its mm frame turned so that x points right and y down as the photo shows the aim.

    Raises
    ------
    ScaleError
        If the photo is mirrored, or the aim lies beyond the horizon of the face's plane.
    """
    homography = np.asarray(scale.px_to_mm, dtype=float)
    aim = undistort(aim_px, scale.lens)[0]
    derivative = jacobian(homography, (float(aim[0]), float(aim[1])))
    if not np.isfinite(derivative).all() or np.linalg.det(derivative) <= 0:
        raise ScaleError(
            f"By its {scale.kind} the photo is mirrored, or the face is seen edge-on.",
            "Use the photo as the camera took it, from straight above the face.",
        )
    left, _, right = np.linalg.svd(derivative)
    turn = np.eye(3)
    turn[:2, :2] = (left @ right).T
    shift = np.eye(3)
    shift[:2, 2] = -map_points(turn @ homography, aim)[0]
    return replace(
        scale,
        px_to_mm=matrix_rows(shift @ turn @ homography),
        mm_per_px=float(np.sqrt(np.linalg.det(derivative))),
    )


def shifted(scale: Scale, dx: float, dy: float) -> Scale:
    """Return the scale with (dx, dy) mm added to every position."""
    shift = np.eye(3)
    shift[:2, 2] = dx, dy
    return replace(scale, px_to_mm=matrix_rows(shift @ np.asarray(scale.px_to_mm, dtype=float)))


def flatten(photo: Photo, scale: Scale, aim_px: Point) -> FlatPhoto:
    """Return the photo as seen squarely, at the resolution it has at the aim.

    A photo that is flat already keeps its pixels as they are. Parts seen so slantwise that a pixel covers three
    times as much as at the aim are left out.
    """
    references = tuple(
        tuple((float(x), float(y)) for x, y in photo_to_mm(scale, reference)) for reference in scale.references_px
    )
    aim = photo_to_mm(scale, aim_px)[0]
    homography = np.asarray(scale.px_to_mm, dtype=float)
    if scale.lens is None and _is_plain(homography):
        pixels, covered, size = photo.pixels, None, float(homography[0, 0])
        origin = map_points(homography, (0.0, 0.0))[0]
    else:
        low, high = _extent(photo, scale)
        size = max(scale.mm_per_px, float(np.sqrt(np.prod(high - low) / MOST_PIXELS)))
        origin = low
        pixels, covered = _warped(photo, scale, low, size, np.ceil((high - low) / size).astype(int) + 1)
    return FlatPhoto(
        pixels=pixels,
        mm_per_px=size,
        origin=(float(origin[0]), float(origin[1])),
        aim=(float(aim[0]), float(aim[1])),
        covered=covered,
        references=references,
        grey=photo.grey,
        standard_error_pct=scale.standard_error_pct,
        camera=_camera_mm(scale),
    )


def _camera_mm(scale: Scale) -> Point3 | None:
    if scale.foot_px is None or scale.distance_mm is None:
        return None
    x, y = map_points(scale.px_to_mm, scale.foot_px)[0]
    return float(x), float(y), scale.distance_mm


def _camera(lens: Lens) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    x, y = lens.centre_px
    camera = np.array([[lens.focal_px, 0, x], [0, lens.focal_px, y], [0, 0, 1.0]])
    return camera, np.array([lens.k1, lens.k2, 0.0, 0.0])


def _is_plain(homography: NDArray[np.float64]) -> bool:
    plain = np.diag([homography[0, 0], homography[0, 0], 1.0])
    plain[:2, 2] = homography[:2, 2]
    return bool(np.allclose(homography, plain, rtol=0, atol=1e-12 * abs(homography[0, 0])))


def _extent(photo: Photo, scale: Scale) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Corners, in mm, of the box around the part of the photo that is worth unfolding."""
    columns, rows = np.meshgrid(np.linspace(0, photo.width - 1, 49), np.linspace(0, photo.height - 1, 49))
    pixels = undistort(np.column_stack([columns.ravel(), rows.ravel()]), scale.lens)
    homography = np.asarray(scale.px_to_mm, dtype=float)
    weight = pixels @ homography[2, :2] + homography[2, 2]
    # the local area scale of a homography is det(H) / w^3
    area = np.linalg.det(homography) / np.where(weight > 0, weight, np.nan) ** 3
    kept = np.nan_to_num(area, nan=np.inf) <= (_COARSEST * scale.mm_per_px) ** 2
    points = map_points(homography, pixels[kept])
    return points.min(axis=0), points.max(axis=0)


def _warped(
    photo: Photo, scale: Scale, low: NDArray[np.float64], size: float, shape: NDArray[np.int_]
) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    import cv2

    to_flat = np.array([[1 / size, 0, -low[0] / size], [0, 1 / size, -low[1] / size], [0, 0, 1]])
    homography = to_flat @ np.asarray(scale.px_to_mm, dtype=float)
    target = (int(shape[0]), int(shape[1]))
    if scale.lens is None:
        pixels = cv2.warpPerspective(photo.pixels, homography, target, flags=cv2.INTER_LINEAR)
        whole = np.full((photo.height, photo.width), 255, np.uint8)
        covered = cv2.warpPerspective(whole, homography, target, flags=cv2.INTER_NEAREST) > 0
    else:
        camera, coefficients = _camera(scale.lens)
        # one look-up through lens and plane: OpenCV inverts (camera x rotation), which here is homography x camera
        across, down = cv2.initUndistortRectifyMap(
            camera, coefficients, homography @ camera, np.eye(3), target, cv2.CV_32FC1
        )
        pixels = cv2.remap(photo.pixels, across, down, cv2.INTER_LINEAR)
        covered = (across >= 0) & (down >= 0) & (across <= photo.width - 1) & (down <= photo.height - 1)
    return frozen_pixels(np.asarray(pixels)), covered
