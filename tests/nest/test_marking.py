"""Marking words say from which of two edges their distances are taken, and a circle that leaves wood to true."""

from dataclasses import replace

import pytest

from photonest.model import Shop, Stock
from photonest.nest import plan_nest
from photonest.nest.marking import _from_edge
from tests.model.examples import whole_face
from tests.nest.examples import face, ring


@pytest.mark.parametrize("bark", [True, False])
def test_distances_say_whether_they_are_from_under_the_bark(bark: bool) -> None:
    face = whole_face()  # a square of 100 mm in bark of 5 mm
    if not bark:
        face = replace(face, outline=replace(face.outline, under_bark=None))
    told = _from_edge(face, (10.0, 20.0))
    left, right, top, bottom = (60, 40, 70, 30) if bark else (65, 45, 75, 35)
    assert ("under the bark" in told) == bark
    assert f"{left} mm from the left edge" in told
    assert f"{right} mm from the right, {top} mm from the top and {bottom} mm from the bottom" in told


def test_the_circle_to_saw_leaves_the_trueing_and_is_never_told_smaller() -> None:
    shop = Shop()
    nest = plan_nest(face(ring(150.3)), Stock("blank", thickness=110.0), shop, others=False).nests[0]
    line = next(line for line in nest.marking if "no smaller than" in line)
    across = float(line.split("no smaller than ")[1].split(" mm")[0])
    assert 0 <= across - (nest.bowls[0].rim_diameter + 2 * shop.trueing) < 0.2  # both are told to a tenth
