from __future__ import annotations

import numpy as np
import pytest

from photonest.cracks.profiles import are_light, normals, profiles, resampled


@pytest.mark.parametrize("opening", [0.7, 1.2, 2.0, 4.0, 7.0])
def test_opening_and_middle_of_a_drawn_slot(opening: float) -> None:
    rows = np.arange(120)[:, None] * np.ones((1, 200))
    share = np.clip(opening / 2 - np.abs(rows - 60.3) + 0.5, 0, 1)
    grey = np.round(180 - 140 * share).astype(np.uint8)
    path = np.column_stack([np.linspace(20, 180, 50), np.full(50, 62.0)])
    seen = profiles(grey, [path], reach=16, slack=4, light=False)[0]
    # the middle is followed in whole pixels and smoothed: half a pixel; half depth of a box is its own width, and the
    # light taken by a narrow one, 140 of 180, is within a fifth of what is taken for granted
    assert np.abs(seen.path[:, 1] - 60.3).max() < 1.0
    assert float(np.median(seen.width)) == pytest.approx(opening, abs=0.5)
    assert seen.length == pytest.approx(160, rel=0.02)


def test_normals_are_unit_and_across() -> None:
    angle = np.linspace(0, 1.5, 40)
    path = 50 * np.column_stack([np.cos(angle), np.sin(angle)])
    across = normals(path)
    assert np.hypot(*across.T) == pytest.approx(np.ones(40))
    # normals of a circle are its radii; the ends are one-sided differences over 1.5/39 rad
    assert np.abs((across * path).sum(axis=1) / 50) == pytest.approx(np.ones(40), abs=1e-3)


def test_resampling_keeps_both_ends_and_the_length_of_a_bend() -> None:
    path = np.array([[0.0, 0.0], [30.0, 0.0], [60.0, 20.0], [90.0, 20.0]])
    even = resampled(path, 2.0, 10.0)
    assert even[0] == pytest.approx(path[0])
    assert even[-1] == pytest.approx(path[-1])
    chord = float(np.hypot(*np.diff(path, axis=0).T).sum())
    assert float(np.hypot(*np.diff(even, axis=0).T).sum()) == pytest.approx(chord, rel=0.03)


def test_lines_measured_together_are_measured_as_alone() -> None:
    grey = np.random.default_rng(4).integers(120, 140, (200, 200)).astype(np.uint8)
    grey[:, 80:83] = grey[:, 140:142] = 40
    paths = [np.column_stack([np.full(40, x), np.linspace(20, 170, 40)]) for x in (81.0, 139.0)]
    together = profiles(grey, paths, reach=10, slack=3, light=False)
    for path, seen in zip(paths, together, strict=True):
        alone = profiles(grey, [path], reach=10, slack=3, light=False)[0]
        assert seen.path == pytest.approx(alone.path)
        assert seen.width == pytest.approx(alone.width)


def test_a_line_is_told_dark_or_light_by_the_wood_beside_it() -> None:
    grey = np.random.default_rng(5).integers(120, 140, (200, 200)).astype(np.uint8)
    grey[:, 60:63], grey[:, 140:142] = 60, 220
    grey[:, :30] = 250  # a light patch that a line's neighbourhood only touches
    paths = [np.column_stack([np.full(40, x), np.linspace(20, 170, 40)]) for x in (62.5, 139.0)]
    assert are_light(grey, paths, reach=10, slack=3) == [False, True]
    assert are_light(grey, [], reach=10, slack=3) == []
