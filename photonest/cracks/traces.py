"""From judged lines to cracks: each once, fragments joined, tips extended, kinds named; all in mm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photonest.model import CrackKind, Point

Vector = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Trace:
    """A line that is likely a crack.

    Attributes
    ----------
    path : ndarray, shape (n, 2)
        Points in mm, from the end nearer the pith (from left to right where none is known).
    widths : ndarray, shape (n,)
        Opening at each, in mm.
    sure : float
        Likelihood that it is a crack.
    light : bool
        Lighter than the wood.
    pale : bool
        It takes so little of the light that it may be a streak, however sure.
    """

    path: Vector
    widths: Vector
    sure: float
    light: bool = False
    pale: bool = False

    @property
    def turned(self) -> Trace:
        """The same from its other end."""
        return replace(self, path=self.path[::-1], widths=self.widths[::-1])

    @property
    def length(self) -> float:
        """Along the path, in mm."""
        return length_of(self.path)


def length_of(path: Vector) -> float:
    """Return the length along a path.

    >>> length_of(np.array([[0.0, 0.0], [3.0, 4.0], [3.0, 5.0]]))
    6.0
    """
    return float(np.hypot(*np.diff(path, axis=0).T).sum())


def traced(path: Vector, widths: Vector, sure: float, light: bool, spacing: float, pith: Point | None) -> Trace:
    """Return a trace with points about `spacing` apart, each with the widest opening about it, rightly turned."""
    if _starts_at_wrong_end(path, pith):
        path, widths = path[::-1], widths[::-1]
    travelled = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    count = max(2, round(travelled[-1] / spacing) + 1)
    at = np.linspace(0, travelled[-1], count)
    nearest = np.clip(np.round(travelled / max(travelled[-1], 1e-9) * (count - 1)).astype(int), 0, count - 1)
    widest = np.interp(at, travelled, widths)
    np.maximum.at(widest, nearest, widths)
    return Trace(np.column_stack([np.interp(at, travelled, path[:, k]) for k in (0, 1)]), widest, sure, light)


def _starts_at_wrong_end(path: Vector, pith: Point | None) -> bool:
    if pith is None:
        return tuple(path[0]) > tuple(path[-1])
    return bool(np.hypot(*(path[0] - pith)) > np.hypot(*(path[-1] - pith)))


def each_once(traces: Sequence[Trace], tolerance: float, least: float) -> list[Trace]:
    """Leave out traces that mostly run within about `tolerance` of a better one; the best come first.

    Of one left out, the longest stretch that runs by itself is kept if it is at least so long.
    """
    if not traces:
        return []
    low = np.min([trace.path.min(axis=0) for trace in traces], axis=0)
    high = np.max([trace.path.max(axis=0) for trace in traces], axis=0)
    columns, rows = ((high - low) / tolerance).astype(int) + 4
    taken = np.zeros((rows, columns), bool)
    kept = []
    for trace in sorted(traces, key=lambda trace: -trace.sure * np.sqrt(trace.length)):
        x, y = np.round((trace.path - low) / tolerance).astype(int).T + 1
        told = taken[y, x]
        if told.mean() > 0.4:
            start, stop = _longest_run(~told)
            trace = replace(trace, path=trace.path[start:stop], widths=trace.widths[start:stop])
            if stop - start < 2 or trace.length < least:
                continue
            x, y = x[start:stop], y[start:stop]
        kept.append(trace)
        for dx in (-1, 0, 1):
            for dy in (-1, 0, 1):
                taken[y + dy, x + dx] = True
    return kept


def _longest_run(free: NDArray[np.bool_]) -> tuple[int, int]:
    """Return start and stop of the longest run of places that are free."""
    runs = np.flatnonzero(np.diff(free.astype(np.int8), prepend=0, append=0)).reshape(-1, 2)
    if not len(runs):
        return 0, 0
    start, stop = runs[np.diff(runs, axis=1).argmax()]
    return int(start), int(stop)


def joined(traces: Sequence[Trace], reach: float) -> list[Trace]:
    """Join traces that follow on: one begins within `reach` of the other's end and goes the same way.

    >>> first = Trace(np.array([[0.0, 0.0], [5.0, 0.0], [10.0, 0.0]]), np.ones(3), 0.9)
    >>> second = Trace(np.array([[12.0, 0.1], [16.0, 0.1], [20.0, 0.2]]), np.ones(3), 0.7)
    >>> [round(trace.length, 1) for trace in joined([first, second], reach=3.0)]
    [20.0]
    >>> len(joined([first, second], reach=1.0))
    2
    """
    open_ = list(traces)
    k = 0
    while k < len(open_):
        partner = _follower(open_, k, reach)
        if partner is None:
            k += 1
            continue
        merged = _merged(open_[k], open_[partner])
        open_ = [trace for index, trace in enumerate(open_) if index not in (k, partner)] + [merged]
        k = 0
    return open_


def _follower(traces: Sequence[Trace], index: int, reach: float) -> int | None:
    """Return the nearest trace that goes on where this one ends."""
    own = traces[index]
    end, course = own.path[-1], course_of(own.path)
    gaps = np.array([other.path[0] for other in traces]) - end
    distance, onward = np.hypot(*gaps.T), gaps @ course
    sideways = np.abs(gaps @ np.array([course[1], -course[0]]))
    near = (distance < reach) & (onward > -0.3 * reach) & (sideways < 0.25 * reach)
    for k in np.flatnonzero(near)[np.argsort(distance[near], kind="stable")]:
        if k != index and float(course @ -course_of(traces[k].path[::-1])) > 0.9:
            return int(k)
    return None


def _merged(first: Trace, second: Trace) -> Trace:
    surer = max(first, second, key=lambda trace: trace.sure)
    path, widths = np.vstack([first.path, second.path]), np.concatenate([first.widths, second.widths])
    return replace(surer, path=path, widths=widths)


def course_of(path: Vector, points: int = 12) -> Vector:
    """Return the unit vector along which a path ends, over its last points."""
    course = path[-1] - path[max(0, len(path) - points)]
    return np.asarray(course / max(float(np.hypot(*course)), 1e-9))


def extended(
    trace: Trace, margins: tuple[float, float], edge: Vector, from_point: Point | None, about: Point | None
) -> Trace:
    """Extend the free tips, the first and the last, by margins along their course, not beyond the edge of the wood.

    A trace that comes from the pith begins there, at `from_point`. One that runs along a ring goes on round `about`.
    """
    path, widths = _led_on(trace.path, trace.widths, margins[1], edge, about)
    if from_point is not None:
        return Trace(np.vstack([from_point, path[1:]]), widths, trace.sure)
    path, widths = _led_on(path[::-1], widths[::-1], margins[0], edge, about)
    return Trace(path[::-1], widths[::-1], trace.sure)


def _led_on(path: Vector, widths: Vector, margin: float, edge: Vector, about: Point | None) -> tuple[Vector, Vector]:
    import cv2

    ring = edge.astype(np.float32).reshape(-1, 1, 2)
    course = course_of(path)
    for _ in range(4):
        x, y = (float(v) for v in path[-1] + margin / 4 * course)
        if cv2.pointPolygonTest(ring, (x, y), False) < 0:
            break
        if about is not None:
            course = _turned(course, path[-1] - about, np.array([x, y]) - about)
        path, widths = np.vstack([path, (x, y)]), np.append(widths, 0.0)
    return path, widths


def _turned(course: Vector, before: Vector, after: Vector) -> Vector:
    """Return a course turned by as much as the radius turns from one place to the next.

    >>> _turned(np.array([0.0, 1.0]), np.array([2.0, 0.0]), np.array([0.0, 3.0])).tolist()
    [-1.0, 0.0]
    """
    scale = max(float(np.hypot(*before) * np.hypot(*after)), 1e-9)
    cosine, sine = float(before @ after) / scale, float(before[0] * after[1] - before[1] * after[0]) / scale
    return np.array([[cosine, -sine], [sine, cosine]]) @ course


def kind_of(path: Vector, through: bool, pith: Point | None) -> CrackKind:
    """Name a crack by the angle between its chord and the radius.

    >>> kind_of(np.array([[1.0, 0.0], [5.0, 0.5]]), False, (0.0, 0.0))
    'radial'
    >>> kind_of(np.array([[5.0, -3.0], [5.8, 0.0], [5.0, 3.0]]), False, (0.0, 0.0))
    'ring'
    """
    if pith is None:
        return "other"
    if through:
        return "heart"
    chord, radius = path[-1] - path[0], path.mean(axis=0) - pith
    sine = abs(radius[0] * chord[1] - radius[1] * chord[0]) / max(float(np.hypot(*chord) * np.hypot(*radius)), 1e-9)
    return "radial" if sine < 0.5 else "ring" if sine > 0.94 else "other"
