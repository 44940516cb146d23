"""How good, how safe and how fast plans are: python -m tests.bench.nest [blanks] [logs].

Random faces of invented wood. Times are of the processor, so that other work on the machine does not count. Columns:
plans made, plans that the independent check refuses, median and 90th percentile of the seconds and of the gap, and the
gain of the planned axis over the plain centre of the same wood (sum of rim diameters, all plans taken together).
"""

from __future__ import annotations

import argparse
import time
from typing import Any

import numpy as np

from photonest.model import Face, NoPlanError, Plan, Shop, Stock
from photonest.nest import check_plan, plan_nest, rim_centre
from tests.nest.examples import face, radial_crack, ring


def random_wood(random: np.random.Generator, defects: int) -> Face:
    pith = (float(random.uniform(-25, 25)), float(random.uniform(-25, 25)))
    cracks = []
    for index in range(defects):
        start = float(random.uniform(5, 170))
        depth = float(random.uniform(5, 60)) if random.random() < 0.2 else None
        end = start + float(random.uniform(5, 60))
        cracks.append(radial_crack(f"c{index}", random.uniform(0, 360), start, end, pith, depth=depth))
    outline = ring(random.uniform(100, 200), 120, random.uniform(0, 0.12), random.uniform(0, 0.03))
    return face(outline, tuple(cracks), pith, random.uniform(0.1, 1.0))


def timed(*question: Any, **settings: Any) -> tuple[Plan | None, float]:
    start = time.process_time()
    try:
        return plan_nest(*question, **settings), time.process_time() - start
    except NoPlanError:
        return None, time.process_time() - start


def blanks(count: int, defects: int) -> None:
    random, shop = np.random.default_rng(defects), Shop()
    seconds, gaps, refused, plans, planned, plain = [], [], 0, 0, 0.0, 0.0
    for _ in range(count):
        wood = random_wood(random, defects)
        stock = Stock("blank", thickness=float(random.uniform(60, 180)), through_pith=bool(random.random() < 0.5))
        plan, spent = timed(wood, stock, shop)
        centre, _ = timed(wood, stock, shop, keep_axis=rim_centre(wood))
        seconds.append(spent)
        plain += centre.score.total_rim_diameter if centre else 0.0
        if plan:
            plans += 1
            refused += bool(check_plan(wood, plan))
            gaps.append(plan.bound.gap_pct)
            planned += plan.score.total_rim_diameter
    gain = 100 * (planned / plain - 1) if plain else float("nan")
    report(f"blanks, {defects} cracks", plans, count, refused, seconds, gaps, f"{gain:+.0f} %")


def logs(count: int, defects: int) -> None:
    random, shop = np.random.default_rng(100 + defects), Shop()
    seconds, gaps, refused, plans = [], [], 0, 0
    for _ in range(count):
        wood = random_wood(random, defects)
        stock = Stock("log", length=float(random.uniform(200, 450)))
        plan, spent = timed(wood, stock, shop)
        seconds.append(spent)
        if plan:
            plans += 1
            refused += bool(check_plan(wood, plan))
            gaps.append(plan.bound.gap_pct)
    report(f"logs, {defects} cracks", plans, count, refused, seconds, gaps, "")


def report(name: str, plans: int, count: int, refused: int, seconds: list[float], gaps: list[float], gain: str) -> None:
    middle, late = np.quantile(seconds, [0.5, 0.9])
    gap, wide = np.quantile(gaps or [np.nan], [0.5, 0.9])
    print(
        f"{name:20} {plans:4}/{count:<4} refused {refused:2}  {middle:6.2f} {late:6.2f} s  "
        f"gap {gap:5.2f} {wide:5.2f} %  {gain}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("blanks", nargs="?", type=int, default=20, help="blanks for each number of cracks (20)")
    parser.add_argument("logs", nargs="?", type=int, default=5, help="logs for each number of cracks (5)")
    told = parser.parse_args()
    plan_nest(face(ring(150.0)), Stock("blank", thickness=100.0), Shop())  # the workshop's tables, once
    for defects in (0, 2, 6, 12):
        blanks(told.blanks, defects)
    blanks(max(2, told.blanks // 5), 100)
    for defects in (0, 2, 6):
        logs(told.logs, defects)


if __name__ == "__main__":
    main()
