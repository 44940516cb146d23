from __future__ import annotations

import numpy as np
import pytest

from photonest.outline.strip import COARSE, FINE, outward_normals, sharpened
from tests.outline.scenes import blob, distances, painted, photo


@pytest.mark.parametrize("turn", [1, -1])
def test_normals_of_a_circle_point_away_from_its_middle(turn: int) -> None:
    angle = turn * np.arange(360) * 2 * np.pi / 360
    ray = np.column_stack([np.cos(angle), np.sin(angle)])
    assert (outward_normals(40 * ray + [7, -3], 3) * ray).sum(axis=1) == pytest.approx(np.ones(360), abs=1e-6)


def test_an_edge_off_by_some_percent_is_found_again() -> None:
    line = blob((285, 212), 160)
    flat = photo(painted((420, 560), line, (300, 205), ground="moss"))
    rough = flat.to_mm((line - [285, 212]) * 1.05 + [288, 210])
    edge = sharpened(flat, sharpened(flat, rough, COARSE), FINE)
    before, after = (distances(flat.to_px(e), line).mean() for e in (rough, edge))
    assert before > 6
    assert after < 1.0  # a third of a percent of D
