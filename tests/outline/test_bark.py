from __future__ import annotations

import numpy as np

from photonest.outline import bark
from tests.outline.scenes import blob, distances, painted, photo

SHAPE = (420, 560)


def test_wood_is_found_within_an_edge_that_holds_bark() -> None:
    outer, wood = blob((285, 212), 180), blob((285, 212), 165)
    flat = photo(painted(SHAPE, outer, (290, 205), bark=wood))
    seen = bark.inside(flat, flat.to_mm(outer))
    assert distances(flat.to_px(seen.edge), wood).mean() < 2.0
    assert abs(seen.width - 15 / 360) < 0.008
    assert seen.darker > 60  # painted 175 against 55 in sRGB
    assert seen.difference > 1.85


def test_bark_is_found_about_bare_wood() -> None:
    outer, wood = blob((285, 212), 180), blob((285, 212), 165)
    flat = photo(painted(SHAPE, outer, (290, 205), bark=wood, ground=(150, 160, 170)))
    seen = bark.outside(flat, flat.to_mm(wood))
    assert distances(flat.to_px(seen.edge), outer).mean() < 2.0
    assert seen.difference > 0.7


def test_bare_wood_shows_no_dark_ring() -> None:
    outer = blob((285, 212), 170)
    flat = photo(painted(SHAPE, outer, (290, 205)))
    seen = bark.inside(flat, flat.to_mm(outer))
    assert seen.darker < 40 or seen.difference < 1.85
    assert np.isfinite(seen.edge).all()
