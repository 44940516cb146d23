"""Why no bowl fits, as a turner reads it: what stands in the way, what is nearest, and what helps in this case."""

import re
from dataclasses import replace

import pytest

from photonest.model import Jaws, NoPlanError, OutlineError, Range, Shop, Stock, StockError
from photonest.nest import plan_nest
from tests.nest.examples import face, radial_crack, ring

SLICE, LOG = Stock("slice", thickness=100.0), Stock("log", length=300.0)
TWINS = tuple(radial_crack(f"c{n}", 2.0 * n, -60, 60) for n in range(2))


@pytest.mark.parametrize(
    ("wood", "stock", "shop", "message", "hint"),
    [
        (face(ring(50.0)), SLICE, Shop(), "93 mm across.*120 mm. Only the edge", "larger piece.*to 92 mm"),
        (face(ring(80.0), pith=(0.0, 0.0)), SLICE, Shop(), "without the pith it would be 153 mm", "--through-pith"),
        (
            face(ring(75.0), (radial_crack("c1", 0, -60, 60),)),
            SLICE,
            Shop(),
            "without crack c1 it would be 1.. mm",
            "dismiss it, or give its depth",
        ),
        (face(ring(75.0), TWINS), SLICE, Shop(), "several together", "Dismiss those"),
        (
            replace(face(ring(75.0)), scale=replace(face(ring(75.0)).scale, standard_error_pct=15.0)),
            SLICE,
            Shop(),
            "99 mm across.*With the scale known exactly it would be 143 mm",
            "known to 30.0 %.*marker sheet",
        ),
        (face(ring(150.0)), Stock("slice", thickness=25.0), Shop(), "25 mm of thickness", "min_depth"),
        (
            face(ring(150.0)),
            SLICE,
            Shop(jaws=(Jaws("wide", Range(300.0, 310.0)),)),
            "smallest foot that your jaws hold is 300 mm",
            "smaller jaws",
        ),
        (face(ring(150.0), pith=(0.0, 0.0)), Stock("log", length=100.0), Shop(), "94 mm across between", "longer log"),
        (face(ring(60.0), pith=(0.0, 0.0)), LOG, Shop(), "either half of this log", "thicker log"),
    ],
)
def test_no_bowl_fits(wood: object, stock: Stock, shop: Shop, message: str, hint: str) -> None:
    with pytest.raises(NoPlanError, match=message) as told:
        plan_nest(wood, stock, shop)  # type: ignore[arg-type]
    assert re.search(hint, str(told.value.hint))


def test_a_wish_that_is_not_met_tells_what_there_is() -> None:
    with pytest.raises(NoPlanError, match=r"6 bowls don't fit: the most found is \d, .* mm across"):
        plan_nest(face(ring(150.0)), SLICE, Shop(), bowls=6)
    with pytest.raises(NoPlanError) as told:
        plan_nest(face(ring(150.0)), SLICE, Shop(), want=[280.0, 260.0])
    assert "Without that wish the rims are 2" in str(told.value.hint)
    with pytest.raises(StockError, match="-50 mm"):
        plan_nest(face(ring(150.0)), SLICE, Shop(), want=[-50.0])


def test_where_an_outline_crosses_itself_is_told() -> None:
    points = list(ring(150.0))
    points[10], points[60] = points[60], points[10]
    with pytest.raises(OutlineError, match=r"crosses itself at -?\d+, -?\d+ mm from the middle"):
        plan_nest(face(tuple(points)), SLICE, Shop())


def test_that_no_further_bowl_is_to_be_had_is_told_and_a_slip_of_thickness() -> None:
    plan = plan_nest(face(ring(100.0)), Stock("blank", thickness=900.0), Shop())
    assert any("see that it is right" in text for text in plan.warnings)
    assert any("No further bowl at least 120 mm across" in text for text in plan.reasons)
