"""Points, polygons and paths in the plane, as the finders share them."""

from __future__ import annotations

import itertools
import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

Path = NDArray[np.float64]


def grid(low: ArrayLike, high: ArrayLike, count: int) -> NDArray[np.float64]:
    """Return the `count` x `count` points of an even grid between two corners, shape (count * count, 2)."""
    (x0, y0), (x1, y1) = np.asarray(low, dtype=float), np.asarray(high, dtype=float)
    columns, rows = np.meshgrid(np.linspace(x0, x1, count), np.linspace(y0, y1, count))
    return np.column_stack([columns.ravel(), rows.ravel()])


def evenly(closed: Path, points: int) -> Path:
    """Return `points` points evenly along a closed polygon, from its first point on.

    >>> evenly(np.array([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]]), 8)[1].tolist()
    [1.0, 0.0]
    """
    ring = np.vstack([closed, closed[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(ring, axis=0).T))])
    at = np.arange(points) * along[-1] / points
    return np.column_stack([np.interp(at, along, ring[:, 0]), np.interp(at, along, ring[:, 1])])


def polygon_area(points: ArrayLike) -> float:
    """Return the area of a closed polygon, shape (n, 2), by the shoelace formula.

    >>> polygon_area([[0, 0], [2, 0], [2, 1], [0, 1]])
    2.0
    """
    x, y = np.asarray(points, dtype=float).T
    return abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))) / 2


def mean_diameter(points: ArrayLike) -> float:
    """Return the diameter of the circle that has a closed polygon's area."""
    return math.sqrt(4 * polygon_area(points) / math.pi)


def polygon_centroid(points: ArrayLike) -> NDArray[np.float64]:
    """Return the centroid of a closed polygon's area; of its points where it has no area."""
    p = np.asarray(points, dtype=float)
    q = p - p.mean(axis=0)
    r = np.roll(q, -1, axis=0)
    cross = q[:, 0] * r[:, 1] - r[:, 0] * q[:, 1]
    total = float(cross.sum())
    if abs(total) < 1e-12:
        return np.asarray(p.mean(axis=0))
    return np.asarray(p.mean(axis=0) + ((q + r) * cross[:, None]).sum(axis=0) / (3 * total))


def meeting_score(
    places: NDArray[np.float64],
    points: NDArray[np.float64],
    across: NDArray[np.float64],
    weights: NDArray[np.float64],
    near: float = 1.0,
) -> NDArray[np.float64]:
    """Return for each place how many of the lines through `points` along the unit vectors `across` run towards it.

    A line counts with the eighth power of the cosine it misses by, and less where its point is nearer than `near`.

    >>> meeting_score(np.zeros((1, 2)), np.array([[5.0, 0.0], [0.0, 5.0]]), np.eye(2), np.ones(2)).tolist()
    [2.0]
    """
    # Single precision, about the middle of the points: the squares stay small, and it is three times as fast.
    middle = points.mean(axis=0)
    at, seen, ways = ((v - m).astype(np.float32) for v, m in ((places, middle), (points, middle), (across, 0.0)))
    along = at @ ways.T
    along -= (seen * ways).sum(axis=1)
    apart = -2 * (at @ seen.T)
    apart += (at**2).sum(axis=1)[:, None]
    apart += (seen**2).sum(axis=1)
    np.maximum(apart, 1e-6, out=apart)
    along *= along
    along /= apart
    along *= along
    along *= along
    apart /= near**2
    along *= np.minimum(apart, 1.0, out=apart)
    return np.asarray(along @ weights.astype(np.float32), np.float64)


def best_closed_path(cost: NDArray[np.floating], step: int, bend: float = 0.0) -> NDArray[np.intp]:
    """Return for each row the column of the cheapest closed path, moving at most `step` columns from row to row.

    Dynamic programming over rows; the ring is closed by going round once and a half and keeping the middle round, as
    in polar contour tracking. A move of k columns costs `bend` times k, so that corners stay possible.

    >>> cost = np.ones((8, 5)); cost[:, 2] = 0.0
    >>> best_closed_path(cost, 1).tolist()
    [2, 2, 2, 2, 2, 2, 2, 2]
    """
    rows, columns = cost.shape
    lead, wide = rows // 4, columns + 2 * step
    order = np.arange(-lead, rows + lead + rows % 2) % rows
    half = len(order) // 2
    # Up to each row from both ends at once, which is quicker, side by side between walls that no path comes from.
    sums = np.full((half, 2, wide), np.inf)
    sums[:, :, step : step + columns] = cost[np.stack([order[:half], order[: -half - 1 : -1]], axis=1)]
    sums = sums.reshape(half, 2 * wide)
    rooms = [np.empty(2 * wide - 2 * k) for k in range(1, step + 1)]
    for before, here in itertools.pairwise(sums):
        near = before
        for room in rooms:  # a move of one column at a time
            np.minimum(near[:-2], near[2:], out=room)
            room += bend
            near = np.minimum(room, near[1:-1], out=room)
        here[step:-step] += near
    penalty = bend * np.abs(np.arange(-step, step + 1))
    meeting = np.lib.stride_tricks.sliding_window_view(sums[-1, :wide], 2 * step + 1) + penalty
    last = int((meeting.min(axis=1) + sums[-1, wide + step : 2 * wide - step]).argmin())
    first = last - step + int(meeting[last].argmin())
    path = np.concatenate([_trail(sums[:, :wide], first, penalty), _trail(sums[:, wide:], last, penalty)[::-1]])
    return path[lead : lead + rows]


def _trail(sums: NDArray[np.float64], column: int, penalty: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return the columns along which a path of the least sums came to a column of the last row."""
    moves = len(penalty)
    path = [column]
    for before in sums[-2::-1]:
        column += int((before[column : column + moves] + penalty).argmin()) - moves // 2
        path.append(column)
    return np.array(path[::-1], np.intp)


def k_means(every: NDArray[np.float32], some: NDArray[np.float32], count: int, rounds: int) -> NDArray[np.intp]:
    """Return each point's cluster, shape (n,), by k-means on a part of them; there is no chance in it.

    Parameters
    ----------
    every, some : ndarray, shape (features, n) and (features, m)
        All points, and those that the centres are found from; the first centres are far apart.
    """
    middle = np.empty((len(some), count), np.float32)
    distance = ((some - some.mean(axis=1)[:, None]) ** 2).sum(axis=0)
    for k in range(count):
        middle[:, k] = some[:, distance.argmax()]
        distance = np.minimum(distance, ((some - middle[:, k, None]) ** 2).sum(axis=0))
    for _ in range(rounds):
        nearest = _nearest(some, middle)
        counts = np.bincount(nearest, minlength=count)
        sums = np.array([np.bincount(nearest, feature, count) for feature in some])
        middle = np.where(counts > 0, sums / np.maximum(counts, 1), middle).astype(np.float32)
    return _nearest(every, middle)


def _nearest(points: NDArray[np.float32], centres: NDArray[np.float32]) -> NDArray[np.intp]:
    apart = points.T @ (-2 * centres)
    apart += (centres**2).sum(axis=0)
    return np.asarray(apart.argmin(axis=1))
