from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from photonest import imaging
from photonest.model import FlatPhoto


def flat_of(height: int, width: int) -> FlatPhoto:
    y, x = np.mgrid[:height, :width]
    ramp = np.dstack([x * 200 / width, y * 200 / height, x * 0 + 90]).astype(np.uint8)
    return FlatPhoto(ramp, 0.4, (-10.0, 5.0), (0.0, 0.0), covered=np.ones((height, width), bool))


@settings(max_examples=25)
@given(st.integers(60, 240), st.integers(60, 240), st.integers(20, 200))
def test_reduced_keeps_every_place(height: int, width: int, longest: int) -> None:
    flat = flat_of(height, width)
    small = imaging.reduced(flat, longest)
    assert max(small.pixels.shape[:2]) <= max(longest, 1)
    assert small.covered is not None and small.covered.shape == small.pixels.shape[:2]
    # The red ramp tells where in mm a pixel lies: its middle must agree to a reduced pixel plus the ramp's rounding.
    row, column = small.pixels.shape[0] // 2, small.pixels.shape[1] // 2
    place = flat.to_px(small.to_mm([[column, row]]))[0]
    seen = small.pixels[row, column].astype(float) * np.array([width, height, 1]) / 200
    assert abs(seen[0] - place[0]) < 0.75 * max(width / 200, 1) + 0.6
    assert abs(seen[1] - place[1]) < 0.75 * max(height / 200, 1) + 0.6


def test_cropped_is_the_same_picture_elsewhere() -> None:
    flat = flat_of(100, 120)
    part = imaging.cropped(flat, (0.0, 10.0), (20.0, 30.0))
    x, y = flat.to_px(part.to_mm([[3, 4]]))[0]
    assert (part.pixels[4, 3] == flat.pixels[round(y), round(x)]).all()
    assert imaging.cropped(flat, (900.0, 900.0), (901.0, 901.0)).pixels.shape[:2] == (1, 1)


def test_polygon_measures_agree_with_shapely() -> None:
    rng = np.random.default_rng(0)
    angle = np.sort(rng.uniform(0, 2 * np.pi, 40))
    points = np.column_stack([np.cos(angle), np.sin(angle)]) * rng.uniform(5, 9, (40, 1)) + [30, -20]
    polygon = shapely.Polygon(points)
    assert imaging.polygon_area(points) == pytest.approx(polygon.area)
    assert imaging.polygon_centroid(points) == pytest.approx([polygon.centroid.x, polygon.centroid.y])
    assert imaging.mean_diameter(points) == pytest.approx(2 * np.sqrt(polygon.area / np.pi))


def test_mask_has_the_polygons_area() -> None:
    angle = np.arange(200) * 2 * np.pi / 200
    ring = np.column_stack([60 + 40 * np.cos(angle), 50 + 40 * np.sin(angle)])
    # OpenCV counts the pixels its edge runs through as inside: up to half a pixel all round.
    assert imaging.polygon_mask(ring, (100, 120)).sum() == pytest.approx(np.pi * 40**2, rel=0.03)


def test_wide_blurs_match_the_gaussian_itself() -> None:
    from scipy.ndimage import gaussian_filter

    image = np.random.default_rng(1).normal(size=(120, 140)).astype(np.float32)
    image[40:80, 50:90] += 5
    for sigma in (2.0, 9.0):
        truth = gaussian_filter(image, sigma, mode="reflect")
        assert np.abs(imaging.blurred(image, sigma) - truth)[20:-20, 20:-20].max() < 0.12  # of a step of 5


def test_blur_within_a_mask_ignores_what_is_outside() -> None:
    image = np.full((60, 60), 7.0, np.float32)
    weight = np.zeros((60, 60), np.float32)
    weight[20:40, 20:40] = 1
    image[weight == 0] = 1000
    assert imaging.blurred_within(image, weight, 3.0)[20:40, 20:40] == pytest.approx(7.0, abs=1e-3)


def test_orientation_of_waves_is_theirs() -> None:
    rows, columns = np.mgrid[:80, :80]
    for degrees in (0, 30, 77, 120):
        way = np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
        seen = imaging.orientation(np.sin((columns * way[0] + rows * way[1]) * 0.8).astype(np.float32), 1.0, 4.0)
        x, y = seen.across()
        dot = abs(x[40, 40] * way[0] + y[40, 40] * way[1])
        assert np.degrees(np.arccos(min(dot, 1.0))) < 1.0
        assert seen.coherence[40, 40] > 0.95


def test_orientation_of_squares_is_that_of_their_pixels() -> None:
    y, x = np.mgrid[:62, :80]
    waves = np.sin((0.6 * x + 0.8 * y) * 0.8).astype(np.float32)
    squares, pixels = (imaging.orientation(waves, 1.0, 6.0, step) for step in (3, 1))
    assert squares.energy.shape == (20, 26)
    for one, every in zip(squares, pixels, strict=True):
        assert np.abs(one - every[1:60:3, 1:78:3])[4:-4, 4:-4].max() < 0.02


def test_regular_marks_go_and_rings_stay() -> None:
    y, x = np.mgrid[:200, :200]
    rings = np.sin(np.hypot(x - 100, y - 90) * 0.7)
    marks = 3 * np.sin(x * 0.9)
    clean = imaging.without_regular_marks((rings + marks).astype(np.float32))
    assert np.corrcoef(clean.ravel(), rings.ravel())[0, 1] > 0.85
    assert abs(np.corrcoef(clean.ravel(), marks.ravel())[0, 1]) < 0.3


@pytest.mark.parametrize("sharp", [False, True])
def test_a_reduced_picture_keeps_its_brightness(sharp: bool) -> None:
    noisy = np.random.default_rng(3).integers(60, 200, (301, 453, 3), dtype=np.uint8)
    flat = FlatPhoto(noisy, 0.4, (0.0, 0.0), (0.0, 0.0))
    for small in (imaging.reduced(flat, 70, sharp=sharp), imaging.averaged(flat, 70)):
        assert max(small.pixels.shape[:2]) == 70
        assert small.pixels.mean() == pytest.approx(noisy.mean(), abs=1.0)
        assert small.pixels.std() < noisy.std() / 2


@settings(max_examples=20)
@given(st.integers(0, 1000))
def test_best_closed_path_is_the_cheapest(seed: int) -> None:
    import itertools

    cost = np.random.default_rng(seed).uniform(size=(6, 4))
    found = imaging.best_closed_path(np.tile(cost, (4, 1)), 1)  # four rounds: the seam's choice can't matter
    paths = itertools.product(range(4), repeat=6)
    closed = [p for p in paths if all(abs(p[k] - p[k - 1]) <= 1 for k in range(6))]
    cheapest = min(cost[range(6), p].sum() for p in closed)
    middle = found[6:18]
    assert np.abs(np.diff(found)).max() <= 1
    # Two rounds between open ends can only be cheaper than twice the cheapest closed one, by at most one row each end.
    assert np.tile(cost, (2, 1))[range(12), middle].sum() <= 2 * cheapest + 2


def test_evenly_spaces_points() -> None:
    ring = imaging.evenly(np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 1.0], [0.0, 1.0]]), 16)
    steps = np.hypot(*np.diff(np.vstack([ring, ring[:1]]), axis=0).T)
    assert steps == pytest.approx(np.full(16, 0.5))


def test_flattening_leaves_rings_in_a_stained_heart_and_no_line_along_its_edge() -> None:
    y, x = np.mgrid[:200, :200]
    rings = 10 * np.sin(np.hypot(x - 100, y - 100) * 2 * np.pi / 8)
    stained = (150 + rings - 60 * (x > 120)).astype(np.float32)
    flat = imaging.flattened(stained, np.ones((200, 200), bool), 8.0)
    plain = imaging.flattened((150 + rings).astype(np.float32), np.ones((200, 200), bool), 8.0)
    edge, away = np.s_[20:180, 112:130], np.s_[20:180, 60:100]
    assert np.abs(flat[away]).mean() > 0.6  # the contrast of a sine of unit power is 0.9
    assert np.abs(flat[edge]).max() <= 2.5
    assert np.abs(flat[edge]).mean() < 1.6 * np.abs(plain[edge]).mean()
