"""The bark about the wood: a second edge outside or inside the first one, where colour and texture change again."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import Mask
from photonest.model import FlatPhoto
from photonest.outline.strip import COARSE, SplitSettings, Strip, about, shares_near, unroll
from photonest.planar import Path, best_closed_path, mean_diameter

REACH = 0.2  # no bark is told apart that is wider, in mean diameters
OUTWARDS = replace(COARSE, longest_px=360, whole_share=0.5, bend=0.8, gap=0.006, reach=0.06)
INWARDS = replace(COARSE, longest_px=480, whole_share=0.6, bend=0.4, gap=0.005, reach=0.08)


class Bark(NamedTuple):
    """A second edge in mm and what speaks for it.

    `width` is the mean distance between the two edges in mean diameters; `difference` the mean of both
    Kullback-Leibler divergences between the labels on the two sides of the second edge; `darker` how much darker the
    bark is than the wood, in Lab lightness (0 to 255).
    """

    edge: Path
    width: float
    difference: float
    darker: float


class _Look(NamedTuple):
    """A strip along an edge, in pixels `size` of which make a mean diameter."""

    strip: Strip
    size: float
    settings: SplitSettings


def outside(flat: FlatPhoto, wood: Path) -> Bark:
    """Return the best outer edge of bark about an edge of bare wood in mm, whether there is bark or not."""
    look = _look(flat, wood, -0.03, REACH, OUTWARDS)
    steps, gap = look.strip.steps, OUTWARDS.gap * look.size
    line, difference = np.full(OUTWARDS.rays, 0.03 * look.size), 0.0
    for _ in range(4):
        outer = line[:, None]
        bark = (steps > gap) & (steps < np.maximum(outer - gap, 0.015 * look.size))
        rest = (steps > outer + gap) & (steps < outer + OUTWARDS.reach * look.size)
        line, difference = _split(look, bark, rest, steps >= 0, look.strip.strength)
    return _bark(look, line, difference, (steps > gap) & (steps < line[:, None]), steps < -gap)


def inside(flat: FlatPhoto, edge: Path) -> Bark:
    """Return the best edge of the wood within an edge in mm that may hold bark, at least in places."""
    look = _look(flat, edge, -REACH, 0.004, INWARDS)
    steps, gap = look.strip.steps, INWARDS.gap * look.size
    # The edge given is itself the strongest change of all: within a hundredth of it only the colours speak.
    strength = np.where(steps > -0.012 * look.size, 0.3, look.strip.strength)
    line, difference = np.full(INWARDS.rays, -0.02 * look.size), 0.0
    for _ in range(4):
        inner = line[:, None]
        bark = (steps > np.minimum(inner + gap, -0.012 * look.size)) & (steps < -0.004 * look.size)
        wood = (steps < inner - gap) & (steps > inner - INWARDS.reach * look.size)
        line, difference = _split(look, wood, bark, steps <= 0, strength)
    return _bark(look, line, difference, (steps > line[:, None] + gap) & (steps < -gap), steps < -0.1 * look.size)


def _look(flat: FlatPhoto, edge: Path, low: float, high: float, settings: SplitSettings) -> _Look:
    ready = about(flat, edge, settings.longest_px, max(high, 0.0) + 0.03)
    strip = unroll(ready, edge, low, high, settings)
    return _Look(strip, mean_diameter(edge) / strip.flat.mm_per_px, settings)


def _split(
    look: _Look, inner: Mask, outer: Mask, allowed: Mask, strength: NDArray[np.float64]
) -> tuple[NDArray[np.float64], float]:
    """Return the line that splits the strip into what the two parts show, and how unlike these are."""
    strip = look.strip
    shares = [shares_near(strip, part, look.settings) for part in (inner, outer)]
    ratio = np.take_along_axis(np.clip(np.log(shares[0] / shares[1]), -2.0, 2.0), strip.labels, axis=1)
    ratio[~strip.usable] = -2.0
    ratio[:, ~allowed] = 0.0
    cost = -look.settings.region * np.cumsum(ratio, axis=1) / (0.04 * look.size) - 3.0 * strength
    cost[:, ~allowed] = 1e6
    difference = float(((shares[0] - shares[1]) * np.log(shares[0] / shares[1])).sum(axis=1).mean() / 2)
    return strip.steps[best_closed_path(cost, look.settings.step, look.settings.bend)], difference


def _bark(look: _Look, line: NDArray[np.float64], difference: float, bark: Mask, wood: Mask) -> Bark:
    strip = look.strip
    edge = strip.flat.to_mm(strip.base + strip.outwards * line[:, None])
    wood = np.broadcast_to(wood, strip.usable.shape) & strip.usable
    bark = bark & strip.usable
    darker = 0.0
    if bark.any() and wood.any():
        darker = float(np.median(strip.lightness[wood]) - np.median(strip.lightness[bark]))
    return Bark(edge, float(np.abs(line).mean() / look.size), difference, darker)
