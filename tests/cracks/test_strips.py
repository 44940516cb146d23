from __future__ import annotations

import numpy as np
import pytest

from photonest.cracks.strips import CELL, Grid, PolarGrid, RingGrid, TurnedGrid, cells

GRIDS: list[Grid] = [
    PolarGrid((40.5, 33.0), 15, 128),
    RingGrid((40.5, 33.0), 128, 15),
    TurnedGrid((40.5, 33.0), 25, 30, 0.7),
]


@pytest.mark.parametrize("grid", GRIDS, ids=lambda grid: type(grid).__name__)
def test_cells_and_positions_agree(grid: Grid) -> None:
    x, y = cells(grid)
    assert x.shape == y.shape == (grid.rows, grid.columns)
    rows, columns = np.mgrid[: grid.rows, : grid.columns].astype(float)
    true_x, true_y = grid.at(rows, columns)
    # float32 maps of positions under 100 px: 1e-5 px, times the angle's own rounding
    assert np.abs(x - true_x).max() < 1e-3
    assert np.abs(y - true_y).max() < 1e-3


@pytest.mark.parametrize("grid", GRIDS, ids=lambda grid: type(grid).__name__)
def test_radii_and_turned_axes_are_a_cell_apart(grid: Grid) -> None:
    x, y = cells(grid)
    down, across = (np.hypot(np.diff(x, axis=axis), np.diff(y, axis=axis)) for axis in (0, 1))
    straight = {PolarGrid: [down], RingGrid: [across], TurnedGrid: [down, across]}[type(grid)]
    assert all(part == pytest.approx(CELL, abs=1e-4) for part in straight)


def test_a_ring_grid_knows_how_far_its_rows_are_apart() -> None:
    grid = RingGrid((40.5, 33.0), 128, 15)
    x, y = cells(grid)
    # a chord for an arc of 1/128 of a turn: shorter by a part in ten thousand
    assert np.hypot(x[1] - x[0], y[1] - y[0]) / CELL == pytest.approx(grid.steps, rel=3e-4)


def test_a_ring_grid_goes_round_once_and_an_eighth() -> None:
    grid = RingGrid((0.0, 0.0), 64, 10)
    once, again = (grid.at(np.array([row]), np.array([5.0])) for row in (3.0, 67.0))
    assert np.concatenate(once) == pytest.approx(np.concatenate(again))
    assert grid.rows == 72
