"""The built-in pith finder: rings and rays, drifting centres in ever smaller discs, then the straightest rings."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import Image
from photonest.model import FlatPhoto, NotFound, Outline, Pith, Points
from photonest.pith.directions import Directions, View, directions, evened, near, turned, view
from photonest.pith.drift import CENTRE, DRIFTING, OVAL, Fit, Vote, agreement, fit, votes
from photonest.pith.rays import rays_beside, rays_meet, rays_straight
from photonest.pith.straight import (
    Weighed,
    holed,
    ring_width,
    roughly,
    straight_places,
    straightest,
    straightness,
    unseen,
    weighed,
)
from photonest.pith.sureness import BELIEVED_IN_PART, SEEN_WHOLE, Located, believed, doubtful, standard_error

HINT = "sand or plane the middle, take a sharper photo in even light, or set the pith by hand"
FAINT, FAINT_AT_EDGE = 0.25, 0.6  # below it the search for straight rings starts from several places
REACH, SAME = 0.04, 0.005  # mean radii: a place so far from the fit must win 0.05; places so near are one
BELIEVED = 0.02, 0.06  # so straight rings must lie that the fit counts less than they, and not at all
LIKELY = 0.04, 0.12  # so straight rings may lie by chance, and are sure not to
WIDTH_WITHIN = 0.15  # mean diameters about the pith within which the rings' width is taken
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
CLEAR = 0.6  # share of lines in agreement above which no rival is looked at
ASKED = 6  # times as many lines as are fitted are asked whether they agree: fewer would decide by chance
LOST = 0.12  # smaller by this than by a larger disc, the share of lines in agreement says that the answer went astray
MIDDLE, SPOILT = 0.12, (1.3, 1.8)  # mean radii; times as straight about the middle as in it, hardly and surely spoilt
AT_EDGE, QUICK = (1.0, 0.3), 3.0  # mean radii of two more looks at a pith at the edge; pixels
LOST_IN_PART = 0.03  # the same where hardly any rings are seen
SURELY = 0.03  # so much straighter rings must lie about another place that it is believed
PLAINLY = 0.25  # so straight lie rings that no ray is asked
RAYS_WIN = 0.017, 0.027  # so much straighter rays must lie elsewhere
RAYS_ERROR = 0.006  # mean diameters
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
    samples: int = 1200


Answer = tuple[NDArray[np.float64], float, float]
"""The pith in pixels, how straight the rings lie about it, and how unsure it is in pixels."""


def locate(seen: View, edge: NDArray[np.float64], samples: int) -> Located | None:
    """Return the pith of the wood within an edge in pixels; None where hardly any lines are to be seen.

    Where the lines don't agree on it, rivals are tried, and the one kept that most lines agree on.
    """
    parts = [directions(seen, 1.0, 3.0), directions(seen, 2.0, 6.0)]
    whole = near(parts, np.zeros(2), math.inf, samples)
    if len(whole.points) < 200:
        return None
    even, radius = evened(whole), seen.diameter / 2
    many = near(parts, np.zeros(2), math.inf, ASKED * samples)
    asked = evened(many)
    best: list[Fit] = []
    rays, most = False, -1.0
    for vote in votes(even, edge.min(axis=0), edge.max(axis=0), seen.diameter / 4):
        fits = _followed(seen, parts, whole, vote, samples)
        agree = agreement(asked, fits[-1].parameters, radius)
        if agree > most:
            best, rays, most = fits, vote.rays, agree
        if agree > CLEAR:
            break
    covered = _covered(seen, best[-1].centre)
    if covered < SEEN_WHOLE:
        best += _by_many(turned(many, best[-1].centre) if rays else many, best[-1])
    shares = [agreement(even, one.parameters, radius) for one in best]
    centre, straight, unsure = _straighten(seen, best[-1], covered < SEEN_WHOLE)
    if straight < LIKELY[0] and covered >= SEEN_WHOLE:  # a small disc without rings shows but chance
        kept = max(k for k, share in enumerate(shares) if share > max(shares) - LOST_IN_PART)
        other = _straighten(seen, best[kept], False)
        if other[1] > straight + SURELY:
            best, shares = best[: kept + 1], shares[: kept + 1]
            centre, straight, unsure = other
    clear = 0.0
    if straight < PLAINLY and covered >= SEEN_WHOLE:
        (centre, straight, unsure), clear = _by_rays(seen, best[-1], (centre, straight, unsure))
    agree = agreement(asked, np.concatenate([centre / radius, best[-1].parameters[2:]]), radius)
    if agree < max(shares) - LOST:
        unsure = math.hypot(unsure, math.dist(centre, best[int(np.argmax(shares))].centre))
    width = ring_width(holed(seen), centre, WIDTH_WITHIN * seen.diameter)
    return Located(centre, tuple(best), agree, straight, covered, width, _outside(seen, best[-1].centre), unsure, clear)


def _followed(seen: View, parts: list[Directions], whole: Directions, vote: Vote, samples: int) -> list[Fit]:
    """Return the families of rings in ever smaller discs, from where a vote puts the pith."""
    radius = seen.diameter / 2
    start = np.concatenate([vote.place / radius, np.zeros(4)])
    fits = [fit(turned(whole, vote.place) if vote.rays else whole, start, radius, CENTRE)]
    for share, free, radial in DISCS:
        # Half a disc bends a fit more than it sharpens it: the family of the whole face is then the best there is.
        if math.isfinite(share) and _covered(seen, fits[-1].centre) < SEEN_WHOLE:
            break
        for _ in range(REPEATS if math.isfinite(share) else 1):
            centre = fits[-1].centre
            disc = near(parts, centre, share * radius, samples)
            if len(disc.points) < 200:
                break
            fits.append(fit(turned(disc, centre) if radial or vote.rays else disc, fits[-1].parameters, radius, free))
            if np.hypot(*(fits[-1].centre - centre)) < 0.05 * share * radius:
                break
    return fits


def _by_many(lines: Directions, last: Fit) -> list[Fit]:
    """Return the families of the whole face by many lines; with few, chance moved a pith at the edge by a percent."""
    drifting = fit(lines, np.append(last.parameters[:DRIFTING], [0.0, 0.0]), last.unit, DRIFTING)
    return [drifting, fit(lines, drifting.parameters, last.unit, OVAL)]


def _straighten(seen: View, last: Fit, one_sided: bool) -> tuple[NDArray[np.float64], float, float]:
    """Return the point near the last fit's where the rings lie straightest, how straight, and how sure it is in pixels.

    Drift and oval of a disc are no sure guide to the innermost rings, so that they are taken as circles and as the
    fitted family, each counting by how straight they lie. Real rings are wavy: small discs miss the pith by less than
    large ones, but see little, so that three small ones share. Where rings may lie so straight by chance, the fit is
    trusted instead. How far these ways to look lie apart, and how far the fit itself and the rings of a large disc put
    it, tell how sure it is, by as much as was seen to tell on drawn faces. At an edge no disc is seen whole, so that
    the straightest place is looked for farther about as well, by a large disc and a smaller one, which shares.
    """
    radius, image = seen.diameter / 2, holed(seen, last.centre)
    families = np.zeros(4), last.parameters[2:]
    value_of = partial(straightness, image, inner=_outside(seen, last.centre))
    middle, towards, apart = _straight_about(value_of, last, one_sided)
    centres, values, shrunk, closing = [], [], [], []
    for rings in families:
        centre, small = middle, []
        for share, steps in ((0.3, (2.0, 0.5)), (0.16, (0.5, 0.25)), (0.11, (0.5, 0.25)), (0.075, (0.5, 0.25))):
            value = partial(value_of, radius=share * radius, family=rings)
            centre = straightest(value, centre, middle, 0.012 * radius, steps)
            small.append(centre)
        centres.append(np.mean(small[1:], axis=0))
        shrunk.append(small[2] - small[0])
        closing.append(small[3] - small[1])
        values.append(value_of(centres[-1], radius=0.3 * radius, family=rings))
    straight = max(values)
    weights = np.exp((np.array(values) - straight) / (0.1 * max(straight, 0.01)))
    weights /= weights.sum()
    centre = weights @ np.array(centres)
    value = partial(value_of, radius=0.5 * radius, family=families[0])
    large = straightest(value, centre, centre, 0.024 * radius, (2.0, 1.0))
    centre = centre + towards
    if one_sided:
        far, close = (_looked(value_of, last.centre, share * radius, radius) for share in AT_EDGE)
        centre = (centre + close) / 2
        ways = [0.33 * (far - centre), close - centre]
        unsure = float(np.linalg.norm(ways))
    else:
        centre, spoilt = _about_the_middle(image, last.centre, centre, straight, radius)
        ways = [0.45 * shrunk[0], 0.2 * shrunk[1], 0.2 * (large - centre), 0.1 * (last.centre - centre)]
        unsure = math.hypot(float(np.linalg.norm(ways)), 0.8 * apart, spoilt)
    moved = centre - last.centre
    if not one_sided:  # of two places either may be right, and nothing is seen of what the smallest discs still lead to
        likely = believed(straight, LIKELY)
        between = math.sqrt(likely * (1 - likely) / 2) * math.hypot(*moved)
        unsure = math.hypot(unsure, between, 1.4 * math.hypot(*closing[0]))
    trust = believed(straight, BELIEVED_IN_PART if one_sided else BELIEVED)
    return last.centre + trust * moved, straight, unsure


def _about_the_middle(
    image: Image, fitted: NDArray[np.float64], centre: NDArray[np.float64], straight: float, radius: float
) -> tuple[NDArray[np.float64], float]:
    """Return the pith by the rings about the middle where those in it lie much less straight, and how unsure that is.

    A hole, rot or a stain in the middle has an edge that passes for rings about another place.
    """
    value = partial(straightness, image, radius=0.3 * radius, family=np.zeros(4), inner=MIDDLE * radius)
    start = straight_places(partial(value, stride=2.0), fitted, 0.04 * radius)[0]
    other = straightest(value, start, start, 0.1 * radius, (1.0, 0.25))
    seen = value(other)
    spoilt = believed(seen / max(straight, 0.01), SPOILT) * believed(seen, LIKELY)
    moved = other - centre
    return centre + spoilt * moved, math.sqrt(spoilt * (1 - spoilt) / 2) * math.hypot(*moved)


def _by_rays(seen: View, last: Fit, answer: Answer) -> tuple[Answer, float]:
    """Return the answer, changed for where the rays meet if that is elsewhere, and how clearly they meet there.

    Rot, stains, knots and the edges of holes pass for rings, but not for rays. Where these meet rings are looked for
    again.
    """
    radius, image = seen.diameter / 2, holed(seen, last.centre)
    value = partial(rays_straight, image, radius=radius)
    centre, straight, unsure = answer
    meet = rays_meet(image, centre, radius)
    best = value(meet)
    won = believed(best - value(centre), RAYS_WIN)
    if won:
        again = _straighten(seen, last._replace(parameters=np.append(meet / radius, last.parameters[2:])), False)
        if best - value(again[0]) > RAYS_WIN[0] / 2:
            again = meet, 0.0, 0.0
        moved = again[0] - centre
        between = math.sqrt(won * (1 - won) / 2) * math.hypot(*moved)
        centre, straight = centre + won * moved, straight + won * (again[1] - straight)
        unsure = math.hypot((1 - won) * unsure, won * again[2], between, won * RAYS_ERROR * seen.diameter)
    return (centre, straight, unsure), value(centre) - rays_beside(image, centre, radius)


def _looked(
    value_of: Callable[..., float], near_to: NDArray[np.float64], radius: float, unit: float
) -> NDArray[np.float64]:
    """Return where the rings lie straightest as circles, out to `radius` pixels, within some percents of a point."""
    value = partial(value_of, radius=radius, family=np.zeros(4))
    start = straight_places(partial(value, stride=QUICK), near_to, 0.06 * unit)[0]
    return straightest(value, start, start, 0.1 * unit, (2.0, 0.5))


def _outside(seen: View, centre: NDArray[np.float64]) -> float:
    """Return how far from a point, in pixels, the rings begin to be seen."""
    return unseen(holed(seen, centre), centre, seen.diameter / 2)


def _straight_about(value_of: Callable[..., float], last: Fit, one_sided: bool) -> Weighed:
    """Return about where the rings lie straightest, by large discs and small ones at once.

    Where they hardly do, the fit may be some percent off, drawn away by rays and stains: then more places are tried,
    each counting by how straight the rings lie about it and how near to the fit it is.
    """
    radius = last.unit
    circles, family = np.zeros(4), last.parameters[2:]

    def wide(point: NDArray[np.float64]) -> float:
        looks = ((0.6, family), (0.4, circles), (0.25, circles), (0.13, circles))
        return sum(value_of(point, radius=share * radius, family=rings, stride=2.0) for share, rings in looks) / 2

    def quick(point: NDArray[np.float64]) -> float:
        looks = ((0.6, 3.0), (0.3, 2.0)) if one_sided else ((0.3, 2.0), (0.14, 1.0))
        return sum(value_of(point, radius=share * radius, family=circles, stride=step) for share, step in looks)

    hold = (0.04 if one_sided else 0.024) * radius
    middle = straightest(wide, roughly(wide, last.centre, hold), last.centre, hold, (1.0, 1.0))
    if wide(middle) >= (FAINT_AT_EDGE if one_sided else FAINT):
        return Weighed(middle, np.zeros(2), 0.0)
    places = [middle]
    for place in straight_places(quick, last.centre, 0.06 * radius):
        other = straightest(wide, place, last.centre, REACH * radius, (2.0, 1.0))
        if min(np.hypot(*(other - known)) for known in places) > SAME * radius:
            places.append(other)
    off = np.array([np.linalg.norm(place - last.centre) for place in places]) / (REACH * radius)
    return weighed(places, np.array([wide(place) for place in places]) - 0.05 * off**2)


def _covered(seen: View, centre: NDArray[np.float64]) -> float:
    """Return how much the wood covers of the disc about a point, an eighth of the diameter in radius."""
    radius = seen.diameter / 8
    first, beyond = (np.maximum(centre + reach, 0).astype(int) for reach in (-radius, radius + 1))
    part = seen.mask[first[1] : beyond[1], first[0] : beyond[0]]
    rows, columns = np.ogrid[: part.shape[0], : part.shape[1]]
    x, y = first - centre
    held = part & ((columns + x) ** 2 + (rows + y) ** 2 <= radius**2)
    return float(np.count_nonzero(held) / (math.pi * radius**2))


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
        if doubtful(found, error):
            return NotFound("the rings and rays to be seen don't agree on a pith", HINT)
        point = seen.flat.to_mm(found.centre)
        inside = _holds(outline.points, point)
        return Pith(
            (float(point[0]), float(point[1])),
            error * seen.diameter * seen.flat.mm_per_px,
            inside=inside,
            warnings=() if inside else ("The pith lies outside the piece: it is worked out from how the rings bend.",),
        )


def _holds(outline: Points, point: NDArray[np.float64]) -> bool:
    """Return whether a closed line holds a point."""
    import cv2

    line = np.asarray(outline, dtype=np.float32).reshape(-1, 1, 2)
    return bool(cv2.pointPolygonTest(line, (float(point[0]), float(point[1])), False) >= 0)
