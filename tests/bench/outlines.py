"""Compare the outline finders: ``python -m tests.bench.outlines [photos|drawn|sawn|all|doubt] [count] [first seed]``.

``photos`` are real faces read by eye, beside the checkout; no setting and no weight was chosen by them. ``drawn`` are
`count` (60) scenes of every kind in turn, see `tests.bench.piece_scenes`, ``sawn`` blanks with straight sides. The
scale is taken as known, so that only the outline is judged. Lengths are in percent of the true mean diameter D: mean
and 95th percentile of the distance from evenly spaced points of the outline found to the true one or the other way
about, whichever is worse; the same under bark; the error of the mean diameter; and the standard error stated.

``doubt`` fits the weights of the trained finder's expected error on `count` (100) drawn scenes, and prints how well
they do on scenes left out. Seeds from 920000 on are kept for judging: no setting or weight was chosen by them.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from photonest.model import FlatPhoto, Outline
from photonest.outline.border import without_border
from photonest.outline.edge import EdgeOutline
from photonest.outline.trained import Sight, TrainedOptions, TrainedOutline, doubt_of, see
from photonest.outline.veil import without_veil
from photonest.planar import mean_diameter
from photonest.resizing import halved
from tests.bench.faces import Points, edge_distances, real_photos
from tests.bench.piece_scenes import piece_scene

FAILED = 3.0  # percent of D, mean edge distance
JUDGED, FITTED = 920_000, 900_000


@dataclass(frozen=True)
class Case:
    """A flat photo with its true outlines in mm; `sort` names the row of the table that it counts in."""

    name: str
    sort: str
    flat: FlatPhoto
    outline: Points
    under_bark: Points | None


@dataclass(frozen=True)
class Score:
    """What a finder gave on one case, in percent of D; infinite where it gave nothing."""

    edge: float = np.inf
    edge95: float = np.inf
    wood: float = np.inf
    diameter: float = np.nan
    stated: float = np.nan
    seconds: float = np.nan
    warned: bool = False
    cut: bool = False
    note: str = ""


def cases(which: str, count: int, first: int) -> Iterator[Case]:
    """Yield the cases asked for."""
    if which in ("photos", "all"):
        for known in real_photos():
            yield Case(known.name, "photos", known.flat, known.outline, known.under_bark)
    if which in ("drawn", "sawn", "all"):
        for seed in range(first, first + count):
            scene = piece_scene(seed, "sawn blank" if which == "sawn" else None)
            yield Case(scene.name, scene.kind, scene.flat, scene.outline, scene.under_bark)


def apart(found: Points, truth: Points, diameter: float) -> tuple[float, float]:
    """Return the mean and the 95th percentile of the distances between two lines, the worse way, in percent of D."""
    ways = [edge_distances(a, b) * 100 / diameter for a, b in ((found, truth), (truth, found))]
    worse = max(ways, key=lambda way: float(way.mean()))
    return float(worse.mean()), float(np.percentile(worse, 95))


def score(finder: Any, case: Case) -> Score:
    """Return how far a finder is from the truth on one case."""
    start = time.process_time()
    found = finder.find(case.flat, finder.Options())
    seconds = time.process_time() - start
    if not isinstance(found, Outline):
        return Score(seconds=seconds, warned=True, note=found.reason)
    diameter = mean_diameter(case.outline)
    edge, edge95 = apart(np.array(found.points), case.outline, diameter)
    wood = case.outline if case.under_bark is None else case.under_bark
    return Score(
        edge,
        edge95,
        apart(np.array(found.wood), wood, diameter)[0],
        100 * (mean_diameter(np.array(found.points)) / diameter - 1),
        100 * found.standard_error / diameter,
        seconds,
        any("outside the photo" not in warning for warning in found.warnings),
        found.cut_by_frame,
    )


def line(name: str, case: str, s: Score) -> str:
    """Return a row for one case."""
    flags = " ".join(["FAILED"] * (s.edge > FAILED) + ["warned"] * s.warned + ["cut"] * s.cut)
    return (
        f"{case[:34]:34} {name:8} edge {s.edge:6.2f}  95 % {s.edge95:6.2f}  wood {s.wood:6.2f}  "
        f"diameter {s.diameter:+7.2f}  stated {s.stated:5.2f}  {s.seconds:5.2f} s  {flags} {s.note}"
    )


def summary(rows: Iterable[tuple[str, str, Score]]) -> str:
    """Return the table: a row for each kind of case and finder, and for all that are drawn."""
    rows = list(rows)
    rows += [("all drawn", name, s) for sort, name, s in rows if sort != "photos"]
    text = [
        f"{'cases':18} {'finder':8} {'n':>4} {'failed':>6} {'unsaid':>6} {'false':>5} {'none':>4} {'cut':>4} "
        f"{'median':>6} {'mean':>6} {'90 %':>6} {'95th':>6} {'wood':>6} {'|dD|':>6} {'<1 se':>6} {'<2 se':>6} {'s':>5}"
    ]
    for sort in dict.fromkeys(row[0] for row in rows):
        for name in dict.fromkeys(row[1] for row in rows):
            scores = [s for a, b, s in rows if a == sort and b == name]
            given = [s for s in scores if np.isfinite(s.edge)]
            if not given:
                continue
            wrong = [s for s in given if s.edge > FAILED]
            edges = np.array([s.edge for s in given])
            stated = np.array([s.stated for s in given])
            false = sum(s.warned for s in given if s.edge <= FAILED)
            text.append(
                f"{sort:18} {name:8} {len(scores):4d} {len(wrong):6d} {sum(not s.warned for s in wrong):6d} "
                f"{false:5d} {len(scores) - len(given):4d} {sum(s.cut for s in given):4d} {np.median(edges):6.2f} "
                f"{edges.mean():6.2f} {np.quantile(edges, 0.9):6.2f} {np.mean([s.edge95 for s in given]):6.2f} "
                f"{np.median([s.wood for s in given]):6.2f} {np.median([abs(s.diameter) for s in given]):6.2f} "
                f"{np.mean(edges < stated):6.2f} {np.mean(edges < 2 * stated):6.2f} "
                f"{np.median([s.seconds for s in scores]):5.2f}"
            )
    text.append(f"failed: mean edge distance over {FAILED:.0f} % of D; unsaid: of these, without a warning;")
    text.append("false: warned of, and not failed; none: NotFound; cut: said to be cut by the frame")
    return "\n".join(text)


def fit_doubt(count: int, first: int) -> None:
    """Print the weights of the expected error, and how it does on scenes left out one at a time."""
    signs, errors = [], []
    for case in cases("drawn", count, first):
        flat = without_veil(without_border(halved(case.flat, TrainedOptions().work_px)))
        sight = see(flat)
        if isinstance(sight, Sight):
            signs.append(doubt_of(sight).signs)
            errors.append(np.log(np.clip(apart(sight.placed, case.outline, mean_diameter(case.outline))[0], 0.05, 20)))
    x, y = np.array(signs), np.array(errors)

    def weights(kept: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> Points:
        return np.asarray(np.linalg.lstsq(x[kept], y[kept])[0])

    every = np.arange(len(y))
    unseen = np.array([x[k] @ weights(every != k) for k in every])
    print("weights", np.round(weights(every >= 0), 2))
    print(f"left out: standard deviation of the logarithm's error {np.std(y - unseen):.2f} of {np.std(y):.2f}")
    for spread in (1.0, 1.25, 1.5, 1.75, 2.0):
        held = [np.mean(y - unseen < np.log(times * spread)) for times in (1, 2)]
        print(f"spread {spread:.2f}: within 1 s.e. {held[0]:.2f} (due 0.68), within 2 {held[1]:.2f} (due 0.95)")
    for least in (1.2, 1.5, 1.8, 2.1, 2.5):
        doubtful, failed = unseen > np.log(least), y > np.log(FAILED)
        print(
            f"doubtful from {least}: {np.sum(doubtful & failed)} of {failed.sum()} failures said, "
            f"{np.sum(doubtful & ~failed)} of {np.sum(~failed)} others"
        )


def main() -> None:
    """Print the tables."""
    import cv2

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("which", nargs="?", choices=("photos", "drawn", "sawn", "all", "doubt"), default="all")
    parser.add_argument("count", nargs="?", type=int, help="scenes to draw (60; 100 for the doubt)")
    parser.add_argument("first", nargs="?", type=int, help=f"seed of the first ({JUDGED}; {FITTED} for the doubt)")
    told = parser.parse_args()
    cv2.setNumThreads(1)
    if told.which == "doubt":
        fit_doubt(told.count or 100, told.first or FITTED)
        return
    rows = []
    for case in cases(told.which, told.count or 60, told.first or JUDGED):
        for finder in (EdgeOutline(), TrainedOutline()):
            found = score(finder, case)
            rows.append((case.sort, finder.name, found))
            print(line(finder.name, case.name, found), flush=True)
    print(summary(rows))


if __name__ == "__main__":
    main()
