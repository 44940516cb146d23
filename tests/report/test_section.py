"""The section's geometry, found a second way."""

from __future__ import annotations

import numpy as np
import pytest
from shapely.geometry import LineString, Polygon

from photonest.model import Bowl, Cut
from photonest.report.page import Box, Page
from photonest.report.section import draw_section, fit_section, groove_edge, thinnest_wall, wall_ring
from photonest.report.style import drawing_settings
from tests.report import examples

PLAN = examples.plan()
NEST = PLAN.nests[0]


@pytest.mark.parametrize("bowl", NEST.bowls, ids=lambda bowl: f"bowl {bowl.number}")
def test_thinnest_wall_agrees_with_shapely(bowl: Bowl) -> None:
    a, b = thinnest_wall(bowl)
    assert np.hypot(*(a - b)) == pytest.approx(LineString(bowl.outer).distance(LineString(bowl.inner)), abs=0.01)


@pytest.mark.parametrize("cut", NEST.cuts, ids=lambda cut: f"cut {cut.number}")
def test_groove_runs_from_the_rim_plane_to_the_axis(cut: Cut) -> None:
    arc = groove_edge(cut, 0.0)
    assert arc[0] == pytest.approx((cut.entry_radius, 0.0), abs=1e-9)
    assert arc[-1] == pytest.approx((0.0, cut.axis_depth), abs=1e-9)
    assert np.hypot(*(arc - cut.pivot).T) == pytest.approx(np.full(len(arc), cut.radius))


def test_grooves_part_the_bowls() -> None:
    """Each wall ends where the groove begins: the drawn areas touch but don't overlap."""
    rings = [Polygon(wall_ring(bowl, lambda p, side: np.asarray(p) * [side, 1])) for bowl in NEST.bowls]
    for i, cut in enumerate(NEST.cuts):
        groove = Polygon(np.vstack([groove_edge(cut, 4.0), groove_edge(cut, -4.0)[::-1]]))
        # Chords of arcs of 60 and 90 points lie up to r (1 - cos(half a step)) = 0.02 mm off them, over 250 mm.
        assert groove.intersection(rings[i]).area < 8
        assert groove.intersection(rings[i + 1]).area < 8


def test_section_fits_its_box() -> None:
    box = Box(6, 10, 188, 130)
    place = fit_section(PLAN, NEST, box)
    points = np.vstack([place.to_page(NEST.bowls[0].outer, side) for side in (1, -1)])
    assert points.min(axis=0)[0] >= box.left
    assert points.max(axis=0)[1] <= box.bottom
    assert place.to_page([NEST.cuts[0].pivot])[0, 1] >= box.top
    with drawing_settings():
        assert draw_section(Page(200, 160), PLAN, NEST, box) <= box.height + 3
