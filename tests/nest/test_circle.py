import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from photonest.nest.circle import clear_radius, largest_clear_circle, widest
from photonest.nest.keepouts import KeepOut, segments_of
from photonest.nest.rules import Real
from tests.nest.examples import ring


@pytest.mark.parametrize(
    ("boundary", "radius"),
    [
        (((0, 0), (100, 0), (100, 60), (0, 60)), 30.0),
        (((0, 0), (80, 0), (0, 60)), 20.0),  # (a + b - c) / 2 of a right triangle
        (tuple((math.cos(k * math.pi / 3) * 50, math.sin(k * math.pi / 3) * 50) for k in range(6)), 25 * math.sqrt(3)),
    ],
)
def test_closed_forms(boundary: tuple[tuple[float, float], ...], radius: float) -> None:
    assert largest_clear_circle(boundary).radius == pytest.approx(radius, abs=0.05)


def test_a_crack_across_a_disc_leaves_half() -> None:
    circle = largest_clear_circle(ring(100.0, 720), [((-100.0, 0.0), (100.0, 0.0))])
    assert circle.radius == pytest.approx(50.0, abs=0.05)


def test_a_point_in_the_middle_of_a_disc_leaves_half() -> None:
    assert largest_clear_circle(ring(100.0, 720), [((0.0, 0.0),)]).radius == pytest.approx(50.0, abs=0.05)


@given(st.integers(0, 10_000))
@settings(max_examples=40)
def test_agrees_with_shapely(seed: int) -> None:
    """shapely.maximum_inscribed_circle works by its own grid search in GEOS."""
    random = np.random.default_rng(seed)
    angles = np.linspace(0, 2 * math.pi, 60, endpoint=False)
    radii = 100 * (1 + 0.3 * np.cos(random.integers(2, 5) * angles + random.uniform(0, 6)) + random.normal(0, 0.02, 60))
    outline = tuple(zip((radii * np.cos(angles)).tolist(), (radii * np.sin(angles)).tolist(), strict=True))
    ours = largest_clear_circle(outline, tolerance=0.02)
    theirs = shapely.maximum_inscribed_circle(shapely.Polygon(outline), tolerance=0.02).length
    assert ours.radius == pytest.approx(theirs, abs=0.05)
    centre = shapely.Point(ours.centre)
    assert shapely.Polygon(outline).exterior.distance(centre) == pytest.approx(ours.radius, abs=1e-9)


@given(st.integers(0, 10_000), st.integers(1, 12))
@settings(max_examples=40)
def test_nothing_on_a_fine_grid_is_clearer(seed: int, count: int) -> None:
    random = np.random.default_rng(seed)
    lines = [tuple(map(tuple, random.uniform(-90, 90, (3, 2)).tolist())) for _ in range(count)]
    found = largest_clear_circle(ring(100.0), lines)
    everything = shapely.union_all([shapely.LinearRing(ring(100.0)), *map(shapely.LineString, lines)])
    x, y = np.meshgrid(np.arange(-99, 100, 3.0), np.arange(-99, 100, 3.0))
    inside = np.hypot(x, y) < 99
    grid = shapely.distance(shapely.points(x[inside], y[inside]), everything)
    assert found.radius >= grid.max() - 0.05
    assert shapely.Point(found.centre).distance(everything) == pytest.approx(found.radius, abs=1e-9)


def test_errors_and_margins_are_taken_off() -> None:
    sides = segments_of(ring(100.0, 720), closed=True)
    edge = KeepOut("edge", sides, np.zeros(len(sides)), 3.0, 0.4, "edge")
    _, _, radius, bound = widest(clear_radius([edge], 0.01))
    assert radius == pytest.approx(100 - 3 - 2 * math.hypot(0.4, 1.0), abs=0.06)
    assert radius <= bound <= radius + 0.051


def test_the_inside_of_an_area_is_not_clear() -> None:
    sides, hole = segments_of(ring(100.0), closed=True), segments_of(ring(60.0, 24), closed=True)
    edge = KeepOut("edge", sides, np.zeros(len(sides)), 0.0, 0.0, "edge")
    area = KeepOut("decay", hole, np.zeros(len(hole)), 0.0, 0.0, "area")
    _, _, radius, _ = widest(clear_radius([edge, area], 0.0))
    assert radius == pytest.approx(20.0, abs=0.6)  # the hole has 24 corners


def test_ten_thousand_cracks() -> None:
    random = np.random.default_rng(3)
    ends = random.uniform(-100, 100, (10_000, 2))
    lines = [tuple(map(tuple, (end + random.uniform(-3, 3, (4, 2))).tolist())) for end in ends]
    circle = largest_clear_circle(ring(100.0), lines)
    assert 0 <= circle.radius < 20


def test_where_nothing_is_clear_few_places_are_asked() -> None:
    sides = segments_of(ring(100.0), closed=True)
    edge = KeepOut("edge", sides, np.zeros(len(sides)), 3.0, 0.0, "edge")
    crack = KeepOut("crack", segments_of(((0.0, 0.0), (9.0, 0.0)), closed=False), np.zeros(1), 5.0, 400.0)
    asked: list[int] = []

    def anywhere(x: Real, *_: Real) -> Real:
        asked.append(len(x))
        return np.zeros(len(x))

    assert widest(clear_radius([edge, crack], 0.0), 0.05, anywhere)[2] <= 0
    assert sum(asked) < 100
