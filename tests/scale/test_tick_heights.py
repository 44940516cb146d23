from dataclasses import replace

import numpy as np
import pytest

from photonest.scale.combs import Comb, combs
from photonest.scale.tick_heights import INCH_MM, between_fives, leans, tick_mm, told_mm
from photonest.scale.tick_wave import followed


def drawn(
    pitch: float, kinds: tuple[int, ...], count: int = 120, shown: int = 1, lean: float = 0.0, figures: int = 0
) -> np.ndarray:
    """Dark ticks from a line at y = 40, the longer the more of the kinds divide their number; anti-aliased along x.

    Only every so many is shown; each goes `lean` pixels along a pixel down; a figure stands by every so many.
    """
    grey = np.full((160, int(pitch * count) + 60), 200.0)
    for k in range(0, count, shown):
        for row in range(40, 40 + int(pitch * (2.2 + 0.7 * sum(k % n == 0 for n in kinds)))):
            x = 20.3 + k * pitch + lean * (row - 40)
            grey[row, [int(x), int(x) + 1]] -= 120 * np.abs(1 - abs(np.array([int(x), int(x) + 1]) - x))
    for k in range(figures, count, figures or count):
        grey[66:76, int(17 + k * pitch) : int(23 + k * pitch)] -= 90
    return (grey + np.random.default_rng(1).normal(0, 6, grey.shape)).clip(0, 255).astype(np.uint8)


def comb_of(grey: np.ndarray) -> Comb:
    comb = followed(grey, combs(grey, np.array([[[15.0, 40.0], [grey.shape[1] - 15.0, 40.0]]]))[0])
    assert comb is not None
    return comb


INCHES = (2, 4, 8, 16)


@pytest.mark.parametrize(("kinds", "unit", "tick"), [((5, 10), "mm", 1.0), (INCHES, "inch", INCH_MM / 16)])
def test_heights_tell_millimetres_from_sixteenths(kinds: tuple[int, ...], unit: str, tick: float) -> None:
    grey = drawn(4.3, kinds)
    comb = comb_of(grey)
    assert comb.pitch == pytest.approx(4.3, rel=1e-3)
    told = {each: tick_mm(grey, comb, each) for each in ("mm", "inch")}
    assert told == {each: pytest.approx(tick) if each == unit else None for each in told}


@pytest.mark.parametrize(("shown", "pitch"), [(2, 4.3), (1, 4.3)])
def test_the_longest_ticks_are_inches_whichever_finer_ones_are_seen(shown: int, pitch: float) -> None:
    grey = drawn(pitch, INCHES, shown=shown, figures=16)
    comb = comb_of(grey)
    assert comb.pitch == pytest.approx(shown * pitch, rel=1e-3)
    assert tick_mm(grey, comb, "inch") == pytest.approx(shown * INCH_MM / 16)


@pytest.mark.parametrize(("figures", "tick"), [(16, INCH_MM / 16), (8, INCH_MM / 8), (0, None)])
def test_figures_tell_eighths_from_sixteenths_whose_inches_do_not_stand_out(figures: int, tick: float | None) -> None:
    """Few, worn inches passed for halves: sixteenths were taken for eighths, and a face came out twice as large."""
    grey = drawn(4.3, (2, 4, 8), figures=figures)
    assert tick_mm(grey, comb_of(grey), "inch") == (tick and pytest.approx(tick))


def test_ticks_worn_off_in_the_middle_tell_nothing_and_do_no_harm() -> None:
    grey = drawn(4.3, INCHES)
    middle = slice(int(4.3 * 45), int(4.3 * 75))
    grey[:, middle] = (0.1 * grey[:, middle] + 180).astype(np.uint8)
    comb = comb_of(grey)
    assert tick_mm(grey, comb, "inch") == pytest.approx(INCH_MM / 16)


def test_overtones_of_other_ticks_are_no_millimetres() -> None:
    """Two and a half times as many as sixteenths, every fifth and tenth longer, made a face 62 % too large."""
    grey = drawn(4.3, (5, 10), shown=5)
    fives = comb_of(grey)
    assert not between_fives(grey, replace(fives, ticks=5 * fives.ticks))
    grey = drawn(4.3, INCHES)
    sixteenths = comb_of(grey)
    assert not between_fives(grey, replace(sixteenths, ticks=2.5 * sixteenths.ticks))
    grey = drawn(4.3, (5, 10))
    assert between_fives(grey, comb_of(grey))


def test_half_millimetres_are_not_taken_for_whole_ones() -> None:
    """Every tenth and twentieth of them is longer too: a drawn face came out twice as large."""
    grey = drawn(4.3, (2, 10, 20))
    assert tick_mm(grey, comb_of(grey), "mm") is None


def test_leaning_ticks_are_set_upright() -> None:
    grey = drawn(4.3, (5, 10), lean=0.15)
    comb = comb_of(grey)
    assert leans(grey, comb) == pytest.approx(0.15 + comb.along[1] / comb.along[0], abs=0.03)
    assert tick_mm(grey, comb, "mm") == 1.0


def test_what_longer_ticks_are_too_faint_for_is_not_told() -> None:
    clear = {2: 30.0, 4: 25.0, 8: 15.0, 16: 9.0, 32: 2.0}
    assert told_mm(clear, "inch") == pytest.approx(INCH_MM / 16)
    assert told_mm({**clear, 32: 9.0}, "inch") == pytest.approx(INCH_MM / 32)
    assert told_mm({**clear, 32: 5.0}, "inch") is None
    # eighths, if inches stand out well and nothing longer does; else they may be sixteenths with faint inches
    assert told_mm({**clear, 16: 2.0}, "inch") == pytest.approx(INCH_MM / 8)
    assert told_mm({**clear, 16: 4.2}, "inch") is None
    assert told_mm({**clear, 8: 6.0, 16: 2.0}, "inch") is None
    assert told_mm({2: 30.0, 4: 25.0, 8: 15.0}, "inch") is None
    assert told_mm({5: 20.0, 10: 9.0, 20: 2.0}, "mm") == 1.0
    assert told_mm({5: 20.0, 10: 3.0}, "mm") is None
