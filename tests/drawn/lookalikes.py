"""Things of a workshop that are nearly of a card's or a sheet's size, or repeat as a ruler's ticks do."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tests.drawn.bench import BenchSpec
from tests.drawn.looks import LOOKS
from tests.drawn.place import any_colour, beside, pair, pick, seed_of
from tests.drawn.references import Item
from tests.drawn.wood import Growth


@dataclass(frozen=True)
class Lookalike:
    """Its print's kind, its sides and its corners' radius in mm, and whether it is white, of wood, or of any colour."""

    kind: str
    size: tuple[float, float]
    corner: float
    colour: str


# common sizes, from memory: visiting cards, playing cards, telephones, notes, envelopes (DL), photographic prints
LOOKALIKES = (
    Lookalike("visiting card", (85.0, 55.0), 0.0, "white"),
    Lookalike("visiting card", (89.0, 51.0), 0.0, "any"),
    Lookalike("playing card", (88.9, 63.5), 3.2, "any"),
    Lookalike("telephone", (146.0, 71.0), 9.0, "any"),
    Lookalike("tile", (108.0, 108.0), 2.0, "any"),
    Lookalike("tile", (150.0, 100.0), 1.5, "any"),
    Lookalike("label", (76.0, 76.0), 0.0, "white"),
    Lookalike("label", (127.0, 76.0), 0.0, "white"),
    Lookalike("envelope", (220.0, 110.0), 0.0, "white"),
    Lookalike("print", (254.0, 203.0), 0.0, "white"),
    Lookalike("book", (190.0, 125.0), 1.0, "any"),
    Lookalike("board", (120.0, 75.0), 0.0, "wood"),
    Lookalike("board", (86.0, 56.0), 0.5, "wood"),
    Lookalike("board", (300.0, 212.0), 2.0, "wood"),
)


def lookalikes(rng: np.random.Generator, growth: Growth, bench: BenchSpec) -> tuple[Item, ...]:
    """Return two to four of them, beside the wood or, the small ones, on it; sizes vary by a few percent."""
    return tuple(_laid(rng, growth, bench) for _ in range(int(rng.integers(2, 5))))


def _laid(rng: np.random.Generator, growth: Growth, bench: BenchSpec) -> Item:
    one = pick(rng, LOOKALIKES)
    sides = np.asarray(one.size) * rng.uniform(0.97, 1.03) * np.array([rng.uniform(0.99, 1.01), 1.0])
    colour = {
        "white": any_colour(rng, 0.86, 0.95),
        "wood": LOOKS[pick(rng, list(LOOKS))].sap,
        "any": any_colour(rng, 0.08, 0.9),
    }[one.colour]
    item = Item(one.kind, (0, 0), float(rng.uniform(0, 360)), 0.0, "", pair(sides), colour, one.corner)
    item = replace(item, seed=seed_of(rng))
    if max(one.size) < 160 and rng.random() < 0.5:
        return replace(item, centre=pair(rng.normal(0, 0.12 * growth.spec.diameter, 2)), z=-1.0)
    on_bench = replace(item, z=max(bench.below - 1.0, 0.0) if rng.random() < 0.5 else 0.0)
    return beside(on_bench, growth, float(rng.uniform(0, 360)), float(rng.uniform(6, 60)))


# pitches in mm from small to large, from memory; how wide a stripe is in tenths of a pitch is drawn by chance
REPEATED: dict[str, tuple[float, float]] = {
    "slats": (1.0, 60.0), "tiles": (5.0, 60.0), "bricks": (10.0, 65.0), "chequers": (5.0, 40.0), "gingham": (4.0, 25.0),
    "keys": (15.0, 20.0), "teeth": (1.5, 8.0), "code": (0.4, 1.0), "hazard": (10.0, 60.0),
    "holes": (5.0, 25.0), "degrees": (1.2, 4.0),
}  # fmt: skip


def repeated(rng: np.random.Generator, growth: Growth, bench: BenchSpec) -> tuple[Item, ...]:
    """Return two to four things that repeat as the ticks of a ruler or the squares of a bar do, beside the wood."""
    return tuple(_repeating(rng, growth, bench) for _ in range(int(rng.integers(2, 5))))


def _repeating(rng: np.random.Generator, growth: Growth, bench: BenchSpec) -> Item:
    kind = pick(rng, list(REPEATED))
    low, high = np.log(REPEATED[kind])
    pitch = float(np.exp(rng.uniform(low, high)))
    long = float(np.clip(pitch * rng.uniform(12, 60), 60, 450))
    wide = {"teeth": 60.0, "degrees": float(rng.uniform(12, 30))}.get(
        kind, float(np.clip(pitch * rng.uniform(3, 12), 12, 250))
    )
    z = max(bench.below - 1.0, 0.0) if rng.random() < 0.5 else 0.0
    colour = any_colour(rng, 0.08, 0.95)
    turn = pick(rng, (0.0, 90.0, 180.0, 270.0)) + float(rng.normal(0, 10))
    item = Item("repeated", (0, 0), turn, z, kind, (long, wide), colour, pitch=pitch, number=int(rng.integers(1, 9)))
    item = replace(item, seed=seed_of(rng))
    return beside(item, growth, float(rng.uniform(0, 360)), float(rng.uniform(6, 60)))
