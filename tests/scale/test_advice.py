from dataclasses import replace

import cv2
import numpy as np
import pytest

from photonest.model import OtherScale, Photo, Scale
from photonest.scale.advice import advice, blur_px, height_note

CORNERS = ((150.0, 150.0), (450.0, 150.0), (450.0, 350.0), (150.0, 350.0))
GOOD = Scale(
    "paper", ((0.5, 0, 0), (0, 0.5, 0), (0, 0, 1)), 0.2, 0.5, references_px=(CORNERS,), tilt_deg=5.0, distance_mm=500.0
)


def photo(blur: float = 0.7) -> Photo:
    picture = np.full((600, 800, 3), 60, np.uint8)
    cv2.rectangle(picture, (150, 150), (450, 350), (220, 220, 220), -1)
    return Photo(cv2.GaussianBlur(picture, (0, 0), blur), "x.png", "0" * 64)


def test_good_photo_needs_no_advice() -> None:
    assert advice(photo(), GOOD) == ()


@pytest.mark.parametrize("blur", [1.5, 3.0, 5.0])
def test_blur_is_read_off_edges(blur: float) -> None:
    # the derivative's own kernel adds 0.8 px to the blur, and a percentile is not the steepest pixel
    assert blur_px(photo(blur), np.array(CORNERS)) == pytest.approx(np.hypot(blur, 0.8), rel=0.25)


def test_each_fault_is_named_with_a_remedy() -> None:
    assert "straight above" in advice(photo(), replace(GOOD, tilt_deg=30.0))[0]
    assert "blurred" in advice(photo(5.0), GOOD)[0]
    assert "marker sheet" in advice(photo(), replace(GOOD, standard_error_pct=2.0))[0]
    assert not advice(photo(), replace(GOOD, standard_error_pct=2.0, others=(OtherScale("card", 1.1),)))
    small = tuple((x / 10 + 100, y / 10 + 100) for x, y in CORNERS)
    assert any("go nearer" in text for text in advice(photo(), replace(GOOD, references_px=(small,))))


def test_height_note_states_the_error() -> None:
    """The pinhole's law: 10 mm at 500 mm is 2 %."""
    assert "2.0 %" in height_note(GOOD)
    assert "board" in height_note(GOOD)
    assert height_note(replace(GOOD, distance_mm=None)) == ""
