"""How the bench of crack tips counts what is short of a tip and what runs past it."""

import numpy as np
import pytest

from tests.bench.tips import tips

EDGE = np.array([[-100.0, -100.0], [100.0, -100.0], [100.0, 100.0], [-100.0, 100.0]])
CRACK = np.linspace([-30.0, 0.0], [30.0, 0.0], 40)


def line(first: float, last: float) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return np.linspace([first, 0.2], [last, 0.2], 30)


def test_tips_beyond_and_past_what_was_found() -> None:
    # 20 short at one end, 12 past the other
    assert list(tips([CRACK], [line(-10, 42)], EDGE, 200.0)) == pytest.approx([20, -12], abs=0.5)


def test_what_runs_on_along_another_crack_is_not_past() -> None:
    other = np.linspace([36.0, 0.0], [60.0, 0.0], 20)
    beyond = list(tips([CRACK, other], [line(-30, 60)], EDGE, 200.0))
    # from 30 to within a hundredth of the diameter of the other's beginning at 36
    assert beyond == pytest.approx([0, -4, -4, 0], abs=0.5)


def test_cracks_hardly_found_and_tips_at_the_rim_do_not_count() -> None:
    assert list(tips([CRACK], [line(10, 30)], EDGE, 200.0)) == []
    to_rim = np.linspace([50.0, 0.0], [99.5, 0.0], 40)
    assert list(tips([to_rim], [line(50, 99)], EDGE, 200.0)) == pytest.approx([0], abs=0.5)
