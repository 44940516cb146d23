"""Measure the crack finders on annotated photos: ``python -m tests.bench.cracks``.

Outline and pith are the annotator's, so that what is measured is the crack finder alone. Prints per photo the share of
the clear cracks' length that is found (within 1 % of the diameter), how many cracks longer than a tenth of the
diameter are missed (under 60 % found), and the length that is falsely reported as seen, and as seen or possible, in
diameters, on photos whose annotation is exhaustive, and how often a line of a given confidence is real.

The shipped judge has seen these photos in training. With ``--keep FILE``, the examples that `tests.bench.train_cracks`
kept, each photo is judged by one that saw no photo of its disc: that is the figure for photos unseen.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

from photonest.model import Crack, Defect, FlatPhoto, NotFound, Outline, Pith

if TYPE_CHECKING:
    from tests.drawn import Drawn

PHOTOS = Path(__file__).resolve().parents[3] / "shared" / "photos"
MM_PER_PX = 0.2
Truth = dict[str, Any]


def truths(folder: Path = PHOTOS) -> list[Truth]:
    """Return what was annotated, photo by photo; empty where the photos are not at hand."""
    file = folder / "truth.json"
    if not file.exists():
        return []
    images: list[Truth] = json.loads(file.read_text(encoding="utf-8"))["images"]
    return [truth for truth in images if (folder / truth["file"]).exists()]


@dataclass(frozen=True, eq=False)
class Scene:
    """A photo with the outline and pith an annotator marked."""

    flat: FlatPhoto
    outline: Outline
    pith: Pith | None


def scene(truth: Truth, folder: Path = PHOTOS, under_bark: bool = True) -> Scene:
    """Read a photo, at a nominal scale."""
    import cv2

    pixels = np.ascontiguousarray(cv2.imread(str(folder / truth["file"]), cv2.IMREAD_COLOR_RGB))
    pixels.setflags(write=False)
    height, width = pixels.shape[:2]
    flat = FlatPhoto(pixels, MM_PER_PX, (0.0, 0.0), (width * MM_PER_PX / 2, height * MM_PER_PX / 2))
    wood = list(truth.get("underbark_px") or []) if under_bark else []
    outline = Outline(_points(flat, truth["outline_px"]), under_bark=_points(flat, wood) if wood else None)
    centre = truth["pith_px"] or truth.get("pith_outside_px")
    pith = Pith(_points(flat, [centre])[0], standard_error=1.0, inside=bool(truth["pith_px"])) if centre else None
    return Scene(flat, outline, pith)


def _points(flat: FlatPhoto, px: Any) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in flat.to_mm(px))


@dataclass(frozen=True, eq=False)
class DrawnScene:
    """A drawn photo seen squarely, with its cracks and what is mistaken for them as paths in mm.

    `widths` are the cracks' greatest openings, `openings` those along their paths.
    """

    scene: Scene
    cracks: list[NDArray[np.float64]]
    kinds: list[str]
    widths: list[float]
    others: list[NDArray[np.float64]]
    diameter: float
    openings: list[NDArray[np.float64]]


def drawn_scene(
    seed: int,
    cut: Literal["end", "side"] = "end",
    piece: Literal["whole", "half", "quarter"] = "whole",
    defects: bool = False,
) -> DrawnScene:
    """Draw the photo of a seed, at one of three sizes, and see it squarely by its true camera."""
    from tests.drawn import draw, random_spec

    megapixels = (1.5, 3.0, 5.0)[seed % 3]
    return seen_squarely(
        draw(random_spec(seed, reference="none", megapixels=megapixels, cut=cut, piece=piece, defects=defects))
    )


def seen_squarely(drawn: Drawn) -> DrawnScene:
    """Return a drawn photo as its true camera sees it squarely, with what is on it."""
    import cv2

    truth, step = drawn.truth, drawn.truth.mm_per_px
    low, high = truth.outline_mm.min(axis=0) - 10 * step, truth.outline_mm.max(axis=0) + 10 * step
    width, height = (int(n) for n in np.ceil((high - low) / step))
    rows, columns = np.mgrid[:height, :width]
    mm = np.column_stack([low[0] + columns.ravel() * step, low[1] + rows.ravel() * step])
    px = truth.mm_to_px(mm).astype(np.float32)
    pixels = cv2.remap(drawn.pixels, px[:, 0].reshape(height, width), px[:, 1].reshape(height, width), cv2.INTER_LINEAR)
    pixels.setflags(write=False)
    flat = FlatPhoto(np.asarray(pixels), step, (float(low[0]), float(low[1])), (0.0, 0.0))

    def points(line: NDArray[np.float64]) -> tuple[tuple[float, float], ...]:
        return tuple((float(x), float(y)) for x, y in line)

    outline = Outline(points(truth.outline_mm[::4]), under_bark=points(truth.under_bark_mm[::4]))
    pith = None
    if truth.pith_mm is not None:
        (middle,) = points(truth.pith_mm[None])
        edge = truth.outline_mm.astype(np.float32)[:, None]
        pith = Pith(middle, standard_error=0.5, inside=cv2.pointPolygonTest(edge, middle, False) > 0)
    return DrawnScene(
        Scene(flat, outline, pith),
        [np.asarray(crack.path_mm) for crack in truth.cracks],
        [crack.kind for crack in truth.cracks],
        [crack.width_mm for crack in truth.cracks],
        [np.asarray(other.path_mm) for other in truth.distractors],
        truth.diameter_mm,
        [np.asarray(crack.widths_mm) for crack in truth.cracks],
    )


@dataclass(frozen=True)
class Score:
    """How well the cracks of one photo were found; lengths as shares, false ones in diameters."""

    recall: float | None
    big: int
    big_missed: int
    false_seen: float | None
    false_all: float | None


def score(found: Sequence[Crack | Defect], truth: Truth, flat: FlatPhoto) -> Score:
    """Compare found cracks with what was annotated."""
    from shapely.geometry import LineString, Polygon
    from shapely.ops import unary_union

    across = truth["diameter_px"]
    cracks = [crack for crack in found if isinstance(crack, Crack)]
    lines = [LineString(flat.to_px(crack.path)) for crack in cracks]
    near = unary_union(lines).buffer(0.01 * across) if lines else Polygon()
    clear = [LineString(c["points"]) for c in truth["cracks_px"] if c["clarity"] == "clear"]
    total = sum(line.length for line in clear)
    big = [line for line in clear if line.length > 0.1 * across]
    false_seen = false_all = None
    if truth["cracks_exhaustive"]:
        fine = [LineString(c["points"]).buffer(0.015 * across) for c in truth["cracks_px"]]
        for doubt in truth["ambiguous_px"]:
            if "polygon" in doubt:
                fine.append(Polygon(doubt["polygon"]))
            elif len(doubt["points"]) > 1:
                fine.append(LineString(doubt["points"]).buffer(0.02 * across))
        right = unary_union(fine) if fine else Polygon()
        wrong = [line.difference(right).length / across for line in lines]
        false_seen = sum(w for w, crack in zip(wrong, cracks, strict=True) if crack.status == "seen")
        false_all = sum(wrong)
    return Score(
        recall=sum(line.intersection(near).length for line in clear) / total if clear else None,
        big=len(big),
        big_missed=sum(line.intersection(near).length < 0.6 * line.length for line in big),
        false_seen=false_seen,
        false_all=false_all,
    )


def reality(found: Sequence[Crack], truth: Truth, flat: FlatPhoto) -> list[tuple[float, bool]]:
    """Return confidence and reality of each crack found on a photo annotated in full; doubtful places are left out."""
    from shapely.geometry import LineString, Polygon
    from shapely.ops import unary_union

    if not truth["cracks_exhaustive"]:
        return []
    across = truth["diameter_px"]
    cracks = [LineString(c["points"]).buffer(0.015 * across) for c in truth["cracks_px"]]
    doubts = [Polygon(d["polygon"]) for d in truth["ambiguous_px"] if "polygon" in d]
    real, doubt = (unary_union(shapes) if shapes else Polygon() for shapes in (cracks, doubts))
    lines = [(crack.confidence, LineString(flat.to_px(crack.path))) for crack in found]
    return [
        (sure, line.intersection(real).length > 0.5 * line.length)
        for sure, line in lines
        if line.intersection(doubt).length < 0.3 * line.length
    ]


def calibration(said: Sequence[tuple[float, bool]]) -> None:
    """Print how often lines of a confidence are real."""
    confidence, real = np.array(said, float).reshape(-1, 2).T
    for low, high in ((0, 0.3), (0.3, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 1.01)):
        here = (confidence >= low) & (confidence < high)
        if here.any():
            print(f"  said {confidence[here].mean():.2f}, true {real[here].mean():.2f}   ({here.sum()} lines)")


def main() -> None:
    import cv2

    from photonest.cracks.finder import Lines, cracks_of, judged
    from photonest.cracks.search import candidates, view

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="", help="part of a photo's name")
    parser.add_argument("--bark", action="store_true", help="search the bark too, as if it were not told apart")
    parser.add_argument("--no-pith", action="store_true", help="as if the pith were not known")
    parser.add_argument("--keep", type=Path, help="examples of train_cracks: each photo by a judge that never saw it")
    asked = parser.parse_args()
    cv2.setNumThreads(1)
    finder = Lines()
    rows, said = [], []
    judge = _judges(asked.keep) if asked.keep else None
    print(f"{'photo':32}  found big missed false seen false all    n     s reading")
    for truth in truths():
        if asked.only not in truth["file"]:
            continue
        start = time.process_time()
        here = scene(truth, under_bark=not asked.bark)
        reading = time.process_time() - start
        pith = None if asked.no_pith else here.pith
        own = judge(truth) if judge else None
        start = time.process_time()
        if own is None:
            answer = finder.find(here.flat, here.outline, pith, finder.Options())
        else:
            seen = view(here.flat, here.outline)
            lines = candidates(seen, pith)
            sure = judged(own, lines, seen, pith)
            answer = cracks_of(seen, lines, sure, pith, finder.Options())
        took = time.process_time() - start
        found = [] if isinstance(answer, NotFound) else [crack for crack in answer if isinstance(crack, Crack)]
        row = score(found, truth, here.flat)
        rows.append(row)
        said += reality(found, truth, here.flat)
        missed = f"{row.big_missed}/{row.big}"
        print(
            f"{truth['file'][:32]:32} {_figure(row.recall)} {missed:>10} {_figure(row.false_seen, 10)}"
            f" {_figure(row.false_all, 9)} {len(found):4} {took:5.2f} {took / reading:6.1f}x",
            flush=True,
        )
    print(f"found, mean: {_mean([row.recall for row in rows])}; big missed: {sum(row.big_missed for row in rows)}")
    print(f"false seen, mean: {_mean([row.false_seen for row in rows])}", end="; ")
    print(f"possible too: {_mean([row.false_all for row in rows])}")
    calibration(said)


def _judges(keep: Path) -> Any:
    """Return what gives for each photo a judge that saw no photo of its disc."""
    from tests.bench.train_cracks import Examples, calibrated, disc_of, fitted, left_out

    examples = Examples(**np.load(keep))
    made: dict[str, Any] = {}

    def judge(truth: Truth) -> Any:
        disc = disc_of(truth)
        if disc not in made:
            others = examples[examples.disc != disc]
            made[disc] = calibrated(fitted(others), others, left_out(others))
        return made[disc]

    return judge


def _mean(values: Sequence[float | None]) -> str:
    known = [value for value in values if value is not None]
    return f"{np.mean(known):.3f}" if known else "-"


def _figure(value: float | None, width: int = 6) -> str:
    return f"{value:{width}.3f}" if value is not None else " " * (width - 1) + "-"


if __name__ == "__main__":
    main()
