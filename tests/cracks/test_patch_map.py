"""The network for defects finds what was drawn, where it was drawn, and the same any way up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from photonest.cracks.patch_map import DIAMETER_PX, KINDS, Likeness, likeness
from photonest.model import FlatPhoto, Outline
from tests.cracks.scenes import CENTRE, MM_PER_PX, SIZE, face, outline, pith
from tests.drawn import draw
from tests.drawn.camera import CameraSpec
from tests.drawn.defects import DefectSpec
from tests.drawn.spec import SceneSpec
from tests.drawn.wood import WoodSpec

HOLE, RADIUS = (330.0, 190.0), 12.0  # px
CAMERA = CameraSpec(width=600, height=600, focal_px=600.0, distance=400.0, noise=0.0, blur_px=0.3)
WOOD = WoodSpec(seed=3, look="birch", diameter=300.0, heart=0.0, bark=0.0)


def drilled() -> FlatPhoto:
    y, x = np.mgrid[:SIZE, :SIZE]
    share = np.clip(RADIUS - np.hypot(x - HOLE[0], y - HOLE[1]) + 0.5, 0, 1)[..., None]
    flat = face()
    return replace(flat, pixels=(flat.pixels * (1 - share) + 18 * share).astype(np.uint8))


def at(seen: Likeness, shares: NDArray[np.float32], px: tuple[float, float]) -> NDArray[np.float32]:
    """What the network makes of a place of the photo, in its pixels."""
    x, y = np.round(seen.flat.to_px(np.array([px]) * MM_PER_PX)[0]).astype(int)
    return np.asarray(shares[:, y, x])


def test_a_hole_is_likened_to_one_and_clean_wood_to_nothing() -> None:
    seen = likeness(drilled(), outline(), pith())
    assert at(seen, seen.near, HOLE)[KINDS.index("hole")] > 0.8
    away = 2 * CENTRE[0] - HOLE[0], 2 * CENTRE[1] - HOLE[1]
    assert at(seen, seen.near, away).sum() < 0.2


def test_the_looks_from_near_and_afar_lie_upon_each_other() -> None:
    seen = likeness(drilled(), outline(), pith())
    assert seen.near.shape == seen.far.shape
    middles = []
    for shares in (seen.near, seen.far):
        x, y = seen.flat.to_px(np.array([HOLE]) * MM_PER_PX)[0].astype(int)
        window = shares[:, y - 30 : y + 31, x - 30 : x + 31].sum(axis=0)
        rows, columns = np.nonzero(window > 0.5 * window.max())
        middles.append(seen.flat.to_mm([(columns.mean() + x - 30, rows.mean() + y - 30)])[0])
    # A pixel of the look from afar, at half its size, shows over two hundredths of a piece 420 pixels across.
    assert middles[1] == pytest.approx(middles[0], abs=2 * SIZE / 420 * MM_PER_PX)


def test_a_large_photo_is_looked_at_reduced_and_nothing_is_found_outside_the_wood() -> None:
    flat = drilled()
    pixels = np.repeat(np.repeat(flat.pixels, 3, axis=0), 3, axis=1)
    seen = likeness(replace(flat, pixels=pixels, mm_per_px=MM_PER_PX / 3), outline(), None)
    assert seen.diameter_px == pytest.approx(DIAMETER_PX / 2, rel=0.01)
    assert seen.wood.mean() < 0.8  # of the square about a disc


def test_what_is_drawn_is_likened_to_its_kind() -> None:
    specs = (
        DefectSpec("knot", (60.0, -30.0), 40.0, 30.0, 30.0, colour=(0.95, 0.88, 0.8), rim=0.8, seed=2),
        DefectSpec("decay", (-60.0, -40.0), 70.0, 50.0, 30.0, colour=(0.6, 0.46, 0.36), rim=0.0, seed=1, sort="brown"),
        DefectSpec("bark", (20.0, 70.0), 40.0, 12.0, 30.0, colour=(0.2, 0.15, 0.12), seed=1),
    )
    drawn = draw(SceneSpec(wood=WOOD, defects=specs, camera=CAMERA))
    unit = drawn.truth.mm_per_px
    edge = drawn.truth.mm_to_px(drawn.truth.under_bark_mm[::16]) * unit
    flat = FlatPhoto(drawn.pixels, unit, (0.0, 0.0), (0.0, 0.0))
    seen = likeness(flat, Outline(tuple((float(x), float(y)) for x, y in edge)), None)
    for spec in specs:
        x, y = seen.flat.to_px(drawn.truth.mm_to_px([spec.middle]) * unit)[0].round().astype(int)
        there = (seen.near + seen.far)[:, y - 3 : y + 4, x - 3 : x + 4].mean(axis=(1, 2)) / 2
        assert there.argmax() == KINDS.index(spec.kind)
        assert there.sum() > 0.5
