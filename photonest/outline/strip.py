"""The edge found again from near by: the picture unrolled along a first edge, and the line across it that splits best.

What is wood and what is not is learnt anew for each part of the edge, because light, bark and background change
around it; a share of the whole edge's experience steadies it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import Image, Mask, luminance, sampled, usable_part
from photonest.model import FlatPhoto
from photonest.outline.lines import away_from
from photonest.outline.regions import Labels, clusters, edge_strength, features, planes
from photonest.planar import Path, best_closed_path, evenly, mean_diameter
from photonest.resizing import cropped, reduced


@dataclass(frozen=True)
class SplitSettings:
    """How a strip is looked at; lengths are shares of the mean diameter."""

    longest_px: int
    rays: int
    half_width: float
    gap: float
    reach: float
    spread: float
    """Standard deviation, in rays, over which colours are learnt."""
    whole_share: float
    region: float = 3.0
    bend: float = 0.5
    step: int = 2


COARSE = SplitSettings(320, 360, half_width=0.1, gap=0.01, reach=0.08, spread=8, whole_share=0.4, step=3)
FINE = SplitSettings(640, 720, half_width=0.035, gap=0.004, reach=0.03, spread=12, whole_share=0.25, bend=0.4)
CLUSTERS = 24


class Ready(NamedTuple):
    """A picture about an edge, which of it counts, its colours in Lab, and what its pixels are told apart by.

    Colours and the rest are planes, shape (layers, height, width).
    """

    flat: FlatPhoto
    usable: Mask
    lab: Image
    layers: Image


class Strip(NamedTuple):
    """The picture along an edge: a row for each point of it, a column for each step outwards."""

    flat: FlatPhoto
    base: Path
    outwards: Path
    steps: NDArray[np.float64]
    labels: Labels
    strength: NDArray[np.float64]
    lightness: Image
    usable: Mask


def outward_normals(points: Path, smooth: float) -> Path:
    """Return the unit vectors across a closed line, away from what it encloses; `smooth` in points."""
    from scipy.ndimage import gaussian_filter1d

    ahead, behind = np.roll(points, -1, axis=0), np.roll(points, 1, axis=0)
    along = gaussian_filter1d(ahead - behind, smooth, axis=0, mode="wrap")
    normal = np.column_stack([along[:, 1], -along[:, 0]])
    normal /= np.hypot(*normal.T)[:, None] + 1e-9
    x, y = points.T
    turn = float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))
    return normal if turn > 0 else -normal


def about(flat: FlatPhoto, edge: Path, longest_px: int, room: float) -> Ready:
    """Return the picture about an edge in mm, `room` mean diameters beyond it, at most so many pixels wide."""
    import cv2

    margin = room * mean_diameter(edge)
    near = reduced(cropped(flat, edge.min(axis=0) - margin, edge.max(axis=0) + margin), longest_px)
    lab = planes(cv2.cvtColor(near.pixels, cv2.COLOR_RGB2LAB), 0.8)
    return Ready(near, usable_part(near), lab, features(lab, luminance(near.pixels), near, (1.5,)))


def unroll(ready: Ready, edge: Path, low: float, high: float, settings: SplitSettings) -> Strip:
    """Return the strip along an edge in mm, from `low` to `high` mean diameters outwards."""
    from scipy.ndimage import gaussian_filter1d

    flat, usable, lab, layers = ready
    diameter = mean_diameter(edge) / flat.mm_per_px
    base = gaussian_filter1d(evenly(flat.to_px(edge), settings.rays), 2, axis=0, mode="wrap")
    outwards = outward_normals(base, 4)
    steps = np.arange(low * diameter, high * diameter + 0.5)
    x, y = base[:, :1] + outwards[:, :1] * steps, base[:, 1:] + outwards[:, 1:] * steps
    height, width = usable.shape
    within = (x >= 0) & (x <= width - 1) & (y >= 0) & (y <= height - 1)
    within &= sampled(usable.astype(np.float32), x, y) > 0.5
    labels = clusters(np.stack([sampled(layer, x, y) for layer in layers]), CLUSTERS)
    return Strip(flat, base, outwards, steps, labels, edge_strength(lab, x, y), sampled(lab[0], x, y), within)


def split(
    strip: Strip, start: NDArray[np.float64], diameter: float, settings: SplitSettings, rounds: int = 3
) -> NDArray[np.float64]:
    """Return how many pixels outwards the line lies that splits a strip best, for each row; `start` is a first one."""
    from scipy.ndimage import gaussian_filter1d

    line = start
    unit = 0.01 * diameter
    for _ in range(rounds):
        ratio = _local_ratio(strip, line, diameter, settings)
        ratio[~strip.usable] = -2.5
        cost = -settings.region * np.cumsum(ratio, axis=1) / (4 * unit) - 3.0 * strip.strength
        line = strip.steps[best_closed_path(cost, settings.step, settings.bend)]
    # A step's sum counts the step itself as inside: the line lies half a step beyond; the gradient centres on it.
    return np.asarray(gaussian_filter1d(line + 0.25, 1.0, mode="wrap"))


def _local_ratio(
    strip: Strip,
    line: NDArray[np.float64],
    diameter: float,
    settings: SplitSettings,
    inner: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """Return the log likelihood ratio of inside to outside at each point of the strip, learnt near each row.

    Inside the line `inner` nothing is learnt.
    """
    away = strip.steps - line[:, None]
    gap, reach = settings.gap * diameter, settings.reach * diameter
    within = (away < -gap) & (away > -gap - reach)
    if inner is not None:
        within &= strip.steps > inner[:, None] + gap
    inside = shares_near(strip, within, settings)
    outside = shares_near(strip, (away > gap) & (away < gap + reach), settings)
    ratio = np.clip(np.log(inside / outside), -2.5, 2.5)
    return np.asarray(np.take_along_axis(ratio, strip.labels, axis=1))


def shares_near(strip: Strip, part: Mask, settings: SplitSettings) -> NDArray[np.float64]:
    """Return the shares of the labels in a part of the strip, for each row from the rows about it and from all."""
    from scipy.ndimage import gaussian_filter1d

    cells = (CLUSTERS * np.arange(len(part))[:, None] + strip.labels)[part & strip.usable]
    count = np.bincount(cells, minlength=CLUSTERS * len(part)).reshape(-1, CLUSTERS).astype(float)
    near = gaussian_filter1d(count, settings.spread, axis=0, mode="wrap")
    near = (near + 0.5 / CLUSTERS) / (near.sum(axis=1, keepdims=True) + 0.5)
    whole = count.sum(axis=0) / max(float(count.sum()), 1.0)
    return np.asarray((1 - settings.whole_share) * near + settings.whole_share * whole + 0.003)


def sharpened(flat: FlatPhoto, edge: Path, settings: SplitSettings) -> Path:
    """Return the edge in mm, moved to where the picture splits best within the settings' half width of it."""
    ready = about(flat, edge, settings.longest_px, settings.half_width + 0.02)
    strip = unroll(ready, edge, -settings.half_width, settings.half_width, settings)
    line = split(strip, np.zeros(settings.rays), mean_diameter(edge) / ready.flat.mm_per_px, settings)
    return strip.flat.to_mm(strip.base + strip.outwards * line[:, None])


PULL = 0.014  # mean diameters: so far from the first edge a line pays as much as for half an edge's step
STILL = 0.2  # pixels: a line that moves less in the mean is there
LEAST_BARK = 0.007  # mean diameters: bark thinner than this is not kept out of the wood


def pulled(ready: Ready, edge: Path, settings: SplitSettings, beyond: Path | None = None) -> Path:
    """Return the edge in mm, moved to where the picture splits best, but not far from where it was without need.

    Parameters
    ----------
    beyond : ndarray, shape (n, 2), or None
        The edge of the wood, where the edge given is that of the bark about it: where the two lie apart it stays out of
        the wood by half the bark at least, so that the stronger edge does not draw it in.
    """
    from scipy.ndimage import gaussian_filter1d

    strip = unroll(ready, edge, -settings.half_width, settings.half_width, settings)
    size = mean_diameter(edge) / strip.flat.mm_per_px
    wood = _inner_line(strip, beyond, size) if beyond is not None else np.full(settings.rays, -np.inf)
    cost = -3.0 * np.where(strip.usable, strip.strength, 0.0) + 0.5 * (strip.steps / (PULL * size)) ** 2
    cost[strip.steps < wood[:, None] / 2] = 1e6
    line = np.zeros(settings.rays)
    for _ in range(3):
        ratio = np.where(strip.usable, _local_ratio(strip, line, size, settings, wood), 0.0)
        total = cost - settings.region * np.cumsum(ratio, axis=1) / (0.04 * size)
        before, line = line, strip.steps[best_closed_path(total, settings.step, settings.bend)]
        if np.abs(line - before).mean() < STILL:
            break
    line = gaussian_filter1d(line + 0.25, 1.0, mode="wrap")
    return strip.flat.to_mm(strip.base + strip.outwards * line[:, None])


def _inner_line(strip: Strip, wood: Path, diameter: float) -> NDArray[np.float64]:
    """Return how many pixels outwards the wood's edge lies at each row (negative); minus infinity without bark."""
    from scipy.ndimage import gaussian_filter1d

    thick = gaussian_filter1d(away_from(strip.base, strip.flat.to_px(wood)), 3, mode="wrap")
    return np.where(thick > LEAST_BARK * diameter, -thick, -np.inf)
