import math
from dataclasses import replace
from typing import Any

import pytest

from photonest.model import Bowl, Crack, Cut, Plan, Shop, Stock
from photonest.model.values import FieldError
from photonest.nest import check_plan, plan_nest
from tests.nest.examples import face, plain_blank, radial_crack, ring


def with_bowl(plan: Plan, place: int, **changes: object) -> Plan:
    nest = plan.nests[0]
    bowls: list[Bowl] = list(nest.bowls)
    bowls[place] = replace(bowls[place], **changes)  # type: ignore[arg-type]
    return replace(plan, nests=(replace(nest, bowls=tuple(bowls)),))


def with_cut(plan: Plan, **changes: object) -> Plan:
    nest = plan.nests[0]
    cuts: list[Cut] = [replace(nest.cuts[0], **changes), *nest.cuts[1:]]  # type: ignore[arg-type]
    return replace(plan, nests=(replace(nest, cuts=tuple(cuts)),))


def rules_broken(plan: Plan, *more: Crack) -> set[str]:
    blank, _ = plain_blank()
    return {violation.rule for violation in check_plan(replace(blank, cracks=blank.cracks + more), plan)}


def test_a_good_plan_breaks_no_rule() -> None:
    blank, plan = plain_blank()
    assert check_plan(blank, plan) == ()


@pytest.mark.parametrize(
    ("start", "end", "safe"), [(20, 60, False), (120, 130, False), (164.5, 170, True), (150, 170, False)]
)
def test_a_new_crack_in_a_wall_is_seen(start: float, end: float, safe: bool) -> None:
    _, plan = plain_blank()
    x, y, _ = plan.nests[0].axis.point
    crack = radial_crack("c9", 100, start, end, centre=(x, y))
    assert ("clearance" in rules_broken(plan, crack)) is not safe


def test_a_shallow_crack_in_the_last_hollow_is_let_be() -> None:
    _, plan = plain_blank()
    x, y, _ = plan.nests[0].axis.point
    assert rules_broken(plan, radial_crack("c9", 0, 5, 30, centre=(x, y), depth=10.0)) == set()
    assert "clearance" in rules_broken(plan, radial_crack("c9", 0, 5, 30, centre=(x, y), depth=40.0))


def test_a_place_is_known_no_better_than_that_of_the_rim() -> None:
    """By hand: from the axis a crack begins at 120 mm, half a millimetre wide to either side."""
    for at_rim, share in ((None, 0.002), (0.15, 0.002), (3.0, 0.02)):  # the rim lies 150 mm off, and 0.2 % is of all
        blank = face(ring(150.0), (radial_crack("c1", 0, 120, 149),))
        blank = replace(blank, scale=replace(blank.scale, rim_error_mm=at_rim))
        plan = plan_nest(blank, Stock("blank", thickness=70.0), Shop(), keep_axis=(0.0, 0.0), bowls=1, others=False)
        room = 120 - 0.5 - 5 - 2 * math.hypot(0.3, share * 120)
        assert 0 <= room - plan.nests[0].bowls[0].rim_diameter / 2 < 0.1 + 1e-9  # told in tenths, rounded down
        assert check_plan(blank, plan) == ()
        worse = replace(blank, scale=replace(blank.scale, rim_error_mm=4.0))
        assert {violation.rule for violation in check_plan(worse, plan)} == {"clearance"}


def test_a_crack_found_wider_since_is_as_wide_everywhere_and_no_opening_is_negative() -> None:
    crack = radial_crack("c1", 0, 120, 149, widths=(1.0, 1.0, 1.0, 0.4, 0.0))
    assert crack.openings == crack.widths
    assert set(replace(crack, width=4.0).openings) == {4.0} == set(replace(crack, width=4.0, widths=()).openings)
    _, plan = plain_blank()
    x, y, _ = plan.nests[0].axis.point
    near = radial_crack("c9", 100, 164.5, 170, centre=(x, y), widths=(0.1,) * 5, width=0.1)
    assert "clearance" not in rules_broken(plan, near)
    assert "clearance" in rules_broken(plan, replace(near, width=8.0))
    for wrong in (-3.0, math.nan):
        with pytest.raises(FieldError, match="widths"):
            replace(crack, widths=(wrong, 1.0, 1.0, 0.4, 0.0))


def test_thin_walls_and_bases_are_seen() -> None:
    _, plan = plain_blank()
    inner = tuple((rho * 1.04, h * 1.04) for rho, h in plan.nests[0].bowls[2].inner)
    assert {"wall", "base"} <= rules_broken(with_bowl(plan, 2, inner=inner))


def test_what_is_told_of_sawing_and_marking_is_checked() -> None:
    blank, plan = plain_blank()
    nest = plan.nests[0]
    cases: tuple[tuple[dict[str, Any], set[str]], ...] = (
        ({"saw_diameter": 2 * nest.bowls[0].outer[0][0]}, {"saw"}),
        ({"may_be_off": nest.may_be_off + 1.0}, {"leeway"}),
        ({"may_be_off": 0.0}, set()),
    )
    for changes, rules in cases:
        changed = replace(plan, nests=(replace(nest, **changes),))
        assert {violation.rule for violation in check_plan(blank, changed)} == rules


def test_a_shifted_pivot_is_seen() -> None:
    _, plan = plain_blank()
    rho, h = plan.nests[0].cuts[0].pivot
    assert "shape" in rules_broken(with_cut(plan, pivot=(rho, h - 1)))
    assert "reach" in rules_broken(with_cut(plan, pivot=(rho, -300.0)))


def test_wrong_speeds_cutters_and_figures_are_seen() -> None:
    _, plan = plain_blank()
    assert "speed" in rules_broken(with_cut(plan, top_rpm=900.0))
    assert "cutter" in rules_broken(with_cut(plan, cutter="R300"))
    assert "figures" in rules_broken(with_bowl(plan, 0, capacity_ml=1.0))
    assert "figures" in rules_broken(with_bowl(plan, 0, rim_diameter=300.0))
    assert "foot" in rules_broken(with_bowl(plan, 0, jaws="none"))


def test_the_wall_a_plan_asks_for_itself_is_heeded_and_may_not_be_less_than_the_rules() -> None:
    _, plan = plain_blank()
    least = plan.nests[0].bowls[0].wall_required
    assert {"wall", "base"} <= rules_broken(with_bowl(plan, 0, wall_required=least + 5))
    assert rules_broken(with_bowl(plan, 0, wall_required=least - 5)) == {"figures"}


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"swing": 250.0}, "swing"),
        ({"min_rim": 200.0}, "size"),
        ({"wall_share": 0.15}, "wall"),
        ({"tenon": 15.0}, "base"),
        ({"max_slope": 3.0}, "slope"),
        ({"trueing": 20.0}, "wood"),
        ({"clearance": 12.0}, "clearance"),
        ({"screws": 60.0}, "screws"),
    ],
)
def test_a_stricter_shop_is_heeded(changes: dict[str, float], rule: str) -> None:
    _, plan = plain_blank()
    assert rule in rules_broken(replace(plan, shop=replace(Shop(), **changes)))  # type: ignore[arg-type]


def test_thinner_wood_is_seen() -> None:
    _, plan = plain_blank()
    assert "wood" in rules_broken(replace(plan, stock=replace(plan.stock, thickness=100.0)))


def test_a_further_wall_need_is_heeded() -> None:
    blank, plan = plain_blank()
    assert any(v.rule == "wall" for v in check_plan(blank, plan, wall_need=lambda rim: 40.0))
