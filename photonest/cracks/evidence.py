"""What speaks for and against a candidate line being a crack, as numbers that do not depend on the photo's size.

They are few on purpose: of two dozen tried, most of what the photo shows across a line (its width, sharpness, taper,
colour, length) told no more on photos that the judge never saw than the network's answer and the place. How far it
stands out from the wood's texture does: real wood has more pale streaks than drawn wood.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from photonest.cracks.profiles import Profile, ranked
from photonest.cracks.search import Candidate, View
from photonest.model import Pith

LEAST_DEPTH = 0.5  # grey levels


class Evidence(NamedTuple):
    """The cues of one candidate; D is the mean diameter.

    Attributes
    ----------
    likely : float
        Log odds of a crack as the network sees it, mean along it.
    off_radial : float
        Sine of the angle between line and radius; 0 without a pith.
    to_pith, to_rim : float
        Distance of the nearer end to either, over D; 0.5 without a pith.
    blind : float
        1 where no pith is known.
    clear : float
        Log of how deep the line is, where it is deep, over the texture beside it.
    blind_clear : float
        The same where no pith is known, else 0: on side grain the grain itself stands out.
    """

    likely: float
    off_radial: float
    to_pith: float
    to_rim: float
    blind: float
    clear: float
    blind_clear: float


def evidence(found: Sequence[Candidate], seen: View, pith: Pith | None) -> list[Evidence]:
    """Return the cues of every candidate."""
    return [
        Evidence(
            float(np.clip(one.odds, -8, 8).mean()),
            *_place(one.profile, seen, pith),
            blind=float(pith is None),
            clear=clear,
            blind_clear=clear if pith is None else 0.0,
        )
        for one, clear in ((one, _clear(one.profile)) for one in found)
    ]


def _clear(line: Profile) -> float:
    return float(np.log(max(ranked(line.depth, 0.9), LEAST_DEPTH) / line.noise))


def _place(line: Profile, seen: View, pith: Pith | None) -> tuple[float, float, float]:
    import cv2

    if pith is None:
        return 0.0, 0.5, 0.5
    ends = seen.full.to_mm(line.path[[0, -1]])
    edge = seen.outline.astype(np.float32).reshape(-1, 1, 2)
    to_rim = min(cv2.pointPolygonTest(edge, (float(x), float(y)), True) for x, y in ends)
    radius = ends.mean(axis=0) - pith.point
    chord = ends[1] - ends[0]
    cross = abs(radius[0] * chord[1] - radius[1] * chord[0])
    off = cross / max(float(np.hypot(*radius) * np.hypot(*chord)), 1e-9)
    to_pith = float(np.hypot(*(ends - pith.point).T).min())
    return float(off), to_pith / seen.diameter, max(0.0, to_rim) / seen.diameter
