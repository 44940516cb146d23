import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from photonest.scale.combs import Comb
from photonest.scale.tick_wave import followed, projective


@given(st.floats(-0.3, 0.3), st.floats(2.0, 12.0))
def test_a_projective_map_is_found_again(drift: float, pitch: float) -> None:
    s = np.arange(500.0)
    ticks = s / pitch / (1 + drift * s / 500)
    a, b, c = projective(ticks)
    assert (a * s + b) / (c * s + 1) + ticks.mean() == pytest.approx(ticks, abs=1e-6)
    assert c == pytest.approx(drift / 500, abs=1e-8)


def test_ticks_are_followed_from_far_off() -> None:
    """First guesses of long rulers seen from a slant were up to six ticks off at their ends, and were given up."""
    s = np.arange(1400.0)
    true = s / 4.0 / (1 + 0.18 * s / 1400)
    row = 128 + 60 * np.cos(2 * np.pi * true)
    grey = np.tile(row, (40, 1)) + np.random.default_rng(2).normal(0, 15, (40, 1400))
    place = np.linspace(-1, 1, 1400)
    first = true + 5 * place - 6 * place**2
    comb = Comb(np.array([0.0, 20.0]), np.array([1.0, 0.0]), first, 0.0, 4.0, 1.0)
    found = followed(grey.clip(0, 255).astype(np.uint8), comb)
    assert found is not None
    middle = slice(100, 1300)
    off = np.interp(s[middle], s[: len(found.ticks)] + found.start[0], found.ticks) - true[middle]
    # noise moves a piece of 48 pixels by less than a fiftieth of a wave
    assert off - off.mean() == pytest.approx(np.zeros_like(off), abs=0.05)
