"""Cards and paper: found, told from what is not, and measured; sizes as the standards have them."""

import functools
from dataclasses import replace

import cv2
import numpy as np
import pytest

from photonest.model import NotFound, Scale
from photonest.scale.camera import prior_of
from photonest.scale.card import Card, _best_of, _standing
from photonest.scale.card_shape import HEIGHT_MM, ODD_SIDE, PLAYING_CARD, WIDTH_MM, Found, fault_of
from photonest.scale.edges import Edge
from photonest.scale.paper import SIZES_MM, Paper
from photonest.scale.quads import find_shapes
from photonest.scale.rectangle import Proportion, smoother
from photonest.scale.rough_shapes import searched
from photonest.scale.sides import enlarged
from tests.drawn.camera import CameraSpec
from tests.scale.scenes import as_photo, diameter_off_pct, photograph

FOCAL = 1000.0
PX_PER_MM = 6.0
CAMERA = CameraSpec(
    width=1200, height=900, focal_px=FOCAL, distance=520, aim=(60, 0), tilt_deg=15, tilt_axis_deg=60, k1=-0.01
)


def rectangle(width: float, height: float, corner: float = 0.0, tone: int = 235) -> np.ndarray:
    """A rectangle of one tone, 10 mm of ground around it."""
    w, h, r = (round(v * PX_PER_MM) for v in (width, height, corner))
    mask = np.zeros((h, w), np.uint8)
    cv2.rectangle(mask, (r, 0), (w - 1 - r, h - 1), 1, -1)
    cv2.rectangle(mask, (0, r), (w - 1, h - 1 - r), 1, -1)
    for x in (r, w - 1 - r):
        for y in (r, h - 1 - r):
            cv2.circle(mask, (x, y), r, 1, -1)
    picture = np.where(mask, tone, 140).astype(np.uint8)
    return np.pad(picture, round(10 * PX_PER_MM), constant_values=140)


@functools.cache
def seen(width: float, height: float, corner: float = 0.0, tone: int = 235, turn: float = 20.0) -> np.ndarray:
    return photograph(
        CAMERA, rectangle(width, height, corner, tone), PX_PER_MM, (80.0, -130.0), turn_deg=turn, ground=0.255
    )


def card(pixels: np.ndarray) -> Scale | NotFound:
    return Card().find(as_photo(pixels, FOCAL), Card.Options(thickness_mm=0.0))


def paper(pixels: np.ndarray, size: str = "any") -> Scale | NotFound:
    return Paper().find(as_photo(pixels, FOCAL), Paper.Options(size=size))


def test_sizes_are_the_standards() -> None:
    """ISO 216: A4 is half of A3 and A5 half of A4 (rounded down), sides 1 to root 2; ISO/IEC 7810: ID-1 in inches."""
    assert SIZES_MM["A3"][0] / 2 == SIZES_MM["A4"][1]
    assert SIZES_MM["A4"][0] // 2 == SIZES_MM["A5"][1]
    for name in ("A3", "A4", "A5"):
        assert SIZES_MM[name][0] / SIZES_MM[name][1] == pytest.approx(np.sqrt(2), rel=4e-3)
    # ISO/IEC 7810 gives the same in inches, 3.370 x 2.125
    assert pytest.approx(3.370 * 25.4, abs=0.01) == WIDTH_MM
    assert pytest.approx(2.125 * 25.4, abs=0.01) == HEIGHT_MM


@pytest.mark.parametrize("tone", [235, 60])
def test_card_is_measured(tone: int) -> None:
    scale = card(seen(WIDTH_MM, HEIGHT_MM, 3.18, tone))
    assert isinstance(scale, Scale), scale
    off = diameter_off_pct(scale, CAMERA)
    assert abs(off) < 3 * scale.standard_error_pct
    assert abs(off) < 1.5  # what nine of ten cards beside the piece must stay below
    assert scale.tilt_deg == pytest.approx(15, abs=3)


def test_card_s_thickness_makes_the_face_farther() -> None:
    pixels = seen(WIDTH_MM, HEIGHT_MM, 3.18)
    flat = card(pixels)
    thick = Card().find(as_photo(pixels, FOCAL), Card.Options(thickness_mm=5.0))
    assert isinstance(flat, Scale)
    assert isinstance(thick, Scale)
    assert flat.distance_mm is not None
    assert thick.mm_per_px / flat.mm_per_px == pytest.approx(1 + 5 / flat.distance_mm, rel=1e-6)


@pytest.mark.parametrize(
    ("width", "height", "corner"),
    [(85.6, 53.98, 0.0), (85.6, 53.98, 9.0), (85.6, 66.0, 3.18), (85.6, 45.0, 3.18), (70.0, 70.0, 3.18)],
)
def test_what_is_no_card_is_refused(width: float, height: float, corner: float) -> None:
    answer = card(seen(width, height, corner))
    assert isinstance(answer, NotFound)
    assert answer.hint


def test_two_cards_of_another_size_on_one_another_are_no_card() -> None:
    """Playing cards (88.9 x 63.5 mm, from memory) laid askew so that their outline has a card's proportion."""
    one = rectangle(88.9, 63.5, 3.2)
    aside, up = round(16.6 * PX_PER_MM), round(3.0 * PX_PER_MM)
    both = np.full((one.shape[0] + up, one.shape[1] + aside), 140, np.uint8)
    both[: one.shape[0], : one.shape[1]] = one
    second = both[up:, aside:]
    second[one > 140] = 225
    pixels = photograph(CAMERA, both, PX_PER_MM, (80.0, -130.0), turn_deg=20.0, ground=0.255)
    assert isinstance(card(pixels), NotFound)


def test_card_cut_by_the_frame_is_told() -> None:
    camera = replace(CAMERA, aim=(-170, -80))  # the card's right half lies beyond the frame
    print_ = rectangle(WIDTH_MM, HEIGHT_MM, 3.18)
    answer = card(photograph(camera, print_, PX_PER_MM, (80.0, -130.0), turn_deg=20.0, ground=0.255))
    assert isinstance(answer, NotFound)
    assert "cut by the frame" in answer.reason


@functools.cache
def two_cards(second: float) -> np.ndarray:
    """A card and another one below it, the second so many times as large as it should be."""
    one, other = rectangle(WIDTH_MM, HEIGHT_MM, 3.18), rectangle(WIDTH_MM * second, HEIGHT_MM * second, 3.18 * second)
    wide = max(one.shape[1], other.shape[1])
    both = [np.pad(part, ((0, 0), (0, wide - part.shape[1])), constant_values=140) for part in (one, other)]
    return photograph(CAMERA, np.concatenate(both), PX_PER_MM, (70.0, -130.0), turn_deg=10.0, ground=0.255)


def test_two_cards_measure_better_than_one() -> None:
    scale, alone = card(two_cards(1.0)), card(seen(WIDTH_MM, HEIGHT_MM, 3.18))
    assert isinstance(scale, Scale), scale
    assert isinstance(alone, Scale)
    assert scale.kind == "card + card"
    assert not scale.others
    assert scale.standard_error_pct < alone.standard_error_pct
    assert abs(diameter_off_pct(scale, CAMERA)) < 3 * scale.standard_error_pct


def test_two_cards_that_disagree_are_both_told_of() -> None:
    scale = card(two_cards(1.12))
    assert isinstance(scale, Scale), scale
    (told,) = scale.others
    assert told.kind == "card"
    # the larger one is taken for one of the true size, so that lengths come out smaller by it; or the other way about
    assert max(told.size_ratio, 1 / told.size_ratio) == pytest.approx(1.12, abs=0.02)
    assert scale.standard_error_pct > 4  # half of the twelve percent, less what the errors leave open


def test_a_photo_is_searched_once_for_both() -> None:
    photo = as_photo(seen(WIDTH_MM, HEIGHT_MM, 3.18), FOCAL)
    assert searched(photo) is searched(photo)


@pytest.mark.parametrize("name", ["A4", "Letter"])
def test_paper_is_told_and_measured(name: str) -> None:
    long, short = SIZES_MM[name]
    scale = paper(seen(short, long, turn=0.0))
    assert isinstance(scale, Scale), scale
    assert abs(diameter_off_pct(scale, CAMERA)) < 0.5
    assert any("A4" in text for text in scale.warnings) == (name == "A4")


def test_named_size_is_taken() -> None:
    scale = paper(seen(148.0, 210.0, turn=0.0), "A5")
    assert isinstance(scale, Scale), scale
    assert abs(diameter_off_pct(scale, CAMERA)) < 0.6


def test_other_white_rectangles_and_dark_sheets_are_refused() -> None:
    assert not paper(seen(180.0, 210.0, turn=0.0))
    assert not paper(seen(210.0, 297.0, tone=60, turn=0.0))
    assert not paper(seen(210.0, 297.0, corner=15.0, turn=0.0))


def test_unknown_size_is_named() -> None:
    answer = paper(np.zeros((90, 120, 3), np.uint8), "B7")
    assert isinstance(answer, NotFound)
    assert "B7" in answer.reason


def test_empty_pictures_hold_no_shape() -> None:
    assert len(find_shapes(np.full((300, 400, 3), 128, np.uint8))[0]) == 0
    noise = np.random.default_rng(0).integers(0, 255, (300, 400, 3), np.uint8)
    assert not card(noise)
    assert not paper(noise)


def test_corners_of_a_plain_rectangle_are_found() -> None:
    picture = np.full((600, 800, 3), 60, np.uint8)
    corners = np.array([[200, 150], [560, 190], [530, 420], [180, 390]])
    cv2.fillPoly(picture, [corners], (220, 220, 220))
    best = find_shapes(picture)[0][0]
    off = min(np.abs(np.roll(best, turn, axis=0) - corners).max() for turn in range(4))
    assert off < 3


@pytest.mark.parametrize(
    ("error", "corners", "fault"), [(0.03, 4, None), (0.03, 3, PLAYING_CARD), (0.02, 3, None), (0.06, 4, PLAYING_CARD)]
)
def test_a_corner_hidden_asks_for_a_surer_proportion(error: float, corners: int, fault: str | None) -> None:
    assert fault_of(Proportion(WIDTH_MM / HEIGHT_MM, error), 1.6, corners) == fault


def test_a_card_with_a_rough_side_is_read_again() -> None:
    photo, other = (as_photo(seen(WIDTH_MM, height, 3.18), FOCAL) for height in (HEIGHT_MM, 57.0))
    prior = prior_of(photo)
    read = [_best_of(photo, prior, rough, told=False) for rough in searched(photo).shapes(lambda _: True)]
    card = next(one for one in read if isinstance(one, Found))
    uneven, rough = (
        card._replace(seen=replace(card.seen, edges=[edge._replace(error_px=error) for edge in card.seen.edges]))
        for error in (0.08, 0.3)
    )
    assert _standing(other, prior, card) is card  # no side of it is rough, or uneven
    assert _standing(photo, prior, rough) is rough
    assert _standing(other, prior, rough) == ODD_SIDE
    assert _standing(other, prior, uneven) is uneven
    # such a side may have told another size: then what is read again counts
    for odd in (uneven, rough):
        mended = _standing(photo, prior, odd._replace(view=enlarged(card.view, 1.05)))
        assert isinstance(mended, Found)
        assert mended.view.to_mm(card.seen.corners) == pytest.approx(card.view.to_mm(card.seen.corners), abs=0.2)


@pytest.mark.parametrize(("by_light", "by_colour", "kept"), [(0.3, 0.1, 0.1), (0.3, 0.25, 0.3), (0.1, 0.04, 0.1)])
def test_a_side_is_read_by_colour_where_it_is_rough_by_light_alone(
    by_light: float, by_colour: float, kept: float
) -> None:
    light_, colour = (Edge(np.zeros((28, 2)), error, 1.0) for error in (by_light, by_colour))
    chosen = smoother(light_, colour, 0.16)
    assert chosen is not None
    assert chosen.error_px == kept
    assert smoother(light_._replace(share=0.3), colour, 0.16) is colour
    assert smoother(None, None, 0.16) is None
