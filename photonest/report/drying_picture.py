"""The picture of a drying piece: its weights over time, the curve fitted to them, and the day it will be ready."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from photonest.report import style
from photonest.report.blocks import draw_title
from photonest.report.face_picture import TALLEST, WIDTH
from photonest.report.page import Box, Format, Page, line_height, save, text_width
from photonest.wood.drying import Drying
from photonest.wood.weighings import Weighing, check_weighings

CHART = Box(24.0, 0.0, 166.0, 104.0)
"""Where the weights are drawn; its top is set below what stands above it."""
DOT = 1.9
"""Radius of a weighing, in mm."""
FARTHEST = 1.6
"""How far the chart may run past the likely day, as a share of the time up to it: a long tail is told in words."""
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
READY_BAND = style.Fill(style.GREEN, 0.35, "//", style.INK, 0.0)
FITTED = style.Stroke(style.BLUE, 2.4)
FORECAST = style.Stroke(style.BLUE, 2.4, dash=(5, 3))
READY_LINE = style.Stroke(style.INK, 2.4)
END_LINE = style.Stroke(style.INK, 1.2, dash=(1, 2.5))
GRID = style.Stroke("#b9bbbd", 0.6)


@dataclass(frozen=True)
class Chart:
    """Days along the page and grams up it.

    Attributes
    ----------
    box : Box
        Where it lies on the page.
    first, last : date
        At its left and right edge.
    least, most : float
        Grams at its lower and upper edge.
    """

    box: Box
    first: date
    last: date
    least: float
    most: float

    def x(self, day: date) -> float:
        """Return where a day lies, in mm from the left of the page."""
        return self.box.left + self.box.width * (day - self.first).days / (self.last - self.first).days

    def y(self, grams: float) -> float:
        """Return where a weight lies, in mm from the top of the page."""
        return self.box.bottom - self.box.height * (grams - self.least) / (self.most - self.least)


def drying_picture(drying: Drying, weighings: Sequence[Weighing], *, format: Format = "png") -> bytes:
    """Return a picture of how a piece dries, as a file.

    Parameters
    ----------
    drying : Drying
        What was found from the weighings.
    weighings : sequence of Weighing
        In order of their days.
    format : {"png", "svg", "pdf"}
        Kind of file.

    Raises
    ------
    MoistureError
        If there are no weighings, or they are out of order.
    """
    checked = check_weighings(weighings, math.inf)  # how far a weight may rise was judged with the scale's own error
    with style.drawing_settings():
        page = Page(WIDTH, TALLEST)
        y = draw_title(page, "Drying", f"last weighed {day_words(checked[-1].day)}")
        y = _draw_figures(page, drying, checked[-1], y + 1)
        chart = chart_of(drying, checked, y + 10)
        _draw_grid(page, chart)
        _draw_estimate(page, chart, drying, checked[-1].day)
        for weighing in checked:
            _draw_dot(page, chart.x(weighing.day), chart.y(weighing.weight))
        y = _draw_key(page, drying, chart.box.bottom + 15)
        for note in (*estimates(drying), *drying.notes):
            y = page.paragraph(page.left, y + 1, note, page.room, size=style.SMALL)
        page.trim(y + 4)
        return save(page, format)


def day_words(day: date) -> str:
    """Return a day as it is written out.

    >>> day_words(date(2031, 6, 2))
    '2 Jun 2031'
    """
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"


def estimates(drying: Drying) -> list[str]:
    """Return what of the picture is no more than an estimate, and what to do about it."""
    words = []
    if drying.moisture_now is not None:
        words.append("The moisture is an estimate from the weights; ± is twice its standard error.")
    if drying.ready is not None:
        words.append(
            "The line, the weight it tends to and the day are estimates: the band should hold the day nine times in "
            "ten, if the air of the place stays as it is."
        )
    return [*words, "Turn it when the weight has stopped changing, whatever the picture says."]


def chart_of(drying: Drying, weighings: Sequence[Weighing], top: float) -> Chart:
    """Return the chart that holds every weighing, the fitted curve and the interval of the day, as far as it can."""
    first, last = weighings[0].day, weighings[-1].day
    if drying.ready is not None:
        span = math.ceil(FARTHEST * max((drying.ready - first).days, 1))
        late = drying.ready_late or date.max
        last = max(last, drying.ready, min(late, first + timedelta(days=span)))
    last += timedelta(days=max(7, (last - first).days // 30))
    weights = [w.weight for w in weighings] + [grams for _, grams in drying.curve]
    if drying.final_weight is not None:
        weights.append(drying.final_weight)
    room = max(0.08 * (max(weights) - min(weights)), 2.0)
    box = Box(CHART.left, top, CHART.width, CHART.height)
    return Chart(box, first, last, max(min(weights) - room, 0.0), max(weights) + room)


def gram_ticks(least: float, most: float) -> list[float]:
    """Return round weights between two, three to nine of them.

    >>> gram_ticks(1035.0, 1770.0)
    [1100.0, 1200.0, 1300.0, 1400.0, 1500.0, 1600.0, 1700.0]
    """
    rough = (most - least) / 8
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * n for n in (1, 2, 5, 10) if power * n >= rough)
    return [step * n for n in range(math.ceil(least / step), math.floor(most / step) + 1)]


def day_ticks(first: date, last: date) -> list[date]:
    """Return round days between two: firsts of months, or whole weeks where it is about two months or less.

    >>> [day.isoformat() for day in day_ticks(date(2031, 1, 10), date(2031, 8, 3))]
    ['2031-02-01', '2031-03-01', '2031-04-01', '2031-05-01', '2031-06-01', '2031-07-01', '2031-08-01']
    """
    span = (last - first).days
    if span <= 63:
        step = 7 * math.ceil(span / 49)
        return [first + timedelta(days=n) for n in range(0, span + 1, step)]
    every = next((n for n in (1, 2, 3, 6, 12) if span / 30.4 / n <= 7.5), 24)
    months = (date(year, month, 1) for year in range(first.year, last.year + 1) for month in range(1, 13))
    counted = (day for day in months if (12 * day.year + day.month - 1) % every == 0)
    return [day for day in counted if first <= day <= last]


def _draw_figures(page: Page, drying: Drying, last: Weighing, y: float) -> float:
    """Write the answer in large type; return where what follows may start."""
    rows = [("Weight now", f"{last.weight:.0f} g", "")]
    if drying.moisture_now is not None and drying.moisture_error is not None:
        error = math.ceil(2 * drying.moisture_error - 1e-9)
        rows.append(("Moisture now", f"{drying.moisture_now:.0f} ± {max(error, 1)} %", ""))
    else:
        rows.append(("Moisture now", "not known", ""))
    if drying.ready is None or drying.ready_early is None:
        rows.append(("Ready", "can't be told yet", ""))
    else:
        late = day_words(drying.ready_late) if drying.ready_late else "a day that can't be told yet"
        between = f"between {day_words(drying.ready_early)} and {late}"
        rows.append(("Ready about", day_words(drying.ready), between))
    if drying.unchanged:
        rows.append(("Last weights", "unchanged", "by common practice ready to turn again"))
    for name, value, below in rows:
        y += line_height(style.TITLE)
        page.text(page.left, y - 2.5, name, size=style.HEADING)
        page.text(page.left + 48, y - 2.5, value, size=style.TITLE, bold=True)
        if below:
            y += line_height(style.BODY)
            page.text(page.left + 48, y - 2, below, bold=True)
    return y


def _draw_grid(page: Page, chart: Chart) -> None:
    box = chart.box
    page.text(box.left, box.top - 2.5, "weight, g", size=style.SMALL, across="right", colour=style.QUIET)
    for grams in gram_ticks(chart.least, chart.most):
        y = chart.y(grams)
        page.line([(box.left, y), (box.right, y)], GRID)
        page.text(box.left - 2, y, f"{grams:g}", upright="center", across="right")
    ticks = day_ticks(chart.first, chart.last)
    for before, day in zip([None, *ticks[:-1]], ticks, strict=True):
        x = chart.x(day)
        page.line([(x, box.top), (x, box.bottom)], GRID)
        name = f"{day.day} {MONTHS[day.month - 1]}"
        x = min(x, page.right - text_width(name, style.BODY) / 2)
        page.text(x, box.bottom + 6, name, across="center")
        if before is None or before.year != day.year:
            page.text(x, box.bottom + 11.5, str(day.year), size=style.SMALL, across="center", colour=style.QUIET)
    page.line(box.corners, style.RULE, closed=True)


def _draw_estimate(page: Page, chart: Chart, drying: Drying, weighed: date) -> None:
    """Draw the interval of the day, the weight it tends to, and the fitted curve."""
    if drying.ready is None or drying.ready_early is None or drying.final_weight is None:
        return
    box = chart.box
    left, right = chart.x(drying.ready_early), box.right
    if drying.ready_late is not None:
        right = min(right, chart.x(drying.ready_late))
    page.rectangle(Box(left, box.top, max(right - left, 1.0), box.height), READY_BAND)
    if drying.ready_late is None or drying.ready_late > chart.last:
        words = f"to {day_words(drying.ready_late)}" if drying.ready_late else "to a day not known"
        _draw_tag(page, box.right - 3 - text_width(words, style.BODY, bold=True), box.top + 7, words)
    y, x = chart.y(drying.final_weight), chart.x(drying.ready)
    page.line([(box.left, y), (box.right, y)], END_LINE)
    _draw_tag(page, box.left + 3, y - 2, f"tends to {drying.final_weight:.0f} g")
    page.line([(x, box.top), (x, box.bottom)], READY_LINE)
    _draw_curve(page, chart, drying, weighed)


def _draw_curve(page: Page, chart: Chart, drying: Drying, weighed: date) -> None:
    """Draw the fitted curve: dashed after the last weighing."""
    days = np.array([(day - chart.first).days for day, _ in drying.curve], dtype=float)
    weights = np.array([grams for _, grams in drying.curve])
    now = float((weighed - chart.first).days)
    for stroke, chosen in ((FITTED, days[days < now]), (FORECAST, days[days > now])):
        along = np.union1d(chosen, [now])
        points = [
            (chart.x(chart.first + timedelta(days=int(day))), chart.y(float(np.interp(day, days, weights))))
            for day in along
        ]
        page.line(points, stroke, clip=chart.box)


def _draw_tag(page: Page, x: float, y: float, words: str) -> None:
    """Write words on a plate of paper, so that no line runs through them."""
    width = text_width(words, style.BODY, bold=True)
    page.rectangle(Box(x - 1, y - 4.6, width + 2, 6.0), style.Fill(style.PAPER))
    page.text(x, y, words, bold=True)


def _draw_dot(page: Page, x: float, y: float) -> None:
    turn = np.linspace(0, 2 * np.pi, 32, endpoint=False)
    ring = np.column_stack([np.cos(turn), np.sin(turn)])
    page.area((x, y) + (DOT + 0.5) * ring, style.Fill(style.PAPER))
    page.area((x, y) + DOT * ring, style.Fill(style.VERMILLION))


def _draw_key(page: Page, drying: Drying, y: float) -> float:
    """Draw a sample of each mark that is used, with its name; return where what follows may start."""
    y += line_height(style.SMALL)
    x, middle = page.left, y - 1.6
    _draw_dot(page, x + 5, middle)
    page.text(x + 12, y, "weighed", size=style.SMALL)
    if drying.ready is not None:
        x += 36
        page.line([(x, middle), (x + 8, middle)], FITTED)
        page.line([(x + 9, middle), (x + 18, middle)], FORECAST)
        page.text(x + 20, y, "fitted; to come", size=style.SMALL)
        x += 60
        page.rectangle(Box(x, middle - 2.6, 12, 5.2), READY_BAND)
        page.line([(x + 6, middle - 2.6), (x + 6, middle + 2.6)], READY_LINE)
        page.text(x + 15, y, "ready, nine times in ten", size=style.SMALL)
    return y + 3
