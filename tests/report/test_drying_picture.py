"""The picture of a drying piece: what it says, and that a weighing is drawn where it was weighed."""

from __future__ import annotations

import re
from datetime import date

import numpy as np
import pytest
from numpy.typing import NDArray

from photonest.model import MoistureError
from photonest.report.drying_picture import GRID, MONTHS, day_ticks, drying_picture, gram_ticks
from photonest.report.style import GREEN, VERMILLION
from photonest.wood.drying import Drying, StartMoisture, follow_drying
from photonest.wood.weighings import Weighing
from tests.wood.pieces import Piece

WEIGHINGS = Piece().weighings(110, 14)


@pytest.fixture(scope="module")
def drying() -> Drying:
    return follow_drying(WEIGHINGS, StartMoisture(70.0, 5.0), 11.0)


@pytest.fixture(scope="module")
def svg(drying: Drying) -> str:
    return drying_picture(drying, WEIGHINGS, format="svg").decode()


def words_of(svg: str) -> list[str]:
    return re.findall(r"<text[^>]*>([^<]+)</text>", svg)


def paths(svg: str, style: str) -> list[NDArray[np.float64]]:
    """Return the points of every path whose style holds some text, shape (n, 2)."""
    found = re.findall(rf'<path d="([^"]+)"[^>]*style="[^"]*{style}', svg)
    return [np.array(re.findall(r"(-?[\d.]+) (-?[\d.]+)", d), dtype=float) for d in found]


def test_same_picture_same_bytes(drying: Drying) -> None:
    for format in ("png", "svg", "pdf"):
        once = drying_picture(drying, WEIGHINGS, format=format)
        assert once == drying_picture(drying, WEIGHINGS, format=format)
        assert once.startswith({"png": b"\x89PNG", "svg": b"<?xml", "pdf": b"%PDF"}[format])


def test_the_answer_stands_on_it(drying: Drying, svg: str) -> None:
    words = words_of(svg)
    assert drying.ready is not None
    assert f"{drying.ready.day} {MONTHS[drying.ready.month - 1]} {drying.ready.year}" in words
    assert any(text.startswith("between ") for text in words)
    assert "15 ± 3 %" in words  # 15.2 %, twice its standard error of 1.4 rounded up
    assert f"tends to {drying.final_weight:.0f} g" in words
    assert any("estimates: the band" in text for text in words)
    assert not any(text.startswith("to ") for text in words)  # the whole band is on the chart


def test_a_weighing_lies_where_the_axes_read_it(svg: str) -> None:
    """Read each dot off the printed scales, as a person would with a ruler."""
    grid = paths(svg, f"stroke: {GRID.colour}")
    across = sorted((line[0, 1] for line in grid if np.ptp(line[:, 1]) < 1e-6), reverse=True)
    upright = sorted(line[0, 0] for line in grid if np.ptp(line[:, 0]) < 1e-6)
    words = words_of(svg)
    grams = sorted(float(text) for text in words if re.fullmatch(r"\d{4}", text) and text != "2031")
    days = [f"1 {MONTHS[i]}" for i in range(len(upright))]
    assert [text for text in words if re.fullmatch(r"1 [A-Z][a-z]{2}", text)] == days
    numbers = [date(2031, i + 1, 1).toordinal() for i in range(len(upright))]

    dots = [(d.min(axis=0) + d.max(axis=0)) / 2 for d in paths(svg, f"fill: {VERMILLION.lower()}") if len(d) > 8]
    dots = [dot for dot in dots if dot[1] < across[0] + 40]  # the key's own lies below the chart
    assert len(dots) == len(WEIGHINGS)
    for (x, y), weighing in zip(dots, WEIGHINGS, strict=True):
        reads = np.polyval(np.polyfit(across, grams, 1), y), np.polyval(np.polyfit(upright, numbers, 1), x)
        # The file gives points to 1e-6; the grid is exact, so a hundredth of a gram and of a day is generous.
        assert reads == pytest.approx((weighing.weight, weighing.day.toordinal()), abs=0.01)


def test_an_interval_past_the_chart_is_told(drying: Drying) -> None:
    early = Piece().weighings(60, 14)
    found = follow_drying(early, StartMoisture(70.0, 5.0))
    assert found.ready_late is not None
    assert found.ready_late.year > 2031
    assert any(text == f"to {found.ready_late.day} Mar 2032" for text in words_of(_svg(found, early)))


def test_without_a_fit_nothing_is_promised() -> None:
    few = (Weighing(date(2031, 1, 1), 1700.0), Weighing(date(2031, 1, 20), 1500.0))
    picture = _svg(follow_drying(few), few)
    words = words_of(picture)
    assert "can't be told yet" in {text.replace("&#39;", "'") for text in words}
    assert "not known" in words
    assert not any("tends to" in text for text in words)
    assert GREEN.lower() not in picture


def test_one_weighing_and_none() -> None:
    one = (Weighing(date(2031, 1, 31), 1700.0),)
    assert "1700 g" in words_of(_svg(follow_drying(one), one))
    with pytest.raises(MoistureError):
        drying_picture(follow_drying(one), ())


@pytest.mark.parametrize(
    ("first", "days"), [("2031-01-31", 7), ("2031-03-15", 64), ("2030-11-30", 400), ("2031", 5000)]
)
def test_days_are_few_and_in_order(first: str, days: int) -> None:
    begin = date.fromisoformat(first if "-" in first else f"{first}-06-15")
    ticks = day_ticks(begin, date.fromordinal(begin.toordinal() + days))
    assert 2 <= len(ticks) <= 9
    assert ticks == sorted(set(ticks))
    assert begin <= ticks[0]
    assert ticks[-1].toordinal() <= begin.toordinal() + days


@pytest.mark.parametrize(("least", "most"), [(0.0, 4.0), (1035.0, 1770.0), (12.0, 9500.0), (999.5, 1003.5)])
def test_weights_are_round_and_few(least: float, most: float) -> None:
    ticks = gram_ticks(least, most)
    assert 3 <= len(ticks) <= 9
    assert least <= ticks[0]
    assert ticks[-1] <= most


def _svg(drying: Drying, weighings: tuple[Weighing, ...]) -> str:
    return drying_picture(drying, weighings, format="svg").decode()
