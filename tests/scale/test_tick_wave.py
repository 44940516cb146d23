import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from photonest.scale.combs import Comb, combs
from photonest.scale.tick_wave import followed, longer_after, projective


def drawn(pitch: float, longer: tuple[int, ...], count: int = 120) -> np.ndarray:
    """Dark ticks from a line at y = 40, the longer the more numbers in `longer` divide theirs, anti-aliased along x."""
    grey = np.full((120, int(pitch * count) + 40), 200.0)
    for k in range(count):
        x = 20.3 + k * pitch
        rows = slice(40, 40 + int(pitch * (4 + 1.6 * sum(k % n == 0 for n in longer))))
        for column in (int(x), int(x) + 1):
            grey[rows, column] -= 120 * (1 - abs(column - x))
    return (grey + np.random.default_rng(1).normal(0, 6, grey.shape)).clip(0, 255).astype(np.uint8)


def seen(pitch: float, longer: tuple[int, ...]) -> tuple[Comb, dict[int, float]]:
    grey = drawn(pitch, longer)
    ends = np.array([[[15.0, 40.0], [grey.shape[1] - 15.0, 40.0]]])
    comb = followed(grey, combs(grey, ends)[0])
    assert comb is not None
    return comb, longer_after(grey, comb)


@pytest.mark.parametrize("longer", [(5, 10), (2, 4, 8, 16)])
def test_what_comes_back_tells_millimetres_from_sixteenths(longer: tuple[int, ...]) -> None:
    comb, after = seen(4.3, longer)
    assert comb.pitch == pytest.approx(4.3, rel=1e-3)
    others = set(after) - {n for n in after if any(n == m for m in (2, *longer))}
    assert min(after[n] for n in longer if n < 16) > 2 * max(after[n] for n in others)


@given(st.floats(-0.3, 0.3), st.floats(2.0, 12.0))
def test_a_projective_map_is_found_again(drift: float, pitch: float) -> None:
    s = np.arange(500.0)
    ticks = s / pitch / (1 + drift * s / 500)
    a, b, c = projective(ticks)
    assert (a * s + b) / (c * s + 1) + ticks.mean() == pytest.approx(ticks, abs=1e-6)
    assert c == pytest.approx(drift / 500, abs=1e-8)
