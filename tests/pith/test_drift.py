from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from photonest.pith.directions import Directions, turned
from photonest.pith.drift import CENTRE, DRIFTING, OVAL, agreement, fit, residuals, residuals_and_slopes, votes

UNIT = 100.0


def family(centre: tuple[float, float], drift: tuple[float, float], count: int = 600, seed: int = 0) -> Directions:
    """Return exact normals (cos t, sin t) of drifting circles, at c + a rho + rho (cos t, sin t)."""
    rng = np.random.default_rng(seed)
    rho, angle = rng.uniform(5, 95, count), rng.uniform(0, 2 * np.pi, count)
    normal = np.column_stack([np.cos(angle), np.sin(angle)])
    points = np.array(centre) + rho[:, None] * (np.array(drift) + normal)
    sign = rng.choice([-1.0, 1.0], (count, 1))
    return Directions(points, normal * sign, np.ones(count))


near = st.floats(-0.25, 0.25)


@settings(max_examples=40)
@given(near, near, near, near)
def test_the_true_family_leaves_no_residual(x: float, y: float, a: float, b: float) -> None:
    seen = family((100 * x, 100 * y), (a, b))
    parameters = np.array([x, y, a, b, 0.0, 0.0])
    # Near the centre the residual is softened by half a percent of the unit.
    assert np.abs(residuals(parameters, UNIT, seen)).max() < 1e-6


@settings(max_examples=20)
@given(near, near, near, near, st.integers(0, OVAL - 1))
def test_slopes_are_those_of_small_steps(x: float, y: float, a: float, b: float, k: int) -> None:
    seen = turned(family((100 * x, 100 * y), (0.1, -0.2)), np.zeros(2))
    parameters, step = np.array([x + 0.1, y - 0.1, a, b, b / 3, a / 3]), np.zeros(OVAL)
    step[k] = 1e-6
    ways = [residuals(parameters + sign * step, UNIT, seen) for sign in (1, -1)]
    slopes = residuals_and_slopes(parameters, UNIT, seen, OVAL)[1][k]
    # Central differences are off by step^2 / 6 times the third derivative, at most (unit / distance)^3 < 1e7.
    assert (ways[0] - ways[1]) / 2e-6 == pytest.approx(slopes, rel=1e-4, abs=1e-4)


@settings(max_examples=20)
@given(near, near, near, near)
def test_fit_finds_pith_and_drift(x: float, y: float, a: float, b: float) -> None:
    seen = family((100 * x, 100 * y), (a, b))
    found = fit(seen, np.array([x + 0.05, y - 0.04, 0, 0, 0, 0]), UNIT, DRIFTING)
    # The prior holds drift back by a fiftieth of the directions: below one percent of the unit for drifts to 0.35.
    assert np.hypot(*(found.centre - [100 * x, 100 * y])) < 1.0
    common = fit(seen, np.array([x, y, 0, 0, 0, 0]), UNIT, CENTRE)
    if np.hypot(a, b) > 0.1:
        assert np.hypot(*(common.centre - [100 * x, 100 * y])) > np.hypot(*(found.centre - [100 * x, 100 * y]))


def test_one_centre_is_the_least_squares_meeting_point_of_the_normals() -> None:
    seen = family((3.0, -4.0), (0.0, 0.0))
    tangent = np.column_stack([-seen.across[:, 1], seen.across[:, 0]])
    meeting = np.linalg.lstsq(tangent, (tangent * seen.points).sum(axis=1), rcond=None)[0]  # the textbook way
    found = fit(seen, np.array([0.1, 0.1, 0, 0, 0, 0]), UNIT, CENTRE)
    assert found.centre == pytest.approx(meeting, abs=0.02)


def test_fit_bears_a_third_of_nonsense() -> None:
    seen = family((10.0, 5.0), (0.1, 0.0), 900)
    across = seen.across.copy()
    angle = np.random.default_rng(1).uniform(0, np.pi, 300)
    across[:300] = np.column_stack([np.cos(angle), np.sin(angle)])
    found = fit(seen._replace(across=across), np.array([0.12, 0.02, 0, 0, 0, 0]), UNIT, OVAL)
    assert np.hypot(*(found.centre - [10, 5])) < 1.0


@pytest.mark.parametrize("rays", [False, True])
def test_vote_tells_rings_from_rays(rays: bool) -> None:
    seen = family((20.0, -10.0), (0.0, 0.0))
    if rays:
        seen = seen._replace(across=np.column_stack([-seen.across[:, 1], seen.across[:, 0]]))
    found = votes(seen, np.array([-100.0, -100.0]), np.array([100.0, 100.0]), 50.0)[0]
    assert found.rays == rays
    assert np.hypot(*(found.place - [20, -10])) < 6  # the grid's step is 7.4
    assert found.share > 0.9


def test_turning_makes_rays_normals_and_leaves_normals_alone() -> None:
    seen = family((0.0, 0.0), (0.0, 0.0), 100)
    rays = seen._replace(across=np.column_stack([-seen.across[:, 1], seen.across[:, 0]]))
    for one in (seen, rays):
        dot = (turned(one, np.zeros(2)).across * seen.across).sum(axis=1)
        assert np.abs(dot) == pytest.approx(1.0)


def test_agreement_counts_rings_and_rays_and_chance() -> None:
    rng = np.random.default_rng(3)
    rings, other = family((0.0, 0.0), (0.0, 0.0), 4000), family((0.0, 0.0), (0.0, 0.0), 4000, seed=1)
    rays = other._replace(across=np.column_stack([-other.across[:, 1], other.across[:, 0]]))
    parameters = np.zeros(6)
    assert agreement(rings, parameters, UNIT) == agreement(rays, parameters, UNIT) == 1.0
    angle = rng.uniform(0, np.pi, 4000)
    noise = rings._replace(across=np.column_stack([np.cos(angle), np.sin(angle)]))
    # Within asin 0.2 of the normal or acos 0.98 of the tangent, of 90 degrees: 0.256; four errors of a count of 4000.
    assert agreement(noise, parameters, UNIT) == pytest.approx(0.256, abs=0.028)
