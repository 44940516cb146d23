import pytest

from photonest.model import NoPlanError, Shop, Stock
from photonest.nest import check_plan, plan_nest
from tests.nest.examples import face, ring

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
