import pytest

from photonest.model import NoPlanError, Shop, Stock
from photonest.nest import check_plan, plan_nest
from tests.nest.examples import face, ring
from tests.nest.random_wood import random_piece

WOOD, STOCK = face(ring(170.0)), Stock("blank", thickness=140.0)


def test_the_sizes_wanted_are_there() -> None:
    plan = plan_nest(WOOD, STOCK, Shop(), want=[170.0, 300.0, 230.0])
    rims = [bowl.rim_diameter for bowl in plan.nests[0].bowls]
    assert all(rim >= size - 0.1 for rim, size in zip(rims, (300, 230, 170), strict=True))
    assert check_plan(WOOD, plan) == ()


@pytest.mark.parametrize(
    ("want", "reason"),
    [([500.0], "clear to 332 mm"), ([300.0, 295.0], "number 2"), ([310.0, 230.0, 165.0, 130.0], "number 4")],
)
def test_what_stops_a_set_is_told(want: list[float], reason: str) -> None:
    with pytest.raises(NoPlanError, match=reason):
        plan_nest(WOOD, STOCK, Shop(), want=want)


def test_bowls_wanted_leave_no_shallow_defect_that_the_best_nest_hollows_out() -> None:
    piece = random_piece(
        "blank", 21, 6063
    )  # a shallow hole: the wide bowl's hollow holds it, that of the least does not
    with pytest.raises(NoPlanError, match="number 2"):
        plan_nest(piece.face, piece.stock, piece.shop, want=(127.0, 202.0, 213.0), gap_pct=1.0, others=False)
    plan = plan_nest(piece.face, piece.stock, piece.shop, want=(150.0, 210.0), gap_pct=1.0, others=False)
    assert check_plan(piece.face, plan) == ()


def test_a_bowl_wanted_that_is_less_deep_than_the_wood_fits() -> None:
    plan = plan_nest(face(ring(110.0)), Stock("blank", thickness=140.0), Shop(), want=(200.0,), others=False)
    assert plan.nests[0].bowls[0].rim_diameter >= 200.0
