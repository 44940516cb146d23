"""Round corners told from sharp ones by tones, where the ground's light changes more than its colour."""

import cv2
import numpy as np
import pytest

from photonest.scale.round_corners import PLACES, are_cut, are_round, are_sharp, round_reaches
from tests.scale.scenes import as_photo

SIZE = (400, 252)  # of a card, in pixels
CORNERS = np.array([[50.0, 50], [449, 50], [449, 301], [50, 301]])
RADIUS = 3.18 * SIZE[0] / 85.6  # of an ID-1 card's corners (ISO/IEC 7810)
WITHIN = 2 * (PLACES[1] - PLACES[0])  # reaches are read in such steps


def reaches(radius: float, grain: float = 0.5) -> np.ndarray:
    """Of a lilac card on tan wood, its light doubled and halved by grain, seen with a little blur."""
    rng = np.random.default_rng(3)
    grain_of = np.exp(grain * cv2.GaussianBlur(rng.normal(size=(352, 500)), (0, 0), 4) * 8)
    picture = np.array([200.0, 160, 120]) * grain_of[..., None] * 0.6
    y, x = np.mgrid[:352, :500]
    over = [
        np.maximum(np.abs(at - (50 + span / 2)) - (span / 2 - radius), 0) for at, span in zip((x, y), SIZE, strict=True)
    ]
    picture[np.hypot(*over) <= radius] = [150, 130, 170]
    seen = cv2.GaussianBlur(picture.clip(0, 255), (0, 0), 1.0).astype(np.uint8)
    return round_reaches(as_photo(seen), CORNERS, (85.6, 53.98), 3.18)


def test_a_card_s_corners_are_round_before_grain() -> None:
    seen = reaches(RADIUS)
    assert seen == pytest.approx(np.ones((4, 5)), abs=WITHIN + 1 / RADIUS)  # and a pixel, blurred
    assert are_round(seen).all()
    assert not (are_sharp(seen) | are_cut(seen)).any()


def test_a_label_s_corners_are_sharp() -> None:
    seen = reaches(0.5)
    assert are_sharp(seen).all()
    assert not are_round(seen).any()


def test_rounder_corners_are_cut() -> None:
    """Twice as round, they end in the middle 0.41 radii short of a card's, by (2 - 1) times (root 2 - 1)."""
    seen = reaches(2 * RADIUS)
    assert seen[:, 2] == pytest.approx(2 - np.sqrt(2), abs=WITHIN + 1 / RADIUS)
    assert are_cut(seen).all()
    assert not are_round(seen).any()


@pytest.mark.parametrize(("radius", "is_round"), [(RADIUS, True), (0.5, False)])
def test_a_smooth_card_s_corners_are_told_from_grain_of_its_own_grey(radius: float, is_round: bool) -> None:
    rng = np.random.default_rng(4)
    picture = 120 * np.exp(0.15 * 2 * cv2.GaussianBlur(rng.normal(size=(352, 500)), (0, 0), 1.2) * 1.2)
    y, x = np.mgrid[:352, :500]
    over = [
        np.maximum(np.abs(at - (50 + span / 2)) - (span / 2 - radius), 0) for at, span in zip((x, y), SIZE, strict=True)
    ]
    picture[np.hypot(*over) <= radius] = 120
    picture += rng.normal(0, 0.7, picture.shape)  # the camera's own noise
    seen = round_reaches(
        as_photo(np.repeat(picture.astype(np.uint8)[..., None], 3, axis=2)), CORNERS, (85.6, 53.98), 3.18
    )
    assert are_round(seen).all() == is_round
    assert are_sharp(seen).all() != is_round


def test_what_looks_like_its_ground_is_not_told() -> None:
    grey = np.full((352, 500, 3), 120, np.uint8)
    assert np.isnan(round_reaches(as_photo(grey), CORNERS, (85.6, 53.98), 3.18)).all()
