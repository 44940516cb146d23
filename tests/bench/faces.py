"""Measure how well the outline and the pith are found: ``python -m tests.bench.faces [photos|drawn] [count] [first]``.

``drawn`` draws `count` faces (24) from the seed `first` (1000) on, in turn easy, medium and hard; every fourth is a
half, every eighth a quarter. They are seen squarely, without a reference; the pith is sought within the outline found.

Prints a row a photo and a summary. Lengths are in percent of the wood's mean diameter D: the pith's distance from the
truth, the standard error stated, the mean and the 95th percentile of the distance from the outline found to the true
one, and the time as processor seconds. ``photos`` are real faces read by eye, beside the checkout; ``drawn`` ones are
made here from known mm.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from photonest.model import FlatPhoto, Outline, Pith
from photonest.outline.trained import TrainedOutline
from photonest.pith.rings import RingPith
from photonest.planar import mean_diameter

PHOTOS = Path(__file__).parents[2].parent / "shared" / "photos"
MM_PER_PX = 0.2
Points = NDArray[np.float64]


@dataclass(frozen=True)
class Known:
    """A face and the truth about it, in mm."""

    name: str
    flat: FlatPhoto
    outline: Points
    under_bark: Points | None
    pith: Points | None
    tolerance: float
    """Of the pith's truth."""


@dataclass(frozen=True)
class Row:
    """What one face gave, in percent of D; nan where there is nothing to compare."""

    name: str
    pith: float
    pith_error: float
    tolerance: float
    edge: float
    edge95: float
    edge_error: float
    bark: float
    seconds: float
    note: str = ""
    axes: tuple[float, float] = (math.nan, math.nan)
    """Of the pith's miss, along x and y."""


def flat_from(pixels: NDArray[np.uint8], mm_per_px: float = MM_PER_PX) -> FlatPhoto:
    """Return a photo taken squarely, aimed at its middle."""
    height, width = pixels.shape[:2]
    grey = bool((pixels[..., 0] == pixels[..., 1]).all() and (pixels[..., 1] == pixels[..., 2]).all())
    aim = ((width - 1) / 2 * mm_per_px, (height - 1) / 2 * mm_per_px)
    return FlatPhoto(pixels, mm_per_px, (0.0, 0.0), aim, grey=grey)


def real_photos() -> Iterator[Known]:
    """Yield the faces read by eye; none where the photos are absent."""
    from PIL import Image

    if not (PHOTOS / "truth.json").exists():
        return
    for entry in json.loads((PHOTOS / "truth.json").read_text())["images"]:
        with Image.open(PHOTOS / entry["file"]) as picture:
            pixels = np.asarray(picture.convert("RGB"))
        pith = entry.get("pith_px") or entry.get("pith_outside_px")
        bark = entry.get("underbark_px")
        yield Known(
            Path(entry["file"]).stem,
            flat_from(pixels),
            np.array(entry["outline_px"]) * MM_PER_PX,
            np.array(bark) * MM_PER_PX if bark else None,
            np.array(pith) * MM_PER_PX if pith else None,
            (entry.get("pith_tolerance_px") or 15) * MM_PER_PX,
        )


def drawn_faces(count: int, first: int) -> Iterator[Known]:
    """Yield faces drawn from known mm."""
    from tests.drawn import draw, random_spec

    for k in range(count):
        piece: Literal["whole", "half", "quarter"] = "quarter" if k % 8 == 7 else "half" if k % 4 == 3 else "whole"
        difficulty: Literal["easy", "medium", "hard"] = ("easy", "medium", "hard")[k % 3]
        spec = random_spec(first + k, reference="none", difficulty=difficulty, piece=piece, megapixels=2.0)
        drawn = draw(spec)
        truth, unit = drawn.truth, drawn.truth.mm_per_px
        outline, wood = (truth.mm_to_px(line) * unit for line in (truth.outline_mm, truth.under_bark_mm))
        pith = None if truth.pith_mm is None else truth.mm_to_px(np.atleast_2d(truth.pith_mm))[0] * unit
        yield Known(f"{first + k} {piece} {difficulty}", flat_from(drawn.pixels, unit), outline, wood, pith, 0.0)


def edge_distances(found: Points, truth: Points, samples: int = 720) -> NDArray[np.float64]:
    """Return the distances from evenly spaced points of one closed line to another."""
    import shapely

    line, ring = shapely.LinearRing(found), shapely.LinearRing(truth)
    places = shapely.line_interpolate_point(line, np.arange(samples) / samples, normalized=True)
    return np.asarray(shapely.distance(places, ring))


def measure(known: Known) -> Row:
    """Return how far the finders are from the truth on one face."""
    finder, rings = TrainedOutline(), RingPith()
    start = time.process_time()
    outline = finder.find(known.flat, finder.Options())
    seconds = time.process_time() - start
    if not isinstance(outline, Outline):
        nan = math.nan
        return Row(known.name, nan, nan, nan, nan, nan, nan, nan, seconds, outline.reason)
    start = time.process_time()
    pith = rings.find(known.flat, outline, rings.Options())
    seconds += time.process_time() - start
    unit = mean_diameter(known.outline) / 100
    away = edge_distances(np.array(outline.points), known.outline) / unit
    bark = math.nan
    if known.under_bark is not None:
        bark = float(edge_distances(np.array(outline.wood), known.under_bark).mean() / unit)
    miss = error = math.nan
    axes = (math.nan, math.nan)
    note = "" if isinstance(pith, Pith) else pith.reason
    if isinstance(pith, Pith) and known.pith is not None:
        off = (np.array(pith.point) - known.pith) / unit
        axes, miss = (float(off[0]), float(off[1])), float(np.hypot(*off))
        error = pith.standard_error / unit
    return Row(
        known.name, miss, error, known.tolerance / unit, float(away.mean()), float(np.percentile(away, 95)),
        outline.standard_error / unit, bark, seconds, note, axes,
    )  # fmt: skip


def table(rows: Iterable[Row]) -> str:
    """Return the rows and their summary as text."""
    rows = list(rows)
    head = f"{'face':30} {'pith':>6} {'s.e.':>6} {'truth':>6} {'edge':>6} {'95 %':>6} {'s.e.':>6} {'wood':>6} {'s':>6}"
    lines = [head] + [
        f"{row.name[:30]:30} {row.pith:6.2f} {row.pith_error:6.2f} {row.tolerance:6.2f} {row.edge:6.2f} "
        f"{row.edge95:6.2f} {row.edge_error:6.2f} {row.bark:6.2f} {row.seconds:6.2f} {row.note}"
        for row in rows
    ]
    if not rows:
        return "no photos here"
    numbers = np.array(
        [[r.pith, r.pith_error, r.tolerance, r.edge, r.edge95, r.edge_error, r.bark, r.seconds] for r in rows]
    )
    for name, how in (("median", np.nanmedian), ("mean", np.nanmean), ("worst", np.nanmax)):
        lines.append(f"{name:30} " + " ".join(f"{value:6.2f}" for value in how(numbers, axis=0)))
    # The standard error is that along each axis; a reader's tolerance is a radius, taken as two and a half of his own.
    known = [row for row in rows if math.isfinite(row.pith)]
    ratio = np.abs([axis / math.hypot(row.pith_error, row.tolerance / 2.5) for row in known for axis in row.axes])
    if len(ratio):
        shares = ", ".join(f"{k} s.e. {np.mean(ratio <= k):.2f} (due {math.erf(k / 2**0.5):.2f})" for k in (1, 2, 3))
        lines.append(f"pith within, along each axis: {shares}; not given {len(rows) - len(known)}")
    edge = numbers[:, 3] / numbers[:, 5]
    lines.append(
        f"mean edge distance over its s.e.: median {np.nanmedian(edge):.2f} (due 0.80), worst {np.nanmax(edge):.2f}"
    )
    return "\n".join(lines)


def main() -> None:
    """Print the table asked for."""
    import cv2

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("which", nargs="?", choices=("photos", "drawn"), default="photos")
    parser.add_argument("count", nargs="?", type=int, default=24, help="faces to draw (24)")
    parser.add_argument("first", nargs="?", type=int, default=1000, help="seed of the first (1000)")
    told = parser.parse_args()
    cv2.setNumThreads(1)
    faces = drawn_faces(told.count, told.first) if told.which == "drawn" else real_photos()
    print(table(measure(known) for known in faces))


if __name__ == "__main__":
    main()
