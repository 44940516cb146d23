"""Measure the crack finders on annotated photos: ``python -m tests.bench.cracks``.

Outline and pith are the annotator's, so that what is measured is the crack finder alone. Prints per photo the share of
the clear cracks' length that is found (within 1 % of the diameter), how many cracks longer than a tenth of the
diameter are missed (under 60 % found), and the length that is falsely reported as seen, and as seen or possible, in
diameters, on photos whose annotation is exhaustive.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from photonest.model import Crack, Defect, FlatPhoto, NotFound, Outline, Pith

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
    """A drawn photo seen squarely, with its cracks and what is mistaken for them as paths in mm."""

    scene: Scene
    cracks: list[NDArray[np.float64]]
    kinds: list[str]
    widths: list[float]
    others: list[NDArray[np.float64]]
    diameter: float


def drawn_scene(seed: int) -> DrawnScene:
    """Draw the photo of a seed, at one of three sizes, and see it squarely by its true camera."""
    import cv2

    from tests.drawn import draw, random_spec

    drawn = draw(random_spec(seed, reference="none", megapixels=(1.5, 3.0, 5.0)[seed % 3]))
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
    pith = None if truth.pith_mm is None else Pith(points(truth.pith_mm[None])[0], standard_error=0.5)
    return DrawnScene(
        Scene(flat, outline, pith),
        [np.asarray(crack.path_mm) for crack in truth.cracks],
        [crack.kind for crack in truth.cracks],
        [crack.width_mm for crack in truth.cracks],
        [np.asarray(other.path_mm) for other in truth.distractors],
        truth.diameter_mm,
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


def main() -> None:
    import cv2

    from photonest.cracks.finder import Ridges

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", default="", help="part of a photo's name")
    parser.add_argument("--bark", action="store_true", help="search the bark too, as if it were not told apart")
    parser.add_argument("--no-pith", action="store_true", help="as if the pith were not known")
    asked = parser.parse_args()
    cv2.setNumThreads(1)
    finder = Ridges()
    rows = []
    print(f"{'photo':32}  found big missed false seen false all    n     s reading")
    for truth in truths():
        if asked.only not in truth["file"]:
            continue
        start = time.process_time()
        here = scene(truth, under_bark=not asked.bark)
        reading = time.process_time() - start
        start = time.process_time()
        found = finder.find(here.flat, here.outline, None if asked.no_pith else here.pith, finder.Options())
        took = time.process_time() - start
        found = [] if isinstance(found, NotFound) else found
        row = score(found, truth, here.flat)
        rows.append(row)
        missed = f"{row.big_missed}/{row.big}"
        print(
            f"{truth['file'][:32]:32} {_figure(row.recall)} {missed:>10} {_figure(row.false_seen, 10)}"
            f" {_figure(row.false_all, 9)} {len(found):4} {took:5.2f} {took / reading:6.1f}x"
        )
    print(f"found, mean: {_mean([row.recall for row in rows])}; big missed: {sum(row.big_missed for row in rows)}")
    print(f"false seen, mean: {_mean([row.false_seen for row in rows])}", end="; ")
    print(f"possible too: {_mean([row.false_all for row in rows])}")


def _mean(values: Sequence[float | None]) -> str:
    known = [value for value in values if value is not None]
    return f"{np.mean(known):.3f}" if known else "-"


def _figure(value: float | None, width: int = 6) -> str:
    return f"{value:{width}.3f}" if value is not None else " " * (width - 1) + "-"


if __name__ == "__main__":
    main()
