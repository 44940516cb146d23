"""Corners told round from sharp by what sets a shape apart from the ground beside it.

Grain, shadows and marks beside a corner differ in light more than a pale card does from wood, but not in the same way.
So tones on the shape and beside it, along both its sides near a corner, say which mixture of the channels tells the two
apart best (Fisher 1936), and along each ray from the corner's arc's centre the shape ends where that changes: where the
sum of what is like it before, and unlike it behind, is largest (Page 1954).

Where a shape is as grey as the wood, the wood's grain is rougher still: how rough each is tells then, in the same way.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import light
from photonest.model import Photo
from photonest.scale.camera import Array, mapped
from photonest.scale.rectangle import shape_homography

ANGLES = np.radians([15, 30, 45, 60, 75])  # of rays, between the normals of a corner's sides
PLACES = np.linspace(0.2, 1.9, 69)  # along them, over the radius
WITHIN, BEYOND = PLACES < 0.65, PLACES > 1.6
ALONG, ASIDE = np.linspace(1.3, 3.0, 10), np.linspace(0.25, 1.0, 7)  # from a corner, over its radius: tones are learnt
DARK, NOISE = 0.02, 2e-4  # of light, added before its logarithm is taken; least variance of that
USUAL = 0.85  # share of tones from which their spread is taken: marks and dust are left out
APART = 2.0  # standard deviations between shape and ground, from which on they tell
SURELY_APART = 4.0  # from which on how rough they are is not asked
# pixels that roughness is taken over, least variance of it (of the logarithm of light), and the least radius in pixels
# that it tells; what is rough is told from half as far off
ROUGH_PX, LEAST_ROUGH, LEAST_RADIUS_PX = 5, 1e-6, 8.0
LIKE_SHAPE, LIKE_GROUND = 0.15, -0.1  # mean level within a corner and beyond it; between the two it is zero
# over the radius: by how much the middle of a round corner's rays may be off it, each off that, one left out where a
# mark lies on it, and the middle one be longer than the outer two; from which on a corner is sharp; what falls short.
# Of drawn cards' corners 96 in 100 are round so; sharp ones reach 1.15 to 1.35 as far in the middle as to either side
OFF, EVEN, LONGER, SHARP, SHORT = 0.15, 0.1, 0.12, 0.15, 0.8


def round_reaches(photo: Photo, corners: Array, size: tuple[float, float], radius_mm: float) -> Array:
    """Return how far a shape reaches in its corners, over their radius, shape (4, 5); nan where tones don't tell.

    Along rays at 15, 30, 45, 60 and 75 degrees between the sides' normals, from the centres of the corners' arcs.
    """
    width, height = size
    ends = np.array([[0, 0], [width, 0], [width, height], [0, height]], float)[:, None]
    inward = np.array([[1.0, 1], [-1, 1], [-1, -1], [1, -1]])[:, None]
    away = 1 - PLACES[:, None] * np.stack([np.cos(ANGLES), np.sin(ANGLES)], axis=1)[:, None]
    along, aside = (grid.ravel() for grid in np.meshgrid(ALONG, ASIDE))
    own, ground = (np.column_stack([[along, side], [side, along]]).T for side in (aside, -aside))
    mm = ends + radius_mm * inward * np.concatenate([away.reshape(-1, 2), own, ground])
    px = mapped(shape_homography(corners, size), mm.reshape(-1, 2)).astype(np.float32).reshape(4, -1, 2)
    cuts = np.cumsum([len(ANGLES) * len(PLACES), len(own)])
    by_tone, apart = _reaches(*np.split(_tones(photo, px), cuts, axis=1))
    radius_px = radius_mm / width * float(np.linalg.norm(corners[1] - corners[0]))
    if apart.min() > SURELY_APART or radius_px < LEAST_RADIUS_PX:
        return by_tone
    rough, rough_apart = _reaches(*np.split(_roughness(photo, px), cuts, axis=1))
    return np.where((rough_apart > apart)[:, None], rough + ROUGH_PX / 2 / radius_px, by_tone)


def _tones(photo: Photo, px: NDArray[np.float32]) -> Array:
    """Return the logarithms of light at pixels, shape (4, n, 2), as shape (4, n, 3)."""
    import cv2

    seen = cv2.remap(photo.pixels, px[..., 0], px[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.log(light(seen).astype(float) + DARK)


def _roughness(photo: Photo, px: NDArray[np.float32]) -> Array:
    """Return the logarithms of how much light differs about pixels, shape (4, n, 2), as shape (4, n, 1)."""
    import cv2

    frame = np.array(photo.pixels.shape[1::-1])
    rough = np.zeros((*px.shape[:2], 1))
    for corner, at in zip(rough, px, strict=True):
        low = np.clip(np.floor(at.min(axis=0)).astype(int) - ROUGH_PX, 0, frame - 2)
        high = np.clip(np.ceil(at.max(axis=0)).astype(int) + ROUGH_PX, low + 2, frame)
        tone = np.log(light(np.ascontiguousarray(photo.pixels[low[1] : high[1], low[0] : high[0]])).mean(axis=2) + DARK)
        mean, square = (cv2.blur(value, (ROUGH_PX, ROUGH_PX)) for value in (tone, tone**2))
        differs = np.log(np.maximum(square - mean**2, 0) + LEAST_ROUGH) / 2
        x, y = (at - low.astype(np.float32)).T[..., None]
        corner[:] = cv2.remap(differs.astype(np.float32), x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return rough


def _reaches(rays: Array, own: Array, ground: Array) -> tuple[Array, Array]:
    """Return how far a shape reaches in its corners, shape (4, 5), and how far apart it and the ground are there."""
    level, apart = _levels(rays, own, ground)
    level = level.reshape(4, len(ANGLES), len(PLACES))
    told = (level[..., WITHIN].mean(axis=-1) > LIKE_SHAPE) & (level[..., BEYOND].mean(axis=-1) < LIKE_GROUND)
    told &= apart[:, None] > APART
    return np.where(told, PLACES[np.cumsum(level, axis=-1).argmax(axis=-1)], np.nan), apart


def are_round(reaches: Array) -> NDArray[np.bool_]:
    """Return which corners are round by `round_reaches`; one ray may be off where a mark lies on it."""
    usual = np.median(reaches, axis=1)
    even = (np.abs(reaches - usual[:, None]) < EVEN).sum(axis=1) >= len(ANGLES) - 1
    return np.asarray((np.abs(usual - 1) < OFF) & even & (_longer(reaches) < LONGER))


def are_sharp(reaches: Array) -> NDArray[np.bool_]:
    """Return which corners reach farther in the middle than any round one."""
    return np.asarray(_longer(reaches) > SHARP)


def are_cut(reaches: Array) -> NDArray[np.bool_]:
    """Return which corners end short of any of that radius in the middle: rounder, cut off or partly covered."""
    return np.asarray(reaches[:, 2] < SHORT)


def _longer(reaches: Array) -> Array:
    """Return by how much the middle rays reach farther than those to either side."""
    return np.asarray(reaches[:, 2] - reaches[:, [0, 4]].mean(axis=1))


def _levels(rays: Array, own: Array, ground: Array) -> tuple[Array, Array]:
    """Return how like a shape its corners' rays are, shape (4, n): half on it, minus half beside it; how far apart."""
    here, there = np.median(own, axis=1, keepdims=True), np.median(ground, axis=1, keepdims=True)
    change = (here - there)[:, 0]
    spread = _spread(own - here) + _spread(ground - there) + NOISE * np.eye(own.shape[2])
    way = np.linalg.solve(spread, change[..., None])[..., 0]
    apart = np.maximum((change * way).sum(axis=1), 1e-9)
    level = ((rays - there) @ way[..., None])[..., 0] / apart[:, None]
    return level.clip(-0.5, 1.5) - 0.5, np.sqrt(apart)


def _spread(off: Array) -> Array:
    """Return the covariance of each corner's tones, shape (4, k, k), without the least usual ones."""
    far = (off**2).sum(axis=2)
    usual = far <= np.quantile(far, USUAL, axis=1, keepdims=True)
    return np.asarray((off * usual[..., None]).swapaxes(1, 2) @ off / usual.sum(axis=1)[:, None, None])
