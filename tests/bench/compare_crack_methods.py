"""Compare ways of finding cracks on the annotated photos: ``python -m tests.bench.compare_crack_methods``.

Every method answers with scored lines. One threshold is set for all photos, so that the lines above it that are no
cracks come to a given length per photo (in diameters, over photos whose annotation is exhaustive); printed is the share
of the clear cracks' length that is then found within 1 % of the diameter, mean of the photos that have any.

* ``sato``, ``frangi``: ridge filters of scikit-image, thinned to lines.
* ``black-hat``: closing by a disc less the picture, thinned to lines.
* ``minimal paths``: strong points of the ridge filter joined to their neighbours by cheapest routes.
* ``network``: the search of the package over its network's answer, scored by the mean log odds along a line alone. The
  network never saw any of the photos.
* ``judged``: the same, scored by the judge; with ``--keep`` by judges that never saw the photo's disc.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from photonest.cracks import judge
from photonest.cracks.finder import judged
from photonest.cracks.search import View, candidates, view
from photonest.imaging import Mask, polygon_mask
from photonest.model import FlatPhoto, Pith
from photonest.resizing import reduced
from tests.bench.cracks import Truth, scene, truths
from tests.bench.train_cracks import Examples, disc_of, fitted

Vector = NDArray[np.float64]
Line = tuple[Vector, float]  # path in mm, score
BUDGETS = (0.02, 0.1, 0.3, 1.0)
SIZE = 1000
SPACING = 0.002  # of the diameter: of points along a crack


def sheet(seen: View) -> tuple[FlatPhoto, NDArray[np.uint8], Mask]:
    """Return the piece reduced, its brightness with the wood near by where it ends, and where it is a little way in."""
    import cv2

    flat = reduced(seen.grey, SIZE * max(seen.grey.pixels.shape) / seen.diameter_px)
    inside = polygon_mask(flat.to_px(seen.outline), flat.pixels.shape[:2]).view(np.uint8)
    certain, inner = (cv2.erode(inside, np.ones((n, n), np.uint8)) for n in (5, 9))
    share = cv2.GaussianBlur(certain.astype(np.float32), (0, 0), 12.0)
    near = cv2.GaussianBlur((flat.pixels * certain).astype(np.float32), (0, 0), 12.0) / np.maximum(share, 1e-3)
    grey = np.where(certain > 0, flat.pixels, np.clip(near, 0, 255)).astype(np.uint8)
    return flat, grey, np.asarray(inner > 0)


def ridge_lines(response: Callable[[Vector], Vector], seen: View) -> list[Line]:
    """Return the thinned lines of a ridge response, scored by their sum in units of its median."""
    import cv2
    from skimage.morphology import skeletonize

    flat, grey, inner = sheet(seen)
    strength = response(grey.astype(float)) * inner
    strength /= max(float(np.median(strength[inner])), 1e-9)
    _, labels = cv2.connectedComponents(skeletonize(strength > np.percentile(strength, 95)).astype(np.uint8))
    rows, columns = np.nonzero(labels)
    label = labels[rows, columns]
    found = []
    for part in np.split(np.argsort(label, kind="stable"), np.cumsum(np.bincount(label)[1:])[:-1]):
        if len(part) < 0.02 * SIZE:
            continue
        points = np.column_stack([columns[part], rows[part]]).astype(float)
        axis = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2][0]
        points = points[np.argsort(points @ axis)]
        points = np.column_stack([np.convolve(np.pad(p, 3, mode="edge"), np.ones(7) / 7, "valid") for p in points.T])
        found.append((flat.to_mm(points[::3]), float(strength[rows[part], columns[part]].sum())))
    return found


def sato(grey: Vector) -> Vector:
    from skimage.filters import sato as ridge

    return np.asarray(ridge(grey, sigmas=(1.0, 2.0, 3.0), black_ridges=True))


def frangi(grey: Vector) -> Vector:
    from skimage.filters import frangi as ridge

    return np.asarray(ridge(grey, sigmas=(1.0, 2.0, 3.0), black_ridges=True))


def black_hat(grey: Vector) -> Vector:
    import cv2

    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (15, 15))
    return np.asarray(cv2.morphologyEx(cv2.GaussianBlur(grey, (0, 0), 1.0), cv2.MORPH_BLACKHAT, disc))


def minimal_paths(seen: View) -> list[Line]:
    """Return cheapest routes between strong points and their neighbours, scored by the strength on them."""
    from skimage.feature import peak_local_max
    from skimage.graph import route_through_array

    flat, grey, inner = sheet(seen)
    strength = sato(grey.astype(float)) * inner
    strength /= max(float(np.median(strength[inner])), 1e-9)
    peaks = peak_local_max(strength, min_distance=int(0.015 * SIZE), num_peaks=250)
    cost = 1 / (0.3 + strength)
    found = []
    for k, peak in enumerate(peaks):
        distance = np.hypot(*(peaks - peak).T)
        for other in np.argsort(distance)[1:4]:
            if other < k or distance[other] > 0.08 * SIZE:
                continue
            low = np.maximum(np.minimum(peak, peaks[other]) - 10, 0)
            high = np.maximum(peak, peaks[other]) + 11
            part = cost[low[0] : high[0], low[1] : high[1]]
            route, _ = route_through_array(part, peak - low, peaks[other] - low, geometric=True)
            cells = np.array(route) + low
            value = float(np.percentile(strength[cells[:, 0], cells[:, 1]], 20)) * np.sqrt(len(cells))
            found.append((flat.to_mm(cells[:, ::-1].astype(float)[::3]), value))
    return [line for line in found if len(line[0]) > 2]


def network_lines(seen: View, pith: Pith | None, own: judge.Judge | None) -> list[Line]:
    """Return the package's candidates, scored by the network or by a judge."""
    found = candidates(seen, pith)
    if own is None:
        scores = [float(np.clip(one.odds, -8, 8).mean()) for one in found]
    else:
        scores = list(judged(own, found, seen, pith))
    return [(seen.full.to_mm(one.profile.path[::4]), float(s)) for one, s in zip(found, scores, strict=True)]


def curve(answers: list[tuple[Truth, list[Any], list[float]]]) -> list[float]:
    """Return the share found at each budget of false length; answers hold shapes in diameters and their scores."""
    photos = [
        (_reached(_clear(truth), lines, values), np.array(values), _wrong(truth, lines))
        for truth, lines, values in answers
    ]
    scores = np.unique([value for _, _, values in answers for value in values])
    best = [0.0] * len(BUDGETS)
    for level in np.concatenate([[np.inf], np.quantile(scores, 1 - np.geomspace(1e-4, 1, 60))]):
        false = float(np.mean([wrong[values >= level].sum() for _, values, wrong in photos if wrong is not None]))
        if false > max(BUDGETS):
            break
        found = float(np.mean([(reached >= level).mean() for reached, _, _ in photos if len(reached)]))
        best = [max(share, found) if false <= budget else share for share, budget in zip(best, BUDGETS, strict=True)]
    return best


def _clear(truth: Truth) -> list[Any]:
    from shapely.geometry import LineString

    return [
        LineString(np.array(c["points"]) / truth["diameter_px"]) for c in truth["cracks_px"] if c["clarity"] == "clear"
    ]


def _wrong(truth: Truth, lines: list[Any]) -> Vector | None:
    """Return how much of each line runs along no crack; None where not all cracks are marked."""
    import shapely

    if not truth["cracks_exhaustive"]:
        return None
    every = [shapely.LineString(np.array(c["points"]) / truth["diameter_px"]) for c in truth["cracks_px"]]
    right = shapely.unary_union([line.buffer(0.015) for line in every])
    return np.array([line.difference(right).length for line in lines], float)


def _reached(clear: list[Any], lines: list[Any], values: list[float]) -> Vector:
    """Return for points evenly along the clear cracks the best score of a line within a hundredth of the diameter."""
    import shapely

    along = [shapely.line_interpolate_point(crack, np.arange(0, crack.length, SPACING)) for crack in clear]
    points = np.concatenate(along) if along else np.empty(0)
    best = np.full(len(points), -np.inf)
    for line, value in zip(lines, values, strict=True):
        near = shapely.dwithin(points, line, 0.01)
        best[near] = np.maximum(best[near], value)
    return best


def main() -> None:
    import cv2
    from shapely.geometry import LineString

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--keep", type=Path, help="examples kept by tests.bench.train_cracks")
    asked = parser.parse_args()
    cv2.setNumThreads(1)
    examples = Examples(**np.load(asked.keep)) if asked.keep else None
    judges: dict[str, judge.Judge] = {}

    def judge_of(truth: Truth) -> judge.Judge:
        if examples is None:
            return judge.shipped()
        disc = disc_of(truth)
        if disc not in judges:
            judges[disc] = fitted(examples[examples.disc != disc])
        return judges[disc]

    methods: dict[str, Callable[[Truth, View, Pith | None], list[Line]]] = {
        "frangi": lambda truth, seen, pith: ridge_lines(frangi, seen),
        "sato": lambda truth, seen, pith: ridge_lines(sato, seen),
        "black-hat": lambda truth, seen, pith: ridge_lines(black_hat, seen),
        "minimal paths": lambda truth, seen, pith: minimal_paths(seen),
        "network": lambda truth, seen, pith: network_lines(seen, pith, None),
        "judged": lambda truth, seen, pith: network_lines(seen, pith, judge_of(truth)),
    }
    print("method          found at a false length per photo of   s per")
    print("                " + "".join(f"{budget:6.2f} D" for budget in BUDGETS) + "     photo")
    for name, method in methods.items():
        answers, spent = [], []
        for truth in truths():
            here = scene(truth)
            seen = view(here.flat, here.outline)
            judge_of(truth)
            start = time.process_time()
            lines = [line for line in method(truth, seen, here.pith) if len(line[0]) > 1]
            spent.append(time.process_time() - start)
            shapes = [LineString(here.flat.to_px(path) / truth["diameter_px"]) for path, _ in lines]
            answers.append((truth, shapes, [score for _, score in lines]))
        found = curve(answers)
        print(f"{name:16}" + "".join(f"{share:8.2f}" for share in found) + f"   {np.mean(spent):7.2f}", flush=True)


if __name__ == "__main__":
    main()
