"""Invents defects of a face, and what is mistaken for them, from a seed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.drawn.defects import DefectKind, DefectSpec
from tests.drawn.noise import Array
from tests.drawn.place import pair, pick

_OFTEN: tuple[tuple[DefectKind, float], ...] = (
    ("knot", 0.5), ("hole", 0.45), ("bark", 0.35), ("decay", 0.25),
    ("wet", 0.3), ("paint", 0.2), ("screw", 0.15), ("stain", 0.35),
)  # fmt: skip
"""How often a face has any of a kind."""


@dataclass(frozen=True, eq=False)
class Lay:
    """Where wood lies: the edge under bark (n, 2), the pith or None, and the fibres' direction on side grain."""

    edge: Array
    pith: Array | None
    diameter: float
    grain_deg: float = 0.0

    def rim(self, middle: Array, angle: float) -> float:
        """Return how far the edge is from a point in a direction."""
        from shapely.geometry import LinearRing, LineString, Point

        far = middle + 3 * self.diameter * np.array([np.cos(angle), np.sin(angle)])
        met = LineString([middle, far]).intersection(LinearRing(self.edge))
        return 0.0 if met.is_empty else float(Point(middle).distance(met))

    def somewhere(self, rng: np.random.Generator, low: float, high: float) -> tuple[Array, float]:
        """Return a place between two shares of the way from the middle to the rim, and the direction outwards."""
        middle = self.edge.mean(axis=0) if self.pith is None else self.pith
        angle = float(rng.uniform(0, 2 * np.pi))
        return middle + rng.uniform(low, high) * self.rim(middle, angle) * np.array(
            [np.cos(angle), np.sin(angle)]
        ), angle


def random_defects(rng: np.random.Generator, lay: Lay) -> tuple[DefectSpec, ...]:
    """Return some areas of every kind."""
    found: list[DefectSpec] = []
    for kind, often in _OFTEN:
        if rng.random() < often:
            found += globals()[f"_{kind}s"](rng, lay)
    return tuple(found)


def _seed(rng: np.random.Generator) -> int:
    return int(rng.integers(0, 2**31))


def _knots(rng: np.random.Generator, lay: Lay) -> list[DefectSpec]:
    brown = pick(rng, ((0.80, 0.66, 0.52), (0.62, 0.48, 0.38), (0.90, 0.72, 0.60), (0.45, 0.36, 0.32)))
    rim = float(rng.choice([rng.uniform(0.0, 0.3), rng.uniform(0.4, 1.0)]))
    if lay.pith is None or rng.random() < 0.15:
        return [_round_knot(rng, lay, brown, rim) for _ in range(int(rng.integers(1, 4)))]
    whorl = int(rng.choice([1, 1, 1, 2, 3, 4, 5]))
    first = rng.uniform(0, 2 * np.pi)
    start, reach = float(rng.uniform(0.02, 0.3)), float(rng.uniform(0.15, 0.7))
    size = float(rng.uniform(0.02, 0.09) * lay.diameter)
    knots = []
    for k in range(whorl):
        a = float(first + 2 * np.pi * k / whorl + rng.normal(0, 0.25))
        far = lay.rim(lay.pith, a)
        inner, outer = start * far, min(0.98, start + reach * float(rng.uniform(0.7, 1.2))) * far
        if outer - inner < 4:  # beyond a sawn edge through the pith
            continue
        middle = lay.pith + (inner + outer) / 2 * np.array([np.cos(a), np.sin(a)])
        across = min(size * float(rng.uniform(0.7, 1.3)), 0.7 * (outer - inner))
        knots.append(
            DefectSpec(
                "knot", pair(middle), outer - inner, across, float(np.degrees(a)), float(rng.uniform(0.3, 0.95)),
                float(rng.normal(0, 0.05)), float(rng.uniform(0.02, 0.12)), float(rng.uniform(0.6, 1.0)), brown, rim,
                _seed(rng),
            )
        )  # fmt: skip
    return knots


def _round_knot(rng: np.random.Generator, lay: Lay, brown: tuple[float, float, float], rim: float) -> DefectSpec:
    middle, _ = lay.somewhere(rng, 0.05, 0.9)
    across = float(np.exp(rng.uniform(np.log(5), np.log(0.15 * lay.diameter))))
    return DefectSpec(
        "knot", pair(middle), across * float(rng.uniform(1.0, 1.9)), across, lay.grain_deg + float(rng.normal(0, 15)),
        0.0, 0.0, float(rng.uniform(0.01, 0.08)), float(rng.uniform(0.7, 1.0)), brown, rim, _seed(rng),
    )  # fmt: skip


def _holes(rng: np.random.Generator, lay: Lay) -> list[DefectSpec]:
    worms = rng.random() < 0.4
    count = int(rng.integers(3, 14)) if worms else int(rng.integers(1, 5))
    size = float(rng.uniform(1.0, 2.5)) if worms else float(rng.uniform(2.5, 10.0))
    about, _ = lay.somewhere(rng, 0.15, 0.9)
    dark = pick(rng, ((0.10, 0.08, 0.06), (0.04, 0.04, 0.04), (0.20, 0.13, 0.08)))
    holes = []
    for _ in range(count):
        at = about + rng.normal(0, 0.06 * lay.diameter, 2) if worms else lay.somewhere(rng, 0.15, 0.93)[0]
        across = size * float(rng.uniform(0.85, 1.1))
        longer = float(rng.choice([rng.uniform(1.0, 1.12), rng.uniform(1.1, 1.6)], p=[0.8, 0.2]))
        holes.append(
            DefectSpec(
                "hole", pair(at), across * longer, across, float(rng.uniform(0, 180)), 0.0, 0.0,
                float(rng.uniform(0.0, 0.04)), float(rng.uniform(0.85, 1.0)), dark, 0.0, _seed(rng),
            )
        )  # fmt: skip
    return holes


def _barks(rng: np.random.Generator, lay: Lay) -> list[DefectSpec]:
    colour = pick(rng, ((0.24, 0.17, 0.13), (0.34, 0.24, 0.17), (0.16, 0.12, 0.10), (0.42, 0.30, 0.20)))
    found = []
    for _ in range(int(rng.integers(1, 3))):
        at_rim = rng.random() < 0.65
        outer, angle = lay.somewhere(rng, 1.0, 1.0) if at_rim else lay.somewhere(rng, 0.2, 0.9)
        long = float(rng.uniform(0.04, 0.22 if at_rim else 0.12) * lay.diameter)
        wide = long * float(rng.uniform(0.12, 0.45))
        inwards = np.degrees(angle) + 180 + float(rng.normal(0, 15 if at_rim else 60))
        unit = np.array([np.cos(np.radians(inwards)), np.sin(np.radians(inwards))])
        middle = outer + 0.4 * long * unit if at_rim else outer
        found.append(
            DefectSpec(
                "bark", pair(middle), long, wide, float(inwards + (180 if at_rim else 0)),
                float(rng.uniform(0.0, 0.6)) if at_rim else 0.0, float(rng.normal(0, 0.12)),
                float(rng.uniform(0.1, 0.3)), float(rng.uniform(0.75, 1.0)), colour, 0.0, _seed(rng),
            )
        )  # fmt: skip
    return found


def _decays(rng: np.random.Generator, lay: Lay) -> list[DefectSpec]:
    tint = pick(rng, ((0.72, 0.60, 0.48), (1.12, 1.12, 1.10), (0.70, 0.72, 0.74), (0.85, 0.70, 0.50)))
    middle, angle = lay.somewhere(rng, 0.0, 0.95)
    long = float(rng.uniform(0.12, 0.4) * lay.diameter)
    return [
        DefectSpec(
            "decay", pair(middle), long, long * float(rng.uniform(0.35, 0.9)), float(np.degrees(angle)), 0.0,
            float(rng.normal(0, 0.06)), float(rng.uniform(0.12, 0.3)), float(rng.uniform(0.5, 1.0)), tint,
            float(rng.choice([0.0, rng.uniform(0.4, 1.0)], p=[0.4, 0.6])), _seed(rng),
        )
    ]  # fmt: skip


def _wets(rng: np.random.Generator, lay: Lay) -> list[DefectSpec]:
    return [
        DefectSpec(
            "wet", pair(lay.somewhere(rng, 0.0, 0.9)[0]), float(rng.uniform(0.04, 0.3) * lay.diameter),
            float(rng.uniform(0.03, 0.2) * lay.diameter), float(rng.uniform(0, 360)), 0.0, 0.0,
            float(rng.uniform(0.03, 0.2)), float(rng.uniform(0.5, 1.0)), (0.62, 0.52, 0.42), 0.0, _seed(rng),
        )
        for _ in range(int(rng.integers(1, 5)))
    ]  # fmt: skip


def _paints(rng: np.random.Generator, lay: Lay) -> list[DefectSpec]:
    colour = pick(
        rng, ((0.75, 0.06, 0.04), (0.85, 0.25, 0.02), (0.03, 0.08, 0.45), (0.7, 0.7, 0.7), (0.02, 0.02, 0.02))
    )
    return [
        DefectSpec(
            "paint", pair(lay.somewhere(rng, 0.2, 0.95)[0]), float(rng.uniform(0.02, 0.12) * lay.diameter),
            float(rng.uniform(0.015, 0.08) * lay.diameter), float(rng.uniform(0, 360)), 0.0, 0.0,
            float(rng.uniform(0.05, 0.25)), float(rng.uniform(0.3, 0.95)), colour, 0.0, _seed(rng),
        )
        for _ in range(int(rng.integers(1, 3)))
    ]  # fmt: skip


def _screws(rng: np.random.Generator, lay: Lay) -> list[DefectSpec]:
    size = float(rng.uniform(6, 11))
    colour = pick(rng, ((0.45, 0.44, 0.42), (0.60, 0.48, 0.20), (0.05, 0.05, 0.05)))
    return [
        DefectSpec(
            "screw", pair(lay.somewhere(rng, 0.2, 0.9)[0]), size, size, float(rng.uniform(0, 90)), 0.0, 0.0, 0.0, 1.0,
            colour, 0.0, _seed(rng),
        )
        for _ in range(int(rng.integers(1, 5)))
    ]  # fmt: skip


def _stains(rng: np.random.Generator, lay: Lay) -> list[DefectSpec]:
    red = pick(rng, ((0.80, 0.55, 0.48), (0.72, 0.62, 0.55), (0.66, 0.70, 0.72), (0.62, 0.50, 0.44)))
    if rng.random() < 0.4:  # stained heart
        size = float(rng.uniform(0.08, 0.45) * lay.diameter)
        middle = (lay.edge.mean(axis=0) if lay.pith is None else lay.pith) + rng.normal(0, 0.02 * lay.diameter, 2)
        return [
            DefectSpec("stain", pair(middle), size, size * float(rng.uniform(0.6, 1)), float(rng.uniform(0, 360)), 0.0,
                       0.0, float(rng.uniform(0.1, 0.3)), float(rng.uniform(0.5, 1)), red, 0.0, _seed(rng)),
        ]  # fmt: skip
    found = []
    for _ in range(int(rng.integers(1, 12))):
        middle, angle = lay.somewhere(rng, 0.3, 1.0)
        long = float(rng.uniform(0.02, 0.12) * lay.diameter)
        found.append(
            DefectSpec("stain", pair(middle), long, long * float(rng.uniform(0.08, 0.5)), float(np.degrees(angle)), 0.0,
                       0.0, float(rng.uniform(0.1, 0.3)), float(rng.uniform(0.4, 1)), red, 0.0, _seed(rng))
        )  # fmt: skip
    return found
