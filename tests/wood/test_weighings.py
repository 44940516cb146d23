"""Weighings: reading, what can't be, and the plain test for dry."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from photonest.model import MoistureError
from photonest.wood.weighings import Weighing, check_weighings, read_weighings, unchanged


def weighed(*pairs: tuple[int, float]) -> tuple[Weighing, ...]:
    return tuple(Weighing(date(2031, 4, 2) + timedelta(days=d), w) for d, w in pairs)


def test_a_file_is_read() -> None:
    text = "day,grams\n# left shelf\n2031-04-02, 1850\n\n2031-04-20,1711.5,by the stove\n"
    assert read_weighings(text) == weighed((0, 1850.0), (18, 1711.5))


@pytest.mark.parametrize(
    "line", ["02.04.2031,1850", "2031-04-02", "2031-04-02,heavy", "2031-02-30,5", "1850,2031-04-02", "2031-04-02,1,850"]
)
def test_a_wrong_line_is_named(line: str) -> None:
    with pytest.raises(MoistureError, match="Weighing 2 is"):
        read_weighings(f"2031-04-01,1900\n{line}\n")


@pytest.mark.parametrize(
    ("weighings", "problem"),
    [
        ((), "no weighings"),
        (weighed((0, 100.0), (0, 90.0)), "comes twice"),
        (weighed((5, 100.0), (0, 90.0)), "2031-04-02 comes after 2031-04-07"),
        (weighed((0, 0.0)), "more than 0 g"),
        (weighed((0, float("nan"))), "more than 0 g"),
        (weighed((0, 1000.0), (30, 1006.0)), "rises from 1000 g on 2031-04-02 to 1006 g"),
    ],
)
def test_impossible_weighings(weighings: tuple[Weighing, ...], problem: str) -> None:
    with pytest.raises(MoistureError, match=problem):
        check_weighings(weighings)


def test_the_weather_may_add_a_little() -> None:
    assert check_weighings(weighed((0, 1000.0), (30, 1005.0)))  # half a percent
    assert check_weighings(weighed((0, 100.0), (30, 103.0)))  # three standard errors of a scale of 1 g


def test_unchanged() -> None:
    monthly = weighed((0, 1500.0), (30, 1203.0), (60, 1202.0), (90, 1200.0), (120, 1199.0))
    assert unchanged(monthly)
    assert not unchanged(monthly[:3])  # one month alike
    assert not unchanged(weighed((0, 1200.0), (1, 1200.0), (2, 1199.0)))  # three days alike
    assert not unchanged(weighed((0, 1200.0), (90, 1199.0)))  # two weighings alike
    assert not unchanged(weighed((0, 1240.0), (30, 1220.0), (60, 1200.0)))
