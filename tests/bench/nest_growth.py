"""How planning time grows with the number of defects: python -m tests.bench.nest_growth [--kinds blank,slice] [counts].

For each number of cracks, three pieces of invented wood are planned, the cracks short and many of them near the edge so
that a bowl is left. Columns: kind, cracks, the processor's median seconds, and that over the time without a crack. No
worse than linear growth means that the last column grows no faster than the number of cracks. 10 000 cracks are the
bounded answer that a fault in a file may ask for.
"""

from __future__ import annotations

import argparse
import contextlib
import math
import time

import numpy as np

from photonest.model import Face, NoPlanError, Shop, Stock
from photonest.nest import plan_nest
from tests.nest.examples import face, radial_crack, ring

RADIUS, PIECES, WORK = 170.0, 3, 40_000_000
COUNTS = (0, 1, 3, 10, 30, 100, 10_000)


def wood(random: np.random.Generator, cracks: int) -> Face:
    found = []
    for place in range(cracks):
        start = RADIUS * math.sqrt(random.uniform(0.7, 0.95))
        found.append(radial_crack(f"c{place}", random.uniform(0, 360), start, start + random.uniform(2, 8)))
    return face(ring(RADIUS, 120, 0.05), tuple(found), (4.0, 3.0))


def seconds(kind: str, cracks: int) -> float:
    random, spent = np.random.default_rng([cracks, len(kind)]), []
    stock = Stock("log", length=330.0) if kind == "log" else Stock(kind, thickness=120.0)  # type: ignore[arg-type]
    for _ in range(PIECES if cracks < 1000 else 1):
        piece = wood(random, cracks)
        start = time.process_time()
        with contextlib.suppress(NoPlanError):
            plan_nest(piece, stock, Shop(), work=WORK)
        spent.append(time.process_time() - start)
    return float(np.median(spent))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kinds", default="blank,slice")
    parser.add_argument("counts", nargs="*", type=int, default=COUNTS)
    told = parser.parse_args()
    plan_nest(face(ring(150.0)), Stock("blank", thickness=100.0), Shop())  # the workshop's tables, once
    print(f"{'kind':6} {'cracks':>7} {'seconds':>8} {'x none':>7}")
    for kind in told.kinds.split(","):
        none = seconds(kind, 0)
        for count in told.counts:
            spent = seconds(kind, count) if count else none
            print(f"{kind:6} {count:7} {spent:8.2f} {spent / none:7.1f}", flush=True)


if __name__ == "__main__":
    main()
