"""A picture seen along rays from a middle: how far each point there is like an edge, and the best closed edges.

An edge is where what lies just inside differs from what lies just outside, in colour or texture, by more than either
varies. The two sides are pooled over neighbouring rays, so that the grain of a bench, leaves or gravel cancel out while
the rim of a piece adds up. Brightness counts only where it changes sharply: a cast shadow fades in over its penumbra,
and leaves the ratios of the colours as they are.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import Image, Mask, blurred, luminance, reduced, usable_part
from photonest.model import FlatPhoto

Floats = NDArray[np.float64]


class Ground(NamedTuple):
    """A picture made ready: the logarithm of brightness, two of colour ratios, one of local contrast; where usable."""

    flat: FlatPhoto
    layers: Image
    usable: Mask


class Channel(NamedTuple):
    """How far a layer is to be believed, which differences in it are small, and the widths it is compared over."""

    layer: int
    weight: float
    floor: float
    widths: tuple[tuple[int, int], ...]
    """Pairs (columns along the ray, rays across) pooled on each side."""


FINE, WIDE = (2, 3), (5, 5)
CHANNELS = (
    Channel(0, 0.75, 0.10, (FINE,)),
    Channel(1, 0.85, 0.035, (FINE, WIDE)),
    Channel(2, 0.85, 0.035, (FINE, WIDE)),
    Channel(3, 0.50, 0.30, (WIDE,)),
)
WIDE_SHARE = 0.8  # a wide difference says less about where the edge is


class Rays(NamedTuple):
    """Stars of rays: middles (k, 2), angles (r,), radii (c,); layers (k, r, c, 4) and where usable (k, r, c)."""

    middles: Floats
    angles: Floats
    radii: Floats
    layers: Image
    usable: Mask

    def points(self, columns: NDArray[np.intp]) -> Floats:
        """Return the closed lines (k, r, 2), in pixels, through the gaps after these columns (k, r)."""
        step = self.radii[1] / self.radii[0]
        reach = self.radii[columns] * np.sqrt(step)
        along = np.stack([np.cos(self.angles), np.sin(self.angles)], axis=-1)
        return np.asarray(self.middles[:, None, :] + reach[..., None] * along)


def prepare(flat: FlatPhoto, longest_px: float) -> Ground:
    """Return the picture at reduced size with its layers; unusable parts take on the nearest usable colour."""
    small = reduced(flat, longest_px)
    usable = usable_part(small)
    return Ground(small, _layers(_filled(small.pixels, usable), small.grey), usable)


def _filled(pixels: NDArray[np.uint8], usable: Mask) -> NDArray[np.uint8]:
    """Return pixels without the reference and the photo's rim, so that neither makes an edge."""
    import cv2

    kept = cv2.erode(usable.astype(np.uint8), np.ones((5, 5), np.uint8), borderValue=1)
    if kept.all() or not kept.any():
        return pixels
    _, nearest = cv2.distanceTransformWithLabels(1 - kept, cv2.DIST_L2, 3, labelType=cv2.DIST_LABEL_PIXEL)
    rows, columns = np.nonzero(kept)
    table = np.zeros(int(nearest.max()) + 1, np.intp)
    table[nearest[rows, columns]] = rows * kept.shape[1] + columns
    return np.ascontiguousarray(pixels.reshape(-1, 3)[table[nearest]])


def _layers(pixels: NDArray[np.uint8], grey: bool) -> Image:
    light = np.log(luminance(pixels) + 12)
    detail = light - blurred(light, 2.0)
    texture = 0.5 * np.log(blurred(detail * detail, 2.0) + 2e-4)
    if grey:
        return np.dstack([light, np.zeros_like(light), np.zeros_like(light), texture])
    red, green, blue = (blurred(np.ascontiguousarray(pixels[..., k]).astype(np.float32), 0.8) + 12 for k in range(3))
    return np.dstack([light, np.log(red / green), np.log(blue / green), texture]).astype(np.float32)


def look(ground: Ground, middles: Floats, low: float, high: float, rays: int, step: float) -> Rays:
    """Return the rays about each middle, shape (k, 2), from `low` to `high` px, in steps of a share of the radius."""
    import cv2

    angles = np.arange(rays) * 2 * np.pi / rays
    radii = low * np.exp(step * np.arange(max(12, int(np.log(high / low) / step))))
    x = (middles[:, :1, None] + radii * np.cos(angles)[:, None]).astype(np.float32)
    y = (middles[:, 1:, None] + radii * np.sin(angles)[:, None]).astype(np.float32)
    maps = x.reshape(-1, len(radii)), y.reshape(-1, len(radii))
    layers = cv2.remap(ground.layers, *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    usable = cv2.remap(ground.usable.astype(np.float32), *maps, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT) > 0.5
    return Rays(middles, angles, radii, layers.reshape(*x.shape, -1), usable.reshape(x.shape))


def evidence(rays: Rays) -> Floats:
    """Return how far each gap between a column and the next is like an edge, 0 to 1, shape (k, r, c)."""
    against = np.ones(rays.usable.shape, np.float32)
    for channel in CHANNELS:
        values = rays.layers[..., channel.layer]
        for width, across in channel.widths:
            mean, square = _across(values, across), _across(values * values, across)
            (inner, outer), (inner2, outer2) = _sides(mean, width), _sides(square, width)
            spread = np.maximum(inner2 - inner * inner, 0) + np.maximum(outer2 - outer * outer, 0)
            ratio = (inner - outer) ** 2 / (0.7 * spread + channel.floor**2)
            share = channel.weight * (1.0 if width == FINE[0] else WIDE_SHARE)
            against *= 1 - share * ratio / (1 + ratio)
    against[..., -1] = 1.0  # nothing is known beyond the last column
    return np.where(rays.usable, 1 - against, 0.0)


def _across(values: Image, count: int) -> Floats:
    """Return the mean over `count` neighbouring rays."""
    half = count // 2
    return np.asarray(sum(np.roll(values, k, axis=1) for k in range(-half, half + 1)) / np.float32(count))


def _sides(values: Floats, width: int) -> tuple[Floats, Floats]:
    """Return the means of `width` columns up to each column, and after it."""
    columns = values.shape[2]
    total = np.zeros((*values.shape[:2], columns + 1), np.float32)
    np.cumsum(values, axis=2, out=total[..., 1:])
    here = np.arange(1, columns + 1)
    low, high = np.maximum(here - width, 0), np.minimum(here + width, columns)
    inner = (total[..., here] - total[..., low]) / (here - low)
    return inner, (total[..., high] - total[..., here]) / np.maximum(high - here, 1)


def closed_paths(cost: Floats, step: int, bend: float) -> NDArray[np.intp]:
    """Return the cheapest closed path of each of several cost tables (k, r, c): the column for each ray, shape (k, r).

    As `photonest.imaging.best_closed_path`, for many tables at once.

    >>> cost = np.ones((2, 8, 5)); cost[0, :, 2] = cost[1, :, 4] = 0.0
    >>> closed_paths(cost, 1, 0.1)[:, 0].tolist()
    [2, 4]
    """
    count, rays, columns = cost.shape
    lead = rays // 2
    order = np.arange(-lead, rays + lead) % rays
    moves = (bend * np.abs(np.arange(-step, step + 1))).astype(np.float32)
    choice = np.zeros((len(order), count, columns), np.int16)
    cost = cost.astype(np.float32)
    padded = np.full((count, columns + 2 * step), np.inf, np.float32)
    padded[:, step : step + columns] = 0.0
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * step + 1, axis=1)
    for k, ray in enumerate(order):
        reach = windows + moves
        choice[k] = reach.argmin(axis=2)
        padded[:, step : step + columns] = reach.min(axis=2) + cost[:, ray]
    path = np.empty((len(order), count), np.intp)
    path[-1] = padded[:, step : step + columns].argmin(axis=1)
    every = np.arange(count)
    for k in range(len(order) - 1, 0, -1):
        path[k - 1] = path[k] + choice[k, every, path[k]] - step
    return path[lead : lead + rays].T


def along(table: Floats, paths: NDArray[np.intp]) -> Floats:
    """Return a table's values (k, r, c) along paths (k, r)."""
    return np.asarray(np.take_along_axis(table, paths[..., None], axis=2)[..., 0])
