"""The bark about the wood: a second edge outside the first, where colour and texture change again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import best_closed_path, blurred, polygon_mask, sampled
from photonest.outline.regions import Ground, Star, log_ratio


@dataclass(frozen=True)
class BarkLimits:
    """What bark may be; widths are shares of the wood's mean radius."""

    reach: float = 0.3
    """No bark is wider."""
    region: float = 8.0
    edge: float = 3.0
    least_gain: float = 12.0


def bark_width(ground: Ground, wood: Star, limits: BarkLimits = BarkLimits()) -> NDArray[np.float64] | None:
    """Return how far the bark reaches beyond the wood along each ray, in pixels; None when none is told apart."""
    radius = float(wood.radii.mean())
    shares = np.linspace(0.0, limits.reach, max(12, int(limits.reach * radius * 1.5)))
    x = wood.middle[0] + (wood.radii[:, None] + shares * radius) * np.cos(wood.angles)[:, None]
    y = wood.middle[1] + (wood.radii[:, None] + shares * radius) * np.sin(wood.angles)[:, None]
    height, width = ground.labels.shape
    column, row = (np.clip(np.round(v), 0, n - 1).astype(int) for v, n in ((x, width), (y, height)))
    within = (x >= 0) & (x <= width - 1) & (y >= 0) & (y <= height - 1) & ground.usable[row, column]
    labels = ground.labels[row, column]
    strength = _edges(ground, x, y)
    far = ~polygon_mask(wood.points(1 + limits.reach), ground.labels.shape) & ground.usable
    beyond = 0.3 * np.bincount(ground.labels[far], minlength=ground.clusters)
    reach = np.full(len(wood.radii), 0.04)
    gain = 0.0
    for _ in range(6):
        bark = within & (shares > 0.01) & (shares < np.maximum(reach, 0.02)[:, None])
        rest = within & (shares > reach[:, None] + 0.02)
        if not bark.any():
            return None
        table = log_ratio(
            np.bincount(labels[bark], minlength=ground.clusters),
            np.bincount(labels[rest], minlength=ground.clusters) + beyond,
            2.0,
        )
        along = blurred(table[labels].astype(np.float32), 1.0)
        along[~within] = -1.0
        total = np.cumsum(along, axis=1)
        best = best_closed_path(-limits.region / radius * total - limits.edge * strength, 4, 0.05)
        gain = float(total[np.arange(len(best)), best].mean())
        moved = float(np.abs(shares[best] - reach).mean())
        reach = shares[best]
        if moved < 0.003:
            break
    return reach * radius if gain > limits.least_gain else None


def _edges(ground: Ground, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how much the colour changes outwards, 1 for the strongest twentieth."""
    rays = [sampled(np.ascontiguousarray(ground.lab[..., k]), x, y) for k in range(3)]
    change = np.sqrt(sum(np.gradient(ray, axis=1) ** 2 for ray in rays))
    return np.asarray(np.minimum(change / (np.percentile(change, 95) + 1e-6), 1.0))
