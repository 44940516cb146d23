"""Weights over time, as they still hold."""

from __future__ import annotations

import io
from datetime import UTC, date, datetime

import pytest
from PIL import Image

from photonest.catalogue.entries import Happening
from photonest.catalogue.weights import weighings_of, weight_picture
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
