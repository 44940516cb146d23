import math

import numpy as np
import pytest

from photonest.model import NotFound, Photo, Scale
from photonest.scale.by_hand import ByHand

PHOTO = Photo(np.zeros((30, 40, 3), np.uint8), "none.png", "0" * 64)


def test_pixel_size_is_taken_as_given() -> None:
    scale = ByHand().find(PHOTO, ByHand.Options(mm_per_px=0.2))
    assert isinstance(scale, Scale)
    assert scale.mm_per_px == 0.2
    assert (np.array(scale.px_to_mm) @ [5, 10, 1]).tolist() == [1, 2, 1]
    assert scale.standard_error_pct == 1.0


def test_stated_error_is_the_foreshortening_of_a_hand_held_camera() -> None:
    """Of 8 degrees: 1 - cos 8 = 0.97 %."""
    assert 100 * (1 - math.cos(math.radians(8))) == pytest.approx(ByHand.Options().standard_error_pct, abs=0.05)


def test_nothing_given_is_not_found() -> None:
    answer = ByHand().find(PHOTO, ByHand.Options())
    assert isinstance(answer, NotFound)
    assert "--mm-per-px" in answer.hint


@pytest.mark.parametrize("size", [0.0, -1.0, math.nan, math.inf, 1e9])
def test_impossible_sizes_are_refused(size: float) -> None:
    answer = ByHand().find(PHOTO, ByHand.Options(mm_per_px=size))
    assert isinstance(answer, NotFound)
    assert answer.hint


@pytest.mark.parametrize("error", [-1.0, math.nan])
def test_impossible_errors_are_refused(error: float) -> None:
    assert not ByHand().find(PHOTO, ByHand.Options(mm_per_px=0.2, standard_error_pct=error))
