"""Marking words say which line, edge and side they mean, and a circle that leaves wood to true."""

import re
from dataclasses import replace
from typing import Literal

import pytest

from photonest.model import Shop, Stock
from photonest.nest import check_plan, plan_nest
from photonest.nest.marking import _from_edge
from tests.model.examples import whole_face
from tests.nest.examples import face, ring


@pytest.mark.parametrize("bark", [True, False])
def test_distances_say_whether_they_are_from_under_the_bark(bark: bool) -> None:
    face = whole_face()  # a square of 100 mm in bark of 5 mm
    if not bark:
        face = replace(face, outline=replace(face.outline, under_bark=None))
    told = _from_edge(face, (10.0, 20.0))
    left, right, top, bottom = (60, 40, 70, 30) if bark else (65, 45, 75, 35)
    assert ("under the bark" in told) == bark
    assert f"{left} mm from the left edge" in told
    assert f"{right} mm from the right, {top} mm from the top and {bottom} mm from the bottom" in told


def test_the_circle_to_saw_leaves_the_trueing_and_is_never_told_smaller() -> None:
    shop = Shop()
    nest = plan_nest(face(ring(150.3)), Stock("blank", thickness=110.0), shop, others=False).nests[0]
    line = next(line for line in nest.marking if "no smaller than" in line)
    across = float(line.split("no smaller than ")[1].split(" mm")[0])
    assert 0 <= across - (nest.bowls[0].rim_diameter + 2 * shop.trueing) < 0.2  # both are told to a tenth


@pytest.mark.parametrize("towards", ["pith", "bark"])
def test_a_log_is_ripped_between_the_bowls_and_the_pith(towards: Literal["pith", "bark"]) -> None:
    wood, shop, pith = face(ring(150.0), pith=(4.0, -3.0)), Shop(), (4.0, -3.0)
    stock = Stock("log", length=300.0, rim_towards=towards)
    plan = plan_nest(wood, stock, shop, rip=0.0, others=False, work=1)
    assert len(plan.nests) == 2 and check_plan(wood, plan) == ()
    for nest in plan.nests:
        (x, y, _), (_, down, _) = nest.axis.point, nest.axis.direction
        planes = (y, y + down * nest.bowls[0].depth)  # of the rims and of the foot; the rip lies level in the photo
        twice = replace(plan, nests=(nest, nest))
        assert "halves" in {violation.rule for violation in check_plan(wood, twice)}
        nearest = min(planes, key=lambda plane: abs(plane - pith[1]))
        side = "upper" if sum(planes) / 2 < pith[1] else "lower"
        rip, centre, _ = nest.marking
        away = re.search(r"line (\S+) mm from the pith, on the (\w+) side", rip)
        assert away is not None and away[2] == side
        assert float(away[1]) == pytest.approx(abs(nearest - pith[1]), abs=0.51)  # told to a millimetre
        aside = re.search(r"(\S+) mm to the (left|right) of where", centre)
        if abs(x - pith[0]) > 0.5:
            assert aside is not None and aside[2] == ("left" if x < pith[0] else "right")
        half = (150.0**2 - nearest**2) ** 0.5  # the chord of the ring, on which the centre lies
        for name, far in (("left", half + x), ("right", half - x)):
            told = re.search(rf"(\d+) mm from the {name}", centre)
            assert told is not None and float(told[1]) == pytest.approx(far, abs=0.7)  # a polygon stands for the ring
