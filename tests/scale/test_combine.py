from dataclasses import replace

import numpy as np
import pytest

from photonest.model import Lens, MapError, Scale
from photonest.planar import mean_diameter
from photonest.rectify import photo_to_mm
from photonest.scale.build import as_rows
from photonest.scale.combine import combined, difference_pct, middle_of_photo
from photonest.scale.height import grown
from photonest.scale.uncertainty import PERSPECTIVE, TILT_LEFT, diameter_error_pct, diameter_slope, disc, growth

AROUND = middle_of_photo(1201, 901)


def scale(size: float, error: float, kind: str = "card") -> Scale:
    """A scale whose only error is one of all lengths alike."""
    none = MapError((600.0, 450.0), 1000.0, tuple(tuple(row) for row in (1e-14 * np.eye(10)).tolist()))
    plain = Scale(kind, ((size, 0, 0), (0, size, 0), (0, 0, 1)), 0.0, size, map_error=none)
    return grown(plain, error)


def diameter(of: Scale) -> float:
    mm = photo_to_mm(of, AROUND)
    return float(np.linalg.norm(mm - mm.mean(axis=0), axis=1).mean() * 2)


def test_agreeing_scales_meet_by_their_weights() -> None:
    """The mean weighted by inverse variances, with the variance 1 / (1/a^2 + 1/b^2): the textbook's."""
    one, other = scale(0.5, 0.01), scale(0.505, 0.02, "paper")
    both = combined([other, one], AROUND)
    expected = np.exp(np.average(np.log([0.5, 0.505]), weights=[1 / 0.01**2, 1 / 0.02**2]))
    assert diameter(both) / diameter(one) == pytest.approx(expected / 0.5, rel=1e-4)
    error = 100 / np.sqrt(1 / 0.01**2 + 1 / 0.02**2)
    assert diameter_error_pct(both, photo_to_mm(both, AROUND)) == pytest.approx(error, rel=1e-2)
    assert both.standard_error_pct == pytest.approx(error, rel=1e-2)
    assert both.kind == "card + paper"


def test_disagreement_is_told_with_its_size_and_widens_the_error() -> None:
    one, other = scale(0.5, 0.002), scale(0.55, 0.002, "paper")
    both = combined([one, other], AROUND)
    assert diameter(both) == pytest.approx(diameter(one))
    (told,) = both.others
    assert told.kind == "paper"
    assert told.size_ratio == pytest.approx(1.1, rel=1e-6)
    # the error of any length there, which is what a face gets, holds the other value within two of it
    assert diameter_error_pct(both, photo_to_mm(both, AROUND)) == pytest.approx(100 * np.log(1.1) / 2, rel=1e-3)
    assert both.standard_error_pct == pytest.approx(100 * np.log(1.1) / 2, rel=1e-3)


def test_one_that_disagrees_does_not_keep_the_others_from_meeting() -> None:
    one, odd, third = scale(0.5, 0.002), scale(0.55, 0.003, "paper"), scale(0.502, 0.004, "bar")
    all_ = combined([one, odd, third], AROUND)
    pair = combined([one, third], AROUND)
    assert all_.kind == "card + bar"
    assert diameter(all_) == pytest.approx(diameter(pair))
    (told,) = all_.others
    assert told.size_ratio == pytest.approx(diameter(odd) / diameter(pair), rel=1e-6)


def test_a_tilt_that_one_of_two_removes_is_no_warning() -> None:
    sheet, points = scale(0.5, 0.002), scale(0.5, 0.02, "two-points")
    points = replace(points, warnings=("The pixels are coarse.", f"Of two points: {TILT_LEFT}"))
    assert combined([sheet, points], AROUND).warnings == ("The pixels are coarse.",)
    assert len(combined([replace(sheet, warnings=(f"Of a bar: {TILT_LEFT}",)), points], AROUND).warnings) == 3
    assert len(combined([points], AROUND).warnings) == 2


def test_frames_may_be_turned_and_shifted() -> None:
    one, other = scale(0.5, 0.01), scale(0.5, 0.01, "paper")
    c, s = np.cos(1.0), np.sin(1.0)
    turned = np.array([[c, -s, 40], [s, c, -7], [0, 0, 1]]) @ np.array(other.px_to_mm)
    other = replace(other, px_to_mm=tuple(tuple(row) for row in turned.tolist()))  # type: ignore[arg-type]
    apart, error = difference_pct(one, other, AROUND)
    assert apart == pytest.approx(0, abs=1e-9)
    assert error == pytest.approx(np.sqrt(2), rel=1e-2)


def leaning(right: float, by: float) -> Scale:
    """A scale whose only error, `by` of its standard error of 1 %, is a lean about a place right of the middle."""
    true = scale(0.5, 0.0)
    lean = np.zeros(10)
    lean[PERSPECTIVE[0]] = 1.0
    way = lean - diameter_slope(true, disc(0.5 * np.array([600.0 + right, 450.0]), 5.0)) @ lean * growth(true)
    way *= 0.01 / abs(diameter_slope(true, disc([300.0, 225.0], 135.0)) @ way)
    x, y, *_ = true.map_error.centre_px if true.map_error else (0.0, 0.0)
    frame = np.array([[1000.0, 0, x], [0, 1000.0, y], [0, 0, 1]])
    e = -by * way
    inner = np.array([[1 + e[1], e[2], e[0]], [e[4], 1 + e[5], e[3]], [-e[6], -e[7], 1]])
    matrix = np.asarray(true.px_to_mm) @ frame @ np.linalg.inv(inner) @ np.linalg.inv(frame)
    error = MapError((x, y), 1000.0, tuple(tuple(row) for row in np.outer(way, way).tolist()))
    return replace(true, px_to_mm=as_rows(matrix), lens=Lens(1000.0, (x, y), 0.0, 0.0), map_error=error)


def test_each_reference_counts_where_it_is_sure() -> None:
    """One is sure on the right, one on the left: together they tell all sizes, though each is off in the middle."""
    both = combined([leaning(250.0, 1.5), replace(leaning(-250.0, -1.5), kind="paper")], AROUND)
    assert both.others == ()
    for right in (-250.0, 0.0, 250.0):
        seen = photo_to_mm(both, disc([600.0 + right, 450.0], 50.0))
        assert mean_diameter(seen) == pytest.approx(50.0, rel=2e-3)
        assert diameter_error_pct(both, seen) < 0.1


def test_scales_without_map_combine_too() -> None:
    plain = Scale("by-hand", ((0.5, 0, 0), (0, 0.5, 0), (0, 0, 1)), 1.0, 0.5)
    other = replace(plain, kind="two-points", px_to_mm=((0.505, 0, 0), (0, 0.505, 0), (0, 0, 1)), mm_per_px=0.505)
    both = combined([plain, other], AROUND)
    assert both.mm_per_px == pytest.approx(np.sqrt(0.5 * 0.505), rel=1e-6)
    assert both.standard_error_pct == pytest.approx(1 / np.sqrt(2), rel=1e-6)


def test_one_scale_stays_itself_and_none_is_an_error() -> None:
    one = scale(0.5, 0.01)
    assert combined([one], AROUND) == one
    with pytest.raises(ValueError, match="no scales"):
        combined([], AROUND)
