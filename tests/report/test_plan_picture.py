"""The picture of the plan: every bowl and cut with its sizes, with a photo or without, standing or lying."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from PIL import Image

from photonest.model import Axis, Nest, Plan, Stock
from photonest.report import plan_picture
from tests.report import examples
from tests.report.test_face_picture import words_of

PHOTO, FACE, PLAN = examples.photo(), examples.blank_face(), examples.plan()


def test_svg_tells_every_bowl_and_cut() -> None:
    words = words_of(plan_picture(PHOTO, FACE, PLAN, format="svg"))
    for bowl in PLAN.nests[0].bowls:
        assert f"{bowl.number}: Ø {bowl.rim_diameter:.0f}" in words
        assert f"{bowl.depth:.0f} mm" in words
    for cut in PLAN.nests[0].cuts:
        assert cut.cutter in words
        assert f"{-cut.pivot[1]:.1f} mm" in words
        assert f"pivot {cut.number}" in words
    assert "11.4 near" in words
    assert "487 rpm" in words
    assert any("Crack c2" in word for word in words)


def test_what_the_face_warns_of_is_told_beside_the_plan() -> None:
    doubtful = replace(FACE, warnings=("Pith not found.", "The photo is tilted."))
    words = words_of(plan_picture(None, doubtful, PLAN, format="svg"))
    assert "The photo is tilted." in words
    assert "Pith not found." not in words  # a side-grain blank shows none


def test_without_a_photo() -> None:
    words = words_of(plan_picture(None, FACE, PLAN, format="svg"))
    assert "1: Ø 313" in words


def test_inches_stand_below_millimetres() -> None:
    words = words_of(plan_picture(None, FACE, PLAN, format="svg", units="inch"))
    assert "12 5/16 in" in words  # 313.4 mm are 12.34 inches, nearest to 12 5/16
    assert "1: Ø 313 (12 5/16 in)" in words
    assert "7/16 in" in words  # the offset of cut 1, 11.4 mm


def test_png_opens() -> None:
    picture = Image.open(io.BytesIO(plan_picture(PHOTO, FACE, PLAN)))
    assert picture.width == pytest.approx(200 / 25.4 * 200, abs=1)


def one_bowl() -> Plan:
    nest = PLAN.nests[0]
    return replace(PLAN, nests=(Nest(nest.axis, nest.bowls[:1], ()),), score=replace(PLAN.score, bowls=1), warnings=())


def lying() -> Plan:
    nest = PLAN.nests[0]
    up = Nest(Axis((0.0, -12.0, 150.0), (0.0, -1.0, 0.0)), nest.bowls, nest.cuts)
    down = Nest(Axis((0.0, 12.0, 150.0), (0.0, 1.0, 0.0)), nest.bowls, nest.cuts)
    return replace(PLAN, stock=Stock("log", length=300.0), nests=(up, down))


def test_one_bowl_has_no_cuts() -> None:
    words = words_of(plan_picture(None, FACE, one_bowl(), format="svg"))
    assert "One bowl" in words
    assert "cutter" not in words


def test_a_log_shows_both_halves() -> None:
    words = words_of(plan_picture(PHOTO, FACE, lying(), format="svg"))
    assert words.count("1: Ø 313") == 2
    assert words.count("pivot 1") == 2
