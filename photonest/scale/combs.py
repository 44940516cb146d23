"""Evenly spaced ticks beside straight lines, seen in perspective: found by their period.

Along a straight line a camera maps even spacing by a function (a s + b) / (c s + 1), and a lens bends that a little.
Over a short piece of the line the ticks are nearly periodic, so that spectra of short pieces find them however faint
each is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photonest.scale.camera import Array

Grey = NDArray[np.uint8]
PIECE = 128  # samples in a piece of the line that a spectrum is taken of
DRIFT = np.linspace(-0.21, 0.21, 15)  # by how much the ticks' frequency rises along half a line, as a share, at first
WAVES = np.arange(5, 62)  # in a piece; one more than half its samples could not be told from fewer
MOST_LINES, MOST_FAR = 30, 8
WAVES_A_LINE = 3  # that are looked at beside a line, near and far
SHORTEST_PX, LONG_PX = 40, 1700  # line: shorter ones aren't looked at, of longer ones every other pixel is
FEW = 512  # places along a row that tell how glaring a slope is
NEAR, FAR = 0.08, 0.35  # how far beside a line ticks are looked for, over its length


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

    def doubled(self) -> Comb:
        """Return the same in a picture of twice the size."""
        count = len(self.ticks)
        ticks = np.interp(np.arange(2 * count - 1) / 2, np.arange(count), self.ticks)
        start = 2 * self.start + 0.5
        return replace(self, start=start, ticks=ticks, aside=2 * self.aside, deep=2 * self.deep)

    def place(self, s: Array, aside: Array) -> Array:
        """Return the pixels at distances along the line and aside of it, shape (..., 2)."""
        return np.asarray(self.start + s[..., None] * self.along + aside[..., None] * self.across)


def combs(grey: Grey, ends: Array) -> list[Comb]:
    """Return what may be ticks beside lines, shape (n, 2, 2), longest line first: of each the clearest near and far.

    Beside the longest lines, ticks are looked for as far away as at the other side of a ruler. The clearest come first.
    """
    found: list[Comb] = []
    for k, (start, end) in enumerate(ends[:MOST_LINES]):
        found += _combs_beside(grey, start, end, FAR if k < MOST_FAR else NEAR)
    return sorted(found, key=lambda comb: -comb.strength)


def _combs_beside(grey: Grey, start: Array, end: Array, far: float) -> list[Comb]:
    length = float(np.linalg.norm(end - start))
    if length < SHORTEST_PX:
        return []
    comb = Comb(start, (end - start) / length, np.zeros(0), 0.0, max(2.0, length / 400), 0.0)
    reach = max(14.0, far * length)
    aside = np.arange(-reach, reach + comb.deep, comb.deep)
    step = 1 if length < LONG_PX else 2
    power = _spectra(changes(strip(grey, comb, np.arange(0, length, step), aside)))
    power = np.asarray((power[1:] + power[:-1]) / 2, np.float32)
    aside = (aside[1:] + aside[:-1]) / 2
    score = _along_drifts(power)
    score = (score - score.mean()) * np.sqrt(power.shape[1])
    s = np.arange(0, length) / length - 0.5
    near = np.abs(aside) < max(14.0, NEAR * length)
    found = []
    for rows in (np.flatnonzero(near), np.flatnonzero(~near)):
        here = score[rows]
        for _ in range(WAVES_A_LINE if len(rows) else 0):
            row, wave, drift = np.unravel_index(int(here.argmax()), here.shape)
            ticks = s / (1 - DRIFT[drift] * s) * length * WAVES[wave] / (PIECE * step)
            strength = float(here[row, wave, drift])
            found.append(replace(comb, ticks=ticks, aside=float(aside[rows[row]]), strength=strength))
            here[:, max(0, wave - 3) : wave + 4] = 0
    return found


def strip(
    grey: Grey, comb: Comb, s: Array, aside: Array, exact: bool = False, course: Array | None = None
) -> NDArray[np.float32]:
    """Return grey values beside a line, shape (aside, s).

    `exact` keeps the phase of waves of two or three pixels; a `course`, shape (s,), goes aside along the line.
    """
    import cv2

    x, y = np.moveaxis(comb.place(s, np.zeros_like(s) if course is None else course), -1, 0).astype(np.float32)
    out_x, out_y = (aside[:, None] * comb.across).T.astype(np.float32)[..., None]
    how = cv2.INTER_LANCZOS4 if exact else cv2.INTER_LINEAR
    seen = cv2.remap(grey, x + out_x, y + out_y, how, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(seen, np.float32)


def changes(strip: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return the slope along each row, glaring ones cut: it has the spectrum of most pictures made even."""
    slope = np.zeros_like(strip)
    slope[:, 1:-1] = strip[:, 2:] - strip[:, :-2]
    usual = 5 * (np.median(np.abs(slope[:, :: 1 + slope.shape[1] // FEW]), axis=1, keepdims=True) + 0.5)
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
    """Return the mean power where the number of waves changes as perspective has it, shape (rows, WAVES, DRIFT)."""
    pieces = power.shape[1]
    place = np.linspace(-1, 1, pieces) if pieces > 1 else np.zeros(1)
    wave = np.rint(WAVES[:, None, None] / (1 - DRIFT[None, :, None] * place / 2) ** 2).astype(int) - 1
    # waves that can't be seen are looked up where there is nothing; rows lie side by side, which is quick to gather
    by_wave = np.zeros((pieces, 64, len(power)), np.float32)
    by_wave[:, :63] = power.transpose(1, 2, 0)
    wave = np.where((wave >= 0) & (wave < 63), wave, 63)
    score = sum(by_wave[k][wave[..., k]] for k in range(pieces))
    return np.asarray(np.moveaxis(score / pieces, -1, 0))
