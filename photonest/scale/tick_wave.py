"""Ticks followed along their line by the phase of their wave."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from photonest.scale.camera import Array
from photonest.scale.combs import PIECE, Comb, Grey, changes, strip

GOING_ON = 0.5  # how like the wave a piece must look beyond a line's end for ticks to go on there
UNDERTONE = 0.3  # strength of a longer wave from which on it is the ticks' own
NO_WAVE = 0.12  # strength below which a comb is given up


def followed(grey: Grey, comb: Comb) -> Comb | None:
    """Return ticks followed along their line and beyond its ends, as far as they are seen; None if there are none."""
    comb = _fitted(grey, comb, coarse=True)
    if comb.strength < NO_WAVE:
        return None
    comb = _fundamental(grey, centred(grey, comb))
    for _ in range(3):
        longer = _extended(grey, comb)
        if len(longer.ticks) < 1.1 * len(comb.ticks):
            break
        comb = longer
    return comb if comb.strength > NO_WAVE else None


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
    if (np.diff(ticks) <= 0).any():
        return replace(comb, strength=0.0)
    middles, wave = _waves(grey, comb, ticks)
    return replace(comb, ticks=ticks, strength=float(np.abs(wave.sum()) / len(wave)))


def _waves(grey: Grey, comb: Comb, ticks: Array) -> tuple[NDArray[np.int_], NDArray[np.complex128]]:
    """Return middles of pieces along a comb's line, and how like the ticks' wave each looks: 0 to 1, and its phase."""
    aside = np.arange(comb.aside - comb.deep, comb.aside + comb.deep + 0.1)
    row = changes(strip(grey, comb, np.arange(len(ticks), dtype=float), aside).mean(axis=0)[None])[0].astype(float)
    size = int(np.clip(12 * len(ticks) / np.ptp(ticks), 48, PIECE))
    size = min(size, len(ticks))
    starts = np.arange(0, len(ticks) - size + 1, max(1, size // 3))
    window = np.hanning(size)
    turned = row * np.exp(-2j * np.pi * ticks)
    pieces = np.stack([turned[k : k + size] for k in starts]) * window
    energy = np.array([((row[k : k + size] * window) ** 2).sum() for k in starts])
    return starts + size // 2, pieces.sum(axis=1) / np.sqrt(np.maximum(energy * (window**2).sum(), 1e-9))


def _fundamental(grey: Grey, comb: Comb) -> Comb:
    """Return a comb whose wave is no overtone: thin ticks also make waves of a half and a third of their pitch."""
    for share in (1 / 2, 1 / 3):
        longer = replace(comb, ticks=comb.ticks * share)
        _, wave = _waves(grey, longer, longer.ticks)
        strength = float(np.abs(wave.sum()) / len(wave))
        if strength > UNDERTONE:
            return replace(longer, strength=strength)
    return comb


def centred(grey: Grey, comb: Comb) -> Comb:
    """Return a comb with its line moved and turned to where its wave is strongest."""
    count = len(comb.ticks)
    deep = max(2.0, 1.2 * comb.pitch)
    reach = 5 * comb.pitch + 0.03 * count
    step = max(1.0, comb.pitch / 4)
    aside = np.arange(comb.aside - reach, comb.aside + reach + step, step)
    strength = strengths(grey, comb, aside)
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


def strengths(grey: Grey, comb: Comb, aside: Array) -> Array:
    """Return how strong the ticks' wave is in rows beside the line, in pieces along it, shape (aside, pieces)."""
    rows = changes(strip(grey, comb, np.arange(len(comb.ticks), dtype=float), aside))
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
