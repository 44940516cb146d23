"""A veil over the photo, as a misted lens, dust or backlight lays on it: behind it dark bark looks like ground."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from photonest.imaging import light_of_values, usable_part
from photonest.model import FlatPhoto
from photonest.resizing import reduced

LOOK_PX = 256
DARK, BRIGHT = 0.005, 0.995  # shares of the picture that are taken for its darkest and not for its brightest
VEILED, CLEAR = 0.4, 0.03  # light of the darkest over that of the middle from which on a veil is seen; what is left


def without_veil(flat: FlatPhoto) -> FlatPhoto:
    """Return the picture without the even light that lies over all of it, its brightest kept; the same if none does.

    In a clear photo something is dark in one colour at least. Where the darkest gives more than `VEILED` of the
    middle's light in every colour, what it gives is taken off everywhere.
    """
    import cv2

    small = reduced(flat, LOOK_PX)
    seen = small.pixels[usable_part(small)]
    if not len(seen):
        return flat
    light = light_of_values().astype(float)
    dark, middle, bright = light[np.quantile(seen, [DARK, 0.5, BRIGHT], axis=0).astype(np.intp)]
    if (dark <= VEILED * middle).any():
        return flat
    veil = float(((dark - CLEAR * middle) / (1 - CLEAR)).min())
    top = float(bright.max())
    cleared = np.interp((light - veil) * top / max(top - veil, 1e-3), light, np.arange(256.0))
    return replace(flat, pixels=np.asarray(cv2.LUT(flat.pixels, np.round(cleared).astype(np.uint8)), np.uint8))
