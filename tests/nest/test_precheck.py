import pytest

from photonest.model import Shop, Stock, StockError
from photonest.nest import check_before_coring, check_plan, plan_nest, rim_centre
from tests.nest.examples import face, radial_crack, ring

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


def test_the_rim_turns_about_the_centre_of_its_circle() -> None:
    shifted = tuple((x + 7.0, y - 4.0) for x, y in ring(120.0))
    assert rim_centre(face(shifted)) == pytest.approx((7.0, -4.0), abs=0.01)


def test_a_log_is_not_cored() -> None:
    with pytest.raises(StockError, match="log"):
        check_before_coring(face(ring(150.0)), Stock("log", length=300.0), Shop())
