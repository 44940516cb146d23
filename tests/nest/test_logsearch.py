"""The search of a log's axes: what it makes smaller, and where a dive ends."""

import math

import numpy as np
import pytest

from photonest.nest.logaxes import Axes
from photonest.nest.logsearch import _Node, _Search
from photonest.nest.spans import Cells
from tests.nest.test_views import log_and_table

GAP = 0.01
TINY = 1e-5  # radians, or mm
ANGLE = 0.4
ROOMY = ((-4.0, 88.0), (49.0, 13.0))  # axes of either half that have room for a bowl in that direction


def node_of(search: _Search, width: float, reach: float) -> _Node:
    """Return a span of directions with a few cells of one size about an axis in each half."""
    cells = []
    for half, (u, t) in zip(search.halves, ROOMY, strict=True):
        a, b = np.meshgrid(u + reach * np.array([-2, 0, 2]), t + reach * np.array([-2, 0, 2]))
        rims = np.ones((a.size, len(half.table.levels[0].low)), bool)
        cells.append(Cells(a.ravel(), b.ravel(), reach, reach, rims, 0))
    node = search.narrowed(search.node(ANGLE, width, tuple(cells)), [math.inf, math.inf], search.all)
    assert node is not None
    return node


@pytest.mark.parametrize(("width", "reach", "turns_less"), [(TINY, 0.02, False), (0.05, TINY, True)])
def test_what_is_too_small_to_matter_is_not_made_smaller_on_and_on(
    width: float, reach: float, turns_less: bool
) -> None:
    search = _Search(log_and_table()[0], GAP)
    smaller = [node for node in search.smaller(node_of(search, width, reach)) if node is not None]
    assert {node.half for node in smaller} == {width / 2 if turns_less else width}


def test_a_dive_ends_at_an_axis_as_good_as_any_of_a_fine_grid() -> None:
    log = log_and_table()[0]
    axes = Axes(log)
    half, (u, t), reach = axes.halves[0], ROOMY[0], 4.0
    view = log.view(half.towards(ANGLE), 0.0, half.z)
    rims = np.ones((1, len(half.table.levels[0].low)), bool)
    spot = axes.dived(view, 0, Cells(np.array([u]), np.array([t]), reach, reach, rims, 0))
    steps = np.arange(-reach, reach + 0.1, 0.5)
    a, b = (grid.ravel() for grid in np.meshgrid(u + steps, t + steps))
    _, tops, _, _ = view.bounds(half.table, Cells(a, b, 0.0, 0.0, np.tile(rims, (len(a), 1)), 0), 0.0)
    assert spot.rank >= tops.max() - 0.5
    assert max(abs(spot.a - u), abs(spot.b - t)) <= reach + 1e-9
