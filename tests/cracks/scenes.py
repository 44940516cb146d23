"""Small faces drawn with numpy alone: rings about a pith, and lines whose place and opening are known."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from photonest.model import FlatPhoto, Outline, Pith

SIZE, RADIUS = 520, 240
MM_PER_PX = 0.5
WANDER = 2.0  # px
CENTRE = (SIZE / 2, SIZE / 2)


Line = tuple[tuple[float, float], tuple[float, float], float, float]
"""End, end, widest opening in px, brightness."""


Shake = tuple[float, float, float, float, float]
"""Radius in px, first and last bearing in radians, widest opening in px, brightness."""


def face(
    lines: list[Line] | None = None,
    seed: int = 1,
    blur: float = 0.6,
    shakes: list[Shake] | None = None,
) -> FlatPhoto:
    """Draw a round face with rings, lines that taper and stray as checks do, and shakes along the rings."""
    import cv2

    rng = np.random.default_rng(seed)
    y, x = np.mgrid[:SIZE, :SIZE].astype(np.float64)
    radius = np.hypot(x - CENTRE[0], y - CENTRE[1])
    wood = 170 + 14 * np.cos(radius / 2.2) + cv2.GaussianBlur(rng.normal(0, 14, (SIZE, SIZE)), (0, 0), 1.0)
    for (x0, y0), (x1, y1), widest, brightness in lines or []:
        length = np.hypot(x1 - x0, y1 - y0)
        along = ((x - x0) * (x1 - x0) + (y - y0) * (y1 - y0)) / length**2
        stray = WANDER * (np.sin(9 * along) + 0.6 * np.sin(23 * along + 1)) * np.sin(np.pi * np.clip(along, 0, 1))
        across = np.abs(((x - x0) * (y1 - y0) - (y - y0) * (x1 - x0)) / length + stray)
        opening = widest * np.minimum(1.0, 4 * np.minimum(along, 1 - along))
        share = np.clip(opening / 2 - across + 0.5, 0, 1) * ((along > 0) & (along < 1))
        wood += share * (brightness - wood)
    bearing = np.arctan2(y - CENTRE[1], x - CENTRE[0])
    for at, first, last, widest, brightness in shakes or []:
        along = (bearing - first) / (last - first)
        opening = widest * np.minimum(1.0, 4 * np.minimum(along, 1 - along))
        share = np.clip(opening / 2 - np.abs(radius - at) + 0.5, 0, 1) * ((along > 0) & (along < 1))
        wood += share * (brightness - wood)
    wood[radius > RADIUS] = 235
    pixels = np.clip(cv2.GaussianBlur(wood, (0, 0), blur), 0, 255).astype(np.uint8)
    colour: NDArray[np.uint8] = np.repeat(pixels[:, :, None], 3, axis=2)
    return FlatPhoto(colour, MM_PER_PX, (0.0, 0.0), (SIZE * MM_PER_PX / 2, SIZE * MM_PER_PX / 2))


def outline() -> Outline:
    angles = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    points = np.column_stack([CENTRE[0] + RADIUS * np.cos(angles), CENTRE[1] + RADIUS * np.sin(angles)]) * MM_PER_PX
    return Outline(tuple((float(px), float(py)) for px, py in points))


def pith() -> Pith:
    return Pith((CENTRE[0] * MM_PER_PX, CENTRE[1] * MM_PER_PX), standard_error=0.5)
