"""Best paths down a straightened picture, with both ends free.

The scores are summed along a path as local alignment sums them (Smith and Waterman 1981): a path starts wherever the
sum would fall below nothing, so its ends come out of the sums instead of being given, and a gap is bridged when what
follows is worth it.
"""

from __future__ import annotations

from collections.abc import Sequence
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
    fields: Sequence[Floats],
    wraps: bool,
    bend: float,
    least: float,
    gap: float,
    apart: int,
    rounds: int,
) -> list[list[GridPath]]:
    """Return for each field of scores the paths with the greatest sums, none overlapping another.

    Parameters
    ----------
    fields : sequence of ndarray, shape (rows, columns)
        Positive where a line is likely, negative elsewhere; they are searched together, to be quicker.
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
        How often the fields are searched: a second round finds what the first passed by because a better path crossed
        it.
    """
    found: list[list[GridPath]] = [[] for _ in fields]
    free = [field.copy() for field in fields]
    open_ = list(range(len(fields)))
    for _ in range(rounds):
        if not open_:
            break
        sums = _accumulate(np.stack([free[k] for k in open_], axis=1), wraps, bend)
        for place, k in enumerate(list(open_)):
            paths = _best_of_each_start(np.ascontiguousarray(sums[:, place]), wraps, bend, least)
            fresh = [piece for path in paths for piece in _pieces(path, free[k], least, gap)]
            fresh.sort(key=lambda path: -path.score)
            fresh = [path for path in fresh if _take(path, free[k], wraps, apart)]
            found[k] += fresh
            if not fresh:
                open_.remove(k)
    return found


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


def _accumulate(scores: Floats, wraps: bool, bend: float) -> Floats:
    """Return for each cell of (row, field, column) the best sum of a path ending there.

    A row before the first and a column at either side frame the sums.
    """
    rows, fields, columns = scores.shape
    sums = np.zeros((rows + 1, fields, columns + 2), np.float32)
    best, cost = np.empty((fields, columns), np.float32), np.float32(bend)
    for row in range(rows):
        above, below = sums[row], sums[row + 1]
        np.maximum(above[:, :-2], above[:, 2:], out=best)
        np.subtract(best, cost, out=best)
        np.maximum(best, above[:, 1:-1], out=best)
        np.add(best, scores[row], out=best)
        np.maximum(best, 0, out=below[:, 1:-1])
        if wraps:
            below[:, 0], below[:, -1] = below[:, -2], below[:, 1]
    return sums


def _ends(sums: Floats, least: float) -> NDArray[np.int64]:
    """Return (row, column) of the cells worth at least `least` with nothing better near by, shape (2, n)."""
    import cv2

    own = sums[1:, 1:-1]
    best = cv2.dilate(own, np.ones((25, 7), np.uint8))
    return np.array(np.nonzero(own >= np.maximum(best, least)), np.int64)


def _best_of_each_start(sums: Floats, wraps: bool, bend: float, least: float) -> list[GridPath]:
    """Return one path for each start, best first.

    A path came from the best of the three cells above, and began where none of them was worth its step. One that comes
    to a cell of a better path began where that did, and is dropped.
    """
    rows, columns = _ends(sums, least)
    values = sums[rows + 1, columns + 1]
    wide, flat = sums.shape[1], memoryview(sums.ravel())  # type: ignore[arg-type]
    taken: set[int] = set()
    found = []
    for k in np.argsort(-values, kind="stable"):
        cell, trail = int(rows[k] * wide + columns[k] + 1), []  # above the path's cell in the framed sums
        while cell not in taken:
            taken.add(cell)
            trail.append(cell % wide - 1)
            same, left, right = flat[cell], flat[cell - 1] - bend, flat[cell + 1] - bend
            best = max(left, right)
            if max(same, best) <= 0:
                course = np.array(trail[::-1], np.int64)
                found.append(GridPath(int(rows[k]) - len(course) + 1, course, float(values[k])))
                break
            cell += -wide + (0 if same >= best else -1 if left >= right else 1)
            if wraps:
                cell += {0: wide - 2, wide - 1: 2 - wide}.get(cell % wide, 0)
    return found
