"""How far an outline reaches while it turns, against the outline turned."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from photonest.nest.keepouts import segments_of
from photonest.nest.logsite import sampled
from photonest.nest.turning import reach_of
from tests.nest.examples import ring


@settings(max_examples=60)
@given(half=st.floats(0.0, 0.2), share=st.floats(-1.0, 1.0), step=st.sampled_from([3, 12]), lobes=st.floats(0.0, 0.05))
def test_wood_turned_within_a_span_stays_in_its_polygon(half: float, share: float, step: int, lobes: float) -> None:
    outline, _ = sampled(segments_of(ring(150.0, 90, 0.1, lobes), closed=True), 1.0)
    turn = share * half
    cosine, sine = math.cos(turn), math.sin(turn)
    turned = outline @ np.array([[cosine, sine], [-sine, cosine]])
    reach = reach_of(outline)
    polygon = shapely.Polygon(reach.polygon(half, step)).buffer(1e-9)
    assert polygon.contains(shapely.Polygon(turned))
    wood = shapely.Polygon(turned)
    # between two points looked at, 0.25 mm apart, the edge is a chord: it lies in by far less than 0.02 mm
    assert not shapely.contains_xy(wood.buffer(-0.02), reach.outermost(half)).any()


def test_a_circle_reaches_its_radius() -> None:
    angles = np.linspace(0.0, 2 * math.pi, 1000, endpoint=False)
    circle = 150.0 * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    assert np.hypot(*reach_of(circle).outermost(0.1).T) == pytest.approx(150.0, abs=0.001)  # chords of 1 mm: 0.0008
