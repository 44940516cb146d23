"""The built-in pith finder: rings and rays, drifting centres in ever smaller discs, then the straightest rings."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.model import FlatPhoto, NotFound, Outline, Pith
from photonest.pith.directions import View, field, sample, turned, view
from photonest.pith.drift import CENTRE, DRIFTING, OVAL, Fit, fit, vote
from photonest.pith.straight import straightest, straightness

HINT = "sand or plane the middle, take a sharper photo in even light, or set the pith by hand"
# Radius of the disc looked at in mean radii, how much of the family is free, and whether radial lines (rays, checks,
# knots) count too: over the whole face they may be anything, near the pith they point at it.
DISCS = (
    (math.inf, DRIFTING, False),
    (math.inf, OVAL, False),
    (0.7, OVAL, True),
    (0.4, OVAL, True),
    (0.25, OVAL, True),
    (0.15, DRIFTING, True),
)


@dataclass(frozen=True)
class RingOptions:
    """Settings of the pith finder.

    Attributes
    ----------
    work_px : int
        Mean diameter of the wood in the reduced picture.
    samples : int
        Points looked at, at each of two scales.
    """

    work_px: int = 700
    samples: int = 2000


class Located(NamedTuple):
    """The pith in pixels and what tells how good it is.

    `fits` are those of the shrinking discs; `moved` how far the straightest rings lie from the last of them, in mean
    diameters; `share` that of the lines that point at the pith; `straight` how straight the rings lie, 0 to 1.
    """

    centre: NDArray[np.float64]
    fits: tuple[Fit, ...]
    moved: float
    rays: bool
    share: float
    straight: float


def locate(seen: View, edge: NDArray[np.float64], samples: int) -> Located | None:
    """Return the pith of the wood within an edge in pixels; None where hardly any lines are to be seen."""
    radius = seen.diameter / 2
    fields = [field(seen, 1.0, 3.0), field(seen, 2.0, 6.0)]
    whole = sample(fields, np.zeros(2), math.inf, samples)
    if len(whole.points) < 200:
        return None
    low, high = edge.min(axis=0), edge.max(axis=0)
    first = vote(whole, low, high, 0.5 * radius)
    start = np.concatenate([first.place / radius, np.zeros(4)])
    fits = [fit(turned(whole, first.place) if first.rays else whole, start, radius, CENTRE)]
    for share, free, radial in DISCS:
        centre = fits[-1].centre
        near = sample(fields, centre, share * radius, samples)
        if len(near.points) < 200:
            break
        fits.append(fit(turned(near, centre) if radial or first.rays else near, fits[-1].parameters, radius, free))
    anchor = centre = fits[-1].centre
    for share in (0.3, 0.16):
        centre = straightest(seen, centre, anchor, share * radius, 0.006 * seen.diameter)
    moved = float(np.hypot(*(centre - anchor))) / seen.diameter
    return Located(centre, tuple(fits), moved, first.rays, first.share, straightness(seen, centre, 0.3 * radius))


class RingPith:
    """Finds the pith from the rings."""

    name = "rings"
    version = "1"
    Options = RingOptions

    def find(self, flat: FlatPhoto, outline: Outline, options: RingOptions) -> Pith | NotFound:
        """Return the pith in mm with its standard error along each axis."""
        seen = view(flat, outline.wood, options.work_px)
        if seen.mask.sum() < 2000:
            return NotFound("the piece is too small in the photo", "come nearer, or use a photo with more pixels")
        found = locate(seen, seen.flat.to_px(outline.wood), options.samples)
        if found is None:
            return NotFound("no rings are to be seen", HINT)
        point = seen.flat.to_mm(found.centre)
        return Pith((float(point[0]), float(point[1])), 0.003 * seen.diameter * seen.flat.mm_per_px)
