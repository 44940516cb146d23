"""Plans beside the best: what is more than a detail, what speaks for them, and that asking for one gives it."""

import math
from dataclasses import replace

import pytest

from photonest.model import Axis, Nest, Shop, Stock
from photonest.nest import check_plan, plan_nest
from photonest.nest.runnersup import AXIS_SHARE, RIP_TURN, SIZE_SHARE, rip_of, rip_turn, what_differs, why_prefer
from tests.nest.examples import face, plain_blank, radial_crack, ring

NEST = plain_blank()[1].nests[0]
DIAMETER = plain_blank()[0].size.mean_diameter


def moved(away: float) -> Nest:
    x, y, z = NEST.axis.point
    return replace(NEST, axis=replace(NEST.axis, point=(x + 0.6 * away, y - 0.8 * away, z)))


def scaled(share: float) -> Nest:
    return replace(NEST, bowls=tuple(replace(b, rim_diameter=b.rim_diameter * share) for b in NEST.bowls))


def ripped(angle: float, *sizes: float) -> list[Nest]:
    """Return two nests of a log whose axes lie square to a rip line, angle as on paper."""
    turn = math.radians(90 - angle)
    bowls = tuple(replace(NEST.bowls[0], rim_diameter=size) for size in sizes)
    into = (math.cos(turn), math.sin(turn), 0.0)
    axes = (Axis((0.0, 0.0, 150.0), into), Axis((0.0, 0.0, 150.0), (-into[0], -into[1], 0.0)))
    return [replace(NEST, axis=axis, bowls=bowls, cuts=NEST.cuts[: len(bowls) - 1]) for axis in axes]


def test_a_little_aside_or_smaller_is_a_detail() -> None:
    assert what_differs([NEST], [moved(0.9 * AXIS_SHARE * DIAMETER)], DIAMETER) == ""
    assert what_differs([NEST], [scaled(1 - 0.9 * SIZE_SHARE)], DIAMETER) == ""
    assert what_differs(ripped(10.0, 300.0), ripped(10.0 + 0.9 * RIP_TURN, 300.0), 350.0) == ""


def test_more_than_a_detail() -> None:
    assert "axis" in what_differs([NEST], [moved(1.1 * AXIS_SHARE * DIAMETER)], DIAMETER)
    assert what_differs([NEST], [scaled(1 - 1.1 * SIZE_SHARE)], DIAMETER) == "other sizes"
    fewer = replace(NEST, bowls=NEST.bowls[:-1], cuts=NEST.cuts[:-1])
    assert what_differs([NEST], [fewer], DIAMETER) == "other sizes"
    assert "ripped" in what_differs(ripped(10.0, 300.0), ripped(10.0 + 1.1 * RIP_TURN, 300.0), 350.0)


@pytest.mark.parametrize(("one", "other", "turn"), [(5, 175, 10), (0, 90, 90), (30, 30, 0), (170, 20, 30)])
def test_a_rip_turned_half_round_is_the_same_rip(one: float, other: float, turn: float) -> None:
    assert rip_turn(ripped(one, 200.0), ripped(other, 200.0)[::-1]) == pytest.approx(turn)
    assert rip_of(ripped(one, 200.0)[0]) == pytest.approx(one)


def test_what_speaks_for_a_plan() -> None:
    plain = replace(NEST, cuts=tuple(replace(cut, cutter="A") for cut in NEST.cuts))
    mixed = replace(NEST, cuts=(replace(NEST.cuts[0], cutter="B"), *plain.cuts[1:]))
    assert why_prefer([mixed], [plain]) == ("one cutter does all its cuts, instead of 2",)
    assert why_prefer([plain], [mixed]) == ()
    near = replace(NEST, bowls=tuple(replace(b, clearance=5.0, binds=("the crack c1",)) for b in NEST.bowls))
    far = replace(near, bowls=tuple(replace(b, clearance=9.0, binds=()) for b in NEST.bowls), may_be_off=5.0)
    assert why_prefer([near], [far]) == (
        "it keeps 4 mm more from the nearest defect",
        "the axis may lie 5 mm off instead of 0",
    )


def test_a_runner_up_is_had_by_asking_for_it() -> None:
    """Each crack leaves its own place for a good nest: the choice is between them, and both can be told apart."""
    cracks = tuple(radial_crack(f"c{n}", angle, 0, 150) for n, angle in enumerate((0, 180, 90)))
    wood, stock = face(ring(190.0), cracks), Stock("blank", thickness=110.0)
    plan = plan_nest(wood, stock, Shop())
    other = plan.runners_up[0]
    assert other.asked is not None
    assert other.asked[0] == "keep-axis"
    x, y = (float(part) for part in other.asked[1].split(","))
    again = plan_nest(wood, stock, Shop(), keep_axis=(x, y))
    assert check_plan(wood, again) == ()
    assert [bowl.rim_diameter for bowl in again.nests[0].bowls] == pytest.approx(other.rim_diameters, abs=0.051)
    assert math.dist((x, y), plan.nests[0].axis.point[:2]) > AXIS_SHARE * wood.size.mean_diameter
    assert again.runners_up == ()


def test_fewer_cutters_are_a_choice() -> None:
    plan = plan_nest(face(ring(175.0)), Stock("blank", thickness=150.0), Shop())
    used = {cut.cutter for cut in plan.nests[0].cuts}
    fewer = [other for other in plan.runners_up if other.asked is not None and other.asked[0] == "cutters"]
    assert len(used) < 2 or all(any("instead of" in word for word in other.prefer) for other in fewer)
    if fewer:
        assert fewer[0].asked is not None
        assert set(fewer[0].asked[1].split(",")) < used
