"""The size of a pixel as the user gives it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from photonest.model import NotFound, Photo, Scale

TILT_ERROR_PCT = 1.0
"""Standard error, in percent, of a length where one size holds for all pixels.

A plane 8 degrees from square is foreshortened by 1 - cos 8 = 1.0 % one way, and by as much as its near and far parts
differ the other; nobody holds a camera squarer than that by eye (common practice, no source).
"""


@dataclass(frozen=True)
class ByHandOptions:
    """The size of a pixel.

    Attributes
    ----------
    mm_per_px : float or None
        Side of a pixel on the face, in mm; None if it is not given.
    standard_error_pct : float
        Of that size, in percent, a slight tilt of the camera included.
    """

    mm_per_px: float | None = None
    standard_error_pct: float = TILT_ERROR_PCT


class ByHand:
    """Takes the size of a pixel as given, the same all over the photo."""

    name = "by-hand"
    version = "1"
    Options = ByHandOptions

    def find(self, photo: Photo, options: ByHandOptions) -> Scale | NotFound:
        """Return the scale of that pixel size; no tilt and no lens are removed."""
        size, error = options.mm_per_px, options.standard_error_pct
        if size is None:
            return NotFound(
                "no pixel size was given", "Give --mm-per-px, the mm that one pixel shows on the face.", absent=True
            )
        if not (math.isfinite(size) and 1e-4 <= size <= 100):
            return NotFound(
                f"a pixel of {size:g} mm can't be right",
                "Give --mm-per-px as mm per pixel: a known length in mm over its length in pixels, often 0.05 to 0.5.",
            )
        if not (math.isfinite(error) and error >= 0):
            return NotFound(f"a standard error of {error:g} % makes no sense", "Give a percentage from 0 up.")
        return Scale(
            kind=self.name,
            px_to_mm=((size, 0.0, 0.0), (0.0, size, 0.0), (0.0, 0.0, 1.0)),
            standard_error_pct=error,
            mm_per_px=size,
            warnings=("The size of a pixel was given by hand: a tilt of the camera is not removed.",),
        )
