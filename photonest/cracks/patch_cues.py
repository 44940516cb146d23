"""What speaks for a patch being a defect, as numbers that do not depend on the photo's size."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.cracks.patch_map import KINDS, Likeness
from photonest.cracks.patches import Patch
from photonest.imaging import Image, Mask, luminance
from photonest.model import Pith

LEAST = 1e-4  # share
SECTORS, SOME = 8, 20_000
LOOKED_AT = 64  # px: larger windows are looked at in every other pixel, or every third ...


class Cues(NamedTuple):
    """The cues of one patch; D is the mean diameter.

    Attributes
    ----------
    mean, peak, far, far_peak : float
        Log odds of a defect by the network: of the mean over the patch, and of its surest place; the same from afar.
    clear : float
        Share of its own kind in what is likened to any.
    size, px : float
        Log of the square root of its area, over D and in pixels.
    slimness, solidity : float
        Log of the ratio of its axes; share of its convex hull that it fills.
    contrast, dark : float
        Brightness inside over that of the wood just outside, as a log; that of its darkest tenth over the face's.
    closed, weakest : float
        Share of the surroundings clearly brighter than the inside; the same in the least bright eighth about it.
    chroma : float
        Change of the colour's share from outside to inside over the face's spread of it, as a log.
    to_rim, touches : float
        Distance of its middle, and of its nearest point, to the edge over D.
    to_pith : float
        Distance of its middle to the pith over D; 0.5 without a pith.
    blind, grey, level : float
        Whether no pith is known; whether the photo has no colour; at which level it was cut.
    hole, bark, decay : float
        Whether it is like one; a knot is none of them.
    """

    mean: float
    peak: float
    far: float
    far_peak: float
    clear: float
    size: float
    px: float
    slimness: float
    solidity: float
    contrast: float
    dark: float
    closed: float
    weakest: float
    chroma: float
    to_rim: float
    touches: float
    to_pith: float
    blind: float
    grey: float
    level: float
    hole: float
    bark: float
    decay: float


class _Face(NamedTuple):
    """A whole face: brightness and its median, the spread of the shares of red and blue, and how far the edge is."""

    grey: Image
    middle: float
    spread: float
    to_rim: Image


def cues_of(found: list[Patch], pith: Pith | None) -> list[Cues]:
    """Return the cues of patches, all of one face."""
    if not found:
        return []
    face = _face(found[0].seen)
    return [_cues(one, face, pith) for one in found]


def _face(seen: Likeness) -> _Face:
    import cv2

    grey = luminance(seen.flat.pixels)
    wood = np.flatnonzero(seen.wood)
    wood = wood[:: max(1, len(wood) // SOME)] if len(wood) else np.arange(grey.size)
    share = _shares(seen.flat.pixels.reshape(-1, 3)[wood])
    spread = float(np.median(np.hypot(*(share - np.median(share, axis=0)).T))) + 0.004
    to_rim = cv2.distanceTransform(seen.wood.view(np.uint8), cv2.DIST_L2, 3)
    return _Face(grey, float(np.median(grey.ravel()[wood])), spread, to_rim)


def _shares(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return how much of each pixel's light is red and blue, shape (n, 2)."""
    return np.asarray(pixels[:, ::2] / (pixels.sum(axis=1, keepdims=True, dtype=np.float32) + 1))


def _cues(one: Patch, face: _Face, pith: Pith | None) -> Cues:
    import cv2

    seen, window, diameter = one.seen, one.window, one.seen.diameter_px
    shares = seen.near[:, window[0], window[1]][:, one.mask]
    anything, afar = shares.sum(axis=0), seen.far[:, window[0], window[1]][:, one.mask].sum(axis=0)
    side = float(np.sqrt(one.mask.sum()))
    moments = cv2.moments(one.mask.astype(np.uint8), binaryImage=True)
    contour = max(cv2.findContours(one.mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)[0], key=len)
    hull = max(cv2.contourArea(cv2.convexHull(contour)), 1.0)
    middle = np.array([moments["m10"], moments["m01"]]) / moments["m00"] + one.corner
    column, row = np.round(middle).astype(int)
    about, inside, outside = _zones(one)
    grey, to_rim = face.grey[about], face.to_rim
    if not outside.any():
        outside = ~inside if not inside.all() else inside
    level_in, level_out = float(grey[inside].mean()), float(np.median(grey[outside]))
    seen_from = (middle - (about[1].start, about[0].start)) / about[0].step
    closed, weakest = _surroundings(grey, outside, seen_from, level_in, level_out)
    pixels = seen.flat.pixels[about]
    change = _shares(pixels[inside]).mean(axis=0) - _shares(pixels[outside]).mean(axis=0)
    away = 0.5
    if pith is not None:
        away = float(np.hypot(*(seen.flat.to_mm([middle])[0] - pith.point))) / (diameter * seen.flat.mm_per_px)
    return Cues(
        mean=_log_odds(float(anything.mean())),
        peak=_log_odds(float(anything.max())),
        far=_log_odds(float(afar.mean())),
        far_peak=_log_odds(float(afar.max())),
        clear=float(shares[KINDS.index(one.kind)].sum() / max(float(anything.sum()), LEAST)),
        size=float(np.log(side / diameter)),
        px=float(np.log(side)),
        slimness=_slimness(moments),
        solidity=float(min(1.0, cv2.contourArea(contour) / hull)),
        contrast=float(np.log((level_in + 3) / (level_out + 3))),
        dark=float(np.log((np.percentile(grey[inside], 10) + 3) / (face.middle + 3))),
        closed=closed,
        weakest=weakest,
        chroma=float(np.log(0.1 + np.hypot(*change) / face.spread)),
        to_rim=float(to_rim[row, column]) / diameter,
        touches=float(to_rim[window][one.mask].min()) / diameter,
        to_pith=away,
        blind=float(pith is None),
        grey=float(seen.flat.grey),
        level=one.level,
        hole=float(one.kind == "hole"),
        bark=float(one.kind == "bark"),
        decay=float(one.kind == "decay"),
    )


def _log_odds(share: float) -> float:
    return float(np.log(max(share, LEAST) / max(1 - share, LEAST)))


def _slimness(moments: dict[str, float]) -> float:
    """Return the log of the ratio of a patch's axes."""
    area = moments["m00"]
    xx, yy, xy = moments["mu20"] / area + 1 / 12, moments["mu02"] / area + 1 / 12, moments["mu11"] / area
    half, away = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    return float(0.5 * np.log((half + away) / max(half - away, 1e-3)))


def _zones(one: Patch) -> tuple[tuple[slice, slice], Mask, Mask]:
    """Return a window about a patch, and what of it is inside and on the wood just outside."""
    import cv2

    (x, y), (height, width), wood = one.corner, one.mask.shape, one.seen.wood
    reach = 2 + round(min(0.35 * float(np.sqrt(one.mask.sum())), 0.05 * one.seen.diameter_px))
    top, left = max(0, y - reach), max(0, x - reach)
    bottom, right = min(y + height + reach, wood.shape[0]), min(x + width + reach, wood.shape[1])
    whole = np.zeros((bottom - top, right - left), np.uint8)
    whole[y - top : y - top + height, x - left : x - left + width] = one.mask
    step = max(1, max(height, width) // LOOKED_AT)
    window = np.s_[top:bottom:step, left:right:step]
    inside = np.ascontiguousarray(whole[::step, ::step])
    if not inside.any():  # what is a pixel wide may fall between those looked at
        inside[:] = 1
    reach = 2 * max(2, reach // step) + 1
    wide, close = (cv2.dilate(inside, np.ones((n, n), np.uint8)) for n in (reach, 3))
    return window, inside > 0, (wide > close) & wood[window]


def _surroundings(
    grey: Image, outside: Mask, middle: NDArray[np.float64], level_in: float, level_out: float
) -> tuple[float, float]:
    """Return the share of the surroundings beyond half the step, all about and in the weakest sector."""
    y, x = np.nonzero(outside)
    beyond = (grey[y, x] - level_in) / (level_out - level_in if level_out != level_in else 1.0) > 0.5
    sector = ((np.arctan2(y - middle[1], x - middle[0]) / (2 * np.pi) + 1) * SECTORS).astype(int) % SECTORS
    counts = np.bincount(sector, minlength=SECTORS)
    shares = np.bincount(sector, beyond, minlength=SECTORS)[counts > 0] / counts[counts > 0]
    return float(beyond.mean()), float(shares.min())
