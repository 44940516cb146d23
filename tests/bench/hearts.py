"""Discs whose pith is hard to see: a star of checks, a hole, rot or a stain lies on it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.drawn import SceneSpec, random_spec
from tests.drawn.defects import DefectKind, DefectSpec
from tests.drawn.marks import CrackSpec
from tests.drawn.vary import Difficulty

KINDS = ("star", "hollow", "rotten", "dark")
Tints = tuple[tuple[float, float, float], ...]
HOLES: Tints = ((0.10, 0.08, 0.06), (0.04, 0.04, 0.04), (0.20, 0.13, 0.08))
ROT: Tints = ((0.72, 0.60, 0.48), (1.12, 1.12, 1.10), (0.70, 0.72, 0.74), (0.50, 0.40, 0.30))
STAINS: Tints = ((0.50, 0.35, 0.28), (0.62, 0.50, 0.44), (0.45, 0.42, 0.42))


def spec_of(seed: int, levels: tuple[Difficulty, ...]) -> tuple[str, SceneSpec]:
    """Return the kind and the scene of a seed."""
    kind, level = KINDS[seed % len(KINDS)], levels[seed // len(KINDS) % len(levels)]
    rng = np.random.default_rng(seed)
    spec = random_spec(seed, reference="none", difficulty=level, piece="whole", megapixels=2.0)
    if kind == "star":
        return kind, replace(spec, cracks=spec.cracks + _star(rng, spec.wood.diameter))
    if kind == "hollow":
        area = _area(rng, spec, "hole", (0.02, 0.15), 0.2, HOLES)
    elif kind == "rotten":
        area = _area(rng, spec, "decay", (0.08, 0.35), 0.2, ROT)
        area = replace(area, rim=float(rng.choice([0.0, 0.7])))
    else:
        area = _area(rng, spec, "stain", (0.1, 0.5), 0.25, STAINS)
    return kind, replace(spec, defects=(*spec.defects, area))


def _star(rng: np.random.Generator, diameter: float) -> tuple[CrackSpec, ...]:
    count, first = int(rng.integers(2, 7)), float(rng.uniform(0, 360))
    widest = float(np.exp(rng.uniform(np.log(0.002), np.log(0.02)))) * diameter
    angles = first + 360 * np.arange(count) / count + rng.normal(0, 20, count)
    return tuple(
        CrackSpec(
            kind="radial" if k else "heart",
            angle_deg=float(angle),
            start=float(rng.uniform(0, 0.03)),
            inward=False,
            length=float(rng.uniform(0.05, 0.3)) * diameter,
            width=widest * float(rng.uniform(0.4, 1)),
            second_deg=float(angle + rng.normal(180, 35)),
            second_share=float(rng.uniform(0.2, 0.5)),
            wander=float(rng.uniform(0.5, 1.4)),
            seed=900 + k,
        )
        for k, angle in enumerate(angles)
    )


def _area(
    rng: np.random.Generator, spec: SceneSpec, kind: DefectKind, sizes: tuple[float, float], off: float, tints: Tints
) -> DefectSpec:
    """Return an area about the pith, its size in diameters; its middle lies off the pith by so much of its size."""
    size = float(rng.uniform(*sizes)) * spec.wood.diameter
    x, y = np.asarray(spec.wood.pith) + rng.normal(0, off * size, 2)
    return DefectSpec(
        kind, (float(x), float(y)), size, size * float(rng.uniform(0.5, 1)), float(rng.uniform(0, 360)), 0.0,
        float(rng.normal(0, 0.05)), float(rng.uniform(0.05, 0.25)), float(rng.uniform(0.6, 1)),
        tints[int(rng.integers(len(tints)))], 0.0, int(rng.integers(2**31)),
    )  # fmt: skip
