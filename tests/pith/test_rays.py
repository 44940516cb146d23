from __future__ import annotations

import numpy as np
import pytest

from photonest.imaging import Image
from photonest.pith.rays import REACH, rays_beside, rays_meet, rays_straight

SIZE, RADIUS, PITH = 400, 180.0, np.array([206.0, 190.0])


def rayed(seed: int = 0, rings: float = 0.0) -> Image:
    """Return noisy wood with 150 rays about PITH, and rings as strong as asked; nan outside a disc."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[:SIZE, :SIZE].astype(np.float32)
    way = np.arctan2(y - PITH[1], x - PITH[0]) / (2 * np.pi) % 1
    tones = rng.normal(0, 1, 150).astype(np.float32)
    wood = np.interp(way, (np.arange(152) - 0.5) / 150, [tones[-1], *tones, tones[0]])
    wood += rings * np.sin(np.hypot(x - PITH[0], y - PITH[1])) + rng.normal(0, 0.5, wood.shape)
    return np.where(np.hypot(x - 200, y - 200) < RADIUS, wood, np.nan).astype(np.float32)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("rings", [0.0, 1.0])
def test_rays_meet_at_the_pith(seed: int, rings: float) -> None:
    wood = rayed(seed, rings)
    away = np.random.default_rng(seed).uniform(-0.8, 0.8, 2) * REACH
    # a ray is 2 pi r / 150 wide, 3.8 pixels halfway out: the pith is told to a part of that
    assert np.hypot(*(rays_meet(wood, PITH + away, RADIUS) - PITH)) < 1.0


def test_rays_lie_straight_about_the_pith_alone() -> None:
    wood = rayed()
    assert rays_straight(wood, PITH, RADIUS) > rays_beside(wood, PITH, RADIUS) + 0.2


@pytest.mark.parametrize("holed", [False, True])
def test_a_spoilt_middle_takes_no_part(holed: bool) -> None:
    wood = rayed()
    y, x = np.mgrid[:SIZE, :SIZE]
    middle = np.hypot(x - PITH[0], y - PITH[1]) < 0.09 * RADIUS
    wood[middle] = np.nan if holed else 5.0
    assert rays_straight(wood, PITH, RADIUS) == pytest.approx(rays_straight(rayed(), PITH, RADIUS))


@pytest.mark.parametrize("rings", [0.0, 1.0])
def test_neither_noise_nor_rings_are_rays(rings: float) -> None:
    y, x = np.mgrid[:SIZE, :SIZE]
    noise = np.random.default_rng(1).normal(0, 0.5, x.shape) + rings * np.sin(np.hypot(x - PITH[0], y - PITH[1]))
    assert rays_straight(noise.astype(np.float32), PITH, RADIUS) < 0.05
