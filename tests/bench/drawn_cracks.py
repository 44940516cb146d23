"""Measure the crack finders on drawn photos, whose cracks are known to the tip: ``python -m tests.bench.drawn_cracks``.

Outline, pith and scale are the true ones. Prints the share of the cracks' length found within 1 % of the diameter by
kind and by true width in pixels, what is falsely seen, how honest the confidences are, and how far tips, middles and
openings are off.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from photonest.cracks.finder import LineOptions, cracks_of, judged
from photonest.cracks.judge import shipped
from photonest.cracks.search import candidates, view
from photonest.model import Crack
from tests.bench.cracks import DrawnScene, calibration, drawn_scene
from tests.bench.tips import tips

Vector = NDArray[np.float64]
WIDTHS = ((0.0, 0.7, "under 0.7 px"), (0.7, 1.5, "0.7 to 1.5 px"), (1.5, 3.0, "1.5 to 3 px"), (3.0, 99.0, "over 3 px"))


@dataclass(frozen=True)
class Pair:
    """A found crack laid on the true one it belongs to.

    `off_pct` is the root mean square distance to the true middle in percent of the diameter; `claimed` that distance
    over the standard error.
    """

    off_pct: float
    claimed: float
    width_ratio: float


def found_cracks(drawn: DrawnScene, with_pith: bool = True) -> tuple[list[Crack], list[Crack]]:
    """Return what the finder answers, and the same without a margin at the tips."""
    pith = drawn.scene.pith if with_pith else None
    seen = view(drawn.scene.flat, drawn.scene.outline)
    lines = candidates(seen, pith)
    sure = judged(shipped(), lines, seen, pith)
    bare = replace(LineOptions(), tip_margin_pct=0.0, closing_px=0.0)
    return cracks_of(seen, lines, sure, pith, LineOptions()), cracks_of(seen, lines, sure, pith, bare)


def shares(drawn: DrawnScene, found: list[Crack]) -> Iterator[tuple[str, float, float, float]]:
    """Yield kind, greatest width in pixels, length in diameters and share found of each true crack."""
    from shapely.geometry import LineString, Polygon
    from shapely.ops import unary_union

    near = [LineString(crack.path).buffer(0.01 * drawn.diameter) for crack in found]
    area = unary_union(near) if near else Polygon()
    for path, kind, width in zip(drawn.cracks, drawn.kinds, drawn.widths, strict=True):
        line = LineString(path)
        share = line.intersection(area).length / line.length
        yield kind, width / drawn.scene.flat.mm_per_px, line.length / drawn.diameter, share


def truth_of(crack: Crack, drawn: DrawnScene) -> float:
    """Return the share of a found crack that runs along a true one, margins left out."""
    from shapely.geometry import LineString, Polygon
    from shapely.ops import unary_union

    true = [LineString(path).buffer(0.015 * drawn.diameter) for path in drawn.cracks]
    line = LineString(crack.path)
    return float(line.intersection(unary_union(true) if true else Polygon()).length / line.length)


def pairs(drawn: DrawnScene, found: list[Crack]) -> Iterator[Pair]:
    """Yield the found cracks, no margin at their tips, that run along a true one for most of their length."""
    from shapely.geometry import LineString, Point

    for crack in found:
        line = LineString(crack.path)
        for path, width in zip(drawn.cracks, drawn.widths, strict=True):
            true = LineString(path)
            if line.intersection(true.buffer(0.01 * drawn.diameter)).length < 0.8 * line.length:
                continue
            off = [true.distance(Point(p)) for p in crack.path[1:-1]]
            if len(off) > 3:
                rms = float(np.sqrt(np.mean(np.square(off))))
                yield Pair(100 * rms / drawn.diameter, rms / max(crack.standard_error, 1e-9), crack.width / width)


def main() -> None:
    import cv2

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--count", type=int, default=30)
    parser.add_argument("--side", action="store_true", help="side grain in place of end grain")
    parser.add_argument("--no-pith", action="store_true", help="as if the pith were not known")
    asked = parser.parse_args()
    cv2.setNumThreads(1)
    by_kind: dict[str, list[Any]] = defaultdict(list)
    false_seen, false_all, said, laid, beyond, missed = [], [], [], [], [], 0
    for seed in range(asked.first, asked.first + asked.count):
        drawn = drawn_scene(seed, "side" if asked.side else "end")
        found, bare = found_cracks(drawn, not asked.no_pith)
        for kind, width, length, share in shares(drawn, found):
            band = next(name for low, high, name in WIDTHS if low <= width < high)
            by_kind[f"{kind:6} {band}"].append((length, share))
            missed += length > 0.1 and width >= 1.5 and share < 0.6
        reality = [truth_of(crack, drawn) for crack in found]
        wrong = [(1 - r) * crack.length / drawn.diameter for r, crack in zip(reality, found, strict=True)]
        false_seen.append(sum(w for w, crack in zip(wrong, found, strict=True) if crack.status == "seen"))
        false_all.append(sum(wrong))
        said += [(crack.confidence, r > 0.5) for r, crack in zip(reality, found, strict=True)]
        laid += list(pairs(drawn, bare))
        paths = [np.asarray(crack.path) for crack in bare]
        edge = np.asarray(drawn.scene.outline.wood)
        beyond += [100 * mm / drawn.diameter for mm in tips(drawn.cracks, paths, edge, drawn.diameter)]
    print(f"{asked.count} drawn photos; share of the length found, by kind and greatest width")
    for name, rows in sorted(by_kind.items()):
        lengths, parts = np.array(rows).T
        print(f"  {name:22} {np.average(parts, weights=lengths):5.2f}   ({len(rows)} cracks)")
    print(f"longer than a tenth of the diameter and wider than 1.5 px, missed: {missed}")
    print(f"falsely seen, diameters per photo: {np.mean(false_seen):.3f}; possible too: {np.mean(false_all):.3f}")
    calibration(said)
    at = np.percentile(beyond, (10, 25, 50, 75, 90, 95))
    print("free tips beyond what was found, % of D: 10 % {:.2f}, 25 % {:.2f}, median {:.2f}, 75 % {:.2f}, 90 % {:.2f},"
          " 95 % {:.2f}".format(*at), f"({len(beyond)} tips)")  # fmt: skip
    claimed = float(np.sqrt(np.mean(np.square([pair.claimed for pair in laid]))))
    off = np.median([pair.off_pct for pair in laid])
    print(f"middle off, % of D, median: {off:.3f}; root mean square over the standard error: {claimed:.2f}")
    ratios = [pair.width_ratio for pair in laid]
    print(f"greatest width, found over true: median {np.median(ratios):.2f}, 10 to 90 %"
          f" {np.percentile(ratios, 10):.2f} to {np.percentile(ratios, 90):.2f}")  # fmt: skip


if __name__ == "__main__":
    main()
