"""Straight edges below a pixel, and the view of a flat shape whose sides they are.

A blurred edge lies at its true place in linear light; in the file's own values it moves into the dark side. So every
sample is taken back to light first. Where an edge lies is read off the area under its profile, averaged over a short
piece of the edge; blur does not change that area.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.scale.camera import Array, Prior, View, fit, mirrored, start

LEAST_ERROR_PX = 0.04  # standard error of a piece of an edge, however well the pieces agree
GROWTH_PX = 0.15  # of all sides together: what is light looks larger, or smaller
SIDE_PX = 0.12  # of each side alone: shadows, bevels, sawdust along it
PIECES = 28  # a side is cut into
ALIKE_PIECES = 2.0  # over which errors of neighbouring pieces are alike


class Edge(NamedTuple):
    """What is seen of a side: points on it, shape (n, 2), their standard error in pixels, the share of it in sight."""

    px: Array
    error_px: float
    share: float


@dataclass(frozen=True, eq=False)
class Side:
    """A side of a flat shape: points with ``outward @ (x, y) = at`` in mm.

    `size` says how much the side moves outward, in mm, for each of the shape's uncertain lengths.
    """

    outward: tuple[float, float]
    at: float
    size: tuple[float, ...]


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
    share = np.linspace(0.08, 0.92, 56)
    offsets = np.arange(-reach_px, reach_px + 0.5, max(1.0, reach_px / 12))
    colour = _profiles(pixels, start + share[:, None] * (end - start), _normal(start, end), offsets)
    if colour is None:
        return None
    wide = 2
    change = np.linalg.norm(colour[:, 2 * wide :] - colour[:, : -2 * wide], axis=2)
    place = offsets[wide:-wide][change.argmax(axis=1)]
    best, line = 0, (0.0, 0.0)
    tolerance = max(0.16 * reach_px, 0.8)
    first, last = np.meshgrid(np.arange(0, 28), np.arange(28, 56), indexing="ij")
    slope = (place[last] - place[first]) / (share[last] - share[first])
    base = place[first] - slope * share[first]
    agree = (np.abs(place - (base[..., None] + slope[..., None] * share)) < tolerance).sum(axis=2)
    row, column = np.unravel_index(agree.argmax(), agree.shape)
    best, line = int(agree[row, column]), (float(base[row, column]), float(slope[row, column]))
    normal = _normal(start, end)
    moved = np.array([start + line[0] * normal, end + (line[0] + line[1]) * normal])
    return moved, best / len(share)


def fine_edge(
    pixels: NDArray[np.uint8], ends: ArrayLike, reach_px: float, margin: float, pieces: int = PIECES
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
    """
    start, end = np.asarray(ends, dtype=float)
    length = float(np.linalg.norm(end - start))
    each = int(np.clip(length * (1 - 2 * margin) / pieces, 2, 12))
    share = np.linspace(margin, 1 - margin, pieces * each)
    normal = _normal(start, end)
    offsets = np.linspace(-reach_px, reach_px, 2 * int(np.ceil(2 * reach_px)) + 1)
    shift: NDArray[Any] = np.zeros(len(share))
    for _ in range(3):
        on = start + share[:, None] * (end - start) + shift[:, None] * normal
        colour = _profiles(pixels, on, normal, offsets)
        if colour is None:
            return None
        place, clear = _place(colour.reshape(pieces, each, len(offsets), -1).mean(axis=1), offsets)
        middle = share.reshape(pieces, each).mean(axis=1)
        place = place + shift.reshape(pieces, each).mean(axis=1)
        curve, good = _smooth(middle, place, clear)
        if good.sum() < 6:
            return None
        shift = np.polyval(curve, share)
        if np.abs(shift).max() > 2 * reach_px + 2:
            return None
    off = place - np.polyval(curve, middle)
    error = float(np.sqrt((off[good] ** 2).sum() / max(1, good.sum() - 3)))
    points = start + middle[:, None] * (end - start) + place[:, None] * normal
    return Edge(points[good], max(error, LEAST_ERROR_PX), float(good.mean()))


def _profiles(pixels: NDArray[np.uint8], on: Array, normal: Array, offsets: Array) -> NDArray[np.float32] | None:
    """Return light across an edge, shape (points, offsets, 3); None where too much lies outside the picture."""
    import cv2

    at = on[:, None] + offsets[None, :, None] * normal
    low = np.floor(at.reshape(-1, 2).min(axis=0)).astype(int) - 1
    high = np.ceil(at.reshape(-1, 2).max(axis=0)).astype(int) + 2
    low, high = np.maximum(low, 0), np.minimum(high, [pixels.shape[1], pixels.shape[0]])
    if (high - low < 3).any() or (high - low > 8000).any():
        return None
    part = light(np.ascontiguousarray(pixels[low[1] : high[1], low[0] : high[0]]))
    x, y = (at - low).astype(np.float32).transpose(2, 0, 1)
    out: NDArray[np.float32] = cv2.remap(part, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
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


def _smooth(at: Array, place: Array, clear: NDArray[np.bool_]) -> tuple[Array, NDArray[np.bool_]]:
    """Return a parabola (a lens bends straight edges) through most places, and which of them agree with it."""
    good = clear.copy()
    curve: NDArray[Any] = np.array([0.0, 0.0, float(np.median(place[clear])) if clear.any() else 0.0])
    for degree in (0, 1, 2, 2, 2):
        if good.sum() < 6:
            break
        curve = np.concatenate((np.zeros(2 - degree), np.polyfit(at[good], place[good], degree)))
        off = np.abs(place - np.polyval(curve, at))
        spread = 1.4826 * float(np.median(off[good]))
        good = clear & (off < max(3 * spread, 3 * LEAST_ERROR_PX))
    return np.asarray(curve, dtype=float), good


def _normal(start: Array, end: Array) -> Array:
    """Return the unit vector to the left of an edge as seen: outward where corners run clockwise."""
    x, y = (end - start) / np.linalg.norm(end - start)
    return np.array([y, -x])


def rectangle(width: float, height: float) -> tuple[Side, Side, Side, Side]:
    """Return the sides of a rectangle, clockwise from the top; its uncertain lengths are its width and its height."""
    return (
        Side((0.0, -1.0), 0.0, (0.0, 0.0)),
        Side((1.0, 0.0), width, (1.0, 0.0)),
        Side((0.0, 1.0), height, (0.0, 1.0)),
        Side((-1.0, 0.0), 0.0, (0.0, 0.0)),
    )


def fit_sides(
    prior: Prior,
    homography: ArrayLike,
    sides: Sequence[Side],
    edges: Sequence[Edge],
    size_errors: Sequence[float],
    middle_mm: tuple[float, float],
    side_px: float = SIDE_PX,
) -> tuple[View, View | None] | None:
    """Return the most likely view of a shape by its edges, and the second most likely.

    Parameters
    ----------
    homography : array_like
        About from mm to pixels.
    size_errors : sequence of float
        Standard errors, in mm, of the shape's uncertain lengths.
    side_px : float
        By how many pixels each side alone may be off.
    """
    lengths = len(size_errors)
    begun = start(prior, homography, more=lengths + 1)
    if begun is None:
        return None
    errors = (*size_errors, GROWTH_PX)
    seen = _Points(sides, edges, side_px)
    found = [_settled(first, prior, seen, errors) for first in (begun, mirrored(begun, middle_mm))]
    views = sorted((view for view in found if view is not None), key=lambda view: view.cost)
    if not views:
        return None
    return views[0], views[1] if len(views) > 1 and _differ(views[0], views[1]) else None


def _settled(view: View, prior: Prior, seen: _Points, errors: Sequence[float]) -> View | None:
    """Return the most likely view near a first one; distances are turned into pixels by the one before."""
    for soft in (30.0, 1.0, 1.0):  # first loosely, so that what is known beforehand keeps the lens sane
        if view.rotation[2, 2] <= 0.1:
            return None
        size = seen.mm_per_px(view)

        def residuals(at: View, size: Array = size, soft: float = soft) -> Array:
            return seen.outside(at, size) / soft

        fitted = fit(view, prior, residuals, errors)
        if fitted is None:
            return None
        view = fitted
    return view


class _Points:
    """Points on the sides of a shape, all in one array each: pixels, weight, and what their side says in mm.

    Of what is added to a view's parameters, the shape's uncertain lengths come first, then by how many pixels all sides
    look moved outward.
    """

    def __init__(self, sides: Sequence[Side], edges: Sequence[Edge], side_px: float) -> None:
        counts = [len(edge.px) for edge in edges]
        of_side = np.repeat(np.arange(len(edges)), counts)
        self.px = np.concatenate([edge.px for edge in edges])
        self.outward = np.array([side.outward for side in sides])[of_side]
        self.at = np.array([side.at for side in sides])[of_side]
        self.size = np.array([side.size for side in sides], dtype=float)[of_side]
        # each side may be moved as a whole: its points' errors are correlated, and are made independent here
        self.whiten = [_whitening(len(edge.px), edge.error_px, side_px) for edge in edges]
        self.cuts = np.cumsum(counts)[:-1]

    def outside(self, at: View, mm_per_px: Array) -> Array:
        """Return how far the points lie outside their sides, whitened, shape (..., n)."""
        lengths = self.size.shape[1]
        reach = self.at + at.more[..., :lengths] @ self.size.T
        off = ((at.to_mm(self.px) * self.outward).sum(axis=-1) - reach) / mm_per_px - at.more[..., lengths, None]
        parts = np.split(off, self.cuts, axis=-1)
        return np.concatenate([part @ white for part, white in zip(parts, self.whiten, strict=True)], axis=-1)

    def mm_per_px(self, view: View) -> Array:
        """Return by how many mm outward the place changes at most for one pixel, shape (n,)."""
        there = view.to_mm(self.px)
        steps = (np.array([1.0, 0.0]), np.array([0.0, 1.0]))
        slopes = [((view.to_mm(self.px + step) - there) * self.outward).sum(axis=-1) for step in steps]
        return np.asarray(np.hypot(*slopes))


def _whitening(count: int, own: float, shared: float) -> Array:
    """Return the symmetric root of the inverse covariance of the places of neighbouring pieces of a side.

    Each has an error of its own, likened to its neighbours' by the texture beside the edge; all share one that shifts
    the side and one that turns it, by as much at its ends.
    """
    turn = np.linspace(-1, 1, count)
    apart = np.abs(np.subtract.outer(np.arange(count), np.arange(count)))
    covariance = (
        own**2 * np.exp(-apart / ALIKE_PIECES)
        + shared**2 * (1 + np.outer(turn, turn))
        + (0.3 * own) ** 2 * np.eye(count)
    )
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors / np.sqrt(values) @ vectors.T)


def _differ(view: View, other: View) -> bool:
    return bool(np.abs(view.rotation - other.rotation).max() > 1e-3)
