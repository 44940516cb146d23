"""The built-in pith finder: rings and rays, drifting centres in ever smaller discs, then the straightest rings."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.model import FlatPhoto, NotFound, Outline, Pith, Points
from photonest.pith.directions import View, field, sample, turned, view
from photonest.pith.drift import CENTRE, DRIFTING, OVAL, Fit, fit, vote
from photonest.pith.straight import straightest, straightness

HINT = "sand or plane the middle, take a sharper photo in even light, or set the pith by hand"
FEW_RAYS = 0.58  # share of the lines below which rays alone are a poor witness
LARGEST_ERROR = 0.03  # of the mean diameter; beyond it there is no answer
# Radius of the disc looked at in mean radii, how much of the family is free, and whether radial lines (rays, checks,
# knots) count too: over the whole face they may be anything, near the pith they point at it.
DISCS = (
    (math.inf, DRIFTING, False),
    (math.inf, OVAL, False),
    (0.75, OVAL, True),
    (0.55, OVAL, True),
    (0.4, OVAL, True),
    (0.3, OVAL, True),
    (0.22, OVAL, True),
    (0.15, DRIFTING, True),
)
REPEATS = 4  # a disc follows its own centre this often at most, for as long as that moves by a twentieth of its radius


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

    Attributes
    ----------
    fits : tuple of Fit
        The families of rings, from the whole face to the smallest disc used.
    share : float
        Of the lines that point at the pith, 0 to 1, and `rays` whether they are rays rather than rings.
    straight : float
        How straight the rings lie when unrolled about it, 0 to 1.
    one_sided : bool
        The pith lies at the edge of the wood or outside it, so that no disc about it is seen whole.
    unsure : float
        Half the distance, in pixels, between two ways to say where the rings lie straightest.
    """

    centre: NDArray[np.float64]
    fits: tuple[Fit, ...]
    rays: bool
    share: float
    straight: float
    one_sided: bool
    unsure: float


def locate(seen: View, edge: NDArray[np.float64], samples: int) -> Located | None:
    """Return the pith of the wood within an edge in pixels; None where hardly any lines are to be seen."""
    radius = seen.diameter / 2
    fields = [field(seen, 1.0, 3.0), field(seen, 2.0, 6.0)]
    whole = sample(fields, np.zeros(2), math.inf, samples)
    if len(whole.points) < 200:
        return None
    first = vote(whole, edge.min(axis=0), edge.max(axis=0), 0.5 * radius)
    start = np.concatenate([first.place / radius, np.zeros(4)])
    fits = [fit(turned(whole, first.place) if first.rays else whole, start, radius, CENTRE)]
    one_sided = False
    for share, free, radial in DISCS:
        one_sided = math.isfinite(share) and _covered(seen, fits[-1].centre, 0.25 * radius) < 0.7
        # Half a disc bends a fit more than it sharpens it: the family of the whole face is then the best there is.
        if one_sided:
            break
        for _ in range(REPEATS if math.isfinite(share) else 1):
            centre = fits[-1].centre
            near = sample(fields, centre, share * radius, samples)
            if len(near.points) < 200:
                break
            fits.append(fit(turned(near, centre) if radial or first.rays else near, fits[-1].parameters, radius, free))
            if np.hypot(*(fits[-1].centre - centre)) < 0.05 * share * radius:
                break
    centre, straight, unsure = _straighten(seen, fits[-1], one_sided)
    return Located(centre, tuple(fits), first.rays, first.share, straight, one_sided, unsure)


def _straighten(seen: View, last: Fit, one_sided: bool) -> tuple[NDArray[np.float64], float, float]:
    """Return the point near the last fit's where the rings lie straightest, how straight, and how sure it is in pixels.

    The rings are taken as circles and as the fitted family. Drift and oval of a disc are no sure guide to the innermost
    rings: where both lie about as straight, the truth is halfway, give or take half the distance.
    """
    radius = seen.diameter / 2
    centres, values = [], []
    for family in (np.zeros(4), last.parameters[2:]):
        centre = last.centre
        for share in (0.3, 0.16):
            centre = straightest(seen, centre, last.centre, share * radius, 0.006 * seen.diameter, family)
        centres.append(centre)
        values.append(straightness(seen, centre, 0.3 * radius, family))
    straight = max(values)
    if one_sided and straight < 0.25:
        return last.centre, straight, 0.0
    if min(values) < 0.75 * straight:
        return centres[int(np.argmax(values))], straight, 0.0
    return (centres[0] + centres[1]) / 2, straight, float(np.hypot(*(centres[0] - centres[1]))) / 2


def _covered(seen: View, centre: NDArray[np.float64], radius: float) -> float:
    """Return how much of a disc the wood covers."""
    reach = math.ceil(radius)
    y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = np.hypot(x, y) <= radius
    columns, rows = x[disc] + round(float(centre[0])), y[disc] + round(float(centre[1]))
    height, width = seen.mask.shape
    held = (columns >= 0) & (columns < width) & (rows >= 0) & (rows < height)
    return float(seen.mask[rows[held], columns[held]].sum()) / len(rows)


def standard_error(found: Located, diameter: float) -> float:
    """Return the standard error along each axis, in mean diameters.

    Measured on drawn faces and on photos read by eye (tests/bench/faces.py): where the pith is seen all round, the
    error goes with how little of the contrast the rings explain, and is two to four times that where only rays show
    it; else with the uncertainty of the fit, whose observations are far from independent.
    """
    if found.one_sided:
        formal = 100 * math.sqrt(float(np.trace(found.fits[-1].covariance)) / 2) / diameter
        return float(max(0.07 * (formal + 0.01) ** 1.4, 0.002))
    rays = 1.0 if not found.rays else 2.2 if found.share >= FEW_RAYS else 4.4
    usual = max(0.00034 * rays * (max(found.straight, 0.0) + 0.03) ** -1.15, 0.0005)
    return math.hypot(usual, 0.7 * found.unsure / diameter)


def _doubtful(found: Located, error: float) -> bool:
    """Return whether no one should trust the answer: hardly any straight rings, and few lines that point at it."""
    few = found.share < (FEW_RAYS if found.rays else 0.48)
    return error > LARGEST_ERROR or (few and (found.straight < 0.1 or (found.rays and found.one_sided)))


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
        error = standard_error(found, seen.diameter)
        if _doubtful(found, error):
            return NotFound("the rings and rays to be seen don't agree on a pith", HINT)
        point = seen.flat.to_mm(found.centre)
        inside = _holds(outline.points, point)
        return Pith(
            (float(point[0]), float(point[1])),
            error * seen.diameter * seen.flat.mm_per_px,
            inside=inside,
            warnings=() if inside else ("the pith lies outside the piece: it is worked out from how the rings bend",),
        )


def _holds(outline: Points, point: NDArray[np.float64]) -> bool:
    """Return whether a closed line holds a point."""
    import cv2

    line = np.asarray(outline, dtype=np.float32).reshape(-1, 1, 2)
    return bool(cv2.pointPolygonTest(line, (float(point[0]), float(point[1])), False) >= 0)
