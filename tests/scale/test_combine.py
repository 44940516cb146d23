from dataclasses import replace

import numpy as np
import pytest

from photonest.model import MapError, Scale
from photonest.rectify import photo_to_mm
from photonest.scale.combine import combined, difference_pct, middle_of_photo
from photonest.scale.height import grown
from photonest.scale.uncertainty import diameter_error_pct

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


def test_frames_may_be_turned_and_shifted() -> None:
    one, other = scale(0.5, 0.01), scale(0.5, 0.01, "paper")
    c, s = np.cos(1.0), np.sin(1.0)
    turned = np.array([[c, -s, 40], [s, c, -7], [0, 0, 1]]) @ np.array(other.px_to_mm)
    other = replace(other, px_to_mm=tuple(tuple(row) for row in turned.tolist()))  # type: ignore[arg-type]
    apart, error = difference_pct(one, other, AROUND)
    assert apart == pytest.approx(0, abs=1e-9)
    assert error == pytest.approx(np.sqrt(2), rel=1e-2)


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
