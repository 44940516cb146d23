"""Where a crack goes on beyond the last place where the network sees it.

The network looks at the whole face small, where a check that closes fades into the wood's texture, and a hundredth more
or less of the size may move its end by a tenth of the diameter. At full size its darkness can be followed farther:
ahead of an end the photo is laid out straight, and what goes on from there is the path with the greatest sum of what
stands out. It counts where no path beside it comes near that sum; so wood as streaky, torn or dusty as it may be sets
its own measure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from photonest.cracks.profiles import ranked
from photonest.cracks.search import View
from photonest.cracks.strips import Floats
from photonest.cracks.traces import Trace, Vector, course_of
from photonest.imaging import polygon_mask
from photonest.model import Point

CELLS = 1600  # to the diameter; fewer where the photo has fewer pixels
AHEAD, BESIDE = 0.08, 0.025  # of the diameter: how far on, and to either side, is looked
SPARE = 10  # cells more on every side, for what is averaged
COURSE = 8  # points of a trace from which its course is told
WIDEST, ALONG = 6, 7  # cells averaged across a line at most, and along it
CLEAR, CAP = 2.5, 4.0  # deviations of the wood's texture: what speaks neither way, and what is believed at most
BEND = 0.5  # cost of a step sideways
OWN = 4  # cells to either side that belong to a path, besides those that the line opens
BETTER, LEAST = 2.0, 15.0  # times the sum of the best path beside, and the sum, from which a path is believed
EVERY = 8  # cells from point to point
NEVER = np.float32(-50.0)
AT_PITH = 0.03  # of the diameter: an end so near the pith is none
Path = tuple[NDArray[np.int64], float]  # the column of each row, and the sum


@dataclass(frozen=True, eq=False)
class Sheet:
    """Where lines may go on: 1 on the wood off all lines, else 0, `share` times the size of `View.full`."""

    free: NDArray[np.uint8]
    share: float


@dataclass(frozen=True, eq=False)
class Ahead:
    """The photo ahead of a trace's last point, laid out straight: rows along its course, the middle column on it."""

    end: Trace
    seen: View

    @property
    def cell(self) -> float:
        """Millimetres from cell to cell."""
        return max(self.seen.diameter / CELLS, self.seen.full.mm_per_px)

    @property
    def rows(self) -> int:
        """Number of rows."""
        return round(AHEAD * self.seen.diameter / self.cell)

    @property
    def beside(self) -> int:
        """Number of columns on either side of the middle one."""
        return round(BESIDE * self.seen.diameter / self.cell)

    @property
    def opening(self) -> float:
        """How far the line opens, in cells."""
        return ranked(self.end.widths[-12:], 0.5) / self.cell

    @cached_property
    def axes(self) -> Vector:
        """Steps in mm from row to row and from column to column, shape (2, 2)."""
        x, y = course_of(self.end.path, COURSE)
        return self.cell * np.array([[x, y], [-y, x]])

    def at(self, rows: NDArray[np.int64], columns: NDArray[np.int64]) -> Vector:
        """Return places in mm."""
        return np.asarray(self.end.path[-1] + np.column_stack([rows, columns]) @ self.axes)

    def scores(self, sheet: Sheet) -> Floats:
        """Return how clearly a line like this one stands out at each cell, shape (rows, 2 beside + 1)."""
        import cv2

        seen, side = self.seen, self.beside + SPARE
        rows = np.arange(1 - SPARE, self.rows + SPARE + 1, dtype=np.float32)
        columns = np.arange(-side, side + 1, dtype=np.float32)
        steps = (self.axes / seen.full.mm_per_px).astype(np.float32)
        (first,) = seen.full.to_px(self.end.path[-1:]).astype(np.float32)
        x, y = first[:, None, None] + steps[0][:, None, None] * rows[:, None] + steps[1][:, None, None] * columns
        cuts = cv2.remap(seen.grey.pixels, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        wide = int(np.clip(self.opening, 1, WIDEST)) // 2 * 2 + 1
        even = cv2.blur((255 - cuts if self.end.light else cuts).astype(np.float32), (wide, ALONG))
        apart, inner = wide + 2, slice(SPARE, -SPARE)
        sides = np.minimum(np.roll(even, apart, axis=1), np.roll(even, -apart, axis=1))
        depth = (sides - even)[inner, inner]
        usual = ranked(depth[::2, ::2].ravel(), 0.5)
        texture = max(0.7, 1.4826 * ranked(np.abs(depth[::2, ::2] - usual).ravel(), 0.5))
        scores = np.clip((depth - usual) / np.float32(texture) - np.float32(CLEAR), -CLEAR, CAP).astype(np.float32)
        u, v = ((n[inner, inner] + np.float32(0.5)) * np.float32(sheet.share) - np.float32(0.5) for n in (x, y))
        free = cv2.remap(sheet.free, u, v, cv2.INTER_NEAREST, borderMode=cv2.BORDER_CONSTANT)
        return np.where(free > 0, scores, NEVER)


def led_on(traces: Sequence[Trace], seen: View, pith: Point | None, least: float) -> list[Trace]:
    """Return traces with what follows at either end, of those that are at least as sure as `least`.

    None runs along another, nor beyond the wood, and none is led on from an end at the pith.
    """
    both = [end for trace in traces for end in (trace.turned, trace)]
    free = [
        k for k, end in enumerate(both)
        if end.sure >= least and (pith is None or np.hypot(*(end.path[-1] - pith)) > AT_PITH * seen.diameter)
    ]  # fmt: skip
    if not free:
        return list(traces)
    sheet = _sheet(traces, seen)
    ahead = [Ahead(both[k], seen) for k in free]
    scores = np.stack([end.scores(sheet) for end in ahead], axis=1)
    paths = believed(scores, [OWN + min(int(end.opening), 3 * OWN) for end in ahead])
    for k, end, columns in zip(free, ahead, paths, strict=True):
        rows = np.arange(1, len(columns) + 1)[::-EVERY][::-1]
        both[k] = _with(both[k], end.at(rows, columns[rows - 1] - end.beside))
    return [_joined(*ends) for ends in zip(both[::2], both[1::2], traces, strict=True)]


def believed(scores: Floats, own: Sequence[int]) -> list[NDArray[np.int64]]:
    """Return the path from the middle of the first row on, for each of (row, end, column), where it is to be believed.

    `own` says for each end how many cells to either side of a path belong to it.

    >>> texture = np.random.default_rng(1).normal(-1.5, 1.0, (128, 2, 81)).astype(np.float32)
    >>> texture[:60, 0, 40] += 3.0
    >>> [len(path) for path in believed(texture, [4, 4])]
    [60, 0]
    """
    rows, ends, wide = scores.shape
    middle = np.full((ends, wide), NEVER * rows)
    middle[:, wide // 2 - 2 : wide // 2 + 3] = 0
    paths, beside = _best(scores, middle), scores.copy()
    for k, (columns, _) in enumerate(paths):
        around = np.clip(columns[:, None] + np.arange(-own[k], own[k] + 1), 0, wide - 1)
        beside[np.arange(len(columns))[:, None], k, around] = NEVER
    rivals = _best(beside, np.zeros_like(middle))
    return [
        columns if total > max(LEAST, BETTER * rival) else columns[:0]
        for (columns, total), (_, rival) in zip(paths, rivals, strict=True)
    ]


def _best(scores: Floats, start: Floats) -> list[Path]:
    """Return for each end the path with the greatest sum, its first row's included with what `start` adds to it."""
    rows, ends, wide = scores.shape
    sums = np.full((rows, ends, wide + 2), NEVER * rows, np.float32)
    sums[0, :, 1:-1] = start + scores[0]
    for row in range(1, rows):
        above = sums[row - 1]
        sideways = np.maximum(above[:, :-2], above[:, 2:]) - np.float32(BEND)
        sums[row, :, 1:-1] = np.maximum(above[:, 1:-1], sideways) + scores[row]
    bends, found = np.array([BEND, 0, BEND], np.float32), []
    for k in range(ends):
        last, column = (int(n) for n in np.unravel_index(int(sums[:, k, 1:-1].argmax()), (rows, wide)))
        total, columns = float(sums[last, k, column + 1]), np.empty(last + 1, np.int64)
        for row in range(last, -1, -1):
            columns[row] = column
            column += int((sums[row - 1, k, column : column + 3] - bends).argmax()) - 1
        found.append((columns, total))
    return found


def _with(end: Trace, more: Vector) -> Trace:
    """Return a trace with more points, along which it opens no farther than at its end."""
    opening = min(float(end.widths[-1]), ranked(end.widths, 0.5))
    widths = np.concatenate([end.widths, np.full(len(more), opening)])
    return replace(end, path=np.vstack([end.path, more]), widths=widths)


def _joined(back: Trace, on: Trace, own: Trace) -> Trace:
    """Return a trace from what its two ends, the first turned about, were led on to."""
    skip = len(own.path)
    return replace(
        on,
        path=np.vstack([back.path[:skip - 1:-1], on.path]),
        widths=np.concatenate([back.widths[:skip - 1:-1], on.widths]),
    )  # fmt: skip


def _sheet(traces: Sequence[Trace], seen: View) -> Sheet:
    """Return where nothing runs yet; either end of a trace counts as free, so that another may reach it."""
    import cv2

    share = min(1.0, CELLS / 2 / seen.diameter_px)
    height, width = (int(n * share) for n in seen.full.pixels.shape[:2])

    def placed(path: Vector) -> Vector:
        return np.asarray((seen.full.to_px(path) + 0.5) * share - 0.5)

    free = polygon_mask(placed(seen.outline), (height, width)).view(np.uint8)
    free = cv2.erode(free, np.ones((7, 7), np.uint8))
    for trace in traces:
        line = np.round(placed(trace.path[2:-2]) * 16).astype(np.int32)
        cv2.polylines(free, [line], False, 0, 7, cv2.LINE_8, 4)
    return Sheet(free, share)
