from dataclasses import replace

import pytest

from photonest.model import Defect, Pith, Shop, Stock
from photonest.nest import plan_nest
from tests.nest.examples import face, radial_crack, ring

KNOT = Defect("d1", "knot", ((20.0, -8.0), (36.0, -8.0), (36.0, 8.0), (20.0, 8.0)), 0.9, "seen")


@pytest.mark.parametrize(
    ("changes", "name"),
    [
        ({"cracks": (radial_crack("c2", 0, 10, 60),)}, "crack c2"),
        ({"defects": (KNOT,)}, "knot d1"),
        ({"pith": Pith((30.0, 0.0), 0.5)}, "the pith"),
        ({}, "the edge of the wood"),
    ],
)
def test_what_binds_the_first_bowl_is_named(changes: dict[str, object], name: str) -> None:
    """What lies near the middle leaves one side of the disc: it binds, together with the edge."""
    wood = replace(face(ring(150.0)), **changes)  # type: ignore[arg-type]
    plan = plan_nest(wood, Stock("slice", thickness=90.0), Shop())
    told = plan.nests[0].bowls[0].binds
    assert name in told
    assert "the edge of the wood" in told
    assert not any("crack c" in word or "knot" in word for word in told if word != name)
