"""Measure how much the pith moves with what must not count: ``python -m tests.bench.pith_shaken [which] [n] [first]``.

Each face of `tests.bench.pith` (``photos``, ``drawn`` or ``all``) is measured as it is, and again with its outline made
wavy by 0.3 % of the diameter D, taken in and let out by as much, and with the photo mirrored, turned by 3 and by -7
degrees, and made smaller by a twentieth. Prints a row a face and a table, in percent of D: the miss as it is, the mean
and the worst of all misses, how far the answers scatter along each axis, and the standard error stated.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photonest.model import FlatPhoto, Outline, Pith
from photonest.outline.trained import TrainedOutline
from photonest.pith.rings import RingPith
from photonest.planar import mean_diameter
from tests.bench.pith import Case, asked, cases

Array = NDArray[np.float64]
WAVES = 12


@dataclass(frozen=True)
class Row:
    """What a face gave: its misses, the first of them as it is (nan where not given), and the mean standard error."""

    name: str
    kind: str
    misses: Array
    error: float

    @property
    def away(self) -> Array:
        """How far the answers are from the truth."""
        return np.asarray(np.linalg.norm(self.misses, axis=1))

    @property
    def scatter(self) -> float:
        """Standard deviation of the answers along each axis."""
        given = self.misses[np.isfinite(self.away)]
        return float(np.sqrt(given.var(axis=0, ddof=1).mean())) if len(given) > 1 else math.nan


def moved(outline: Outline, by: Callable[[Array], Array]) -> Outline:
    """Return an outline with its points moved, with and without bark."""

    def line(points: object) -> tuple[tuple[float, float], ...]:
        return tuple((float(x), float(y)) for x, y in by(np.asarray(points, dtype=float)))

    bare = outline.under_bark
    return replace(outline, points=line(outline.points), under_bark=line(bare) if bare else bare)


def grown(outline: Outline, by: Callable[[Array], Array]) -> Outline:
    """Return an outline let out by so many mm at each angle about its middle."""

    def out(points: Array) -> Array:
        ray = points - points.mean(axis=0)
        angle = np.arctan2(ray[:, 1], ray[:, 0])
        return np.asarray(points + ray / np.linalg.norm(ray, axis=1, keepdims=True) * by(angle)[:, None])

    return moved(outline, out)


def maps(width: int, height: int) -> Iterator[tuple[Array, tuple[int, int]]]:
    """Yield affine maps of pixels, shape (2, 3), and the size of the photo they give."""
    yield np.array([[-1.0, 0, width - 1], [0, 1, 0]]), (width, height)
    yield np.array([[0.95, 0, 0], [0, 0.95, 0]]), (int(0.95 * width), int(0.95 * height))
    for degrees in (3, -7):
        c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
        size = math.ceil(width * c + height * abs(s)), math.ceil(height * c + width * abs(s))
        turn = np.array([[c, -s], [s, c]])
        yield np.column_stack([turn, np.array(size) / 2 - turn @ np.array([width, height]) / 2]), size


def shaken(flat: FlatPhoto, outline: Outline) -> Iterator[tuple[FlatPhoto, Outline, Array]]:
    """Yield a photo from mm 0 and its outline, as they are and shaken, and the affine map of mm done to them."""
    import cv2

    slight = 0.003 * mean_diameter(outline.points)
    wave = np.random.default_rng(1).normal(0, slight / math.sqrt(WAVES), (WAVES, 2))
    order = np.arange(1, WAVES + 1)[:, None]
    same = np.eye(2, 3)
    yield flat, outline, same
    yield flat, grown(outline, lambda at: wave[:, 0] @ np.cos(order * at) + wave[:, 1] @ np.sin(order * at)), same
    yield flat, grown(outline, lambda at: np.full(len(at), slight)), same
    yield flat, grown(outline, lambda at: np.full(len(at), -slight)), same
    height, width = flat.pixels.shape[:2]
    for matrix, size in maps(width, height):
        pixels = cv2.warpAffine(flat.pixels, matrix, size, flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
        done = np.column_stack([matrix[:, :2], matrix[:, 2] * flat.mm_per_px])

        def to(points: Array, done: Array = done) -> Array:
            return np.asarray(points @ done[:, :2].T + done[:, 2])

        yield replace(flat, pixels=pixels), moved(outline, to), done


def measured(case: Case, outline: Outline, pith: Array) -> Row:
    """Return what a face gives, shaken."""
    finder, unit = RingPith(), mean_diameter(case.outline) / 100
    misses, errors = [], []
    for flat, line, done in shaken(case.flat, outline):
        found = finder.find(flat, line, finder.Options())
        if not isinstance(found, Pith):
            misses.append(np.full(2, math.nan))
            continue
        point = np.linalg.solve(done[:, :2], found.point - done[:, 2])  # where the photo as it is shows it
        misses.append((point - pith) / unit)
        errors.append(found.standard_error / unit)
    return Row(case.name, case.kind, np.array(misses), float(np.mean(errors)) if errors else math.nan)


def line(row: Row) -> str:
    """Return a row of the table of faces."""
    away = row.away[np.isfinite(row.away)]
    head = f"{row.name[:30]:30} {row.kind:12}"
    if not len(away):
        return f"{head} not given"
    misses = f"{row.away[0]:6.2f} {away.mean():6.2f} {away.max():6.2f}"
    return f"{head} {misses} {row.scatter:6.3f} {row.error:6.2f}  given {len(away)} of {len(row.away)}"


def summary(rows: list[Row]) -> str:
    """Return the table of kinds."""
    names = ("as it is", "shaken", "90 %", "worst", "apart", "90 %", "s.e.")
    text = [f"{'kind':12} {'n':>4} " + " ".join(f"{name:>8}" for name in names)]
    for kind in dict.fromkeys(row.kind for row in rows):
        some = [row for row in rows if row.kind == kind and np.isfinite(row.scatter)]
        if not some:
            continue
        away = np.concatenate([row.away for row in some])
        apart = np.array([row.scatter for row in some])
        numbers = [np.nanmedian([row.away[0] for row in some]), np.nanmedian(away), np.nanquantile(away, 0.9)]
        numbers += [np.nanmax(away), np.median(apart), np.quantile(apart, 0.9), np.median([row.error for row in some])]
        text.append(f"{kind:12} {len(some):4} " + " ".join(f"{number:8.3f}" for number in numbers))
    return "\n".join(text)


def main() -> None:
    """Print the tables."""
    import cv2

    told = asked(__doc__, 40, 33_000)
    cv2.setNumThreads(1)
    rows = []
    for case in cases(told.which, told.count, told.first):
        outlines = TrainedOutline()
        outline = outlines.find(case.flat, outlines.Options())
        if isinstance(outline, Outline) and case.pith is not None:
            rows.append(measured(case, outline, case.pith))
            print(line(rows[-1]), flush=True)
    print(summary(rows))


if __name__ == "__main__":
    main()
