"""How sure a pith is: what was seen of it, the standard error by that, and whether to trust it at all."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.pith.drift import Fit

BY_CHANCE, HARDLY = 0.02, 0.12  # so straight lie the rings about any place, and about a pith hardly to be seen
BELIEVED_IN_PART = 0.1, 0.25  # so straight rings seen in part must lie that a fit counts less than they, and not at all
SEEN_WHOLE = 0.7  # of the disc about a pith; with less it is sought and doubted as one at the edge
LARGEST_ERROR = 0.015  # of the mean diameter; beyond it there is no answer
LARGEST_AT_EDGE = 0.009  # for a pith at the edge of the wood or outside: twice as much is too much there
CLEAR_RAYS = 0.7  # share above which lines without straight rings are enough
RAYS_TOLD = 0.0045  # mean diameters: so unsure is a pith at most that rays tell
RAYS_TELL = 0.03, 0.06  # so much straighter about the pith than beside it rays lie that tell it, hardly and surely


class Located(NamedTuple):
    """The pith in pixels and what tells how good it is.

    Attributes
    ----------
    fits : tuple of Fit
        The families of rings, from the whole face to the smallest disc used.
    agree : float
        Share of the lines all over the face that run along the rings or along the rays of the answer, 0 to 1.
    straight : float
        How straight the rings lie when unrolled about it, 0 to 1.
    covered : float
        How much of the disc about it, a quarter of the diameter wide, is wood.
    width : float
        How far apart, in pixels, the rings about it lie.
    outside : float
        How far from it, in pixels, the rings begin to be seen.
    unsure : float
        How far, in pixels, other ways to look put it, by as much as each has been seen to tell; where small discs left
        the place that most lines agree on, how far off that is.
    rays : float
        How much straighter the rays lie about it than some percents off; 0 where they weren't asked.
    """

    centre: NDArray[np.float64]
    fits: tuple[Fit, ...]
    agree: float
    straight: float
    covered: float
    width: float
    outside: float
    unsure: float
    rays: float

    @property
    def one_sided(self) -> bool:
        """Whether the pith lies at the edge of the wood or outside it, so that no disc about it is seen whole."""
        return self.covered < SEEN_WHOLE


def believed(straight: float, between: tuple[float, float]) -> float:
    """Return how far rings are believed to lie straight, 0 to 1."""
    low, high = between
    return min(max((straight - low) / (high - low), 0.0), 1.0)


def standard_error(found: Located, diameter: float) -> float:
    """Return the standard error along each axis, in mean diameters.

    Measured on drawn faces and on photos read by eye (tests/bench/pith.py): where the pith is seen all round, the
    error goes with how far several ways to look at it lie apart, how little of the contrast the rings explain, how wide
    the rings are (nothing is seen within the innermost) and, where next to nothing is explained, with how few of the
    lines agree, unless rays clearly meet there; it doubles towards an edge of the wood. At the edge it goes with how
    far those ways lie apart, how far off the first rings are seen and how little straight they lie.
    """
    coarse = 0.003 * (250 / diameter) ** 2.5  # fewer pixels lose the inner rings: faces made smaller step by step
    if not found.one_sided:
        usual, faint = 2e-5 * (max(found.straight, 0.0) + 0.03) ** -2.0, 0.0
        if found.straight < HARDLY:  # the straightest place may be another's
            faint = 0.001 + 0.04 * max(0.75 - found.agree, 0.0) + 0.002 * (found.straight < BY_CHANCE)
        wide = min(150 * (found.width / diameter) ** 3, 0.002)
        hidden = (1 - min(found.covered, 1.0)) / (1 - SEEN_WHOLE)
        doubt = math.hypot(usual, faint)
        doubt -= believed(found.rays, RAYS_TELL) * max(doubt - RAYS_TOLD, 0.0)
        return (1 + hidden) * math.hypot(doubt, 0.5 * found.unsure / diameter, wide, 0.6 * coarse)
    faint = 0.028 * max(0.3 - found.straight, 0.0)
    return math.hypot(0.0013, found.unsure / diameter, 0.035 * found.outside / diameter, faint, coarse)


def doubtful(found: Located, error: float) -> bool:
    """Return whether no one should trust the answer.

    Few lines agree on it: the side of the grain shows lines that run past each other (0.42 of them at most agreed on
    drawn blanks), and seldom straight rings. Or no ring lies straighter about it than about any other place, and the
    rays alone don't say enough. Or, at the edge of the piece or outside, it still wandered off when the rings were let
    be oval.
    """
    largest = LARGEST_AT_EDGE if found.one_sided else LARGEST_ERROR
    told = believed(found.rays, RAYS_TELL)
    if found.agree < 0.43 or found.agree + found.straight + 0.1 * told < 0.56 or error > largest:
        return True
    if not found.one_sided:
        return found.straight < BY_CHANCE and found.agree < CLEAR_RAYS and told < 1
    wandered = float(np.hypot(*(found.fits[-1].centre - found.fits[-2].centre))) / found.fits[-1].unit
    return found.agree < 0.52 or found.straight < BELIEVED_IN_PART[0] or wandered > 0.06
