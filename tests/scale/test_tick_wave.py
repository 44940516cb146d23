import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from photonest.scale.tick_wave import projective


@given(st.floats(-0.3, 0.3), st.floats(2.0, 12.0))
def test_a_projective_map_is_found_again(drift: float, pitch: float) -> None:
    s = np.arange(500.0)
    ticks = s / pitch / (1 + drift * s / 500)
    a, b, c = projective(ticks)
    assert (a * s + b) / (c * s + 1) + ticks.mean() == pytest.approx(ticks, abs=1e-6)
    assert c == pytest.approx(drift / 500, abs=1e-8)
