"""What all prints of flat things are made of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photonest.scale.board import Text, raster
from tests.drawn.camera import decode_srgb, encode_srgb
from tests.drawn.looks import Colour
from tests.drawn.noise import Array
from tests.drawn.references import Item


@dataclass(frozen=True, eq=False)
class Artwork:
    """A print: sRGB bytes (rows, columns, 3); pixel (i, j) covers the mm from (j, i) to (j + 1, i + 1) times `step`."""

    pixels: NDArray[np.uint8]
    step: float


def canvas(item: Item, step: float) -> NDArray[np.uint8]:
    """Return a print of the item's size in its own colour."""
    columns, rows = (max(2, int(np.ceil(v / step))) for v in item.size)
    art = np.empty((rows, columns, 3), np.uint8)
    art[:] = np.clip(255 * np.array(item.colour), 0, 255).astype(np.uint8)
    return art


def mottled(art: NDArray[np.uint8], rng: np.random.Generator, strength: float) -> NDArray[np.uint8]:
    """Return a print with broad, faint unevenness."""
    import cv2

    small = rng.standard_normal((art.shape[0] // 12 + 2, art.shape[1] // 12 + 2, 1)).astype(np.float32)
    wide = cv2.resize(small, (art.shape[1], art.shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(np.clip(art + strength * wide[..., None], 0, 255).astype(np.uint8))


def px_per_mm(step: float) -> int:
    """Return the pixels per mm of a print as fine as a step asks for, or finer."""
    return next((px for px in (2, 3, 4, 6, 8) if 1 / px <= step), 12)


def mixed(ink: Colour, ground: Colour, blank: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the print where `blank` of 255 of each pixel is free of ink: light adds up, sRGB values don't."""
    dark, light = decode_srgb(np.array(ink)), decode_srgb(np.array(ground))
    return encode_srgb(np.asarray(dark + (light - dark) * (blank[..., None] / np.float32(255)), np.float32))


def inked(item: Item, rectangles: Array, texts: tuple[Text, ...], step: float, ink: Colour) -> Artwork:
    """Return rectangles (x0, y0, x1, y1) and words in one ink on the item's ground, area-exact."""
    fine = px_per_mm(step)
    return Artwork(mixed(ink, item.colour, raster(rectangles, texts, item.size, fine)), 1 / fine)


def figures(
    art: NDArray[np.uint8], text: str, at: tuple[float, float], height: float, ink: list[float], k: float
) -> None:
    """Write words into a print, `height` mm tall, their base line starting at a place in mm; `k` is pixels per mm."""
    import cv2

    scale = height * k / 21  # Hershey capitals are 21 units tall
    place = (int(at[0] * k), int(at[1] * k))
    cv2.putText(art, text, place, cv2.FONT_HERSHEY_SIMPLEX, scale, ink, max(1, int(0.10 * height * k)), cv2.LINE_AA)
