from __future__ import annotations

import numpy as np

from photonest.outline.plain import contour, plain_piece
from tests.outline.scenes import WHITE, blob, coverage, painted, photo


def test_contour_of_a_disc_has_its_area_and_lies_on_its_circle() -> None:
    y, x = np.mgrid[:200, :240]
    disc = np.hypot(x - 118.3, y - 97.6) < 70
    line = contour(disc, 0.8, 360)
    reach = np.hypot(line[:, 0] - 118.3, line[:, 1] - 97.6)
    assert abs(reach.mean() - 70) < 0.3  # blurring by 0.8 px moves the half level of a circle by 0.8^2 / (2 * 70)
    assert np.abs(reach - 70).max() < 1.0  # a pixel is in or out


def test_a_piece_touching_the_frame_ends_half_a_pixel_beyond_its_last_pixels() -> None:
    whole = np.zeros((50, 80), bool)
    whole[:, :40] = True
    line = contour(whole, 0.8, 400)
    assert abs(line[:, 0].min() + 0.5) < 0.1
    assert abs(line[:, 0].max() - 39.5) < 0.1


def test_twigs_go_and_the_rest_stays() -> None:
    outline = blob((200, 200), 140)
    pixels = painted((400, 400), outline, (205, 195))
    pixels[40:64, 198:203] = (120, 90, 60)  # a twig stub five pixels wide on the upper rim
    piece = plain_piece(photo(pixels), np.ones((400, 400), bool))
    assert piece is not None
    true = coverage(outline, (400, 400)) > 0.5
    assert not piece[40:55, 195:206].any()
    assert (piece ^ true).mean() < 0.004  # less than a pixel all round


def test_mottled_ground_is_not_plain() -> None:
    pixels = painted((300, 400), blob((200, 150), 100), (205, 150), ground="moss")
    assert plain_piece(photo(pixels), np.ones((300, 400), bool)) is None


def test_a_blank_sheet_holds_no_piece() -> None:
    assert plain_piece(photo(np.full((300, 400, 3), WHITE, np.uint8)), np.ones((300, 400), bool)) is None
