"""The view fitted is the camera's, its errors are what they say, and the geometry is that of other libraries."""

from dataclasses import replace

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from photonest.model import MapError, Scale
from photonest.scale.camera import Prior, View, fit, mirrored, rotation, squarely, start
from photonest.scale.height import below_the_piece, error_pct_per_mm, face_above, grown, laid_by_eye
from photonest.scale.uncertainty import diameter_error_pct, disc, growth, modes, rim_error_mm
from tests.drawn.camera import CameraSpec

PRIOR = Prior(1000.0, 0.03, (600.0, 450.0), 12.0)
small = st.floats(-1.0, 1.0)


def view(tilt: float = 10.0, axis: float = 30.0, k1: float = -0.02) -> tuple[View, CameraSpec]:
    camera = CameraSpec(
        width=1201, height=901, focal_px=1000, distance=500, aim=(20, 10), tilt_deg=tilt, tilt_axis_deg=axis, k1=k1
    )
    begun = start(PRIOR, camera.homography())
    assert begun is not None
    values = begun.values.copy()
    values[3] = k1
    return View(values, begun.turned), camera


@given(small, small, small)
def test_rotation_is_opencv_s(x: float, y: float, z: float) -> None:
    theirs, _ = cv2.Rodrigues(np.array([x, y, z]))
    assert rotation(np.array([x, y, z])) == pytest.approx(theirs, abs=1e-12)


@settings(max_examples=40)
@given(st.floats(0, 40), st.floats(0, 360), st.floats(-0.05, 0.05))
def test_view_is_the_drawn_camera(tilt: float, axis: float, k1: float) -> None:
    """An independent pinhole camera with a radial lens, by other formulas, puts points in the same pixels."""
    ours, camera = view(tilt, axis, k1)
    points = np.array([[0, 0], [100, 40], [-120, 80], [60, -90.0]])
    assert ours.to_px(points) == pytest.approx(camera.mm_to_px(points), abs=1e-6)
    # six rounds of undistortion, each thirty times better: far below a thousandth of a pixel
    assert ours.to_mm(camera.mm_to_px(points)) == pytest.approx(points, abs=1e-4)
    assert ours.tilt_deg == pytest.approx(tilt, abs=1e-4)


def test_projection_is_opencv_s() -> None:
    ours, _ = view()
    points = np.array([[0, 0, 0], [100, 40, 0], [-120, 80, 0.0]])
    x, y = ours.values[1:3]
    matrix = np.array([[ours.focal_px, 0, x], [0, ours.focal_px, y], [0, 0, 1.0]])
    lens = np.array([*ours.values[3:5], 0, 0])
    theirs, _ = cv2.projectPoints(points, cv2.Rodrigues(ours.rotation)[0], ours.shift, matrix, lens)
    assert ours.to_px(points[:, :2]) == pytest.approx(np.reshape(theirs, (-1, 2)), abs=1e-6)


def test_many_views_at_once_are_each_alone() -> None:
    ours, _ = view()
    batch = View(ours.values + np.diag(np.full(11, 1e-3)), ours.turned)
    points = np.array([[0, 0], [100, 40.0]])
    for index in range(11):
        alone = View(batch.values[index], ours.turned)
        assert batch.to_px(points)[index] == pytest.approx(alone.to_px(points))
        assert batch.to_mm(points)[index] == pytest.approx(alone.to_mm(points))


def test_mirrored_view_looks_alike_from_afar() -> None:
    """The two tilts of a small plane differ by second-order terms only: 30 mm at 500 mm, of 60 px, below a tenth."""
    ours, _ = view(k1=0.0)
    points = np.array([[-15, -15], [15, -15], [15, 15], [-15, 15.0]])
    other = mirrored(ours)
    assert np.abs(other.rotation - ours.rotation).max() > 0.1
    off = np.abs(other.to_px(points) - ours.to_px(points)).max()
    assert 0 < off < 2


def test_square_view_keeps_the_place() -> None:
    ours, _ = view(k1=0.0)
    flat = squarely(ours, (30.0, 20.0))
    assert flat.tilt_deg == pytest.approx(0, abs=1e-6)
    assert flat.to_px([[30.0, 20.0]]) == pytest.approx(ours.to_px([[30.0, 20.0]]), abs=1e-6)


def fitted(noise: float, seed: int) -> tuple[View, CameraSpec]:
    _, camera = view()
    mm = np.array([(x, y) for x in range(-150, 151, 50) for y in range(-100, 101, 50)], float)
    px = camera.mm_to_px(mm) + np.random.default_rng(seed).normal(0, noise, (len(mm), 2))

    def residuals(at: View) -> np.ndarray:
        off = (at.to_px(mm) - px) / max(noise, 0.01)
        return off.reshape(*off.shape[:-2], -1)

    first = start(PRIOR, camera.homography())
    assert first is not None
    answer = fit(first, PRIOR, residuals)
    assert answer is not None
    return answer, camera


def test_exact_points_give_the_camera_back() -> None:
    answer, _ = fitted(0.0, 0)
    assert answer.values[3] == pytest.approx(-0.02, abs=2e-3)
    assert answer.tilt_deg == pytest.approx(10, abs=0.05)


def test_covariance_is_the_scatter_of_fits() -> None:
    """Over repeated noise the squared error of the tilted distance is its variance, within what 40 trials allow."""
    ratios = []
    for seed in range(40):
        answer, _ = fitted(0.2, seed)
        assert answer.covariance is not None
        ratios.append((answer.values[7]) ** 2 / answer.covariance[7, 7])  # turn in the picture: truth is 0
    # chi-square of 40 over 40 has a standard deviation of 0.22; three of them
    assert np.mean(ratios) == pytest.approx(1, abs=0.67)


def flat_scale(distance: float = 500.0) -> Scale:
    """A camera square to the face, 500 mm away, 1000 px focal length: half a mm per pixel."""
    error = MapError((600.0, 450.0), 1000.0, tuple(tuple(row) for row in (1e-8 * np.eye(10)).tolist()))
    size = distance / 1000
    return Scale(
        "x", ((size, 0, -300), (0, size, -225), (0, 0, 1)), 0.1, size,
        map_error=error, distance_mm=distance, distance_error_mm=10.0, foot_px=(600.0, 450.0),
    )  # fmt: skip


def test_height_is_the_ratio_of_distances() -> None:
    """A face 50 mm nearer at 500 mm is seen 500/450 larger, so a pixel shows 10 % less: the pinhole's law."""
    raised = face_above(flat_scale(), 50.0)
    assert isinstance(raised, Scale)
    assert raised.mm_per_px == pytest.approx(0.45)
    assert raised.distance_mm == pytest.approx(450)
    points = np.array([[600, 450, 1], [700, 450, 1.0]]) @ np.array(raised.px_to_mm).T
    assert points[1, 0] - points[0, 0] == pytest.approx(45)
    # 2 % of distance, 50 of 500 mm: 50 * 10 / 500 / 450 = 0.22 %
    assert raised.standard_error_pct == pytest.approx(np.hypot(0.1, 100 * 50 * 10 / 500 / 450), rel=1e-6)


def test_unknown_height_is_carried_into_the_error() -> None:
    raised = face_above(flat_scale(), 0.0, error_mm=5.0)
    assert isinstance(raised, Scale)
    assert raised.mm_per_px == 0.5
    assert diameter_error_pct(raised, disc((0, 0), 100)) == pytest.approx(1.0, abs=0.05)
    assert error_pct_per_mm(raised) == pytest.approx(0.2)


def test_a_piece_on_its_reference_may_be_as_thick_as_any() -> None:
    """Fifty mm of 500 are 10 %."""
    told = below_the_piece(flat_scale())
    assert told.standard_error_pct == pytest.approx(10.0, rel=0.01)
    assert "2.0 % for every 10 mm" in told.warnings[-1]
    assert below_the_piece(replace(flat_scale(), distance_mm=None)).warnings[-1].count("%") == 0


def test_laid_by_eye_costs_more_the_narrower_and_the_farther() -> None:
    """Two mm of 500 are 0.4 %; half a mm of unevenness across 20 mm is 5 mm, 200 mm away: 1.0 % more, in squares."""
    plain = flat_scale()
    x, y = 600.0, 450.0  # pixels of half a mm
    wide = replace(plain, references_px=(((x, y), (x + 1000, y), (x + 1000, y + 1000), (x, y + 1000)),))
    bar = replace(plain, references_px=(((x, y), (x + 400, y), (x + 400, y + 40), (x, y + 40)),))
    for scale, middle, expected in (
        (plain, (x, y), 0.4),
        (wide, (x + 500, y + 500), 0.4),
        (bar, (x + 200, y + 420), np.hypot(0.4, 1.0)),
    ):
        told = laid_by_eye(scale, middle)
        assert told.standard_error_pct == pytest.approx(np.hypot(scale.standard_error_pct, expected), rel=1e-3)
    assert laid_by_eye(replace(plain, distance_mm=None), (x, y)).standard_error_pct == plain.standard_error_pct


def test_impossible_heights_are_refused() -> None:
    assert not face_above(flat_scale(), 450.0)
    assert not face_above(Scale("x", ((1, 0, 0), (0, 1, 0), (0, 0, 1)), 1.0, 1.0), 10.0)


def test_growth_is_an_error_of_all_lengths_alike() -> None:
    scale = grown(flat_scale(), 0.02)
    for centre, radius in (((0, 0), 100), ((-50, 30), 60)):
        assert diameter_error_pct(scale, disc(centre, radius)) == pytest.approx(2.0, abs=0.02)
        assert rim_error_mm(scale, disc(centre, radius)) == pytest.approx(0.02 * radius, rel=0.02)
    way = growth(flat_scale())
    assert way[[1, 5]] == pytest.approx([1, 1])


def test_modes_are_derivatives_of_a_homography() -> None:
    error = MapError((600.0, 450.0), 1000.0, tuple(tuple(row) for row in np.eye(10).tolist()))
    rng = np.random.default_rng(3)
    numbers = 1e-6 * rng.normal(size=8)
    inner = np.eye(3)
    inner[:2] += [[numbers[1], numbers[2], numbers[0]], [numbers[4], numbers[5], numbers[3]]]
    inner[2, :2] = -numbers[6], -numbers[7]
    frame = np.array([[1000, 0, 600], [0, 1000, 450], [0, 0, 1.0]])
    points = rng.uniform(0, 900, (6, 2))
    moved = np.column_stack([points, np.ones(6)]) @ (frame @ inner @ np.linalg.inv(frame)).T
    off = moved[:, :2] / moved[:, 2:] - points
    assert modes(error, points)[..., :8] @ numbers == pytest.approx(off, abs=1e-7)
