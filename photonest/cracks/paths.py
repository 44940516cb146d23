"""Best paths down a straightened picture, with both ends free.

The scores are summed along a path as local alignment sums them (Smith and Waterman 1981): a path starts wherever the
sum would fall below nothing, so its ends come out of the sums instead of being given, and a gap is bridged when what
follows is worth it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photonest.cracks.strips import Floats

SMOOTH = 9  # cells over which a gap is told from a weak place
TAKEN = np.float32(-5.0)  # worse than any score, so that no path runs along another


@dataclass(frozen=True, eq=False)
class GridPath:
    """A path down the rows of a grid.

    Attributes
    ----------
    first_row : int
        Row of the first cell; the rows follow one by one.
    columns : ndarray of int
        Column of each row.
    score : float
        Sum of the scores on it.
    """

    first_row: int
    columns: NDArray[np.int64]
    score: float

    @property
    def rows(self) -> NDArray[np.int64]:
        """The row of each cell."""
        return self.first_row + np.arange(len(self.columns))


def best_paths(
    scores: Floats, wraps: bool, bend: float, least: float, gap: float, apart: int, rounds: int = 2
) -> list[GridPath]:
    """Return the paths with the greatest sums, none overlapping another.

    Parameters
    ----------
    scores : ndarray, shape (rows, columns)
        Positive where a line is likely, negative elsewhere.
    wraps : bool
        The last column is a neighbour of the first.
    bend : float
        Cost of a step sideways.
    least : float
        Sum below which a path is not worth having.
    gap : float
        Cost above which a gap splits a path in two, whatever lies beyond.
    apart : int
        Columns within which two paths are the same.
    rounds : int
        A second round finds what the first passed by because a better path crossed it.
    """
    free = scores.copy()
    found: list[GridPath] = []
    for _ in range(rounds):
        fresh = [piece for path in _search(free, wraps, bend, least) for piece in _pieces(path, free, least, gap)]
        fresh.sort(key=lambda path: -path.score)
        fresh = [path for path in fresh if _take(path, free, wraps, apart)]
        found += fresh
        if not fresh:
            break
    return found


def _search(scores: Floats, wraps: bool, bend: float, least: float) -> list[GridPath]:
    sums, back, starts = _accumulate(scores, wraps, bend)
    ends = _best_end_of_each_start(sums, starts, least)
    return _backtrack(ends, sums, back, starts, scores.shape[1])


def _pieces(path: GridPath, scores: Floats, least: float, gap: float) -> list[GridPath]:
    return [
        GridPath(path.first_row + start, path.columns[start:stop], score)
        for start, stop, score in worthy_pieces(scores[path.rows, path.columns], least, gap)
    ]


def worthy_pieces(values: NDArray[np.floating], least: float, gap: float) -> list[tuple[int, int, float]]:
    """Cut a row of values at the gaps that cost more than `gap`, and trim each piece to its best part.

    Returns
    -------
    list of (start, stop, sum)
        The pieces whose sum is at least `least`.

    Examples
    --------
    >>> worthy_pieces(np.repeat([-1.0, 1.0, -1.0, 1.0], [20, 30, 10, 30]), least=5.0, gap=20.0)
    [(20, 90, 50.0)]
    >>> worthy_pieces(np.repeat([-1.0, 1.0, -1.0, 1.0], [20, 30, 10, 30]), least=5.0, gap=5.0)
    [(20, 50, 30.0), (60, 90, 30.0)]
    """
    smooth = np.convolve(values, np.ones(SMOOTH) / SMOOTH, "same") if len(values) >= SMOOTH else values
    edges = np.flatnonzero(np.diff((smooth < 0).astype(np.int8), prepend=0, append=0))
    cuts = [0]
    for start, stop in edges.reshape(-1, 2):
        if values[start:stop].sum() < -gap:
            cuts += [int(start), int(stop)]
    cuts.append(len(values))
    pieces = []
    for start, stop in zip(cuts[::2], cuts[1::2], strict=True):
        total = np.concatenate([[0.0], np.cumsum(values[start:stop])])
        last = int(total.argmax())
        first = int(total[: last + 1].argmin())
        score = float(total[last] - total[first])
        if last - first > 1 and score >= least:
            pieces.append((start + first, start + last, score))
    return pieces


def _take(path: GridPath, free: Floats, wraps: bool, apart: int) -> bool:
    """Mark the cells about a path as taken; False, and nothing marked, where much of it is taken already."""
    rows, columns = path.rows, free.shape[1]
    if (free[rows, path.columns] <= TAKEN).mean() > 0.3:
        return False
    around = path.columns[:, None] + np.arange(-apart, apart + 1)
    around = around % columns if wraps else np.clip(around, 0, columns - 1)
    free[rows[:, None], around] = TAKEN
    return True


def _accumulate(scores: Floats, wraps: bool, bend: float) -> tuple[Floats, NDArray[np.int8], NDArray[np.int32]]:
    """Return for each cell the best sum of a path ending there, the step that led to it, the path's first cell."""
    rows, columns = scores.shape
    sums = np.zeros_like(scores)
    back = np.zeros((rows, columns), np.int8)
    starts = np.zeros((rows, columns), np.int32)
    here = np.arange(columns, dtype=np.int32)
    best = np.zeros(columns, np.float32)
    first = here.copy()
    padded = np.zeros(columns + 2, np.float32)
    padded_first = np.zeros(columns + 2, np.int32)
    for row in range(rows):
        padded[1:-1], padded_first[1:-1] = best, first
        if wraps:
            padded[0], padded[-1] = best[-1], best[0]
            padded_first[0], padded_first[-1] = first[-1], first[0]
        left, right = padded[:-2] - bend, padded[2:] - bend
        from_left = left > padded[1:-1]
        best = np.where(from_left, left, padded[1:-1])
        first = np.where(from_left, padded_first[:-2], padded_first[1:-1])
        from_right = right > best
        best = np.where(from_right, right, best)
        first = np.where(from_right, padded_first[2:], first)
        fresh = best <= 0
        first = np.where(fresh, row * columns + here, first)
        best = np.maximum(np.maximum(best, 0) + scores[row], 0)
        sums[row], starts[row] = best, first
        back[row] = from_right.astype(np.int8) - (from_left & ~from_right)
    return sums, back, starts


def _best_end_of_each_start(sums: Floats, starts: NDArray[np.int32], least: float) -> NDArray[np.int64]:
    """Return the flat indices of the cells where paths end, best first."""
    sum_, start = sums.ravel(), starts.ravel()
    cells = np.flatnonzero(sum_ >= least)
    best = np.zeros(len(sum_), np.float32)
    np.maximum.at(best, start[cells], sum_[cells])
    ends = cells[sum_[cells] == best[start[cells]]]
    return np.asarray(ends[np.argsort(-sum_[ends], kind="stable")], np.int64)


def _backtrack(
    ends: NDArray[np.int64], sums: Floats, back: NDArray[np.int8], starts: NDArray[np.int32], columns: int
) -> list[GridPath]:
    """Follow every path from its end to its start, all at once."""
    row, column = ends // columns, ends % columns
    start_row = starts.ravel()[ends] // columns
    trail = np.zeros((int((row - start_row).max(initial=0)) + 1, len(ends)), np.int64)
    current_row, current = row.copy(), column.copy()
    for step in range(len(trail)):
        trail[step] = current
        moving = current_row > start_row
        current = np.where(moving, (current + back[current_row, current]) % columns, current)
        current_row = np.where(moving, current_row - 1, current_row)
    return [
        GridPath(int(start_row[k]), trail[: row[k] - start_row[k] + 1, k][::-1], float(sums.ravel()[end]))
        for k, end in enumerate(ends)
    ]
