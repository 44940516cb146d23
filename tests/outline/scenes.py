"""Small faces painted from formulas, for tests of the outline and the pith."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from photonest.model import FlatPhoto, Outline
from photonest.planar import mean_diameter

Array = NDArray[np.float64]
WHITE, GREEN = (255, 255, 255), (60, 95, 70)


def photo(pixels: NDArray[np.uint8], mm_per_px: float = 0.5, aim_px: tuple[float, float] | None = None) -> FlatPhoto:
    """Return the pixels as a flat photo, its origin away from zero, aimed at its middle."""
    height, width = pixels.shape[:2]
    origin = (-17.0, 9.0)
    x, y = aim_px or ((width - 1) / 2, (height - 1) / 2)
    grey = bool((pixels.max(axis=2) == pixels.min(axis=2)).all())
    aim = (origin[0] + x * mm_per_px, origin[1] + y * mm_per_px)
    return FlatPhoto(pixels, mm_per_px, origin, aim, grey=grey)


def blob(
    middle: tuple[float, float], radius: float, waves: tuple[float, ...] = (0.04, 0.02), points: int = 720
) -> Array:
    """Return a wavy closed line in pixels about a middle."""
    angle = np.arange(points) * 2 * np.pi / points
    reach = radius * (1 + sum(w * np.cos((k + 2) * angle + k) for k, w in enumerate(waves)))
    return np.column_stack([middle[0] + reach * np.cos(angle), middle[1] + reach * np.sin(angle)])


def painted(
    shape: tuple[int, int],
    outline: Array,
    pith: tuple[float, float],
    *,
    ground: tuple[int, int, int] | str = WHITE,
    pitch: float = 9.0,
    drift: tuple[float, float] = (0.0, 0.0),
    bark: Array | None = None,
    noise: float = 4.0,
    seed: int = 0,
) -> NDArray[np.uint8]:
    """Return a face with rings about the pith, painted with four samples a pixel each way at its edge.

    The innermost rings are centred on the pith, the outer ones drift with the square of their radius, by `drift` times
    it at half the photo's height; `bark` is the line of the wood within an outline that holds dark bark.
    """
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[: shape[0], : shape[1]].astype(float)
    dx, dy = x - pith[0], y - pith[1]
    rho, reach = np.hypot(dx, dy), 0.5 * min(shape)
    for _ in range(12):  # a contraction while the drift stays below a half
        bend = np.minimum(rho, 2 * reach) ** 2 / reach
        rho = np.hypot(dx - drift[0] * bend, dy - drift[1] * bend)
    tone = 175 + 28 * np.sin(2 * np.pi * rho / pitch)
    wood = tone[..., None] * np.array([1.0, 0.8, 0.58])
    if bark is not None:
        dark = 55 + 18 * rng.normal(size=shape)
        cover = coverage(bark, shape)[..., None]
        wood = wood * cover + dark[..., None] * np.array([1.0, 0.85, 0.75]) * (1 - cover)
    cover = coverage(outline, shape)[..., None]
    picture = wood * cover + background(shape, ground, rng) * (1 - cover) + noise * rng.normal(size=(*shape, 3))
    if ground == WHITE:
        picture = np.where(cover == 0, 255.0, picture)
    return np.asarray(np.clip(picture, 0, 255), np.uint8)


def background(shape: tuple[int, int], ground: tuple[int, int, int] | str, rng: np.random.Generator) -> Array:
    """Return a plain colour, or mottled ``"moss"``."""
    import cv2

    if not isinstance(ground, str):
        return np.asarray(np.ones((*shape, 3)) * np.array(ground, float))
    coarse = cv2.resize(rng.normal(size=(shape[0] // 12, shape[1] // 12)), shape[::-1], interpolation=cv2.INTER_CUBIC)
    return np.asarray(np.clip((110 + 35 * coarse)[..., None] * np.array([0.6, 0.9, 0.5]), 0, 255))


def coverage(outline: Array, shape: tuple[int, int]) -> Array:
    """Return how much of each pixel a closed line in pixels covers, by sixteen samples."""
    import cv2

    fine = np.zeros((shape[0] * 4, shape[1] * 4), np.uint8)
    # Sub-pixel k of a pixel lies at (k - 1.5) / 4 from its centre.
    cv2.fillPoly(fine, [np.round((outline * 4 + 1.5) * 16).astype(np.int32)], 1, shift=4)
    return np.asarray(fine.reshape(shape[0], 4, shape[1], 4).mean(axis=(1, 3)))


def distances(found: Array, truth: Array) -> Array:
    """Return the distances from 720 even places of one closed line to another."""
    import shapely

    line, ring = shapely.LinearRing(found), shapely.LinearRing(truth)
    places = shapely.line_interpolate_point(line, np.arange(720) / 720, normalized=True)
    return np.asarray(shapely.distance(places, ring))


def found_by(finder: Any, flat: FlatPhoto) -> Outline:
    """Return the outline that a finder finds, its lines valid and one within the other."""
    import shapely

    outline = finder.find(flat, finder.Options())
    assert isinstance(outline, Outline)
    polygon = shapely.Polygon(outline.points)
    assert polygon.is_valid
    if outline.under_bark is not None:
        assert shapely.Polygon(outline.under_bark).is_valid
        assert polygon.buffer(0.02 * mean_diameter(outline.points)).covers(shapely.Polygon(outline.under_bark))
    return outline
