"""How well a white rectangle's proportion must be known to be taken for a sheet of paper."""

import numpy as np
import pytest

from photonest.scale.camera import Prior, View, rotation
from photonest.scale.edges import Edge
from photonest.scale.paper import (
    MOST_DOUBT,
    MOST_READ,
    MOST_WAYS,
    UNNAMED,
    _is_again,
    _is_known,
    _is_settled,
    _may_be_print,
    _told,
    may_be_paper,
)
from photonest.scale.rectangle import Proportion, Seen, proportion
from tests.scale.scenes import as_photo

FOCAL = 1600.0
VIEW = View(
    np.array([np.log(FOCAL), 999.5, 749.5, 0, 0, 0, 0, 0, 900.0, 650.0, np.log(0.2)]),
    rotation(np.array([0.25, 0.2, 0.1])),  # 18 degrees of tilt
)
ASIDE = View(np.array([*VIEW.values[:10], np.log(0.8)]), rotation(np.array([0.3, 0.0, 0.1])))


def seen(width: float, height: float, error_px: float = 0.05, view: View = VIEW) -> Seen:
    """A rectangle in the plane of a view, each side seen by 28 pieces to so many pixels."""
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]])
    along = np.linspace(0.05, 0.95, 28)[:, None]
    sides = [view.to_px(corners[k] + along * (corners[(k + 1) % 4] - corners[k])) for k in range(4)]
    return Seen(view.to_px(corners), [Edge(px, error_px, 1.0) for px in sides], 0.08)


def known(focal_error: float) -> Prior:
    return Prior(FOCAL, focal_error, (999.5, 749.5), 20.0)


@pytest.mark.parametrize(("name", "width", "height"), [("A4", 148.5, 105.0), ("Letter", 139.7, 107.95)])
def test_a_sheet_is_told_by_its_proportion(name: str, width: float, height: float) -> None:
    told = _told(known(0.03), seen(width, height), UNNAMED, MOST_DOUBT)
    assert isinstance(told, tuple)
    assert told[0] == name


def test_a_rectangle_known_badly_is_no_sheet() -> None:
    """A label 1.54 times as long as wide, turned away about its short side, is likelier A4 than Letter by far."""
    label, camera = seen(113.96, 74.0, 0.3, ASIDE), known(0.3)
    told = proportion(camera, label)
    assert told is not None
    assert told[0].is_about(297 / 210, 0.003, 3.0)
    assert not told[0].is_about(11 / 8.5, 0.003, 4.5)
    assert isinstance(_told(camera, label, UNNAMED, np.inf), tuple)
    assert isinstance(_told(camera, label, UNNAMED, MOST_DOUBT), str)


def test_rough_sides_make_a_proportion_no_smaller() -> None:
    """Were the mm of a pixel those of another view, it would come out too small by three standard errors, each time."""
    off, small = [], View(np.array([*VIEW.values[:10], np.log(0.35)]), VIEW.turned)
    for seed in range(6):
        card, rng = seen(85.6, 53.98, 0.3, small), np.random.default_rng(seed)
        rough = [edge._replace(px=edge.px + rng.normal(0, 0.3, edge.px.shape)) for edge in card.edges]
        told = proportion(known(0.3), Seen(card.corners, rough, card.share))
        assert told is not None
        off.append(np.log(told[0].value * 53.98 / 85.6) / told[0].error)
    # errors are taken to be alike along a side, which chance ones are not: the mean of six is known to less than 0.4
    assert abs(np.mean(off)) < 3 * 0.4


def test_ways_to_close_shapes_in_one_place_are_counted() -> None:
    corners = seen(148.5, 105.0).corners
    here, elsewhere = corners.mean(axis=0), corners.mean(axis=0) + 0.5 * np.ptp(corners, axis=0)
    assert not _is_settled(corners, [], [here] * (MOST_WAYS - 1) + [elsewhere])
    assert _is_settled(corners, [], [here] * MOST_WAYS)


def test_a_shape_read_before_is_known_whichever_corner_comes_first() -> None:
    photo = as_photo(np.zeros((1500, 2000, 3), np.uint8))
    corners = seen(148.5, 105.0).corners
    assert _is_again(np.roll(corners, 3, axis=0) + 1.0, corners, photo)
    assert not _is_again(np.add(corners, [0.0, 3.0]), corners, photo)
    assert not _is_again(corners[::-1], corners, photo)
    assert not _is_known(corners, [corners] * (MOST_READ - 1), photo)  # another start may read it clear of dust
    assert _is_known(corners, [corners] * MOST_READ, photo)


@pytest.mark.parametrize(("streaks", "plain"), [(0.0, True), (12.0, False)])
def test_the_grain_of_a_pale_board_is_no_paper_s(streaks: float, plain: bool) -> None:
    picture = np.full((300, 400, 3), 60.0)
    picture[50:250, 60:340] = 190 + streaks * np.random.default_rng(1).normal(size=(280, 1))
    photo = as_photo(picture.clip(0, 255).astype(np.uint8), 400.0)
    board = np.array([[60.0, 50], [339, 50], [339, 249], [60, 249]])
    assert may_be_paper(photo, board, 0.3) == plain


def test_a_photo_print_of_eight_by_ten_inches_is_not_taken_for_letter() -> None:
    # Letter is 11 by 8.5 inches; it is 3.4 % longer for its width, more than three of these standard errors
    for turned in (1, -1):
        letter, printed = (ratio**turned for ratio in (11 / 8.5, 10 / 8))
        assert not _may_be_print(Proportion(letter, 0.01), letter)
        assert _may_be_print(Proportion(printed, 0.01), letter)
        assert _may_be_print(Proportion(1.264**turned, 0.01), letter)
        # one cut 2 mm too narrow, seen from a slant
        assert _may_be_print(Proportion(1.278**turned, 0.008), letter)
