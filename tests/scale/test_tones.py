"""Sides placed by tones where the ground is full of edges."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from photonest.scale.rough_shapes import Searched
from photonest.scale.tones import placed_by_tones, tone_odds

CORNERS = np.array([[100.0, 80.0], [260.0, 110.0], [240.0, 210.0], [80.0, 180.0]])
ROUGH = CORNERS + np.array([[5.0, -4.0], [4.0, 5.0], [-5.0, -4.0], [4.0, 5.0]])


def on_chips(colour: tuple[int, int, int]) -> NDArray[np.uint8]:
    """A four-sided shape of one colour on chips of many tones of brown, with edges all over."""
    rng = np.random.default_rng(5)
    picture = np.full((300, 360, 3), 40, np.uint8)
    for _ in range(1500):
        at, turn, tone = rng.uniform(0, 360, 2), rng.uniform(0, 180), rng.uniform(0.3, 1.0)
        chip = cv2.boxPoints((tuple(at), (22.0, 12.0), turn)).astype(np.int32)
        cv2.fillConvexPoly(picture, chip, [float(tone * v) for v in (190, 130, 80)])
    cv2.fillConvexPoly(picture, np.rint(CORNERS).astype(np.int32), colour)
    return picture


def placed_twice(picture: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Return corners placed by tones, and once more from there."""
    corners: NDArray[np.float64] = ROUGH
    for _ in range(2):
        odds = tone_odds(picture, corners)
        assert odds is not None
        placed = placed_by_tones(picture, corners, odds, 8.0)
        assert placed is not None
        corners = placed
    return corners


@pytest.mark.parametrize("colour", [(90, 120, 110), (20, 20, 60), (230, 230, 225)])
def test_a_shape_is_placed_among_edges(colour: tuple[int, int, int]) -> None:
    # lines are looked for at steps of a pixel, and corners drawn to half of one
    assert placed_twice(on_chips(colour)) == pytest.approx(CORNERS, abs=1.5)


def test_sawdust_across_a_side_does_not_turn_it() -> None:
    picture = on_chips((90, 120, 110))
    cv2.ellipse(picture, (95, 110), (25, 22), 0.0, 0.0, 360.0, (235, 205, 150), -1)  # over part of a short side
    assert placed_twice(picture) == pytest.approx(CORNERS, abs=1.5)


def test_a_shape_of_the_ground_s_own_tones_is_not_placed() -> None:
    picture = on_chips((0, 0, 0))
    picture[60:230, 70:270] = picture[:170, 160:360]  # chips again
    odds = tone_odds(picture, ROUGH)
    assert odds is None or placed_by_tones(picture, ROUGH, odds, 8.0) is None


def test_a_smooth_shape_is_placed_in_grain_of_its_own_grey() -> None:
    rng = np.random.default_rng(6)
    picture = 120 + 8 * cv2.GaussianBlur(rng.normal(size=(300, 360)), (0, 0), 1.2) * 4
    cv2.fillConvexPoly(picture, np.rint(CORNERS).astype(np.int32), 120.0)
    picture += rng.normal(0, 0.7, picture.shape)
    grey = np.repeat(picture.astype(np.uint8)[..., None], 3, axis=2)
    far = CORNERS.mean(axis=0) + 0.7 * (CORNERS - CORNERS.mean(axis=0)) + np.array([12.0, -6.0])
    placed = Searched(grey).by_roughness(far)
    assert placed is not None
    # squares three pixels wide, and lines looked for at steps of one
    assert placed == pytest.approx(CORNERS, abs=2.5)


def test_a_card_is_seen_among_edges_and_placed() -> None:
    big = np.repeat(np.repeat(on_chips((90, 120, 110)), 2, axis=0), 2, axis=1)
    off = [
        min(np.abs(np.roll(shape, turn, axis=0) - 2 * CORNERS - 0.5).max() for turn in range(4))
        for shape in Searched(big).placed(lambda _: True)
    ]
    assert min(off) < 4.0
