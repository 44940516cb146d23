"""Measure the scale finders on drawn photos: ``python -m tests.bench.scale [KIND ...] [--count N] [--first SEED]``.

For each kind of reference beside or on a drawn piece: how often it is found, by how much the mean diameter comes out
wrong (median and 90 %), how often the truth lies within one and two of the standard errors stated, and the time against
reading the photo. ``none`` counts what is taken for a reference in photos without one, by every finder that needs no
figure from the user.
"""

from __future__ import annotations

import argparse
import io
import pickle
import time
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np

from photonest.imaging import mean_diameter
from photonest.model import NotFound, Photo, Scale
from photonest.photo import frozen_pixels
from photonest.rectify import photo_to_mm
from photonest.scale.bar import Bar
from photonest.scale.card import Card
from photonest.scale.marker_sheet import MarkerSheet
from photonest.scale.markers import Markers
from photonest.scale.paper import Paper
from photonest.scale.uncertainty import diameter_error_pct
from tests.drawn import SceneSpec, draw, random_spec
from tests.drawn.noise import generator
from tests.drawn.wood import Growth

FOUND_BY: dict[str, Any] = {
    "marker-sheet": MarkerSheet(),
    "markers-around": Markers(),
    "card": Card(),
    "card-on-face": Card(),
    "white-card-on-face": Card(),
    "paper": Paper(),
    "bar": Bar(),
}
TARGETS = {  # found, median and 90 % of the diameter's error, all in percent
    "marker-sheet": (99, 0.15, 0.5),
    "markers-around": (99, 0.05, 0.15),
    "card": (97, 0.5, 1.5),
    "card-on-face": (97, 0.3, 0.8),
    "white-card-on-face": (97, 0.3, 0.8),
    "paper": (97, 0.15, 0.5),
    "bar": (95, 0.5, 1.5),
    "none": (0, 0, 0),
}
UNASKED: tuple[Any, ...] = (MarkerSheet(), Markers(), Card(), Paper())


def scene(kind: str, seed: int, megapixels: float = 3.0) -> SceneSpec:
    """Return a scene of difficulty medium or hard with a reference of a kind: tilt to 25 degrees, blur to 1 px."""
    level: Literal["medium", "hard"] = "hard" if seed % 2 else "medium"
    spec = random_spec(seed, reference=kind, difficulty=level, max_tilt=25.0, megapixels=megapixels)
    rng = generator(seed, f"scale-{kind}")
    k1, blur = float(rng.normal(0, 0.02)), float(rng.uniform(0.5, 1.0)) * spec.camera.width / 2000
    return replace(spec, camera=replace(spec.camera, k1=k1, k2=0.0, blur_px=blur))


def options_for(kind: str, spec: SceneSpec) -> Any:
    """Return what a user would tell the finder."""
    finder = FOUND_BY[kind]
    if kind == "bar":
        return finder.Options(square_mm=next(i.pitch for i in spec.items if i.kind == "bar"))
    if kind == "paper":
        name = next(i.variant for i in spec.items if i.kind == "paper").split()[0]
        return finder.Options(size="any" if name in ("A4", "Letter") else name)
    return finder.Options()


@dataclass(frozen=True)
class Row:
    """What one photo gave: error and standard errors in percent, without and with that of the reference; seconds."""

    seed: int
    off: float
    fit_error: float
    error: float
    reading_s: float
    finding_s: float
    reason: str = ""


def photo_of(kind: str, seed: int, megapixels: float, cache: Path | None) -> tuple[SceneSpec, bytes]:
    """Return a scene and its file, drawn or as kept from an earlier run."""
    kept = None if cache is None else cache / f"{kind}-{seed}-{megapixels:g}.pickle"
    if kept is not None and kept.exists():
        spec, jpeg = pickle.loads(kept.read_bytes())
        return spec, jpeg
    spec = scene(kind, seed, megapixels)
    jpeg = draw(spec).jpeg
    if kept is not None:
        kept.write_bytes(pickle.dumps((spec, jpeg)))
    return spec, jpeg


def opened(spec: SceneSpec, jpeg: bytes) -> Photo:
    """Return a drawn file as the finders get it."""
    from PIL import Image

    pixels = np.asarray(Image.open(io.BytesIO(jpeg)).convert("RGB"))
    focal = spec.camera.focal_px if spec.camera.exif else None
    return Photo(frozen_pixels(pixels), "drawn.jpg", "0" * 64, focal_px=focal)


def measured(kind: str, seed: int, megapixels: float, cache: Path | None) -> Row:
    """Find the scale of one drawn photo and compare it with the truth."""
    spec, jpeg = photo_of(kind, seed, megapixels, cache)
    began = time.process_time()
    photo = opened(spec, jpeg)
    read = time.process_time()
    scale = FOUND_BY[kind].find(photo, options_for(kind, spec))
    done = time.process_time()
    times = (read - began, done - read)
    if isinstance(scale, NotFound):
        return Row(seed, np.nan, np.nan, np.nan, *times, reason=scale.reason)
    return Row(seed, *errors_pct(scale, spec), *times)


def errors_pct(scale: Scale, spec: SceneSpec) -> tuple[float, float, float]:
    """Return the error of the mean diameter, its standard error but for the reference's own size, and in all."""
    growth = Growth(spec.wood)
    outline = growth.polygon(growth.outer)[::8]
    mm = photo_to_mm(scale, spec.camera.mm_to_px(outline))
    off = 100 * (mean_diameter(mm) / mean_diameter(outline) - 1)
    error = diameter_error_pct(scale, mm)
    return off, float(np.sqrt(max(error**2 - scale.reference_error_pct**2, 0))), error


def report(kind: str, rows: list[Row], verbose: bool) -> None:
    """Print one kind's line, and what each photo gave if asked."""
    for r in rows if verbose else []:
        print(f"  {r.seed:4d} {r.off:+7.3f} % +- {r.fit_error:.3f} ({r.off / max(r.fit_error, 1e-9):+.1f})  {r.reason}")
    found = [r for r in rows if not r.reason]
    if not found:
        print(f"{kind:19s} found   0.0 %", flush=True)
        return
    off, fit = np.array([abs(r.off) for r in found]), np.array([r.fit_error for r in found])
    share, median, ninety = TARGETS[kind]
    print(
        f"{kind:19s} found {100 * len(found) / len(rows):5.1f} % (target {share})",
        f"off {np.median(off):.3f} / {np.quantile(off, 0.9):.3f} % (target {median} / {ninety}), worst {off.max():.2f}",
        f"within 1, 2 s.e. {100 * np.mean(off < fit):.0f}, {100 * np.mean(off < 2 * fit):.0f} %",
        f"time {np.median([r.finding_s / r.reading_s for r in rows]):.1f} x reading",
        sep="  ",
        flush=True,
    )


def false_accepts(seeds: range, megapixels: float, cache: Path | None) -> None:
    """Print what is taken for a reference in photos without one."""
    wrong = 0
    for seed in seeds:
        photo = opened(*photo_of("none", seed, megapixels, cache))
        for finder in UNASKED:
            if finder.find(photo, finder.Options()):
                wrong += 1
                print(f"  seed {seed}: {finder.name} accepted")
    print(f"none                {wrong} accepted in {len(seeds)} photos", flush=True)


def main() -> None:
    """Run the benchmark."""
    import cv2

    cv2.setNumThreads(1)
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kinds", nargs="*", default=[*FOUND_BY, "none"])
    parser.add_argument("--count", type=int, default=30)
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--megapixels", type=float, default=3.0)
    parser.add_argument("--cache", type=Path, help="a folder that keeps the photos drawn")
    parser.add_argument("--verbose", action="store_true")
    asked = parser.parse_args()
    if asked.cache:
        asked.cache.mkdir(exist_ok=True)
    seeds = range(asked.first, asked.first + asked.count)
    for kind in asked.kinds:
        if kind == "none":
            false_accepts(seeds, asked.megapixels, asked.cache)
        else:
            report(kind, [measured(kind, seed, asked.megapixels, asked.cache) for seed in seeds], asked.verbose)


if __name__ == "__main__":
    main()
