"""The direction of the grain on the face of a side-grain blank, from the streaks in the photo."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from photonest.model import FlatPhoto, NotFound, Outline
from photonest.wood.movement import Array

FINE_MM = 0.6
"""Streaks narrower than this are smoothed away: they are noise."""
BLOCK_MM = 15.0
MARGIN_MM = 6.0
LEAST_BLOCKS = 8
LEAST_AGREEMENT = 0.4
"""Least length of the mean of the doubled directions, 1 when all blocks agree. Blocks without any common direction give
about 1 / sqrt(blocks)."""
LEAST_ERROR = 2.0


@dataclass(frozen=True)
class GrainDirection:
    """Which way the grain runs: degrees from x (right) towards y (down), in [0, 180), and its standard error."""

    degrees: float
    standard_error: float
    warnings: tuple[str, ...] = (
        "The grain's direction was read from streaks in the photo: marks of a saw or a sander can be taken for it.",
    )


def grain_direction(flat: FlatPhoto, outline: Outline) -> GrainDirection | NotFound:
    """Return the direction of the grain on the face of a side-grain blank.

    The structure tensor of the grey picture gives each block the direction in which it changes least; the blocks vote
    by how clearly they are streaked (Bigun and Granlund 1987).

    Parameters
    ----------
    flat : FlatPhoto
        The rectified photo.
    outline : Outline
        Of the blank, in the frame of the photo.
    """
    votes = _block_votes(flat, outline)
    if len(votes) < LEAST_BLOCKS:
        return NotFound("the face is too small in the photo to see its grain", "Give the grain's direction.")
    size = np.abs(votes)
    if not size.sum() > 0:
        return NotFound("the face shows no streaks", "Give the grain's direction.")
    agreement = abs(votes.sum()) / size.sum()
    if agreement < LEAST_AGREEMENT:
        return NotFound("the streaks on the face have no common direction", "Give the grain's direction.")
    mean = votes.sum() / abs(votes.sum())
    off = np.angle(votes * np.conj(mean)) / 2
    spread = math.sqrt(float((size * off**2).sum() / size.sum()))
    error = math.hypot(math.degrees(spread) / math.sqrt(len(votes) / 4), LEAST_ERROR)  # neighbours see the same rings
    return GrainDirection(math.degrees(float(np.angle(mean))) / 2 % 180, error)


def _block_votes(flat: FlatPhoto, outline: Outline) -> np.ndarray[tuple[int], np.dtype[np.complex128]]:
    """Return for each block wholly on the wood a vote of doubled angle, its length 0 to 1 by how streaked it is."""
    import shapely
    from scipy.ndimage import gaussian_filter

    side = max(4, round(BLOCK_MM / flat.mm_per_px))
    grey = gaussian_filter(flat.pixels.mean(axis=2, dtype=np.float64), FINE_MM / flat.mm_per_px)
    dy, dx = np.gradient(grey)
    xx, yy, xy = (_block_means(values, side) for values in (dx * dx, dy * dy, dx * dy))
    # Along the streaks the picture changes least, so the doubled angle is that of the gradient turned by 180 degrees.
    turned = -((xx - yy) + 2j * xy)
    votes = turned / np.maximum(xx + yy, 1e-3)
    rows, columns = np.indices(xx.shape)
    middles = flat.to_mm(np.stack([columns, rows], axis=-1).reshape(-1, 2) * side + (side - 1) / 2)
    wood = shapely.Polygon(outline.wood).buffer(-(MARGIN_MM + BLOCK_MM / math.sqrt(2)))
    chosen: np.ndarray[tuple[int], np.dtype[np.complex128]] = votes.reshape(-1)[
        shapely.contains_xy(wood, middles[:, 0], middles[:, 1])
    ]
    return chosen


def _block_means(values: Array, side: int) -> Array:
    rows, columns = (n // side for n in values.shape)
    blocks = values[: rows * side, : columns * side].reshape(rows, side, columns, side)
    means: Array = blocks.mean(axis=(1, 3))
    return means
