"""Invents what only lies or was drawn on a face, from a seed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.drawn.defects import DefectKind, DefectSpec
from tests.drawn.noise import Array
from tests.drawn.place import pair, pick

_OFTEN: tuple[tuple[DefectKind, float], ...] = (
    ("wet", 0.2), ("paint", 0.1), ("resin", 0.12), ("chalk", 0.2), ("heap", 0.12), ("chip", 0.15), ("shade", 0.15),
    ("burn", 0.1), ("drop", 0.08), ("stamp", 0.1), ("tag", 0.06),
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


def random_strewn(rng: np.random.Generator, lay: Lay) -> tuple[DefectSpec, ...]:
    """Return some areas of every kind."""
    found: list[DefectSpec] = []
    for kind, often in _OFTEN:
        if rng.random() < often:
            found += [_one(rng, lay, kind) for _ in range(int(rng.integers(1, _MOST.get(kind, 3))))]
    return tuple(found)


_MOST: dict[DefectKind, int] = {"wet": 5, "chip": 8, "drop": 12, "tag": 2}
_SIZES: dict[DefectKind, tuple[float, float]] = {
    "wet": (0.04, 0.3), "paint": (0.02, 0.12), "resin": (0.01, 0.08), "chalk": (0.05, 0.4), "heap": (0.03, 0.2),
    "chip": (0.01, 0.06), "shade": (0.05, 0.5), "burn": (0.05, 0.4), "drop": (0.008, 0.03), "stamp": (0.05, 0.25),
    "tag": (0.06, 0.2),
}  # fmt: skip
"""Extent, over the diameter."""
_SLIM: dict[DefectKind, tuple[float, float]] = {
    "chalk": (0.3, 1.0), "chip": (0.2, 0.9), "burn": (0.1, 0.6), "drop": (0.8, 1.0), "stamp": (0.3, 0.6),
    "tag": (0.4, 0.9),
}  # fmt: skip
_PIGMENTS = ((0.75, 0.06, 0.04), (0.85, 0.25, 0.02), (0.03, 0.08, 0.45), (0.7, 0.7, 0.7), (0.02, 0.02, 0.02))
_COLOURS: dict[DefectKind, tuple[tuple[float, float, float], ...]] = {
    "wet": ((0.62, 0.52, 0.42),),
    "paint": _PIGMENTS,
    "resin": ((0.75, 0.5, 0.22), (0.85, 0.68, 0.4), (0.55, 0.32, 0.12)),
    "chalk": (*_PIGMENTS, (0.8, 0.8, 0.78), (0.85, 0.7, 0.1), (0.12, 0.12, 0.13), (0.1, 0.3, 0.15)),
    "heap": ((0.78, 0.62, 0.40), (0.62, 0.45, 0.26), (0.45, 0.28, 0.16)),
    "chip": ((0.80, 0.66, 0.45), (0.65, 0.48, 0.30), (0.35, 0.22, 0.14)),
    "shade": ((0.25, 0.26, 0.30), (0.5, 0.51, 0.55), (0.7, 0.7, 0.72)),
    "burn": ((0.25, 0.14, 0.08), (0.5, 0.32, 0.18), (0.08, 0.06, 0.05)),
    "drop": ((0.6, 0.55, 0.5),),
    "stamp": ((0.02, 0.02, 0.03), (0.03, 0.08, 0.45), (0.6, 0.05, 0.05), (0.04, 0.25, 0.1)),
    "tag": ((0.8, 0.8, 0.78), (0.8, 0.65, 0.05), (0.75, 0.1, 0.05), (0.05, 0.2, 0.5), (0.5, 0.5, 0.52)),
}
"""Linear light, or factors on the wood's."""


def _one(rng: np.random.Generator, lay: Lay, kind: DefectKind) -> DefectSpec:
    at, _ = lay.somewhere(rng, 0.0, 0.95)
    long = float(np.exp(rng.uniform(*np.log(_SIZES[kind]))) * lay.diameter)
    sort = pick(rng, ("cross", "ring", "stroke", "scribble")) if kind == "chalk" else ""
    return DefectSpec(
        kind, pair(at), long, long * float(rng.uniform(*_SLIM.get(kind, (0.4, 1.0)))), float(rng.uniform(0, 360)), 0.0,
        float(rng.normal(0, 0.1)) if kind in ("chip", "burn", "shade") else 0.0,
        0.0 if kind in ("drop", "tag", "stamp", "chalk") else float(rng.uniform(0.03, 0.25)),
        float(rng.uniform(0.5, 1.0)), pick(rng, _COLOURS[kind]), 0.0, int(rng.integers(0, 2**31)), sort,
    )  # fmt: skip
