"""The finder of the strongest rim, on pictures whose edge is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from photonest.imaging import best_closed_path, mean_diameter, polygon_centroid
from photonest.model import FlatPhoto, NotFound, Outline
from photonest.outline.choice import appeals
from photonest.outline.contour import ContourOutline, apart, candidates, measured
from photonest.outline.parting import Contrast, labelled, unlike_ground
from photonest.outline.polar import closed_paths, evidence, look, prepare

RADIUS, MIDDLE = 90.0, (230.0, 170.0)  # px
MM = 0.5


def picture(radius: float = RADIUS, seed: int = 1, bark: float = 0.0) -> NDArray[np.uint8]:
    """Return a pale ringed disc on a brown grained bench, its soft shadow to the lower right, 400 x 320."""
    rng = np.random.default_rng(seed)
    rows, columns = np.mgrid[:320, :400].astype(float)
    away = np.hypot(columns - MIDDLE[0], rows - MIDDLE[1])
    grain = 12 * np.sin(rows / 3 + 2 * np.sin(columns / 40)) + rng.normal(0, 6, rows.shape)
    bench = np.stack([120 + grain, 85 + grain * 0.8, 55 + grain * 0.6], -1)
    shadow = 1 - 0.6 / (1 + np.exp((np.hypot(columns - MIDDLE[0] - 18, rows - MIDDLE[1] - 18) - radius) / 6))
    rings = 6 * np.sin(away / 2.2) + rng.normal(0, 4, rows.shape)
    wood = np.stack([215 + rings, 185 + rings, 140 + rings], -1)
    rind = np.stack([70 + rings, 52 + rings, 44 + rings], -1)
    inside = np.clip(radius + bark - away + 0.5, 0, 1)[..., None]
    heart = np.clip(radius - away + 0.5, 0, 1)[..., None]
    mixed = bench * shadow[..., None] * (1 - inside) + inside * (heart * wood + (1 - heart) * rind)
    pixels = np.clip(mixed, 0, 255).astype(np.uint8)
    pixels.setflags(write=False)
    out: NDArray[np.uint8] = pixels
    return out


def flat(pixels: NDArray[np.uint8]) -> FlatPhoto:
    """Return it as a flat photo, aimed at the middle of the picture (not of the disc)."""
    height, width = pixels.shape[:2]
    return FlatPhoto(pixels, MM, (10.0, -20.0), (10 + (width - 1) / 2 * MM, -20 + (height - 1) / 2 * MM))


def circle(radius: float = RADIUS) -> NDArray[np.float64]:
    """Return the true edge in mm."""
    angles = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    middle = np.array(MIDDLE) * MM + (10.0, -20.0)
    return np.asarray(middle + radius * MM * np.column_stack([np.cos(angles), np.sin(angles)]))


def found(photo: FlatPhoto) -> Outline:
    """Return what the finder answers, which must be an outline."""
    finder = ContourOutline()
    outline = finder.find(photo, finder.Options())
    assert isinstance(outline, Outline), outline
    return outline


@pytest.mark.parametrize("seed", [1, 2])
def test_finds_the_rim_and_not_the_shadow(seed: int) -> None:
    outline = found(flat(picture(seed=seed)))
    # half a pixel of anti-aliasing and a column of 0.4 % of the radius: well within 0.6 % of the diameter
    assert apart(np.array(outline.points), circle()) < 0.006 * 2 * RADIUS * MM
    assert outline.standard_error > 0
    assert not outline.cut_by_frame


def test_bark_belongs_to_the_piece() -> None:
    outline = found(flat(picture(radius=80, bark=10)))
    assert mean_diameter(outline.points) == pytest.approx(2 * 90 * MM, rel=0.015)


def test_the_answer_goes_with_the_frame() -> None:
    photo = flat(picture())
    moved = found(photo.shifted(100.0, -50.0))
    larger = found(replace(photo, mm_per_px=2 * MM, origin=(20.0, -40.0), aim=(2 * photo.aim[0], 2 * photo.aim[1])))
    first = np.array(found(photo).points)
    np.testing.assert_allclose(np.array(moved.points) - [100.0, -50.0], first, atol=1e-6)
    np.testing.assert_allclose(np.array(larger.points) / 2, first, atol=1e-6)


def test_a_grey_photo_works_too() -> None:
    pixels = np.repeat(picture().mean(axis=2).astype(np.uint8)[..., None], 3, axis=2)
    outline = found(replace(flat(pixels), grey=True))
    # without colour the shadow is the stronger rival: within 1 % of the diameter
    assert apart(np.array(outline.points), circle()) < 0.01 * 2 * RADIUS * MM


def test_says_when_the_frame_cuts_the_piece() -> None:
    pixels = np.ascontiguousarray(picture()[:, 175:])  # the disc begins at column 140
    photo = replace(flat(pixels), aim=(10 + 60 * MM, -20 + 170 * MM))
    assert found(photo).cut_by_frame


def test_the_reference_is_not_taken_for_the_piece() -> None:
    pixels = picture().copy()
    pixels[40:280, 2:120] = 250
    corners = ((11.0, 0.0), (70.0, 0.0), (70.0, 120.0), (11.0, 120.0))
    outline = found(replace(flat(pixels), reference=corners))
    assert apart(np.array(outline.points), circle()) < 0.01 * 2 * RADIUS * MM


def test_nothing_to_see_is_not_found() -> None:
    finder = ContourOutline()
    for pixels in (np.full((300, 400, 3), 128, np.uint8), np.zeros((20, 20, 3), np.uint8)):
        answer = finder.find(flat(pixels), finder.Options())
        assert isinstance(answer, NotFound)
        assert answer.hint


def test_many_closed_paths_at_once_are_those_found_one_by_one() -> None:
    cost = np.random.default_rng(3).random((4, 24, 15)).round(3)
    together = closed_paths(cost, 2, 0.05)
    for table, path in zip(cost, together, strict=True):
        alone = best_closed_path(table, 2, 0.05)
        rows = np.arange(24)
        # equal cost, to single precision: ties may be broken either way
        assert table[rows, path].sum() == pytest.approx(table[rows, alone].sum(), abs=1.0)
        assert np.abs(np.diff(path)).max() <= 2


def test_evidence_peaks_at_the_rim() -> None:
    ground = prepare(flat(picture()), 400)
    rays = look(ground, np.array([MIDDLE]), 20.0, 140.0, 90, 0.02)
    peak = rays.radii[evidence(rays)[0].mean(axis=0).argmax()] * np.exp(0.01)
    assert peak == pytest.approx(RADIUS, rel=0.02)  # a column


def test_the_ground_is_told_from_the_piece() -> None:
    ground = prepare(flat(picture()), 400)
    rays = look(ground, np.array([MIDDLE]), 40.0, 150.0, 90, 0.02)
    rim = np.full(90, int(np.searchsorted(rays.radii, RADIUS)))
    ratio = unlike_ground(rays, labelled(rays, 20), rim, Contrast())
    assert ratio[:, rays.radii < 0.9 * RADIUS].mean() > 0.5
    assert ratio[:, rays.radii > 1.3 * RADIUS].mean() < -0.5


def test_the_true_rim_appeals_most() -> None:
    photo = flat(picture())
    ground = prepare(photo, 256)
    true = circle()
    middle = polygon_centroid(true)
    others = [measured(photo, middle + (true - middle) * k + shift) for k, shift in ((0.6, 0), (1.2, 0), (1, 12.0))]
    score = appeals(ground, [measured(photo, true), *others])
    assert score.argmax() == 0
    assert len(candidates(ground)) > 10
