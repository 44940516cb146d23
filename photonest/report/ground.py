"""Where the face lies on the page: over the photo in the photo's own perspective, or on plain paper."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import Face, Photo, PhotoError
from photonest.rectify import mm_to_photo, photo_to_mm
from photonest.report.page import Box, Page
from photonest.report.style import PAPER, Fill

Mapping2D = Callable[[NDArray[np.float64]], NDArray[np.float64]]
MOST_PIXELS = 1500
MARGIN = 0.07


@dataclass(frozen=True, eq=False)
class Ground:
    """The map from mm on the face to mm on the page, and the picture that lies under the drawing.

    Attributes
    ----------
    frame : Box
        The part of the page it covers.
    picture : ndarray of uint8, shape (height, width, 3), or None
        Fills the frame; None on plain paper.
    """

    frame: Box
    picture: NDArray[np.uint8] | None
    _to_page: Mapping2D
    _to_face: Mapping2D

    def to_page(self, points_mm: ArrayLike) -> NDArray[np.float64]:
        """Return where points of the face, shape (n, 2) in mm, lie on the page."""
        return self._to_page(np.atleast_2d(np.asarray(points_mm, dtype=float)))

    def to_face(self, points_page: ArrayLike) -> NDArray[np.float64]:
        """Return which points of the face lie at points of the page, shape (n, 2)."""
        return self._to_face(np.atleast_2d(np.asarray(points_page, dtype=float)))

    def circle(self, centre: ArrayLike, radius: float) -> NDArray[np.float64]:
        """Return a circle on the face as it shows on the page, shape (180, 2)."""
        angles = np.linspace(0, 2 * np.pi, 180, endpoint=False)
        return self.to_page(np.asarray(centre) + radius * np.column_stack([np.cos(angles), np.sin(angles)]))

    def lay(self, page: Page, piece: ArrayLike) -> None:
        """Draw the picture, paler outside the piece whose edge is given in mm."""
        if self.picture is not None:
            page.image(self.picture, self.frame)
            page.area(self.frame.corners, Fill(PAPER, alpha=0.5), holes=[self.to_page(piece)], clip=self.frame)


def photo_ground(photo: Photo, face: Face, box: Box) -> Ground:
    """Return the ground that shows the piece, with a margin, as large as it goes into a box of the page.

    Raises
    ------
    PhotoError
        If the photo is not the one that the face was measured in.
    """
    if (photo.width, photo.height) != (face.photo.width_px, face.photo.height_px):
        raise PhotoError(
            f"{photo.file} is not the photo that this face was measured in: it has {photo.width} x {photo.height} "
            f"pixels instead of {face.photo.width_px} x {face.photo.height_px}.",
            f"Give {face.photo.file}.",
        )
    seen = mm_to_photo(face.scale, points_of_interest(face))
    low, high = seen.min(axis=0), seen.max(axis=0)
    margin = MARGIN * float((high - low).max())
    low, high = _widened(low - margin, high + margin, box)
    left, top = np.maximum(np.floor(low), 0).astype(int)
    right, bottom = np.minimum(np.ceil(high) + 1, [photo.width, photo.height]).astype(int)
    if right - left < 2 or bottom - top < 2:
        raise PhotoError(
            f"The face lies outside {photo.file}.", f"Give the photo it was measured in, {face.photo.file}."
        )
    crop = photo.pixels[top:bottom, left:right]
    frame = fitted(right - left, bottom - top, box)
    per_px = frame.width / (right - left)
    corner = np.array([frame.left, frame.top]) + per_px * (0.5 - np.array([left, top]))  # of the centre of pixel (0, 0)

    def to_page(points: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(corner + per_px * mm_to_photo(face.scale, points))

    def to_face(points: NDArray[np.float64]) -> NDArray[np.float64]:
        return photo_to_mm(face.scale, (points - corner) / per_px)

    return Ground(frame, _reduced(crop), to_page, to_face)


def plain_ground(points_mm: ArrayLike, box: Box) -> Ground:
    """Return the ground without a photo: the points given, with a margin, as large as a box of the page allows."""
    points = np.asarray(points_mm, dtype=float)
    low, high = points.min(axis=0), points.max(axis=0)
    margin = MARGIN * float((high - low).max())
    low, high = _widened(low - margin, high + margin, box)
    frame = fitted(float(high[0] - low[0]), float(high[1] - low[1]), box)
    per_mm = frame.width / float(high[0] - low[0])
    corner = np.array([frame.left, frame.top]) - per_mm * low
    return Ground(frame, None, lambda p: corner + per_mm * p, lambda p: (p - corner) / per_mm)


def points_of_interest(face: Face) -> NDArray[np.float64]:
    """Return the points that a picture of the face must hold: the outline, and the pith unless it is far off."""
    outline = np.asarray(face.outline.points, dtype=float)
    if face.pith is None:
        return outline
    pith = np.asarray(face.pith.point)
    far = np.linalg.norm(pith - outline.mean(axis=0)) > face.size.mean_diameter
    return outline if far else np.vstack([outline, pith])


def fitted(width: float, height: float, box: Box) -> Box:
    """Return the largest rectangle of a shape that goes into a box, at its top, in the middle.

    >>> fitted(1, 2, Box(0, 0, 10, 10))
    Box(left=2.5, top=0, width=5.0, height=10.0)
    """
    factor = min(box.width / width, box.height / height)
    wide, high = float(width * factor), float(height * factor)
    return Box(box.left + (box.width - wide) / 2, box.top, wide, high)


def _widened(
    low: NDArray[np.float64], high: NDArray[np.float64], box: Box
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return a rectangle made as broad as its box, so that labels find room beside the piece."""
    broad = float(high[1] - low[1]) * box.width / box.height
    more = np.array([max(broad - float(high[0] - low[0]), 0.0) / 2, 0.0])
    return low - more, high + more


def _reduced(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return a picture no larger than a print of it can show."""
    longest = max(pixels.shape[:2])
    if longest <= MOST_PIXELS:
        return pixels
    from PIL import Image

    height, width = (max(1, round(n * MOST_PIXELS / longest)) for n in pixels.shape[:2])
    small = Image.fromarray(pixels).resize((width, height), Image.Resampling.BOX, reducing_gap=2.0)
    return np.asarray(small)
