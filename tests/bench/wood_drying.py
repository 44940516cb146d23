"""How often the interval for the day of readiness holds, and how wide it is: python -m tests.bench.wood_drying."""

from __future__ import annotations

import argparse

import numpy as np

from photonest.wood.drying import StartMoisture, follow_drying
from tests.wood.pieces import FIRST, any_piece

COUNT = 60


def main() -> None:
    """Print a table by how long a piece was weighed, in its late time constants."""
    rng = np.random.default_rng(0)
    print("known: the start to 20 % and the end to 1 point of moisture.  hit: share ready within the 90 % interval")
    print(f"{'known':>6} {'weighed':>8} {'pieces':>7} {'dated':>6} {'hit':>5} {'error':>6} {'width':>6}")
    for known in (False, True):
        for span in (1.0, 1.5, 2.0, 3.0, 4.0):
            rows, pieces = [], 0
            for _ in range(COUNT):
                piece, step = any_piece(rng), int(rng.choice([7, 14, 30]))
                weighings = piece.weighings(span * piece.tau, step, rng)
                if len(weighings) < 4:
                    continue
                pieces += 1
                start = StartMoisture(piece.start * (1 + rng.normal(0, 0.2)), 0.2 * piece.start)
                end = piece.end + rng.normal(0, 1)
                found = follow_drying(weighings, start if known else None, end if known else None)
                if found.ready is None or found.ready_early is None:
                    continue
                late = (found.ready_late - FIRST).days if found.ready_late else np.inf
                early, likely, truth = (found.ready_early - FIRST).days, (found.ready - FIRST).days, piece.ready()
                hit = early - 1 <= truth <= late + 1
                rows.append((hit, abs(likely - truth) / truth, (late - early) / truth))
            table = np.array(rows, dtype=np.float64)
            hit = table[:, 0].mean()
            error, width = np.median(table[:, 1]), np.median(table[:, 2])
            print(f"{known!s:>6} {span:8.1f} {pieces:7d} {len(rows):6d} {hit:5.2f} {error:6.2f} {width:6.2f}")


if __name__ == "__main__":
    argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter).parse_args()
    main()
