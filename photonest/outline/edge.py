"""The built-in outline finder: plain backgrounds first, else competing regions; then bark, then the exact edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from photonest.imaging import Mask, Path, polygon_mask, reduced
from photonest.model import FlatPhoto, NotFound, Outline, Points
from photonest.outline.bark import bark_width
from photonest.outline.plain import contour, plain_piece
from photonest.outline.regions import Star, compete, prepare


@dataclass(frozen=True)
class EdgeOptions:
    """Settings of the outline finder."""

    work_px: int = 256
    plain_px: int = 1024
    points: int = 480


class EdgeOutline:
    """Finds the edge of the piece, with bark and under it."""

    name = "edge"
    version = "1"
    Options = EdgeOptions

    def find(self, flat: FlatPhoto, options: EdgeOptions) -> Outline | NotFound:
        """Return the outline of the piece at the aim."""
        if min(flat.pixels.shape[:2]) < 32:
            return NotFound("the photo is too small", "take a photo at least 300 pixels wide")
        middling = reduced(flat, options.plain_px)
        piece = plain_piece(middling, usable_part(middling))
        if piece is not None:
            points = middling.to_mm(contour(piece, 0.8, options.points))
            return _outline(middling, points, None, 0.7)
        return self._by_regions(flat, options)

    def _by_regions(self, flat: FlatPhoto, options: EdgeOptions) -> Outline | NotFound:
        small = reduced(flat, options.work_px)
        usable = usable_part(small)
        middle = np.clip(small.to_px([flat.aim])[0], 2, np.array(usable.shape[::-1]) - 3.0)
        ground = prepare(small, usable, middle)
        angles = np.arange(240) * 2 * np.pi / 240
        star, _ = compete(ground, Star(middle, angles, np.full(240, 0.4 * min(usable.shape))))
        width = bark_width(ground, star)
        wood = small.to_mm(star.points())
        if width is None:
            return _outline(small, wood, None, 1.0)
        return _outline(small, small.to_mm(star._replace(radii=star.radii + width).points()), wood, 1.0)


def usable_part(flat: FlatPhoto) -> Mask:
    """Return where the photo reaches and no reference lies."""
    shape = flat.pixels.shape[:2]
    usable = np.ones(shape, bool) if flat.covered is None else flat.covered.copy()
    if len(flat.reference) >= 3:
        usable &= ~polygon_mask(flat.to_px(flat.reference), (shape[0], shape[1]))
    return np.asarray(usable)


def _outline(flat: FlatPhoto, points: Path, wood: Path | None, error_px: float) -> Outline:
    return Outline(
        _as_points(points),
        None if wood is None else _as_points(wood),
        standard_error=error_px * flat.mm_per_px,
        cut_by_frame=False,
    )


def _as_points(path: Path) -> Points:
    return tuple((float(x), float(y)) for x, y in path)
