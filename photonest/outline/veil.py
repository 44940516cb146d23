"""A veil over the photo, as a misted lens, dust or backlight lays on it: behind it dark bark looks like ground."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from photonest.imaging import light_of_values, usable_part, veil_over, without_light
from photonest.model import FlatPhoto
from photonest.resizing import reduced

LOOK_PX = 256
DARK, BRIGHT = 0.005, 0.995  # shares of the picture that are taken for its darkest and not for its brightest
AIMED = 0.1  # of the longer side, about the aim: what is taken for the piece
PALE = 0.25  # light of the darkest over the piece's, less than which no veil leaves
CLEAR = 0.03  # light of the darkest over that of the middle that is left


def without_veil(flat: FlatPhoto) -> FlatPhoto:
    """Return the picture without the even light that lies over all of it, its brightest kept; the same if none does."""
    small = reduced(flat, LOOK_PX)
    usable = usable_part(small)
    seen = small.pixels[usable]
    if not len(seen):
        return flat
    light = light_of_values().astype(float)
    dark, middle, bright = light[np.quantile(seen, [DARK, 0.5, BRIGHT], axis=0).astype(np.intp)]
    (x, y), (height, width) = small.to_px([small.aim])[0], usable.shape
    rows, columns = np.ogrid[:height, :width]
    piece = small.pixels[usable & (np.hypot(columns - x, rows - y) < AIMED * max(height, width))]
    # An even ground about a small piece is middle and darkest in one, and its shadow would look like bark.
    if len(piece) and (dark < PALE * light[np.median(piece, axis=0).astype(np.intp)]).any():
        return flat
    veil = veil_over(dark, middle, CLEAR)
    return replace(flat, pixels=without_light(flat.pixels, veil, float(bright.max()))) if veil else flat
