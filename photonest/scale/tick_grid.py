"""Where ticks lie, below a pixel: the phase of their wave in bands along the ruler."""

from __future__ import annotations

import itertools
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.scale.camera import Array
from photonest.scale.combs import Comb, Grey, changes, strip
from photonest.scale.edges import Edge
from photonest.scale.tick_wave import strengths

COHERENT = 0.25  # how like the ticks' wave a piece must look to be measured by
FULL = 0.85  # strength of their wave, over the most, from which on ticks are seen in full: blur fades their ends
# how often pieces of the ticks' band are laid on one another, how far each is moved, how far beside the band is looked
LAID, MOST_ASIDE_PX, BESIDE_PX = 4, 6.0, 4.0
ROW_PX = 0.5  # between rows that are read
CLEARLY, FAINTLY = 0.6, 0.35  # strength of a comb
MOST_PIECES = 20
BANDS_ALIKE = 1.2  # errors of bands over what each strays from its own smooth course
LEAST_POINTS = 4


class Band(NamedTuple):
    """Where all ticks are seen beside a comb's line.

    Attributes
    ----------
    s, middle : ndarray, shape (n,)
        Places along the line, and the middle of the band there, aside of it, in pixels.
    good : ndarray of bool, shape (n,)
        Which of these lie on a straight course.
    course : ndarray, shape (2,)
        Of that course, by how much it goes aside a pixel along, and where it starts.
    low, high : float
        From where to where ticks are seen in full, about the course, in pixels.
    """

    s: Array
    middle: Array
    good: NDArray[np.bool_]
    course: Array
    low: float
    high: float


def band(grey: Grey, comb: Comb) -> Band:
    """Return the band where all ticks are seen: pieces of it are laid on one another until they agree."""
    step = max(0.5, comb.pitch / 8)
    reach = max(8 * comb.pitch, 12.0)
    aside = np.arange(-reach, reach + step / 2, step)
    strong = strengths(grey, comb, comb.aside + aside)
    count = strong.shape[1]
    s = (np.arange(count) + 0.5) * len(comb.ticks) / count
    course, middle, good = np.zeros(2), np.zeros(count), np.ones(count, bool)
    shifts = np.arange(-MOST_ASIDE_PX, MOST_ASIDE_PX + 0.1, 0.25)
    for _ in range(LAID):
        off = np.polyval(course, s)
        wave = _shifted(strong, off / step).mean(axis=1)
        first, last = _about_peak(wave, 0.5)
        rows = slice(max(0, first - int(BESIDE_PX / step)), last + 1 + int(BESIDE_PX / step))
        shape = wave[rows] - wave[rows].mean()
        seen = np.stack([_shifted(strong, (off + shift) / step)[rows] for shift in shifts])
        like = np.einsum("r,mrk->mk", shape, seen) / np.maximum(seen.std(axis=1), 1e-9)
        middle = off + shifts[like.argmax(axis=0)]
        for _ in range(3):
            course = np.polyfit(s[good], middle[good], 1)
            stray = np.abs(middle - np.polyval(course, s))
            good = stray < 3 * 1.4826 * np.median(stray[good]) + 0.1
            good = good if good.sum() > 2 else np.ones(count, bool)
    wave = _shifted(strong, np.polyval(course, s) / step).mean(axis=1)
    first, last = _about_peak(np.convolve(wave, np.ones(3) / 3, "same"), FULL)
    low, high = comb.aside + aside[[first, last]]
    short = max(0.0, 2.0 - (high - low)) / 2
    return Band(s, comb.aside + middle, good, course, low - short, high + short)


def _shifted(strong: Array, rows: Array) -> Array:
    """Return columns moved up by so many rows each."""
    at = np.clip(np.arange(len(strong))[:, None] + rows, 0, len(strong) - 1.001)
    whole = at.astype(int)
    column = np.arange(strong.shape[1])
    return np.asarray(strong[whole, column] + (at - whole) * (strong[whole + 1, column] - strong[whole, column]))


def _about_peak(wave: Array, share: float) -> tuple[int, int]:
    """Return the first and the last place about a peak where a wave keeps a share of it, over the wave's median."""
    strong = wave - np.median(wave)
    best = int(strong.argmax())
    weak = np.flatnonzero(strong <= share * strong[best])
    return int(max(weak[weak < best], default=-1)) + 1, int(min(weak[weak > best], default=len(wave))) - 1


def grid(grey: Grey, comb: Comb, zone: Band, bands: int = 4) -> list[tuple[float, Array, float]]:
    """Return ticks as seen: for each of some, its number, points along it, shape (n, 2), and their error in pixels.

    Each is the mean of the ticks about it, by the phase of their wave in bands along the zone where they are seen. A
    band lies where its rows' waves have their middle: at the ends of the ticks they fade.
    """
    edges = np.linspace(zone.low, zone.high, bands + 1)
    per_piece = 10 if comb.strength > CLEARLY else 20 if comb.strength > FAINTLY else 30
    size = max(24, round(per_piece * comb.pitch), len(comb.ticks) // MOST_PIECES)
    count = len(comb.ticks) // size
    if count < 4:
        return []
    s = np.arange(count * size, dtype=float)
    course = np.polyval(zone.course, s)
    window = np.sin((np.arange(size) + 0.5) * np.pi / size)
    turn = window * np.exp(-2j * np.pi * comb.ticks[: count * size]).reshape(count, size)
    off, like, places = (np.zeros((bands, count)) for _ in range(3))
    for k, (low, high) in enumerate(itertools.pairwise(edges)):
        rows = np.arange(low + ROW_PX / 2, high, ROW_PX)
        seen = strip(grey, comb, s, rows, exact=True, course=course)
        whole = changes(seen.mean(axis=0)[None]).reshape(count, size).astype(float)
        wave = (whole * turn).sum(axis=1)
        off[k] = np.angle(wave) / (2 * np.pi)
        like[k] = np.abs(wave) / np.sqrt(np.maximum(((whole * window) ** 2).sum(axis=1) * (window**2).sum(), 1e-9))
        each = (changes(seen).reshape(len(rows), count, size) * turn).sum(axis=2)
        weight = np.maximum((each * np.exp(-2j * np.pi * off[k])).real, 0) + 1e-9
        places[k] = (weight * rows[:, None]).sum(axis=0) / weight.sum(axis=0) + course.reshape(count, size).mean(axis=1)
    return _ticks_of(comb, np.asarray((np.arange(count) + 0.5) * size), places, off, like)


def _ticks_of(comb: Comb, middle: Array, aside: Array, phase: Array, like: Array) -> list[tuple[float, Array, float]]:
    """Return the ticks in the middle of pieces, by each band's (rows) place and phase in each piece (columns)."""
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
        out.append((number, comb.place(s, aside[use, k]), max(BANDS_ALIKE * error * pitch, 0.015)))
    return out


def _smooth(at: Array, values: Array, use: NDArray[np.bool_]) -> Array:
    degree = min(3, int(use.sum()) - 2)
    return np.asarray(np.polyval(np.polyfit(at[use], values[use], degree), at)) if degree >= 0 else values


def zone_line(comb: Comb, zone: Band) -> Edge | None:
    """Return the middle of the band where ticks are seen, along the ruler: it is parallel to the ruler's edges."""
    if zone.good.sum() < LEAST_POINTS:
        return None
    s, middle = zone.s[zone.good], zone.middle[zone.good]
    error = 1.4826 * float(np.median(np.abs(middle - comb.aside - np.polyval(zone.course, s))))
    return Edge(comb.place(s, middle), max(error, 0.3), float(zone.good.mean()))
