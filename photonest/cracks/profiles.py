"""Cuts across a candidate at full resolution: where its middle runs, how wide and how deep it is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photonest.cracks.strips import Floats

Vector = NDArray[np.float64]
STEP = 2.0  # pixels from cut to cut
DARK_GAP = 0.85  # share of the light that a check swallows, where it is too narrow to tell
BLURRED = 2.5  # pixels that a lens smears a thin line to
LEAD = 12  # cuts before and after a line, thrown away


@dataclass(frozen=True, eq=False)
class Profile:
    """What lies across a line, point by point.

    Attributes
    ----------
    path : ndarray, shape (n, 2)
        The middle of the line in pixels, evenly spaced.
    step : float
        Spacing in pixels.
    cuts : ndarray, shape (n, 2 reach + 1)
        Brightness across the line, a pixel apart, the middle in the middle column; averaged a little along it.
    depth : ndarray, shape (n,)
        How far the middle is below the lesser of both sides (above the greater, for a light line).
    width : ndarray, shape (n,)
        Opening in pixels; 0 where there is no line.
    noise : float
        Typical deviation of the wood beside the line.
    light : bool
        The line is lighter than the wood.
    """

    path: Vector
    step: float
    cuts: Floats
    depth: Vector
    width: Vector
    noise: float
    light: bool

    def part(self, start: int, stop: int) -> Profile:
        """Return the stretch between two points."""
        cut = slice(start, stop)
        return replace(self, path=self.path[cut], cuts=self.cuts[cut], depth=self.depth[cut], width=self.width[cut])

    @property
    def level(self) -> float:
        """Brightness of the middle over that of the wood beside it, typically."""
        reach = self.cuts.shape[1] // 2
        sides = self.cuts[:, : reach // 2].mean(axis=1) + self.cuts[:, -(reach // 2) :].mean(axis=1)
        return ranked(self.cuts[:, reach] / np.maximum(sides / 2, 1.0), 0.5)

    @property
    def length(self) -> float:
        """Along the path, in pixels."""
        return float(np.hypot(*np.diff(self.path, axis=0).T).sum())


def resampled(path: Vector, step: float, smooth: float) -> Vector:
    """Return a path evenly spaced, its steps smoothed away over `smooth` pixels; both ends stay.

    >>> resampled(np.array([[0.0, 0.0], [4.0, 0.0]]), 1.0, 0.0).tolist()
    [[0.0, 0.0], [1.0, 0.0], [2.0, 0.0], [3.0, 0.0], [4.0, 0.0]]
    """
    travelled = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    count = max(2, round(travelled[-1] / step) + 1)
    at = np.linspace(0.0, travelled[-1], count)
    even = np.column_stack([np.interp(at, travelled, path[:, k]) for k in (0, 1)])
    reach = int(smooth / step)
    if reach < 1:
        return even
    kernel = np.hanning(2 * reach + 3)[1:-1]
    kernel /= kernel.sum()
    # mirrored through its ends, so that these neither shrink nor turn
    lead, tail = 2 * even[0] - even[reach:0:-1], 2 * even[-1] - even[-2 : -reach - 2 : -1]
    if len(lead) < reach or len(tail) < reach:
        return even
    long = np.vstack([lead, even, tail])
    return np.column_stack([np.convolve(long[:, k], kernel, "valid") for k in (0, 1)])


def normals(path: Vector) -> Vector:
    """Return the unit vectors across a path, to the right of its course in a picture with y down."""
    along = np.empty(path.shape)
    along[1:-1], along[0], along[-1] = path[2:] - path[:-2], path[1] - path[0], path[-1] - path[-2]
    along /= np.maximum(np.hypot(along[:, 0], along[:, 1]), 1e-9)[:, None]
    return np.column_stack([-along[:, 1], along[:, 0]])


def ranked(values: NDArray[np.floating], share: float) -> float:
    """Return the value that a share of the values lie below, between two of them by line; quicker than numpy's.

    >>> ranked(np.array([3.0, 1.0, 2.0, 4.0]), 0.5)
    2.5
    """
    place = share * (len(values) - 1)
    low = int(place)
    first, second = np.partition(values, [low, min(low + 1, len(values) - 1)])[[low, min(low + 1, len(values) - 1)]]
    return float(first + (place - low) * (second - first))


def are_light(grey: NDArray[np.uint8], paths: Sequence[Vector], reach: int, slack: int) -> list[bool]:
    """Tell of each line within `slack` pixels of a path whether it is lighter, not darker, than the wood beside it."""
    import cv2

    if not paths:
        return []
    thin = [path[:: max(1, len(path) // 200)] for path in paths]
    across = np.concatenate([normals(path) for path in thin])
    cuts = cv2.blur(_cuts(grey, np.concatenate(thin), reach, across), (3, 1))
    beside = np.median(np.concatenate([cuts[:, : reach // 2], cuts[:, -(reach // 2) :]], axis=1), axis=1)
    middle = cuts[:, reach - slack : reach + slack + 1]
    excess = middle.max(axis=1) + middle.min(axis=1) - 2 * beside
    return [bool(np.median(part) > 0) for part in np.split(excess, np.cumsum([len(path) for path in thin])[:-1])]


def profiles(grey: NDArray[np.uint8], paths: Sequence[Vector], reach: int, slack: int, light: bool) -> list[Profile]:
    """Measure lines along paths that run within `slack` pixels of their middles.

    Parameters
    ----------
    grey : ndarray of uint8
        The picture.
    paths : sequence of ndarray, shape (n, 2)
        In its pixels.
    reach : int
        Pixels looked at to either side.
    light : bool
        The lines are lighter than the wood.
    """
    import cv2

    if not paths:
        return []
    # all lines one after another in one array, each led on straight so that no filter sees the next
    parts = [_led_on(resampled(path, STEP, smooth=8.0)) for path in paths]
    ends = np.cumsum([len(part) for part in parts])
    path = np.concatenate(parts)
    for _ in range(2):
        cuts = cv2.blur(_cuts(grey, path, slack + 1), (3, 9))
        path = path + normals(path) * _middle(255 - cuts if light else cuts, slack + 1, slack)[:, None]
        slack = max(1, slack // 2)
    _, left, right = _rises(_signed(_cuts(grey, path, reach), light), reach)
    path = path + normals(path) * _even((right - left) / 2)[:, None]
    cuts = _cuts(grey, path, reach)
    signed = _signed(cuts, light)
    depth, left, right = _rises(signed, reach)
    width = _opening(signed, depth, left, right, light)
    lines = []
    for start, stop in zip(ends - [len(part) for part in parts], ends, strict=True):
        own = slice(int(start) + LEAD, int(stop) - LEAD)
        noise = _noise(signed[own])
        opening = _even_out(np.where(depth[own] > max(2.0, 2.5 * noise), width[own], 0.0))
        lines.append(Profile(path[own], STEP, cuts[own], depth[own], opening, noise, light))
    return lines


def _led_on(path: Vector) -> Vector:
    more = np.arange(1, LEAD + 1)[:, None]
    return np.vstack([path[0] - more[::-1] * (path[1] - path[0]), path, path[-1] + more * (path[-1] - path[-2])])


def _noise(signed: Floats) -> float:
    """Return the texture beside a line as a standard deviation (from the median absolute one), at least 0.7."""
    reach = signed.shape[1] // 2
    beside = np.concatenate([signed[::2, : reach // 2 : 2], signed[::2, -(reach // 2) :: 2]])
    return max(0.7, 1.4826 * ranked(np.abs(beside - np.median(beside, axis=1, keepdims=True)).ravel(), 0.5))


def _cuts(grey: NDArray[np.uint8], path: Vector, reach: int, across: Vector | None = None) -> Floats:
    import cv2

    across = normals(path) if across is None else across
    offsets = np.arange(-reach, reach + 1, dtype=np.float64)
    x = (path[:, 0, None] + across[:, 0, None] * offsets).astype(np.float32)
    y = (path[:, 1, None] + across[:, 1, None] * offsets).astype(np.float32)
    blocks = [slice(k, k + 30_000) for k in range(0, len(path), 30_000)]  # OpenCV remaps at most 32767 rows
    cuts = [cv2.remap(grey, x[b], y[b], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE) for b in blocks]
    return np.concatenate(cuts).astype(np.float32)


def _signed(cuts: Floats, light: bool) -> Floats:
    """Return cuts in which the line is dark, averaged a little along it."""
    import cv2

    return np.asarray(cv2.blur(255 - cuts if light else cuts, (1, 3)), np.float32)


def _middle(signed: Floats, centre: int, slack: int) -> Vector:
    """Return the sideways shift, within `slack`, to the darkest course; a little drawn to where it was."""
    part = signed[:, centre - slack : centre + slack + 1].astype(np.float64)
    pull = 0.3 / slack * part.std(axis=1, keepdims=True) * np.abs(np.arange(-slack, slack + 1))
    return _even((part + pull).argmin(axis=1) - slack)


def _even(shift: NDArray[np.floating] | NDArray[np.integer]) -> Vector:
    """Return shifts without the odd ones out, and smoothed."""
    import cv2

    median = cv2.medianBlur(shift.astype(np.float32).reshape(-1, 1), 5).ravel()
    return np.convolve(np.pad(median.astype(np.float64), 2, mode="edge"), np.ones(5) / 5, "valid")


def _rises(signed: Floats, reach: int) -> tuple[Vector, Vector, Vector]:
    """Return the depth of each cut and how far from its middle either side rises to half of it.

    The sides' level is the median of their outer halves: a line may be wide.
    """
    middle = signed[:, reach - 1 : reach + 2].min(axis=1)
    left, right = np.median(signed[:, : reach // 2 : 2], axis=1), np.median(signed[:, -(reach // 2) :: 2], axis=1)
    depth = np.minimum(left, right) - middle
    half = (middle + depth / 2)[:, None]
    return depth.astype(np.float64), _run_below(signed[:, reach::-1], half), _run_below(signed[:, reach:], half)


def _opening(signed: Floats, depth: Vector, left: Vector, right: Vector, light: bool) -> Vector:
    """Return the opening across each cut, in pixels.

    A line wider than the lens's blur opens as far as it lies below half its depth. A narrower one is smeared to the
    blur's width: what it takes from the light is left, and a gap as dark as a check would be is as wide as that.
    """
    reach, wide = signed.shape[1] // 2, left + right
    near = np.abs(np.arange(-reach, reach + 1)) <= (wide / 2 + BLURRED)[:, None]
    side = (signed[:, reach - 1 : reach + 2].min(axis=1) + depth)[:, None]
    # a lens smears light, not grey levels: these are about its square root
    power = 1 if light else 2
    taken = (np.clip(side**power - signed**power, 0, None) * near).sum(axis=1)
    full = (side**power - (side - depth[:, None]) ** power)[:, 0]
    if not light:
        full = np.maximum(full, DARK_GAP * side[:, 0] ** 2)
    share = np.clip((wide - BLURRED) / BLURRED, 0, 1)
    narrow = taken / np.maximum(full, 1.0)
    return np.asarray(share * wide + (1 - share) * narrow, np.float64)


def _even_out(width: Vector) -> Vector:
    """Return widths without the odd ones out: the median of five cuts."""
    import cv2

    return np.asarray(cv2.medianBlur(width.astype(np.float32).reshape(-1, 1), 5).ravel(), np.float64)


def _run_below(side: Floats, level: Floats) -> Vector:
    """Return how far from column 0 a cut first rises to the level, between pixels."""
    above = side >= level
    above[:, -1] = True
    first = np.maximum(above.argmax(axis=1), 1)
    rows = np.arange(len(side))
    low, high = side[rows, first - 1], side[rows, first]
    part = (level[:, 0] - low) / np.maximum(high - low, 1e-3)
    return np.asarray(first - 1 + np.clip(part, 0, 1), np.float64)
