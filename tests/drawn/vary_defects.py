"""Invents defects of a face, and what is mistaken for them, from a seed."""

from __future__ import annotations

import numpy as np

from tests.drawn.defects import DefectKind, DefectSpec
from tests.drawn.looks import Colour
from tests.drawn.noise import Array
from tests.drawn.place import pair, pick
from tests.drawn.vary_strewn import Lay, random_strewn

_OFTEN: tuple[tuple[DefectKind, float], ...] = (
    ("knot", 0.5), ("hole", 0.45), ("bark", 0.35), ("decay", 0.25), ("screw", 0.15), ("stain", 0.35),
)  # fmt: skip
"""How often a face has any of a kind."""


def random_defects(rng: np.random.Generator, lay: Lay) -> tuple[DefectSpec, ...]:
    """Return some areas of every kind."""
    found: list[DefectSpec] = []
    for kind, often in _OFTEN:
        if rng.random() < often:
            found += globals()[f"_{kind}s"](rng, lay)
    return (*found, *random_strewn(rng, lay))


def _seed(rng: np.random.Generator) -> int:
    return int(rng.integers(0, 2**31))


def _branch_tone(rng: np.random.Generator) -> Colour:
    """Return the colour of a branch as factors on that of the wood: often the same, redder, or darker."""
    dark = float(
        rng.choice([rng.uniform(0.92, 1.06), rng.uniform(0.75, 0.95), rng.uniform(0.4, 0.75)], p=[0.4, 0.35, 0.25])
    )
    red = float(rng.choice([rng.uniform(0.0, 0.22), rng.uniform(-0.15, 0.0)], p=[0.8, 0.2]))  # or greyed by resin
    return dark, dark * (1 - 0.6 * red), dark * (1 - red)


def _knots(rng: np.random.Generator, lay: Lay) -> list[DefectSpec]:
    tone = _branch_tone(rng)
    rim = float(rng.choice([rng.uniform(0.0, 0.3), rng.uniform(0.4, 1.0)]))
    if lay.pith is None:
        return [
            _spike(rng, lay, tone, rim) if rng.random() < 0.25 else _round_knot(rng, lay, tone, rim)
            for _ in range(int(rng.integers(1, 6)))
        ]
    if rng.random() < 0.2:
        return [_round_knot(rng, lay, tone, rim) for _ in range(int(rng.integers(1, 4)))]
    whorl = int(rng.choice([1, 1, 1, 2, 3, 4, 5]))
    first = rng.uniform(0, 2 * np.pi)
    start = float(rng.choice([rng.uniform(0.0, 0.05), rng.uniform(0.02, 0.3)]))
    reach = float(np.exp(rng.uniform(np.log(0.12), np.log(0.9))))
    size = float(np.exp(rng.uniform(np.log(0.008), np.log(0.12))) * lay.diameter)
    knots = []
    for k in range(whorl):
        a = float(first + 2 * np.pi * k / whorl + rng.normal(0, 0.25))
        far = lay.rim(lay.pith, a)
        inner, outer = start * far, min(0.98, start + reach * float(rng.uniform(0.7, 1.2))) * far
        if outer - inner < 4:  # beyond a sawn edge through the pith
            continue
        middle = lay.pith + (inner + outer) / 2 * np.array([np.cos(a), np.sin(a)])
        across = min(size * float(rng.uniform(0.7, 1.3)), 0.8 * (outer - inner))
        knots.append(
            DefectSpec(
                "knot", pair(middle), outer - inner, across, float(np.degrees(a)), float(rng.uniform(0.3, 0.95)),
                float(rng.normal(0, 0.05)), float(rng.uniform(0.02, 0.12)), float(rng.uniform(0.7, 1.0)), tone, rim,
                _seed(rng),
            )
        )  # fmt: skip
    return knots


def _round_knot(rng: np.random.Generator, lay: Lay, tone: Colour, rim: float) -> DefectSpec:
    middle, _ = lay.somewhere(rng, 0.05, 0.9)
    across = float(np.exp(rng.uniform(np.log(max(3.0, 0.01 * lay.diameter)), np.log(0.15 * lay.diameter))))
    return DefectSpec(
        "knot", pair(middle), across * float(rng.uniform(1.0, 1.9)), across, lay.grain_deg + float(rng.normal(0, 15)),
        0.0, 0.0, float(rng.uniform(0.01, 0.08)), float(rng.uniform(0.75, 1.0)), tone, rim, _seed(rng),
    )  # fmt: skip


def _spike(rng: np.random.Generator, lay: Lay, tone: Colour, rim: float) -> DefectSpec:
    """Return a branch cut lengthwise on side grain, across the fibres."""
    middle, _ = lay.somewhere(rng, 0.1, 0.8)
    along = float(rng.uniform(0.08, 0.45) * lay.diameter)
    return DefectSpec(
        "knot", pair(middle), along, along * float(rng.uniform(0.1, 0.35)),
        lay.grain_deg + float(rng.choice([-1, 1])) * float(rng.uniform(45, 110)), float(rng.uniform(0.4, 0.95)),
        float(rng.normal(0, 0.06)), float(rng.uniform(0.02, 0.1)), float(rng.uniform(0.75, 1.0)), tone, rim, _seed(rng),
    )  # fmt: skip


def _holes(rng: np.random.Generator, lay: Lay) -> list[DefectSpec]:
    sort = pick(rng, ("worms", "drilled", "nailed", "tunnels"), (0.35, 0.35, 0.15, 0.15))
    count = int(rng.integers(3, 14)) if sort == "worms" else int(rng.integers(1, 5))
    small = {"worms": (0.8, 2.5), "drilled": (2.0, 12.0), "nailed": (1.5, 6.0), "tunnels": (1.5, 8.0)}[sort]
    size = float(np.exp(rng.uniform(*np.log(small))))
    about, _ = lay.somewhere(rng, 0.15, 0.9)
    filled = sort in ("worms", "tunnels") and rng.random() < 0.4
    iron = float(rng.uniform(0.3, 1.0)) if sort == "nailed" else 0.0
    dark = pick(rng, ((0.10, 0.08, 0.06), (0.04, 0.04, 0.04), (0.20, 0.13, 0.08)))
    holes = []
    for _ in range(count):
        near = sort in ("worms", "tunnels")
        at = about + rng.normal(0, 0.06 * lay.diameter, 2) if near else lay.somewhere(rng, 0.15, 0.93)[0]
        across = size * float(rng.uniform(0.85, 1.1))
        longer = float(rng.choice([rng.uniform(1.0, 1.12), rng.uniform(1.1, 1.6)], p=[0.8, 0.2]))
        if sort == "tunnels":
            longer = float(rng.uniform(1.5, 7.0))
        holes.append(
            DefectSpec(
                "hole", pair(at), across * longer, across, float(rng.uniform(0, 180)), 0.0, float(rng.normal(0, 0.05)),
                float(rng.uniform(0.0, 0.04)), float(rng.uniform(0.85, 1.0)), dark, iron, _seed(rng),
                "filled" if filled else "",
            )
        )  # fmt: skip
    return holes


def _barks(rng: np.random.Generator, lay: Lay) -> list[DefectSpec]:
    colour = pick(rng, ((0.24, 0.17, 0.13), (0.34, 0.24, 0.17), (0.16, 0.12, 0.10), (0.42, 0.30, 0.20)))
    return [_bark(rng, lay, colour) for _ in range(int(rng.integers(1, 3)))]


def _bark(rng: np.random.Generator, lay: Lay, colour: Colour) -> DefectSpec:
    """Return bark grown in from the rim, between two stems, or over a wound, along the ring of its year."""
    sort = pick(rng, ("rim", "between", "along"), (0.5, 0.2, 0.3))
    at_rim = sort == "rim"
    outer, angle = lay.somewhere(rng, 1.0, 1.0) if at_rim else lay.somewhere(rng, 0.2, 0.9)
    long = float(rng.uniform(0.04, 0.12 if sort == "between" else 0.22) * lay.diameter)
    wide = long * float(rng.uniform(0.12, 0.45) if sort != "along" else rng.uniform(0.06, 0.3))
    inwards = np.degrees(angle) + 180 + float(rng.normal(0, 15 if at_rim else 60))
    bend = float(rng.normal(0, 0.12))
    if sort == "along" and lay.pith is not None:
        inwards = np.degrees(angle) - 90 + float(rng.normal(0, 8))
        bend = long / (8 * max(float(np.hypot(*(outer - lay.pith))), long / 2)) * float(rng.uniform(0.8, 1.6))
    unit = np.array([np.cos(np.radians(inwards)), np.sin(np.radians(inwards))])
    middle = outer + 0.4 * long * unit if at_rim else outer
    return DefectSpec(
        "bark", pair(middle), long, wide, float(inwards + (180 if at_rim else 0)),
        float(rng.uniform(0.0, 0.6)) if at_rim else 0.0, bend,
        float(rng.uniform(0.1, 0.3)), float(rng.uniform(0.75, 1.0)), colour, 0.0, _seed(rng),
    )  # fmt: skip


_ROTS: dict[str, tuple[Colour, ...]] = {
    "white": ((1.12, 1.12, 1.10), (1.05, 1.08, 1.1), (1.2, 1.22, 1.25), (0.95, 0.97, 0.95)),
    "brown": ((0.62, 0.48, 0.38), (0.5, 0.38, 0.3), (0.75, 0.6, 0.48)),
    "punky": ((0.72, 0.60, 0.48), (0.70, 0.72, 0.74), (0.85, 0.70, 0.50), (0.9, 0.88, 0.82)),
    "spalted": ((1.08, 1.06, 1.0), (0.85, 0.8, 0.72), (1.0, 1.0, 1.0)),
}


def _decays(rng: np.random.Generator, lay: Lay) -> list[DefectSpec]:
    sort = str(rng.choice(list(_ROTS)))
    tint = pick(rng, _ROTS[sort])
    at_heart = rng.random() < 0.35
    middle, angle = lay.somewhere(rng, 0.0, 0.1 if at_heart else 0.95)
    long = float(rng.uniform(0.1, 0.4) * lay.diameter)
    zoned = sort == "spalted" or rng.random() < 0.5
    rot = DefectSpec(
        "decay", pair(middle), long, long * float(rng.uniform(0.35, 0.9)), float(np.degrees(angle)), 0.0,
        float(rng.normal(0, 0.06)), float(rng.uniform(0.12, 0.3)), float(rng.uniform(0.6, 1.0)), tint,
        float(rng.uniform(0.4, 1.0)) if zoned else 0.0, _seed(rng), sort,
    )  # fmt: skip
    if sort in ("brown", "punky") and rng.random() < 0.3:  # hollow
        size = long * float(rng.uniform(0.1, 0.4))
        hollow = DefectSpec(
            "hole", pair(middle + rng.normal(0, 0.08 * long, 2)), size, size * float(rng.uniform(0.4, 1.0)),
            float(rng.uniform(0, 180)), 0.0, 0.0, float(rng.uniform(0.1, 0.3)), float(rng.uniform(0.85, 1.0)),
            (0.10, 0.08, 0.06), 0.0, _seed(rng),
        )  # fmt: skip
        return [rot, hollow]
    return [rot]


def _screws(rng: np.random.Generator, lay: Lay) -> list[DefectSpec]:
    sort = pick(rng, ("cross", "slot", "hex", "nail"), (0.35, 0.15, 0.15, 0.35))
    size = float(rng.uniform(3, 8) if sort == "nail" else rng.uniform(5, 11))
    colour = pick(rng, ((0.45, 0.44, 0.42), (0.60, 0.48, 0.20), (0.05, 0.05, 0.05), (0.25, 0.25, 0.26)))
    iron = float(rng.choice([0.0, rng.uniform(0.2, 0.9)]))
    return [
        DefectSpec(
            "screw", pair(lay.somewhere(rng, 0.2, 0.9)[0]), size, size, float(rng.uniform(0, 90)), 0.0, 0.0, 0.0, 1.0,
            colour, iron, _seed(rng), sort,
        )
        for _ in range(int(rng.integers(1, 5)))
    ]  # fmt: skip


def _stains(rng: np.random.Generator, lay: Lay) -> list[DefectSpec]:
    """Return stains of the tree: of its heart, broad clouds where the sapwood turns, or streaks along the rays."""
    tint = pick(rng, ((0.80, 0.55, 0.48), (0.72, 0.62, 0.55), (0.66, 0.70, 0.72), (0.62, 0.50, 0.44)))
    sort = pick(rng, ("heart", "cloud", "streaks"), (0.4, 0.25, 0.35))
    if sort == "heart":
        size = float(rng.uniform(0.08, 0.45) * lay.diameter)
        middle = (lay.edge.mean(axis=0) if lay.pith is None else lay.pith) + rng.normal(0, 0.02 * lay.diameter, 2)
        return [_stain(rng, middle, size, float(rng.uniform(0.6, 1)), float(rng.uniform(0, 360)), tint)]
    found = []
    for _ in range(int(rng.integers(1, 4 if sort == "cloud" else 12))):
        middle, angle = lay.somewhere(rng, 0.3, 1.0)
        turn = float(np.degrees(angle))
        if sort == "cloud":
            long = float(rng.uniform(0.1, 0.5) * lay.diameter)
            found.append(_stain(rng, middle, long, float(rng.uniform(0.2, 0.8)), turn + 90, tint, "soft"))
        else:
            long = float(rng.uniform(0.02, 0.12) * lay.diameter)
            found.append(_stain(rng, middle, long, float(rng.uniform(0.08, 0.5)), turn, tint))
    return found


def _stain(
    rng: np.random.Generator, middle: Array, along: float, slim: float, deg: float, tint: Colour, sort: str = ""
) -> DefectSpec:
    rough, strength = float(rng.uniform(0.1, 0.3)), float(rng.uniform(0.4, 1))
    return DefectSpec(
        "stain", pair(middle), along, along * slim, deg, 0.0, 0.0, rough, strength, tint, 0.0, _seed(rng), sort
    )
