from __future__ import annotations

from functools import partial

import numpy as np
import pytest

from photonest.pith.directions import view
from photonest.pith.straight import holed, ring_width, roughly, straightest, straightness, unseen, weighed
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


def test_rays_do_not_outweigh_fine_rings() -> None:
    y, x = np.mgrid[:300, :300].astype(np.float32)
    pith = np.array([150.0, 146.0])
    off = np.array([x - pith[0], y - pith[1]])
    turn = np.arctan2(off[1], off[0])
    rays = np.interp(turn, np.linspace(-np.pi, np.pi, 300), np.random.default_rng(2).normal(size=300))
    image = (np.sin(2 * np.pi / 8 * np.hypot(*off)) + 3 * rays).astype(np.float32)
    # rings of a third of the rays' contrast: what a sector is darker than another tells nothing of them
    assert straightness(image, pith, 100.0, CIRCLES) > 0.5
    # half a ring aside two of four quarters' rings fall between those of the others
    assert straightness(image, pith + np.array([4.0, 0.0]), 100.0, CIRCLES) < 0.25


def test_a_place_off_the_wood_gains_nothing_by_what_it_does_not_see() -> None:
    y, x = np.mgrid[:200, :200].astype(np.float32)
    corner = np.array([20.0, 20.0])
    rings = np.sin(2 * np.pi / 9 * np.hypot(x - corner[0], y - corner[1])).astype(np.float32)
    rings += np.random.default_rng(3).normal(0, 0.5, rings.shape).astype(np.float32)
    quarter = np.where((x >= corner[0]) & (y >= corner[1]), rings, np.float32(np.nan))
    there = straightness(quarter, corner, 120.0, CIRCLES)
    assert there > 0.4
    for away in (9.0, 18.0, 40.0):
        assert straightness(quarter, corner - (away, away), 120.0, CIRCLES) < there - 0.1


def test_what_is_not_seen_before_the_rings_begin_draws_no_place_to_the_wood() -> None:
    y, x = np.mgrid[:260, :260].astype(np.float32)
    pith, along = np.array([10.0, 10.0]), np.arange(-6, 8)
    rings = np.sin(2 * np.pi / 9 * np.hypot(x - pith[0], y - pith[1])).astype(np.float32)
    places = pith + along[:, None]
    off = []
    for seed in range(6):
        noisy = rings + np.random.default_rng(seed).normal(0, 0.5, rings.shape).astype(np.float32)
        piece = np.where((x >= 30) & (y >= 30), noisy, np.float32(np.nan))
        inner = unseen(piece, pith, 100.0)
        assert inner > 20 * 2**0.5  # the corner
        from_there = [straightness(piece, place, 45.0, CIRCLES, inner=inner) for place in places]
        from_pith = [straightness(piece, place, 45.0 + inner, CIRCLES) for place in places]
        off.append((along[np.argmax(from_there)], along[np.argmax(from_pith)]))
    middle, drawn = np.mean(off, axis=0)
    assert abs(middle) < 2 < drawn  # of a ring's nine pixels
    assert unseen(rings, np.array([130.0, 130.0]), 100.0) == 0.0


def test_a_narrow_top_is_found_among_its_neighbours() -> None:
    top = np.array([103.6, 97.5])
    anchor = np.array([100.0, 100.0])

    def value(place: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> float:
        return float(np.cos(1.5 * np.hypot(*(place - top)))) / (1 + float(np.hypot(*(place - top))))

    # one step of the grid to either side; where it begins the next top would be another
    assert np.abs(roughly(value, anchor, 100.0) - top).max() <= 1.0
