"""Plan from drawn photos, and core the true wood: ``python -m tests.bench.cored [--count N] [--first SEED] ...``.

Each drawn blank or slice is measured from its photo by everything the program has and planned with the usual workshop;
the plan is then laid, where its axis was marked on the wood, in the wood as it was drawn. Printed is a row a piece:
bowls and their rims (``--best``: of those that a plan by the true face gives), and every true edge, pith, crack or
defect that a wall or groove meets, or comes nearer to than the clearance. The summary says how many plans met
anything, and how many more than hairlines that no photo shows.
"""

from __future__ import annotations

import argparse
import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from photonest.model import (
    Crack,
    Defect,
    Face,
    NoPlanError,
    Outline,
    Photo,
    PhotonestError,
    Pith,
    Plan,
    Points,
    Shop,
    Stock,
    StockKind,
)
from photonest.nest import check_plan, plan_nest
from photonest.photo import frozen_pixels
from photonest.pipeline import measure
from photonest.rectify import mm_to_photo
from photonest.registry import Registry
from photonest.sizes import measure_size
from tests.drawn import Truth, draw, random_spec
from tests.drawn.place import REFERENCES

TOUCHING = 0.1  # mm
HAIRLINE = 0.35  # mm: thinner cracks are hardly seen in a photo of a whole face


@dataclass(frozen=True)
class Cored:
    """What coring a piece by its plan met; `best` is the sum of rims by the true face, None where not asked for."""

    seed: int
    bowls: int = 0
    rims: float = 0.0
    best: float | None = None
    meets: tuple[str, ...] = ()
    near: tuple[str, ...] = ()
    failure: str = ""

    def __str__(self) -> str:
        best = "" if self.best is None else f" of {self.best:.0f}"
        told = [f"MEETS {', '.join(self.meets)}"] * bool(self.meets) + [f"near {', '.join(self.near)}"] * bool(
            self.near
        )
        return f"{self.seed}  {self.bowls} bowls, {self.rims:.0f}{best} mm of rims  {'; '.join([*told, self.failure])}"


def true_face(face: Face, truth: Truth, at: tuple[float, float]) -> Face:
    """Return the face as it is, in true mm, moved so that a place measured at `at` has the same numbers there."""
    marked = truth.px_to_mm(mm_to_photo(face.scale, [at]))[0]

    def moved(points: ArrayLike) -> Points:
        return tuple((float(x), float(y)) for x, y in np.reshape(points, (-1, 2)) - marked + at)

    outline = Outline(moved(truth.outline_mm), moved(truth.under_bark_mm))
    pith = None if truth.pith_mm is None else Pith(moved(truth.pith_mm)[0], 0.0, inside=True)
    cracks = tuple(
        Crack(
            f"{k} ({crack.kind}, {crack.width_mm:.1f} mm wide)", moved(crack.path_mm), crack.width_mm,
            crack.length_mm, "other", 1.0, "seen", widths=tuple(float(width) for width in crack.widths_mm),
        )
        for k, crack in enumerate(truth.cracks, 1)
    )  # fmt: skip
    defects = tuple(
        Defect(str(k), one.kind if one.kind in ("knot", "hole", "bark", "decay") else "hole",  # type: ignore[arg-type]
               moved(one.outline_mm), 1.0, "seen")
        for k, one in enumerate(truth.defects, 1)
        if one.clear
    )  # fmt: skip
    scale = replace(face.scale, standard_error_pct=0.0, reference_error_pct=0.0, map_error=None, rim_error_mm=0.0)
    size = measure_size(outline, pith, cracks, defects)
    return replace(face, scale=scale, outline=outline, pith=pith, cracks=cracks, defects=defects, size=size)


def met(plan: Plan, face: Face, clearance: float) -> Iterator[str]:
    """Yield what of a true face comes nearer to a plan's walls and grooves than a clearance."""
    shop = replace(plan.shop, clearance=clearance, trueing=min(plan.shop.trueing, clearance))
    for found in check_plan(face, replace(plan, shop=shop)):
        if found.rule == "wood":
            yield "the edge"
        if found.rule == "clearance":
            yield found.message.split(" is ")[0]


def cored(seed: int, kind: StockKind, reference: str, megapixels: float, *, best: bool) -> Cored:
    """Draw a piece, measure and plan it, and core it."""
    drawn = draw(
        random_spec(
            seed, reference=reference, cut="end" if kind == "slice" else "side", megapixels=megapixels, defects=True,
            max_tilt=15.0,
        )
    )  # fmt: skip
    photo = Photo(frozen_pixels(drawn.pixels), "drawn.jpg", hashlib.sha256(drawn.pixels.tobytes()).hexdigest())
    stock = Stock(kind, thickness=float(np.random.default_rng(seed).uniform(80, 160)))
    shop = Shop()
    try:
        face = measure(photo, Registry.installed())
    except PhotonestError as error:
        return Cored(seed, failure=error.message)
    total = None
    if best:
        try:
            total = plan_nest(true_face(face, drawn.truth, (0.0, 0.0)), stock, shop, others=False, gap_pct=5.0)
        except NoPlanError:
            total = None
    rims = total.score.total_rim_diameter if total is not None else 0.0 if best else None
    try:
        plan = plan_nest(face, stock, shop, others=False, gap_pct=5.0)
    except NoPlanError as error:
        return Cored(seed, best=rims, failure=error.message)
    x, y, _ = plan.nests[0].axis.point
    true = true_face(face, drawn.truth, (x, y))
    meets = tuple(met(plan, true, TOUCHING))
    near = tuple(one for one in met(plan, true, shop.clearance) if one not in " ".join(meets))
    return Cored(seed, plan.score.bowls, plan.score.total_rim_diameter, rims, meets, near)


def hairline(told: str) -> bool:
    """Tell whether what is met is a crack too thin to be seen."""
    return "mm wide" in told and float(told.split(" mm wide")[0].split(", ")[-1]) < HAIRLINE


def main() -> None:
    """Print the table."""
    import cv2

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--first", type=int, default=150_000)
    parser.add_argument("--kind", choices=("blank", "slice"), default="blank")
    parser.add_argument("--reference", choices=REFERENCES[1:], default="marker-sheet")
    parser.add_argument("--megapixels", type=float, default=3.0)
    parser.add_argument("--best", action="store_true", help="plan by the true face, too")
    asked = parser.parse_args()
    cv2.setNumThreads(1)
    rows = []
    for seed in range(asked.first, asked.first + asked.count):
        rows.append(cored(seed, asked.kind, asked.reference, asked.megapixels, best=asked.best))
        print(rows[-1], flush=True)
    plans = [row for row in rows if row.bowls]
    clear = [[one for one in row.meets if not hairline(one)] for row in plans]
    print(f"{len(plans)} plans of {len(rows)} pieces; {sum(bool(row.meets) for row in plans)} meet something, "
          f"{sum(map(bool, clear))} of them more than hairlines under {HAIRLINE} mm; "
          f"{sum(bool(row.near) and not row.meets for row in plans)} more come within the clearance")  # fmt: skip
    if asked.best:
        total, best = (sum(values) for values in ((row.rims for row in rows), (row.best or 0 for row in rows)))
        print(f"{total:.0f} mm of rims of {best:.0f} by the true face")


if __name__ == "__main__":
    main()
