"""Straight edges in a photo, below a pixel.

An edge that a lens has blurred lies at its true place in linear light; in the file's own values it is moved into the
dark side. So every sample is taken back to light first, and half of that is allowed for (`TONED`). Where an edge lies
is read off the area under its profile, averaged over a short piece of the edge; blur does not change that area.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.imaging import light
from photonest.scale.camera import Array

LEAST_ERROR_PX = 0.04  # standard error of a piece of an edge, however well the pieces agree
BOX_PX = 150.0  # length of what is read of an edge at once: of a slanting one, much beside it is read too
MOST_BOXES = 24
SLACK_PX = 3  # by which more is read, for when the edge has been found
PIECES = 28  # a side is cut into
PLACES = 56  # along an edge that it is first looked for at
FOUND_BY = 1  # number of the pass by which it is found
THIN = 3  # times fewer lines across an edge are read while it is only being found
# an edge moves less than such a share of the strip's half width when it is read again; how often it is at most
SETTLED, MOST_CLOSER = 0.03, 5
HOPELESS = (1e6, 4.0, 2.0, 1.3)  # by pass: over what an edge may be rough in the end, so that it is read no more
BENT = 0.012  # length of an edge, over the photo's longer side, times this share of it: more no lens bends it
# by what share the light beside an edge may change, at one colour, and by how much any colour's; of edges read so, the
# standard error that all of one share, in pixels: grounds are of more colours than one. As measured on drawn cards
SHADE, GRAIN, SHADED_ERROR_PX = 0.3, 0.02, 0.2
LEAST_GOOD = 0.3  # of the pieces must agree
LEAST_CHANGE = 0.006  # of light across an edge
CLEAR = 4.0  # times its standard error that the mean change along an edge must be
# Where one side is blown out, light beyond white is cut off, and the edge looks moved into the other: by half of the
# area cut off, for light up to twice as bright as white by 0 to 0.8 of the blur's standard deviation
BLOWN_LIGHT = (0.96, 0.985)  # of a side, from which on some of it is blown out, and all
BLOWN_ALIKE = 5  # pieces of a side over which it is averaged how much is blown out
BLOWN_SHIFT, BLOWN_ERROR = 0.45, 0.3  # over the blur's standard deviation; as measured on drawn cards and sheets, too
# A shape darker than its ground passes into its own soft shadow, and looks larger: where, over the half width of the
# strip that is read, light away from it is still darker than farther off, by what share of the change across the edge,
# and how much larger, root mean square, over that half width. Drawn cards beyond these limits look 0.04 to 0.2 of it
# larger each way, others at most 0.05, and hardly any more than 0.02
FADES_AT, FADED, LIGHTER, SHADOW = (0.375, 0.5, 0.625), 0.15, 1.2, 0.13


# What blurs an edge after the camera's curve is laid on (noise taken off, sharpening, making smaller) leaves it true in
# the file's values; how much of all is done there is not told. So edges are placed halfway, give or take as much
# (but for what pixels blur, with what is read between them: a standard deviation)
TONED, PIXEL = 0.5, 0.55


class Edge(NamedTuple):
    """What is seen of a side: points on it, shape (n, 2), their standard error in pixels, the share of it in sight.

    `shared_px` is a standard error that they share beyond what each alone tells, as where one side is blown out;
    `shadow_px` how far all edges of one shape may look moved outward, as each passes into its own soft shadow, and
    `toned_px` the same as what blurred them may have been light or the file's values.
    """

    px: Array
    error_px: float
    share: float
    shared_px: float = 0.0
    shadow_px: float = 0.0
    toned_px: float = 0.0


def coarse_edge(pixels: NDArray[np.uint8], ends: ArrayLike, reach_px: float) -> tuple[Array, float] | None:
    """Return the ends of an edge moved onto the strongest straight edge near it, and the share of it that agrees.

    Parameters
    ----------
    ends : array_like, shape (2, 2)
        About where the edge starts and ends, in pixels.
    reach_px : float
        How far off it may lie.
    """
    return coarse_edges(pixels, np.asarray(ends, dtype=float)[None], reach_px)[0]


def coarse_edges(pixels: NDArray[np.uint8], ends: Array, reach_px: float) -> list[tuple[Array, float] | None]:
    """Return what `coarse_edge` does for each of several edges, `ends` of shape (n, 2, 2)."""
    share: NDArray[Any] = np.linspace(0.0, 1.0, PLACES)
    offsets = np.arange(-reach_px, reach_px + 0.5, max(1.0, reach_px / 12))
    normals = normals_of(ends)
    on = ends[:, :1] + share[:, None] * (ends[:, 1:] - ends[:, :1])
    wide = 2
    place = offsets[wide:-wide]
    lines = straight_lines(len(place))
    found: list[tuple[Array, float] | None] = []
    for line, points, normal in zip(ends, on, normals, strict=True):
        colour = _Strip(pixels, line, normal).profiles(points, offsets)
        if colour is None:
            found.append(None)
            continue
        change = colour[:, 2 * wide :] - colour[:, : -2 * wide]
        common = lines.means @ change.reshape(-1, 3)
        best = int((common**2).sum(axis=1).argmax())
        along = change[np.arange(PLACES), lines.at[best]]
        # beside what is one tone all along, texture changes this way and that: only the edge changes one way
        size = float(np.linalg.norm(common[best]))
        agree = (along @ common[best]) / max(size**2, 1e-12)
        if size < LEAST_CHANGE or np.sqrt(PLACES) < CLEAR * agree.std():
            found.append(None)
            continue
        found.append((line + place[lines.at[best, [0, -1]], None] * normal, float((agree > 0.3).mean())))
    return found


class _Straight(NamedTuple):
    """Straight lines across a strip of so many places along it: where each runs, and what means what lies on it."""

    at: NDArray[np.int_]
    means: NDArray[np.float32]


@cache
def straight_lines(count: int) -> _Straight:
    """Return all lines from one of `count` places across a strip's start to one across its end."""
    share = np.linspace(0.0, 1.0, PLACES)
    first, last = (grid.ravel() for grid in np.meshgrid(np.arange(count), np.arange(count), indexing="ij"))
    at = np.rint(first[:, None] * (1 - share) + last[:, None] * share).astype(int)
    means = np.zeros((len(at), PLACES, count), np.float32)
    np.put_along_axis(means, at[..., None], 1 / PLACES, axis=2)
    return _Straight(at, means.reshape(len(at), -1))


def fine_edge(
    pixels: NDArray[np.uint8],
    ends: ArrayLike,
    reach_px: float,
    margin: float,
    pieces: int = PIECES,
    closer: float = 1.0,
) -> Edge | None:
    """Return points on an edge to a tenth of a pixel or better.

    Parameters
    ----------
    ends : array_like, shape (2, 2)
        Where the edge starts and ends, to a pixel or two.
    reach_px : float
        Half the width of the strip that is read.
    margin : float
        Share of the edge left out at either end, for rounded corners.
    pieces : int
        How many the edge is cut into.
    closer : float
        How much narrower a strip is read once the edge is found: what lies beside it misleads less.
    """
    return fine_edges(pixels, np.asarray(ends, dtype=float)[None], reach_px, margin, pieces, closer)[0]


def fine_edges(
    pixels: NDArray[np.uint8],
    ends: Array,
    reach_px: float,
    margin: float | Array,
    pieces: int = PIECES,
    closer: float = 1.0,
    roughest_px: float | None = None,
    worth: Callable[[Array], bool] | None = None,
    shaded: bool = False,
    bend: float = 0.0,
) -> list[Edge | None]:
    """Return what `fine_edge` does for each of several edges, `ends` of shape (n, 2, 2), `margin` one or of each.

    Where they are of use only if all are found, and none is rougher than something, say so: it saves time. So does
    `worth`: of where the edges start and end as found by few lines across them, whether they are worth reading on.
    Where what lies to the edges' left may be in a shadow or rough, `shaded` goes by colours more than by light.
    `bend` is by what share of its length an edge may be bent of itself, beyond what a lens bends it.
    """
    if not len(ends):
        return []
    whole = ends[:, 1:] - ends[:, :1]
    start, step = ends[:, :1] + np.reshape(margin, (-1, 1, 1)) * whole, whole * (1 - 2 * np.reshape(margin, (-1, 1, 1)))
    normals = normals_of(ends)
    each = int(np.clip(np.linalg.norm(step, axis=2).max() / pieces, 2, 12))
    middle = (np.arange(pieces) + 0.5) / pieces  # shares of what is left between the margins
    powers = (2 * middle[:, None] - 1) ** np.arange(3)
    at_ends = ([-1.0, 1.0] / (1 - 2 * np.reshape(margin, (-1, 1))))[..., None] ** np.arange(3)
    long = np.linalg.norm(step[:, 0], axis=1)
    most_bent = (bend + BENT * long / max(pixels.shape)) * long
    strips = [_Strip(pixels, line, normal) for line, normal in zip(ends, normals, strict=True)]
    found: list[Edge | None] = [None] * len(ends)
    left: NDArray[np.int_] = np.arange(len(ends))  # edges neither lost nor settled yet
    shift = np.zeros((len(ends), pieces))
    passes = (
        [(1.0, True), (1.0, True), *[(closer, False)] * MOST_CLOSER]
        if closer < 1
        else [(1.0, True), *[(1.0, False)] * 2]
    )
    for number, (times, thin) in enumerate(passes):
        reach, samples = times * reach_px, max(2, each // THIN) if thin else each
        offsets = np.linspace(-reach, reach, 2 * int(np.ceil((1 if thin else 2) * reach)) + 1)
        share = (np.arange(pieces * samples) + 0.5) / (pieces * samples)
        aside = np.array([np.interp(share, middle, own) for own in shift])[..., None]
        on = start[left] + share[:, None] * step[left] + aside * normals[left, None]
        seen = [strips[k].profiles(points, offsets) for k, points in zip(left, on, strict=True)]
        inside = np.array([colour is not None for colour in seen], bool)
        left, before = left[inside], shift[inside]
        if not len(left) or (roughest_px is not None and not inside.all()):
            return [None] * len(ends) if roughest_px is not None else found
        colours = np.stack([colour for colour in seen if colour is not None])
        means = colours.reshape(len(left), pieces, samples, len(offsets), -1).mean(axis=2)
        place, clear, blown, toned = _place(means, offsets, shaded)
        place = place + before
        curve, good = _smooth(powers, place, clear, most_bent[left])
        shift = curve @ powers.T
        sound = (good.sum(axis=1) >= max(6, LEAST_GOOD * pieces)) & (np.abs(shift).max(axis=1) <= 2 * reach_px + 2)
        # what is read lies about where the edge was before: moved far, it is read once more
        done = (number > 2) & (np.abs(shift - before).max(axis=1) < SETTLED * reach_px) | (number == len(passes) - 1)
        if roughest_px is not None:
            off = np.where(good, place - shift, 0)
            most = HOPELESS[min(number, 3)] * roughest_px
            sound &= (off**2).sum(axis=1) < most**2 * good.sum(axis=1)
            if not sound.all():
                return [None] * len(ends)
        for k in np.flatnonzero(sound & done):
            own = start[left[k]] + middle[:, None] * step[left[k]] + place[k, :, None] * normals[left[k]]
            edge = _edge(own, normals[left[k]], good[k], place[k] - shift[k], blown[k], toned[k], shaded)
            if closer < 1 and _fades(strips[left[k]], edge.px, reach_px):
                edge = edge._replace(shadow_px=SHADOW * reach_px)
            found[left[k]] = edge
        left, shift = left[sound & ~done], shift[sound & ~done]
        if not len(left):
            return found
        if (
            worth is not None
            and number == FOUND_BY
            and len(left) == len(ends)
            and not worth(ends + at_ends @ curve[..., None] * normals[:, None])
        ):
            return [None] * len(ends)
    return found


def _edge(
    px: Array, normal: Array, good: NDArray[np.bool_], off: Array, blown: Array, toned: Array, shaded: bool
) -> Edge:
    """Return what is seen of a side by the places of its pieces: which agree, and how far they lie off their curve.

    A part of it may be blown out and the rest not: each piece is moved by as much as those about it are.
    """
    blown = np.convolve(np.pad(blown, BLOWN_ALIKE // 2, mode="edge"), np.full(BLOWN_ALIKE, 1 / BLOWN_ALIKE), "valid")
    error = float(np.sqrt((off[good] ** 2).sum() / max(1, good.sum() - 3)))
    tone = TONED * float(np.median(toned[good]))
    points = px[good] + (tone - BLOWN_SHIFT * blown[good, None]) * normal
    shared = math.hypot(BLOWN_ERROR * float(np.sqrt((blown[good] ** 2).mean())), SHADED_ERROR_PX if shaded else 0)
    return Edge(points, max(error, LEAST_ERROR_PX), float(good.mean()), shared, toned_px=abs(tone))


def _fades(strip: _Strip, px: Array, reach_px: float) -> bool:
    """Whether what lies to an edge's left is lighter and grows lighter still away from it, as out of a soft shadow."""
    offsets = np.linspace(-1.5, 1.5, 13) * reach_px
    seen = strip.profiles(px, offsets)
    if seen is None:
        return False
    mean = seen.mean(axis=0)
    right, left = mean[:3].mean(axis=0), mean[-3:].mean(axis=0)
    change = left - right
    near = np.stack([np.interp(FADES_AT, offsets / reach_px, channel) for channel in mean.T]).mean(axis=1)
    level = (near - right) @ change / max(float(change @ change), 1e-12)
    return bool(left.sum() > LIGHTER * right.sum() and level < 1 - FADED)


class _Strip:
    """The light across an edge: read in boxes, one about each piece of it, and again only where more is asked for."""

    def __init__(self, pixels: NDArray[np.uint8], ends: Array, normal: Array) -> None:
        self._pixels, self._normal = pixels, normal
        count = int(np.clip(round(float(np.linalg.norm(ends[1] - ends[0])) / BOX_PX), 1, MOST_BOXES))
        self._low: NDArray[np.int_] = np.zeros((count, 2), int)
        self._high = self._low - 1
        self._light: list[NDArray[np.float32]] = [np.zeros((0, 0, 3), np.float32)] * count

    def profiles(self, on: Array, offsets: Array) -> NDArray[np.float32] | None:
        """Return light across the edge, shape (points, offsets, 3); None where too much lies outside the picture."""
        import cv2

        cuts = np.linspace(0, len(on), len(self._low) + 1).astype(int)
        if not self._read(on, cuts, np.abs(offsets).max() * np.abs(self._normal)):
            return None
        at = (on - np.repeat(self._low, np.diff(cuts), axis=0)).astype(np.float32)
        x, y = at.T[..., None] + (self._normal[:, None, None] * offsets).astype(np.float32)
        out = np.empty((*x.shape, 3), np.float32)
        for lit, first, last in zip(self._light, cuts[:-1], cuts[1:], strict=True):
            if first < last:  # fewer points than boxes leave some without
                cv2.remap(lit, x[first:last], y[first:last], cv2.INTER_LINEAR, out[first:last], cv2.BORDER_REPLICATE)
        return out

    def _read(self, on: Array, cuts: NDArray[np.int_], aside: Array) -> bool:
        """Hold the light about each piece's points and a way aside; answer whether enough of all is in the picture."""
        size = np.array(self._pixels.shape[1::-1])
        low = np.floor(np.minimum.reduceat(on, cuts[:-1]) - aside).astype(int) - 1
        high = np.ceil(np.maximum.reduceat(on, cuts[:-1]) + aside).astype(int) + 2
        low, high = np.maximum(low, 0), np.minimum(high, size)
        if (high - low < 3).any():
            return False
        for k in np.flatnonzero(((low < self._low) | (high > self._high)).any(axis=1)):
            self._low[k], self._high[k] = np.maximum(low[k] - SLACK_PX, 0), np.minimum(high[k] + SLACK_PX, size)
            (left, top), (right, below) = self._low[k], self._high[k]
            self._light[k] = light(np.ascontiguousarray(self._pixels[top:below, left:right]))
        return True


def _place(colour: NDArray[np.float32], offsets: Array, shaded: bool) -> tuple[Array, NDArray[np.bool_], Array, Array]:
    """Return where each mean profile, shape (..., offsets, 3), changes from one side's light to the other's.

    What lies behind may also be `shaded`, that is change its light alone: the way in which the two sides' light is
    compared is then the one that tells them apart best all the same (Fisher 1936).

    With it come whether it does so clearly; the standard deviation of the blur, in pixels, where one side is blown out:
    positive where that is the one before; else zero; and how much farther on the edge lies if the file's values were
    blurred, not light: were they its root, which they nearly are, by the area between a normal distribution and its
    square.
    """
    third = max(2, len(offsets) // 4)
    before, after = colour[..., :third, :].mean(axis=-2), colour[..., -third:, :].mean(axis=-2)
    change = after - before
    size = np.sqrt((change**2).sum(axis=-1))
    way = change
    if shaded:
        light_of = (after * change).sum(axis=-1) / ((GRAIN / SHADE) ** 2 + (after**2).sum(axis=-1))
        way = change - light_of[..., None] * after
    along = way / np.maximum((way * change).sum(axis=-1), 1e-12)[..., None]
    level = ((colour - before[..., None, :]) @ along[..., None])[..., 0]
    rough = level[..., :third].std(axis=-1) + level[..., -third:].std(axis=-1)
    step = offsets[1] - offsets[0]
    # the area above the profile, by trapezes, is the width of the dark part
    area = (level.sum(axis=-1) - (level[..., 0] + level[..., -1]) / 2) * step
    steepest = np.maximum(np.abs(np.diff(level, axis=-1)).max(axis=-1) / step, 0.05)
    clear = (size > 0.004) & (rough < 0.7)
    # the lens blurs all of an edge alike
    steepest = _medians(steepest, clear | ~clear.any(axis=-1, keepdims=True))[..., None]
    low, high = BLOWN_LIGHT
    share = ((np.maximum(before, after) - low) / (high - low)).clip(0, 1) * np.sign(-change) * change**2
    blur = 1 / (np.sqrt(2 * np.pi) * steepest)
    blown = share.sum(axis=-1) / np.maximum(size, 1e-9) ** 2 * blur
    root, other = np.sqrt(before.clip(1e-4)), np.sqrt(after.clip(1e-4))
    lighter = (change**2 * (root - other) / (root + other)).sum(axis=-1) / np.maximum(size, 1e-9) ** 2
    toned = lighter * np.sqrt((blur**2 - PIXEL**2).clip(0)) / math.sqrt(math.pi)
    place = offsets[-1] - area.astype(float)
    return place, clear, blown.astype(float), toned.astype(float)


def _smooth(powers: Array, place: Array, clear: NDArray[np.bool_], most_bent: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Return a parabola (a lens bends straight edges) through most places of each edge, and which agree with it.

    Where it would be bent by more than `most_bent` pixels, sawdust or a shadow bends it, and a straight line is laid.

    `powers`, shape (pieces, 3), are those of where the pieces lie; the parabolas' coefficients, shape (n, 3), go with
    them.
    """
    good = clear.copy()
    curve: NDArray[Any] = np.zeros((len(place), 3))
    for terms in (1, 2, 3, 3, 3):
        enough = good.sum(axis=1) >= 6
        if not enough.any():
            break
        kept = good[enough]
        curve[enough] = _fitted(powers[:, :terms], place[enough], kept)
        bent = enough & (np.abs(curve[:, 2]) > most_bent)
        if bent.any():
            curve[bent] = _fitted(powers[:, :2], place[bent], good[bent])
        off = np.abs(place[enough] - curve[enough] @ powers.T)
        spread = 1.4826 * _medians(off, kept)
        good[enough] = clear[enough] & (off < np.maximum(3 * spread, 3 * LEAST_ERROR_PX)[:, None])
    return curve, good


def _fitted(powers: Array, place: Array, kept: NDArray[np.bool_]) -> Array:
    """Return the coefficients, shape (n, 3), of curves of these powers through what is kept of each row of places."""
    normal = (kept[:, None] * powers.T) @ powers
    curve = np.zeros((len(place), 3))
    curve[:, : powers.shape[1]] = np.linalg.solve(normal, ((kept * place) @ powers)[..., None])[..., 0]
    return curve


def _medians(values: Array, which: NDArray[np.bool_]) -> Array:
    """Return the median of some values of each row, at least one."""
    rows = np.arange(len(values))
    ordered, count = np.sort(np.where(which, values, np.inf), axis=1), which.sum(axis=1)
    return np.asarray((ordered[rows, (count - 1) // 2] + ordered[rows, count // 2]) / 2)


def normals_of(ends: Array) -> Array:
    """Return unit vectors to the left of edges as seen, shape (n, 2): outward where corners run clockwise."""
    step = ends[:, 1] - ends[:, 0]
    return np.asarray(step[:, ::-1] * [1, -1] / np.linalg.norm(step, axis=1)[:, None])


def meet(one: Array, other: Array) -> Array:
    """Return where two lines, each by two points, meet."""
    u, v = one[1] - one[0], other[1] - other[0]
    cross = u[0] * v[1] - u[1] * v[0]
    gap = other[0] - one[0]
    return np.asarray(one[0] + u * (gap[0] * v[1] - gap[1] * v[0]) / cross if cross else np.full(2, np.nan))
