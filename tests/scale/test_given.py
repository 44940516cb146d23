"""Scales from what a user measured: two points, the piece's own diameter; and loose markers."""

import cv2
import numpy as np
import pytest

from photonest.model import NotFound, Scale
from photonest.scale.cut_outs import cut_out_pdf, cut_out_raster, piece_of, place_on_piece
from photonest.scale.known_diameter import KnownDiameter
from photonest.scale.markers import Markers, detected, lines
from photonest.scale.two_points import TwoPoints
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


def test_round_rim_is_as_sure_as_its_edge() -> None:
    """A circle does not tell how it is turned in its plane; that must not enter the error of its size."""
    scale = KnownDiameter().find(as_photo(disc_photo(), 1000.0), KnownDiameter.Options(270.0, across="round"))
    assert isinstance(scale, Scale), scale
    assert scale.standard_error_pct < 2.0


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


def loose_markers() -> np.ndarray:
    """The whole sheet of markers laid down uncut: what each is by itself does not know of the others."""
    return photograph(CAMERA, cut_out_raster("A4", "markers", 6.0), 6.0, (-105.0, -148.5))


def test_loose_markers_measure_what_they_surround() -> None:
    pixels = loose_markers()
    scale = Markers().find(as_photo(pixels, 1000.0), Markers.Options())
    assert isinstance(scale, Scale), scale
    assert abs(diameter_off_pct(scale, CAMERA, diameter=200.0)) < 0.3
    assert not scale.warnings


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
