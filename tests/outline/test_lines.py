"""Closed lines against circles, whose lengths and distances are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from photonest.outline.lines import CUT_RUN, apart, at_frame, away_from, longest_run, simple
from tests.outline.scenes import blob, photo

SIDE = 400


def run_of(middle: tuple[float, float], radius: float) -> float:
    """Return how long a disc runs along the frame of a square photo, as `longest_run` says."""
    flat = photo(np.zeros((SIDE, SIDE, 3), np.uint8))
    box = shapely.box(-0.5, -0.5, SIDE - 0.5, SIDE - 0.5)
    line = shapely.Polygon(blob(middle, radius, waves=(), points=2880)).intersection(box)
    edge = flat.to_mm(np.asarray(line.exterior.coords)[:-1])
    return longest_run(at_frame(flat, edge))


def test_a_disc_that_touches_the_frame_is_not_cut() -> None:
    assert run_of((199.5, 199.5), 200.0) < CUT_RUN
    assert run_of((199.5, 199.5), 150.0) == 0.0


@pytest.mark.parametrize("share", [0.015, 0.05, 0.3])
def test_a_disc_beyond_the_frame_is_cut(share: float) -> None:
    radius = 150.0
    run = run_of((radius - share * 2 * radius - 0.5, 199.5), radius)
    chord = 2 * np.sqrt(share * (1 - share)) * 2 * radius
    assert run > CUT_RUN
    # the chord's share of what is left of the edge; within the nearness that counts as the frame
    left = 2 * radius * (np.pi - np.arccos(1 - 2 * share)) + chord
    assert chord / left - 0.01 < run < chord / left + 0.05


def test_where_the_photo_does_not_reach_is_its_frame_too() -> None:
    flat = photo(np.zeros((SIDE, SIDE, 3), np.uint8))
    covered = np.ones((SIDE, SIDE), bool)
    covered[:, :100] = False
    edge = shapely.Polygon(blob((199.5, 199.5), 150.0, waves=())).intersection(shapely.box(99.5, 0, SIDE, SIDE))
    line = flat.to_mm(np.asarray(edge.exterior.coords)[:-1])
    assert longest_run(at_frame(replace(flat, covered=covered), line)) > CUT_RUN
    assert longest_run(at_frame(flat, line)) == 0.0


def test_distance_of_two_circles() -> None:
    inner, outer = blob((0, 0), 100.0, waves=()), blob((0, 0), 110.0, waves=())
    assert apart(inner, outer) == pytest.approx(10.0, rel=1e-3)
    assert apart(inner, outer) == apart(outer, inner)


def test_distance_to_a_line_agrees_with_shapely() -> None:
    line, points = blob((3.0, -2.0), 100.0), np.random.default_rng(0).uniform(-150, 150, (50, 2))
    assert away_from(points, line) == pytest.approx(
        shapely.distance(shapely.points(points), shapely.LinearRing(line)), abs=1e-3
    )


def test_a_figure_of_eight_becomes_its_larger_loop() -> None:
    eight = np.array([[0, 0], [4, 4], [4, 0], [0, 4], [-6, 2]], float)
    loop = simple(eight)
    assert loop is not None
    assert shapely.Polygon(loop).is_valid
    assert simple(np.array([[0, 0], [1, 1], [2, 2]], float)) is None
