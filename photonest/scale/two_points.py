"""Two points picked in the photo, and how far they are apart on the face."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from photonest.model import MapError, NotFound, Photo, Point, Scale
from photonest.scale.camera import prior_of
from photonest.scale.height import grown
from photonest.scale.uncertainty import AFFINE, PERSPECTIVE, TILT_LEFT, UNSQUARE_PCT, Array

PICKING_PX = 0.001  # standard error of a picked point, as a share of the photo's longer side
TILT_ERROR = math.radians(25) / 2  # about either axis, of tilts spread as for UNSQUARE_PCT
CLOSEST_SHARE = 0.03  # of the longer side: points nearer together tell too little


@dataclass(frozen=True)
class TwoPointsOptions:
    """The two points and their distance.

    Attributes
    ----------
    x1_px, y1_px, x2_px, y2_px : float or None
        Pixels of the photo as it is seen, x to the right and y down, the first pixel's centre at 0, 0.
    length_mm : float or None
        Their distance on the face.
    length_error_mm : float
        Its standard error.
    """

    x1_px: float | None = None
    y1_px: float | None = None
    x2_px: float | None = None
    y2_px: float | None = None
    length_mm: float | None = None
    length_error_mm: float = 0.5


class TwoPoints:
    """Takes the distance of two picked points as given, and one size for all pixels."""

    name = "two-points"
    version = "1"
    Options = TwoPointsOptions

    def find(self, photo: Photo, options: TwoPointsOptions) -> Scale | NotFound:
        """Return the scale of that distance; no tilt and no lens are removed."""
        x1, y1, x2, y2 = options.x1_px, options.y1_px, options.x2_px, options.y2_px
        if x1 is None or y1 is None or x2 is None or y2 is None or options.length_mm is None:
            return NotFound(
                "two points and their distance were not given",
                'Give two pixels of the photo and their distance in mm, as --two-points "X,Y X,Y MM".',
                absent=True,
            )
        length, error = options.length_mm, options.length_error_mm
        if not (math.isfinite(length) and length > 0 and math.isfinite(error) and error >= 0):
            return NotFound(
                f"a length of {length:g} mm, give or take {error:g}, can't be right", "Give both in mm, above 0."
            )
        for x, y in ((x1, y1), (x2, y2)):
            if not (0 <= x <= photo.width - 1 and 0 <= y <= photo.height - 1):
                return NotFound(
                    f"the point ({x:g}, {y:g}) lies outside the photo", f"It is {photo.width} x {photo.height} pixels."
                )
        longer = max(photo.width, photo.height)
        apart = math.hypot(x2 - x1, y2 - y1)
        if apart < CLOSEST_SHARE * longer:
            return NotFound(
                f"the two points are only {apart:.0f} pixels apart", "Pick two points as far apart as the face allows."
            )
        size = length / apart
        picking = math.sqrt(2) * max(1.0, PICKING_PX * longer) / apart
        reading = error / length
        scale = Scale(
            kind=self.name,
            px_to_mm=((size, 0.0, 0.0), (0.0, size, 0.0), (0.0, 0.0, 1.0)),
            standard_error_pct=UNSQUARE_PCT,
            mm_per_px=size,
            map_error=_tilted(
                ((x1 + x2) / 2, (y1 + y2) / 2), prior_of(photo).focal_px, np.array([x2 - x1, y2 - y1]) / apart
            ),
            reference_error_pct=100 * reading,
            warnings=(f"The scale comes from two picked points: {TILT_LEFT}",),
        )
        return grown(scale, math.hypot(picking, reading))


def _tilted(middle_px: Point, focal_px: float, along: Array) -> MapError:
    """Return the error of taking a plane as square to the camera where a length along a direction is known.

    The farther from a pixel, the larger, by perspective. And a tilt t towards an angle a from that direction shortens
    what lies towards it by s = t^2 / 2. With the length taken for right, what lies square to it is then too long by
    s cos 2a, and all is sheared by s / 2 sin 2a. Half of the first is a mean diameter's error, `UNSQUARE_PCT`; the
    shear comes out as large, and no more than that.
    """
    covariance = np.zeros((10, 10))
    covariance[PERSPECTIVE, PERSPECTIVE] = TILT_ERROR**2
    turned = np.column_stack([along, [-along[1], along[0]]])
    for strain in ([[0.0, 0.0], [0.0, 2.0]], [[0.0, 1.0], [1.0, 0.0]]):
        way = np.zeros(10)
        way[AFFINE] = UNSQUARE_PCT / 100 * (turned @ strain @ turned.T).ravel()
        covariance += np.outer(way, way)
    return MapError(middle_px, focal_px, tuple(tuple(row) for row in covariance.tolist()))
