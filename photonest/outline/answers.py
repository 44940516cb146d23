"""What the outline finders say alike."""

from __future__ import annotations

import numpy as np

from photonest.model import FlatPhoto, NotFound

RETAKE = "photograph the whole face on a plain ground of another colour, or point at the piece"
CUT = "part of the piece lies outside the photo"


def nothing_to_see(flat: FlatPhoto) -> NotFound | None:
    """Return why no edge can be looked for in a photo, if so."""
    import cv2

    if min(flat.pixels.shape[:2]) < 48:
        return NotFound("the photo is too small", "take a photo at least 300 pixels wide")
    if cv2.meanStdDev(np.ascontiguousarray(flat.pixels[::7, ::7]))[1].max() < 2.0:
        return NotFound("the photo shows one colour only", RETAKE)
    return None
