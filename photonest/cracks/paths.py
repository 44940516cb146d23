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

BEGINS = np.int8(2)  # in place of a step: a path begins here
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
    sums, back = _accumulate(scores, wraps, bend)
    return _best_of_each_start(*_followed_back(_ends(sums, least), back), sums)


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


def _accumulate(scores: Floats, wraps: bool, bend: float) -> tuple[Floats, NDArray[np.int8]]:
    """Return for each cell the best sum of a path ending there, and the step back: -1, 0, 1, or `BEGINS`."""
    rows, columns = scores.shape
    sums = np.zeros_like(scores)
    back = np.zeros((rows, columns), np.int8)
    padded = np.zeros(columns + 2, np.float32)
    for row in range(rows):
        if wraps:
            padded[0], padded[-1] = padded[-2], padded[1]
        same = padded[1:-1]
        left, right = padded[:-2] - bend, padded[2:] - bend
        best = np.maximum(np.maximum(left, right), same)
        step = (right == best).view(np.int8) - (left == best).view(np.int8)
        step[same == best] = 0
        step[best <= 0] = BEGINS
        np.maximum(best, 0, out=best)
        best += scores[row]
        np.maximum(best, 0, out=best)
        sums[row], back[row] = best, step
        padded[1:-1] = best
    return sums, back


def _ends(sums: Floats, least: float) -> NDArray[np.int64]:
    """Return the flat indices of the cells worth at least `least` with nothing better near by."""
    import cv2

    best = cv2.dilate(sums, np.ones((9, 7), np.uint8))
    return np.flatnonzero((sums >= least) & (sums >= best)).astype(np.int64)


def _followed_back(
    ends: NDArray[np.int64], back: NDArray[np.int8]
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Follow every path from its end to its start, all at once; return ends, start rows, columns (steps, paths)."""
    columns = back.shape[1]
    row, column = ends // columns, ends % columns
    trail = [column]
    moving = np.ones(len(ends), bool)
    while moving.any():
        step = back[row, column]
        moving &= step != BEGINS
        column = np.where(moving, (column + step) % columns, column)
        row = np.where(moving, row - 1, row)
        trail.append(column)
    return ends, row, np.array(trail)


def _best_of_each_start(
    ends: NDArray[np.int64], start_row: NDArray[np.int64], trail: NDArray[np.int64], sums: Floats
) -> list[GridPath]:
    """Return one path for each start, best first."""
    value, columns = sums.ravel()[ends], sums.shape[1]
    start = start_row * columns + (trail[-1] if len(trail) else 0)
    order = np.argsort(-value, kind="stable")
    _, first = np.unique(start[order], return_index=True)
    steps = ends // columns - start_row
    return [GridPath(int(start_row[k]), trail[: steps[k] + 1, k][::-1], float(value[k])) for k in order[np.sort(first)]]
