"""The standard measures on shapes with known answers."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from photonest.model import Crack, Outline, Pith
from photonest.sizes import area, caliper_diameters, centroid, looks_like_two_pieces, measure_size


def ellipse(
    a: float, b: float, x: float = 0.0, y: float = 0.0, turn: float = 0.0, n: int = 720
) -> tuple[tuple[float, float], ...]:
    t = np.arange(n) * 2 * math.pi / n
    u, v = a * np.cos(t), b * np.sin(t)
    return tuple(
        zip(
            (x + u * math.cos(turn) - v * math.sin(turn)).tolist(),
            (y + u * math.sin(turn) + v * math.cos(turn)).tolist(),
            strict=True,
        )
    )


@settings(max_examples=40)
@given(st.floats(50, 300), st.floats(0.5, 1.0), st.floats(-99, 99), st.floats(-99, 99), st.floats(0, math.pi))
def test_an_ellipse_has_the_diameters_of_its_axes(a: float, ratio: float, x: float, y: float, turn: float) -> None:
    b = a * ratio
    outline = ellipse(a, b, x, y, turn)
    # a 720-gon: its chords stay within a (1 - cos(pi/720)) = 1e-5 a of the curve
    assert caliper_diameters(outline) == pytest.approx((2 * a, 2 * b), rel=3e-5)
    assert area(outline) == pytest.approx(math.pi * a * b, rel=3e-5)
    assert centroid(outline) == pytest.approx((x, y), abs=1e-6 * a)
    assert area(outline) == pytest.approx(shapely.Polygon(outline).area)


def test_eccentricity_and_ovality_by_their_definitions() -> None:
    # EN 1310 convention (from memory): pith offset in percent of the mean diameter; ISO 19474: (max - min) / max
    size = measure_size(Outline(ellipse(150, 120)), Pith((30.0, 0.0), 0.5), (), ())
    mean = 2 * math.sqrt(150 * 120)
    assert size.pith_offset == pytest.approx(30, abs=1e-6)
    assert size.eccentricity_pct == pytest.approx(100 * 30 / mean, rel=1e-4)
    assert size.ovality_pct == pytest.approx(20, abs=0.01)
    assert size.inscribed_circle.radius == pytest.approx(120, abs=0.1)


def test_the_clear_circle_keeps_off_pith_and_cracks_that_are_not_dismissed() -> None:
    outline = Outline(ellipse(100, 100))
    crack = Crack("c1", ((0.0, 0.0), (99.0, 0.0)), 1.0, 99.0, "radial", 0.9, "seen")
    size = measure_size(outline, Pith((0.0, 0.0), 0.5), (crack,), ())
    assert size.clear_circle is not None
    # the crack and the pith lie along a radius: the half disc on the other side of the pith holds a circle of half R
    assert size.clear_circle.radius == pytest.approx(50, abs=0.1)
    gone = Crack("c1", ((0.0, 0.0), (99.0, 0.0)), 1.0, 99.0, "radial", 0.9, "dismissed")
    free = measure_size(outline, None, (gone,), ())
    assert free.clear_circle is not None
    assert free.clear_circle.radius == pytest.approx(100, abs=0.1)


def test_diameters_under_bark_stand_beside_those_with_bark() -> None:
    size = measure_size(Outline(ellipse(100, 100), ellipse(90, 90)), None, (), ())
    assert size.under_bark is not None
    assert size.mean_diameter == pytest.approx(200, rel=1e-4)
    assert size.under_bark.mean_diameter == pytest.approx(180, rel=1e-4)
    assert size.inscribed_circle.radius == pytest.approx(90, abs=0.1)


def test_wood_with_something_hanging_on_it_is_doubted() -> None:
    disc = shapely.Polygon(ellipse(100, 92))
    plank = shapely.box(-40, 85, 130, 125)
    book = shapely.box(60, -130, 120, -40)
    for whole in (disc, disc.intersection(shapely.box(-200, -200, 200, 10)), shapely.Polygon(ellipse(100, 60))):
        assert not looks_like_two_pieces(tuple(whole.exterior.coords)[:-1], 0.5 * math.sqrt(whole.area))
    for joined in (disc.union(plank), disc.union(book)):
        assert looks_like_two_pieces(tuple(joined.exterior.coords)[:-1], 92.0)
