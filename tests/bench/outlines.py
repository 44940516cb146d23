"""Compare the outline finders: ``python -m tests.bench.outlines [photos|drawn|all] [count] [first seed]``.

``photos`` are real faces read by eye, beside the checkout. ``drawn`` scenes come in six classes (three difficulties,
with a marker sheet beside the wood and without any reference), `count` of each; of six in a row, four show a whole
end-grain face, one a half, one the side-grain face of a round blank. The scale is taken as known, so that only the
outline is judged. Lengths are in percent of the true mean diameter D: mean and 95th percentile of the distance from
evenly spaced points of the outline found to the true one, the error of the mean diameter, and the standard error
stated.
Seeds from 3000 on are kept for judging: no setting was chosen by them.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from photonest.imaging import mean_diameter
from photonest.model import FlatPhoto, Lens, Outline, Photo, Scale
from photonest.outline.edge import EdgeOutline
from photonest.outline.trained import TrainedOutline
from photonest.photo import frozen_pixels
from photonest.rectify import flatten, matrix_rows, photo_to_mm, upright
from tests.bench.faces import Points, edge_distances, real_photos
from tests.drawn import Drawn, SceneSpec, draw, random_spec

FAILED = 2.0  # percent of D, mean edge distance: from there on the piece itself was mistaken
CLASSES = tuple((level, reference) for level in ("easy", "medium", "hard") for reference in ("marker-sheet", "none"))
JUDGED = 3000


@dataclass(frozen=True)
class Case:
    """A flat photo with its true outline in mm; `sort` names the row of the table that it counts in."""

    name: str
    sort: str
    flat: FlatPhoto
    outline: Points


@dataclass(frozen=True)
class Score:
    """What a finder gave on one case, in percent of D; infinite where it gave nothing."""

    edge: float = np.inf
    edge95: float = np.inf
    diameter: float = np.nan
    stated: float = np.nan
    seconds: float = np.nan
    warned: bool = False
    note: str = ""


def scene(seed: int, difficulty: str, reference: str, megapixels: float = 2.0) -> SceneSpec:
    """Return a scene: of six seeds four whole end-grain faces, one half, one side-grain blank."""
    kind = seed % 6
    spec = random_spec(
        seed,
        reference=reference,
        difficulty=difficulty,  # type: ignore[arg-type]
        piece="half" if kind == 4 else "whole",
        megapixels=megapixels,
    )
    if kind != 5:
        return spec
    # sawn round on the band saw, the rings cut along: no bark, a rim as true as the saw
    blank = replace(spec.wood, cut="side", lobes=0.002, ovality=0.01, bark=0.0, pith_depth=0.3 * spec.wood.diameter)
    return replace(spec, wood=blank, cracks=(), marks=())


def flat_of(drawn: Drawn) -> tuple[FlatPhoto, Points]:
    """Return the photo made flat by its true scale, and the true outline in the same frame."""
    truth, camera = drawn.truth, drawn.spec.camera
    pixels = drawn.pixels
    grey = bool((pixels[..., 0] == pixels[..., 1]).all() and (pixels[..., 1] == pixels[..., 2]).all())
    photo = Photo(frozen_pixels(pixels), "drawn.jpg", "0" * 64, grey=grey)
    corners = [(float(x), float(y)) for item in truth.references[:1] for x, y in truth.mm_to_px(item.corners)]
    # without a reference the camera looks squarely: a scale of one number
    lens = Lens(camera.focal_px, camera.centre_px, camera.k1, camera.k2) if corners else None
    inverse = np.linalg.inv(truth.homography) if corners else np.diag([truth.mm_per_px, truth.mm_per_px, 1.0])
    scale = Scale("drawn", matrix_rows(inverse), 0.1, truth.mm_per_px, lens, tuple(corners))
    aim = ((photo.width - 1) / 2, (photo.height - 1) / 2)
    scale = upright(scale, aim) if corners else scale
    flat = flatten(photo, scale, aim)
    return flat, photo_to_mm(scale, truth.mm_to_px(truth.outline_mm))


def drawn_case(seed: int, difficulty: str, reference: str) -> Case:
    """Draw a scene and make it flat."""
    flat, outline = flat_of(draw(scene(seed, difficulty, reference)))
    sort = "marker sheet" if reference == "marker-sheet" else "no reference"
    return Case(f"{seed} {difficulty} {reference}", f"{difficulty}, {sort}", flat, outline)


def cases(which: str, count: int, first: int) -> Iterator[Case]:
    """Yield the cases asked for."""
    if which in ("photos", "all"):
        for known in real_photos():
            yield Case(known.name, "photos", known.flat, known.outline)
    if which in ("drawn", "all"):
        for level, reference in CLASSES:
            for seed in range(first, first + count):
                yield drawn_case(seed, level, reference)


def score(finder: Any, case: Case) -> Score:
    """Return how far a finder is from the truth on one case."""
    start = time.process_time()
    found = finder.find(case.flat, finder.Options())
    seconds = time.process_time() - start
    if not isinstance(found, Outline):
        return Score(seconds=seconds, note=found.reason)
    diameter = mean_diameter(case.outline)
    away = edge_distances(np.array(found.points), case.outline) * 100 / diameter
    back = edge_distances(case.outline, np.array(found.points)) * 100 / diameter
    worst = away if away.mean() > back.mean() else back
    return Score(
        float(worst.mean()),
        float(np.percentile(worst, 95)),
        100 * (mean_diameter(np.array(found.points)) / diameter - 1),
        100 * found.standard_error / diameter,
        seconds,
        bool(found.warnings),
    )


def line(name: str, case: str, s: Score) -> str:
    """Return a row for one case."""
    flag = "FAILED" if s.edge > FAILED else ""
    return (
        f"{case[:34]:34} {name:9} edge {s.edge:6.2f}  95 % {s.edge95:6.2f}  diameter {s.diameter:+7.2f}  "
        f"stated {s.stated:5.2f}  {s.seconds:5.2f} s  {flag} {'warned' if s.warned else ''} {s.note}"
    )


def summary(rows: Iterable[tuple[str, str, Score]]) -> str:
    """Return the table: a row for each kind of case and finder."""
    rows = list(rows)
    text = [
        f"{'cases':22} {'finder':9} {'n':>4} {'failed':>6} {'unsaid':>6} {'none':>5} {'median':>7} {'mean*':>7} "
        f"{'95 %*':>7} {'|dD|*':>7} {'<2 s.e.*':>8} {'s':>6}"
    ]
    for sort in dict.fromkeys(row[0] for row in rows):
        for name in dict.fromkeys(row[1] for row in rows):
            scores = [s for a, b, s in rows if a == sort and b == name]
            given = [s for s in scores if np.isfinite(s.edge)]
            good = [s for s in given if s.edge <= FAILED]
            wrong = [s for s in given if s.edge > FAILED]
            means = np.array([[s.edge, s.edge95, abs(s.diameter), s.edge < 2 * s.stated] for s in good])
            edge, edge95, diameter, held = means.mean(axis=0) if len(good) else [np.nan] * 4
            text.append(
                f"{sort:22} {name:9} {len(scores):4d} {len(wrong):6d} {sum(not s.warned for s in wrong):6d} "
                f"{len(scores) - len(given):5d} {np.median([s.edge for s in scores]):7.2f} {edge:7.2f} {edge95:7.2f} "
                f"{diameter:7.2f} {held:8.2f} {np.mean([s.seconds for s in scores]):6.2f}"
            )
    text.append(
        f"failed: mean edge distance over {FAILED} % of D; unsaid: of these, without a warning; none: NotFound;"
    )
    text.append("*: mean over the cases that did not fail, in % of D")
    return "\n".join(text)


def main(which: str = "all", count: int = 6, first: int = JUDGED) -> None:
    """Print the tables."""
    import cv2

    cv2.setNumThreads(1)
    rows = []
    for case in cases(which, count, first):
        for finder in (EdgeOutline(), TrainedOutline()):
            found = score(finder, case)
            rows.append((case.sort, finder.name, found))
            print(line(finder.name, case.name, found), flush=True)
    print(summary(rows))


if __name__ == "__main__":
    which, *numbers = sys.argv[1:] or ["all"]
    main(which, *map(int, numbers))
