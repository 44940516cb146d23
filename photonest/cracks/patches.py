"""Where knots, holes, bark inclusions and decay may be: areas that differ from the wood about them.

The face is looked at twice: small, for areas, where a median wider than a ring leaves no rings; and larger, for holes.
Each is cut at several levels, so that a blurred edge and a pale patch both find the level that outlines them; what is
found at more than one is judged at each, and told once.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import Mask, blurred, blurred_within, polygon_mask, usable_part
from photonest.model import FlatPhoto, Outline
from photonest.planar import mean_diameter
from photonest.resizing import cropped, reduced

Pixels = NDArray[np.uint8]
AREAS_PX, HOLES_PX = 512, 1100  # mean diameter at which either is sought
LARGEST_HOLE = 14.0  # mm
NEAR, WIDE = 0.035, 0.08  # of the diameter: how far the wood about a hole and about an area reaches
AREA_LEVELS, HUE_LEVEL, HOLE_LEVELS = (0.11, 0.18, 0.30), 0.035, (0.35, 0.55)
LIGHTEST, LIGHTEST_SMALL, SMALL_PX = 0.84, 0.72, 110  # share of the brightness about it at most; knots are larger
LEAST_FILLED = 0.2  # of the box about it
MOST_A_LEVEL = 14
LEAST_AREA_PX, LEAST_HOLE_PX = 50, 7
RIM = 0.006  # of the diameter: the edge itself is no defect


@dataclass(frozen=True, eq=False)
class Sheet:
    """The piece at the size of one search.

    Attributes
    ----------
    flat : FlatPhoto
    grey, base : ndarray of uint8, shape (height, width)
        Brightness of each pixel, and of the wood about it.
    wood : ndarray of bool
        Pixels on the wood that nothing covers, a little way in from its edge.
    diameter_px : float
    """

    flat: FlatPhoto
    grey: Pixels
    base: Pixels
    wood: Mask
    diameter_px: float


@dataclass(frozen=True, eq=False)
class Patch:
    """An area that differs from the wood about it.

    Attributes
    ----------
    sheet : Sheet
        Where it was found.
    mask : ndarray of bool
        What it covers of a window of the sheet, holes in it filled.
    corner : (x, y)
        The window's first pixel.
    level : float
        How much it differs at the least, as a share of the brightness about it.
    sort : {0, 1, 2}
        Darker in fine detail, darker over an area, or of another colour; holes are 0.
    """

    sheet: Sheet
    mask: Mask
    corner: tuple[int, int]
    level: float
    sort: int


def sheets(flat: FlatPhoto, outline: Outline) -> tuple[Sheet, Sheet]:
    """Return the piece for holes and for areas."""
    import cv2

    edge = np.asarray(outline.wood, dtype=float)
    part = cropped(flat, edge.min(axis=0) - 4 * flat.mm_per_px, edge.max(axis=0) + 4 * flat.mm_per_px)
    diameter = mean_diameter(edge)
    large = _at_size(part, diameter, HOLES_PX)
    areas = _sheet(_at_size(large, diameter, AREAS_PX), edge, diameter, None)
    near = _base(areas.grey, areas.wood, NEAR * areas.diameter_px)
    return _sheet(large, edge, diameter, cv2.resize(near, large.pixels.shape[1::-1])), areas


def _at_size(flat: FlatPhoto, diameter: float, diameter_px: int) -> FlatPhoto:
    """Return the picture with the piece at most so large; halved first while that goes, which is quicker."""
    share = min(1.0, diameter_px * flat.mm_per_px / diameter)
    goal = max(flat.pixels.shape[:2]) * share
    while max(flat.pixels.shape[:2]) >= 2 * goal:
        flat = reduced(flat, max(flat.pixels.shape[:2]) / 2)
    return reduced(flat, goal)


def _sheet(flat: FlatPhoto, edge: NDArray[np.float64], diameter: float, base: Pixels | None) -> Sheet:
    import cv2

    across = diameter / flat.mm_per_px
    inside = polygon_mask(flat.to_px(edge), (flat.pixels.shape[0], flat.pixels.shape[1])) & usable_part(flat)
    rim = max(1, round(RIM * across))
    wood = cv2.erode(inside.view(np.uint8), np.ones((2 * rim + 1, 2 * rim + 1), np.uint8), borderValue=0) > 0
    grey: Pixels = cv2.cvtColor(flat.pixels, cv2.COLOR_RGB2GRAY)
    return Sheet(flat, grey, _base(grey, wood, WIDE * across) if base is None else base, wood, across)


def _base(grey: Pixels, wood: Mask, sigma: float) -> Pixels:
    """Return the local mean of the wood, what differs much from it counting little."""
    image, weight = grey.astype(np.float32), wood.astype(np.float32)
    first = blurred_within(image, weight, sigma)
    away = (image - first) / np.maximum(0.12 * first, 2.0)
    return np.asarray(blurred_within(image, weight / (1 + away * away), sigma), np.uint8)


def patches(holes: Sheet, areas: Sheet) -> list[Patch]:
    """Return the areas worth judging."""
    found: list[Patch] = []
    for one in (*_dark_spots(holes), *_areas(areas)):
        if not any(_alike(one, other) for other in found):
            found.append(one)
    return found


def _alike(one: Patch, other: Patch) -> bool:
    """Tell whether two patches are nearly the same: the second level tells nothing new then."""
    if abs(one.corner[0] - other.corner[0]) > 2 or abs(one.corner[1] - other.corner[1]) > 2:
        return False
    first, second = one.mask.sum(), other.mask.sum()
    return one.sheet is other.sheet and bool(min(first, second) > 0.88 * max(first, second))


def _dark_spots(sheet: Sheet) -> Iterator[Patch]:
    """Yield small dark spots, round enough to be holes."""
    largest = LARGEST_HOLE / sheet.flat.mm_per_px
    for level in HOLE_LEVELS:
        for one in _pieces(sheet, _darker(sheet, sheet.grey, level), level, 0, LEAST_HOLE_PX, 0.8 * largest**2):
            height, width = one.mask.shape
            longer, shorter = max(height, width), min(height, width)
            if longer <= min(largest, 2.4 * shorter) and one.mask.sum() > 0.5 * height * width:
                yield one


def _areas(sheet: Sheet) -> Iterator[Patch]:
    """Yield areas darker than the wood about them, or of another colour."""
    import cv2

    largest = 0.12 * float(sheet.wood.sum())
    for sort, size in ((0, 3), (1, 9)):
        smooth = cv2.medianBlur(sheet.grey, size)
        for level in AREA_LEVELS:
            yield from _pieces(sheet, _darker(sheet, smooth, level), level, sort, LEAST_AREA_PX, largest)
    if not sheet.flat.grey:
        yield from _pieces(sheet, _hued(sheet), HUE_LEVEL, 2, LEAST_AREA_PX, largest)


def _darker(sheet: Sheet, grey: Pixels, level: float) -> Pixels:
    """Return where the wood is darker by a share than about it."""
    import cv2

    limit = cv2.multiply(sheet.base, np.array([1 - level, 0, 0, 0]))
    return np.asarray(cv2.compare(grey, limit, cv2.CMP_LT) & sheet.wood.view(np.uint8))


def _hued(sheet: Sheet) -> Pixels:
    """Return where the colour, brightness aside, differs from that of the wood about it."""
    import cv2

    red, green, blue = (plane.astype(np.float32) for plane in cv2.split(cv2.blur(sheet.flat.pixels, (7, 7))))
    total = red + green + blue + 1
    weight = sheet.wood.astype(np.float32)
    away = np.zeros(sheet.wood.shape, np.float32)
    for plane in (red, blue):
        share = plane / total
        away += (share - blurred_within(share, weight, WIDE * sheet.diameter_px)) ** 2
    return np.asarray((away > HUE_LEVEL**2) & sheet.wood, np.uint8)


class _Piece(NamedTuple):
    """A connected piece of a mask: the first pixel (x, y) of the window about it, what it covers of that, its size."""

    corner: tuple[int, int]
    mask: Pixels
    size: int


def _pieces(sheet: Sheet, over: Pixels, level: float, sort: int, least: float, largest: float) -> Iterator[Patch]:
    """Yield the connected pieces of a mask, those that stand out most."""
    import cv2

    fits = [one for one in _connected(over, least) if LEAST_FILLED * one.mask.size <= one.size <= largest]
    if len(fits) > MOST_A_LEVEL:
        fits = sorted(fits, key=lambda one: -math.sqrt(one.size) * min(one.mask.shape))[:MOST_A_LEVEL]
    for (x, y), mask, size in fits:
        window = np.s_[y : y + mask.shape[0], x : x + mask.shape[1]]
        lightest = LIGHTEST_SMALL if size < SMALL_PX else LIGHTEST
        if sort != 2 and cv2.mean(sheet.grey[window], mask)[0] > lightest * cv2.mean(sheet.base[window], mask)[0]:
            continue
        contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        cv2.drawContours(mask, contours, -1, 1, cv2.FILLED)
        yield Patch(sheet, mask > 0, (x, y), level, sort)


def _connected(over: Pixels, least: float) -> Iterator[_Piece]:
    """Yield the pieces of at least so many pixels, those that touch by corners alone apart.

    Outlines hold such pieces together, but are found many times as quickly as pieces are in the whole mask.
    """
    import cv2

    for outline in cv2.findContours(over, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)[0]:
        left, top, width, height = cv2.boundingRect(outline)
        if width * height < least:
            continue
        within = np.zeros((height, width), np.uint8)
        cv2.drawContours(within, [outline], -1, 255, cv2.FILLED, offset=(-left, -top))
        held = over[top : top + height, left : left + width] & within
        _, labels, stats, _ = cv2.connectedComponentsWithStats(held, connectivity=4)
        for label, (x, y, across, down, size) in enumerate(stats[1:].tolist(), 1):
            if size >= least:
                mask = (labels[y : y + down, x : x + across] == label).astype(np.uint8)
                yield _Piece((left + x, top + y), mask, size)


def outline_of(patch: Patch) -> NDArray[np.float64]:
    """Return the edge of a patch in mm, shape (n, 2), smoothed a little and at most about 60 points."""
    import cv2

    times = int(np.clip(128 // max(one_side(patch), 1), 1, 4))
    padded = cv2.copyMakeBorder(patch.mask.astype(np.float32), 3, 3, 3, 3, cv2.BORDER_CONSTANT, value=0)
    fine = blurred(cv2.resize(padded, None, fx=times, fy=times, interpolation=cv2.INTER_LINEAR), float(times))
    over = (fine > min(0.45, 0.6 * float(fine.max()))).astype(np.uint8)
    contours, _ = cv2.findContours(over, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    contour = cv2.approxPolyDP(max(contours, key=len), 0.4 * times, True).reshape(-1, 2).astype(float)
    if len(contour) < 3:
        x, y, width, height = cv2.boundingRect(over)
        contour = np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]], float)
    px = (contour + 0.5) / times - 0.5 - 3 + np.asarray(patch.corner)
    return np.asarray(patch.sheet.flat.to_mm(px))


def one_side(patch: Patch) -> int:
    """Return the longer side of a patch's window."""
    height, width = patch.mask.shape
    return int(max(height, width))
