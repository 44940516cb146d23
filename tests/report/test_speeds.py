"""Speeds against worked values."""

from __future__ import annotations

import pytest

from photonest.model import Shop
from photonest.report.speeds import rim_speed, turning_speeds, usual_power


@pytest.mark.parametrize("diameter, rpm", [(100, 1524), (200, 762), (300, 508), (350, 435), (400, 381), (500, 305)])
def test_diameter_times_speed_of_6000_is_8_metres_a_second(diameter: float, rpm: float) -> None:
    """Common practice, no source: inches times rpm from 6000 up; 6000 x 25.4 mm x pi / 60 s = 7.98 m/s."""
    assert rim_speed(diameter, rpm) == pytest.approx(7.98, abs=0.01)


def test_rim_speed_worked_by_hand() -> None:
    # 1 m across, one turn a second: pi metres a second.
    assert rim_speed(1000, 60) == pytest.approx(3.14159, abs=1e-5)


@pytest.mark.parametrize("diameter", [120.0, 350.0, 800.0])
def test_speeds_stay_under_the_limit(diameter: float) -> None:
    start, top = turning_speeds(Shop(), diameter)
    assert rim_speed(diameter, top) <= 8.0
    assert rim_speed(diameter, top + 1) > 8.0
    assert start < top


def test_power_grows_with_the_blank() -> None:
    assert len({usual_power(d) for d in (250.0, 350.0, 450.0)}) == 3
