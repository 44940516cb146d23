"""Derivatives worked out by hand, against differences of the functions themselves."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from photonest.scale.camera import OPTICS, View, rotation
from photonest.scale.edges import Edge
from photonest.scale.side_points import BentSidePoints, SidePoints, rectangle
from photonest.scale.slopes import camera_slopes, place_slopes

Array = NDArray[np.float64]
VALUES = np.array([np.log(2000.0), 1002.0, 751.0, 0.03, -0.01, 0.02, -0.03, 0.01, 500.0, 400.0, np.log(0.45)])
TURNED = rotation(np.array([0.25, -0.15, 0.1]))
PX = np.random.default_rng(1).uniform(0, 1500, (112, 2))
# central differences with these steps are off by their squares times third derivatives, at most 2e-6 of the largest
STEPS = np.array([1e-5, 1e-2, 1e-2, 1e-5, 1e-5, 1e-5, 1e-5, 1e-5, 1e-2, 1e-2, 1e-5])


def differences(function: Callable[[View], Array], view: View) -> Array:
    steps = np.append(STEPS, np.full(len(view.values) - OPTICS, 1e-3))
    return np.array(
        [
            (function(replace(view, values=view.values + step)) - function(replace(view, values=view.values - step)))
            / (2 * step.sum())
            for step in np.diag(steps)
        ]
    )


def assert_alike(slopes: Array, other: Array) -> None:
    largest = np.abs(other).reshape(len(other), -1).max(axis=1)
    assert (np.abs(slopes - other).reshape(len(other), -1).max(axis=1) <= 3e-6 * largest + 1e-9).all()


def test_places_move_as_differences_say() -> None:
    view, ways = View(VALUES, TURNED), np.random.default_rng(2).normal(size=PX.shape)
    assert_alike(place_slopes(view, PX, ways), differences(lambda at: (at.to_mm(PX) * ways).sum(axis=1), view))


def test_the_camera_moves_as_differences_say() -> None:
    view = View(VALUES, TURNED)
    assert_alike(camera_slopes(view), differences(lambda at: at.camera_mm(), view))


@pytest.mark.parametrize(
    ("points", "more"), [(SidePoints, [0.1, -0.2, 0.05]), (BentSidePoints, [0.1, -0.2, 0.05, 2.0, -1.0])]
)
def test_a_rectangles_points_leave_its_sides_as_differences_say(points: type[SidePoints], more: list[float]) -> None:
    view = View(np.append(VALUES, more), TURNED)
    of = points(rectangle(297.0, 210.0), [Edge(PX[k::4], 0.1, 1.0) for k in range(4)]).aimed(view)
    assert_alike(of.slopes(view), differences(of.outside, view))


def test_loose_shapes_points_leave_their_sides_as_differences_say() -> None:
    sides = [replace(side, size=(), shape=shape) for shape in (0, 1) for side in rectangle(40.0, 40.0)]
    counts = [3, 9, 14, 14, 20, 20, 12, 20]  # of points a side, some of them few: all together 112
    cuts = np.split(PX, np.cumsum(counts)[:-1])
    view = View(np.append(VALUES, [0.05, 0.1, -0.05, 10.0, 20.0, 0.3]), TURNED)
    of = SidePoints(sides, [Edge(px, 0.1, 1.0) for px in cuts], 0.05).aimed(view)
    assert_alike(of.slopes(view), differences(of.outside, view))
