"""Weights over time, as they still hold."""

from __future__ import annotations

import io
import itertools
from datetime import UTC, date, datetime

import pytest
from PIL import Image

from photonest.catalogue.entries import Happening
from photonest.catalogue.weights import LINE_PT, spread, weighings_of, weight_picture
from photonest.model import CatalogueError
from photonest.wood.weighings import Weighing

NOW = datetime(2031, 5, 1, tzinfo=UTC)


def weighed(day: int, grams: float, undone: bool = False) -> Happening:
    return Happening("weighed", date(2031, 4, day), NOW, {"grams": grams}, NOW if undone else None)


def test_what_holds_in_the_order_of_days() -> None:
    history = [
        Happening("added", date(2031, 4, 20), NOW, {}),
        weighed(20, 1700),
        weighed(2, 1900),
        weighed(25, 17000, undone=True),
        weighed(20, 1710),
    ]
    assert weighings_of(history) == (Weighing(date(2031, 4, 2), 1900), Weighing(date(2031, 4, 20), 1710))


def test_what_a_piece_weighed_before_wood_was_taken_off_is_left_out() -> None:
    turned = Happening("state", date(2031, 4, 10), NOW, {"state": "rough"})
    history = [weighed(2, 19000), weighed(10, 1900), turned, weighed(20, 1700)]
    assert weighings_of(history) == (Weighing(date(2031, 4, 10), 1900), Weighing(date(2031, 4, 20), 1700))
    undone = Happening(turned.kind, turned.day, NOW, turned.facts, NOW)
    put_aside = Happening("state", date(2031, 4, 10), NOW, {"state": "drying"})
    assert len(weighings_of([*history[:2], undone, put_aside, history[3]])) == 3


def test_a_picture_of_those_weighed_twice() -> None:
    series = {
        "KMGF": weighings_of([weighed(2, 1900), weighed(20, 1700)]),
        "AAX9": weighings_of([weighed(2, 1000)]),
    }
    with Image.open(io.BytesIO(weight_picture(series))) as picture:
        assert picture.size == (1080, 720)
    assert b"KMGF" not in weight_picture({"ELM-7": series["KMGF"]}, "svg")
    with pytest.raises(CatalogueError, match="weighed twice"):
        weight_picture({"AAX9": series["AAX9"]})


def test_codes_of_pieces_that_dry_alike_stand_clear_of_each_other() -> None:
    heights = [88.0, 90.0, 88.1, 88.05, 97.0, 88.0]
    placed = sorted(spread(heights, 1.5))
    assert all(b - a >= 1.5 - 1e-9 for a, b in itertools.pairwise(placed))
    assert spread(heights, 1.5)[4] == 97.0  # with room about it, it stays
    many = {f"K{n}": weighings_of([weighed(2, 1900), weighed(20, 1700)]) for n in range(50)}
    with Image.open(io.BytesIO(weight_picture(many))) as picture:
        assert picture.height >= 50 * LINE_PT / 72 * 120  # dots
