"""Straight sides of flat and of bent rectangles fitted to points that are known."""

import dataclasses

import numpy as np
import pytest

from photonest.scale.camera import Prior, View, rotation, start
from photonest.scale.edges import Edge
from photonest.scale.rectangle import Seen, proportion
from photonest.scale.side_points import _stray, rectangle
from photonest.scale.sides import fit_sides, refit_sides

SIZE = (297.0, 210.0)
PRIOR = Prior(2000.0, 0.03, (999.5, 749.5), 20.0)
VIEW = View(
    np.array([np.log(2000.0), 999.5, 749.5, 0, 0, 0, 0, 0, 500.0, 400.0, np.log(0.45)]),
    rotation(np.array([0.25, -0.15, 0.1])),
)


def edges(bend: float) -> list[Edge]:
    """The sides of a sheet whose ends lie `bend` mm above its middle: each point is projected through space."""
    width, height = SIZE
    along = np.linspace(0.05, 0.95, 28)
    ends = np.array([[0, 0], [width, 0], [width, height], [0, height]])
    seen = []
    for k in range(4):
        flat = ends[k] + along[:, None] * (ends[(k + 1) % 4] - ends[k])
        space = np.column_stack([flat, -bend * (2 * flat[:, 0] / width - 1) ** 2])
        before = space @ VIEW.rotation.T + VIEW.shift
        seen.append(Edge(before[:, :2] / before[:, 2:] * 2000.0 + [999.5, 749.5], 0.04, 1.0))
    return seen


def test_a_flat_rectangle_gives_the_view_back() -> None:
    answer = fit_sides(PRIOR, VIEW.homography, rectangle(*SIZE), edges(0.0), (0.5, 0.5), (148.5, 105.0))
    assert answer is not None
    assert answer[0].cost < 2.0  # nothing but what the prior pulls: a quarter rad of tilt at 0.35 rad is half of one
    assert answer[0].camera_mm() == pytest.approx(VIEW.camera_mm(), rel=0.01)


@pytest.mark.parametrize("bend", [1.0, 4.0, -2.0])
def test_a_bent_sheet_s_bend_is_found(bend: float) -> None:
    sides = rectangle(*SIZE)
    flat = fit_sides(PRIOR, VIEW.homography, sides, edges(bend), (0.5, 0.5), (148.5, 105.0))
    bent = fit_sides(PRIOR, VIEW.homography, sides, edges(bend), (0.5, 0.5), (148.5, 105.0), bend_error=2.5)
    assert flat is not None
    assert bent is not None
    assert bent[0].cost < 6.0 < flat[0].cost  # priors alone: at most (4 / 2.5)^2 of the bend, and the tilt's
    # taken to lie level where it is one pixel of 0.45 mm off, the bend's own error is about a twentieth of a mm
    assert bent[0].more[3:] == pytest.approx([bend, 0.0], abs=0.3)
    assert bent[0].camera_mm() == pytest.approx(VIEW.camera_mm(), rel=0.01)


def test_refitting_from_the_answer_stays_there() -> None:
    sides, seen = rectangle(*SIZE), edges(0.0)
    first = fit_sides(PRIOR, VIEW.homography, sides, seen, (0.5, 0.5), (148.5, 105.0))
    assert first is not None
    again = refit_sides(PRIOR, [dataclasses.replace(first[0])], sides, seen, (0.5, 0.5))
    assert again is not None
    assert again[0].cost == pytest.approx(first[0].cost, abs=1e-3)


def test_nothing_is_made_of_a_homography_seen_from_behind() -> None:
    assert start(PRIOR, VIEW.homography @ np.diag([1.0, -1.0, 1.0])) is None


@pytest.mark.parametrize(
    ("tilt_deg", "axis", "turn", "middle"),
    [(19.6, 5.42, 3.4, (690, 638)), (24.6, 4.47, 5.85, (449, 883)), (25.0, 5.16, 2.5, (682, 522)),
     (22.8, 4.22, 4.78, (443, 800))],
)  # fmt: skip
def test_proportion_of_a_tilted_card_under_a_long_lens_of_unknown_focal_length(
    tilt_deg: float, axis: float, turn: float, middle: tuple[float, float]
) -> None:
    """Less tilted under a very wide lens it fits worse and by ten standard errors off: the fit must not end there."""
    tilted = rotation(np.radians(tilt_deg) * np.array([np.cos(axis), np.sin(axis), 0]))
    placed = np.array([np.log(3000.0), 999.5, 749.5, 0, 0, 0, 0, 0, *middle, np.log(0.27)])
    view = View(placed, tilted @ rotation(np.array([0, 0, turn])))
    corners = np.array([[0, 0], [85.6, 0], [85.6, 53.98], [0, 53.98]])
    along = np.linspace(0.1, 0.9, 28)[:, None]
    sides = [one + along * (other - one) for one, other in zip(corners, np.roll(corners, -1, axis=0), strict=True)]
    seen = Seen(view.to_px(corners), [Edge(view.to_px(side), 0.1, 1.0) for side in sides], 0.02)
    told = proportion(Prior(1800.0, 0.3, (999.5, 749.5), 12.0), seen)
    assert told is not None
    assert told[0].error < 0.03
    assert told[0].is_about(85.6 / 53.98, within=3.0)


def test_a_side_blown_out_may_be_so_at_one_end_alone() -> None:
    side = edges(0.0)[0]
    assert np.hypot(_stray(side, None), 0.2) == pytest.approx(_stray(side._replace(shared_px=0.2), None))
