"""Measure the scale finders on drawn photos: ``python -m tests.bench.scale [CASE ...] [--seeds A-B]``.

For each kind of reference beside or on a drawn piece: how often it is found, by how much the mean diameter comes out
wrong (median and 90 %), how often the truth lies within one and two of the standard errors stated (68 and 95 % if they
hold), and the time against reading the photo. ``none`` counts what is taken for a reference in photos without one, by
every finder that needs no figure from the user, and by the ruler's and the bar's where it is wrongly said that one lies
there; ``none+lookalikes`` the same with things about that are nearly of a card's or a sheet's size, ``none+repeated``
with such that repeat as ticks or squares do;
``stage`` times all finders together at 12 megapixels.
"""

from __future__ import annotations

import argparse
import io
import json
import time
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from photonest.model import NotFound, Photo, Scale
from photonest.planar import mean_diameter
from photonest.rectify import photo_to_mm
from photonest.registry import Registry, built_in_listings
from photonest.scale.bar import Bar
from photonest.scale.card import Card
from photonest.scale.marker_sheet import MarkerSheet
from photonest.scale.markers import Markers
from photonest.scale.paper import Paper
from photonest.scale.ruler import Ruler
from photonest.scale.uncertainty import diameter_error_pct
from tests.bench.scale_cases import CASES, Case, Shot, opened, shot
from tests.drawn.noise import generator

UNASKED: tuple[Any, ...] = (MarkerSheet(), Markers(), Card(), Paper())
SAID_WRONGLY: dict[str, tuple[Any, Any]] = {
    "ruler of mm": (Ruler(), Ruler.Options("mm")),
    "ruler of inches": (Ruler(), Ruler.Options("inch")),
    "bar": (Bar(), Bar.Options(square_mm=10.0)),
}
WITHOUT = ("none", "none+lookalikes", "none+repeated")
STAGE_MEGAPIXELS = 12.0
STAGE_KINDS = ("marker-sheet", "markers-around", "card", "paper", "none")


@dataclass(frozen=True)
class Row:
    """What one photo gave: error and standard errors in percent, without and with that of the reference; seconds."""

    seed: int
    off: float
    fit_error: float
    error: float
    finding_s: float
    reason: str = ""
    warned: bool = False


def measured(case: Case, seed: int, megapixels: float, cache: Path | None) -> Row:
    """Find the scale of one drawn photo and compare it with the truth."""
    taken = shot(case.photos, seed, megapixels, cache, case.above)
    began = time.process_time()
    scale = case.find(taken, generator(seed, "user"))
    seconds = time.process_time() - began
    if isinstance(scale, NotFound):
        return Row(seed, np.nan, np.nan, np.nan, seconds, reason=scale.reason)
    return Row(seed, *errors_pct(scale, taken), seconds, warned=bool(scale.warnings))


def errors_pct(scale: Scale, taken: Shot) -> tuple[float, float, float]:
    """Return the error of the mean diameter, its standard error but for the print's own size, and in all."""
    outline = taken.outline
    mm = photo_to_mm(scale, taken.seen(outline))
    off = 100 * (mean_diameter(mm) / mean_diameter(outline) - 1)
    error = diameter_error_pct(scale, mm)
    # prints are drawn exact, but what a user measures is not
    exact = 0.0 if scale.kind in ("two-points", "known-diameter") else scale.reference_error_pct
    return off, float(np.sqrt(max(error**2 - exact**2, 0))), error


def report(name: str, rows: list[Row], verbose: bool) -> None:
    """Print one case's line, and what each photo gave if asked."""
    for r in rows if verbose else []:
        size = f"{r.off:+7.3f} % +- {r.fit_error:.3f} ({r.off / max(r.fit_error, 1e-9):+.1f})"
        print(f"  {r.seed:4d} {size}{' warned' if r.warned else ''}  {r.reason}")
    found = [r for r in rows if not r.reason]
    if not found:
        print(f"{name:19s} found   0.0 %", flush=True)
        return
    off, fit = np.array([abs(r.off) for r in found]), np.array([r.fit_error for r in found])
    target = CASES[name].target
    z = np.array([r.off / max(r.fit_error, 1e-9) for r in found])
    share, sizes = ("", "") if target is None else (f" ({target[0]:g})", f" ({target[1]:g} / {target[2]:g})")
    print(
        f"{name:19s} found {100 * len(found) / len(rows):5.1f}{share} %",
        f"off {np.median(off):.3f} / {np.quantile(off, 0.9):.3f}{sizes} %, worst {off.max():.2f}",
        f"s.e. {np.median(fit):.3f} %, truth within one {100 * np.mean(off < fit):3.0f} (68), "
        f"two {100 * np.mean(off < 2 * fit):3.0f} (95) %, off / s.e. rms {np.sqrt(np.mean(z**2)):.2f} (1), "
        f"mean {z.mean():+.2f}, worst {z[np.abs(z).argmax()]:+.1f} of {len(z)}",
        f"{1000 * np.median([r.finding_s for r in rows]):.0f} ms",
        sep="  ",
        flush=True,
    )


def false_accepts(kind: str, seeds: range, megapixels: float, cache: Path | None, tally: Path | None) -> None:
    """Print what is taken for a reference in photos without one; a tally adds up what several runs see."""
    seen: dict[str, list[str]] = json.loads(tally.read_text()) if tally and tally.exists() else {}
    for seed in seeds:
        name = f"{kind} {seed}"
        if name in seen:
            continue
        photo = shot(kind, seed, megapixels, cache).photo
        seen[name] = [finder.name for finder in UNASKED if finder.find(photo, finder.Options())]
        seen[name] += [thing for thing, (finder, said) in SAID_WRONGLY.items() if finder.find(photo, said)]
        if seen[name]:
            print(f"  {name}: {', '.join(seen[name])} accepted", flush=True)
        if tally:
            tally.write_text(json.dumps(seen))
    mine = [accepted for name, accepted in seen.items() if name.split()[0] == kind]
    print(f"{kind:19s} {sum(map(bool, mine))} photos with something accepted in {len(mine)}", flush=True)


def enlarged(photo: Photo, megapixels: float) -> bytes:
    """Return a photo's file at another size: drawing one so large takes far longer than measuring it."""
    from PIL import Image

    factor = (megapixels * 1e6 / (photo.width * photo.height)) ** 0.5
    size = (round(factor * photo.width), round(factor * photo.height))
    file = io.BytesIO()
    Image.fromarray(photo.pixels).resize(size, Image.Resampling.BICUBIC).save(file, "JPEG", quality=92)
    return file.getvalue()


def stage_times(seeds: range, megapixels: float, cache: Path | None) -> None:
    """Print how long the finders take, each and together, against reading the photo."""
    finders = Registry(built_in_listings()).load("scale")[0]
    ratios: dict[str, list[float]] = {}
    for kind in STAGE_KINDS:
        for seed in seeds:
            taken = shot(kind, seed, megapixels, cache)
            jpeg = enlarged(taken.photo, STAGE_MEGAPIXELS)
            began = time.process_time()
            photo = opened(jpeg, None)
            reading = time.process_time() - began
            whole = 0.0
            for finder in finders:
                began = time.process_time()
                finder.plugin.find(photo, finder.options({}))
                seconds = time.process_time() - began
                whole += seconds
                ratios.setdefault(finder.name, []).append(seconds / reading)
            ratios.setdefault(f"all, {kind}", []).append(whole / reading)
    for name, values in ratios.items():
        print(f"stage  {name:22s} {np.median(values):5.2f} x reading, at most {max(values):5.2f}", flush=True)


def _seeds(text: str) -> range:
    first, _, last = text.partition("-")
    return range(int(first), int(last or first) + 1)


def main() -> None:
    """Run the benchmark."""
    import cv2

    cv2.setNumThreads(1)
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("cases", nargs="*", default=[*CASES, "none"], help=f"of {', '.join([*CASES, *WITHOUT])}, stage")
    parser.add_argument("--seeds", type=_seeds, default=range(1000, 1030), help="A-B, both included")
    parser.add_argument("--megapixels", type=float, default=3.0)
    parser.add_argument("--cache", type=Path, help="a folder that keeps the photos drawn")
    parser.add_argument("--tally", type=Path, help="a file in which runs of cases without a reference add up")
    parser.add_argument("--verbose", action="store_true")
    asked = parser.parse_args()
    if asked.cache:
        asked.cache.mkdir(exist_ok=True)
    seeds = asked.seeds
    for name in asked.cases:
        if name in WITHOUT:
            false_accepts(name, seeds, asked.megapixels, asked.cache, asked.tally)
        elif name == "stage":
            stage_times(seeds, asked.megapixels, asked.cache)
        else:
            rows = [measured(CASES[name], seed, asked.megapixels, asked.cache) for seed in seeds]
            report(name, rows, asked.verbose)


if __name__ == "__main__":
    main()
