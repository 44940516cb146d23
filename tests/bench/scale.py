"""Measure the scale finders on drawn photos: ``python -m tests.bench.scale [KIND ...] [--count N] [--first SEED]``.

For each kind of reference beside or on a drawn piece: how often it is found, by how much the mean diameter comes out
wrong (median and 90 %), how often the truth lies within one and two of the standard errors stated, and the time against
reading the photo. ``none`` counts what is taken for a reference in photos without one, by every finder that needs no
figure from the user.
"""

from __future__ import annotations

import argparse
import io
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from photonest.imaging import mean_diameter
from photonest.model import NotFound, Photo, Scale
from photonest.photo import frozen_pixels
from photonest.rectify import photo_to_mm
from photonest.scale.card import Card
from photonest.scale.marker_sheet import MarkerSheet
from photonest.scale.paper import Paper
from photonest.scale.uncertainty import diameter_error_pct
from tests.drawn import SceneSpec, draw, random_spec, vary
from tests.drawn.noise import generator
from tests.drawn.references import SIZES, Item, card, marker_sheet
from tests.drawn.wood import Growth

Place = Callable[[np.random.Generator, Growth], Item]


@dataclass(frozen=True)
class Kind:
    """A kind of reference: how it lies in a scene, what finds it, and the targets (found, median, 90 %) in percent."""

    place: Place
    finder: Any
    options: Any
    targets: tuple[float, float, float]


def _beside(item: Item, rng: np.random.Generator, growth: Growth) -> Item:
    return vary.beside(item, growth, float(rng.choice([0, 90, 180, 270])), float(rng.uniform(6, 25)))


def _on_face(item: Item, rng: np.random.Generator, growth: Growth) -> Item:
    x, y = rng.normal(0, 0.12 * growth.spec.diameter, 2)
    return replace(item, centre=(float(x), float(y)))


def _card(rng: np.random.Generator, white: bool = False) -> Item:
    low, high = (0.88, 0.95) if white else (0.05, 0.9)
    red, green, blue = (float(v) for v in rng.uniform(low, high, 3))
    prints = "plain" if white else str(rng.choice(["bank", "pass", "plain"]))
    seed = int(rng.integers(0, 2**31))
    return card((0, 0), float(rng.uniform(-40, 40)), z=-0.76, colour=(red, green, blue), print_=prints, seed=seed)


def _paper(rng: np.random.Generator, names: tuple[str, ...]) -> Item:
    name = str(rng.choice(names))
    tone = float(rng.uniform(0.88, 0.96))
    colour = (tone, tone - 0.005, tone - 0.015)
    turn = float(rng.choice([0, 90, 180, 270]) + rng.normal(0, 5))
    return Item("paper", (0, 0), turn, 0.0, name, SIZES[name], colour, seed=int(rng.integers(0, 2**31)))


def _sheet(rng: np.random.Generator) -> Item:
    turn = float(rng.choice([0, 90, 180, 270]) + rng.normal(0, 5))
    return marker_sheet((0, 0), turn, paper=rng.choice(["A4", "Letter"]))


KINDS: dict[str, Kind] = {
    "marker-sheet": Kind(lambda r, g: _beside(_sheet(r), r, g), MarkerSheet(), MarkerSheet.Options(), (99, 0.15, 0.5)),
    "card-on-face": Kind(lambda r, g: _on_face(_card(r), r, g), Card(), Card.Options(), (97, 0.3, 0.8)),
    "card-beside": Kind(lambda r, g: _beside(_card(r), r, g), Card(), Card.Options(), (97, 0.5, 1.5)),
    "white-card-on-face": Kind(lambda r, g: _on_face(_card(r, True), r, g), Card(), Card.Options(), (97, 0.3, 0.8)),
    "paper": Kind(lambda r, g: _beside(_paper(r, ("A4", "Letter")), r, g), Paper(), Paper.Options(), (97, 0.15, 0.5)),
}


def scene(kind: str, seed: int) -> SceneSpec:
    """Return a scene of difficulty medium or hard with a reference of a kind: tilt to 25 degrees, blur to 1 px."""
    level = ("medium", "hard")[seed % 2]
    base = random_spec(seed, reference="none", difficulty=level)  # type: ignore[arg-type]
    rng = generator(seed, f"scale-{kind}")
    growth = Growth(base.wood)
    items = base.items if kind == "none" else (KINDS[kind].place(rng, growth), *base.items)
    camera = vary._camera(rng, 0.5, growth, items, 3.0, 25.0, False)
    camera = replace(camera, k1=float(rng.normal(0, 0.02)), k2=0.0, blur_px=float(rng.uniform(0.5, 1.0)))
    return replace(base, items=items, camera=camera)


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


def photo_of(kind: str, seed: int, cache: Path | None) -> tuple[SceneSpec, bytes]:
    """Return a scene and its file, drawn or as kept from an earlier run."""
    spec = scene(kind, seed)
    kept = None if cache is None else cache / f"{kind}-{seed}.jpg"
    if kept is not None and kept.exists():
        return spec, kept.read_bytes()
    jpeg = draw(spec).jpeg
    if kept is not None:
        kept.write_bytes(jpeg)
    return spec, jpeg


def measured(kind: str, seed: int, cache: Path | None) -> Row:
    """Find the scale of one drawn photo and compare it with the truth."""
    from PIL import Image

    spec, jpeg = photo_of(kind, seed, cache)
    began = time.process_time()
    pixels = np.asarray(Image.open(io.BytesIO(jpeg)).convert("RGB"))
    read = time.process_time()
    photo = Photo(
        frozen_pixels(pixels), "drawn.jpg", "0" * 64, focal_px=spec.camera.focal_px if spec.camera.exif else None
    )
    scale = KINDS[kind].finder.find(photo, KINDS[kind].options)
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
    off, fit = np.array([abs(r.off) for r in found]), np.array([r.fit_error for r in found])
    share, median, ninety = KINDS[kind].targets
    print(
        f"{kind:19s} found {100 * len(found) / len(rows):5.1f} % (target {share})",
        f"off {np.median(off):.3f} / {np.quantile(off, 0.9):.3f} % (target {median} / {ninety}), worst {off.max():.2f}",
        f"within 1, 2 s.e. {100 * np.mean(off < fit):.0f}, {100 * np.mean(off < 2 * fit):.0f} %",
        f"time {np.median([r.finding_s / r.reading_s for r in rows]):.1f} x reading",
        sep="  ",
        flush=True,
    )


def false_accepts(count: int, first: int, cache: Path | None) -> None:
    """Print what is taken for a reference in photos without one."""
    from PIL import Image

    finders: list[tuple[Any, Any]] = [
        (MarkerSheet(), MarkerSheet.Options()),
        (Card(), Card.Options()),
        (Paper(), Paper.Options()),
    ]
    wrong = 0
    for seed in range(first, first + count):
        spec, jpeg = photo_of("none", seed, cache)
        pixels = np.asarray(Image.open(io.BytesIO(jpeg)).convert("RGB"))
        focal = spec.camera.focal_px if spec.camera.exif else None
        photo = Photo(frozen_pixels(pixels), "drawn.jpg", "0" * 64, focal_px=focal)
        for finder, options in finders:
            if finder.find(photo, options):
                wrong += 1
                print(f"  seed {seed}: {finder.name} accepted")
    print(f"none                {wrong} accepted in {count} photos", flush=True)


def main() -> None:
    """Run the benchmark."""
    import cv2

    cv2.setNumThreads(1)
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kinds", nargs="*", default=[*KINDS, "none"])
    parser.add_argument("--count", type=int, default=30)
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--cache", type=Path)
    parser.add_argument("--verbose", action="store_true")
    asked = parser.parse_args()
    if asked.cache:
        asked.cache.mkdir(exist_ok=True)
    for kind in asked.kinds:
        if kind == "none":
            false_accepts(asked.count, asked.first, asked.cache)
        else:
            seeds = range(asked.first, asked.first + asked.count)
            report(kind, [measured(kind, seed, asked.cache) for seed in seeds], asked.verbose)


if __name__ == "__main__":
    main()
