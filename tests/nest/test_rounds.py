from dataclasses import replace

import numpy as np
import pytest

from photonest.model import NoPlanError, OutlineError, Price, Shop, ShopError, Stock
from photonest.nest import check_plan, plan_nest
from photonest.nest.curves import turned_outside
from photonest.nest.rounds import Demand
from photonest.nest.rules import Rules
from tests.nest.examples import face, radial_crack, ring

SHALLOW = radial_crack("c1", 20, 10, 40, depth=8.0)


def test_a_shallow_crack_is_left_to_the_last_hollow_with_a_warning() -> None:
    wood, stock = face(ring(150.0), (SHALLOW,)), Stock("blank", thickness=130.0)
    plan = plan_nest(wood, stock, Shop())
    assert check_plan(wood, plan) == ()
    assert plan.nests[0].bowls[0].rim_diameter > 280
    assert any("c1" in warning for warning in plan.warnings)
    deep = face(ring(150.0), (radial_crack("c1", 20, 10, 40, depth=110.0),))
    assert plan_nest(deep, stock, Shop()).nests[0].bowls[0].rim_diameter < 200


@pytest.mark.parametrize(("depth", "left"), [(73.0, True), (74.0, False), (76.0, False)])
def test_the_hollow_clears_the_end_of_a_wide_shallow_crack_by_its_half_width_too(depth: float, left: bool) -> None:
    wood = face(ring(120.0), (radial_crack("c1", 20, 5, 30, depth=depth, width=6.0),))
    shop, stock = Shop(min_rim=100.0), Stock("blank", thickness=112.0)
    plan = plan_nest(wood, stock, shop, others=False)
    assert check_plan(wood, plan) == ()
    # left in the hollow, it lets the bowl be as wide as the wood; else the bowl lies beside it
    assert (plan.nests[0].bowls[0].rim_diameter > 200) is left


def test_shallow_cracks_at_the_rim_leave_no_gap() -> None:
    """No hollow can hold them, which is proven by where its wall would have to be."""
    cracks = (radial_crack("c1", 20, 125, 149, depth=12.0), radial_crack("c2", 140, 130, 149, depth=30.0))
    wood = face(ring(150.0), cracks)
    plan = plan_nest(wood, Stock("blank", thickness=120.0), Shop(), others=False)
    assert check_plan(wood, plan) == ()
    assert plan.bound.gap_pct < 1.0
    through = face(
        ring(150.0), tuple(radial_crack(c.id, a, s, 149) for c, a, s in zip(cracks, (20, 140), (125, 130), strict=True))
    )
    assert plan.score == plan_nest(through, Stock("blank", thickness=120.0), Shop(), others=False).score


def test_a_crack_seen_on_the_far_face_may_lie_below_the_bowls() -> None:
    wood = face(ring(150.0), (radial_crack("c1", 20, 10, 40, depth=15.0),))
    plan = plan_nest(wood, Stock("blank", thickness=150.0, rim="far"), Shop())
    assert check_plan(wood, plan) == ()
    assert plan.nests[0].bowls[0].rim_diameter > 280
    assert plan.nests[0].bowls[0].depth <= 150 - 15 - Shop().clearance + 0.05


def test_a_tapered_piece_gives_a_bowl_within_its_sides() -> None:
    wood = face(ring(150.0))
    straight = plan_nest(wood, Stock("blank", thickness=140.0), Shop())
    tapered = plan_nest(wood, Stock("blank", thickness=140.0, far_outline=ring(50.0)), Shop())
    assert check_plan(wood, tapered) == ()
    assert tapered.nests[0].bowls[0].capacity_ml < straight.nests[0].bowls[0].capacity_ml


def test_the_room_on_a_far_face_is_that_of_the_wood() -> None:
    """A ring of 150 mm less the trueing and twice its errors: no bowl of 310 mm, and the swing does not matter."""
    wood = face(ring(150.0), (radial_crack("c1", 40, 130, 149, depth=20.0),))
    with pytest.raises(NoPlanError, match=r"29\d mm across") as raised:
        plan_nest(wood, Stock("blank", thickness=120.0, rim="far"), Shop(min_rim=310.0))
    assert "swing" not in str(raised.value)


def test_screws_keep_clear_of_the_first_groove() -> None:
    wood, shop = face(ring(150.0)), Shop(screws=40.0)
    for thickness in (130.0, 170.0):  # a half ball ends above the back of the thicker one: its foot holds the faceplate
        plan = plan_nest(wood, Stock("blank", thickness=thickness), shop, others=False)
        bowl = plan.nests[0].bowls[0]
        assert check_plan(wood, plan) == ()
        assert bowl.base_min >= 40 + shop.clearance - 0.05
        near = replace(plan, shop=replace(shop, screws=bowl.base_min - shop.clearance + 0.2))
        assert "screws" in {violation.rule for violation in check_plan(wood, near)}
    assert bowl.depth < 170 - shop.clearance


def test_capacity_and_value() -> None:
    wood, stock = face(ring(160.0)), Stock("blank", thickness=140.0)
    shop = Shop(prices=(Price(150.0, 20.0), Price(250.0, 60.0), Price(320.0, 140.0)))
    by_count, by_capacity = plan_nest(wood, stock, shop), plan_nest(wood, stock, shop, objective="capacity")
    by_value = plan_nest(wood, stock, shop, objective="value")
    for plan in (by_count, by_capacity, by_value):
        assert check_plan(wood, plan) == ()
        assert plan.score.value <= plan.bound.value + 1e-9

    def held(plan: object) -> float:
        return sum(bowl.capacity_ml for bowl in plan.nests[0].bowls)  # type: ignore[attr-defined]

    assert held(by_capacity) >= held(by_count) - 1e-6
    assert by_capacity.score.value == pytest.approx(held(by_capacity), rel=1e-6)
    assert by_capacity.score.bowls < by_count.score.bowls  # more of them hold less: that is no gap
    for plan in (by_capacity, by_value):
        assert plan.bound.bowls == 0
        assert plan.bound.gap_pct == pytest.approx(100 * (plan.bound.value / plan.score.value - 1), abs=1e-6)
    with pytest.raises(ShopError, match="prices"):
        plan_nest(wood, stock, Shop(), objective="value")


def test_other_numbers_of_bowls_are_offered() -> None:
    plan = plan_nest(face(ring(160.0)), Stock("blank", thickness=140.0), Shop())
    assert [other.bowls for other in plan.alternatives] == list(range(plan.score.bowls - 1, 0, -1))
    fewer = plan_nest(face(ring(160.0)), Stock("blank", thickness=140.0), Shop(), bowls=1)
    assert fewer.score.bowls == 1


def test_an_axis_kept_is_kept() -> None:
    plan = plan_nest(face(ring(160.0)), Stock("blank", thickness=140.0), Shop(), keep_axis=(20.0, -10.0))
    assert plan.nests[0].axis.point[:2] == (20.0, -10.0)


def test_a_crossing_outline_is_refused() -> None:
    with pytest.raises(OutlineError, match="crosses itself"):
        plan_nest(face(((-90, -90), (90, 90), (90, -90), (-90, 90))), Stock("blank", thickness=100.0), Shop())


def test_how_far_the_axis_may_be_off_is_true() -> None:
    wood, stock = face(ring(160.0)), Stock("blank", thickness=140.0)
    plan = plan_nest(wood, stock, Shop())
    nest = plan.nests[0]
    x, y, _ = nest.axis.point
    near = plan_nest(wood, stock, Shop(), keep_axis=(x + nest.bowls_kept_off - 0.6, y))
    assert near.score.bowls == plan.score.bowls


def test_what_a_crack_less_would_bring_is_true() -> None:
    crack, stock = radial_crack("c1", 0, 120, 149), Stock("blank", thickness=140.0)
    plan = plan_nest(face(ring(150.0), (crack,)), stock, Shop())
    without = plan_nest(face(ring(150.0)), stock, Shop())
    more_bowls = without.score.bowls - plan.score.bowls
    gain = without.score.total_rim_diameter - plan.score.total_rim_diameter
    told = next(reason for reason in plan.reasons if "Without crack c1" in reason)
    assert (f"{more_bowls:+d} bowl" if more_bowls else f"{gain:+.1f} mm") in told
    assert any("thickness" in reason for reason in plan.reasons)


def test_an_axis_may_be_off_by_just_what_the_hollow_leaves() -> None:
    bowl = turned_outside(Rules(Shop()), np.array([120.0]), np.array([90.0]))
    at = Demand(np.array([60.0, 20.0]), np.array([20.0, 35.0]), np.array([5.0, 5.0]))
    slack = at.slack(bowl)
    assert slack > 0
    for off, held in ((slack - 1e-6, True), (2 * slack, False)):
        assert bool(Demand(at.rho + off, at.h, at.keep).met(bowl)[0]) is held
