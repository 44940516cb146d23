"""What the network proposes, and what is laid about it."""

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from photonest.scale.card_shape import HEIGHT_MM, WIDTH_MM
from photonest.scale.shape_corners import runs_on
from photonest.scale.sight import four_sides, proposed
from tests.scale.scenes import as_photo

CORNERS = np.array([[60.0, 40.0], [300.0, 70.0], [280.0, 230.0], [50.0, 180.0]])


def outline_of(mask: NDArray[np.uint8]) -> NDArray[np.float64]:
    outlines, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return np.asarray(outlines[0][:, 0], float)


def off(found: NDArray[np.float64], corners: NDArray[np.float64]) -> float:
    return min(float(np.abs(np.roll(found, turn, axis=0) - corners).max()) for turn in range(4))


def test_sides_are_laid_about_rounded_corners() -> None:
    mask = np.zeros((260, 340), np.uint8)
    cv2.fillConvexPoly(mask, CORNERS.astype(np.int32), 1)
    opened = cv2.morphologyEx(mask, cv2.MORPH_OPEN, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (31, 31)))
    found = four_sides(outline_of(opened))
    assert found is not None
    assert off(found, CORNERS) < 1.5


def test_what_is_too_small_has_no_sides() -> None:
    assert four_sides(np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 2.0], [0.0, 2.0]])) is None


@pytest.mark.parametrize("upright", [False, True])
def test_a_card_on_cloth_is_proposed(upright: bool) -> None:
    """Drawn plainly: blue on rough grey, 180 pixels long in a picture of 1000."""
    rng = np.random.default_rng(2)
    picture = cv2.GaussianBlur(rng.normal(110, 30, (750, 1000, 3)), (0, 0), 1.0)
    corners = np.array(cv2.boxPoints(((520.0, 380.0), (180.0, 180.0 * HEIGHT_MM / WIDTH_MM), 25.0)), float)
    cv2.fillConvexPoly(picture, np.rint(corners).astype(np.int32), (50, 80, 170))
    pixels = cv2.GaussianBlur(picture, (0, 0), 0.7).clip(0, 255).astype(np.uint8)
    if upright:
        pixels, corners = np.ascontiguousarray(pixels.transpose(1, 0, 2)), corners[::-1, ::-1]
    assert min(off(found.corners, corners) for found in proposed(pixels)) < 5


def test_a_line_of_print_is_no_side() -> None:
    """A label with a bar printed across, the part before the bar read as a sheet."""
    label = np.array([[100, 100], [500, 100], [500, 300], [100, 300]], float)
    picture = np.full((400, 600, 3), 120, np.uint8)
    cv2.fillConvexPoly(picture, label.astype(np.int32), (235, 235, 230))
    cv2.line(picture, (360, 130), (360, 270), (20, 20, 40), 6)
    part = label.copy()
    part[1:3, 0] = 357
    photo = as_photo(picture, 800.0)
    assert runs_on(photo, part)
    assert not runs_on(photo, label)


def test_a_shadow_s_edge_is_no_side() -> None:
    """A label of which one end, and the ground there, lie in a shadow: what is in the light is no sheet of its own."""
    label = np.array([[100, 100], [500, 100], [500, 300], [100, 300]], float)
    picture = np.full((400, 600, 3), (120, 110, 90), np.uint8)
    cv2.fillConvexPoly(picture, label.astype(np.int32), (235, 235, 230))
    picture[:, 430:] //= 2
    part = label.copy()
    part[1:3, 0] = 429.5
    photo = as_photo(picture, 800.0)
    assert runs_on(photo, part)
    assert not runs_on(photo, label)
