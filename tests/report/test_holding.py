"""Grips: in the jaws' range, and recesses only in wood that is hollowed away."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import Point, Polygon, box

from photonest.model import Defect, Jaws, Nest, Range
from photonest.report.holding import RECESS_MARGIN, defects_in_recess, face_recess, first_hold, tenon_of
from tests.report import examples

PLAN = examples.plan()
NEST, SHOP = PLAN.nests[0], PLAN.shop


def test_recess_lies_in_the_wood_that_is_hollowed_away() -> None:
    recess = face_recess(NEST, SHOP)
    assert recess is not None
    hollow = Polygon([*NEST.bowls[-1].inner, (0.0, 0.0)])
    socket = box(0.0, 0.0, recess.diameter / 2, recess.depth)
    assert hollow.buffer(1e-6).contains(socket)
    wall = hollow.exterior.intersection(box(0.01, 0.01, 1e3, 1e3))  # without axis and rim plane
    assert socket.distance(wall) >= RECESS_MARGIN - 0.05


def test_recess_is_within_its_jaws() -> None:
    recess = face_recess(NEST, SHOP)
    assert recess is not None
    jaws = next(jaws for jaws in SHOP.jaws if jaws.name == recess.jaws)
    assert jaws.diameter.holds(recess.diameter)


def test_jaws_that_grip_all_round_at_one_size_set_it() -> None:
    shop = replace(SHOP, jaws=(Jaws("only", Range(60.0, 90.0), round_at=75.0),))
    recess = face_recess(NEST, shop)
    assert recess is not None
    assert (recess.diameter, recess.jaws) == (75.0, "only")


def test_no_recess_where_no_jaws_are_small_enough() -> None:
    shop = replace(SHOP, jaws=(Jaws("huge", Range(200.0, 300.0)),))
    assert face_recess(NEST, shop) is None


def test_no_recess_deeper_than_the_hollow() -> None:
    assert face_recess(NEST, replace(SHOP, tenon=60.0)) is None


def test_one_bowl_needs_no_recess() -> None:
    assert face_recess(Nest(NEST.axis, NEST.bowls[:1], ()), SHOP) is None


def test_tenon_is_the_foot() -> None:
    for bowl in NEST.bowls:
        grip = tenon_of(bowl, SHOP)
        assert (grip.diameter, grip.depth, grip.jaws) == (bowl.foot_diameter, SHOP.tenon, bowl.jaws)


def test_faceplate_screws_are_limited() -> None:
    assert "faceplate" in first_hold(NEST, replace(SHOP, screws=25.0))
    assert "25 mm" in first_hold(NEST, replace(SHOP, screws=25.0))


@pytest.mark.parametrize("away, named", [(0.0, True), (90.0, False)])
def test_unsound_wood_in_the_recess_is_named(away: float, named: bool) -> None:
    recess = face_recess(NEST, SHOP)
    assert recess is not None
    disc = Point(NEST.axis.point[0] + away, NEST.axis.point[1]).buffer(4)
    knot = Defect("k1", "knot", tuple(map(tuple, np.array(disc.exterior.coords[:-1]).tolist())), 0.9, "seen")
    face = replace(examples.blank_face(), defects=(knot,))
    assert ("knot k1" in defects_in_recess(face, NEST, recess)) == named
