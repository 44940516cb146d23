"""What lies on a face: the edge and the cracks beneath it."""

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from photonest.hidden import drawn_across, led_beneath, sheets_beneath, unsure_beneath
from photonest.model import Crack, Outline, Photo, Pith, Points, Scale
from photonest.photo import frozen_pixels
from photonest.planar import mean_diameter

RADIUS = 100.0
DISC = shapely.Point(0, 0).buffer(RADIUS, 90)


def points(shape: shapely.Geometry) -> Points:
    return tuple((float(x), float(y)) for x, y in np.asarray(shape.exterior.coords)[:-1])


def card(x: float, y: float, turn: float = 0.0, width: float = 85.6, height: float = 53.98) -> shapely.Polygon:
    box = shapely.box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)
    return shapely.affinity.rotate(box, turn)


def seen(wood: shapely.Geometry, lying: shapely.Geometry) -> Outline:
    """The outline of what is left to see of the wood."""
    return Outline(points(wood.difference(lying)), standard_error=0.5)


def crack(*path: tuple[float, float], **changed: object) -> Crack:
    length = math.dist(path[0], path[-1])
    return Crack("c1", path, 1.0, length, "radial", 0.9, "seen", **changed)  # type: ignore[arg-type]


@given(st.floats(0, 360), st.floats(-15, 12), st.floats(0, 90))
def test_a_disc_s_hidden_edge_is_round(bearing: float, out: float, turn: float) -> None:
    way = np.array([math.cos(math.radians(bearing)), math.sin(math.radians(bearing))])
    x, y = (RADIUS + out) * way
    lying = card(x, y, turn)
    found = drawn_across(seen(DISC, lying), [points(lying)])
    assert mean_diameter(found.points) == pytest.approx(2 * RADIUS, rel=0.005)  # without, up to 7 % too small
    assert shapely.hausdorff_distance(shapely.LinearRing(found.points), DISC.exterior) < 3.0
    assert found.standard_error > 0.5
    assert any("mm of the edge" in text for text in found.warnings)


@given(
    st.tuples(st.floats(-130, 130), st.floats(-130, 130)), st.floats(0, 90), st.floats(0.5, 120), st.floats(0.5, 120)
)
def test_wherever_something_lies_the_outline_stays_a_simple_shape(
    at: tuple[float, float], turn: float, width: float, height: float
) -> None:
    bearing = np.linspace(0, 2 * np.pi, 360, endpoint=False)
    radius = RADIUS * (1 + 0.05 * np.sin(7 * bearing) + 0.02 * np.sin(31 * bearing))
    wood = shapely.Polygon(np.column_stack([radius * np.cos(bearing), radius * np.sin(bearing)]))
    lying = card(*at, turn, width, height)
    parts = shapely.get_parts(wood.difference(lying))
    outline = Outline(points(max(parts, key=lambda part: part.area)))
    found = shapely.Polygon(drawn_across(outline, [points(lying)]).points)
    assert found.is_valid
    near = lying.buffer(0.007 * 2 * RADIUS)  # an edge this close may be the reference's own
    assert found.difference(wood.union(near)).area < 10.0  # of 31 000: corners cut between 720 points
    assert found.area > 0.9 * shapely.Polygon(outline.points).area


def test_a_sawn_edge_stays_straight() -> None:
    half = DISC.intersection(shapely.box(-200, 0, 200, 200))
    lying = card(20, -10, turn=25)
    found = drawn_across(seen(half, lying), [points(lying)])
    assert shapely.hausdorff_distance(shapely.LinearRing(found.points), half.exterior) < 1.0


def test_bark_is_led_across_within_the_edge() -> None:
    wood, lying = DISC.buffer(-8), card(95, 0)
    outline = Outline(points(DISC.difference(lying)), points(wood.difference(lying)))
    found = drawn_across(outline, [points(lying)])
    assert found.under_bark is not None
    assert mean_diameter(found.under_bark) == pytest.approx(2 * (RADIUS - 8), rel=0.005)
    assert shapely.Polygon(found.points).buffer(1e-6).covers(shapely.Polygon(found.under_bark))


def test_an_edge_taken_past_the_wood_is_brought_back() -> None:
    """The corners of a card that lies across the edge were taken for wood."""
    lying = card(RADIUS, 0)
    found = drawn_across(Outline(points(DISC.union(lying))), [points(lying)])
    assert mean_diameter(found.points) == pytest.approx(2 * RADIUS, rel=0.005)


@pytest.mark.parametrize("away", [0.0, 0.5, 30.0])
def test_what_lies_beside_the_wood_changes_nothing(away: float) -> None:
    lying = card(RADIUS + 85.6 / 2 + away, 0)
    outline = Outline(points(DISC), standard_error=0.5)
    assert drawn_across(outline, [points(lying)]) == outline


def test_what_lies_within_hides_no_edge_but_may_hide_cracks() -> None:
    found = drawn_across(Outline(points(DISC)), [points(card(10, 20))])
    assert found.points == points(DISC)
    assert [text for text in found.warnings if "cracks" in text]


def test_an_outline_set_by_hand_is_kept() -> None:
    outline = Outline(points(DISC.difference(card(RADIUS, 0))), set_by="person")
    assert drawn_across(outline, [points(card(RADIUS, 0))]) == outline


def test_a_crack_that_runs_to_a_card_is_led_to_its_far_side() -> None:
    outline = Outline(points(DISC))
    found = led_beneath(crack((90.0, 0.0), (44.0, 0.0)), outline, [points(card(0, 0))])
    assert found.path[0] == (90.0, 0.0)
    assert found.path[-1] == pytest.approx((-42.8, 0.0), abs=0.1)
    assert found.length == pytest.approx(132.8, abs=0.1)


def test_cracks_that_end_before_a_card_pass_it_or_are_set_by_hand_stay() -> None:
    outline, lying = Outline(points(DISC)), [points(card(0, 0))]
    for one in (
        crack((90.0, 0.0), (60.0, 0.0)),
        crack((-60.0, 29.0), (60.0, 29.0)),
        crack((44.0, 0.0), (44.0, 60.0)),
        crack((90.0, 0.0), (44.0, 0.0), set_by="person"),
    ):
        assert led_beneath(one, outline, lying) == one


def test_a_pith_beneath_a_card_is_the_less_sure_the_farther_from_sight() -> None:
    lying = [points(card(0, 0))]
    middle, rim, beside = (unsure_beneath(Pith((x, 0.0), 0.3, inside=True), lying) for x in (0.0, 40.0, 43.0))
    assert middle.standard_error == pytest.approx(math.hypot(0.3, 0.2 * 53.98 / 2))
    assert rim.standard_error == pytest.approx(math.hypot(0.3, 0.2 * 2.8))
    assert middle.warnings
    assert beside == Pith((43.0, 0.0), 0.3, inside=True)


SHEET = ((60.0, 40.0), (357.0, 40.0), (357.0, 250.0), (60.0, 250.0))  # A4
WHITE, PALE_WOOD = (228, 226, 222), (214, 190, 150)


def laid(wood_radius: int, *, sheet: Points = SHEET, chequered: bool = False) -> tuple[Photo, Scale]:
    """A sheet on a bench, and a disc of pale wood in its middle, a pixel a mm."""
    import cv2

    pixels = np.full((300, 420, 3), (120, 100, 80), np.uint8)
    cv2.fillPoly(pixels, [np.rint(sheet).astype(np.int32)], WHITE)
    if chequered:
        for k in range(0, 80, 2):
            x, y = 75 + 25 * (k % 10) + 25 * (k // 10 % 2), 55 + 25 * (k // 10)
            cv2.rectangle(pixels, (x, y), (x + 24, y + 24), (25, 25, 25), -1)
    if wood_radius:
        cv2.circle(pixels, (208, 145), wood_radius, PALE_WOOD, -1)
    plain = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
    return Photo(frozen_pixels(pixels), "sheet.png", "0" * 64), Scale("paper", plain, 0.1, 1.0, references_px=(sheet,))


@pytest.mark.parametrize("chequered", [False, True])
def test_a_sheet_with_the_wood_on_it_hides_nothing_of_it(chequered: bool) -> None:
    assert sheets_beneath(*laid(70, chequered=chequered), (208.0, 145.0)) == (SHEET,)


@pytest.mark.parametrize("chequered", [False, True])
def test_a_sheet_in_sight_at_the_aim_lies_on_the_wood(chequered: bool) -> None:
    assert sheets_beneath(*laid(0, chequered=chequered), (208.0, 145.0)) == ()


def test_neither_a_sheet_beside_the_aim_nor_a_card_is_under_the_wood() -> None:
    assert sheets_beneath(*laid(70), (30.0, 145.0)) == ()
    card_px = points(card(208, 145))
    assert sheets_beneath(*laid(20, sheet=card_px), (208.0, 145.0)) == ()
