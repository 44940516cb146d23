import cv2
import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from photonest.scale.corners import saddle_points

FINE = 16  # drawn so much finer than seen


def corner(x: float, y: float, turn: float, blur: float) -> np.ndarray:
    """Return a photo, 24 pixels wide, of four squares that meet at a place, their sides up to 20 degrees askew."""
    at = (np.arange(24 * FINE) + 0.5) / FINE - 0.5
    u, v = np.meshgrid(at - x, at - y)
    first, second = (u * np.sin(a) + v * np.cos(a) for a in (turn, turn + np.pi / 2 + 0.35 * np.sin(3 * turn)))
    fine = np.where(first * second > 0, 200.0, 40.0)
    light = cv2.resize(fine, (24, 24), interpolation=cv2.INTER_AREA)
    return np.asarray(np.rint(cv2.GaussianBlur(light, (0, 0), blur)), np.uint8)


@given(
    place=st.tuples(st.floats(11, 13), st.floats(11, 13)),
    off=st.tuples(st.floats(-1, 1), st.floats(-1, 1)),
    turn=st.floats(0, 3),
    blur=st.floats(0.5, 3),
    half=st.integers(3, 6),
)
def test_a_corner_is_found_below_a_pixel_however_blurred(
    place: tuple[float, float], off: tuple[float, float], turn: float, blur: float, half: int
) -> None:
    found = saddle_points(corner(*place, turn, blur), np.add([place], off), half)
    # grey levels are whole ones: over a window they move a corner by less than a twentieth of a pixel
    assert np.linalg.norm(found[0] - place) < 0.05


def test_a_guess_stays_where_nothing_is_seen() -> None:
    assert np.array_equal(saddle_points(np.full((30, 30), 90, np.uint8), [(12.0, 14.0)], 4), [(12.0, 14.0)])
    assert saddle_points(np.zeros((30, 30), np.uint8), np.zeros((0, 2)), 4).shape == (0, 2)
