from __future__ import annotations

import itertools

import numpy as np
import pytest

from photonest.cracks.strips import Grid, PolarGrid, RingGrid, TurnedGrid

GRIDS: list[Grid] = [
    PolarGrid((40.5, 33.0), 30, 256),
    RingGrid((40.5, 33.0), 256, 30),
    TurnedGrid((40.5, 33.0), 50, 60, 0.7),
]


@pytest.mark.parametrize("grid", GRIDS, ids=lambda grid: type(grid).__name__)
def test_maps_and_positions_agree(grid: Grid) -> None:
    x, y = grid.maps(0, grid.rows, grid.columns, 0)
    rows, columns = np.mgrid[: grid.rows, : grid.columns]
    xy = grid.to_px(rows.ravel().astype(float), columns.ravel().astype(float))
    # float32 maps of positions under 100 px: 1e-5 px, times the angle's own rounding
    assert np.abs(x.ravel() - xy[:, 0]).max() < 1e-3
    assert np.abs(y.ravel() - xy[:, 1]).max() < 1e-3


@pytest.mark.parametrize("radius", [20, 101, 348, 700])
def test_bands_of_a_polar_grid_cover_its_rows_without_overlap_down_to_the_pith(radius: int) -> None:
    rows = 2 * (radius // 2)
    grid = PolarGrid((0.0, 0.0), rows, 64 * (int(2 * np.pi * rows * 0.8) // 64 + 4))
    bands = list(grid.bands())
    assert bands[0][1] == rows
    assert all(inner[1] == outer[0] for outer, inner in itertools.pairwise(bands))
    # pairs of rows make a cell, so bands begin at even rows; what is left at the pith is under 3 % of a 700 px radius
    assert all(first % 2 == 0 for first, _, _ in bands)
    assert bands[-1][0] <= 18
    for first, _, columns in bands:
        assert grid.columns % columns == 0
        assert 2 * np.pi * first / columns < 1.3  # no coarser than the picture


def test_a_ring_grid_goes_round_once_and_an_eighth() -> None:
    grid = RingGrid((0.0, 0.0), 64, 10)
    once, again = (grid.to_px(np.array([row]), np.array([5.0])) for row in (3.0, 67.0))
    assert once == pytest.approx(again)
    assert grid.rows == 72
