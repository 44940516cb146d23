"""Inches in sixteenths, in lowest terms."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from photonest.report.units import at_least, at_most, sixteenths, told


@given(value=st.floats(-2000, 2000))
def test_sixteenths_are_the_nearest_and_in_lowest_terms(value: float) -> None:
    words = sixteenths(value)
    number = sum(Fraction(part) for part in words.removeprefix("-").split())
    signed = -number if words.startswith("-") else number
    assert abs(float(signed) - value / 25.4) <= 1 / 32 + 1e-9
    assert 16 % number.denominator == 0
    if "/" in words:
        assert words.endswith(f"{number - int(number)}")


@pytest.mark.parametrize("mm, inches", [(12.7, "1/2"), (19.05, "3/4"), (304.8, "12"), (1.5875, "1/16"), (0.0, "0")])
def test_known_inches(mm: float, inches: str) -> None:
    """The inch is 25.4 mm exactly (international yard and pound agreement, 1959)."""
    assert sixteenths(mm) == inches


@given(value=st.floats(0.1, 900))
def test_limits_are_rounded_to_the_safe_side(value: float) -> None:
    def read(words: str) -> tuple[float, ...]:
        """Return the millimetres and, where they are told, the inches."""
        plain, *inches = words.removesuffix(" in)").removesuffix(" mm").split(" mm (")
        return float(plain), *(25.4 * float(sum(map(Fraction, told.split()))) for told in inches)

    # 1e-6 of a tenth or a sixteenth is allowed for the rounding of floating point.
    assert min(read(at_least(value, "inch"))) >= value - 1e-5
    assert max(read(at_most(value, "inch"))) <= value + 1e-5
    assert read(at_least(value, "inch")) == pytest.approx((value, value), abs=25.4 / 16 + 1e-5)
    assert value <= 25.4 / 16 + 1e-5 or len(read(at_most(value, "inch"))) == 2


def test_millimetres_stand_first() -> None:
    assert told(50.8, "inch") == "51 mm (2 in)"
