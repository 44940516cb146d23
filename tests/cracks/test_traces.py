from __future__ import annotations

import numpy as np
import pytest

from photonest.cracks.traces import Trace, each_once, extended, joined, kind_of, length_of, traced

SQUARE = np.array([[-50.0, -50.0], [50.0, -50.0], [50.0, 50.0], [-50.0, 50.0]])


def straight(start: tuple[float, float], end: tuple[float, float], sure: float = 0.9, count: int = 21) -> Trace:
    return Trace(np.linspace(start, end, count), np.ones(count), sure)


def test_the_pith_end_comes_first_and_the_widest_opening_survives_thinning() -> None:
    path = np.linspace([40.0, 0.0], [4.0, 0.0], 200)
    widths = np.ones(200)
    widths[77] = 3.0
    trace = traced(path, widths, 0.8, False, spacing=2.0, pith=(0.0, 0.0))
    assert trace.path[0].tolist() == [4.0, 0.0]
    assert trace.widths.max() == 3.0
    assert length_of(trace.path) == pytest.approx(36.0)
    assert len(trace.path) == 19


def test_a_line_told_twice_is_kept_once_and_the_surer_stays() -> None:
    sure, doubtful = straight((0, 0), (40, 0), 0.9), straight((1, 0.3), (39, 0.3), 0.4)
    apart = straight((0, 5), (40, 5), 0.5)
    assert each_once([doubtful, apart, sure], 0.5, 5.0) == [sure, apart]
    assert each_once([], 0.5, 5.0) == []


def test_a_long_stretch_by_itself_of_a_line_half_told_is_kept() -> None:
    sure = straight((0, 0), (40, 0), 0.9, count=81)
    doubtful = straight((20, 0.3), (60, 0.3), 0.4, count=81)
    first, rest = each_once([doubtful, sure], 0.5, 15.0)
    assert first is sure
    # it begins where the better line ends, give or take the tolerance about that
    assert rest.path[0][0] == pytest.approx(41, abs=1.5) and rest.path[-1].tolist() == [60, 0.3]
    assert rest.sure == 0.4 and len(rest.widths) == len(rest.path)
    assert each_once([doubtful, sure], 0.5, 25.0) == [sure]


def test_fragments_in_line_are_joined_and_parallel_ones_are_not() -> None:
    first, second, third = straight((0, 0), (10, 0)), straight((11, 0.2), (20, 0.3), 0.5), straight((22, 0), (30, 0))
    beside = straight((0, 4), (30, 4))
    result = joined([third, first, beside, second], reach=3.0)
    assert sorted(round(trace.length) for trace in result) == [30, 30]
    whole = next(trace for trace in result if trace is not beside)
    assert whole.path[0].tolist() == [0, 0]
    assert whole.path[-1].tolist() == [30, 0]
    assert whole.sure == 0.9  # it is a crack if any part of it is


def test_fragments_at_an_angle_stay_apart() -> None:
    assert len(joined([straight((0, 0), (10, 0)), straight((11, 0), (11, 10))], reach=3.0)) == 2


def test_tips_are_led_on_but_not_out_of_the_wood_nor_beyond_the_pith() -> None:
    free = extended(straight((0, 0), (20, 0)), (5.0, 5.0), SQUARE, None, None)
    assert free.path[0] == pytest.approx([-5, 0])
    assert free.path[-1] == pytest.approx([25, 0])
    assert len(free.widths) == len(free.path)
    at_rim = extended(straight((10, 0), (48, 0)), (7.0, 5.0), SQUARE, None, None)
    assert 48 < at_rim.path[-1][0] <= 50
    assert at_rim.path[0] == pytest.approx([3, 0])
    from_pith = extended(straight((2, 0), (20, 0)), (5.0, 5.0), SQUARE, (0.0, 0.5), None)
    assert from_pith.path[0] == pytest.approx([0, 0.5])


def test_a_ring_shake_goes_on_along_its_ring() -> None:
    angle = np.linspace(0.0, 1.0, 60)
    shake = Trace(30 * np.column_stack([np.cos(angle), np.sin(angle)]), np.ones(60), 0.9)
    whole = extended(shake, (8.0, 8.0), SQUARE, None, (0.0, 0.0))
    # its course, told from a chord of 11/59 of a radian, points outwards by half of that, and each step of 2 mm by half
    # its own 2/30: 8 (0.093 + 0.033) = 1.0 mm in all; straight on, 8^2 / 60 more
    assert np.hypot(*whole.path[[0, -1]].T) == pytest.approx([30.0, 30.0], abs=1.1)
    assert whole.length == pytest.approx(30 + 16, abs=0.1)


def test_kinds() -> None:
    outwards = np.array([[10.0, 1.0], [30.0, 2.0]])
    assert kind_of(outwards, False, (0.0, 0.0)) == "radial"
    assert kind_of(outwards, True, (0.0, 0.0)) == "heart"
    assert kind_of(outwards, False, None) == "other"
    assert kind_of(np.array([[20.0, -10.0], [20.0, 10.0]]), False, (0.0, 0.0)) == "ring"
    assert kind_of(np.array([[20.0, -10.0], [34.0, 4.0]]), False, (0.0, 0.0)) == "other"
