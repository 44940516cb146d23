import math

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from photonest.model import Shop
from photonest.nest.curves import (
    Outside,
    cored_outside,
    deepest,
    least_stand_off,
    turned_outside,
    volume_under,
    wall_between,
)
from photonest.nest.rules import Rules

RULES = Rules(Shop())
rims = st.floats(70, 220)
offsets = st.floats(-15, 15)


def arc(radius: float, offset: float, stand_off: float, end: float, count: int = 400) -> np.ndarray:
    """Return points of an arc from the rim plane to rho = end, by its own parametrisation."""
    first = math.atan2(stand_off, math.sqrt(radius**2 - stand_off**2))
    last = math.acos((end - offset) / radius)
    angles = np.linspace(first, last, count)
    return np.stack([offset + radius * np.cos(angles), radius * np.sin(angles) - stand_off], axis=1)


def outline(bowl: Outside) -> shapely.LineString:
    curve = arc(float(bowl.radius), float(bowl.centre), float(bowl.stand_off), float(bowl.foot))
    return shapely.LineString([*curve, (0.0, float(bowl.depth))])


@given(rims, st.floats(0.3, 1.0), st.sampled_from([110.0, 150.0, 200.0]), offsets, st.floats(0, 150))
@settings(max_examples=80)
def test_wall_is_the_shortest_distance(rim: float, share: float, edge: float, offset: float, stand_off: float) -> None:
    """Against shapely's distance of the sampled curves, wherever the inside lies inside."""
    bowl = turned_outside(RULES, rim, share * deepest(RULES, rim))
    assume(stand_off < edge - 5)
    wall = float(wall_between(bowl, edge, offset, stand_off))
    assume(wall > 0.5 and offset + math.sqrt(edge**2 - stand_off**2) > 0)
    inside = shapely.LineString(arc(edge, offset, stand_off, 0.0))
    assert wall == pytest.approx(outline(bowl).distance(inside), abs=0.01)  # sagitta of 400 chords: below 0.001


@given(rims, st.floats(0.3, 1.0), st.sampled_from([114.0, 154.0, 204.0]), offsets)
@settings(max_examples=80)
def test_least_stand_off_is_where_a_rule_begins_to_bind(rim: float, share: float, edge: float, offset: float) -> None:
    bowl = turned_outside(RULES, rim, share * deepest(RULES, rim))
    least = float(least_stand_off(bowl, edge, offset))

    def slack(stand_off: float) -> float:
        wall = float(wall_between(bowl, edge, offset, stand_off)) - float(bowl.wall)
        base = float(bowl.axis_floor) - (math.sqrt(edge**2 - offset**2) - stand_off)
        return min(wall, base)

    if math.isinf(least):
        tried = np.linspace(0, edge - 1, 200)
        assert max(slack(s) for s in tried if offset + math.sqrt(edge**2 - s**2) > 0) < 1.0
        return
    assert slack(least) >= -1e-6
    assert all(slack(s) >= -1e-6 for s in np.linspace(least, edge - 0.1, 20))
    if least > 0:
        assert slack(least - 1e-3) < 1e-6


@given(st.sampled_from([106.0, 146.0, 196.0]), offsets, st.floats(0, 150))
@settings(max_examples=60)
def test_volume_by_pappus(edge: float, offset: float, stand_off: float) -> None:
    """Pappus' second theorem: 2 pi times the centroid's rho times the area, both from shapely."""
    assume(stand_off < edge - 20 and offset + math.sqrt(edge**2 - stand_off**2) > 20)
    section = shapely.Polygon([*arc(edge, offset, stand_off, 0.0), (0.0, 0.0)])
    expected = 2 * math.pi * section.centroid.x * section.area
    assert float(volume_under(edge, offset, stand_off)) == pytest.approx(expected, rel=2e-4)


def test_volume_of_a_half_ball() -> None:
    assert float(volume_under(100.0, 0.0, 0.0)) == pytest.approx(2 / 3 * math.pi * 1e6)


def test_volume_of_a_spherical_cap() -> None:
    height, radius = 60.0, 100.0  # pi h^2 (3 R - h) / 3
    expected = math.pi * height**2 * (3 * radius - height) / 3
    assert float(volume_under(radius, 0.0, radius - height)) == pytest.approx(expected)


def test_a_floor_cuts_the_volume() -> None:
    whole, cut = float(volume_under(100.0, 0.0, 0.0)), float(volume_under(100.0, 0.0, 0.0, 70.0))
    assert cut == pytest.approx(whole - math.pi * 30**2 * (300 - 30) / 3)  # less the cap of height 30


@given(rims, st.floats(0.2, 1.0))
def test_a_turned_outside_passes_through_rim_and_foot(rim: float, share: float) -> None:
    bowl = turned_outside(RULES, rim, share * deepest(RULES, rim))
    assert math.hypot(bowl.rim, bowl.stand_off) == pytest.approx(float(bowl.radius))
    assert math.hypot(bowl.foot, bowl.depth + bowl.stand_off) == pytest.approx(float(bowl.radius))
    assert bowl.stand_off >= 0


def test_a_bowl_deeper_than_half_a_ball_is_not_turned() -> None:
    assert np.isnan(turned_outside(RULES, 100.0, 99.0).radius)


@given(st.sampled_from([106.0, 146.0, 196.0]), offsets, st.floats(0, 120))
def test_a_core_is_flat_at_its_foot(edge: float, offset: float, stand_off: float) -> None:
    bowl = cored_outside(RULES, edge, offset, stand_off)
    assume(np.isfinite(bowl.radius))
    across = np.linspace(0, float(bowl.foot), 50)
    below = np.sqrt(edge**2 - (across - offset) ** 2) - stand_off
    assert (below >= bowl.depth - 1e-9).all()  # the groove's edge lies below the whole foot
    assert math.hypot(bowl.foot - offset, bowl.depth + stand_off) == pytest.approx(edge)
