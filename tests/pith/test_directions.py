from __future__ import annotations

import numpy as np
import pytest

from photonest.pith.directions import Directions, directions, evened, near, view
from tests.outline.scenes import blob, painted, photo


def test_view_has_the_size_asked_for_and_sampled_normals_point_at_the_pith() -> None:
    line = blob((200, 200), 150)
    flat = photo(painted((400, 400), line, (210, 190), noise=4))
    seen = view(flat, tuple((float(x), float(y)) for x, y in flat.to_mm(line)), 250)
    assert abs(seen.diameter - 250) < 3
    assert not seen.image[~seen.mask].any()
    pith = seen.flat.to_px(flat.to_mm([210.0, 190.0]))
    found = near([directions(seen, 1.0, 3.0)], pith, 80.0, 500)
    away = found.points - pith
    assert len(found.points) == 500
    assert np.hypot(*away.T).max() < 80
    cosine = np.abs((away * found.across).sum(axis=1)) / np.hypot(*away.T)
    assert np.median(cosine) > 0.99  # rings of a sine are exact circles: 8 degrees at most


def test_lines_of_one_way_no_longer_outvote_the_others() -> None:
    angle = np.concatenate([np.linspace(0, np.pi, 360, endpoint=False), np.full(720, 0.3)])
    seen = Directions(np.zeros((1080, 2)), np.column_stack([np.cos(angle), np.sin(angle)]), np.ones(1080))
    weights = evened(seen).weights
    assert weights.mean() == pytest.approx(1.0)
    # Two thirds of the lines run one way; smoothed over a half, a quarter and a quarter of neighbouring ways of 5
    # degrees each, that way's weight comes down to about that of two ways of 36.
    assert weights[360:].sum() / weights.sum() < 0.15
