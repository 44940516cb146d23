from __future__ import annotations

import numpy as np
import pytest

from photonest import imaging


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
