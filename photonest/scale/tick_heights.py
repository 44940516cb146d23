"""How far ticks reach tells what they stand for: every fifth and tenth of millimetres is longer, of inches every half.

The strip beside a comb's line is straightened, so that ticks stand upright beside one another. Whichever of a ruler's
ticks a comb is of, the longest mark a centimetre or an inch: it is asked again and again whether every second of those
found so far goes on where the others have ended, until none does.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.scale.camera import Array
from photonest.scale.combs import Comb, Grey, changes, strip

INCH_MM = 25.4
PER_TICK, ROWS_A_TICK, SMOOTH_ROWS = 8, 6, 3  # of the straightened strip
FEWEST, LEAST_TIMES = 16, 3  # ticks that are looked at; times that longer ones must come back
REACH = 12.0  # ticks, as far as the longest reach from a comb's line, also of millimetres and of 1/32 inch
FLAT = 4  # ticks about one that what is seen is compared with
# how far above the usual contrast of its row what is seen is cut, and of the rows where ticks are seen best
GLARING, CONTRAST = 6.0, 2.0
SHARE = 0.3  # contrast of longer ticks where the others have ended, over that of the first kind, at least
UNBROKEN = 0.25  # the same contrast, of a longer tick on its way from where the kind before has ended
STEPS = 2.0  # by which one kind of ticks may be longer than the one before, over the usual step
LEANING = 0.3  # of a wave, by which the lean of a piece may stray from the others'
# standard errors by which longer ticks go on: fives and tens of millimetres; twentieths do not; halves to sixteenths
CLEAR_FIVE, CLEAR_TEN, CLEAR_TWENTY, CLEAR_SECOND = 9.0, 5.0, 5.0, 8.0
CLEAR_HALF, CLEAR_EIGHTS, CLEAR_LAST = 4.5, 7.0, 8.0  # inches where eighths are finest, and where thirty-seconds are
# overtones of ticks of five: the fifth, those beside it, what lies between; how many times these it must be as strong
OVERTONES, OVER_OTHERS, OVER_NOISE = np.array([5.0, 4.0, 6.0, 4.3, 4.4, 4.6, 4.7, 5.3, 5.4, 5.6, 5.7]), 2.0, 3.0
# rows beside a comb's line where ticks are looked at; how much less than most one stands out that is worn off or hidden
CLEAR_ROWS, WORN = 2, 0.4
# ticks beyond the longest where figures may stand; ticks beside one that they cover; how much stronger they are than
# what lies between
FIGURES_TO, BESIDE_FIGURE, FIGURE_SEEN = 6, 2, 1.5
NONE_LONGER, NONE_EIGHTS = 4.0, 3.4  # up to which none are longer; the same where eighths are the finest seen


class Longer(NamedTuple):
    """One kind of longer ticks.

    Attributes
    ----------
    every : int
        After how many ticks one comes.
    clear : float
        By how many standard errors they go on where the others have ended, at the clearest place.
    row, phase : int
        That place: the row of the strip, and the sample of a tick.
    first : int
        The number of the first.
    sign : int
        1 if ticks are light, -1 if they are dark.
    contrast : float
        How much lighter, or darker, they are than the others there.
    """

    every: int
    clear: float
    row: int
    phase: int
    first: int
    sign: int
    contrast: float


def tick_mm(grey: Grey, comb: Comb, ticks: Literal["mm", "inch"]) -> float | None:
    """Return what a comb's ticks stand for; None if they don't show it."""
    if comb.ticks[-1] - comb.ticks[0] < FEWEST:
        return None
    seen = upright(grey, comb, REACH * comb.pitch)
    kinds = longer(seen, (5, 10, 20) if ticks == "mm" else (2, 4, 8, 16, 32), len(seen) // 3)
    clear = {kind.every: kind.clear for kind in kinds}
    told = told_mm(clear, ticks)
    if told == 1.0 and _every_second(seen, kinds[0]):
        return None  # half millimetres
    if told == INCH_MM / 8:  # inches that are few or worn don't stand out among halves, but their figures do
        return figures_tell(seen, kinds[0], kinds[2])
    return told


def are_longer(grey: Grey, comb: Comb, kinds: tuple[int, ...]) -> bool:
    """Return whether every so many of a comb's ticks are longer, each kind among those of the kind before."""
    seen = upright(grey, comb, REACH * comb.pitch)
    found = longer(seen, kinds, len(seen) // 3)
    return len(found) == len(kinds) and all(kind.clear > CLEAR_HALF for kind in found)


def told_mm(clear: dict[int, float], ticks: Literal["mm", "inch"]) -> float | None:
    """Return what ticks stand for, by how clearly every so many are longer; None if it can't be told."""
    if ticks == "mm":
        fives = clear.get(5, 0.0) > CLEAR_FIVE and clear.get(10, 0.0) > CLEAR_TEN
        return 1.0 if fives and clear.get(20, 0.0) < CLEAR_TWENTY else None
    inch = 1
    while clear.get(2 * inch, 0.0) > CLEAR_HALF:
        inch *= 2
    more = clear.get(2 * inch)
    if inch == 8:
        # inches that are too few or too faint to stand out beside halves would make eighths of sixteenths
        return INCH_MM / 8 if more is not None and more < NONE_EIGHTS and clear[8] > CLEAR_EIGHTS else None
    if inch == 32:
        return INCH_MM / 32 if clear[32] > CLEAR_LAST else None
    return INCH_MM / 16 if inch == 16 and (more is None or more < NONE_LONGER) else None


def _every_second(seen: NDArray[np.float32], five: Longer) -> bool:
    """Whether of the ticks between those of five every second one goes on: half millimetres do so."""
    number = np.arange(seen.shape[1])
    plain = (number - five.first) % 5 != 0
    even, odd = (seen[:, plain & (number % 2 == part)] * five.sign for part in (0, 1))
    error = np.sqrt(sum(part.var(axis=1) / part.shape[1] for part in (even, odd))) + 0.5 / np.sqrt(len(number))
    clear = (even.mean(axis=1) - odd.mean(axis=1)) / error
    much = np.abs(even.mean(axis=1) - odd.mean(axis=1)) > SHARE * five.contrast
    return bool((np.abs(clear) * much).max() > CLEAR_SECOND)


def figures_tell(seen: NDArray[np.float32], first: Longer, eighth: Longer) -> float | None:
    """Return whether every eighth tick makes an inch, or every sixteenth: by where figures stand; None if none do.

    Parameters
    ----------
    seen : ndarray, shape (rows, ticks, PER_TICK)
        As `upright` returns it.
    first, eighth : Longer
        The first kind of longer ticks, and every eighth tick.
    """
    away = -1 if eighth.row < first.row else 1
    rows = eighth.row + away * np.arange(ROWS_A_TICK, FIGURES_TO * ROWS_A_TICK)
    rows = rows[(rows >= 0) & (rows < len(seen))]
    marks = np.arange(eighth.first, seen.shape[1], 8)
    marks = marks[(marks >= BESIDE_FIGURE) & (marks < seen.shape[1] - 4 - BESIDE_FIGURE)]
    if len(marks) < 4 or len(rows) < ROWS_A_TICK:
        return None
    strength = np.abs(seen[rows]).mean(axis=2)
    wide = np.arange(-BESIDE_FIGURE, BESIDE_FIGURE + 1)

    def at(ticks: NDArray[np.int_]) -> Array:
        by_row = np.median(strength[:, ticks[:, None] + wide].mean(axis=2), axis=1)
        return np.convolve(by_row, np.ones(ROWS_A_TICK) / ROWS_A_TICK, "valid")

    even, odd, between = at(marks[::2]), at(marks[1::2]), at(marks + 4)
    best = int(((even + odd) / (between + 0.1)).argmax())
    more, fewer = sorted((even[best], odd[best]), reverse=True)
    if fewer > FIGURE_SEEN * between[best] and more < FIGURE_SEEN * fewer:
        return INCH_MM / 8
    return INCH_MM / 16 if more > FIGURE_SEEN * max(fewer, between[best]) else None


def between_fives(grey: Grey, comb: Comb) -> bool:
    """Return whether there are millimetres where a comb has them between ticks of five that stand out more.

    Thin ticks have overtones, each about as strong as the ones beside it: millimetres between fives raise the fifth
    alone, as other ticks would others.
    """
    aside = comb.aside + np.arange(-REACH / 2, REACH / 2 + 0.1, 1 / 3) * comb.pitch
    rows = changes(strip(grey, comb, np.arange(len(comb.ticks), dtype=float), aside, exact=True))
    wave = rows * np.hanning(rows.shape[1]) @ np.exp(-2j * np.pi / 5 * np.outer(comb.ticks, OVERTONES))
    size = np.abs(wave) / np.sqrt((rows**2).sum(axis=1) + 1)[:, None]
    best = int(size[:, 0].argmax())
    fifth, others, between = np.split(size[max(0, best - 2) : best + 3].mean(axis=0), [1, 3])
    return bool(fifth[0] > OVER_OTHERS * others.max() and fifth[0] > OVER_NOISE * between.max())


def leans(grey: Grey, comb: Comb) -> Array:
    """Return by how many pixels along the line ticks go a pixel aside, at each pixel of it: linear along the line."""
    count = len(comb.ticks)
    beside, step = 3 * comb.deep + 2 * comb.pitch, max(1.0, comb.pitch / ROWS_A_TICK)
    rows = changes(strip(grey, comb, np.arange(count, dtype=float), comb.aside + np.arange(-beside, beside, step)))
    size = int(min(max(24, round(8 * comb.pitch)), count))
    pieces = count // size
    turned = rows[:, : pieces * size] * np.exp(-2j * np.pi * comb.ticks[: pieces * size])
    wave = turned.reshape(len(rows), pieces, size).sum(axis=2)
    turn = (wave[2:] * wave[:-2].conj()).sum(axis=0)
    x = np.linspace(-1, 1, pieces + 1)[1:] - 1 / pieces
    off = np.angle(turn.sum()) + np.angle(turn * turn.sum().conj())
    line, weight = np.array([0.0, np.angle(turn.sum())]), np.abs(turn)
    for _ in range(3 if pieces > 2 else 0):
        root = np.sqrt(weight)
        line, *_ = np.linalg.lstsq(np.column_stack([x, np.ones_like(x)]) * root[:, None], off * root, rcond=None)
        weight = np.abs(turn) / (1 + ((off - np.polyval(line, x)) / LEANING) ** 2)
    return np.asarray(-np.polyval(line, np.linspace(-1, 1, count)) / (4 * np.pi * step) * comb.pitch)


def upright(grey: Grey, comb: Comb, reach: float) -> NDArray[np.float32]:
    """Return what is seen beside a comb's line over what lies about it, shape (rows, ticks, PER_TICK)."""
    import cv2

    first, last = int(np.ceil(comb.ticks[0])), int(np.floor(comb.ticks[-1]))
    at = np.arange(len(comb.ticks), dtype=float)
    s = np.interp(first + np.arange((last - first) * PER_TICK) / PER_TICK, comb.ticks, at)
    lean = np.interp(s, at, leans(grey, comb))
    aside = (comb.aside + np.arange(-reach, reach + 0.1, max(1.0, comb.pitch / ROWS_A_TICK)))[:, None]
    # what lies along the camera's view shrinks with the square of its distance, what lies across it with that itself
    spread = np.sqrt(comb.pitch * np.gradient(comb.ticks))
    rows = (comb.aside + (aside - comb.aside) / np.interp(s, at, spread)).astype(np.float32)
    on, moved = comb.place(s, np.zeros_like(s)).astype(np.float32), (rows - np.float32(comb.aside)) * np.float32(lean)
    x, y = (on[:, k] + moved * np.float32(comb.along[k]) + rows * np.float32(comb.across[k]) for k in (0, 1))
    seen = cv2.remap(grey, x, y, cv2.INTER_LANCZOS4, borderMode=cv2.BORDER_REPLICATE)
    smooth = cv2.blur(seen.astype(np.float32), (1, SMOOTH_ROWS))
    over = smooth - cv2.blur(smooth, (FLAT * PER_TICK + 1, 1))
    # most of what stands out in rows that few ticks reach are ticks: it is not cut below what their like have elsewhere
    middle = np.median(np.abs(over), axis=1, keepdims=True)
    here = np.abs(aside - comb.aside) < max(SMOOTH_ROWS, comb.pitch)
    usual = np.maximum(GLARING * middle + 1, CONTRAST * np.median(middle[here]))
    return np.asarray(np.clip(over, -usual, usual)).reshape(len(aside), last - first, PER_TICK)


def longer(seen: NDArray[np.float32], kinds: tuple[int, ...], reach: int) -> list[Longer]:
    """Return the kinds of longer ticks, each among those of the kind before, as long as there are enough of them.

    Parameters
    ----------
    seen : ndarray, shape (rows, ticks, PER_TICK)
        As `upright` returns it.
    kinds : tuple of int
        After how many ticks they may come, each a multiple of the one before.
    reach : int
        How many rows the second kind and all after it may be away from where the first is clearest.
    """
    count = seen.shape[1]
    enough = [every for every in kinds if count >= max(FEWEST, LEAST_TIMES * every)]
    if not enough:
        return []
    lag, kept = enough[-1], _seen_clearly(seen)
    noise = 1.4826 / np.sqrt(2) * np.median(np.abs(seen[:, lag:] - seen[:, :-lag]), axis=1) + 0.5
    found: list[Longer] = []
    for every in enough:
        found.append(_longest(seen, kept, noise, every, found, reach))
        if found[-1].clear == 0:
            break
    return found


def _seen_clearly(seen: NDArray[np.float32]) -> Array:
    """Return 1 for ticks seen about as clearly as most, 0 where they are worn off or hidden, shape (ticks,)."""
    middle = len(seen) // 2
    wave = seen[middle - CLEAR_ROWS : middle + CLEAR_ROWS + 1].sum(axis=0) @ np.exp(
        2j * np.pi * np.arange(PER_TICK) / PER_TICK
    )
    along = (wave * np.conj(wave.sum())).real
    clear = np.convolve(np.pad(along, 2, "edge"), np.ones(5), "valid")
    return np.asarray(clear > WORN * np.median(clear), dtype=float)


def _longest(
    seen: NDArray[np.float32], kept: Array, noise: Array, every: int, before: list[Longer], reach: int
) -> Longer:
    """Return which ticks, `every` so many, go on most against the others among those of the kind before.

    Their means are compared, each with its own spread (Welch 1947), which is no less than that of what lies about.
    """
    last = before[-1] if before else None
    groups = range(last.first if last else 0, every, last.every if last else 1)
    shares = [kept[group::every] for group in groups]
    if min(share.sum() for share in shares) < LEAST_TIMES:  # too few to leave any out
        shares = [np.ones_like(share) for share in shares]
    number = np.array([share.sum() for share in shares])[:, None, None]
    parts = [(seen[:, group::every], share / share.sum()) for group, share in zip(groups, shares, strict=True)]
    mean = np.stack([np.einsum("rtp,t->rp", part, share) for part, share in parts])
    square = np.stack([np.einsum("rtp,t->rp", part**2, share) for part, share in parts])
    others = number.sum() - number
    rest, rest_square = (((all_ * number).sum(axis=0) - all_ * number) / others for all_ in (mean, square))
    own = np.maximum((square - mean**2) / np.maximum(number - 1, 1), noise**2 / number)
    its = np.maximum((rest_square - rest**2) / np.maximum(others - 1, 1), noise**2 / others)
    sign = np.sign(mean) if last is None else np.full_like(mean, last.sign)
    clear = sign * (mean - rest) / np.sqrt(own + its)
    if last is None:
        possible = np.abs(mean) > np.abs(rest)
    else:
        off = (np.arange(PER_TICK) - before[0].phase + PER_TICK // 2) % PER_TICK - PER_TICK // 2
        near = _beyond(np.arange(len(seen)), before, reach)
        much = sign * (mean - rest) > SHARE * before[0].contrast
        going_on = _going_on((sign * mean)[..., np.abs(off) <= 1].max(axis=-1), last.row, UNBROKEN * before[0].contrast)
        possible = (sign * mean > 0) & much & (np.abs(off) <= 1) & (near & going_on)[..., None]
    clear = np.where(possible, clear, 0)
    at = np.unravel_index(int(clear.argmax()), clear.shape)
    group, row, phase = (int(one) for one in at)
    contrast = abs(float((mean - rest)[at]))
    return Longer(every, float(clear[at]), row, phase, groups[group], int(sign[at]), contrast)


def _going_on(seen: Array, row: int, least: float) -> NDArray[np.bool_]:
    """Whether ticks are seen in each row and in all between that and one row, shape (groups, rows).

    Those of a narrow ruler's other edge are as long, and begin anew.
    """
    there = seen > least
    there[:, row] = True
    above = np.cumprod(there[:, row::-1], axis=1)[:, ::-1]
    return np.asarray(np.hstack([above[:, :-1], np.cumprod(there[:, row:], axis=1)]), dtype=bool)


def _beyond(rows: NDArray[np.int_], before: list[Longer], reach: int) -> NDArray[np.bool_]:
    """Whether rows lie where the next kind may go on: each is longer by about as much, and figures stand behind all."""
    away = rows - before[-1].row
    step = (before[-1].row - before[0].row) / max(1, len(before) - 1)
    if len(before) == 1:
        return np.asarray(np.abs(away) <= reach)
    return np.asarray((away * np.sign(step) >= -1) & (np.abs(away) <= max(STEPS * abs(step), 2.0)))
