import numpy as np
import pytest

from photonest.scale.combs import Comb, combs
from photonest.scale.second_edge import second_edge
from photonest.scale.tick_heights import INCH_MM
from photonest.scale.tick_wave import followed

PER_MM = 4.0


def strip_of(pitch_mm: float, kinds: tuple[int, ...], shrunk: float) -> np.ndarray:
    """Ticks of one edge, 90 pixels high, downward from the first row, all a little closer than said."""
    row = np.full((90, 1100), 210.0)
    pitch = pitch_mm * PER_MM * shrunk
    for k in range(int(1060 / pitch)):
        x, long = 20.3 + k * pitch, int(10 + 4 * sum(k % n == 0 for n in kinds))
        at = np.array([int(x), int(x) + 1])
        row[:long, at] -= 130 * (1 - np.abs(at - x))
    return row


def ruler(pitch_mm: float, kinds: tuple[int, ...], shrunk: float = 1.0) -> np.ndarray:
    """Return a ruler with mm along its upper edge and other ticks along its lower one, on a rough ground."""
    art = np.vstack([strip_of(1.0, (5, 10), 1.0), strip_of(pitch_mm, kinds, shrunk)[::-1]])
    noise = np.random.default_rng(4)
    ground = noise.normal(90, 25, (60, 1100))
    return (np.vstack([ground, art, ground]) + noise.normal(0, 5, (300, 1100))).clip(0, 255).astype(np.uint8)


def first_of(grey: np.ndarray) -> Comb:
    comb = followed(grey, combs(grey, np.array([[[15.0, 62.0], [1080.0, 62.0]]]))[0])
    assert comb is not None
    assert comb.pitch == pytest.approx(PER_MM, rel=1e-3)
    return comb


@pytest.mark.parametrize(("spacing", "kinds"), [(1.0, (5, 10)), (INCH_MM / 16, (2, 4, 8, 16))])
def test_ticks_along_the_other_edge_are_found(spacing: float, kinds: tuple[int, ...]) -> None:
    """A ruler 45 mm wide, the other edge 1 % farther away: its ticks are so much closer."""
    grey = ruler(spacing, kinds, shrunk=0.99)
    found = second_edge(grey, first_of(grey), 1.0)
    assert found is not None
    other, told = found
    assert told == pytest.approx(spacing)
    assert other.pitch == pytest.approx(0.99 * spacing * PER_MM, rel=5e-4)
    assert 200 < other.place(np.array(500.0), np.array(other.aside))[1] < 245


def test_a_scale_of_neither_mm_nor_inches_is_not_taken_for_one() -> None:
    """0.8 mm, of which scale rules have some, is nearly 1/32 inch: it turned a ruler by 16 degrees."""
    grey = ruler(0.8, (5, 10))
    assert second_edge(grey, first_of(grey), 1.0) is None
