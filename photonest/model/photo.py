"""The photo as read, the scale found in it, and the flat picture in mm that every later finder sees."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model.values import (
    Extra,
    FieldError,
    Matrix3,
    Point,
    Point3,
    Points,
    extra_fields,
    require_finite,
    require_not_negative,
    require_positive,
)

FRAMES = (4 / 3, 3 / 2, 16 / 9)
"""Proportions of cameras' frames; common practice, no source. Square ones are cut out of those, by camera or person."""
FRAME_ERROR = 0.008  # that a camera's frame is off one of them, as a share: 4080 x 3072 and 4928 x 3264 are by 0.6 %


def framed(width: int, height: int) -> bool:
    """Return whether a picture has the proportion of a whole camera's frame.

    >>> framed(3024, 4032), framed(4928, 3264), framed(2788, 2727)
    (True, True, False)
    """
    proportion = max(width, height) / min(width, height)
    return any(abs(proportion / frame - 1) < FRAME_ERROR for frame in FRAMES)


@dataclass(frozen=True, eq=False)
class Photo:
    """A photo as it is meant to be seen.

    Attributes
    ----------
    pixels : ndarray of uint8, shape (height, width, 3)
        RGB, the orientation applied, read-only.
    file : str
        The file's name, without folders.
    sha256 : str
        Of the file's bytes, in hexadecimal.
    grey : bool
        The photo holds no colour.
    focal_px : float or None
        Focal length in pixels, as far as the camera tells; None of a photo that is `cropped`.
    """

    pixels: NDArray[np.uint8]
    file: str
    sha256: str
    grey: bool = False
    focal_px: float | None = None

    @property
    def width(self) -> int:
        """Width in pixels."""
        return int(self.pixels.shape[1])

    @property
    def height(self) -> int:
        """Height in pixels."""
        return int(self.pixels.shape[0])

    @property
    def cropped(self) -> bool:
        """Whether its sides are in no proportion that cameras' frames have: its middle is then not the lens's axis."""
        return not framed(self.width, self.height)


@dataclass(frozen=True)
class Lens:
    """Radial lens distortion: an ideal point at radius r is seen at r (1 + k1 (r/f)^2 + k2 (r/f)^4).

    Attributes
    ----------
    focal_px : float
        Focal length f in pixels.
    centre_px : (x, y)
        Principal point in pixels.
    k1, k2 : float
        Coefficients, as OpenCV counts them.
    """

    focal_px: float
    centre_px: Point
    k1: float
    k2: float = 0.0
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_positive(focal_px=self.focal_px)
        require_finite(k1=self.k1, k2=self.k2)


@dataclass(frozen=True)
class MapError:
    """How far a map from pixels to mm may be off: the covariance of ten ways in which it can be wrong.

    With ``(u, v) = (pixel - centre_px) / unit_px`` of an undistorted pixel and ``r^2 = u^2 + v^2``, the pixel stands
    for the place that the map gives to ``pixel + unit_px * d``, where d is the sum of the ten ways
    ``(1, 0), (u, 0), (v, 0), (0, 1), (0, u), (0, v), (u^2, uv), (uv, v^2), r^2 (u, v), r^4 (u, v)``, each times a small
    number: eight of the homography, two of the lens. The mm frame may be turned and shifted without changing any of it.

    Attributes
    ----------
    centre_px : (x, y)
        Where u and v are zero.
    unit_px : float
        The pixels in one unit of u and v.
    covariance : 10 x 10
        Of the ten numbers.
    """

    centre_px: Point
    unit_px: float
    covariance: tuple[tuple[float, ...], ...]
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_finite(x=self.centre_px[0], y=self.centre_px[1])
        require_positive(unit_px=self.unit_px)
        matrix = np.asarray(self.covariance, dtype=float)
        if matrix.shape != (10, 10) or not np.isfinite(matrix).all():
            raise FieldError("covariance", "must be 10 x 10 finite numbers")


@dataclass(frozen=True)
class OtherScale:
    """A reference in the same photo that disagrees with the scale.

    Attributes
    ----------
    kind : str
        By its finder's name.
    size_ratio : float
        What a length on the face would be by it, over what it is by the scale.
    """

    kind: str
    size_ratio: float
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_positive(size_ratio=self.size_ratio)


@dataclass(frozen=True)
class Scale:
    """From pixels to millimetres in the plane of the face.

    Attributes
    ----------
    kind : str
        The reference it comes from, by its finder's name.
    px_to_mm : 3x3
        Homography: ``(x, y, 1)`` in pixels of the photo to homogeneous mm. With a `lens`, pixels are first undistorted.
    standard_error_pct : float
        Standard error of a length on the face, in percent of it.
    mm_per_px : float
        Size of a pixel in the middle of what is measured.
    lens : Lens or None
        The distortion to remove before the homography.
    references_px : tuple of points
        What each piece of the references covers of the photo, so that it isn't taken for wood; may be empty.
    tilt_deg : float or None
        Angle between the camera's axis and the normal of the face, where known.
    map_error : MapError or None
        Standard error as a function of the place, where the finder knows it.
    reference_error_pct : float
        The part of the standard error that is due to the reference's own size (print, paper's tolerance, reading).
    distance_mm : float or None
        From the camera to the plane of the face, square to it, where known.
    distance_error_mm : float
        Standard error of that distance.
    foot_px : (x, y) or None
        The undistorted pixel that shows the foot of that distance; it may lie outside the photo.
    rim_error_mm : float or None
        Standard error, due to the scale, of the point of the face's edge that is known worst against the edge as a
        whole; None before there is a face.
    others : tuple of OtherScale
        References in the same photo that disagree beyond their errors; the standard error holds half of the difference.
    notes : tuple of str
        What it takes for granted.
    warnings : tuple of str
        What makes this scale less good than it could be.
    """

    kind: str
    px_to_mm: Matrix3
    standard_error_pct: float
    mm_per_px: float
    lens: Lens | None = None
    references_px: tuple[Points, ...] = ()
    tilt_deg: float | None = None
    map_error: MapError | None = None
    reference_error_pct: float = 0.0
    distance_mm: float | None = None
    distance_error_mm: float = 0.0
    foot_px: Point | None = None
    rim_error_mm: float | None = None
    others: tuple[OtherScale, ...] = ()
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_not_negative(
            standard_error_pct=self.standard_error_pct,
            reference_error_pct=self.reference_error_pct,
            distance_error_mm=self.distance_error_mm,
            rim_error_mm=self.rim_error_mm,
        )
        require_positive(mm_per_px=self.mm_per_px, distance_mm=self.distance_mm)
        matrix = np.asarray(self.px_to_mm, dtype=float)
        if matrix.shape != (3, 3) or not np.isfinite(matrix).all():
            raise FieldError("px_to_mm", "must be 3 x 3 finite numbers")
        if abs(np.linalg.det(matrix)) < 1e-15:
            raise FieldError("px_to_mm", "must be invertible")


@dataclass(frozen=True, eq=False)
class FlatPhoto:
    """The photo seen squarely: every pixel is `mm_per_px` wide and lies in the plane of the face.

    Attributes
    ----------
    pixels : ndarray of uint8, shape (height, width, 3)
        RGB, read-only.
    mm_per_px : float
        Size of a pixel.
    origin : (x, y)
        Where the centre of pixel (0, 0) lies, in mm.
    aim : (x, y)
        The point in mm that lies on the piece meant: the middle of the photo unless the user points elsewhere.
    covered : ndarray of bool, shape (height, width), or None
        Where the photo reaches; None when everywhere.
    references : tuple of points
        What each piece of the references covers, in mm; may be empty.
    grey : bool
        The photo holds no colour.
    standard_error_pct : float
        Of the scale.
    camera : (x, y, distance) or None
        The foot of the camera on the plane of the face, and its distance from that plane, in mm, where known: what lies
        below the face, as a side of the piece, shows on the side of this foot.
    """

    pixels: NDArray[np.uint8]
    mm_per_px: float
    origin: Point
    aim: Point
    covered: NDArray[np.bool_] | None = None
    references: tuple[Points, ...] = ()
    grey: bool = False
    standard_error_pct: float = 0.0
    camera: Point3 | None = None

    def to_mm(self, points_px: ArrayLike) -> NDArray[np.float64]:
        """Return points of this picture, shape (n, 2), in mm.

        >>> flat = FlatPhoto(np.zeros((4, 4, 3), np.uint8), mm_per_px=0.5, origin=(-1.0, -1.0), aim=(0.0, 0.0))
        >>> flat.to_mm([[2, 2]]).tolist()
        [[0.0, 0.0]]
        """
        return np.asarray(np.asarray(points_px, dtype=float) * self.mm_per_px + np.asarray(self.origin))

    def to_px(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Return points in mm, shape (n, 2), in pixels of this picture."""
        return np.asarray((np.asarray(points_mm, dtype=float) - np.asarray(self.origin)) / self.mm_per_px)

    def shifted(self, dx: float, dy: float) -> FlatPhoto:
        """Return the same picture with (dx, dy) mm added to every position."""
        return replace(
            self,
            origin=(self.origin[0] + dx, self.origin[1] + dy),
            aim=(self.aim[0] + dx, self.aim[1] + dy),
            references=tuple(tuple((x + dx, y + dy) for x, y in one) for one in self.references),
            camera=self.camera and (self.camera[0] + dx, self.camera[1] + dy, self.camera[2]),
        )
