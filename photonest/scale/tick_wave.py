"""Ticks followed along their line by the phase of their wave."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from photonest.scale.camera import Array
from photonest.scale.combs import PIECE, Comb, Grey, changes, strip

GOING_ON = 0.5  # how like the wave a piece must look beyond a line's end for ticks to go on there
UNDERTONE = 0.3  # strength of a longer wave from which on it is the ticks' own
LEAST_STEPS, STEPS_FITTED, STRAYING = 6, 4, 0.08  # from piece to piece; of a wave, by which one may stray
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
    row, place, ticks = _row(grey, comb), np.linspace(-1, 1, len(comb.ticks)), comb.ticks
    if coarse:
        firsts = [_nearly(row, first) for first in (ticks, _drifted(row, ticks))]
        ticks = max(firsts, key=lambda first: _strength(row, first))
    for degree in (2, 3, 4, 4):
        middles, wave = _waves(row, ticks)
        common = np.angle((wave * np.abs(wave)).sum())
        off = np.angle(wave * np.exp(-1j * common)) / (2 * np.pi)
        weight = np.abs(wave) * (np.abs(off) < 0.25)
        powers = np.vander(place[middles], min(degree, max(1, len(middles) // 2)) + 1)
        change, *_ = np.linalg.lstsq(powers * weight[:, None], off * weight, rcond=None)
        ticks = ticks + np.polyval(change, place)
    if (np.diff(ticks) <= 0).any():
        return replace(comb, strength=0.0)
    return replace(comb, ticks=ticks, strength=_strength(row, ticks))


def _nearly(row: Array, ticks: Array) -> Array:
    """Return ticks with that slope and bend, of a few waves each, added by which their wave is strongest."""
    place = np.linspace(-1, 1, len(ticks))
    middles, wave = _waves(row, ticks)
    slope, bend = np.arange(-3, 3.01, 0.15), np.arange(-2.5, 2.51, 0.15)
    x = place[middles]
    by_slope, by_bend = (np.exp(-2j * np.pi * np.outer(by, x**power)) for by, power in ((slope, 1), (bend, 2)))
    first, second = np.unravel_index(int(np.abs((by_slope * wave) @ by_bend.T).argmax()), (len(slope), len(bend)))
    return np.asarray(ticks + slope[first] * place + bend[second] * place**2)


def _drifted(row: Array, ticks: Array) -> Array:
    """Return ticks led along the line by how much the phase of their wave changes from each piece to the next."""
    place = np.linspace(-1, 1, len(ticks))
    middles, wave = _waves(row, ticks)
    step = wave[1:] * wave[:-1].conj()
    if len(step) < LEAST_STEPS:
        return ticks
    change, x = np.angle(step) / (2 * np.pi), (place[middles[1:]] + place[middles[:-1]]) / 2
    weight = np.abs(step)
    for _ in range(STEPS_FITTED):
        root = np.sqrt(weight)
        powers, *_ = np.linalg.lstsq(np.vander(x, 3) * root[:, None], change * root, rcond=None)
        weight = np.abs(step) / (1 + ((change - np.polyval(powers, x)) / STRAYING) ** 2)
    led = ticks + np.polyval(np.polyint(powers), place) / np.diff(place[middles]).mean()
    return np.asarray(led if (np.diff(led) > 0).all() else ticks)


def _row(grey: Grey, comb: Comb) -> Array:
    """Return how light changes along a comb's line, the mean of its rows, shape (n,)."""
    aside = np.arange(comb.aside - comb.deep, comb.aside + comb.deep + 0.1)
    seen = strip(grey, comb, np.arange(len(comb.ticks), dtype=float), aside).mean(axis=0)
    return np.asarray(changes(seen[None])[0], dtype=float)


def _waves(row: Array, ticks: Array) -> tuple[NDArray[np.int_], NDArray[np.complex128]]:
    """Return middles of pieces along a row, and how like the ticks' wave each looks: 0 to 1, and its phase."""
    size = int(np.clip(12 * len(ticks) / np.ptp(ticks), 48, PIECE))
    size = min(size, len(ticks))
    every = max(1, size // 3)
    turned, seen = (
        np.lib.stride_tricks.sliding_window_view(one, size)[::every] for one in (row * np.exp(-2j * np.pi * ticks), row)
    )
    window = np.hanning(size)
    energy = seen**2 @ window**2
    wave = turned @ window / np.sqrt(np.maximum(energy * (window**2).sum(), 1e-9))
    return np.arange(0, len(ticks) - size + 1, every) + size // 2, wave


def _strength(row: Array, ticks: Array) -> float:
    """Return how like one wave all pieces look together, 0 to 1."""
    return float(np.abs(_waves(row, ticks)[1].mean()))


def _fundamental(grey: Grey, comb: Comb) -> Comb:
    """Return a comb whose wave is no overtone: thin ticks also make waves of a half and a third of their pitch."""
    row = _row(grey, comb)
    for share in (1 / 2, 1 / 3):
        strength = _strength(row, comb.ticks * share)
        if strength > UNDERTONE:
            return replace(comb, ticks=comb.ticks * share, strength=strength)
    return comb


def centred(grey: Grey, comb: Comb, coarse: bool = False, most_px: float = np.inf) -> Comb:
    """Return a comb with its line moved and turned to where its wave is strongest, at most so far.

    `coarse` if its ticks may be off by several.
    """
    count = len(comb.ticks)
    deep = max(2.0, 1.2 * comb.pitch)
    reach = min(5 * comb.pitch + 0.03 * count, most_px)
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
    return _fitted(grey, replace(comb, start=middle - count / 2 * along, along=along, aside=0.0, deep=deep), coarse)


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
    middles, wave = _waves(_row(grey, longer), ticks)
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
