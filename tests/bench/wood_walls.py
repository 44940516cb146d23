"""How much wall the closed form leaves in space, over random bowls and woods: python -m tests.bench.wood_walls."""

from __future__ import annotations

import argparse

import numpy as np

from photonest.wood.allowance import wall_need
from photonest.wood.bowl import holds_pith
from photonest.wood.moisture import Shrink
from photonest.wood.movement import PithLine
from tests.wood.shapes import arc_bowl, round_after_drying

COUNT = 150
FINISHED = 8.0


def spare(rng: np.random.Generator, side: str) -> float | None:
    """Return how much more than the finished wall is left in a random bowl; None where the draw makes no bowl."""
    shrink = Shrink(rng.uniform(0.01, 0.06), rng.uniform(0.06, 0.11), 0.001)
    size, share, near = rng.uniform(120, 400), rng.uniform(0.2, 0.45), 10 ** rng.uniform(-1.5, 1)
    depth, aside = share * size, rng.uniform(-2, 2) * size * rng.integers(0, 2)
    end = side == "end grain"
    wall = wall_need(shrink, "slice" if end else "log", FINISHED, deviations=0.0)(size / 2)
    if wall > 0.4 * depth:
        return None
    if end:
        pith = PithLine((-(0.5 + near) * size, 0.0, 0.0), (0.0, 0.0, 1.0), (0.0, 0.0, depth / 2))
    else:
        height = depth + near * size if side == "rim to the bark" else -near * size
        pith = PithLine((0.0, aside, height), (1.0, 0.0, rng.uniform(-0.15, 0.15)), (0.0, 0.0, depth / 2))
    outer, inner = arc_bowl(size, depth, wall)
    if holds_pith(outer, pith):
        return None
    return round_after_drying(outer, inner, pith, shrink).wall - FINISHED


def main() -> None:
    """Print a table by the lie of the wood."""
    rng = np.random.default_rng(1)
    print(
        f"{'wood':<16} {'bowls':>6} {'least mm':>9} {'5 % mm':>7} {'median mm':>10}   (left beyond the finished wall)"
    )
    for side in ("base to the bark", "rim to the bark", "end grain"):
        found = np.array([s for s in (spare(rng, side) for _ in range(COUNT)) if s is not None])
        print(f"{side:<16} {len(found):6d} {found.min():9.2f} {np.quantile(found, 0.05):7.2f} {np.median(found):10.2f}")


if __name__ == "__main__":
    argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter).parse_args()
    main()
