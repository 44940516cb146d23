"""How straight the rings lie when unrolled about a point, and the point where they lie straightest."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import Image, Mask, sampled
from photonest.pith.directions import View

SECTORS, RAYS = 24, 5
LEAST_SECTORS = 3  # that must see a ring: a quarter of a disc shows its rings too
SEEING = 5  # sectors from which on a ring is looked at
HOLE_NEAR = 0.05  # of the diameter
STREAK = 28  # pixels along the radius over which a sector is evened: rays and stains go on for longer, rings don't
BY_CHANCE = 0.8  # over as many sectors: the share of mere noise that their median explains
BANDS = 4  # of the radius: each counts alike, so that one strong line, as a stained heart's edge, is not everything
GRID, PLACES = 4.0, 3  # pixels; as many are looked at closer
ROUGHLY = -4.0, -2.0, 0.0, 2.0, 4.0  # pixels
NOISE = 0.01  # by so much do rings lie straighter about one place than about another for nothing
_ANGLES = ((np.arange(SECTORS * RAYS) + 0.5) * 2 * np.pi / (SECTORS * RAYS))[:, None].astype(np.float32)
_COSINE, _SINE = np.cos(_ANGLES), np.sin(_ANGLES)

Place = NDArray[np.float64]


def holed(seen: View, centre: Place | None = None) -> Image:
    """Return the wood, nan where there is none, and in holes that lie near a point."""
    out: Image = np.where(seen.mask, seen.image, np.float32(np.nan))
    if centre is not None and seen.holes.any():
        out[_near(seen, centre)] = np.nan
    return out


def _near(seen: View, centre: Place) -> Mask:
    """Return the holes that come within some percents of the diameter of a point."""
    import cv2

    count, labels = cv2.connectedComponents(seen.holes.view(np.uint8))
    rows, columns = np.nonzero(labels)
    away = np.hypot(columns - centre[0], rows - centre[1])
    close = np.bincount(labels[rows, columns][away < HOLE_NEAR * seen.diameter], minlength=count) > 0
    return np.asarray(close[labels])


def straightness(
    image: Image, centre: Place, radius: float, family: NDArray[np.float64], stride: float = 1.0, inner: float = 0.0
) -> float:
    """Return how much of the wood's contrast about a point, `radius` pixels from `inner` out, its rings explain.

    The face (nan outside the wood) is unrolled and averaged over sectors, and each evened along the radius, for rays
    would outweigh fine rings; the rings are the median of the sectors at each distance, so that knots, cracks and
    stains in a few of them don't count. 1 means perfectly straight, 0 no rings about this point; where too little wood
    is seen all is unexplained, so that a point off the wood gains nothing by what it doesn't see. The face is unrolled
    along the rings of a `family` (drift x, drift y, oval, oval at 45 degrees); zeros mean circles. It is looked at
    every `stride` pixels along the radius.
    """
    across, down = _rays(radius, tuple(family.tolist()), stride, inner)
    streak = round(STREAK / stride) | 1
    x, y = across + np.float32(centre[0]), down + np.float32(centre[1])
    values = sampled(image, x, y).reshape(SECTORS, RAYS, -1)
    mean = values.sum(axis=1) / np.float32(RAYS)
    if np.isfinite(mean.sum()):  # the usual case, and faster than with gaps
        mean = _without_rays(mean, streak)
        middle = np.partition(mean, (SECTORS // 2 - 1, SECTORS // 2), axis=0)[SECTORS // 2 - 1 : SECTORS // 2 + 1]
        return _explained(mean, (middle[0] + middle[1]) / 2, np.full(mean.shape[1], SECTORS))
    height, width = image.shape
    held = np.isfinite(values) & ((x >= 0) & (x <= width - 1) & (y >= 0) & (y <= height - 1)).reshape(values.shape)
    count = held.sum(axis=1)
    mean = np.where(held, values, 0).sum(axis=1) / np.maximum(count, 1)
    mean[count < 3] = np.nan
    seen = (count >= 3).sum(axis=0)
    mean, seen = mean[:, seen >= LEAST_SECTORS], seen[seen >= LEAST_SECTORS]
    if not mean.size:
        return 0.0
    mean = _without_rays(mean, streak)
    ordered, column = np.sort(mean, axis=0), np.arange(len(seen))  # nan comes last
    rings = (ordered[(seen - 1) // 2, column] + ordered[seen // 2, column]) / 2
    return _explained(mean, rings, seen) * len(seen) / len(across[0])


def _without_rays(sectors: Image, width: int) -> Image:
    """Return sectors (rows) less their means over `width` places along the radius; nan stays nan."""
    import cv2

    held = np.isfinite(sectors)
    if held.all():
        return np.asarray(sectors - cv2.blur(sectors, (width, 1)))
    near = cv2.blur(np.where(held, sectors, np.float32(0)), (width, 1))
    return np.asarray(sectors - near / np.maximum(cv2.blur(held.astype(np.float32), (width, 1)), np.float32(1e-6)))


@functools.lru_cache(maxsize=16)
def _rays(radius: float, family: tuple[float, ...], stride: float, inner: float = 0.0) -> tuple[Image, Image]:
    """Return how far the places looked at lie from the centre, across and down: a row a ray, a column a ring."""
    drift_x, drift_y, oval, slant = np.array(family, np.float32)
    radii = max(inner, 2.0) + np.arange(0.0, max(radius, 6.0) - 2.0, stride, dtype=np.float32)
    # To first order in the oval, the inverse square root of its matrix.
    across = radii * (drift_x + (1 - oval / 2) * _COSINE - slant / 2 * _SINE)
    return across, radii * (drift_y + (1 + oval / 2) * _SINE - slant / 2 * _COSINE)


def _explained(sectors: Image, rings: Image, seen: NDArray[np.intp]) -> float:
    """Return the share of the contrast over sectors (rows) that the rings explain, by bands of the radius.

    What the median of as many sectors as see each ring explains of mere noise is taken off: few explain much.
    """
    starts, lengths = _bands(len(rings))
    level = np.repeat(np.add.reduceat(rings, starts) / lengths, lengths)
    away = np.abs(sectors - np.array([rings, level], np.float32)[:, None])
    sums = away.sum(axis=1)
    if np.isnan(sums).any():
        sums = np.nansum(away, axis=1)
    sums[0] /= 1 - BY_CHANCE / seen
    left, total = np.add.reduceat(sums, starts, axis=1)
    return 1 - float((left / np.maximum(total, 1e-9)).mean())


@functools.lru_cache(maxsize=64)
def _bands(count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return where so many places along the radius are cut into bands, and how many each has."""
    bands = max(1, min(BANDS, count // 8))
    starts = np.arange(bands) * count // bands
    return starts, np.diff(starts, append=count)


def ring_width(image: Image, centre: Place, radius: float) -> float:
    """Return how far apart the rings about a point lie, out to `radius` pixels: the mean wavelength of their tones."""
    across, down = _rays(radius, (0.0, 0.0, 0.0, 0.0), 1.0)
    values = sampled(image, across + np.float32(centre[0]), down + np.float32(centre[1]))
    mean = np.nan_to_num(values).reshape(SECTORS, RAYS, -1).mean(axis=1)
    rings = np.median(mean, axis=0)
    size = 4 * len(rings)
    power = np.abs(np.fft.rfft((rings - rings.mean()) * np.hanning(len(rings)), size)) ** 2
    waves = np.fft.rfftfreq(size)
    power[waves < 1.5 / len(rings)] = 0.0  # what goes on over the whole radius is no ring
    return float(power.sum() / max(float(power @ waves), 1e-12))


def unseen(image: Image, centre: Place, reach: float) -> float:
    """Return how far from a point, in pixels, the wood begins that a few sectors see; `reach` where none do."""
    across, down = _rays(reach, (0.0, 0.0, 0.0, 0.0), 1.0)
    x, y = across + np.float32(centre[0]), down + np.float32(centre[1])
    height, width = image.shape
    held = np.isfinite(sampled(image, x, y)) & (x >= 0) & (x <= width - 1) & (y >= 0) & (y <= height - 1)
    seen = held.reshape(SECTORS, RAYS, -1).mean(axis=1) > 0.5
    first = np.flatnonzero(seen.sum(axis=0) >= SEEING)
    return float(first[0]) if len(first) else reach


class Weighed(NamedTuple):
    """The best of several places, how far from it their mean lies, and how far along each axis they scatter about that.

    In the mean each counts by its score. A place hardly better than another is no reason to jump there: a slightly
    other outline, or another sampling of the photo, would jump back.
    """

    best: Place
    towards: Place
    apart: float


def weighed(places: Sequence[Place], scores: NDArray[np.float64]) -> Weighed:
    """Return what several places come to, by how straight the rings lie about each.

    >>> weighed([np.array([0.0, 0.0]), np.array([2.0, 0.0])], np.array([0.3, 0.3])).towards.tolist()
    [1.0, 0.0]
    """
    best = int(scores.argmax())
    weights = np.exp((scores - scores[best]) / NOISE)
    off = np.array(places) - places[best]
    towards = np.average(off, axis=0, weights=weights)
    square = np.average(((off - towards) ** 2).sum(axis=1), weights=weights)
    return Weighed(places[best], np.asarray(towards), float(np.sqrt(square / 2)))


def straight_places(value: Callable[[Place], float], anchor: Place, reach: float) -> list[Place]:
    """Return the places of the greatest `value` on a grid within `reach` pixels of an anchor, apart from each other.

    One at the rim of the reach must win a twentieth more than one at the anchor.
    """
    steps = np.arange(-int(reach / GRID), int(reach / GRID) + 1) * GRID
    ways = np.array([(x, y) for x in steps for y in steps if x * x + y * y <= reach * reach])
    values = np.array([value(anchor + way) - 0.05 * float(way @ way) / reach**2 for way in ways])
    places: list[Place] = []
    for k in np.argsort(-values, kind="stable"):
        if all(np.hypot(*(anchor + ways[k] - place)) > 1.5 * GRID for place in places):
            places.append(anchor + ways[k])
        if len(places) == PLACES:
            break
    return places


def roughly(value: Callable[[Place], float], anchor: Place, hold: float) -> Place:
    """Return the place of the greatest `value` near an anchor, held to it as by `straightest`.

    Fine rings lie straight about places within a pixel or two of the pith alone, and a search step by step would stop
    between.
    """
    around = np.array(
        [(x, y) for x in ROUGHLY for y in ROUGHLY if x * x + y * y <= ROUGHLY[-1] ** 2 + ROUGHLY[-2] ** 2]
    )
    values = [value(anchor + way) - 0.05 * float(way @ way) / hold**2 for way in around]
    return np.asarray(anchor + around[int(np.argmax(values))])


def straightest(
    value: Callable[[Place], float], start: Place, anchor: Place, hold: float, steps: tuple[float, float]
) -> Place:
    """Return the point near `start` of the greatest `value`, by a pattern search from the first step to the last.

    Between the last places looked at it lies where parabolas through them have their tops. A point twice `hold` pixels
    off the anchor must win a fifth of the contrast to be believed.
    """
    known: dict[tuple[float, float], float] = {}

    def held(point: Place) -> float:
        key = (float(point[0]), float(point[1]))
        if key not in known:
            known[key] = value(point) - 0.05 * float(((point - anchor) ** 2).sum()) / hold**2
        return known[key]

    place, best, step = start, held(start), steps[0]
    while True:
        around = [place + step * np.array(way) for way in ((1, 0), (0, 1), (-1, 0), (0, -1))]
        scores = np.array([held(point) for point in around])
        k = int(scores.argmax())
        if scores[k] > best:
            best, place = scores[k], around[k]
        elif step > steps[1]:
            step /= 2
        else:
            break
    ahead, behind = scores.reshape(2, 2)
    return np.asarray(place + step / 2 * (ahead - behind) / np.maximum(2 * best - ahead - behind, 1e-9))
