"""How far the edge of a log may reach while the log turns within a span of directions."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from photonest.nest.logsite import EDGE_STEP
from photonest.nest.rules import Real

BINS = 2880  # fine enough that spans of a few tenths of a degree gain by being halved
FINER = 4  # so many times as many points of the edge are looked at, for how far it reaches
EDGE_BINS = 12  # bins from one point of the edge to the next


@dataclass(frozen=True, eq=False)
class Reach:
    """How far the edge reaches from the centre of turning, the most in each bin of directions.

    Attributes
    ----------
    farthest : ndarray, shape (BINS,)
    gap : float
        How far apart, in radians, the points looked at may be as seen from the centre.
    """

    farthest: Real
    gap: float
    memory: dict[int, Real] = field(default_factory=dict)

    def outermost(self, half: float) -> Real:
        """Return points about the centre, each as far out as the edge reaches within `half` radians to either side."""
        return _on_rays(self._most_within(half), EDGE_BINS)

    def polygon(self, half: float, step: int) -> Real:
        """Return the corners, so many bins apart, of a polygon that holds the wood turned by up to `half` radians.

        Each corner is as far out as any wood between its neighbours, so that no chord cuts off more than a chord of the
        circle would.
        """
        wide = step * 2 * math.pi / BINS
        return _on_rays(self._most_within(half + wide), step) / math.cos(wide / 2)

    def _most_within(self, half: float) -> Real:
        from scipy import ndimage

        wide = math.ceil((half + self.gap) / (2 * math.pi) * BINS) + 1
        if wide not in self.memory:
            self.memory[wide] = ndimage.maximum_filter1d(self.farthest, 2 * wide + 1, mode="wrap")
        return self.memory[wide]


def reach_of(outline: Real) -> Reach:
    """Return how far an outline, by points about the centre no farther than EDGE_STEP apart, reaches.

    Between two points of the outline the distance from the centre is largest at one of them; so each bin looks as far
    to either side as the points may be apart.
    """
    shares = np.arange(FINER)[None, :, None] / FINER
    outline = (outline[:, None] * (1 - shares) + np.roll(outline, -1, axis=0)[:, None] * shares).reshape(-1, 2)
    radius = np.hypot(outline[:, 0], outline[:, 1])
    angle = np.arctan2(outline[:, 1], outline[:, 0]) % (2 * math.pi)
    farthest = np.zeros(BINS)
    np.maximum.at(farthest, np.minimum((angle / (2 * math.pi) * BINS).astype(int), BINS - 1), radius)
    return Reach(farthest, EDGE_STEP / FINER / max(float(radius.min()), EDGE_STEP))


def _on_rays(radius: Real, step: int) -> Real:
    picked = np.arange(0, BINS, step)
    theta = (picked + 0.5) * (2 * math.pi / BINS)
    found: Real = radius[picked, None] * np.stack([np.cos(theta), np.sin(theta)], axis=1)
    return found
