from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from photonest.imaging import luminance, orientation
from photonest.outline.regions import Star, best_edge, clusters, log_ratio, prepare, recentred, ring_middle
from tests.outline.scenes import blob, distances, painted, photo


def test_log_ratio_is_that_of_the_shares_and_odd() -> None:
    a, b = np.array([90, 9, 0]), np.array([0, 9, 90])
    ratio = log_ratio(a, b, 9.0)
    assert ratio[0] == pytest.approx(np.log(91.0))  # 91/102 over 1/102
    assert ratio[1] == pytest.approx(0.0)
    assert log_ratio(b, a, 9.0) == pytest.approx(-ratio)
    assert np.abs(log_ratio(a, b, 2.0)).max() == 2.0


def test_clusters_part_what_is_far_apart_and_are_the_same_each_time() -> None:
    rng = np.random.default_rng(3)
    truth = rng.integers(0, 3, (40, 50))
    layers = (np.array([[0, 10, 0], [0, 0, 10]])[:, truth] + rng.normal(size=(2, 40, 50)) * 0.3).astype(np.float32)
    labels = clusters(layers, 3)
    for k in range(3):
        assert len(np.unique(labels[truth == k])) == 1
    assert (labels == clusters(layers, 3)).all()


@settings(max_examples=30)
@given(st.floats(-0.3, 0.3), st.floats(-0.3, 0.3), st.floats(20, 90))
def test_recentring_keeps_a_circle(dx: float, dy: float, radius: float) -> None:
    angle = np.arange(180) * 2 * np.pi / 180
    # A circle of that radius about (dx, dy) * radius, seen from the origin.
    along = radius * (dx * np.cos(angle) + dy * np.sin(angle))
    across = radius * (dx * np.sin(angle) - dy * np.cos(angle))
    star = recentred(Star(np.zeros(2), along + np.sqrt(radius**2 - across**2)))
    assert np.hypot(*(star.middle - radius * np.array([dx, dy]))) < 0.01 * radius
    assert np.abs(star.radii / radius - 1).max() < 0.01  # chords of 2 degrees


def test_middle_of_the_rings_on_a_bench_with_strong_grain() -> None:
    rng = np.random.default_rng(0)
    pixels = painted((256, 320), blob((150, 130), 80), (160, 120), ground=(150, 120, 90), pitch=6)
    grain = np.repeat(rng.normal(size=(256, 1)), 320, axis=1)
    bench = np.hypot(np.arange(320)[None, :] - 150, np.arange(256)[:, None] - 130) > 90
    pixels = np.clip(pixels + (bench * grain * 25)[..., None], 0, 255).astype(np.uint8)
    lines = orientation(luminance(pixels), 1.0, 2.0)
    middle = ring_middle(lines, np.ones((256, 320), bool), np.array([160.0, 128.0]))
    assert np.hypot(*(middle - [160, 120])) < 8  # the grid's step is 5 px


def test_heartwood_is_no_edge() -> None:
    line = blob((128, 120), 95)
    pixels = painted((240, 256), line, (130, 118), ground="moss", pitch=6)
    y, x = np.mgrid[:240, :256]
    heart = np.hypot(x - 130, y - 118) < 50
    pixels[heart] = (pixels[heart] * np.array([0.75, 0.5, 0.42])).astype(np.uint8)
    flat = photo(pixels)
    best = best_edge(prepare(flat, np.ones((240, 256), bool), np.array([128.0, 120.0])), np.array([128.0, 120.0]))
    assert distances(best.star.points(), line).mean() < 4  # heartwood would be 45 px off
