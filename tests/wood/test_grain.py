"""The grain's direction on drawn faces: streaks at a known angle, and faces without any."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from photonest.model import FlatPhoto, NotFound, Outline
from photonest.wood.grain import GrainDirection, grain_direction

ROUND = Outline(tuple((100 * math.cos(a), 100 * math.sin(a)) for a in np.linspace(0, 2 * math.pi, 60, endpoint=False)))


def streaked(degrees: float, *, noise: float, contrast: float = 25.0, light: float = 0.0) -> FlatPhoto:
    """Return a face of 220 mm with streaks of random strength along a direction, some noise, and uneven light."""
    rng = np.random.default_rng(5)
    y, x = np.mgrid[-110:110:0.5, -110:110:0.5]
    across = -x * math.sin(math.radians(degrees)) + y * math.cos(math.radians(degrees))
    along = x * math.cos(math.radians(degrees)) + y * math.sin(math.radians(degrees))
    profile = gaussian_filter(rng.normal(0, 1, 2000), 3)
    wander = 2 * np.sin(along / 40)  # streaks are not quite straight
    grey = 140 + contrast * 3 * np.interp(across + wander, np.linspace(-320, 320, 2000), profile)
    grey = grey + light * x / 110 + rng.normal(0, noise, grey.shape)
    pixels = np.repeat(np.clip(grey, 0, 255).astype(np.uint8)[..., None], 3, axis=2)
    return FlatPhoto(pixels, 0.5, (-110.0, -110.0), (0.0, 0.0))


@pytest.mark.parametrize("degrees", [0.0, 10.0, 45.0, 90.0, 137.0, 179.0])
@pytest.mark.parametrize(("noise", "light"), [(2.0, 0.0), (12.0, 40.0)])
def test_streaks_are_followed(degrees: float, noise: float, light: float) -> None:
    found = grain_direction(streaked(degrees, noise=noise, light=light), ROUND)
    assert isinstance(found, GrainDirection)
    off = (found.degrees - degrees + 90) % 180 - 90
    assert abs(off) < 2 * found.standard_error
    assert found.standard_error < 5


def test_a_plain_face_has_no_grain() -> None:
    found = grain_direction(streaked(30.0, noise=12.0, contrast=0.0), ROUND)
    assert isinstance(found, NotFound)
    assert "no common direction" in found.reason


def test_even_paint_has_no_grain() -> None:
    assert not grain_direction(streaked(30.0, noise=0.0, contrast=0.0), ROUND)


def test_end_grain_has_no_one_direction() -> None:
    y, x = np.mgrid[-110:110:0.5, -110:110:0.5]
    rings = (140 + 40 * np.sin(np.hypot(x, y) * 1.5)).astype(np.uint8)
    flat = FlatPhoto(np.repeat(rings[..., None], 3, axis=2), 0.5, (-110.0, -110.0), (0.0, 0.0))
    assert not grain_direction(flat, ROUND)


def test_a_tiny_face_is_too_small() -> None:
    tiny = Outline(((0.0, 0.0), (20.0, 0.0), (20.0, 20.0), (0.0, 20.0)))
    found = grain_direction(streaked(30.0, noise=2.0), tiny)
    assert isinstance(found, NotFound)
    assert "too small" in found.reason
