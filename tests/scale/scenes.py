"""A flat reference before a camera, drawn plainly: for tests of one finder that need no wood."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import Photo, Scale
from photonest.rectify import photo_to_mm
from tests.drawn.camera import CameraSpec, decode_srgb, expose, lookup


def photograph(
    camera: CameraSpec,
    print_: NDArray[np.uint8],
    px_per_mm: float,
    at_mm: tuple[float, float],
    *,
    turn_deg: float = 0.0,
    stretch: float = 1.0,
    ground: float = 0.3,
    seed: int = 0,
) -> NDArray[np.uint8]:
    """Return the photo of a grey print lying in the face's plane, its top left corner at `at_mm`.

    Parameters
    ----------
    turn_deg : float
        Turn of the print about that corner.
    stretch : float
        How much larger than meant it was printed.
    ground : float
        Linear light of everything else.
    """
    x, y = lookup(camera, 0.0, (0, 0, camera.width, camera.height))
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    dx, dy = x - at_mm[0], y - at_mm[1]
    u = ((c * dx + s * dy) * px_per_mm / stretch - 0.5).astype(np.float32)
    v = ((c * dy - s * dx) * px_per_mm / stretch - 0.5).astype(np.float32)
    light = 0.02 + 0.85 * decode_srgb(print_)
    finer = px_per_mm / (1.5 * camera.scale_at())
    if finer > 1:  # no finer than the camera sees, or the print's edges would come out in steps
        rows, columns = light.shape
        light = cv2.resize(light, (round(columns / finer), round(rows / finer)), interpolation=cv2.INTER_AREA)
        u = (u + np.float32(0.5)) * np.float32(light.shape[1] / columns) - np.float32(0.5)
        v = (v + np.float32(0.5)) * np.float32(light.shape[0] / rows) - np.float32(0.5)
    seen = cv2.remap(light, u, v, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=ground)
    return expose(np.repeat(seen[..., None], 3, axis=2), camera, seed)


def as_photo(pixels: NDArray[np.uint8], focal_px: float | None = None) -> Photo:
    """Return a picture as the core hands it to a finder."""
    pixels = np.ascontiguousarray(pixels)
    pixels.setflags(write=False)
    return Photo(pixels, "drawn.png", "0" * 64, focal_px=focal_px)


def diameter_off_pct(
    scale: Scale, camera: CameraSpec, centre: ArrayLike = (0.0, 0.0), diameter: float = 300.0
) -> float:
    """Return by how many percent the scale gets the mean diameter of a disc on the face wrong."""
    angle = np.arange(180) * np.pi / 90
    rim = np.asarray(centre) + diameter / 2 * np.column_stack([np.cos(angle), np.sin(angle)])
    measured = photo_to_mm(scale, camera.mm_to_px(rim))
    return float(100 * (np.sqrt(_area(measured) / _area(rim)) - 1))


def _area(points: NDArray[np.float64]) -> float:
    x, y = points.T
    return abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2
