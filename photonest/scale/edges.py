"""Straight edges in a photo, below a pixel.

A blurred edge lies at its true place in linear light; in the file's own values it moves into the dark side. So every
sample is taken back to light first. Where an edge lies is read off the area under its profile, averaged over a short
piece of the edge; blur does not change that area.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.scale.camera import Array

LEAST_ERROR_PX = 0.04  # standard error of a piece of an edge, however well the pieces agree
STRIPS = 4  # that an edge is read in
PIECES = 28  # a side is cut into
THIN = 3  # times fewer lines across an edge are read while it is only being found
LEAST_GOOD = 0.3  # of the pieces must agree
LEAST_CHANGE = 0.006  # of light across an edge
CLEAR = 4.0  # times its standard error that the mean change along an edge must be


class Edge(NamedTuple):
    """What is seen of a side: points on it, shape (n, 2), their standard error in pixels, the share of it in sight."""

    px: Array
    error_px: float
    share: float


def light(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return linear light, 0 to 1, of sRGB values (IEC 61966-2-1)."""
    import cv2

    value = np.arange(256) / 255
    table = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4).astype(np.float32)
    out: NDArray[np.float32] = cv2.LUT(pixels, table)
    return out


def coarse_edge(pixels: NDArray[np.uint8], ends: ArrayLike, reach_px: float) -> tuple[Array, float] | None:
    """Return the ends of an edge moved onto the strongest straight edge near it, and the share of it that agrees.

    Parameters
    ----------
    ends : array_like, shape (2, 2)
        About where the edge starts and ends, in pixels.
    reach_px : float
        How far off it may lie.
    """
    start, end = np.asarray(ends, dtype=float)
    share: NDArray[Any] = np.linspace(0.0, 1.0, 56)
    offsets = np.arange(-reach_px, reach_px + 0.5, max(1.0, reach_px / 12))
    colour = _profiles(pixels, start + share[:, None] * (end - start), _normal(start, end), offsets)
    if colour is None:
        return None
    wide = 2
    change = colour[:, 2 * wide :] - colour[:, : -2 * wide]
    place = offsets[wide:-wide]
    first, last = (grid.ravel() for grid in np.meshgrid(np.arange(len(place)), np.arange(len(place)), indexing="ij"))
    at = np.rint(first[:, None] * (1 - share) + last[:, None] * share).astype(int)
    along = change[np.arange(len(share))[None], at]
    common = along.mean(axis=1)
    best = int(np.linalg.norm(common, axis=1).argmax())
    # beside what is one tone all along, texture changes this way and that: only the edge changes one way
    size = float(np.linalg.norm(common[best]))
    agree = (along[best] @ common[best]) / max(size**2, 1e-12)
    if size < LEAST_CHANGE or size * np.sqrt(len(share)) < CLEAR * (along[best] @ common[best] / size).std():
        return None
    normal = _normal(start, end)
    ends = np.array([place[first[best]], place[last[best]]])
    return np.array([start, end]) + ends[:, None] * normal, float((agree > 0.3).mean())


def fine_edge(
    pixels: NDArray[np.uint8],
    ends: ArrayLike,
    reach_px: float,
    margin: float,
    pieces: int = PIECES,
    closer: float = 1.0,
) -> Edge | None:
    """Return points on an edge to a tenth of a pixel or better.

    Parameters
    ----------
    ends : array_like, shape (2, 2)
        Where the edge starts and ends, to a pixel or two.
    reach_px : float
        Half the width of the strip that is read.
    margin : float
        Share of the edge left out at either end, for rounded corners.
    pieces : int
        How many the edge is cut into.
    closer : float
        How much narrower a strip is read once the edge is found: what lies beside it misleads less.
    """
    start, end = np.asarray(ends, dtype=float)
    length = float(np.linalg.norm(end - start))
    each = int(np.clip(length * (1 - 2 * margin) / pieces, 2, 12))
    middle = margin + (np.arange(pieces) + 0.5) / pieces * (1 - 2 * margin)
    normal = _normal(start, end)
    powers = (2 * middle[:, None] - 1) ** np.arange(3)
    shift: NDArray[Any] = np.zeros(pieces)
    for times, thin in ((1.0, True), (1.0, closer < 1), (closer, False), (closer, False))[: 4 if closer < 1 else 3]:
        reach, samples = times * reach_px, max(2, each // THIN) if thin else each
        offsets = np.linspace(-reach, reach, 2 * int(np.ceil((1 if thin else 2) * reach)) + 1)
        share = margin + (np.arange(pieces * samples) + 0.5) / (pieces * samples) * (1 - 2 * margin)
        on = start + share[:, None] * (end - start) + np.interp(share, middle, shift)[:, None] * normal
        colour = _profiles(pixels, on, normal, offsets)
        if colour is None:
            return None
        place, clear = _place(colour.reshape(pieces, samples, len(offsets), -1).mean(axis=1), offsets)
        place = place + shift
        curve, good = _smooth(powers, place, clear)
        if good.sum() < max(6, LEAST_GOOD * pieces):
            return None
        shift = powers @ curve
        if np.abs(shift).max() > 2 * reach_px + 2:
            return None
    off = place - shift
    error = float(np.sqrt((off[good] ** 2).sum() / max(1, good.sum() - 3)))
    points = start + middle[:, None] * (end - start) + place[:, None] * normal
    return Edge(points[good], max(error, LEAST_ERROR_PX), float(good.mean()))


def _profiles(pixels: NDArray[np.uint8], on: Array, normal: Array, offsets: Array) -> NDArray[np.float32] | None:
    """Return light across an edge, shape (points, offsets, 3); None where too much lies outside the picture."""
    import cv2

    at = on[:, None] + offsets[None, :, None] * normal
    rims = np.stack([at[:, 0], at[:, -1]])  # nothing of a strip lies outside its two long sides
    out = np.empty((*at.shape[:2], 3), np.float32)
    for part in np.array_split(np.arange(len(on)), STRIPS):  # each a small piece of the picture to turn into light
        place = at[part]
        rim = rims[:, part].reshape(-1, 2)
        low, high = np.floor(rim.min(axis=0)).astype(int) - 1, np.ceil(rim.max(axis=0)).astype(int) + 2
        low, high = np.maximum(low, 0), np.minimum(high, [pixels.shape[1], pixels.shape[0]])
        if (high - low < 3).any() or (high - low > 8000).any():
            return None
        lit = light(np.ascontiguousarray(pixels[low[1] : high[1], low[0] : high[0]]))
        x, y = (place - low).astype(np.float32).transpose(2, 0, 1)
        out[part] = cv2.remap(lit, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return out


def _place(colour: Array, offsets: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Return where each mean profile, shape (pieces, offsets, 3), changes from one side's light to the other's."""
    third = max(2, len(offsets) // 4)
    before, after = colour[:, :third].mean(axis=1), colour[:, -third:].mean(axis=1)
    change = after - before
    size = np.linalg.norm(change, axis=1)
    along = change / np.maximum(size, 1e-9)[:, None]
    level = ((colour - before[:, None]) * along[:, None]).sum(axis=2) / np.maximum(size, 1e-9)[:, None]
    rough = level[:, :third].std(axis=1) + level[:, -third:].std(axis=1)
    step = offsets[1] - offsets[0]
    # the area above the profile, by trapezes, is the width of the dark part
    area = ((level[:, 1:] + level[:, :-1]) / 2).sum(axis=1) * step
    return offsets[-1] - area, (size > 0.004) & (rough < 0.7)


def _smooth(powers: Array, place: Array, clear: NDArray[np.bool_]) -> tuple[Array, NDArray[np.bool_]]:
    """Return a parabola (a lens bends straight edges) through most places, and which of them agree with it.

    `powers`, shape (pieces, 3), are those of where the pieces lie; the parabola's coefficients go with them.
    """
    good = clear.copy()
    curve: NDArray[Any] = np.zeros(3)
    for terms in (1, 2, 3, 3, 3):
        if good.sum() < 6:
            break
        known = powers[good, :terms]
        curve = np.zeros(3)
        curve[:terms] = np.linalg.solve(known.T @ known, known.T @ place[good])
        off = np.abs(place - powers @ curve)
        spread = 1.4826 * float(np.median(off[good]))
        good = clear & (off < max(3 * spread, 3 * LEAST_ERROR_PX))
    return curve, good


def _normal(start: Array, end: Array) -> Array:
    """Return the unit vector to the left of an edge as seen: outward where corners run clockwise."""
    x, y = (end - start) / np.linalg.norm(end - start)
    return np.array([y, -x])
