from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from photonest import planar


def test_polygon_measures_agree_with_shapely() -> None:
    rng = np.random.default_rng(0)
    angle = np.sort(rng.uniform(0, 2 * np.pi, 40))
    points = np.column_stack([np.cos(angle), np.sin(angle)]) * rng.uniform(5, 9, (40, 1)) + [30, -20]
    polygon = shapely.Polygon(points)
    assert planar.polygon_area(points) == pytest.approx(polygon.area)
    assert planar.polygon_centroid(points) == pytest.approx([polygon.centroid.x, polygon.centroid.y])
    assert planar.mean_diameter(points) == pytest.approx(2 * np.sqrt(polygon.area / np.pi))


@settings(max_examples=20)
@given(st.integers(0, 1000))
def test_best_closed_path_is_the_cheapest(seed: int) -> None:
    import itertools

    cost = np.random.default_rng(seed).uniform(size=(6, 4))
    found = planar.best_closed_path(np.tile(cost, (4, 1)), 1)  # four rounds: the seam's choice can't matter
    paths = itertools.product(range(4), repeat=6)
    closed = [p for p in paths if all(abs(p[k] - p[k - 1]) <= 1 for k in range(6))]
    cheapest = min(cost[range(6), p].sum() for p in closed)
    middle = found[6:18]
    assert np.abs(np.diff(found)).max() <= 1
    # Two rounds between open ends can only be cheaper than twice the cheapest closed one, by at most one row each end.
    assert np.tile(cost, (2, 1))[range(12), middle].sum() <= 2 * cheapest + 2


def test_evenly_spaces_points() -> None:
    ring = planar.evenly(np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 1.0], [0.0, 1.0]]), 16)
    steps = np.hypot(*np.diff(np.vstack([ring, ring[:1]]), axis=0).T)
    assert steps == pytest.approx(np.full(16, 0.5))
