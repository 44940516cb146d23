"""What a small trained network makes of a face: at each place, how like a crack it is.

The network sees the face's colours, where the wood is, and which way the radius runs where the pith is known; it was
trained on drawn faces alone (``python -m tests.bench.train_crack_map``), so that every real photo is one it never saw.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.imaging import light_of_values, polygon_mask, veil_over, without_light
from photonest.model import FlatPhoto, Pith
from photonest.networks import trained_network
from photonest.resizing import enlarged, reduced

DIAMETER_PX = 1100
MOST_ENLARGED = 2.0  # times: on a small face cracks are finer than what the network was taught
LEVELS = 16  # the network halves the picture four times
NOWHERE = -12.0
# of the light of the wood's middle: what the darkest has on clear photos, at most; what of a veil may be taken off, at
# most: with more, an even face's texture is made too much of
DARKEST, MOST_OFF = 0.3, 0.3
Floats = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Likeness:
    """A face at the network's size and the log odds of a crack, at half that size: shape (height // 2, width // 2)."""

    flat: FlatPhoto
    odds: Floats

    def at(self, x: ArrayLike, y: ArrayLike) -> Floats:
        """Return the log odds at pixels of `flat`, all of one shape of two axes."""
        import cv2

        half_x, half_y = ((np.asarray(v, np.float32) - np.float32(0.5)) / 2 for v in (x, y))
        return np.asarray(
            cv2.remap(self.odds, half_x, half_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=NOWHERE)
        )


def likeness(face: FlatPhoto, outline: NDArray[np.float64], diameter: float, pith: Pith | None) -> Likeness:
    """Look for cracks on a face whose edge in mm is `outline`."""
    import cv2

    share = min(MOST_ENLARGED, DIAMETER_PX * face.mm_per_px / diameter)
    longest = max(face.pixels.shape[:2]) * share
    small = enlarged(face, longest) if share > 1 else reduced(face, longest, sharp=True)
    height, width = small.pixels.shape[:2]
    rows, columns = -(-height // LEVELS) * LEVELS, -(-width // LEVELS) * LEVELS
    wood = polygon_mask(small.to_px(outline), (height, width))
    layers = np.zeros((1, 4, rows, columns), np.float32)
    # Where no pith is known the face is side grain, and that may be as even as end grain is behind a veil.
    pixels = small.pixels if pith is None else without_veil(small.pixels, wood)
    for layer, colour in zip(layers[0], cv2.split(pixels), strict=False):
        layer[:height, :width] = (colour / np.float32(255) - np.float32(0.5)) * 4 * wood
    layers[0, 3, :height, :width] = wood
    network = trained_network(Path(__file__).with_name("map.onnx"))
    network.setInput(layers, "face")
    network.setInput(courses(small, pith, rows // 4, columns // 4), "courses")
    four = network.forward()[0].reshape(2, 2, rows // 4, columns // 4)
    odds = four.transpose(2, 0, 3, 1).reshape(rows // 2, columns // 2)[: height // 2, : width // 2]
    return Likeness(small, np.ascontiguousarray(odds))


def without_veil(pixels: NDArray[np.uint8], wood: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """Return a picture without the even light that lies over it, the wood's middle kept; the same where none is seen.

    On clear photos the darkest half per cent about end grain gives no more than `DARKEST` of the light of the wood's
    middle.
    """
    import cv2

    values = np.zeros((2, 3), np.intp)
    some, on_wood = np.ascontiguousarray(pixels[::2, ::2]), wood[::2, ::2].astype(np.uint8)
    for k in range(3):
        for row, share, mask in ((0, 0.005, None), (1, 0.5, on_wood)):
            counts = cv2.calcHist([some], [k], mask, [256], [0, 256]).ravel().cumsum()
            values[row, k] = np.searchsorted(counts, share * counts[-1])
    dark, middle = light_of_values().astype(float)[values]
    bright = float(middle.mean())
    veil = min(veil_over(dark, middle, DARKEST), MOST_OFF * bright)
    return without_light(pixels, veil, bright) if veil else pixels


def courses(small: FlatPhoto, pith: Pith | None, rows: int, columns: int) -> Floats:
    """Return cosine and sine of twice the bearing about the pith at a quarter of the size, 0 where it is unknown."""
    out = np.zeros((1, 2, rows, columns), np.float32)
    if pith is not None:
        x, y = small.to_px([pith.point])[0]
        dx, dy = 4 * np.arange(columns) + 1.5 - x, (4 * np.arange(rows) + 1.5 - y)[:, None]
        square = dx**2 + dy**2 + 25
        out[0, 0], out[0, 1] = (dx**2 - dy**2) / square, 2 * dx * dy / square
    return out
