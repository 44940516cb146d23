from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from photonest import resizing
from photonest.model import FlatPhoto


def flat_of(height: int, width: int) -> FlatPhoto:
    y, x = np.mgrid[:height, :width]
    ramp = np.dstack([x * 200 / width, y * 200 / height, x * 0 + 90]).astype(np.uint8)
    return FlatPhoto(ramp, 0.4, (-10.0, 5.0), (0.0, 0.0), covered=np.ones((height, width), bool))


@settings(max_examples=25)
@given(st.integers(60, 240), st.integers(60, 240), st.integers(20, 200))
def test_reduced_keeps_every_place(height: int, width: int, longest: int) -> None:
    flat = flat_of(height, width)
    small = resizing.reduced(flat, longest)
    assert max(small.pixels.shape[:2]) <= max(longest, 1)
    assert small.covered is not None and small.covered.shape == small.pixels.shape[:2]
    # The red ramp tells where in mm a pixel lies: its middle must agree to a reduced pixel plus the ramp's rounding.
    row, column = small.pixels.shape[0] // 2, small.pixels.shape[1] // 2
    place = flat.to_px(small.to_mm([[column, row]]))[0]
    seen = small.pixels[row, column].astype(float) * np.array([width, height, 1]) / 200
    assert abs(seen[0] - place[0]) < 0.75 * max(width / 200, 1) + 0.6
    assert abs(seen[1] - place[1]) < 0.75 * max(height / 200, 1) + 0.6


def test_cropped_is_the_same_picture_elsewhere() -> None:
    flat = flat_of(100, 120)
    part = resizing.cropped(flat, (0.0, 10.0), (20.0, 30.0))
    x, y = flat.to_px(part.to_mm([[3, 4]]))[0]
    assert (part.pixels[4, 3] == flat.pixels[round(y), round(x)]).all()
    assert resizing.cropped(flat, (900.0, 900.0), (901.0, 901.0)).pixels.shape[:2] == (1, 1)


@pytest.mark.parametrize("sharp", [False, True])
def test_a_reduced_picture_keeps_its_brightness(sharp: bool) -> None:
    noisy = np.random.default_rng(3).integers(60, 200, (301, 453, 3), dtype=np.uint8)
    flat = FlatPhoto(noisy, 0.4, (0.0, 0.0), (0.0, 0.0))
    for small in (resizing.reduced(flat, 70, sharp=sharp), resizing.averaged(flat, 70)):
        assert max(small.pixels.shape[:2]) == 70
        assert small.pixels.mean() == pytest.approx(noisy.mean(), abs=1.0)
        assert small.pixels.std() < noisy.std() / 2
