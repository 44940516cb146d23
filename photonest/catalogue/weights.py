"""How the pieces dry: their weights over time, as numbers and as a picture."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from datetime import date

from photonest.catalogue.entries import Happening
from photonest.model import CatalogueError
from photonest.wood.weighings import Weighing

WORKED = ("blank", "rough", "finished")
"""States in which wood has been taken off: what a piece weighed before tells nothing of how it dries after."""


def weighings_of(history: Sequence[Happening]) -> tuple[Weighing, ...]:
    """Return the weighings that still hold since wood was last taken off, by day; of two on one day the later one."""
    live = [happened for happened in history if happened.undone_at is None]
    worked = [happened.day for happened in live if happened.kind == "state" and happened.facts["state"] in WORKED]
    by_day = {happened.day: float(happened.facts["grams"]) for happened in live if happened.kind == "weighed"}
    return tuple(Weighing(day, by_day[day]) for day in sorted(by_day) if day >= max(worked, default=date.min))


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

    shown = {code: series for code, series in weighings.items() if len(series) > 1}
    if not shown:
        raise CatalogueError("No piece was weighed twice.", "Weigh again: 'photonest catalogue weigh CODE GRAMS'.")
    figure = Figure(figsize=(9, 6), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    for code, series in shown.items():
        days = [date2num(weighing.day) for weighing in series]
        share = [100 * weighing.weight / series[0].weight for weighing in series]
        (line,) = axes.plot(days, share, marker="o", markersize=4)
        axes.annotate(
            code, (days[-1], share[-1]), (5, 0), textcoords="offset points", va="center", color=line.get_color()
        )
    locator = AutoDateLocator()
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator))
    axes.set_ylabel("weight in % of the first weighing")
    axes.grid(alpha=0.3)
    axes.margins(x=0.1)  # room for the codes
    out = io.BytesIO()
    figure.savefig(out, format=format, dpi=120)
    return out.getvalue()
