"""Evenly spaced ticks along a straight edge, seen in perspective: found by their period, followed below a pixel.

Along a straight line a camera maps even spacing by a function (a s + b) / (c s + 1), and a lens bends that a little.
Over a short piece of the line the ticks are nearly periodic, so that spectra of short pieces find them
however faint each is; the phase against a slowly changing wave then follows them along the whole line.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from math import gcd

import numpy as np
from numpy.typing import NDArray

from photonest.scale.camera import Array

Grey = NDArray[np.uint8]
PIECE = 128  # samples in a piece of the line that a spectrum is taken of
DRIFT = np.linspace(-0.14, 0.14, 11)  # change of the ticks' frequency from the middle of a line to its end, as a share
WAVES = np.arange(5, 62)  # in a piece; one more than half its samples could not be told from fewer
MOST_LINES = 40
NEAR, FAR = 0.08, 0.2  # how far beside a line ticks are looked for, over its length
PER_TICK = 8  # samples of the straightened strip
RATIOS = (2, 3, 4, 5, 6, 7, 8, 10, 12, 16, 20, 32)  # numbers of ticks after which longer ones may come
MOST_POWER = 100.0
FEWEST = 20  # ticks that are looked at
COHERENT = 0.3  # how like the ticks' wave a piece must look to be measured by
ZONE_MARGIN = 0.1
MOST_PIECES = 20
GOING_ON = 0.5  # how like the wave a piece must look beyond a line's end for ticks to go on there


@dataclass(frozen=True, eq=False)
class Comb:
    """Ticks across a line.

    Attributes
    ----------
    start, along : ndarray, shape (2,)
        Where the line starts, and its direction, in pixels.
    ticks : ndarray, shape (n,)
        The number of the tick, with parts of one, at each pixel along the line, rising.
    aside : float
        How far to the left of the line (as seen walking along it with y up: right, with y down) ticks show best, in
        pixels.
    deep : float
        Half the width of the band that was looked at.
    strength : float
        How like a wave it looks, 0 to 1 (how much it stands out, before it was followed).
    """

    start: Array
    along: Array
    ticks: Array
    aside: float
    deep: float
    strength: float

    @property
    def pitch(self) -> float:
        """Pixels from tick to tick, in the middle."""
        return float((len(self.ticks) - 1) / (self.ticks[-1] - self.ticks[0]))

    @property
    def across(self) -> Array:
        """The unit vector across the line."""
        return np.array([-self.along[1], self.along[0]])

    def place(self, s: Array, aside: Array) -> Array:
        """Return the pixels at distances along the line and aside of it, shape (..., 2)."""
        return np.asarray(self.start + s[..., None] * self.along + aside[..., None] * self.across)


def combs(grey: Grey, ends: Array) -> list[Comb]:
    """Return what may be ticks beside lines, shape (n, 2, 2), the longest line first: the clearest of each line.

    Beside the longest lines, ticks are looked for as far away as at the other side of a ruler. The clearest come first.
    """
    found = [
        _comb_beside(grey, start, end, FAR if k < 12 else NEAR) for k, (start, end) in enumerate(ends[:MOST_LINES])
    ]
    return sorted((comb for comb in found if comb is not None), key=lambda comb: -comb.strength)


def _comb_beside(grey: Grey, start: Array, end: Array, far: float) -> Comb | None:
    length = float(np.linalg.norm(end - start))
    if length < 40:
        return None
    comb = Comb(start, (end - start) / length, np.zeros(0), 0.0, max(2.0, length / 400), 0.0)
    reach = max(14.0, far * length)
    aside = np.arange(-reach, reach + comb.deep, comb.deep)
    power = _spectra(_changes(_strip(grey, comb, np.arange(0, length), aside)))
    power = np.asarray((power[1:] + power[:-1]) / 2, np.float32)
    score = _along_drifts(power)
    score = (score - score.mean()) * np.sqrt(power.shape[1])
    row, wave, drift = np.unravel_index(int(score.argmax()), score.shape)
    middle = length / 2
    s = np.arange(0, length) - middle
    ticks = (s + DRIFT[drift] * s**2 / (2 * middle)) * WAVES[wave] / PIECE
    return replace(comb, ticks=ticks, aside=float(aside[row] + comb.deep / 2), strength=float(score.max()))


def _strip(grey: Grey, comb: Comb, s: Array, aside: Array, exact: bool = False) -> NDArray[np.float32]:
    """Return grey values beside a line, shape (aside, s); `exact` keeps the phase of waves of two or three pixels."""
    import cv2

    at = comb.place(s[None, :], aside[:, None]).astype(np.float32)
    how = cv2.INTER_LANCZOS4 if exact else cv2.INTER_LINEAR
    seen = cv2.remap(grey, at[..., 0], at[..., 1], how, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(seen, np.float32)


def _changes(strip: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the slope along each row, glaring ones cut: it has the spectrum of most pictures made even."""
    slope = np.zeros_like(strip)
    slope[:, 1:-1] = strip[:, 2:] - strip[:, :-2]
    usual = 5 * (np.median(np.abs(slope), axis=1, keepdims=True) + 0.5)
    return np.asarray(np.clip(slope, -usual, usual))


def _spectra(rows: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the share of power at 1 to 63 waves in half-overlapping pieces of rows, shape (rows, pieces, 63)."""
    if rows.shape[1] < PIECE:
        rows = np.pad(rows, ((0, 0), (0, PIECE - rows.shape[1])))
    starts = np.arange(0, rows.shape[1] - PIECE + 1, PIECE // 2)
    pieces = np.stack([rows[:, k : k + PIECE] for k in starts], axis=1) * np.hanning(PIECE).astype(np.float32)
    power = np.abs(np.fft.rfft(pieces, axis=2)[..., 1:64]) ** 2
    return np.asarray(power / (power.sum(axis=2, keepdims=True) + 1e-6), np.float32)


def _along_drifts(power: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the mean power where the number of waves changes evenly, shape (rows, WAVES, DRIFT)."""
    pieces = power.shape[1]
    place = np.linspace(-1, 1, pieces) if pieces > 1 else np.zeros(1)
    wave = np.rint(WAVES[:, None, None] * (1 + DRIFT[None, :, None] * place)).astype(int) - 1
    seen = power[:, np.arange(pieces), np.clip(wave, 0, 62)]
    return np.asarray(np.where((wave >= 0) & (wave < 63), seen, 0).mean(axis=-1))


def followed(grey: Grey, comb: Comb) -> Comb:
    """Return ticks followed along their line and beyond its ends, as far as they are seen."""
    comb = centred(grey, _fitted(grey, comb, coarse=True))
    for _ in range(3):
        longer = _extended(grey, comb)
        if len(longer.ticks) < 1.1 * len(comb.ticks):
            break
        comb = longer
    return comb


def _fitted(grey: Grey, comb: Comb, coarse: bool) -> Comb:
    """Return a comb whose ticks lie on those seen: a polynomial of low degree is added to their numbers."""
    place = np.linspace(-1, 1, len(comb.ticks))
    ticks = comb.ticks
    middles, wave = _waves(grey, comb, ticks)
    if coarse:
        slope, bend = np.arange(-3, 3.01, 0.15), np.arange(-2.5, 2.51, 0.15)
        x = place[middles]
        turn = np.exp(-2j * np.pi * (slope[:, None, None] * x + bend[None, :, None] * x**2))
        first, second = np.unravel_index(int(np.abs((turn * wave).sum(axis=-1)).argmax()), turn.shape[:2])
        ticks = ticks + slope[first] * place + bend[second] * place**2
    for degree in (2, 3, 4, 4):
        middles, wave = _waves(grey, comb, ticks)
        common = np.angle((wave * np.abs(wave)).sum())
        off = np.angle(wave * np.exp(-1j * common)) / (2 * np.pi)
        weight = np.abs(wave) * (np.abs(off) < 0.25)
        powers = np.vander(place[middles], min(degree, max(1, len(middles) // 2)) + 1)
        change, *_ = np.linalg.lstsq(powers * weight[:, None], off * weight, rcond=None)
        ticks = ticks + np.polyval(change, place)
    middles, wave = _waves(grey, comb, ticks)
    return replace(comb, ticks=ticks, strength=float(np.abs(wave.sum()) / len(wave)))


def _waves(grey: Grey, comb: Comb, ticks: Array) -> tuple[NDArray[np.int_], NDArray[np.complex128]]:
    """Return middles of pieces along a comb's line, and how like the ticks' wave each looks: 0 to 1, and its phase."""
    aside = np.arange(comb.aside - comb.deep, comb.aside + comb.deep + 0.1)
    row = _changes(_strip(grey, comb, np.arange(len(ticks), dtype=float), aside).mean(axis=0)[None])[0].astype(float)
    size = int(np.clip(12 * len(ticks) / np.ptp(ticks), 48, PIECE))
    size = min(size, len(ticks))
    starts = np.arange(0, len(ticks) - size + 1, max(1, size // 3))
    window = np.hanning(size)
    turned = row * np.exp(-2j * np.pi * ticks)
    pieces = np.stack([turned[k : k + size] for k in starts]) * window
    energy = np.array([((row[k : k + size] * window) ** 2).sum() for k in starts])
    return starts + size // 2, pieces.sum(axis=1) / np.sqrt(np.maximum(energy * (window**2).sum(), 1e-9))


def centred(grey: Grey, comb: Comb) -> Comb:
    """Return a comb with its line moved and turned to where its wave is strongest."""
    count = len(comb.ticks)
    deep = max(2.0, 1.2 * comb.pitch)
    reach = 5 * comb.pitch + 0.03 * count
    step = max(1.0, comb.pitch / 4)
    aside = np.arange(comb.aside - reach, comb.aside + reach + step, step)
    strength = _strengths(grey, comb, aside)
    wide = 2 * round(deep / step) + 1
    kernel = np.ones(min(wide, len(aside))) / wide
    strength = np.array([np.convolve(column, kernel, mode="same") for column in strength.T])
    place = np.linspace(-0.5, 0.5, len(strength))
    turns = np.linspace(-0.03, 0.03, 25)
    row = np.arange(len(aside))[:, None, None] + np.rint(turns[:, None] * place * count / step).astype(int)
    inside = (row >= 0) & (row < len(aside))
    seen = strength[np.arange(len(place)), np.clip(row, 0, len(aside) - 1)]
    first, second = np.unravel_index(int(np.where(inside, seen, 0).sum(axis=-1).argmax()), row.shape[:2])
    middle = comb.place(np.array(count / 2), np.array(aside[first]))
    along = comb.along + turns[second] * comb.across
    along = along / np.linalg.norm(along)
    return _fitted(
        grey, replace(comb, start=middle - count / 2 * along, along=along, aside=0.0, deep=deep), coarse=False
    )


def _strengths(grey: Grey, comb: Comb, aside: Array) -> Array:
    """Return how strong the ticks' wave is in rows beside the line, in pieces along it, shape (aside, pieces)."""
    rows = _changes(_strip(grey, comb, np.arange(len(comb.ticks), dtype=float), aside))
    size = min(max(24, round(10 * comb.pitch)), len(comb.ticks))
    count = len(comb.ticks) // size
    turn = np.exp(-2j * np.pi * comb.ticks[: count * size])
    pieces = (rows[:, : count * size] * turn).reshape(len(aside), count, size)
    return np.asarray(np.abs(pieces.sum(axis=2)))


def _extended(grey: Grey, comb: Comb) -> Comb:
    """Return a comb drawn out at both ends as far as ticks go on without a break, at most by a quarter each."""
    count = len(comb.ticks)
    more = count // 4
    ticks = _projected(comb.ticks, np.arange(-more, count + more, dtype=float))
    ticks[more : more + count] = comb.ticks
    if (np.diff(ticks) <= 0).any():
        return comb
    longer = replace(comb, start=comb.start - more * comb.along, ticks=ticks)
    middles, wave = _waves(grey, longer, ticks)
    known = (middles > more) & (middles < more + count)
    phase = np.angle(wave[known].sum())
    seen = (wave * np.exp(-1j * phase)).real > GOING_ON
    half = int(middles[0])
    low, high = more, more + count
    for middle in middles[middles <= more][::-1]:
        if not seen[middles == middle][0]:
            break
        low = middle - half
    for middle in middles[middles >= more + count]:
        if not seen[middles == middle][0]:
            break
        high = middle + half
    cut = replace(longer, start=longer.start + low * longer.along, ticks=ticks[low:high])
    return cut if len(cut.ticks) < 1.05 * count else _fitted(grey, cut, coarse=False)


def projective(ticks: Array) -> Array:
    """Return (a, b, c) of the map t = (a s + b) / (c s + 1) from places along the line to ticks, less their mean."""
    s, t = np.arange(len(ticks), dtype=float), ticks - ticks.mean()
    rows = np.column_stack([s, np.ones_like(s), -s * t]) / [len(s), 1, len(s)]
    abc, *_ = np.linalg.lstsq(rows, t, rcond=None)
    return np.asarray(abc / [len(s), 1, len(s)])


def _projected(ticks: Array, place: Array) -> Array:
    a, b, c = projective(ticks)
    return np.asarray((a * place + b) / np.maximum(c * place + 1, 0.05) + ticks.mean())


def longer_after(grey: Grey, comb: Comb) -> dict[int, float]:
    """Return for numbers of ticks how clearly something comes back after so many and not already after fewer.

    The strip beside the line is straightened and its rows' power compared at the harmonics that belong to a period of
    so many ticks alone, with the power about them; the clearest row counts. About 1 where nothing comes back.
    """
    import cv2

    first, last = int(np.ceil(comb.ticks[0])), int(np.floor(comb.ticks[-1]))
    count = last - first
    if count < FEWEST:
        return {}
    pitch = comb.pitch
    reach = min(max(16 * pitch, 0.08 * len(comb.ticks)), 0.25 * len(comb.ticks))
    aside = np.arange(-reach, reach + 0.1, max(1.5, pitch / 2))
    s = np.interp(first + np.arange(count * PER_TICK) / PER_TICK, comb.ticks, np.arange(len(comb.ticks)))
    strip = _strip(grey, comb, s, aside)
    strip = strip - cv2.blur(strip, (10 * PER_TICK + 1, 1))
    usual = 6 * np.median(np.abs(strip), axis=1, keepdims=True) + 1
    rows = np.clip(strip, -usual, usual).reshape(len(aside), count, PER_TICK)
    rows = (rows - rows.mean(axis=1, keepdims=True)).reshape(len(aside), -1)
    return {ratio: _returning(rows, ratio, count // ratio) for ratio in RATIOS if count // ratio >= 3}


def _returning(rows: Array, ratio: int, times: int) -> float:
    """Return the mean power at a period's own harmonics over that about them, of the row where it is greatest."""
    power = np.abs(np.fft.rfft(rows[:, : times * ratio * PER_TICK], axis=1)) ** 2
    top = min(int(1.5 * times * ratio), power.shape[1])
    between = np.ones(top)
    between[::times] = 0
    between[: max(2, times // 2)] = 0
    sums = np.pad(np.cumsum(power[:, :top] * between, axis=1), ((0, 0), (1, 0)))
    counts = np.pad(np.cumsum(between), (1, 0))
    own = np.array([k * times for k in range(1, int(1.5 * ratio)) if gcd(k, ratio) == 1])
    low, high = np.maximum(0, own - int(2.5 * times)), np.minimum(top, own + int(2.5 * times))
    about = (sums[:, high] - sums[:, low]) / np.maximum(1, counts[high] - counts[low])
    return float(np.minimum(power[:, own] / (about + 1e-3), MOST_POWER).mean(axis=1).max())


def grid(grey: Grey, comb: Comb, per_piece: int = 10, bands: int = 4) -> list[tuple[float, Array, float]]:
    """Return ticks as seen: for each of some, its number, points along it, shape (n, 2), and their error in pixels.

    Each is the mean of the ticks about it, by the phase of their wave in bands along the line.
    """
    low, high = _zone(grey, comb)
    edges = np.linspace(low, high, bands + 1)
    size = max(24, round(per_piece * comb.pitch), len(comb.ticks) // MOST_PIECES)
    count = len(comb.ticks) // size
    if count < 4:
        return []
    middle = (np.arange(count) + 0.5) * size
    window = np.sin((np.arange(size) + 0.5) * np.pi / size)
    turn = np.exp(-2j * np.pi * comb.ticks[: count * size]).reshape(count, size)
    off: list[Array] = []
    like: list[Array] = []
    places: list[float] = []
    for low, high in itertools.pairwise(edges):
        rows = np.arange(low + 0.5, high, 1.0) if high - low > 1.5 else np.array([(low + high) / 2])
        row = _changes(_strip(grey, comb, np.arange(count * size, dtype=float), rows, exact=True).mean(axis=0)[None])[
            0
        ].astype(float)
        pieces = row.reshape(count, size) * window
        wave = (pieces * turn).sum(axis=1) / np.sqrt(np.maximum((pieces**2).sum(axis=1) * (window**2).sum(), 1e-9))
        off.append(np.asarray(np.angle(wave) / (2 * np.pi)))
        like.append(np.abs(wave))
        places.append(float(rows.mean()))
    return _ticks_of(comb, np.asarray(middle), np.array(places), np.array(off), np.array(like))


def _ticks_of(comb: Comb, middle: Array, aside: Array, phase: Array, like: Array) -> list[tuple[float, Array, float]]:
    """Return the ticks in the middle of pieces, from the phase of each band (rows) in each piece (columns)."""
    shift = np.zeros(len(aside))
    here = len(aside) // 2
    turn = like * np.exp(2j * np.pi * phase)
    common = turn.sum(axis=1)
    for order in (range(here + 1, len(aside)), range(here - 1, -1, -1)):
        for k in order:
            before = k - 1 if k > here else k + 1
            shift[k] = shift[before] + np.angle(common[k] / common[before]) / (2 * np.pi)
    shift += np.angle(common[here]) / (2 * np.pi)
    off = shift[:, None] + (phase - shift[:, None] + 0.5) % 1 - 0.5
    at = np.linspace(-1, 1, len(middle))
    good = like > COHERENT
    smooth = np.array([_smooth(at, row, use) for row, use in zip(off, good, strict=True)])
    rest = off - smooth
    error = 1.4826 * np.median(np.abs(rest[good])) if good.any() else 1.0
    good &= np.abs(rest) < 4 * error
    index = np.arange(len(comb.ticks))
    out = []
    for k in np.flatnonzero(good.sum(axis=0) >= 3).tolist():
        use = good[:, k]
        centre = float(np.interp(middle[k], index, comb.ticks))
        number = centre + float(off[use, k].mean())
        s = np.interp(number - off[use, k], comb.ticks, index)
        pitch = float(np.interp(centre + 0.5, comb.ticks, index) - np.interp(centre - 0.5, comb.ticks, index))
        out.append((number, comb.place(s, aside[use]), max(error * pitch, 0.01)))
    return out


def _smooth(at: Array, values: Array, use: NDArray[np.bool_]) -> Array:
    degree = min(3, int(use.sum()) - 2)
    return np.asarray(np.polyval(np.polyfit(at[use], values[use], degree), at)) if degree >= 0 else values


def _zone(grey: Grey, comb: Comb) -> tuple[float, float]:
    """Return the band beside the line where all ticks are seen: its limits aside, in pixels."""
    reach = max(8 * comb.pitch, 12.0)
    aside = np.arange(comb.aside - reach, comb.aside + reach + 0.1, max(1.0, comb.pitch / 4))
    wave = _strengths(grey, comb, aside).mean(axis=1)
    best = int(wave.argmax())
    strong = wave > 0.4 * wave[best]
    low = high = best
    while low > 0 and strong[low - 1]:
        low -= 1
    while high < len(aside) - 1 and strong[high + 1]:
        high += 1
    step = aside[1] - aside[0]
    # where ticks end, and at the ruler's edge, what lies beside them has a part in the wave
    margin = ZONE_MARGIN * (aside[high] - aside[low] + step)
    return float(aside[low] - step / 2 + margin), float(aside[high] + step / 2 - margin)
