"""Where ticks lie, below a pixel: the phase of their wave in bands along the ruler."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from photonest.scale.camera import Array
from photonest.scale.combs import Comb, Grey, changes, strip
from photonest.scale.edges import Edge
from photonest.scale.tick_wave import strengths

COHERENT = 0.25  # how like the ticks' wave a piece must look to be measured by
ZONE_MARGIN, ZONE_MARGIN_PX = 0.12, 1.2
CLEARLY, FAINTLY = 0.6, 0.35  # strength of a comb
MOST_PIECES = 20
BANDS_ALIKE = 1.2  # errors of bands over what each strays from its own smooth course
LEAST_POINTS = 6


def grid(grey: Grey, comb: Comb, bands: int = 4) -> list[tuple[float, Array, float]]:
    """Return ticks as seen: for each of some, its number, points along it, shape (n, 2), and their error in pixels.

    Each is the mean of the ticks about it, by the phase of their wave in bands along the line.
    """
    low, high = _zone(grey, comb)
    edges = np.linspace(low, max(high, low + 2.0), bands + 1)
    per_piece = 10 if comb.strength > CLEARLY else 20 if comb.strength > FAINTLY else 30
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
        row = changes(strip(grey, comb, np.arange(count * size, dtype=float), rows, exact=True).mean(axis=0)[None])[
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
        out.append((number, comb.place(s, aside[use]), max(BANDS_ALIKE * error * pitch, 0.015)))
    return out


def _smooth(at: Array, values: Array, use: NDArray[np.bool_]) -> Array:
    degree = min(3, int(use.sum()) - 2)
    return np.asarray(np.polyval(np.polyfit(at[use], values[use], degree), at)) if degree >= 0 else values


def _zone(grey: Grey, comb: Comb) -> tuple[float, float]:
    """Return the band beside the line where all ticks are seen: its limits aside, in pixels."""
    reach = max(8 * comb.pitch, 12.0)
    aside = np.arange(comb.aside - reach, comb.aside + reach + 0.1, max(1.0, comb.pitch / 4))
    wave = strengths(grey, comb, aside).mean(axis=1)
    wave -= np.median(wave)
    best = int(wave.argmax())
    strong = wave > 0.4 * wave[best]
    low = high = best
    while low > 0 and strong[low - 1]:
        low -= 1
    while high < len(aside) - 1 and strong[high + 1]:
        high += 1
    step = aside[1] - aside[0]
    # where ticks end, and at the ruler's edge, what lies beside them has a part in the wave
    margin = max(ZONE_MARGIN * (aside[high] - aside[low] + step), ZONE_MARGIN_PX)
    return float(aside[low] - step / 2 + margin), float(aside[high] + step / 2 - margin)


def zone_line(grey: Grey, comb: Comb) -> Edge | None:
    """Return the middle of the band where ticks are seen, along the ruler: it is parallel to the ruler's edges."""
    reach = max(5 * comb.pitch, 10.0)
    aside = np.arange(comb.aside - reach, comb.aside + reach + 0.1, max(1.0, comb.pitch / 4))
    strong = strengths(grey, comb, aside)
    strong = np.maximum(strong - 0.5 * strong.max(axis=0), 0)
    middle = (strong * aside[:, None]).sum(axis=0) / strong.sum(axis=0)
    count = len(middle)
    s = (np.arange(count) + 0.5) * len(comb.ticks) / count
    good = np.ones(count, bool)
    for _ in range(3):
        if good.sum() < LEAST_POINTS:
            return None
        off = middle - np.polyval(np.polyfit(s[good], middle[good], 1), s)
        error = float(1.4826 * np.median(np.abs(off[good])))
        good = np.abs(off) < 3 * error + 0.1
    return Edge(comb.place(s[good], middle[good]), max(error, 0.3), float(good.mean()))
