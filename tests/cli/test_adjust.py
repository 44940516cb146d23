"""What a person types for ``photonest adjust`` is read as meant."""

import math

import pytest
import shapely
import typer

from photonest.cli.adjust import _defect, _reader
from tests.model.examples import whole_face

POINTS = _reader(whole_face(), px=False)


def test_a_defect_is_a_middle_with_a_width_or_an_edge() -> None:
    kind, edge = _defect("hole 12,-30 8", POINTS)
    assert kind == "hole"
    # A polygon about the circle: it holds all of it, and its corners lie 1 / cos(pi / 24), 0.9 %, farther out.
    assert shapely.Polygon(edge).buffer(1e-9).covers(shapely.Point(12, -30).buffer(4.0, 64))
    assert max(math.dist(corner, (12, -30)) for corner in edge) == pytest.approx(4.0 / math.cos(math.pi / 24))
    assert _defect("bark 0,0 10,0 10,5", POINTS) == ("bark", ((0.0, 0.0), (10.0, 0.0), (10.0, 5.0)))


@pytest.mark.parametrize("text", ["twig 1,2 3", "hole 1,2 wide", "hole", "hole 1,2 nan", "hole 1,2 -4"])
def test_what_is_no_defect_is_refused(text: str) -> None:
    with pytest.raises(typer.BadParameter):
        _defect(text, POINTS)
