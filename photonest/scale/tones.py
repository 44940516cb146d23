"""The sides of a shape placed where its own tones give way to those about it.

Before gravel, chips or grass the strongest edges are the ground's own. But what lies on it has other tones than what
lies about it; each side is laid where the two are told apart best (region competition, Zhu & Yuille 1996, for straight
sides).

Where a shape is as grey or as brown as the wood, the wood's grain is rougher still: `roughness` shows both as tones.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from photonest.scale.camera import Array
from photonest.scale.edges import PLACES, meet, normals_of, straight_lines

BITS = 4  # of each channel that tell tones apart
INSIDE, OUTSIDE, ABOUT = 0.8, 1.2, 1.7  # over a shape's own size: what surely is it, and the ring about it
ALONG = 0.08  # of a side, left out at either end
UNSEEN, MOST_ODDS = 0.02, 3.0  # share of tones spread over all, and the most that one pixel may tell
LOUDEST = 0.2  # mean logarithm along a line across a side, by which one place may speak against that lying there
FEWEST = 50  # pixels that tones are learnt from
LEAST_ODDS, LEAST_TOLD = 0.25, 3  # mean logarithm, to either side of a side; sides told so: another stays
SMOOTH, PER_DOUBLING = 0.5, 40.0  # least standard deviation that is told, of 255; by how much its double is lighter


def roughness(pixels: NDArray[np.uint8], windows: tuple[int, int]) -> NDArray[np.uint8]:
    """Return a picture of how light an RGB picture is, and how rough over squares of two sizes, as its channels."""
    import cv2

    grey = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32)
    channels = [grey]
    for wide in windows:
        mean, square = cv2.blur(grey, (wide, wide)), cv2.blur(grey * grey, (wide, wide))
        rough = np.log2(np.maximum(square - mean * mean, 0) + SMOOTH**2) / 2 - np.log2(SMOOTH)
        channels.append((PER_DOUBLING * rough).clip(0, 255))
    return np.dstack(channels).astype(np.uint8)


def tone_odds(pixels: NDArray[np.uint8], corners: Array) -> NDArray[np.float32] | None:
    """Return for each tone the logarithm of how much commoner it is on a shape than about it; None for a tiny one.

    Parameters
    ----------
    pixels : ndarray, shape (height, width, 3)
        RGB.
    corners : ndarray, shape (4, 2)
        Clockwise as seen, in pixels; about where they are.
    """
    import cv2

    middle = corners.mean(axis=0)
    inside, outside, about = (middle + times * (corners - middle) for times in (INSIDE, OUTSIDE, ABOUT))
    low = np.maximum(np.floor(about.min(axis=0)).astype(int), 0)
    high = np.minimum(np.ceil(about.max(axis=0)).astype(int) + 1, pixels.shape[1::-1])
    if (high - low < 3).any():
        return None
    tone = _tones(pixels[low[1] : high[1], low[0] : high[0]])
    within = [
        cv2.fillConvexPoly(np.zeros(tone.shape, np.uint8), np.rint(shape - low).astype(np.int32), 1) > 0
        for shape in (inside, outside, about)
    ]
    own, other = tone[within[0]], tone[within[2] & ~within[1]]
    if min(len(own), len(other)) < FEWEST:
        return None
    odds = np.log(_shares(own)) - np.log(_shares(other))
    return np.asarray(odds.clip(-MOST_ODDS, MOST_ODDS).astype(np.float32))


def placed_by_tones(
    pixels: NDArray[np.uint8], corners: Array, odds: NDArray[np.float32], reach_px: float
) -> Array | None:
    """Return a shape's corners with its sides, within reach, where its tones end; None where too few sides tell.

    Parameters
    ----------
    odds : ndarray
        As `tone_odds` has it.
    reach_px : float
        By how much a side may be off.
    """
    import cv2

    ends = np.stack([corners, np.roll(corners, -1, axis=0)], axis=1)
    offsets = np.arange(-reach_px, reach_px + 0.5, max(1.0, reach_px / 12))
    normals = normals_of(ends)
    on = ends[:, :1] + np.linspace(ALONG, 1 - ALONG, PLACES)[:, None] * (ends[:, 1:] - ends[:, :1])
    at = (on[:, :, None] + offsets[:, None] * normals[:, None, None]).astype(np.float32).reshape(4, -1, 2)
    colour = cv2.remap(pixels, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    seen = odds[_tones(colour)].reshape(4, PLACES, len(offsets))
    # what is like the shape speaks for a line farther out, what is not against it
    gain = np.cumsum(seen, axis=2) - 0.5 * (seen + seen.sum(axis=2, keepdims=True))
    lines = straight_lines(len(offsets))
    # sawdust on a side is among the shape's own tones, and speaks for lines far out: no place speaks too loudly
    loud = np.maximum(gain - gain.max(axis=2, keepdims=True), -LOUDEST * len(offsets))
    best = (lines.means @ loud.reshape(4, -1).T).argmax(axis=0)
    told = np.einsum("ki,ki->k", lines.means[best], gain.reshape(4, -1)) > LEAST_ODDS * len(offsets) / 2
    if told.sum() < LEAST_TOLD:
        return None
    aside = offsets[lines.at[best][:, [0, -1]]] * told[:, None]
    sides = on[:, [0, -1]] + aside[..., None] * normals[:, None]
    placed = np.array([meet(sides[k - 1], sides[k]) for k in range(4)])
    return placed if np.isfinite(placed).all() else None


def _tones(pixels: NDArray[np.uint8]) -> NDArray[np.int32]:
    """Return the number of each pixel's tone."""
    red, green, blue = np.moveaxis((pixels >> (8 - BITS)).astype(np.int32), -1, 0)
    return np.asarray((red << 2 * BITS) | (green << BITS) | blue)


def _shares(tones: NDArray[np.int32]) -> Array:
    """Return how common each tone is; neighbouring ones are alike, and none is impossible."""
    share = np.bincount(tones, minlength=1 << 3 * BITS).reshape(3 * (1 << BITS,)) / len(tones)
    for axis in range(3):
        one = np.moveaxis(share, axis, 0)
        padded = np.concatenate([one[:1], one, one[-1:]])
        share = np.moveaxis(0.5 * one + 0.25 * (padded[:-2] + padded[2:]), 0, axis)
    return np.asarray((1 - UNSEEN) * share.ravel() + UNSEEN / share.size)
