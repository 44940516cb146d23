"""The built-in pith finder: ring normals, drifting centres in ever smaller discs, then the straightest rings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from photonest.model import FlatPhoto, NotFound, Outline, Pith
from photonest.pith.directions import field, sample, view
from photonest.pith.drift import DRIFTING, OVAL, fit, vote
from photonest.pith.straight import straightest


@dataclass(frozen=True)
class RingOptions:
    """Settings of the pith finder; shares are of the wood's mean radius."""

    work_px: int = 700
    samples: int = 4000


class RingPith:
    """Finds the pith from the rings."""

    name = "rings"
    version = "1"
    Options = RingOptions

    def find(self, flat: FlatPhoto, outline: Outline, options: RingOptions) -> Pith | NotFound:
        """Return the pith in mm with its standard error along each axis."""
        seen = view(flat, outline.wood, options.work_px)
        radius = seen.diameter / 2
        if seen.mask.sum() < 1000:
            return NotFound("the piece is too small in the photo", "come nearer, or use a photo with more pixels")
        fields = [field(seen, 1.0, 3.0), field(seen, 2.0, 6.0)]
        whole = sample(fields, np.zeros(2), np.inf, options.samples)
        if len(whole.points) < 200:
            return NotFound("no rings are to be seen", "take a sharper photo, or set the pith by hand")
        edge = seen.flat.to_px(outline.wood)
        start = np.concatenate([vote(whole, edge.min(axis=0), edge.max(axis=0)) / radius, np.zeros(4)])
        found = fit(whole, start, radius, 2)
        for share, free in (
            (np.inf, DRIFTING),
            (np.inf, OVAL),
            (0.7, OVAL),
            (0.4, OVAL),
            (0.25, OVAL),
            (0.15, DRIFTING),
        ):
            near = sample(fields, found.centre, share * radius, options.samples)
            if len(near.points) < 200:
                break
            found = fit(near, found.parameters, radius, free)
        centre = found.centre
        for share in (0.3, 0.16):
            centre = straightest(seen, centre, share * radius)
        point = seen.flat.to_mm([centre])[0]
        return Pith((float(point[0]), float(point[1])), 0.003 * seen.diameter * seen.flat.mm_per_px)
