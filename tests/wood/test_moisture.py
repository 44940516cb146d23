"""Moisture: equilibrium, shrinkage and weights, against the Wood Handbook."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from photonest.model import MoistureError, SpeciesError
from photonest.wood.moisture import (
    Shrink,
    check_moisture,
    dry_weight,
    equilibrium_moisture,
    green_density,
    moisture_of,
    shrink_of,
    shrinkage_at,
    weight_at,
)
from photonest.wood.species import Species, find_species, load_species

# Wood Handbook (FPL-GTR-190) Table 4-2, at temperatures in degrees Fahrenheit; the entries are from memory.
TABLE_4_2 = [
    (30, 50, 9.5),
    (50, 50, 9.5),
    (70, 30, 6.2),
    (70, 50, 9.2),
    (70, 65, 12.0),
    (70, 80, 16.0),
    (70, 90, 20.5),
    (90, 50, 8.9),
    (110, 50, 8.4),
]


@pytest.mark.parametrize(("fahrenheit", "humidity", "expected"), TABLE_4_2)
def test_equilibrium_moisture_is_that_of_the_handbook(fahrenheit: float, humidity: float, expected: float) -> None:
    assert equilibrium_moisture((fahrenheit - 32) / 1.8, humidity) == pytest.approx(expected, abs=0.1)


def _handbook_in_fahrenheit(t: float, h: float) -> float:
    """Wood Handbook Eq. 4-5 as it is printed for degrees Fahrenheit; the constants are from memory."""
    w = 330 + 0.452 * t + 0.00415 * t**2
    k = 0.791 + 0.000463 * t - 8.44e-7 * t**2
    k1 = 6.34 + 0.000775 * t - 9.35e-5 * t**2
    k2 = 1.09 + 0.0284 * t - 9.04e-5 * t**2
    kh = k * h
    return 1800 / w * (kh / (1 - kh) + (k1 * kh + 2 * k1 * k2 * kh**2) / (1 + k1 * kh + k1 * k2 * kh**2))


@given(st.floats(30, 110), st.floats(20, 90))
def test_both_printed_sets_of_constants_agree(fahrenheit: float, humidity: float) -> None:
    # Two separately rounded fits to the same data: they differ by less than 0.02 % moisture over this range.
    celsius = equilibrium_moisture((fahrenheit - 32) / 1.8, humidity)
    assert celsius == pytest.approx(_handbook_in_fahrenheit(fahrenheit, humidity / 100), abs=0.025)


@given(st.floats(-20, 100), st.floats(0, 99))
def test_damper_air_makes_damper_wood(temperature: float, humidity: float) -> None:
    assert 0 <= equilibrium_moisture(temperature, humidity) < equilibrium_moisture(temperature, humidity + 1)


def test_shrinkage_worked_by_hand() -> None:
    # Black walnut, 7.8 % tangential: at 8 % moisture (30 - 8) / 30 of it, 5.72 % (Wood Handbook, linear shrinkage).
    assert shrinkage_at(7.8, 8) == pytest.approx(5.72)
    assert shrinkage_at(7.8, 30) == shrinkage_at(7.8, 80) == 0
    assert shrinkage_at(7.8, 0) == 7.8


def _grown(total: float, start: float, end: float) -> float:
    """Return what a size is multiplied by when the moisture changes."""
    return (100 - shrinkage_at(total, end)) / (100 - shrinkage_at(total, start))


def test_change_of_size_is_equation_13_1() -> None:
    # Wood Handbook Eq. 13-1: change = D (M2 - M1) / (30 * 100 / S0 - 30 + M1), here 200 mm, S0 = 9.9 %, 14 to 6 %.
    change = 200 * (6 - 14) / (30 * 100 / 9.9 - 30 + 14)
    assert 200 * _grown(9.9, 14, 6) - 200 == pytest.approx(change, abs=1e-9)


def test_change_of_size_is_near_the_coefficient_form() -> None:
    # Wood Handbook Eq. 13-2 with C of sugar maple, 0.00353 (Table 13-5): linear about 10 %, so within a few percent.
    assert 100 * _grown(9.9, 12, 8) - 100 == pytest.approx(100 * 0.00353 * -4, rel=0.03)


@given(st.floats(1, 1e5), st.floats(0, 200), st.floats(0, 200))
def test_weights_go_there_and_back(weight: float, start: float, end: float) -> None:
    later = weight_at(weight, start, end)
    assert moisture_of(later, dry_weight(weight, start)) == pytest.approx(end, abs=1e-6)
    assert weight_at(later, end, start) == pytest.approx(weight)


def test_green_density_by_hand() -> None:
    species = load_species()
    # 1000 * 0.51 * 1.79 = 913 kg/m3; green black walnut is about 58 lb/ft3 = 930 kg/m3 (from memory, within 3 %).
    assert green_density(find_species("black walnut", species)) == pytest.approx(912.9)
    assert green_density(find_species("black walnut", species)) == pytest.approx(930, rel=0.03)
    assert green_density(find_species("white oak", species), 0.0) == pytest.approx(600)
    with pytest.raises(SpeciesError, match="no figure for"):
        green_density(Species("x", ""))


def test_shrink_of_a_species() -> None:
    shrink = shrink_of(find_species("hard maple", load_species()), 8)
    assert shrink.radial == pytest.approx(0.0352)  # 4.8 * 22 / 30
    assert shrink.tangential == pytest.approx(0.0726)
    assert shrink.longitudinal == pytest.approx(0.0011)
    assert shrink.scaled(2).tangential == pytest.approx(0.1452)


@pytest.mark.parametrize("moisture", [-1, 400.1, float("nan")])
def test_impossible_moisture(moisture: float) -> None:
    with pytest.raises(MoistureError, match="between 0 and 400 %"):
        check_moisture(moisture)


@pytest.mark.parametrize(("temperature", "humidity"), [(20, 101), (20, -1), (-21, 50), (101, 50), (20, float("nan"))])
def test_impossible_air(temperature: float, humidity: float) -> None:
    with pytest.raises(MoistureError):
        equilibrium_moisture(temperature, humidity)


def test_impossible_weights() -> None:
    with pytest.raises(MoistureError, match="more than 0"):
        dry_weight(0, 10)
    with pytest.raises(MoistureError, match="can't hold"):
        moisture_of(900, 1000)
    with pytest.raises(MoistureError, match="fraction"):
        Shrink(0.04, 0.6, 0)
