"""Measure how well the pith is found: ``python -m tests.bench.pith [photos|drawn|hearts|all] [count] [first seed]``.

``drawn`` draws `count` faces (80) of every kind in turn: discs, half and quarter pieces with the pith at their edge,
pieces whose pith lies outside, discs with a stained heart that the rings aren't centred on, discs of faint rings, discs
with strong rays, and round blanks of side grain, which have no pith to find. They are seen squarely, without a
reference; the pith is sought within the outline found. ``hearts`` are discs with a star of checks, a hole, rot or a
stain at the pith. ``photos`` are real faces read by eye, beside the checkout.

Prints a row a face and a table: the pith's distance from the truth and the standard error along each axis, in percent
of the wood's mean diameter D; how often the truth lies within one and two standard errors along each axis (0.68 and
0.95 are due); how many answers are wrong and sure of it (four standard errors off and more); how many weren't given. Of
side grain any answer is wrong. A reader's tolerance is a radius, taken as two and a half of his own standard errors.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photonest.model import FlatPhoto, Outline, Pith
from photonest.outline.trained import TrainedOutline
from photonest.pith.rings import RingPith
from photonest.planar import mean_diameter
from tests.bench import hearts
from tests.bench.faces import flat_from, real_photos
from tests.drawn import SceneSpec, draw, random_spec
from tests.drawn.vary import Difficulty
from tests.drawn.wood import Piece, WoodSpec

KINDS = ("disc", "half", "stained", "quarter", "faint", "outside", "disc", "rays", "side grain", "half")
LEVELS: tuple[Difficulty, ...] = ("medium", "hard", "easy")
PIECES: dict[str, Piece] = {"half": "half", "quarter": "quarter"}
LOOKS = {"faint": ("lime", "birch", "maple", "spruce"), "rays": ("oak", "beech")}
SURE = 4.0


@dataclass(frozen=True)
class Case:
    """A face and where its pith is, in mm; None where it has none."""

    name: str
    kind: str
    flat: FlatPhoto
    outline: NDArray[np.float64]
    pith: NDArray[np.float64] | None
    tolerance: float = 0.0


@dataclass(frozen=True)
class Row:
    """What one face gave: the miss along x and y and the standard error, in percent of D."""

    name: str
    kind: str
    miss: tuple[float, float] | None
    error: float
    tolerance: float
    seconds: float
    there: bool
    note: str = ""

    @property
    def away(self) -> float:
        """How far the answer is from the truth; nan where either is missing."""
        return math.nan if self.miss is None else math.hypot(*self.miss)


def spec_of(seed: int) -> tuple[str, SceneSpec]:
    """Return the kind and the scene of a seed."""
    kind, level = KINDS[seed % len(KINDS)], LEVELS[seed // len(KINDS) % len(LEVELS)]
    rng = np.random.default_rng(seed)
    piece = PIECES.get(kind, "whole")
    if kind == "outside":
        piece = "half" if rng.random() < 0.6 else "quarter"
    look = str(rng.choice(LOOKS[kind])) if kind in LOOKS else None
    cut = "side" if kind == "side grain" else "end"
    spec = random_spec(
        seed, reference="none", difficulty=level, piece=piece, megapixels=2.0, look=look,
        cut=cut,  # type: ignore[arg-type]
    )  # fmt: skip
    return kind, replace(spec, wood=_changed(rng, kind, spec.wood))


def _changed(rng: np.random.Generator, kind: str, wood: WoodSpec) -> WoodSpec:
    if kind == "outside":
        return replace(wood, cut_offset=-float(rng.uniform(0.03, 0.2)) * wood.diameter)
    if kind == "stained":
        x, y = rng.normal(0, 0.05 * wood.diameter, 2)
        return replace(
            wood, heart=float(rng.uniform(0.2, 0.6)), heart_rough=float(rng.uniform(0.05, 0.15)), heart_shift=(x, y)
        )
    return wood


def drawn(count: int, first: int, spoilt: bool = False) -> Iterator[Case]:
    """Yield faces drawn from known mm, of every kind or with a spoilt heart."""
    for seed in range(first, first + count):
        kind, spec = hearts.spec_of(seed, LEVELS) if spoilt else spec_of(seed)
        scene = draw(spec)
        truth, unit = scene.truth, scene.truth.mm_per_px
        pith = None
        if truth.pith_mm is not None and kind != "side grain":
            pith = truth.mm_to_px(np.atleast_2d(truth.pith_mm))[0] * unit
        flat = flat_from(scene.pixels, unit)
        yield Case(f"{seed} {spec.wood.look}", kind, flat, truth.mm_to_px(truth.outline_mm) * unit, pith)


def real() -> Iterator[Case]:
    """Yield the faces read by eye."""
    for face in real_photos():
        kind = "photo, half" if "half" in face.name else "photo"
        yield Case(face.name, kind, face.flat, face.outline, face.pith, face.tolerance)


def measured(case: Case, outline: Outline) -> Row:
    """Return what the finder gives on one face."""
    finder = RingPith()
    start = time.process_time()
    found = finder.find(case.flat, outline, finder.Options())
    seconds = time.process_time() - start
    unit = mean_diameter(case.outline) / 100
    tolerance = case.tolerance / unit / 2.5
    if not isinstance(found, Pith):
        return Row(case.name, case.kind, None, math.nan, tolerance, seconds, case.pith is not None, found.reason)
    there = case.pith is not None
    off = (np.array(found.point) - case.pith) / unit if case.pith is not None else (math.inf, math.inf)
    return Row(
        case.name, case.kind, (float(off[0]), float(off[1])), found.standard_error / unit, tolerance, seconds, there
    )


def line(row: Row) -> str:
    """Return a row of the table of faces."""
    sure = "  SURE AND WRONG" if row.away > SURE * math.hypot(row.error, row.tolerance) else ""
    return (
        f"{row.name[:30]:30} {row.kind:12} {row.away:6.2f} ± {row.error:5.2f}  {row.seconds:5.2f} s{sure}  {row.note}"
    )


def summary(rows: list[Row]) -> str:
    """Return the table of kinds."""
    text = [
        f"{'kind':12} {'n':>4} {'given':>5} {'median':>6} {'90 %':>6} {'worst':>6} {'s.e.':>6} "
        f"{'<1 se':>6} {'<2 se':>6} {'sure, wrong':>11} {'s':>5}"
    ]
    drawn_discs = [row for row in rows if row.kind in ("disc", "stained", "faint", "rays", *hearts.KINDS)]
    groups = {kind: [row for row in rows if row.kind == kind] for kind in dict.fromkeys(row.kind for row in rows)}
    groups |= {"whole, drawn": drawn_discs, "all with one": [row for row in rows if row.there]}
    for kind, some in groups.items():
        given = [row for row in some if row.miss is not None]
        if not given:
            text.append(f"{kind:12} {len(some):4} {0:5}")
            continue
        away = np.array([row.away for row in given])
        stated = np.array([math.hypot(row.error, row.tolerance) for row in given])
        ratio = np.abs(np.array([row.miss for row in given])) / stated[:, None]
        text.append(
            f"{kind:12} {len(some):4} {len(given):5} {np.median(away):6.2f} {np.quantile(away, 0.9):6.2f} "
            f"{away.max():6.2f} {np.median([row.error for row in given]):6.2f} {(ratio < 1).mean():6.2f} "
            f"{(ratio < 2).mean():6.2f} {int((away > SURE * stated).sum()):11} "
            f"{np.median([row.seconds for row in some]):5.2f}"
        )
    return "\n".join(text)


def cases(which: str, count: int, first: int) -> Iterator[Case]:
    """Yield the faces read by eye, the drawn ones, those with spoilt hearts, or the first two."""
    if which in ("photos", "all"):
        yield from real()
    if which != "photos":
        yield from drawn(count, first, spoilt=which == "hearts")


def asked(about: str | None, count: int, first: int) -> argparse.Namespace:
    """Return what the command line asks for: which faces, how many drawn ones, and the first one's seed."""
    parser = argparse.ArgumentParser(description=about, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("which", nargs="?", choices=("photos", "drawn", "hearts", "all"), default="all")
    parser.add_argument("count", nargs="?", type=int, default=count, help=f"faces to draw ({count})")
    parser.add_argument("first", nargs="?", type=int, default=first, help=f"seed of the first ({first})")
    return parser.parse_args()


def main() -> None:
    """Print the tables."""
    import cv2

    told = asked(__doc__, 80, 31_000)
    cv2.setNumThreads(1)
    rows = []
    for case in cases(told.which, told.count, told.first):
        outlines = TrainedOutline()
        outline = outlines.find(case.flat, outlines.Options())
        if isinstance(outline, Outline):
            rows.append(measured(case, outline))
            print(line(rows[-1]), flush=True)
    print(summary(rows))


if __name__ == "__main__":
    main()
