"""Marking a log: rip lines, and the centre of each half on its ripped face."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from photonest.model import Stock, StockKind
from photonest.report.book import Book
from photonest.report.marking import rip_line
from photonest.report.piece_sheet import piece_pages
from photonest.report.style import drawing_settings
from tests.report import examples
from tests.report.test_plan_picture import lying
from tests.report.test_setup_sheet import texts

FACE, PLAN = examples.face(), lying()


def test_a_log_is_marked_by_two_rip_lines_and_two_centres() -> None:
    with drawing_settings():
        book = Book("A4", "log.jpg")
        piece_pages(book, None, FACE, PLAN, "mm")
        words = " ".join(texts(book.bound("A log")))
    assert "Log, 300 mm long: six bowls" in words
    for number, nest in enumerate(PLAN.nests, start=1):
        ends = rip_line(FACE, nest)
        assert f"Rip line {number}: the pith is" in words
        assert f"M{number} to N{number}, it is {np.hypot(*(ends[1] - ends[0])):.0f} mm long" in words
        told = re.search(rf"Half {number}: centre on the ripped face 150 mm from this end, (\d+) mm from M", words)
        assert told is not None
        away = np.hypot(*(ends[0] - np.array(nest.axis.point[:2])))
        assert float(told[1]) == pytest.approx(away, abs=0.51)  # told in whole mm
    # The pith lies at y = -8: 4 mm off the upper half's line at -12, on the side of the other half, which turns down.
    assert "Rip line 1: the pith is 4 mm ± 4 mm off, away from the bowls" in words
    assert "Rip line 2: the pith is 20 mm ± 4 mm off, away from the bowls" in words


def test_a_picture_full_of_labels_tells_no_inches_that_would_hide_the_marks() -> None:
    face = replace(FACE, cracks=tuple(replace(FACE.cracks[0], id=f"c{number}") for number in range(1, 13)))
    with drawing_settings():
        book = Book("Letter", "log.jpg")
        piece_pages(book, None, face, PLAN, "inch")
        words = " ".join(texts(book.bound("A log")))
    rim = PLAN.nests[0].bowls[0].rim_diameter
    assert f"1: Ø {rim:.0f}" in words
    assert f"1: Ø {rim:.0f} (" not in words
    assert " in) from this end" in words  # what is measured on the wood is told in both


@pytest.mark.parametrize(("kind", "told"), [("blank", False), ("slice", True)])
def test_that_a_side_grain_blank_shows_no_pith_is_no_news(kind: StockKind, told: bool) -> None:
    face = replace(examples.blank_face(), warnings=("Pith not found: plans can't avoid it.",))
    plan = replace(examples.plan(), stock=Stock(kind, thickness=150.0))
    with drawing_settings():
        book = Book("A4", "log.jpg")
        piece_pages(book, None, face, plan, "mm")
        words = " ".join(texts(book.bound("A piece")))
    assert ("Pith not found" in words) == told


def test_many_long_warnings_flow_over_and_the_far_rim_is_said() -> None:
    warnings = tuple(f"Warning {i}: " + 12 * "the wood may do something unexpected here " for i in range(14))
    plan = replace(examples.plan(), warnings=warnings, stock=Stock("blank", thickness=150.0, rim="far"))
    with drawing_settings():
        book = Book("A4", "log.jpg")
        piece_pages(book, None, examples.blank_face(), plan, "mm")
        told = texts(book.bound("A blank"))
    assert all(any(f"Warning {i}:" in text for text in told) for i in range(14))
    assert sum(text.startswith("The piece") for text in told) == len(told) > 1
    assert any("The rims lie on the far face" in text for text in told)


@pytest.mark.parametrize(
    ("stock", "said"),
    [
        (Stock("log", length=300.0), ("run all through", "no other cracks")),
        (Stock("log", length=300.0, check_depth=25.4), ("reach 25 mm (1 in)", "checked 25 mm (1 in) deep")),
        (Stock("log", length=300.0, check_depth=25.4, far_check_depth=50.8), ("25 mm (1 in)", "51 mm (2 in) deep")),
        (Stock("log", length=300.0, rim_towards="bark"), ("rims face the bark",)),
    ],
)
def test_what_a_log_is_taken_to_be_is_said(stock: Stock, said: tuple[str, ...]) -> None:
    warning = "The sheet lies 12 mm above the face."
    with drawing_settings():
        book = Book("A4", "log.jpg")
        piece_pages(book, None, FACE, replace(PLAN, stock=stock, warnings=(warning,)), "inch")
        words = " ".join(texts(book.bound("A log")))
    assert all(each in words for each in said)
    assert "12 mm (1/2 in) above the face" in words
    assert "bark and all" in words  # distances are from the outside of the bark
