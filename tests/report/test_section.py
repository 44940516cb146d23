"""The section's geometry, found a second way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import LineString, Polygon

from photonest.model import Bowl, Cut, Stock
from photonest.report.page import Box, Page
from photonest.report.section import draw_section, fit_section, groove_edge, stock_section, thinnest_wall, wall_ring
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
    stock = stock_section(PLAN, NEST, examples.face().outline.wood)
    place = fit_section(NEST, stock, box)
    points = np.vstack([place.to_page(NEST.bowls[0].outer, side) for side in (1, -1)])
    assert points.min(axis=0)[0] >= box.left
    assert points.max(axis=0)[1] <= box.bottom
    assert place.to_page([NEST.cuts[0].pivot])[0, 1] >= box.top
    with drawing_settings():
        assert draw_section(Page(200, 160), PLAN, NEST, examples.face().outline.wood, box) <= box.height + 3


def test_a_logs_section_is_the_half_of_its_end() -> None:
    """A disc of radius 200 about (5, -3), its rim plane through the middle, the axis 20 mm along it: a half disc."""
    turn = np.linspace(0, 2 * np.pi, 721)
    disc = np.column_stack([5 + 200 * np.cos(turn), -3 + 200 * np.sin(turn)])
    down = np.array([0.6, 0.8])
    across = np.array([0.8, -0.6])
    start = np.array([5, -3]) + 20 * across
    axis = replace(NEST.axis, point=(*start, 100.0), direction=(*down, 0.0))
    log = replace(PLAN, stock=Stock("log", length=200))
    half = stock_section(log, replace(NEST, axis=axis), disc)
    # a polygon of 720 sides lies up to 200 (1 - cos(pi / 720)) = 0.002 mm inside its circle
    assert half.min(axis=0) == pytest.approx((-220, 0), abs=0.01)
    assert half.max(axis=0) == pytest.approx((180, 200), abs=0.01)
    assert Polygon(half).area == pytest.approx(np.pi * 200**2 / 2, rel=1e-4)
