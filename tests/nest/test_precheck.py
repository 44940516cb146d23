from dataclasses import replace
from typing import Any

import pytest

from photonest.model import Axis, Shop, Stock, StockError
from photonest.nest import check_before_coring, check_plan, plan_nest, rim_centre
from tests.nest.examples import face, plain_blank, radial_crack, ring

STOCK = Stock("blank", thickness=120.0)


def test_sound_wood_is_clear() -> None:
    wood = face(ring(150.0))
    found = check_before_coring(wood, STOCK, Shop())
    assert found.all_clear
    assert found.safe is None
    assert {meeting.defect for meeting in found.bowls} == {""}


def test_a_crack_in_the_rim_is_hit_by_the_first_bowl_alone_and_the_rest_is_saved() -> None:
    wood = face(ring(150.0), (radial_crack("c4", 30, 138, 149),))
    found = check_before_coring(wood, STOCK, Shop(), axis=(0.0, 0.0))
    assert [meeting.verdict for meeting in found.bowls] == ["hit", "clear"]
    assert found.bowls[0].defect == "crack c4"
    # the rim is at 150 cos(1 degree) - 3 - 2 hypot(0.3, 0.2 % of 150) to a tenth, the crack begins at 138 - 0.5
    assert found.bowls[0].inside == pytest.approx(146.1 - 137.5, abs=0.15)
    assert found.safe is not None
    assert check_plan(wood, found.safe) == ()
    assert any("Turn" in line and "off the radius" in line for line in found.advice)


def test_a_crack_just_off_the_rim_is_close() -> None:
    wood = face(ring(150.0), (radial_crack("c1", 30, 148, 149.5),))
    found = check_before_coring(wood, STOCK, Shop(), axis=(0.0, 0.0))
    assert found.bowls[0].verdict == "close"
    assert 0 < found.bowls[0].distance < found.bowls[0].needed


@pytest.mark.parametrize("deepest_first", [True, False])
def test_of_two_cracks_that_hit_the_one_farther_inside_is_named(deepest_first: bool) -> None:
    cracks = (radial_crack("c1", 30, 130, 149), radial_crack("c2", 200, 139, 149))
    wood = face(ring(150.0), cracks if deepest_first else cracks[::-1])
    found = check_before_coring(wood, STOCK, Shop(), axis=(0.0, 0.0))
    assert found.bowls[0].defect == "crack c1"


def test_a_plan_made_for_another_centre_is_checked_where_the_blank_turns() -> None:
    wood = face(ring(150.0), (radial_crack("c1", 0, 120, 149),))
    plan = plan_nest(wood, STOCK, Shop())
    there = check_before_coring(wood, STOCK, Shop(), plan, axis=plan.nests[0].axis.point[:2])
    here = check_before_coring(wood, STOCK, Shop(), plan)
    assert there.all_clear
    assert here.bowls[0].verdict == "hit"


@pytest.mark.parametrize(
    ("changes", "where"), [({"top_rpm": 2000.0}, "cut 1"), ({"pivot": (0.0, -9.0)}, "cut 1"), ({}, "")]
)
def test_a_plan_changed_by_hand_is_not_cleared(changes: dict[str, Any], where: str) -> None:
    blank, plan = plain_blank()
    nest = plan.nests[0]
    changed = replace(nest, cuts=(replace(nest.cuts[0], **changes), *nest.cuts[1:]))
    axis = nest.axis.point[:2]
    found = check_before_coring(blank, plan.stock, plan.shop, replace(plan, nests=(changed,)), axis=axis)
    assert found.all_clear is not bool(where)
    assert bool(where) == any(where in line and "Don't cut" in line for line in found.advice)


def test_a_piece_that_was_not_turned_has_no_axis_yet() -> None:
    for ovality, guessed in ((0.0, False), (0.03, False), (0.12, True)):  # 0.12: radii of 141 and 159 mm
        wood = face(ring(150.0, ovality=ovality))
        assert guessed == any("9 mm off round" in line for line in check_before_coring(wood, STOCK, Shop()).advice)
        assert not any("round" in line for line in check_before_coring(wood, STOCK, Shop(), axis=(0.0, 0.0)).advice)


def test_the_rim_turns_about_the_centre_of_its_circle() -> None:
    shifted = tuple((x + 7.0, y - 4.0) for x, y in ring(120.0))
    assert rim_centre(face(shifted)) == pytest.approx((7.0, -4.0), abs=0.01)


def test_a_log_is_not_cored() -> None:
    with pytest.raises(StockError, match="log"):
        check_before_coring(face(ring(150.0)), Stock("log", length=300.0), Shop())


def test_a_blank_of_a_log_turns_about_an_axis_square_to_its_face() -> None:
    """A log's axes lie in its end; those of the blank sawn from a half stand square to the face that was ripped."""
    wood = face(ring(150.0), (radial_crack("c1", 0, 120, 149),))
    first = plan_nest(face(ring(150.0)), STOCK, Shop()).nests[0]
    lying = replace(first, axis=Axis((5.0, 5.0, 200.0), (0.6, 0.8, 0.0)))
    log = replace(plan_nest(wood, STOCK, Shop()), stock=Stock("log", length=400.0), nests=(lying, lying))
    here = check_before_coring(wood, STOCK, Shop(), log, half=2, axis=(0.0, 0.0))
    assert here.axis == Axis((0.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    assert here.bowls[0].verdict == "hit"
    far = replace(STOCK, rim="far")
    there = check_before_coring(wood, far, Shop(), log, half=1, axis=(0.0, 0.0))
    assert there.axis == Axis((0.0, 0.0, 120.0), (0.0, 0.0, -1.0))
    for half in (None, 0, 3):
        with pytest.raises(StockError, match="hal"):
            check_before_coring(wood, STOCK, Shop(), log, half=half)
    with pytest.raises(StockError, match="slice"):
        check_before_coring(wood, Stock("slice", thickness=120.0), Shop(), log, half=1)


def test_a_piece_too_small_for_its_plan_is_told_what_it_can_hold() -> None:
    wood = face(ring(150.0))
    plan = plan_nest(wood, STOCK, Shop())
    thin = check_before_coring(wood, replace(STOCK, thickness=80.0), Shop(), plan)
    assert not thin.all_clear
    assert "the piece is 80 mm thick" in thin.too_small[0]
    assert thin.safe is not None
    assert any(f"{thin.safe.nests[0].bowls[0].depth:.1f} mm deep, not" in line for line in thin.advice)
    aside = check_before_coring(wood, STOCK, Shop(), plan, axis=(60.0, 0.0))
    assert "the wood ends" in aside.too_small[0]
