from __future__ import annotations

from functools import partial

import numpy as np
import pytest

from photonest.pith.directions import view
from photonest.pith.straight import holed, ring_width, straightest, straightness, weighed
from tests.outline.scenes import blob, painted, photo

CIRCLES = np.zeros(4)


def test_rings_are_straightest_about_their_pith() -> None:
    line = blob((200, 200), 150)
    flat = photo(painted((400, 400), line, (210, 190), noise=5))
    seen = view(flat, tuple((float(x), float(y)) for x, y in flat.to_mm(line)), 300)
    pith = seen.flat.to_px(flat.to_mm([210.0, 190.0]))
    image = holed(seen)
    best = straightness(image, pith, 45.0, CIRCLES)
    assert best > 0.5
    for way in ((4, 0), (-4, 0), (0, 4), (0, -4)):
        assert straightness(image, pith + way, 45.0, CIRCLES) < best - 0.1
    start = pith + np.array([2.0, -1.5])
    value = partial(straightness, image, radius=45.0, family=CIRCLES)
    found = straightest(value, start, start, 20.0, (2.0, 0.125))
    assert np.hypot(*(found - pith)) < 0.7  # the search ends at an eighth of a pixel; noise and sampling add the rest


def test_no_rings_no_straightness() -> None:
    line = blob((200, 200), 150)
    noise = np.random.default_rng(0).integers(0, 256, (400, 400, 3)).astype(np.uint8)
    flat = photo(noise)
    seen = view(flat, tuple((float(x), float(y)) for x, y in flat.to_mm(line)), 300)
    assert straightness(holed(seen), seen.flat.to_px(flat.to_mm([200.0, 200.0])), 45.0, CIRCLES) < 0.15


@pytest.mark.parametrize("pitch", [6.0, 11.0, 17.0])
def test_width_of_rings_is_how_often_their_tone_comes_back(pitch: float) -> None:
    y, x = np.mgrid[:240, :240].astype(np.float32)
    rings = np.sin(2 * np.pi / pitch * np.hypot(x - 120, y - 118)).astype(np.float32)
    cut = np.where(x < 110, np.float32(np.nan), rings)  # a half of them is enough
    for image in (rings, cut):
        # the spectrum of a stretch of 100 pixels is a hundredth of a wave wide, of which the mean keeps a part
        assert ring_width(image, np.array([120.0, 118.0]), 100.0) == pytest.approx(pitch, rel=0.12)


def test_places_count_by_how_straight_the_rings_lie() -> None:
    places = [np.array([10.0, 0.0]), np.array([16.0, 8.0])]
    clear = weighed(places, np.array([0.5, 0.3]))
    assert clear.best.tolist() == [10.0, 0.0]
    assert np.hypot(*clear.towards) < 1e-6  # 0.2 is twenty times what chance gives
    assert clear.apart < 1e-3
    for scores in ((0.1, 0.1 + 1e-9), (0.1, 0.1 - 1e-9)):  # which is the best hangs on nothing; the mean must not
        even = weighed(places, np.array(scores))
        assert even.best + even.towards == pytest.approx([13.0, 4.0], abs=1e-5)
        assert even.apart == pytest.approx(5 / 2**0.5, abs=1e-5)  # each 5 off the mean, over two axes
