"""How long pictures and papers take, and how true the templates are: ``python -m tests.bench.report``."""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable

import numpy as np

from photonest.model import Cut
from photonest.report import face_picture, plan_picture, setup_sheet, templates
from photonest.report.tiles import HEAD, MARGIN, SIDE
from tests.report import examples
from tests.report.measuring import across, circle_through, rendered

ROUNDS = 3


def seconds(make: Callable[[], object]) -> float:
    """Return the least processor time of some runs, after one to warm up."""
    make()
    times = []
    for _ in range(ROUNDS):
        start = time.process_time()
        make()
        times.append(time.process_time() - start)
    return min(times)


def cut_errors(pdf: bytes, cut: Cut) -> tuple[float, float]:
    """Return how far the back edge's radius and the pivot's place are off, in mm, in the page as pdfium shows it."""
    dark = rendered(pdf)
    (c, h), back = cut.pivot, cut.radius + cut.kerf / 2
    pivot = np.array([MARGIN + SIDE - min(c, 0.0) + 6 + c, MARGIN + HEAD - min(h, 0.0) + 8 + h])
    turns = np.arctan2(-h, np.sqrt(back**2 - h**2)) + np.radians(np.arange(3, 56, 4))
    ways = np.column_stack([np.cos(turns), np.sin(turns)])
    hits = [across(dark, pivot + (back - 1.5) * way, pivot + (back + 1.5) * way) for way in ways]
    centre, radius = circle_through([hit for hit in hits if hit is not None])
    return abs(radius - back), float(np.hypot(*(centre - pivot)))


def main() -> None:
    """Print the table."""
    photo, face, blank, plan = examples.photo(), examples.face(), examples.blank_face(), examples.plan()
    jobs: dict[str, Callable[[], object]] = {
        "face.png": lambda: face_picture(photo, face),
        "face.svg": lambda: face_picture(photo, face, format="svg"),
        "plan.png": lambda: plan_picture(photo, blank, plan),
        "setup.pdf": lambda: setup_sheet(photo, blank, plan),
        "templates": lambda: templates(blank, plan),
    }
    print(f"{'made':12}{'processor s':>12}")
    for name, make in jobs.items():
        print(f"{name:12}{seconds(make):12.2f}")
    files = templates(blank, plan)
    print(f"\n{'template':12}{'radius off':>12}{'pivot off':>12}  mm")
    for cut in plan.nests[0].cuts:
        radius, place = cut_errors(files[f"template-cut-{cut.number}.pdf"], cut)
        print(f"cut {cut.number:<8}{radius:12.3f}{place:12.3f}")


if __name__ == "__main__":
    argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter).parse_args()
    main()
