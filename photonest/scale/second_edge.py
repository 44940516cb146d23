"""Ticks along the other edge of a ruler: with those of the first they tell how it is turned about its length.

Ticks of one edge lie in a band a few mm wide. If that slopes, as a tape measure's or a bevelled edge does, so does the
plane that they seem to lie in. Those of both edges lie as far apart as the ruler is wide.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from photonest.scale.camera import Array
from photonest.scale.combs import Comb, Grey, changes, strip
from photonest.scale.tick_heights import INCH_MM, are_longer
from photonest.scale.tick_wave import centred

SPACINGS = (1.0, INCH_MM / 16, INCH_MM / 32, INCH_MM / 8)  # in mm, of ticks that rulers have
NEAREST_MM, FARTHEST_MM = 5.0, 80.0  # from one edge's ticks to the other's
BAND_MM = 1.5  # how wide a band is looked at at once
STANDS_OUT, STRONG = 2.0, 0.4  # how much of a wave there is over the usual beside the ruler; strength of a comb
MOST_TRIED = 4
ALIKE = 0.08  # by how much, as a share, perspective may change the spacing from one edge to the other


def second_edge(grey: Grey, comb: Comb, tick: float) -> tuple[Comb, float] | None:
    """Return the clearest ticks beside those of a comb that has `tick` mm from one to the next, and their spacing.

    They must be spaced as ticks are, in the mm that the first ones tell, and some be longer as those
    of mm or of inches are: scale rules have any other spacing.
    """
    mm = comb.pitch / tick  # in pixels
    step = max(1.0, comb.pitch / 3)
    aside = comb.aside + np.arange(-FARTHEST_MM * mm, FARTHEST_MM * mm, step)
    far = np.abs(aside - comb.aside) > NEAREST_MM * mm
    rows = changes(strip(grey, comb, np.arange(len(comb.ticks), dtype=float), aside))
    wide = np.ones(max(1, round(BAND_MM * mm / step)))
    found: list[tuple[float, float, float]] = []
    for spacing in SPACINGS:
        seen = _wave(rows, comb.ticks * tick / spacing)
        seen = np.convolve(seen, wide / len(wide), "same") / np.median(seen)
        for side in (-1, 1):
            here = np.where(far & (side * (aside - comb.aside) > 0), seen, 0.0)
            found.append((float(here.max()), spacing, float(aside[int(here.argmax())])))
    tried = [one for one in sorted(found, reverse=True)[:MOST_TRIED] if one[0] > STANDS_OUT]
    combs = [(_fitted(grey, comb, tick, spacing, at), spacing) for _, spacing, at in tried]
    good = [(other, spacing) for other, spacing in combs if other is not None]
    return max(good, key=lambda one: one[0].strength, default=None)


def _wave(rows: NDArray[np.float32], ticks: Array) -> Array:
    """Return how much of a wave there is in each row, shape (rows,): the mean over pieces of the line."""
    size = min(max(24, round(10 * len(ticks) / float(np.ptp(ticks)))), rows.shape[1])
    count = rows.shape[1] // size
    pieces = rows[:, : count * size].reshape(len(rows), count, size)
    turn = np.exp(-2j * np.pi * ticks[: count * size]).astype(np.complex64).reshape(count, size)
    wave = np.abs(np.einsum("rks,ks->rk", pieces, turn))
    return np.asarray((wave / np.sqrt(size * (pieces**2).sum(axis=2) + 1)).mean(axis=1), dtype=float)


def _fitted(grey: Grey, comb: Comb, tick: float, spacing: float, aside: float) -> Comb | None:
    """Return the ticks found there; None if they are too faint, or aren't spaced so."""
    ticks = comb.ticks * tick / spacing
    halfway = 0.5 * abs(aside - comb.aside)  # beyond, the first edge's ticks may be stronger
    other = centred(grey, replace(comb, ticks=ticks, aside=aside), coarse=True, most_px=halfway)
    ratio = other.pitch / comb.pitch * tick / spacing
    moved = float((other.place(np.array(len(ticks) / 2), np.array(0.0)) - comb.start) @ comb.across) - comb.aside
    near = abs(moved) < NEAREST_MM * comb.pitch / tick
    if near or other.strength < STRONG or abs(ratio - 1) > ALIKE:
        return None
    return other if are_longer(grey, other, (5, 10) if spacing == 1.0 else (2, 4)) else None
