import functools
from dataclasses import replace

import cv2
import numpy as np
import pytest
from skimage.transform import ProjectiveTransform

from photonest.model import NotFound, Scale
from photonest.rectify import photo_to_mm
from photonest.scale.advice import advice
from photonest.scale.board import sheet_layout, sheet_raster
from photonest.scale.marker_sheet import MarkerSheet, find_sheet
from photonest.scale.markers import Markers
from photonest.scale.seen_markers import seen_markers
from photonest.scale.uncertainty import diameter_error_pct, disc, rim_error_mm
from tests.drawn.camera import CameraSpec, lookup
from tests.scale.scenes import as_photo, diameter_off_pct, photograph

FOCAL = 1000.0
CAMERA = CameraSpec(
    width=1200,
    height=900,
    focal_px=FOCAL,
    distance=560,
    aim=(90, 0),
    tilt_deg=14,
    tilt_axis_deg=50,
    roll_deg=4,
    k1=-0.02,
)
AT = (160.0, -150.0)
LOG_ON_SHEET = disc((-160.0, 150.0), 150.0)  # where the log lies in the sheet's own frame
MARKER_SHEET = MarkerSheet()


@functools.cache
def seen(camera: CameraSpec = CAMERA, **how: float) -> np.ndarray:
    return photograph(camera, sheet_raster("A4", 6.0), 6.0, AT, **how)  # type: ignore[arg-type]


def found(pixels: np.ndarray, **options: float) -> Scale:
    scale = MARKER_SHEET.find(as_photo(pixels, FOCAL), MARKER_SHEET.Options(**options))
    assert isinstance(scale, Scale), scale
    return scale


@pytest.fixture(scope="module")
def scale() -> Scale:
    return found(seen())


def test_log_beside_the_sheet_is_measured(scale: Scale) -> None:
    # the print itself is exact here; 0.5 % is what nine of ten photos must stay below
    assert abs(diameter_off_pct(scale, CAMERA)) < 0.5
    assert scale.tilt_deg == pytest.approx(14, abs=0.7)
    assert scale.distance_mm == pytest.approx(560 * np.cos(np.radians(14)), rel=0.05)


def test_positions_on_the_sheet_are_true_mm(scale: Scale) -> None:
    corners = sheet_layout("A4").board_corners()
    measured = photo_to_mm(scale, CAMERA.mm_to_px(corners + AT))
    # 0.1 px of 0.43 mm
    assert np.abs(measured - corners).max() < 0.1


@pytest.mark.parametrize(("height", "told"), [(840, "is cropped"), (900, "seems to be cropped")])
def test_a_cropped_photo_is_said_to_be_and_measured_all_the_same(height: int, told: str) -> None:
    """The lens looked past its middle, and its file's focal length, in mm, is of a larger frame."""
    camera = replace(CAMERA, height=height, tilt_deg=24, k1=0.0, centre_shift_px=(120.0, -90.0))
    photo = as_photo(seen(camera), None if height == 840 else 0.75 * FOCAL)
    scale = MARKER_SHEET.find(photo, MARKER_SHEET.Options())
    assert isinstance(scale, Scale)
    assert any(told in text for text in (*scale.warnings, *advice(photo, scale)))
    error = diameter_error_pct(scale, photo_to_mm(scale, camera.mm_to_px(disc((0, 0), 150))))
    # 3 standard errors; the print's own 0.2 % is exact here
    assert abs(diameter_off_pct(scale, camera)) < 3 * np.sqrt(error**2 - 0.2**2)


def test_homography_agrees_with_skimage(scale: Scale) -> None:
    """On a photo free of distortion a projective transform by scikit-image, from the true corners, maps alike."""
    camera = CameraSpec(width=1200, height=900, focal_px=FOCAL, distance=560, aim=(90, 0), tilt_deg=14)
    corners = sheet_layout("A4").board_corners()
    theirs = ProjectiveTransform.from_estimate(camera.mm_to_px(corners + AT), corners)
    ours = found(seen(camera))
    points = np.array([[225, 225], [600, 450], [975, 675]], float)
    # the first point is 1.4 sheets' widths off the sheet: 0.05 mm on it, extrapolated, grow tenfold and more
    assert photo_to_mm(ours, points) == pytest.approx(theirs(points), abs=0.8)


def test_reference_lies_where_the_sheet_is(scale: Scale) -> None:
    rim = np.array([[0, 0], [210, 0], [210, 297], [0, 297.0]]) + AT
    assert np.array(scale.references_px) == pytest.approx(CAMERA.mm_to_px(rim)[None], abs=1.0)


def test_error_grows_away_from_the_sheet(scale: Scale) -> None:
    near, far = disc((105, 150), 40), LOG_ON_SHEET
    assert diameter_error_pct(scale, near) < diameter_error_pct(scale, far)
    assert rim_error_mm(scale, near) < rim_error_mm(scale, far)
    # beside its own print's error of 0.2 % a circle on the sheet is nearly free of error
    assert diameter_error_pct(scale, near) == pytest.approx(0.2, abs=0.05)


def test_part_hidden_and_part_outside() -> None:
    pixels = seen()
    rim = CAMERA.mm_to_px(np.array([[0, 0], [120, 0], [90, 297], [0, 297.0]]) + AT)
    hidden = cv2.fillPoly(pixels.copy(), [rim.astype(np.int32)], (90, 70, 50))
    scale = found(hidden)
    assert abs(diameter_off_pct(scale, CAMERA)) < 1.0
    assert diameter_error_pct(scale, LOG_ON_SHEET) > diameter_error_pct(found(pixels), LOG_ON_SHEET)


def test_upside_down_and_letter() -> None:
    pixels = photograph(CAMERA, sheet_raster("Letter", 6.0), 6.0, (380.0, 140.0), turn_deg=180.0)
    scale = found(pixels)
    assert abs(diameter_off_pct(scale, CAMERA)) < 0.5


def test_measured_check_line_corrects_a_shrunk_print() -> None:
    pixels = seen(stretch=0.97)
    assert diameter_off_pct(found(pixels), CAMERA) == pytest.approx(100 / 0.97 - 100, abs=0.5)
    assert abs(diameter_off_pct(found(pixels, check_line_mm=97.0), CAMERA)) < 0.5


@pytest.mark.parametrize("line", [0.0, -100.0, 10.0, 254.0, float("nan")])
def test_impossible_check_line_is_refused(line: float) -> None:
    answer = MARKER_SHEET.find(as_photo(np.zeros((300, 400, 3), np.uint8)), MARKER_SHEET.Options(check_line_mm=line))
    assert isinstance(answer, NotFound)
    assert "check line" in answer.reason


def test_no_sheet_is_not_found() -> None:
    rng = np.random.default_rng(1)
    noise = cv2.GaussianBlur(rng.integers(0, 255, (600, 800, 3), np.uint8), (0, 0), 3)
    answer = MARKER_SHEET.find(as_photo(noise), MARKER_SHEET.Options())
    assert isinstance(answer, NotFound)
    assert answer.hint


@pytest.mark.parametrize(("distance", "read"), [(1500, True), (2600, False)])
def test_small_sheet_is_looked_at_closer_or_said_to_be_too_small(distance: float, read: bool) -> None:
    """Its markers are 12 and 7 pixels wide, cells less than two; it fills 3 and 1 % of the photo."""
    camera = replace(CAMERA, distance=distance, blur_px=0.5)
    photo = as_photo(seen(camera), FOCAL)
    scale = MARKER_SHEET.find(photo, MARKER_SHEET.Options())
    if not read:
        assert isinstance(scale, NotFound)
        assert "too small" in scale.reason and "Go so near" in scale.hint and not scale.absent
        return
    assert isinstance(scale, Scale)
    error = diameter_error_pct(scale, photo_to_mm(scale, camera.mm_to_px(disc((0, 0), 150))))
    assert abs(diameter_off_pct(scale, camera)) < 3 * error < 3


@pytest.mark.parametrize("finder", [MARKER_SHEET, Markers()])
def test_mirrored_photo_is_named(finder: MarkerSheet | Markers) -> None:
    answer = finder.find(as_photo(seen()[:, ::-1]), finder.Options())  # type: ignore[arg-type]
    assert isinstance(answer, NotFound)
    assert "mirrored" in answer.reason


def test_sheet_cut_by_the_frame_is_measured_and_told() -> None:
    """A third of the sheet is left in the photo."""
    camera = replace(CAMERA, aim=(-85, 0))
    scale = found(seen(camera))
    assert any("frame cuts it" in text for text in scale.warnings)
    off = diameter_off_pct(scale, camera)
    assert abs(off) < 3 * diameter_error_pct(scale, LOG_ON_SHEET) + 0.05


def test_sheet_bent_one_way_is_measured_and_told() -> None:
    """A cylinder of 1.2 m radius, its lines across the page: 9 mm high at the page's ends, where rays meet it."""
    radius, middle, box = 1200.0, 148.5, (0, 0, CAMERA.width, CAMERA.height)
    raster = sheet_raster("A4", 6.0)
    low, high = np.stack(lookup(CAMERA, 0.0, box), -1), np.stack(lookup(CAMERA, -10.0, box), -1)
    lift = np.zeros(low.shape[:2])
    for _ in range(6):
        on = low + (high - low) * lift[..., None] / 10 - AT
        lift = radius - np.sqrt(radius**2 - np.clip(on[..., 1] - middle, -200, 200) ** 2)
    # lengths along the paper stay: the print's place is the arc
    arc = middle + radius * np.arcsin(np.clip((on[..., 1] - middle) / radius, -0.9, 0.9))
    at = (np.stack([on[..., 0], arc], -1) * 6.0 - 0.5).astype(np.float32)
    pixels = cv2.remap(cv2.GaussianBlur(raster, (0, 0), 2.0), at, None, cv2.INTER_LINEAR, borderValue=90.0)
    scale = found(np.repeat(pixels[..., None], 3, axis=2))
    assert any("bent by about 9 mm" in text for text in scale.warnings)
    # a flat fit is off by several percent; the bend leaves what a sheet bent so much leaves sure
    assert abs(diameter_off_pct(scale, CAMERA)) < 1.0


@pytest.mark.parametrize("blur_px", [1.2, 1.6])
def test_a_blurred_sheet_is_measured(blur_px: float) -> None:
    """From 800 mm hardly half of its markers read as they are, and its corners lie within the blur."""
    camera = replace(CAMERA, distance=800, blur_px=blur_px)
    scale = found(seen(camera))
    assert abs(diameter_off_pct(scale, camera)) < 2 * diameter_error_pct(scale, LOG_ON_SHEET) < 0.5


def test_search_is_shared_and_forgotten_with_the_photo() -> None:
    photo = as_photo(seen())
    first = seen_markers(photo)
    assert seen_markers(photo) is first
    assert set(first.numbers) <= set(sheet_layout("A4").ids)


def test_bent_sheet_is_refused() -> None:
    """A bow as of paper off a roll: the photo bent along one direction by up to 3 mm."""
    pixels = seen()
    y, x = np.mgrid[: CAMERA.height, : CAMERA.width].astype(np.float32)
    bent = cv2.remap(pixels, x + 7 * np.sin(y / 70), y, cv2.INTER_LINEAR)
    answer = MARKER_SHEET.find(as_photo(bent, FOCAL), MARKER_SHEET.Options())
    assert isinstance(answer, NotFound)
    assert "flat" in answer.reason


@pytest.mark.parametrize(("tilt", "axis"), [(52, 90), (57, 127)])
def test_steep_view_is_refused(tilt: float, axis: float) -> None:
    """The second shows the plane's horizon in the corner where pixels are counted from."""
    steep = CameraSpec(
        width=1200, height=900, focal_px=FOCAL, distance=700, aim=(265, 0), tilt_deg=tilt, tilt_axis_deg=axis
    )
    answer = MARKER_SHEET.find(as_photo(seen(steep), FOCAL), MARKER_SHEET.Options())
    assert isinstance(answer, NotFound)
    assert "above" in answer.hint


def test_same_photo_same_answer() -> None:
    pixels = seen()
    assert found(pixels) == found(pixels)


def test_first_homography_is_good_to_a_few_pixels() -> None:
    answer = find_sheet(as_photo(seen()))
    assert not isinstance(answer, NotFound)
    layout, homography = answer
    assert layout.paper == "A4"
    ends = np.column_stack([layout.rim(), np.ones(4)]) @ homography.T
    assert ends[:, :2] / ends[:, 2:] == pytest.approx(CAMERA.mm_to_px(layout.rim() + AT), abs=8)
