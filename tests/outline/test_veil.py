"""A veil is light added to every pixel: taken off, what is left is the picture as it was, but for its brightness."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from photonest.imaging import light_of_values
from photonest.model import FlatPhoto
from photonest.outline.veil import without_veil
from tests.outline.scenes import blob, painted, photo

VEIL = 0.12


@pytest.fixture(scope="module")
def clear() -> FlatPhoto:
    return photo(painted((420, 560), blob((285.0, 212.0), 150.0), (300, 205), ground="moss"))


def veiled(flat: FlatPhoto) -> FlatPhoto:
    light = light_of_values()
    there = np.interp(0.55 * light[flat.pixels] + VEIL, light, np.arange(256.0))
    return replace(flat, pixels=np.round(there).astype(np.uint8))


def test_light_of_a_veil_is_taken_off_all_colours_alike(clear: FlatPhoto) -> None:
    light = light_of_values()
    seen, before = (light[part.pixels].reshape(-1, 3) for part in (without_veil(veiled(clear)), clear))
    for k in range(3):  # a straight line through what was black, of one slope for all colours
        slope, off = np.polyfit(before[:, k], seen[:, k], 1)
        assert off == pytest.approx(0.0, abs=0.02)
        assert slope == pytest.approx(np.polyfit(before.ravel(), seen.ravel(), 1)[0], rel=0.02)


def test_a_clear_photo_stays_as_it_is(clear: FlatPhoto) -> None:
    assert without_veil(clear) is clear


def test_a_small_piece_on_an_even_ground_has_no_veil() -> None:
    pixels = painted((420, 560), blob((285.0, 212.0), 80.0), (290, 205), ground=(70, 64, 58))
    far = photo(pixels)  # the ground's own light is the middle's and nearly the darkest
    assert without_veil(far) is far


def test_without_anything_to_see_nothing_is_done(clear: FlatPhoto) -> None:
    hidden = replace(clear, covered=np.zeros(clear.pixels.shape[:2], bool))
    assert without_veil(hidden) is hidden
