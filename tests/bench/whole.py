"""Measure drawn photos the whole way: ``python -m tests.bench.whole [count] [first seed] [difficulty]``.

Each photo shows a marker sheet beside the wood, and is measured by everything the program has, scale included. Prints a
row a photo and a summary: error of the mean diameter, distance of the edge (mean and 95 %), error of the pith offset,
of the ends of the cracks in mm (with the margin at the tips), how many tips lie within what is claimed, how much of the
true cracks' length was found (within 3 mm), and how much of what was called seen is none.
"""

from __future__ import annotations

import argparse
import hashlib
import math
from dataclasses import dataclass
from typing import get_args

import numpy as np
from numpy.typing import ArrayLike

from photonest.asking import Choices
from photonest.model import Face, Photo, PhotonestError
from photonest.photo import frozen_pixels
from photonest.pipeline import measure
from photonest.rectify import photo_to_mm
from photonest.registry import Registry
from tests.bench.faces import edge_distances
from tests.bench.tips import tips
from tests.drawn import Drawn, Truth, draw, random_spec
from tests.drawn.vary import Difficulty

NEAR = 3.0


@dataclass(frozen=True)
class Row:
    """What one photo gave; nan where there is nothing to compare."""

    seed: int
    diameter: float = math.nan
    diameter_pct: float = math.nan
    stated_pct: float = math.nan
    edge_pct: float = math.nan
    edge95_pct: float = math.nan
    offset: float = math.nan
    pith: float = math.nan
    pith_error: float = math.nan
    crack_ends: tuple[float, ...] = ()
    beyond: tuple[float, ...] = ()
    crack_length: float = 0.0
    crack_found: float = 0.0
    false_seen: float = 0.0
    failure: str = ""


def row(seed: int, face: Face, truth: Truth) -> Row:
    """Compare a face with the truth; positions by way of the photo's pixels."""
    import shapely

    def mm(points: ArrayLike) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        return photo_to_mm(face.scale, truth.mm_to_px(points))

    away = edge_distances(np.asarray(face.outline.points), mm(truth.outline_mm)) / truth.diameter_mm * 100
    offset = pith = error = math.nan
    if face.pith is not None and truth.pith_mm is not None:
        pith = float(np.linalg.norm(mm([truth.pith_mm])[0] - face.pith.point))
        centre = shapely.Polygon(truth.outline_mm).centroid
        offset = float(face.size.pith_offset or 0) - math.dist(truth.pith_mm, (centre.x, centre.y))
        error = face.pith.standard_error
    true = [mm(crack.path_mm) for crack in truth.cracks]
    found = [crack for crack in face.cracks if crack.status != "dismissed"]
    lines = [shapely.LineString(crack.path) for crack in found]
    near = shapely.unary_union(lines).buffer(NEAR)
    ends = []
    for path in true:
        line = shapely.LineString(path)
        if line.intersection(near).length < 0.5 * line.length:
            continue
        claimed = np.array([tip for crack in found for tip in (crack.path[0], crack.path[-1])])
        ends += [float(np.linalg.norm(claimed - end, axis=1).min()) for end in (path[0], path[-1])]
    reached = sum(shapely.LineString(path).intersection(near).length for path in true)
    real = shapely.unary_union([shapely.LineString(path) for path in true]).buffer(2 * NEAR)
    false = sum(
        line.difference(real).length for crack, line in zip(found, lines, strict=True) if crack.status == "seen"
    )
    return Row(
        seed,
        face.size.mean_diameter - truth.diameter_mm,
        100 * (face.size.mean_diameter / truth.diameter_mm - 1),
        face.scale.standard_error_pct,
        float(away.mean()),
        float(np.quantile(away, 0.95)),
        offset,
        pith,
        error,
        tuple(ends),
        tuple(tips(true, [np.asarray(crack.path) for crack in found], mm(truth.under_bark_mm), truth.diameter_mm)),
        sum(shapely.LineString(path).length for path in true),
        reached,
        false,
    )


def measured(seed: int, drawn: Drawn, told: Choices | None = None) -> Row:
    """Measure a drawn photo with what a user would tell of it."""
    photo = Photo(frozen_pixels(drawn.pixels), f"{seed}.jpg", hashlib.sha256(drawn.pixels.tobytes()).hexdigest())
    try:
        return row(seed, measure(photo, Registry.installed(), told or Choices()), drawn.truth)
    except PhotonestError as error:
        return Row(seed, failure=str(error))


def summary(name: str, values: list[float], unit: str) -> str:
    """Return a line with median, 90 % and worst of the absolute values."""
    good = np.abs([value for value in values if not math.isnan(value)])
    if not len(good):
        return f"{name}: none"
    return (
        f"{name}: median {np.median(good):.2f}, 90 % {np.quantile(good, 0.9):.2f}, worst {good.max():.2f} {unit} "
        f"(n = {len(good)})"
    )


def line(r: Row) -> str:
    """Return a photo's row of the table."""
    ends = " ".join(f"{end:.1f}" for end in r.crack_ends) or "-"
    return (
        f"{r.seed}  diameter {r.diameter:+6.2f} mm ({r.diameter_pct:+.2f} %, stated {r.stated_pct:.2f})  "
        f"edge {r.edge_pct:.2f} / {r.edge95_pct:.2f} %  offset {r.offset:+6.2f}  "
        f"pith {r.pith:5.2f} ± {r.pith_error:.2f}  "
        f"cracks {r.crack_found:.0f} of {r.crack_length:.0f} mm  ends {ends}  false {r.false_seen:.0f}  {r.failure}"
    )


def table(rows: list[Row]) -> str:
    """Return the summary of all rows."""
    lines = [
        f"{sum(bool(r.failure) for r in rows)} of {len(rows)} failed",
        summary("diameter", [r.diameter for r in rows], "mm"),
        summary("diameter", [r.diameter_pct for r in rows], "%"),
        summary("edge, mean", [r.edge_pct for r in rows], "%"),
        summary("edge, 95 %", [r.edge95_pct for r in rows], "%"),
        summary("pith offset", [r.offset for r in rows], "mm"),
        summary("pith", [r.pith for r in rows], "mm"),
        summary("crack ends", [end for r in rows for end in r.crack_ends], "mm"),
    ]
    beyond = np.array([tip for r in rows for tip in r.beyond])
    if len(beyond):
        lines.append(
            f"free tips within what is claimed, margins and all: {100 * np.mean(beyond <= 0):.0f} % of {len(beyond)}; "
            f"beyond it by at most {np.quantile(beyond, 0.95):.1f} mm in 95 %"
        )
    total, found = sum(r.crack_length for r in rows), sum(r.crack_found for r in rows)
    lines.append(f"cracks: {100 * found / max(total, 1e-9):.0f} % of {total:.0f} mm found")
    lines.append(f"false seen: {sum(r.false_seen for r in rows):.0f} mm in {len(rows)} photos")
    return "\n".join(lines)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", type=int, nargs="?", default=30)
    parser.add_argument("first", type=int, nargs="?", default=50_000, help="seed of the first photo")
    parser.add_argument("difficulty", nargs="?", default="medium", choices=get_args(Difficulty))
    asked = parser.parse_args()
    rows = []
    for seed in range(asked.first, asked.first + asked.count):
        drawn = draw(random_spec(seed, reference="marker-sheet", difficulty=asked.difficulty))
        rows.append(measured(seed, drawn))
        print(line(rows[-1]), flush=True)
    print(table(rows))


if __name__ == "__main__":
    main()
