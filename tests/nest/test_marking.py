"""Marking words say from which of two edges their distances are taken."""

from dataclasses import replace

import pytest

from photonest.nest.marking import _from_edge
from tests.model.examples import whole_face


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
