"""The built-in outline finder: plain backgrounds first, else competing regions; then bark, then the exact edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from photonest.imaging import Path, reduced, usable_part
from photonest.model import FlatPhoto, NotFound, Outline, Points
from photonest.outline.plain import contour, plain_piece
from photonest.outline.regions import best_edge, prepare
from photonest.outline.strip import COARSE, FINE, sharpened


@dataclass(frozen=True)
class EdgeOptions:
    """Settings of the outline finder."""

    work_px: int = 256
    plain_px: int = 1024
    points: int = 720


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
        aim = np.clip(small.to_px([flat.aim])[0], 2, np.array(usable.shape[::-1]) - 3.0)
        found = best_edge(prepare(small, usable, aim), aim)
        wood = small.to_mm(found.star.points())
        for settings in (COARSE, FINE):
            wood = sharpened(flat, wood, settings)
        return _outline(small, wood, None, 1.0)


def _outline(flat: FlatPhoto, points: Path, wood: Path | None, error_px: float) -> Outline:
    return Outline(
        _as_points(points),
        None if wood is None else _as_points(wood),
        standard_error=error_px * flat.mm_per_px,
        cut_by_frame=False,
    )


def _as_points(path: Path) -> Points:
    return tuple((float(x), float(y)) for x, y in path)
