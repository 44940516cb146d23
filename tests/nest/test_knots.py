"""Branches that lean: cones with their tips on the pith line, drawn in space, keep clear of every bowl."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from photonest.model import Crack, Defect, Face, Plan, Shop, Stock
from photonest.nest import check_plan, plan_nest
from photonest.nest.check import section
from photonest.nest.keepouts import keepouts
from photonest.nest.knots import sector
from tests.nest.examples import face, radial_crack, ring

PITH = (4.0, -3.0)


def knot(x: float, y: float, size: float) -> Defect:
    turns = np.linspace(0, 2 * math.pi, 14, endpoint=False)
    outline = tuple((x + size * math.cos(t), y + 0.6 * size * math.sin(t)) for t in turns.tolist())
    return Defect("d1", "knot", outline, 0.9, "seen", standard_error=0.5)


WOOD = face(ring(170.0, 90, 0.05), pith=PITH, defects=(knot(70.0, 40.0, 8.0),))


def cones(outline: object, random: np.random.Generator, deep: float) -> np.ndarray:
    """Return points in space of cones through an outline on the face, z = 0, their tips anywhere on the pith line.

    The section of such a cone at depth z is the outline drawn out from the pith by 1 - z / tip.
    """
    edge = np.asarray(outline)[:, None, :]
    tip = random.choice([-1.0, 1.0], 400) * random.uniform(5.0, 600.0, 400)
    z = random.uniform(0.0, deep, 400)
    grown = (1 - z / tip)[None, :, None]
    flat = np.asarray(PITH) + grown * (edge - PITH)
    points = np.dstack([flat, np.broadcast_to(z, flat.shape[:2])]).reshape(-1, 3)
    return points[np.tile(1 - z / tip > 0, len(edge))]  # the branch beyond its tip is none


def least_gap(plan: Plan, points: np.ndarray) -> float:
    """Return how near points in space come to any bowl or groove."""
    gaps = []
    for nest in plan.nests:
        away = points - np.asarray(nest.axis.point)
        h = away @ np.asarray(nest.axis.direction)
        rho = np.linalg.norm(away - h[:, None] * np.asarray(nest.axis.direction), axis=1)
        solid = section(nest.bowls[0].outer).difference(section(nest.bowls[-1].inner))
        gaps.append(float(shapely.distance(shapely.points(rho, h), solid).min()))
    return min(gaps)


@pytest.mark.parametrize("stock", [Stock("slice", thickness=90.0), Stock("log", length=260.0)])
def test_no_cone_of_any_lean_comes_near_a_bowl(stock: Stock) -> None:
    asked = replace(stock, knots_lean=True)
    plan = plan_nest(WOOD, asked, Shop(), gap_pct=5.0, work=2_000_000)
    assert check_plan(WOOD, plan) == ()
    points = cones(WOOD.defects[0].outline, np.random.default_rng(3), stock.thickness or stock.length or 0.0)
    inside = shapely.contains_xy(shapely.Polygon(WOOD.outline.wood), points[:, :2])
    assert inside.sum() > 1000
    assert least_gap(plan, points[inside]) >= Shop().clearance
    assert not any("straight down" in text for text in plan.warnings)


def test_a_plan_for_straight_knots_is_refused_where_they_may_lean() -> None:
    """A knot near the bark, whose branch may come inwards below the face: the straight plan takes that wood."""
    wood = replace(WOOD, defects=(knot(140.0, 70.0, 8.0),))
    plan = plan_nest(wood, Stock("slice", thickness=90.0, through_pith=True), Shop())
    assert check_plan(wood, plan) == ()
    assert any("--knots-lean" in text for text in plan.warnings)
    assert [fault.rule for fault in check_plan(wood, replace(plan, stock=replace(plan.stock, knots_lean=True)))] == [
        "clearance"
    ]


def test_a_knot_about_the_pith_and_one_on_side_grain_stay_as_they_are() -> None:
    assert sector(knot(*PITH, 9.0).outline, PITH, 170.0) is None
    for wood, stock in (
        (
            replace(WOOD, defects=(knot(*PITH, 9.0),)),
            Stock("slice", thickness=90.0, through_pith=True, knots_lean=True),
        ),
        (WOOD, Stock("blank", thickness=90.0, knots_lean=True)),
    ):
        plan = plan_nest(wood, stock, Shop())
        assert check_plan(wood, plan) == ()
        assert any("straight down" in text for text in plan.warnings)


def test_end_checks_end_at_their_depth_and_other_defects_do_not() -> None:
    """A hole, a knot or decay goes on behind the checks unless it was probed."""
    crack: Crack = radial_crack("c1", 200, 60, 100)
    wood: Face = replace(WOOD, cracks=(crack,))
    outs = keepouts(wood, Stock("log", length=300.0, check_depth=30.0), Shop())
    assert {out.name: out.depth for out in outs[1:]} == {"crack c1": 30.0, "knot d1": None}


def test_a_ring_shake_is_no_end_check() -> None:
    """Drying splits wood across the rings (end checks are radial); along them it parts in the standing tree."""
    ring_shake: Crack = radial_crack("c1", 200, 60, 100, kind="ring")
    log = Stock("log", length=300.0, check_depth=30.0)
    for crack, depth in ((ring_shake, None), (replace(ring_shake, depth=70.0), 70.0)):
        wood: Face = replace(WOOD, cracks=(crack,))
        assert {out.name: out.depth for out in keepouts(wood, log, Shop())[1:]} == {"crack c1": depth, "knot d1": None}
