"""The one place where pixels become millimetres."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from skimage.transform import ProjectiveTransform

from photonest.model import Lens, Photo, Scale
from photonest.photo import frozen_pixels
from photonest.rectify import (
    distort,
    flatten,
    jacobian,
    map_points,
    matrix_rows,
    mm_to_photo,
    photo_to_mm,
    undistort,
    upright,
)

WIDTH, HEIGHT, FOCAL = 1200, 900, 1100.0


def seen_from(tilt: float, turn: float, spin: float, distance: float = 700.0) -> NDArray[np.float64]:
    """Homography from mm in the plane to pixels of a pinhole camera, tilted about an axis in its picture."""
    axis = np.array([math.cos(turn), math.sin(turn), 0.0])
    cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    rotation = np.eye(3) + math.sin(tilt) * cross + (1 - math.cos(tilt)) * cross @ cross
    spinning = np.array([[math.cos(spin), -math.sin(spin), 0], [math.sin(spin), math.cos(spin), 0], [0, 0, 1]])
    pose = np.column_stack([(rotation @ spinning)[:, :2], [0, 0, distance]])
    camera = np.array([[FOCAL, 0, WIDTH / 2], [0, FOCAL, HEIGHT / 2], [0, 0, 1]])
    return np.asarray(camera @ pose)


def scale_of(mm_to_px: NDArray[np.float64], lens: Lens | None = None) -> Scale:
    return Scale("drawn", matrix_rows(np.asarray(np.linalg.inv(mm_to_px), dtype=np.float64)), 0.1, 0.5, lens)


angles = st.floats(0, math.radians(35))
turns = st.floats(-math.pi, math.pi)


@given(angles, turns, turns)
def test_homographies_agree_with_an_independent_library(tilt: float, turn: float, spin: float) -> None:
    matrix = np.linalg.inv(seen_from(tilt, turn, spin))
    points = np.array([[10.0, 20.0], [600.0, 450.0], [1190.0, 880.0]])
    reference = ProjectiveTransform(matrix)(points)  # scikit-image
    assert map_points(matrix, points) == pytest.approx(reference, abs=1e-9)


@given(angles, turns, turns, st.floats(-0.15, 0.15))
def test_there_and_back(tilt: float, turn: float, spin: float, k1: float) -> None:
    lens = Lens(FOCAL, (WIDTH / 2, HEIGHT / 2), k1)
    scale = scale_of(seen_from(tilt, turn, spin), lens)
    points = np.array([[-80.0, 60.0], [0.0, 0.0], [120.0, 90.0]])
    # undistorting is iterative in OpenCV: a few thousandths of a pixel remain
    assert photo_to_mm(scale, mm_to_photo(scale, points)) == pytest.approx(points, abs=0.02)


@given(angles, turns, turns)
def test_upright_keeps_lengths_and_points_x_to_the_right(tilt: float, turn: float, spin: float) -> None:
    scale = scale_of(seen_from(tilt, turn, spin))
    aim = (WIDTH / 2, HEIGHT / 2)
    turned = upright(scale, aim)
    pixels = np.array([[200.0, 300.0], [900.0, 650.0]])
    before, after = photo_to_mm(scale, pixels), photo_to_mm(turned, pixels)
    assert math.dist(*after) == pytest.approx(math.dist(*before), rel=1e-9)
    assert photo_to_mm(turned, aim)[0] == pytest.approx([0, 0], abs=1e-9)
    derivative = jacobian(turned.px_to_mm, aim)
    assert derivative == pytest.approx(derivative.T, abs=1e-12)  # a pure stretch: no turn is left


def drawn(mm_to_px: NDArray[np.float64], lens: Lens | None, dots: NDArray[np.float64]) -> Photo:
    """A photo of white discs, 3 mm across, about known points of the plane."""
    columns, rows = np.meshgrid(np.arange(WIDTH, dtype=float), np.arange(HEIGHT, dtype=float))
    pixels = np.column_stack([columns.ravel(), rows.ravel()])
    mm = map_points(np.linalg.inv(mm_to_px), undistort(pixels, lens))
    away = np.sqrt(((mm[:, None] - dots[None]) ** 2).sum(axis=2)).min(axis=1)
    grey = np.clip(0.5 + (3.0 - away) / 0.6, 0, 1).reshape(HEIGHT, WIDTH)
    return Photo(frozen_pixels(np.repeat((grey * 255).astype(np.uint8)[:, :, None], 3, axis=2)), "dots.png", "0" * 64)


@pytest.mark.parametrize("k1", [None, -0.08, 0.05])
def test_points_of_the_plane_lie_where_the_flat_photo_says(k1: float | None) -> None:
    lens = None if k1 is None else Lens(FOCAL, (WIDTH / 2 - 5, HEIGHT / 2 + 3), k1)
    mm_to_px = seen_from(math.radians(20), 0.7, 0.4)
    dots = np.array([[-120.0, -60.0], [0.0, 0.0], [130.0, 90.0], [-80.0, 110.0]])
    photo = drawn(mm_to_px, lens, dots)
    aim = (WIDTH / 2, HEIGHT / 2)
    scale = upright(scale_of(mm_to_px, lens), aim)
    flat = flatten(photo, scale, aim)
    known = photo_to_mm(scale, mm_to_photo(scale_of(mm_to_px, lens), dots))
    for x, y in known:
        column, row = flat.to_px([[x, y]])[0]
        window = flat.pixels[round(row) - 12 : round(row) + 13, round(column) - 12 : round(column) + 13, 0].astype(
            float
        )
        rows, columns = np.mgrid[round(row) - 12 : round(row) + 13, round(column) - 12 : round(column) + 13]
        centre: Any = (window * columns).sum() / window.sum(), (window * rows).sum() / window.sum()
        assert flat.to_mm([centre])[0] == pytest.approx([x, y], abs=0.05)  # a tenth of a pixel


def test_a_flat_photo_keeps_its_pixels() -> None:
    photo = drawn(np.diag([2.0, 2.0, 1.0]), None, np.array([[100.0, 100.0]]))
    scale = Scale("by-hand", ((0.5, 0, -3), (0, 0.5, 4), (0, 0, 1)), 1.0, 0.5)
    flat = flatten(photo, scale, (600.0, 450.0))
    assert flat.pixels is photo.pixels
    assert flat.to_mm([[0, 0]])[0] == pytest.approx([-3, 4])


def test_a_flat_photo_tells_where_the_camera_stood_and_keeps_it_when_moved() -> None:
    tilt, distance = math.radians(20), 700.0
    mm_to_px, middle = seen_from(tilt, 0.7, 0.4, distance), (WIDTH / 2, HEIGHT / 2)
    # what stands square on the plane vanishes where the foot of the camera is seen: K (r1 x r2)
    camera = np.array([[FOCAL, 0, middle[0]], [0, FOCAL, middle[1]], [0, 0, 1]])
    pose = np.linalg.inv(camera) @ mm_to_px
    foot = camera @ np.cross(pose[:, 0], pose[:, 1])
    foot_px = (float(foot[0] / foot[2]), float(foot[1] / foot[2]))
    known = replace(scale_of(mm_to_px), foot_px=foot_px, distance_mm=distance * math.cos(tilt))
    photo = drawn(mm_to_px, None, np.array([[0.0, 0.0]]))
    assert flatten(photo, upright(scale_of(mm_to_px), middle), middle).camera is None
    flat = flatten(photo, upright(known, middle), middle)
    assert flat.camera is not None
    # the camera looks at the middle, 700 mm away at 20 degrees
    assert math.dist(flat.camera[:2], flat.aim) == pytest.approx(distance * math.sin(tilt), rel=1e-6)
    assert flat.camera[2] == pytest.approx(distance * math.cos(tilt))
    moved = flat.shifted(3.0, -4.0)
    assert moved.camera == pytest.approx((flat.camera[0] + 3.0, flat.camera[1] - 4.0, flat.camera[2]))


def test_a_steep_photo_leaves_its_far_end_out_instead_of_exploding() -> None:
    photo = drawn(np.diag([2.0, 2.0, 1.0]), None, np.array([[0.0, 0.0]]))
    steep = upright(scale_of(seen_from(math.radians(62), 0.0, 0.0)), (WIDTH / 2, HEIGHT / 2))
    flat = flatten(photo, replace(steep), (WIDTH / 2, HEIGHT / 2))
    assert flat.pixels.shape[0] * flat.pixels.shape[1] < 37_000_000


def test_distortion_follows_its_formula() -> None:
    lens = Lens(1000.0, (500.0, 400.0), 0.1, 0.02)
    # at 0.3 focal lengths off the centre: 300 (1 + 0.1 x 0.09 + 0.02 x 0.0081)
    assert distort([[800.0, 400.0]], lens)[0] == pytest.approx([500 + 300 * (1 + 0.009 + 0.000162), 400])
