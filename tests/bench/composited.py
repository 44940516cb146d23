"""Measure real faces laid in drawn scenes: ``python -m tests.bench.composited [REFERENCE] [--first SEED]``.

Each annotated face is cut out along its outline and laid on a drawn bench with a drawn reference, and a drawn camera
photographs them from a slant: real wood under a scale that has to be found, which `tests.bench.altered` takes as known.
REFERENCE is one of `tests.drawn.place.REFERENCES`. Prints a row a photo and the summary of `tests.bench.whole`; the
truth is the annotator's outline, pith and clear cracks.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from photonest.asking import Choices
from photonest.imaging import polygon_mask
from tests.bench.cracks import PHOTOS, truths
from tests.bench.cracks import Truth as Annotation
from tests.bench.scale_cases import told
from tests.bench.whole import line, measured, table
from tests.drawn import Drawn, SceneSpec, Truth, random_spec
from tests.drawn.camera import decode_srgb
from tests.drawn.noise import Array, Grid
from tests.drawn.place import REFERENCES
from tests.drawn.scene import draw_face
from tests.drawn.texture import Painted
from tests.drawn.truth import CrackTruth
from tests.drawn.wood import Growth


def composited(seed: int, annotation: Annotation, reference: str, megapixels: float) -> Drawn:
    """Return a drawn scene with an annotated face in the place of the drawn one, as large as that."""
    import cv2

    spec = random_spec(seed, reference=reference, megapixels=megapixels, cracks=0, max_tilt=25.0)
    # a cut-out has neither a side nor a shape for the drawn shadow
    spec = replace(spec, bench=replace(spec.bench, below=0.0), light=replace(spec.light, cast=0.0), marks=())
    growth = Growth(spec.wood)
    outline_px = np.asarray(annotation["outline_px"], float)
    reach = np.linalg.norm(growth.polygon(growth.outer), axis=1).min()
    middle = (outline_px.min(axis=0) + outline_px.max(axis=0)) / 2
    step = float(reach / np.linalg.norm(outline_px - middle, axis=1).max())

    def mm(points_px: Any) -> Array:
        return np.asarray((np.asarray(points_px, float).reshape(-1, 2) - middle) * step)

    pixels = np.asarray(cv2.imread(str(PHOTOS / annotation["file"]), cv2.IMREAD_COLOR_RGB), np.uint8)
    cover = cv2.GaussianBlur(polygon_mask(outline_px, pixels.shape[:2]).astype(np.float32), (0, 0), 1.0)
    rows, columns = cover.shape
    x0, y0 = mm([0, 0])[0]
    fine = step * spec.camera.scale_at()  # of the drawn photo's pixels to one of the real one's
    light = decode_srgb(pixels)
    if fine < 1:  # fewer pixels than the real photo has: each is a mean of several
        light, cover = (cv2.GaussianBlur(layer, (0, 0), 0.4 / fine) for layer in (light, cover))
    face = Painted(Grid(float(x0), float(y0), step, columns, rows), np.asarray(light), np.asarray(cover))
    return draw_face(spec, growth, _truth(spec, annotation, mm), face)


def _truth(spec: SceneSpec, annotation: Annotation, mm: Callable[[Any], Array]) -> Truth:
    import shapely

    outline = mm(annotation["outline_px"])
    under = mm(annotation.get("underbark_px") or annotation["outline_px"])
    cracks = [mm(crack["points"]) for crack in annotation["cracks_px"] if crack["clarity"] == "clear"]
    return Truth(
        outline_mm=outline,
        under_bark_mm=under,
        pith_mm=mm(annotation["pith_px"])[0] if annotation["pith_px"] else None,
        diameter_mm=float(np.sqrt(4 * shapely.Polygon(outline).area / np.pi)),
        cracks=tuple(CrackTruth("radial", path, np.ones(len(path))) for path in cracks),
        distractors=(),
        references=tuple(item for item in spec.items if item.is_reference),
        camera=spec.camera,
    )


def main() -> None:
    """Print the table."""
    import cv2

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("reference", nargs="?", default="marker-sheet", choices=REFERENCES[1:])
    parser.add_argument("--first", type=int, default=120_000, help="seed of the first photo's scene")
    parser.add_argument("--megapixels", type=float, default=6.0)
    parser.add_argument("--keep", type=Path, help="folder for the photos")
    asked = parser.parse_args()
    cv2.setNumThreads(1)
    rows = []
    for seed, annotation in enumerate(truths(), asked.first):
        drawn = composited(seed, annotation, asked.reference, asked.megapixels)
        if asked.keep is not None:
            drawn.save(asked.keep / f"{asked.reference}-{seed}.jpg")
        settings = {("scale", finder): options for finder, options in told(drawn.truth.references).items()}
        rows.append(measured(seed, drawn, Choices(settings=settings)))
        print(annotation["file"][:14], line(rows[-1]), flush=True)
    print(table(rows) if rows else "no photos here")


if __name__ == "__main__":
    main()
