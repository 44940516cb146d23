"""The set-up sheet tells every figure of the plan, refuses unsafe plans, and keeps to its paper."""

from __future__ import annotations

import functools
import io
import re
from dataclasses import replace

import pypdf
import pytest

from photonest.model import Alternative, Crack, Face, Plan, UnsafePlanError
from photonest.report import setup_sheet
from photonest.report.book import Book
from photonest.report.piece_sheet import piece_pages
from photonest.report.setup_sheet import _nest_pages, _order
from photonest.report.style import drawing_settings
from photonest.report.units import sixteenths
from tests.report import examples

FACE, PLAN, PHOTO = examples.blank_face(), examples.plan(), examples.photo()
NEST = PLAN.nests[0]


@functools.cache
def pages() -> list[str]:
    return texts(setup_sheet(PHOTO, FACE, PLAN))


def nest_page(plan: Plan) -> str:
    """Return the words of the page of the nest alone."""
    with drawing_settings():
        book = Book("A4", "ash.jpg")
        _nest_pages(book, FACE, plan, plan.nests[0], "mm")
        return texts(book.bound("The nest"))[0]


def texts(pdf: bytes) -> list[str]:
    return [re.sub(r"\s+", " ", page.extract_text()) for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def test_warnings_come_first() -> None:
    first = pages()[0]
    assert first.index("Crack c2 is still in the waste") < first.index("Blank, 150 mm thick once its faces")


def test_the_thickness_is_what_is_left_of_flat_faces() -> None:
    """Bowl 1 takes up the whole thickness, so nothing of it may be lost in turning the face flat."""
    assert NEST.bowls[0].depth == pytest.approx(PLAN.stock.thickness)
    assert "150 mm thick once its faces are flat: three bowls" in pages()[0]
    alone = replace(NEST, bowls=NEST.bowls[:1], cuts=())
    for order in (_order(FACE, PLAN, NEST, "mm"), _order(FACE, PLAN, alone, "mm")):
        flat = [step for step in order if "Turn the face flat" in step]
        assert len(flat) == 1
        assert f"{NEST.bowls[0].depth:.1f} mm must be left from there to the foot, else plan again" in flat[0]


def test_a_page_for_the_piece_the_nest_each_cut_and_drying() -> None:
    titles = ["The piece", "The nest", "Order of work", "Cut 1 of 2", "Cut 2 of 2", "Drying"]
    assert [title for title, text in zip(titles, pages(), strict=True) if text.startswith(title)] == titles
    assert "page 6 of 6" in pages()[5]


@pytest.mark.parametrize("index", [0, 1])
def test_every_figure_of_a_cut_is_on_its_page(index: int) -> None:
    cut, bowl, core, text = NEST.cuts[index], NEST.bowls[index], NEST.bowls[index + 1], pages()[3 + index]
    for figure in (-cut.pivot[1], abs(cut.pivot[0]), cut.entry_radius, cut.axis_depth, bowl.base_min):
        assert f"{figure:.1f} mm" in text
    assert f"{cut.start_rpm:.0f} rpm" in text
    assert f"{cut.top_rpm:.0f} rpm" in text
    assert f"tenon Ø {core.foot_diameter:.0f} mm, 6 mm long, {core.jaws} jaws" in text
    assert f"bowl {core.number}, Ø {core.rim_diameter:.0f} mm" in text
    assert ("toward the cut" if cut.pivot[0] > 0 else "away from the cut") in text
    assert "Every clamp checked twice" in text
    assert "first contact grabs" in text


def test_other_plans_to_choose_from_stand_by_the_nest() -> None:
    axes = (NEST.axis,)
    others = (Alternative(2, (313.4, 214.0), axes, ""), Alternative(1, (320.0,), axes, ""))
    nest = nest_page(replace(PLAN, alternatives=others))
    assert nest.startswith("The nest")
    assert "two bowls, rims Ø 313 mm, 214 mm; one bowl, rim Ø 320 mm" in nest
    assert "instead" not in pages()[1]


def test_the_order_of_work_names_tools_and_limits() -> None:
    nest, text = pages()[1:3]
    assert "recess" in text
    assert "face shield" in text.lower()
    assert "come before anything on this sheet" in text
    for bowl in NEST.bowls:
        assert f"{bowl.rim_diameter:.0f} mm" in nest


def test_marking_is_told_from_what_can_be_seen() -> None:
    text = pages()[0]
    assert re.search(r"A, the (inner|outer) end of c\d: \d+ mm ± \d", text)
    assert re.search(r"up \d+ mm, right \d+ mm, down \d+ mm, left \d+ mm", text)


def test_how_exactly_to_mark_is_told_where_known() -> None:
    with drawing_settings():
        book = Book("A4", "ash.jpg")
        off = replace(NEST, may_be_off=2.37, bowls_kept_off=6.8, saw_diameter=319.44)
        piece_pages(book, None, FACE, replace(PLAN, nests=(off,)), "mm")
        text = texts(book.bound("The piece"))[0]
    assert "no farther than 2.3 mm from where it is marked, every bowl comes out as planned" in text
    assert "Up to 6.8 mm off there are as many, some smaller: plan again then" in text
    assert "a circle of 159.8 mm radius" in text  # half of 319.44, upwards


def test_a_missing_photo_is_said() -> None:
    assert "ash-blank-07.jpg was not at hand" in texts(in_inches())[0]
    assert "not at hand" not in pages()[0]


@functools.cache
def in_inches() -> bytes:
    reason = "Without crack c1 there would be +16.0 mm of rim diameters in all."
    return setup_sheet(None, FACE, replace(PLAN, reasons=(reason,)), paper="Letter", units="inch")


def test_inches_stand_beside_millimetres() -> None:
    sheets = texts(in_inches())
    assert "+16.0 mm (5/8 in) of rim diameters" in sheets[1]
    assert "The drawing is in mm (and inches)." in sheets[1]
    assert "3/8 in below rim" in sheets[3]
    assert "its inches may be 0.8 mm off" in sheets[2]
    text = sheets[3]
    cut = NEST.cuts[0]
    for figure in (-cut.pivot[1], cut.pivot[0], cut.entry_radius, cut.axis_depth):
        assert f"{figure:.1f} mm ({sixteenths(figure)} in)" in text


def test_letter_has_its_size_and_as_many_pages() -> None:
    reader = pypdf.PdfReader(io.BytesIO(in_inches()))
    assert len(reader.pages) == 6
    for page in reader.pages:
        assert float(page.mediabox.width) == pytest.approx(612, abs=0.05)
        assert float(page.mediabox.height) == pytest.approx(792, abs=0.05)


def cracked(face: Face) -> Face:
    crack = Crack("c9", ((100.0, 0.0), (140.0, 0.0)), 1.0, 40.0, "radial", 0.9, "seen")
    return replace(face, cracks=(*face.cracks, crack))


def test_an_unsafe_plan_is_never_printed() -> None:
    with pytest.raises(UnsafePlanError, match=r"not printed: .*c9"):
        setup_sheet(PHOTO, cracked(FACE), PLAN)


def test_a_wall_too_thin_to_dry_is_never_printed() -> None:
    with pytest.raises(UnsafePlanError, match="wall"):
        setup_sheet(None, FACE, PLAN, wall_need=lambda rim: 0.3 * rim)


def test_one_bowl_needs_no_cuts_and_fewer_pages() -> None:
    plan = replace(PLAN, nests=(replace(NEST, bowls=NEST.bowls[:1], cuts=()),))
    told = texts(setup_sheet(None, FACE, plan))
    assert len(told) == 3
    assert "Hollow bowl 1 by hand" in told[1]
    assert "recess" not in told[1]


def test_runners_up_say_what_they_lose_and_what_speaks_for_them() -> None:
    words, asked = "an axis 41 mm from there", ("keep-axis", "30.0,5.5")
    other = Alternative(2, (300.0, 214.0), (NEST.axis,), words, "1 bowl", ("crack c2 stays far off",), asked)
    nest = nest_page(replace(PLAN, runners_up=(other,)))
    assert "Or otherwise, an axis 41 mm from there: two bowls, rims Ø 300 mm, 214 mm." in nest
    assert "It loses 1 bowl, but crack c2 stays far off." in nest
    assert "Plan again with --keep-axis 30.0,5.5 before you cut that." in nest
