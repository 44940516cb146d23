from __future__ import annotations

import numpy as np

from photonest.cracks.network import Likeness
from photonest.cracks.paths import best_paths
from photonest.cracks.search import _scores
from photonest.cracks.strips import CELL, RingGrid
from photonest.model import FlatPhoto

SIZE, RADIUS = 400, 150  # px


def test_a_dark_pith_hides_no_ring_shake() -> None:
    y, x = np.mgrid[: SIZE // 2, : SIZE // 2] * 2.0 + 0.5 - SIZE / 2
    radius, bearing = np.hypot(x, y), np.arctan2(y, x)
    shake = (np.abs(radius - RADIUS) < 3) & (bearing > -1.5) & (bearing < -0.3)
    odds = np.where((radius < 24) | shake, 8.0, -12.0).astype(np.float32)
    flat = FlatPhoto(np.zeros((SIZE, SIZE, 3), np.uint8), 1.0, (0.0, 0.0), (SIZE / 2, SIZE / 2))
    grid = RingGrid((SIZE / 2, SIZE / 2), 496, 100)
    scores = _scores(Likeness(flat, odds), np.ones((SIZE, SIZE), np.uint8), grid, SIZE)
    (paths,) = best_paths([scores], wraps=False, bend=0.3, least=8.0, gap=20, apart=3, rounds=1)
    # in the first round already: a wider dark than this one, or checks from it, would outlast the second
    found = max(paths, key=lambda path: float(path.columns.mean()))
    assert abs(len(found.columns) - 1.2 / (2 * np.pi) * grid.round_) < 6
    assert np.abs(CELL * (found.columns + 0.5) - RADIUS).max() < 4
