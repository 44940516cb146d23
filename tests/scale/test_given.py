"""Scales from what a user measured: two points, the piece's own diameter; and loose markers."""

from dataclasses import replace
from functools import cache

import cv2
import numpy as np
import pytest

from photonest.model import NotFound, Scale
from photonest.planar import mean_diameter, polygon_area
from photonest.rectify import photo_to_mm
from photonest.scale.cut_outs import cut_out_pdf, cut_out_raster, piece_of, place_on_piece
from photonest.scale.known_diameter import KnownDiameter, by_outline
from photonest.scale.markers import Markers, detected, lines
from photonest.scale.two_points import TwoPoints
from photonest.scale.uncertainty import diameter_error_pct, disc, modes_mm
from tests.drawn.camera import CameraSpec
from tests.scale.scenes import as_photo, diameter_off_pct, photograph

CAMERA = CameraSpec(width=1200, height=900, focal_px=1000, distance=420, tilt_deg=12, tilt_axis_deg=20, k1=-0.01)


def test_two_points_give_the_size() -> None:
    options = TwoPoints.Options(10.0, 20.0, 310.0, 420.0, length_mm=100.0)
    scale = TwoPoints().find(as_photo(np.zeros((500, 400, 3), np.uint8)), options)
    assert isinstance(scale, Scale)
    assert scale.mm_per_px == pytest.approx(0.2)  # a 3-4-5 triangle of 500 px
    # a pixel at either end of 500, half a mm of 100, and 2 % for a tilt
    assert scale.standard_error_pct == pytest.approx(np.sqrt(2 * 0.2**2 + 0.5**2 + 2**2), rel=0.02)


def test_two_points_say_little_far_from_them() -> None:
    """A tilt makes one side of the photo larger: a shot tilted by 25 degrees, measured square, stays within 2.5 s.e."""
    camera = replace(CAMERA, tilt_deg=25, k1=0.0)
    (x1, y1), (x2, y2) = camera.mm_to_px(np.array([[-140.0, -60.0], [-60.0, -60.0]])).tolist()
    options = TwoPoints.Options(x1, y1, x2, y2, length_mm=80.0)
    scale = TwoPoints().find(as_photo(np.zeros((900, 1200, 3), np.uint8), 1000.0), options)
    assert isinstance(scale, Scale)
    errors = []
    for middle in ((-100.0, -60.0), (60.0, -60.0), (120.0, 100.0)):
        mm = photo_to_mm(scale, camera.mm_to_px(disc(middle, 30.0)))
        errors.append(diameter_error_pct(scale, mm))
        assert abs(100 * np.log(mean_diameter(mm) / 60)) < 2.5 * errors[-1]
    assert errors[0] == pytest.approx(scale.standard_error_pct, rel=0.02)
    assert errors[1] > 3 * errors[0]


def test_two_points_know_their_own_direction_best() -> None:
    """What a length across the middle makes of places 100 mm along it and beside it, over tilts within 25 degrees."""
    rng = np.random.default_rng(16)
    options = TwoPoints.Options(500.0, 300.0, 700.0, 600.0, length_mm=120.0, length_error_mm=0.0)
    scale = TwoPoints().find(as_photo(np.zeros((900, 1200, 3), np.uint8), 8000.0), options)
    assert isinstance(scale, Scale) and scale.map_error is not None
    along = np.array([2.0, 3.0]) / np.sqrt(13)
    ends = 100 * np.array([along, [-along[1], along[0]]])
    middle = photo_to_mm(scale, [(600.0, 450.0)])[0]
    ways = modes_mm(scale, middle + ends) - modes_mm(scale, [middle])
    told = np.einsum("nim,mk,nik->ni", ways, np.asarray(scale.map_error.covariance), ways)
    # Second way: tilts drawn evenly over a disc. Seen from afar, a tilt divides what lies towards it by its cosine.
    tilt, turn = np.radians(25) * np.sqrt(rng.uniform(size=4000)), rng.uniform(0, 2 * np.pi, 4000)
    towards = np.column_stack([np.cos(turn), np.sin(turn)])
    true = np.eye(2) + (1 / np.cos(tilt) - 1)[:, None, None] * towards[:, :, None] * towards[:, None, :]
    true /= np.linalg.norm(true @ along, axis=1)[:, None, None]  # the length is right
    off = np.einsum("nij,kj->nki", true - np.eye(2), ends)
    skew = (off[:, 0] @ ends[1] - off[:, 1] @ ends[0]) / 2 / 1e4  # a turn of the whole changes nothing
    off -= skew[:, None, None] * np.array([ends[1], -ends[0]])
    assert np.sqrt(told.sum(axis=1)) == pytest.approx(np.sqrt((off**2).sum(axis=2).mean(axis=0)), rel=0.1)


@pytest.mark.parametrize(
    "options",
    [
        TwoPoints.Options(),
        TwoPoints.Options(10.0, 20.0, 310.0, 420.0),
        TwoPoints.Options(10.0, 20.0, 310.0, 420.0, length_mm=-1.0),
        TwoPoints.Options(10.0, 20.0, 310.0, 420.0, length_mm=float("nan")),
        TwoPoints.Options(10.0, 20.0, 12.0, 21.0, length_mm=10.0),
        TwoPoints.Options(-10.0, 20.0, 310.0, 420.0, length_mm=10.0),
    ],
)
def test_points_that_make_no_sense(options: object) -> None:
    answer = TwoPoints().find(as_photo(np.zeros((500, 400, 3), np.uint8)), options)  # type: ignore[arg-type]
    assert isinstance(answer, NotFound)
    assert answer.hint


def disc_photo() -> np.ndarray:
    disc = np.full((1200, 1200), 60, np.uint8)
    cv2.circle(disc, (600, 600), 540, 200, -1)
    return photograph(CAMERA, disc, 4.0, (-150.0, -150.0), ground=0.05)


@pytest.mark.parametrize("across", ["widest", "round"])
def test_known_diameter(across: str) -> None:
    options = KnownDiameter.Options(diameter_mm=270.0, across=across)  # type: ignore[arg-type]
    scale = KnownDiameter().find(as_photo(disc_photo(), 1000.0), options)
    assert isinstance(scale, Scale), scale
    # the edge is good to 0.6 %, and one size for all pixels leaves about 1 - cos 12 = 2 % of a mean diameter
    assert abs(diameter_off_pct(scale, CAMERA, diameter=270.0)) < (3.0 if across == "widest" else 1.2)


CALIPERS = (KnownDiameter.Options(diameter_mm=300.0),)


def test_an_outline_settles_what_the_calipers_read() -> None:
    """An ellipse of 300 by 280 mm: its widest place, and half of what it exceeds the mean by."""
    rough = Scale("known-diameter", ((0.5, 0, 0), (0, 0.5, 0), (0, 0, 1)), 3.0, 0.5)
    turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    outline = 1.13 * np.column_stack([150 * np.cos(turn), 140 * np.sin(turn)])  # as the rough scale has it
    scale = by_outline(rough, *CALIPERS, outline, 0.5)
    tilt = (np.sqrt(300 / 280) - 1) / 2
    assert scale.mm_per_px == pytest.approx(0.5 / 1.13 * (1 + tilt), rel=1e-4)
    assert scale.px_to_mm[0][0] == pytest.approx(scale.mm_per_px)
    assert 100 * tilt < scale.standard_error_pct < 3.0
    assert not any("not the piece's" in text for text in by_outline(rough, *CALIPERS, outline / 1.13, 0.5).warnings)
    # 13 % less the tilt's share is nearly four of its standard errors
    assert any(f"{339 / (1 + tilt):.0f} mm across" in text for text in scale.warnings)


def test_an_outline_of_something_else_is_told_of() -> None:
    """A book lay beside a blank of 376 mm; its outline was 161 mm across, give or take 14."""
    rough = Scale("known-diameter", ((0.5, 0, 0), (0, 0.5, 0), (0, 0, 1)), 4.0, 0.5)
    options = KnownDiameter.Options(diameter_mm=376.0, across="round")
    assert by_outline(rough, options, disc((0, 0), 190.0), 0.5) == rough
    scale = by_outline(rough, options, disc((0, 0), 80.5), 0.5)
    assert any("161 mm across" in text and "--at" in text for text in scale.warnings)
    assert scale.standard_error_pct > 100 * np.log(376 / 161) / 2


def test_what_sticks_out_of_the_piece_is_no_width() -> None:
    disc = np.full((1200, 1200), 60, np.uint8)
    cv2.circle(disc, (600, 600), 500, 200, -1)
    cv2.rectangle(disc, (1080, 560), (1180, 640), 200, -1)  # 16 % of the width, over 9 degrees
    pixels = photograph(replace(CAMERA, tilt_deg=0), disc, 4.0, (-150.0, -150.0), ground=0.05)
    scale = KnownDiameter().find(as_photo(pixels, 1000.0), KnownDiameter.Options(diameter_mm=250.0))
    assert isinstance(scale, Scale), scale
    assert (
        abs(diameter_off_pct(scale, replace(CAMERA, tilt_deg=0), diameter=250.0)) < 1.2
    )  # the edge's own error, twice


def test_round_rim_is_as_sure_as_its_edge() -> None:
    """A circle does not tell how it is turned in its plane; that must not enter the error of its size."""
    scale = KnownDiameter().find(as_photo(disc_photo(), 1000.0), KnownDiameter.Options(270.0, across="round"))
    assert isinstance(scale, Scale), scale
    rim = photo_to_mm(scale, CAMERA.mm_to_px(disc((0.0, 0.0), 135.0)))
    # 0.5 % of the edge, and half a mm of 270; which way the camera is tilted is not told, and does not matter there
    assert diameter_error_pct(scale, rim) == pytest.approx(np.hypot(0.5, 50 / 270), rel=0.1)


def test_what_touches_a_round_piece_is_none_of_its_rim() -> None:
    piece = np.full((1200, 1600), 60, np.uint8)
    cv2.circle(piece, (600, 600), 500, 200, -1)
    piece[450:750, 1000:1500] = 200
    pixels = photograph(CAMERA, piece, 4.0, (-150.0, -150.0), ground=0.05)
    scale = KnownDiameter().find(as_photo(pixels, 1000.0), KnownDiameter.Options(250.0, across="round"))
    assert isinstance(scale, Scale), scale
    assert abs(diameter_off_pct(scale, CAMERA, diameter=250.0)) < 1.0  # twice the rim's own error
    piece[600:] = 60  # half of a disc is none
    pixels = photograph(CAMERA, piece, 4.0, (-150.0, -150.0), ground=0.05)
    assert not KnownDiameter().find(as_photo(pixels, 1000.0), KnownDiameter.Options(250.0, across="round"))


def test_a_rim_out_of_round_is_laid_to_no_camera() -> None:
    """No lens sees a circle as a shape of three lobes: taken for one, its focal length came out a fifth of it."""
    turn = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    lobes = (540 * (1 + 0.02 * np.cos(3 * turn + 0.4)))[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    piece = cv2.fillPoly(np.full((1200, 1200), 60, np.uint8), [np.rint(600 + lobes).astype(np.int32)], 200)
    pixels = photograph(CAMERA, piece, 4.0, (-150.0, -150.0), ground=0.05)
    scale = KnownDiameter().find(as_photo(pixels), KnownDiameter.Options(270.0, across="round"))
    assert isinstance(scale, Scale), scale
    assert scale.lens is not None
    assert 700 < scale.lens.focal_px < 1600
    rim = photo_to_mm(scale, CAMERA.mm_to_px(disc((0.0, 0.0), 135.0)))
    assert diameter_error_pct(scale, rim) < 1.0


def test_piece_run_together_with_something_is_refused() -> None:
    disc = np.full((1200, 1600), 60, np.uint8)
    cv2.circle(disc, (600, 600), 400, 200, -1)
    disc[520:680, 900:1500] = 200
    pixels = photograph(CAMERA, disc, 4.0, (-150.0, -150.0), ground=0.05)
    answer = KnownDiameter().find(as_photo(pixels, 1000.0), KnownDiameter.Options(diameter_mm=200.0))
    assert isinstance(answer, NotFound)
    assert "alone" in answer.hint


def test_known_diameter_must_make_sense() -> None:
    black = as_photo(np.zeros((300, 400, 3), np.uint8))
    for options in (KnownDiameter.Options(), KnownDiameter.Options(diameter_mm=-3.0)):
        answer = KnownDiameter().find(black, options)
        assert isinstance(answer, NotFound)
        assert answer.hint


@cache
def loose_markers(stretch: float = 1.0) -> np.ndarray:
    """The whole sheet of markers laid down uncut: what each is by itself does not know of the others."""
    return photograph(CAMERA, cut_out_raster("A4", "markers", 6.0), 6.0, (-105.0, -148.5), stretch=stretch)


def test_loose_markers_measure_what_they_surround() -> None:
    pixels = loose_markers()
    scale = Markers().find(as_photo(pixels, 1000.0), Markers.Options())
    assert isinstance(scale, Scale), scale
    assert abs(diameter_off_pct(scale, CAMERA, diameter=200.0)) < 0.3
    assert not scale.warnings
    tiles = [photo_to_mm(scale, paper) for paper in scale.references_px]
    assert len(tiles) == 12  # each by itself: what lies between them is the wood
    assert [polygon_area(tile) for tile in tiles] == pytest.approx([56.0**2] * 12, rel=0.03)


def partly_nearer(corner_mm: tuple[float, float], size_mm: tuple[float, float]) -> np.ndarray:
    """The same photo with part of the sheet seen 3 % larger, as what lies so much nearer to the camera is."""
    corners = np.array(corner_mm) + np.array([[0.0, 0.0], size_mm]) + [-105.0, -148.5]
    (left, top), (right, below) = np.rint(CAMERA.mm_to_px(corners)).astype(int)
    mixed = loose_markers().copy()
    mixed[top:below, left:right] = loose_markers(1.03)[top:below, left:right]
    return mixed


def test_a_marker_nearer_than_the_others_hardly_counts_and_is_told_of() -> None:
    scale = Markers().find(as_photo(partly_nearer((24.0, 21.0), (52.0, 54.0)), 1000.0), Markers.Options())
    assert isinstance(scale, Scale), scale
    assert abs(diameter_off_pct(scale, CAMERA, diameter=200.0)) < 0.3
    assert "1 of 12 loose markers hardly count" in scale.warnings[0]


def test_markers_at_two_heights_are_refused() -> None:
    answer = Markers().find(as_photo(partly_nearer((24.0, 21.0), (54.0, 220.0)), 1000.0), Markers.Options())
    assert isinstance(answer, NotFound)
    assert "one plane" in answer.reason


def test_strips_are_rigid() -> None:
    pixels = photograph(CAMERA, cut_out_raster("A4", "strips", 6.0), 6.0, (-105.0, -148.5))
    found = detected(as_photo(pixels))
    assert {piece_of(number) for number in found} == {100, 104, 108}
    scale = Markers().find(as_photo(pixels, 1000.0), Markers.Options())
    assert isinstance(scale, Scale), scale
    assert abs(diameter_off_pct(scale, CAMERA, diameter=200.0)) < 0.3


def test_no_markers_and_bad_check_line() -> None:
    black = as_photo(np.zeros((300, 400, 3), np.uint8))
    for options in (Markers.Options(), Markers.Options(check_line_mm=3.0)):
        answer = Markers().find(black, options)
        assert isinstance(answer, NotFound)
        assert answer.hint


def test_numbers_say_the_piece() -> None:
    assert piece_of(0) is None
    assert place_on_piece(103) == (168.0, 0.0)
    with pytest.raises(ValueError, match="no piece"):
        place_on_piece(3)
    assert len(lines(80)) >= 8
    assert cut_out_pdf("Letter", "strips") == cut_out_pdf("Letter", "strips")
