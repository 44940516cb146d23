"""What a patch looks like, as numbers that do not depend on the photo's size: cues for what it is."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.cracks.patches import Patch, Sheet
from photonest.imaging import Image, Mask, blurred, orientation
from photonest.model import Pith

SECTORS = 8
LOOKED_AT = 64  # px: larger windows are looked at in every other pixel, or every third ...
Vector = NDArray[np.float64]


class Cues(NamedTuple):
    """The cues of one patch; D is the mean diameter.

    Attributes
    ----------
    size_mm, size : float
        Log of the square root of its area, in mm and over D.
    px : float
        Log of the same in pixels of the sheet.
    slimness : float
        Log of the ratio of its axes.
    solidity, roundness : float
        Share of its convex hull that it fills; 4 pi area / perimeter squared.
    across_rings : float
        Whether its longer axis lies across the rings (1) or along them (-1), times how slim it is.
    contrast : float
        Brightness inside over that of the wood just outside, as a log.
    dark : float
        The darkest tenth inside over the median of the face, as a log.
    against_face : float
        The inside's brightness in spreads of the face's.
    red, blue, chroma : float
        Change of the colour's share from outside to inside; the same over the face's spread of colour.
    vivid : float
        Chroma inside less that of the face.
    sharpness : float
        Slope at the edge, in steps from inside to outside a pixel.
    closed, weakest : float
        Share of the surroundings clearly brighter than the inside; the same in the least bright eighth about it.
    heart : float
        Brightness of the core less that of the rim, in steps from inside to outside.
    texture : float
        Log of the texture inside over that outside.
    rings_inside, rings_outside : float
        How well lines inside, and about it, run along the rings near by: 1 along, -1 across.
    order : float
        How strongly lines inside run in one direction.
    to_rim, touches : float
        Distance of its middle, and of its nearest point, to the edge over D.
    to_pith : float
        Distance of its middle to the pith over D; 0.5 without a pith.
    blind, level, fine, hued, grey : float
        Whether no pith is known; how it was found; whether the photo has no colour.
    """

    size_mm: float
    size: float
    px: float
    slimness: float
    solidity: float
    roundness: float
    across_rings: float
    contrast: float
    dark: float
    against_face: float
    red: float
    blue: float
    chroma: float
    vivid: float
    sharpness: float
    closed: float
    weakest: float
    heart: float
    texture: float
    rings_inside: float
    rings_outside: float
    order: float
    to_rim: float
    touches: float
    to_pith: float
    blind: float
    level: float
    fine: float
    large: float
    hued: float
    grey: float


class _Ground(NamedTuple):
    """The whole face: brightness and its spread, shares of red and blue and their spread."""

    median: float
    spread: float
    share: NDArray[np.float32]
    share_spread: float


class _Lines(NamedTuple):
    """The sheet for areas, pixel by pixel.

    How far its lines run along the rings near by, how ordered they are, cosine and sine of twice the bearing across the
    rings (times how clear it is), and how far the edge of the wood is.
    """

    along: Image
    order: Image
    cosine: Image
    sine: Image
    to_rim: Image


def cues_of(found: list[Patch], areas: Sheet, pith: Pith | None) -> list[Cues]:
    """Return the cues of patches; `areas` is the sheet that areas were sought on."""
    ground, lines = _ground(areas), _lines(areas)
    return [_cues(one, ground, areas, lines, pith) for one in found]


def _ground(sheet: Sheet) -> _Ground:
    wood = np.flatnonzero(sheet.wood)
    wood = wood if len(wood) else np.arange(sheet.grey.size)
    grey, pixels = sheet.grey.ravel(), sheet.flat.pixels.reshape(-1, 3)
    low, median, high = np.percentile(grey[wood[:: max(1, len(wood) // 50_000)]], [16, 50, 84])
    share = _shares(pixels[wood[:: max(1, len(wood) // 20_000)]])
    middle = np.median(share, axis=0)
    spread = float(np.median(np.hypot(*(share - middle).T))) + 0.004
    return _Ground(float(median), float(high - low) / 2 + 2.0, middle, spread)


def _shares(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return how much of each pixel's light is red and blue, shape (n, 2)."""
    total = pixels.sum(axis=-1, dtype=np.float32) + 1
    return np.stack([pixels[..., 0] / total, pixels[..., 2] / total], axis=-1)


def _lines(sheet: Sheet) -> _Lines:
    import cv2

    seen = orientation(np.where(sheet.wood, sheet.grey, sheet.base).astype(np.float32), 0.8, 2.5)
    weight = np.sqrt(seen.energy) * seen.coherence * sheet.wood
    wide = [blurred(part * weight, 0.06 * sheet.diameter_px) for part in (seen.cosine, seen.sine)]
    length = np.maximum(cv2.magnitude(*wide), 1e-6)
    along = (seen.cosine * wide[0] + seen.sine * wide[1]) / length * seen.coherence
    to_rim: Image = cv2.distanceTransform(sheet.wood.view(np.uint8), cv2.DIST_L2, 3)
    return _Lines(along.astype(np.float32), seen.coherence, wide[0], wide[1], to_rim)


def _cues(one: Patch, ground: _Ground, areas: Sheet, lines: _Lines, pith: Pith | None) -> Cues:
    import cv2

    sheet, unit = one.sheet, one.sheet.flat.mm_per_px
    area = float(one.mask.sum())
    side = np.sqrt(area)
    margin = 3 + round(min(0.35 * side, 0.05 * sheet.diameter_px))
    window, inside, outside, rim = _zones(one, margin)
    grey, slope, pixels = sheet.grey[window].astype(np.float32), _slope(sheet, window), sheet.flat.pixels[window]
    level_in, level_out = float(grey[inside].mean()), _ranked(grey[outside], 0.5)
    step = level_out - level_in
    step = step if abs(step) > 1.0 else np.copysign(1.0, step)
    moments = cv2.moments(one.mask.astype(np.uint8), binaryImage=True)
    slim, axis = _axes(moments)
    contour = max(cv2.findContours(one.mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)[0], key=len)
    hull = max(cv2.contourArea(cv2.convexHull(contour)), 1.0)
    middle = np.array([moments["m10"], moments["m01"]]) / moments["m00"]
    start = np.array([window[1].start, window[0].start])
    seen_middle = (middle + one.corner - start) / window[0].step
    closed, weakest = _surroundings(grey, outside, seen_middle, level_in, level_out)
    depth = cv2.distanceTransform(inside.astype(np.uint8), cv2.DIST_L2, 3)
    core = depth > 0.55 * depth.max()
    place = sheet.flat.to_mm([middle + one.corner])
    column, row = np.round(areas.flat.to_px(place)[0]).astype(int)
    at = (min(max(row, 0), areas.wood.shape[0] - 1), min(max(column, 0), areas.wood.shape[1] - 1))
    to_rim = float(lines.to_rim[at])
    bearing = np.arctan2(lines.sine[at], lines.cosine[at]) / 2
    across = float(axis[0] * np.cos(bearing) + axis[1] * np.sin(bearing)) ** 2
    along_in, along_out, order = _ring_cues(one, areas, lines, window, inside, outside)
    share_in, share_out = _shares(pixels[inside]).mean(axis=0), _shares(pixels[outside]).mean(axis=0)
    change = share_in - share_out
    diameter = sheet.diameter_px
    return Cues(
        size_mm=float(np.log(side * unit)),
        size=float(np.log(side / diameter)),
        px=float(np.log(side)),
        slimness=float(np.log(slim)),
        solidity=float(min(1.0, cv2.contourArea(contour) / hull)),
        roundness=float(min(1.2, 4 * np.pi * area / max(cv2.arcLength(contour, True), 1.0) ** 2)),
        across_rings=float((2 * across - 1) * (1 - 1 / slim)),
        contrast=float(np.log((level_in + 3) / (level_out + 3))),
        dark=float(np.log((_ranked(grey[inside], 0.1) + 3) / (ground.median + 3))),
        against_face=(level_in - ground.median) / ground.spread,
        red=100 * float(change[0]),
        blue=100 * float(change[1]),
        chroma=float(np.log(0.1 + np.hypot(*change) / ground.share_spread)),
        vivid=10 * float(np.hypot(*(share_in - 1 / 3)) - np.hypot(*(ground.share - 1 / 3))),
        sharpness=float(slope[rim].mean()) / abs(step),
        closed=closed,
        weakest=weakest,
        heart=float(grey[core].mean() - grey[rim & inside].mean()) / step if (rim & inside).any() else 0.0,
        texture=float(np.log((slope[core].mean() + 0.3) / (slope[outside].mean() + 0.3))),
        rings_inside=along_in,
        rings_outside=along_out,
        order=order,
        to_rim=to_rim / areas.diameter_px,
        touches=(to_rim if one.sheet is not areas else float(lines.to_rim[window][inside].min())) / areas.diameter_px,
        to_pith=0.5 if pith is None else float(np.hypot(*(place[0] - pith.point))) / (diameter * unit),
        blind=float(pith is None),
        level=one.level,
        fine=float(one.sort == 0),
        large=float(one.sheet is not areas),
        hued=float(one.sort == 2),
        grey=float(sheet.flat.grey),
    )  # fmt: skip


def _ranked(values: Image, share: float) -> float:
    """Return the value that a share of the values lie below."""
    place = int(share * len(values))
    return float(np.partition(values, place)[place])


def _slope(sheet: Sheet, window: tuple[slice, slice]) -> Image:
    """Return how steeply brightness changes, in steps a pixel."""
    import cv2

    rows, columns = window
    smooth = blurred(sheet.grey[rows.start : rows.stop, columns.start : columns.stop].astype(np.float32), 0.8)
    slope: Image = cv2.magnitude(cv2.Scharr(smooth, cv2.CV_32F, 1, 0), cv2.Scharr(smooth, cv2.CV_32F, 0, 1)) / 32
    return slope[:: rows.step, :: columns.step]


def _zones(one: Patch, margin: int) -> tuple[tuple[slice, slice], Mask, Mask, Mask]:
    """Return a window about a patch, and what of it is inside, just outside on the wood, and its edge."""
    import cv2

    rows, columns = one.sheet.wood.shape
    x, y = one.corner
    height, width = one.mask.shape
    step = max(1, max(height, width) // LOOKED_AT)
    top, left = max(0, y - margin), max(0, x - margin)
    bottom, right = min(rows, y + height + margin), min(columns, x + width + margin)
    window = np.s_[top:bottom:step, left:right:step]
    inside = np.zeros((bottom - top, right - left), np.uint8)
    inside[y - top : y - top + height, x - left : x - left + width] = one.mask
    kernel = np.ones((3, 3), np.uint8)
    near = cv2.dilate(inside, kernel)
    rim = (near - cv2.erode(inside, kernel, borderValue=0))[::step, ::step]
    inside, near = inside[::step, ::step], np.ascontiguousarray(near[::step, ::step])
    reach = 2 * max(2, margin // step) - 1
    outside = (cv2.dilate(near, np.ones((reach, reach), np.uint8)) > near) & one.sheet.wood[window]
    if not outside.any():
        outside = near == 0
    return window, inside > 0, np.asarray(outside), rim > 0


def _axes(moments: dict[str, float]) -> tuple[float, tuple[float, float]]:
    """Return the ratio of a patch's axes and the direction of the longer one."""
    area = moments["m00"]
    xx, yy, xy = moments["mu20"] / area + 1 / 12, moments["mu02"] / area + 1 / 12, moments["mu11"] / area
    half, away = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    angle = 0.5 * np.arctan2(2 * xy, xx - yy)
    return float(np.sqrt((half + away) / max(half - away, 1e-3))), (float(np.cos(angle)), float(np.sin(angle)))


def _surroundings(grey: Image, outside: Mask, middle: Vector, level_in: float, level_out: float) -> tuple[float, float]:
    """Return the share of the surroundings beyond half the step, all about and in the weakest sector."""
    y, x = np.nonzero(outside)
    beyond = (grey[y, x] - level_in) / (level_out - level_in if level_out != level_in else 1.0) > 0.5
    sector = ((np.arctan2(y - middle[1], x - middle[0]) / (2 * np.pi) + 1) * SECTORS).astype(int) % SECTORS
    counts = np.bincount(sector, minlength=SECTORS)
    shares = np.bincount(sector, beyond, minlength=SECTORS)[counts > 0] / counts[counts > 0]
    return float(beyond.mean()), float(shares.min())


def _ring_cues(
    one: Patch, areas: Sheet, lines: _Lines, window: tuple[slice, slice], inside: Mask, outside: Mask
) -> tuple[float, float, float]:
    """Return how lines run inside a patch and about it, and how ordered they are inside."""
    if one.sheet is areas:
        along, order = lines.along[window], lines.order[window]
        return float(along[inside].mean()), float(along[outside].mean()), float(order[inside].mean())
    low = np.array([window[1].start, window[0].start])
    high = np.array([window[1].stop, window[0].stop])
    corners = areas.flat.to_px(one.sheet.flat.to_mm([low, high]))
    left, top = np.clip(np.floor(corners[0]).astype(int), 0, np.array(areas.wood.shape[::-1]) - 1)
    right, lower = np.maximum(np.ceil(corners[1]).astype(int), [left + 1, top + 1])
    along, order = lines.along[top:lower, left:right], lines.order[top:lower, left:right]
    return float(along.mean()), float(along.mean()), float(order.mean())
