"""The network as shipped: its answers are shares, at their places, whichever way the picture lies."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from photonest.model import FlatPhoto
from photonest.outline.network import MIRRORED, SIDE, _layers, looks, mean_of
from photonest.resizing import cropped, reduced
from tests.outline.scenes import GREEN, blob, distances, painted, photo

SHAPE, MIDDLE, RADIUS = (420, 560), (285.0, 212.0), 150.0


@pytest.fixture(scope="module")
def flat() -> FlatPhoto:
    return photo(painted(SHAPE, blob(MIDDLE, RADIUS), (300, 205), ground=GREEN))


def test_shares_sum_to_one_and_lie_where_the_piece_does(flat: FlatPhoto) -> None:
    seen = looks(flat)[0]
    assert seen.shares.shape == (3, *seen.flat.pixels.shape[:2])
    assert np.allclose(seen.shares.sum(axis=0), 1.0, atol=1e-4)
    edge = seen.edge()
    assert edge is not None
    # one pixel of its picture is two of this one
    assert distances(flat.to_px(edge), blob(MIDDLE, RADIUS)).mean() < 2.2


def test_turned_over_it_sees_the_same_piece(flat: FlatPhoto) -> None:
    seen = looks(flat, MIRRORED)
    piece = np.array([1 - one.shares[0] > 0.5 for one in (*seen, mean_of(seen))])
    assert (piece.all(axis=0).sum() / piece.any(axis=0).sum()) > 0.96


def test_the_camera_is_seen_from_where_it_stood_whichever_way_the_picture_is_turned_over(flat: FlatPhoto) -> None:
    x_mm, y_mm = flat.to_mm([(900.0, 212.0)])[0]
    away = replace(flat, camera=(float(x_mm), float(y_mm), 300.0))
    layers = _layers(reduced(away, SIDE))
    slant, small = layers[5:], reduced(away, SIDE)
    x, y = small.to_px(flat.to_mm([(285.0, 212.0)]))[0].round().astype(int)
    # similar triangles: 615 pixels along the face for a camera 300 mm above it, to the right
    assert slant[0, y, x] == pytest.approx(615 * flat.mm_per_px / 300, abs=0.02)
    assert slant[1, y, x] == pytest.approx(0.0, abs=0.02)
    assert not _layers(reduced(flat, SIDE))[5:].any()
    seen = looks(away, MIRRORED)
    piece = np.array([1 - one.shares[0] > 0.5 for one in seen])
    assert (piece.all(axis=0).sum() / piece.any(axis=0).sum()) > 0.96


def test_wide_doubtful_bark_is_taken_for_bark_a_thin_line_is_not(flat: FlatPhoto) -> None:
    seen = looks(flat)[0]
    rest, wood, bark = (np.full((60, 60), share, np.float32) for share in (1.0, 0.0, 0.0))
    rest[20:40, 20:40], wood[20:40, 20:40] = 0.0, 1.0
    for rows, columns in ((slice(10, 20), slice(20, 40)), (slice(20, 40), slice(40, 42))):
        rest[rows, columns], bark[rows, columns] = 0.53, 0.47
    firm = seen._replace(shares=np.stack([rest, wood, bark])).with_doubtful_bark().shares
    assert np.allclose(firm.sum(axis=0), 1.0)
    piece = firm[0] < 0.5
    assert piece[11:20, 21:39].all()
    assert not piece[24:38, 41:43].any()


def test_what_sticks_out_far_and_narrow_is_no_bark_corners_and_plates_are(flat: FlatPhoto) -> None:
    y, x = np.mgrid[:120, :120]
    half = (np.hypot(x - 60, y - 60) < 40) & (y > 60)  # as wide as a disc of 57: narrower than 5.7 is narrow
    plate = (abs(x - 60) < 8) & (y > 95) & (y < 107)
    tongue = (abs(y - 80) < 3) & (x > 90) & (x < 115)
    piece = half | plate | tongue
    shares = np.stack([np.where(piece, 0.0, 1.0), np.where(piece, 1.0, 0.0), np.zeros(piece.shape)])
    seen = looks(flat)[0]._replace(shares=shares).without_tongues()
    assert np.allclose(seen.shares.sum(axis=0), 1.0)
    left = seen.shares[0] < 0.5
    assert left[half].all() and left[plate].all()
    assert not left[tongue & (np.hypot(x - 60, y - 60) > 44)].any()


def test_a_piece_cut_by_the_frame_has_no_tongues(flat: FlatPhoto) -> None:
    y, x = np.mgrid[:120, :120]
    rest = np.where(np.hypot(x - 60, y - 150) < 50, 0.0, 1.0)
    shares = np.stack([rest, 1 - rest, np.zeros(rest.shape)])
    seen = looks(flat)[0]._replace(shares=shares)
    assert np.array_equal(seen.without_tongues().shares, shares)


def test_same_picture_same_answer(flat: FlatPhoto) -> None:
    assert np.array_equal(looks(flat)[0].shares, looks(flat)[0].shares)


def test_of_two_pieces_it_is_the_one_aimed_at() -> None:
    left, right = blob((150, 210), 105), blob((410, 210), 105)
    both = np.minimum(painted(SHAPE, left, (150, 210)), painted(SHAPE, right, (410, 215)))
    for x in (150.0, 410.0):
        flat = photo(both, aim_px=(x, 210.0))
        edge = looks(flat)[0].edge()
        assert edge is not None
        assert shapely.Polygon(flat.to_px(edge)).contains(shapely.Point(x, 210.0))


def test_nothing_seen_is_no_edge(flat: FlatPhoto) -> None:
    seen = looks(flat)[0]
    nothing = np.zeros_like(seen.shares)
    nothing[0] = 1.0
    assert seen._replace(shares=nothing).edge() is None


def test_shares_over_another_part_of_the_picture_keep_their_places(flat: FlatPhoto) -> None:
    seen = looks(flat)[0]
    low, high = flat.to_mm([(100.0, 40.0), (470.0, 390.0)])
    edges = [one.edge() for one in (seen, seen.onto(reduced(cropped(flat, low, high), 256)))]
    assert edges[0] is not None and edges[1] is not None
    # Both are interpolated between pixels of at most 2.2 of this picture's.
    assert distances(flat.to_px(edges[1]), flat.to_px(edges[0])).max() < 1.1
