"""Where calipers go, found a second way."""

from __future__ import annotations

import pytest
from shapely.geometry import LineString, Point

from photonest.model import Bowl
from photonest.report.cut_drawing import BELOW_RIM, caliper_places
from tests.report import examples


@pytest.mark.parametrize("bowl", examples.plan().nests[0].bowls, ids=lambda bowl: f"bowl {bowl.number}")
def test_calipers_read_the_wall(bowl: Bowl) -> None:
    rim, half, base = caliper_places(bowl)
    outside, inside = LineString(bowl.outer), LineString(bowl.inner)
    for place in (rim, half):
        assert inside.distance(Point(place.inside)) < 1e-6
        assert place.wall == pytest.approx(outside.distance(Point(place.inside)), abs=1e-6)
        assert place.wall >= bowl.wall_min - 1e-6
    assert rim.inside[1] == pytest.approx(min(BELOW_RIM, bowl.inner[-1][1] / 4), abs=0.3)
    assert inside.project(Point(half.inside)) == pytest.approx(inside.length / 2, abs=1e-6)
    assert base.wall == pytest.approx(bowl.base_min)
