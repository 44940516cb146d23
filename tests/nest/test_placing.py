"""The room that points leave a first bowl, against distances to bowls of many depths."""

import numpy as np
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from photonest.model import Shop
from photonest.nest.curves import deepest, turned_outside
from photonest.nest.placing import distance_to_shape, room_by_defects
from photonest.nest.rules import Rules

RULES = Rules(Shop())


@given(st.floats(60, 170), st.floats(0, 1.2), st.floats(-10, 180), st.floats(-40, 15))
@example(60.0, 1.078125, 2.0, 5.0)  # beside the rim, nearer to its plane than the distance to keep
@settings(max_examples=200)
def test_room_is_the_deepest_bowl_that_keeps_its_distance(rim: float, share: float, h: float, keep: float) -> None:
    """A negative distance lets the bowl hold the point, so far inside and no farther."""
    assume(abs(h) > 0.01 and abs(h + keep) > 0.01)  # on the rim plane, or as far below it as it may lie inside
    rho, foot = share * rim, RULES.foot(rim)
    asked = (np.array([[figure]]) for figure in (rim, float(foot), rho, h, keep))
    found = min(float(room_by_defects(*asked)[0, 0]), float(deepest(RULES, rim)))
    depths = np.linspace(1.0, float(deepest(RULES, rim)), 300)
    bowls = turned_outside(RULES, np.full(300, rim), depths)
    clear = distance_to_shape(bowls, np.array([rho]), np.array([h]))[:, 0] >= keep - 1e-7
    most = float(depths[clear].max(initial=0.0))
    assert most - 1e-4 <= found <= max(most, 1.0) + (depths[1] - depths[0]) + 1e-4
