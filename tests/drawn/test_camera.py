import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from tests.drawn.camera import CameraSpec, decode_srgb, encode_srgb, lookup


def tilted(**changes: float) -> CameraSpec:
    given_: dict[str, float] = {
        "tilt_deg": 24.0, "tilt_axis_deg": 40.0, "roll_deg": -7.0, "k1": 0.08, "k2": -0.03, "distance": 700.0
    }  # fmt: skip
    return CameraSpec(aim=(12.0, -9.0), centre_shift_px=(11.0, -6.0), **{**given_, **changes})  # type: ignore[arg-type]


cameras = st.builds(
    tilted,
    tilt_deg=st.floats(0, 35),
    tilt_axis_deg=st.floats(0, 360),
    roll_deg=st.floats(-180, 180),
    k1=st.floats(-0.1, 0.1),
    k2=st.floats(-0.05, 0.05),
    distance=st.floats(450, 1500),
)


@given(cameras, st.floats(-150, 150), st.floats(-150, 150), st.floats(-5, 100))
def test_a_point_projects_where_other_libraries_project_it(camera: CameraSpec, x: float, y: float, z: float) -> None:
    a = np.radians(camera.tilt_axis_deg)
    tilt = Rotation.from_rotvec(np.radians(camera.tilt_deg) * np.array([np.cos(a), np.sin(a), 0.0]))
    turned = Rotation.from_euler("z", camera.roll_deg, degrees=True) * tilt
    point = turned.apply([x - camera.aim[0], y - camera.aim[1], z]) + np.array([0, 0, camera.distance])
    k = np.array([[camera.focal_px, 0, camera.centre_px[0]], [0, camera.focal_px, camera.centre_px[1]], [0, 0, 1]])
    lens = np.array([camera.k1, camera.k2, 0.0, 0.0])
    seen, _ = cv2.projectPoints(point[None], np.zeros(3), np.zeros(3), k, lens)
    # both are double precision; pixels are up to a few thousand
    np.testing.assert_allclose(camera.mm_to_px([[x, y]], z)[0], np.asarray(seen).ravel(), atol=1e-8)


@given(cameras, st.floats(-150, 150), st.floats(-150, 150), st.booleans())
def test_px_to_mm_undoes_mm_to_px(camera: CameraSpec, x: float, y: float, mirrored: bool) -> None:
    from dataclasses import replace

    camera = replace(camera, mirrored=mirrored)
    back = camera.px_to_mm(camera.mm_to_px([[x, y]]))[0]
    np.testing.assert_allclose(back, [x, y], atol=1e-7)


def test_without_tilt_a_pixel_is_distance_over_focal_length() -> None:
    camera = CameraSpec(focal_px=1500.0, distance=600.0)
    assert camera.scale_at((30.0, 40.0)) == pytest.approx(1500 / 600)
    np.testing.assert_allclose(camera.mm_to_px([[0, 0], [40, 0]]), [[999.5, 749.5], [1099.5, 749.5]])


@pytest.mark.parametrize("supersample", [1, 3])
def test_lookup_interpolates_within_six_thousandths_of_a_pixel(supersample: int) -> None:
    camera = tilted()
    x, y = lookup(camera, 0.0, (37, 101, 437, 331), supersample)
    columns, rows = np.meshgrid(np.arange(x.shape[1]), np.arange(x.shape[0]))
    at = [37, 101] + (np.stack([columns, rows], -1).reshape(-1, 2) + 0.5) / supersample - 0.5
    seen = camera.mm_to_px(np.stack([x, y], -1).reshape(-1, 2).astype(float))
    # second derivative 6 k1 r / f^2 = 2.4e-4 per px, over cells of 8 px: 64 / 8 of it in x and again in y
    assert np.abs(seen - at).max() < 0.006


def test_srgb_matches_the_standard_and_comes_back() -> None:
    # IEC 61966-2-1: linear 0.18 is 0.4613 of full scale, the linear part ends at 0.0031308
    assert encode_srgb(np.array([[[0.18, 0.0031308, 1.0]]], np.float32)).tolist() == [[[118, 10, 255]]]
    steps = np.arange(256, dtype=np.uint8)
    assert (encode_srgb(decode_srgb(steps)) == steps).all()
