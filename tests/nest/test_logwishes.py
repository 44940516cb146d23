"""What is asked of a log: each wish is kept, checked by the independent check, and refused with what is nearest."""

import math

import numpy as np
import pytest

from photonest.model import NoPlanError, Plan, Shop, Stock, StockError
from photonest.nest import check_plan, plan_nest
from tests.nest.examples import face, radial_crack, ring

WOOD = face(ring(150.0, 120, 0.06), (radial_crack("c1", 75, 60, 145),), pith=(8.0, 3.0))
STOCK = Stock("log", length=320.0)


def plan(**asked: object) -> Plan:
    made = plan_nest(WOOD, STOCK, Shop(), gap_pct=5.0, work=2_000_000, **asked)  # type: ignore[arg-type]
    assert check_plan(WOOD, made) == ()
    return made


def rims(made: Plan) -> list[float]:
    return sorted((bowl.rim_diameter for nest in made.nests for bowl in nest.bowls), reverse=True)


def test_a_log_is_ripped_in_the_direction_asked_and_both_axes_cross_the_point_asked() -> None:
    """The line lies square to the axes; on paper y points up, on the face down."""
    rip = 150.0
    made = plan(rip=rip, keep_axis=(8.0, 3.0))
    assert len(made.nests) == 2
    for nest in made.nests:
        x, y, _ = nest.axis.direction
        assert abs(x * math.cos(math.radians(rip)) - y * math.sin(math.radians(rip))) < 1e-9
        assert any(f"at {rip:.0f} degrees" in line for line in nest.marking)
        away = np.array(nest.axis.point[:2]) - (8.0, 3.0)
        assert abs(away[0] * y - away[1] * x) < 1e-6


def test_just_so_many_bowls() -> None:
    made = plan(bowls=1)
    assert made.score.bowls == made.bound.bowls == 1
    assert not any("Only one half" in text for text in made.warnings)
    assert plan(bowls=3, objective="capacity").score.bowls == 3


def test_too_many_bowls_are_refused_with_the_most_there_are() -> None:
    with pytest.raises(NoPlanError, match=r"7 bowls .* the most found is") as told:
        plan(bowls=7)
    assert "mm in one half" in told.value.message


def test_the_sizes_wanted_are_shared_out_between_the_halves() -> None:
    want = (150.0, 215.0, 200.0)
    found = rims(plan(want=want))
    assert len(found) == len(want)
    assert all(rim >= size - 0.1 for rim, size in zip(found, sorted(want, reverse=True), strict=True))


def test_what_stops_a_set_is_told_with_what_is_nearest() -> None:
    with pytest.raises(NoPlanError, match=r"285 mm across .* beside 285 mm in this log: the largest found") as told:
        plan(want=(285.0, 285.0))
    assert "Without that wish the log gives" in str(told.value.hint)
    with pytest.raises(StockError, match="9 sizes"):
        plan(want=(150.0,) * 9)


def test_what_can_not_be_asked() -> None:
    with pytest.raises(StockError, match="outside the wood"):
        plan(keep_axis=(400.0, 0.0))
    with pytest.raises(StockError, match="not ripped"):
        plan_nest(WOOD, Stock("slice", thickness=100.0), Shop(), rip=30.0)
