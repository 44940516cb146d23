"""`after_drying` in a plan: the right wood round each bowl, the worst case where it is not known, and the warnings."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import pytest

from photonest.model import (
    Axis,
    Bound,
    Bowl,
    Cut,
    Face,
    FaceFacts,
    FieldError,
    Nest,
    Plan,
    Score,
    Shop,
    SpeciesError,
    Stock,
    plan_from_document,
    plan_to_document,
)
from photonest.wood.dry_plan import BlankGrain, fill_after_drying
from photonest.wood.species import Species, find_species, load_species
from tests.model.examples import whole_face
from tests.wood.shapes import arc_bowl, straight_bowl

SPECIES = load_species()
MAPLE = find_species("hard maple", SPECIES)
FACE = whole_face()
assert FACE.pith is not None
PITH = FACE.pith.point


def make_bowl(number: int, rim: float, depth: float, wall: float) -> Bowl:
    outer, inner = arc_bowl(rim, depth, wall)
    return Bowl(number, rim, depth, wall, wall + 6, 1000.0, 1000.0, outer, inner)


def make_plan(stock: Stock, axis: Axis, *bowls: Bowl) -> Plan:
    cuts = tuple(Cut(i, "R150", 150.0, 8.0, (0.0, -20.0), 120.0, 80.0, 300.0, 400.0) for i in range(1, len(bowls)))
    return Plan(
        FaceFacts("face.json", "ab" * 32),
        stock,
        Shop(),
        (Nest(axis, bowls, cuts),),
        Score("bowls", len(bowls), sum(b.rim_diameter for b in bowls), 0.0),
        Bound(0.0, 0.0),
    )


def log_plan(distance: float, *bowls: Bowl) -> Plan:
    axis = Axis((PITH[0] + distance, PITH[1], 200.0), (1.0, 0.0, 0.0))
    return make_plan(Stock("log", length=400.0), axis, *bowls)


def dried(plan: Plan, face: Face = FACE, grain: BlankGrain | None = None, species: Species = MAPLE) -> dict[str, Any]:
    filled = fill_after_drying(plan, face, species, grain=grain or BlankGrain())
    return dict(filled.nests[0].bowls[0].after_drying)


def test_a_bowl_of_a_log_knows_its_pith() -> None:
    # Hard maple, rim of 300 mm at 60 mm from the pith, 8 %: 283.8 across, 5.3 %, lift 6.6 (the polar map by hand).
    found = dried(log_plan(60.0, make_bowl(1, 300, 110, 30)))
    assert found["rim_along"] == pytest.approx(299.7, abs=0.06)
    assert found["rim_across"] == pytest.approx(283.8, abs=0.06)
    assert found["ovality_pct"] == pytest.approx(5.3, abs=0.06)
    assert found["rim_lift"] == pytest.approx(6.6, abs=0.06)
    assert found["species"] == "sugar maple"
    assert not found["worst_case"]


def test_the_band_lies_round_the_mean() -> None:
    found = dried(log_plan(60.0, make_bowl(1, 300, 110, 30)))
    for size in ("rim_diameter", "depth", "wall"):
        assert found["moves_more"][size] < found[size] < found["moves_less"][size]
    # The rim's loss across is 16.2 mm; 15 % of it is 2.4 mm.
    assert found["rim_diameter"] - found["moves_more"]["rim_diameter"] == pytest.approx(2.4, abs=0.2)


def test_weights_by_hand() -> None:
    outer, inner = straight_bowl(300, 100, 30)
    bowl = dataclasses.replace(make_bowl(1, 300, 100, 30), outer=outer, inner=inner)
    found = dried(log_plan(60.0, bowl))
    volume = math.pi * (0.150**2 * 0.100 - 0.120**2 * 0.064)  # m3
    assert found["green_weight_g"] == pytest.approx(1e6 * 0.56 * 1.57 * volume, abs=1)
    assert found["dry_weight_g"] == pytest.approx(1e6 * 0.56 * 1.08 * volume, abs=1)


def test_an_end_grain_bowl_of_a_slice() -> None:
    axis = Axis((PITH[0], PITH[1] + 400.0, 0.0), (0.0, 0.0, 1.0))
    plan = make_plan(Stock("slice", thickness=120.0), axis, make_bowl(1, 200, 80, 20))
    found = dried(plan)
    assert found["oval_along"] == "ray"
    # Second way: the ray's ends at 300 and 500 mm; the ring's at hypot(400, 100), turned by k each side.
    er, et = 0.0352, 0.0726
    assert found["rim_along"] == pytest.approx(200 * (1 - er), abs=0.06)
    angle = math.atan2(100, 400) * (1 - et) / (1 - er)
    assert found["rim_across"] == pytest.approx(2 * (1 - er) * math.hypot(100, 400) * math.sin(angle), abs=0.06)


def test_a_bowl_with_the_pith_gets_no_shape_but_advice() -> None:
    axis = Axis((PITH[0] + 20, PITH[1], 0.0), (0.0, 0.0, 1.0))
    stock = Stock("slice", thickness=120.0, through_pith=True)
    filled = fill_after_drying(make_plan(stock, axis, make_bowl(1, 200, 80, 20)), FACE, MAPLE)
    found = filled.nests[0].bowls[0].after_drying
    assert found["stress_free"] is False
    assert found["gap_angle_deg"] == 14.0  # 360 (et - er) / (1 - er), hard maple at 8 %
    assert "rim_diameter" not in found
    assert any("holds the pith" in warning for warning in filled.warnings)


@pytest.mark.parametrize("pith_depth", [-300.0, -40.0, -12.0, 105.0, 200.0, 500.0])
def test_an_unknown_pith_is_the_worst_case(pith_depth: float) -> None:
    axis = Axis((30.0, 10.0, 0.0), (0.0, 0.0, 1.0))
    plan = make_plan(Stock("blank", thickness=95.0), axis, make_bowl(1, 250, 90, 25))
    known = dried(plan, grain=BlankGrain(30.0, pith_depth))
    worst = dried(plan)
    assert worst["worst_case"]
    assert not known["worst_case"]
    for size in ("rim_diameter", "depth", "wall"):
        # Between the distances tried a size may be a little worse: less than 3 % of the movement of about 18 mm.
        assert worst[size] <= known[size] + 0.5
    assert worst["ovality_pct"] >= known["ovality_pct"] - 0.1


def test_what_is_assumed_is_said() -> None:
    axis = Axis((30.0, 10.0, 0.0), (0.0, 0.0, 1.0))
    plan = make_plan(Stock("blank", thickness=95.0), axis, make_bowl(1, 250, 90, 25))
    unknown = fill_after_drying(plan, FACE, MAPLE).warnings
    assert any("worst place" in text for text in unknown)
    assert any("grain's direction is not known" in text for text in unknown)
    known = fill_after_drying(plan, FACE, MAPLE, grain=BlankGrain(30.0, -50.0)).warnings
    assert any("straight below or above" in text for text in known)
    blind = dataclasses.replace(FACE, pith=None)
    log = log_plan(60.0, make_bowl(1, 250, 90, 25))
    assert any("pith is not known" in text for text in fill_after_drying(log, blind, MAPLE).warnings)
    assert dried(log, blind)["worst_case"]
    assert fill_after_drying(log, FACE, MAPLE).warnings == ()


def test_a_wall_too_thin_is_warned_of() -> None:
    beech = find_species("American beech", SPECIES)
    thin = fill_after_drying(log_plan(300.0, make_bowl(1, 250, 90, 14)), FACE, beech)
    assert any("Bowl 1: after drying it will probably be too thin" in text for text in thin.warnings)
    edge = fill_after_drying(log_plan(300.0, make_bowl(1, 250, 90, 18.5)), FACE, beech)
    assert any("may be too thin" in text for text in edge.warnings)


def test_the_filled_plan_goes_through_its_file() -> None:
    filled = fill_after_drying(log_plan(60.0, make_bowl(1, 300, 110, 30), make_bowl(2, 200, 70, 20)), FACE, MAPLE)
    assert plan_from_document(plan_to_document(filled)) == filled
    assert all(bowl.after_drying for bowl in filled.nests[0].bowls)


def test_a_pith_inside_the_blank_is_refused() -> None:
    plan = make_plan(Stock("blank", thickness=95.0), Axis((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)), make_bowl(1, 250, 90, 25))
    with pytest.raises(FieldError, match="pith_depth must lie outside the blank"):
        fill_after_drying(plan, FACE, MAPLE, grain=BlankGrain(0.0, 40.0))


def test_a_species_without_data_is_refused() -> None:
    with pytest.raises(SpeciesError, match="has no figure for radial"):
        fill_after_drying(log_plan(60.0, make_bowl(1, 250, 90, 25)), FACE, Species("pear", "Pyrus communis"))
