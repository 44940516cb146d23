"""How safe plans are: python -m tests.bench.nest_sweep [--count N] [--kinds blank=4,slice=4,log=1] [--seed S].

Plans random blanks, slices and logs of invented wood with 0 to 12 defects, and counts those that the independent check
finds unsafe. Each unsafe plan is named, so that it can be made again from its seed and index. Columns by kind: pieces,
plans, pieces that give no bowl, unsafe plans, and the seconds of the processor at the median and in all.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from typing import get_args

import numpy as np

from photonest.model import NoPlanError, Plan, StockKind
from photonest.nest import check_plan, plan_nest
from tests.nest.random_wood import Piece, random_piece


def planned(piece: Piece, work: int) -> Plan | None:
    try:
        return plan_nest(piece.face, piece.stock, piece.shop, work=work)
    except NoPlanError:
        return None


def kinds_in_turn(mix: str, count: int) -> list[StockKind]:
    """Return the kind of each piece, in turns as the mix tells."""
    turn: list[StockKind] = []
    for part in mix.split(","):
        name, _, times = part.partition("=")
        turn += [kind for kind in get_args(StockKind) if kind == name] * int(times or 1)
    return [turn[index % len(turn)] for index in range(count)]


def sweep(count: int, mix: str, seed: int, minutes: float, work: int) -> None:
    tally: Counter[tuple[str, str]] = Counter()
    spent: dict[str, list[float]] = {}
    end = time.monotonic() + 60 * minutes
    for index, kind in enumerate(kinds_in_turn(mix, count)):
        if time.monotonic() > end:
            break
        piece = random_piece(kind, seed, index)
        start = time.process_time()
        plan = planned(piece, work)
        spent.setdefault(kind, []).append(time.process_time() - start)
        tally[kind, "plans" if plan else "no bowl"] += 1
        if plan is None:
            continue
        found = check_plan(piece.face, plan)
        tally[kind, "unsafe"] += bool(found)
        if found:
            print(f"UNSAFE {kind} seed {seed} index {index}: {found[0].rule}, {found[0].where}: {found[0].message}")
    print(f"{'kind':6} {'pieces':>7} {'plans':>6} {'no bowl':>8} {'unsafe':>7} {'median s':>9} {'all s':>7}")
    for name, times in spent.items():
        row = [tally[name, what] for what in ("plans", "no bowl", "unsafe")]
        print(f"{name:6} {len(times):7} {row[0]:6} {row[1]:8} {row[2]:7} {np.median(times):9.2f} {sum(times):7.0f}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=1000, help="how many pieces")
    parser.add_argument("--kinds", default="blank=4,slice=4,log=1", help="kinds in turn, each so many times")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=60.0, help="stop after so long")
    parser.add_argument("--work", type=int, default=20_000_000, help="points a log's search may ask")
    told = parser.parse_args()
    sweep(told.count, told.kinds, told.seed, told.minutes, told.work)


if __name__ == "__main__":
    main()
