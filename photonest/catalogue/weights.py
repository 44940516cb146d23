"""How the pieces dry: their weights over time, as numbers and as a picture."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from photonest.catalogue.entries import Happening
from photonest.model import CatalogueError
from photonest.wood.weighings import Weighing

WORKED = ("blank", "rough", "finished")
"""States in which wood has been taken off: what a piece weighed before tells nothing of how it dries after."""
LINE_PT = 14.0
"""Room for a piece's code on the picture, in points."""


def weighings_of(history: Sequence[Happening]) -> tuple[Weighing, ...]:
    """Return the weighings that still hold since wood was last taken off, by day; of two on one day the later one."""
    live = [happened for happened in history if happened.undone_at is None]
    worked = [happened.day for happened in live if happened.kind == "state" and happened.facts["state"] in WORKED]
    by_day = {happened.day: float(happened.facts["grams"]) for happened in live if happened.kind == "weighed"}
    return tuple(Weighing(day, by_day[day]) for day in sorted(by_day) if day >= max(worked, default=date.min))


def spread(heights: Sequence[float], gap: float) -> list[float]:
    """Return heights moved apart to a gap or more, in the order given, each as near where it was as its neighbours let.

    >>> spread([3.0, 1.0, 9.0, 1.0], 1.0)
    [3.0, 0.5, 9.0, 1.5]
    """
    order = sorted(range(len(heights)), key=lambda i: heights[i])
    runs: list[list[int]] = []

    def lowest(run: list[int]) -> float:
        return sum(heights[i] for i in run) / len(run) - gap * (len(run) - 1) / 2

    for i in order:
        runs.append([i])
        while len(runs) > 1 and lowest(runs[-2]) + gap * len(runs[-2]) > lowest(runs[-1]):
            runs[-2:] = [runs[-2] + runs[-1]]
    placed = {i: lowest(run) + gap * n for run in runs for n, i in enumerate(run)}
    return [placed[i] for i in range(len(heights))]


def weight_picture(weighings: Mapping[str, Sequence[Weighing]], format: str = "png") -> bytes:
    """Return a picture of weights over time in percent of the first one, a line a piece, its code at its end.

    Raises
    ------
    CatalogueError
        If no piece was weighed twice.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.dates import AutoDateLocator, ConciseDateFormatter, date2num
    from matplotlib.figure import Figure
    from matplotlib.transforms import offset_copy

    shown = {code: series for code, series in weighings.items() if len(series) > 1}
    if not shown:
        raise CatalogueError("No piece was weighed twice.", "Weigh again: 'photonest catalogue weigh CODE GRAMS'.")
    tall = max(6.0, 1.0 + LINE_PT * len(shown) / 72)
    figure = Figure(figsize=(9, tall), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    ends: dict[str, tuple[float, float, Any]] = {}
    for code, series in shown.items():
        days = [date2num(weighing.day) for weighing in series]
        share = [100 * weighing.weight / series[0].weight for weighing in series]
        (line,) = axes.plot(days, share, marker="o", markersize=4)
        ends[code] = (days[-1], share[-1], line.get_color())
    axes.margins(x=0.12, y=0.05 + LINE_PT * len(shown) / (2 * 72 * tall))  # room for the codes
    low, high = axes.get_ylim()
    gap = LINE_PT * (high - low) / (72 * (tall - 1.0))
    for last in {day for day, _, _ in ends.values()}:
        there = {code: end for code, end in ends.items() if end[0] == last}
        heights = spread([share_then for _, share_then, _ in there.values()], gap)
        for (code, (_, share_then, colour)), height in zip(there.items(), heights, strict=True):
            beside = offset_copy(axes.transData, figure, 14, units="points")
            tie = {"arrowstyle": "-", "color": colour, "lw": 0.6, "relpos": (0, 0.5)}
            axes.annotate(
                code, (last, share_then), (last, height), textcoords=beside, va="center", color=colour, arrowprops=tie
            )
    locator = AutoDateLocator()
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator, offset_formats=[""] + 5 * ["%Y"]))
    axes.set_ylabel("weight in % of the first weighing")
    axes.grid(alpha=0.3)
    out = io.BytesIO()
    figure.savefig(out, format=format, dpi=120)
    return out.getvalue()
