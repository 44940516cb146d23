"""The face lies where the photo shows it: perspective and lens against general-purpose libraries."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from skimage.transform import ProjectiveTransform

from photonest.model import Lens, PhotoError, Scale
from photonest.rectify import mm_to_photo
from photonest.report.ground import fitted, photo_ground, plain_ground
from photonest.report.page import Box
from tests.report import examples

BOX = Box(10, 20, 150, 150)


def test_lens_and_perspective_as_opencv_sees_them() -> None:
    """The page shows a point of the face where OpenCV's camera model puts it in the photo."""
    import cv2

    lens = Lens(focal_px=1300.0, centre_px=(790.0, 610.0), k1=-0.08, k2=0.02)
    face = examples.face()
    face = replace(face, scale=replace(face.scale, lens=lens))
    points = np.random.default_rng(4).uniform(-120, 120, (40, 2))
    straight = ProjectiveTransform(np.array(face.scale.px_to_mm)).inverse(points)
    camera = np.array([[1300.0, 0, 790.0], [0, 1300.0, 610.0], [0, 0, 1]])
    rays = np.column_stack([(straight - [790.0, 610.0]) / 1300.0, np.ones(len(straight))])
    seen, _ = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), camera, np.array([-0.08, 0.02, 0, 0]))
    ground = photo_ground(examples_photo, face, BOX)
    assert ground.picture is not None
    first, per_px = ground.to_page(points[:1])[0], ground.frame.width / ground.picture.shape[1]
    # Differences from the first point, so that the crop's corner plays no part; the picture is not reduced here.
    assert ground.to_page(points) - first == pytest.approx(per_px * (seen[:, 0] - seen[0, 0]), abs=1e-3)


@given(x=st.floats(-170, 170), y=st.floats(-170, 170))
def test_page_and_face_are_inverse(x: float, y: float) -> None:
    ground = photo_ground(examples_photo, examples.face(), BOX)
    assert ground.to_face(ground.to_page([(x, y)]))[0] == pytest.approx((x, y), abs=1e-6)


examples_photo = examples.photo()


def test_picture_and_drawing_register() -> None:
    """A dark square painted on the photo lies in the picture where its middle's mm say."""
    photo, face = examples_photo, examples.face()
    pixels = np.full_like(photo.pixels, 255)
    at = np.round(mm_to_photo(face.scale, [(60.0, -40.0)])[0]).astype(int)
    pixels[at[1] - 4 : at[1] + 5, at[0] - 4 : at[0] + 5] = 0
    ground = photo_ground(replace(photo, pixels=pixels), face, BOX)
    assert ground.picture is not None
    rows, columns = np.nonzero(ground.picture[..., 0] < 128)
    per_px = ground.frame.width / ground.picture.shape[1]
    middle = (ground.frame.left + (columns.mean() + 0.5) * per_px, ground.frame.top + (rows.mean() + 0.5) * per_px)
    # The square was set to whole pixels: half a pixel at most, and a pixel is 0.1 mm of paper here.
    assert ground.to_page([(60.0, -40.0)])[0] == pytest.approx(middle, abs=0.1)


def test_large_photos_are_reduced_and_still_register() -> None:
    photo, face = examples_photo, examples.face()
    big = replace(photo, pixels=np.repeat(np.repeat(photo.pixels, 3, axis=0), 3, axis=1))
    finer = np.array(face.scale.px_to_mm) @ np.array([[1 / 3, 0, -1 / 3], [0, 1 / 3, -1 / 3], [0, 0, 1]])
    scale = Scale("marker-sheet", tuple(map(tuple, finer.tolist())), 0.25, 0.1)  # type: ignore[arg-type]
    facts = replace(face.photo, width_px=big.width, height_px=big.height)
    ground = photo_ground(big, replace(face, scale=scale, photo=facts), BOX)
    assert ground.picture is not None
    assert max(ground.picture.shape) <= 1500
    # Crops end on whole pixels, a third of a millimetre of paper apart at most.
    assert ground.to_page([(50, 50)]) == pytest.approx(photo_ground(photo, face, BOX).to_page([(50, 50)]), abs=0.4)


def test_crop_holds_the_piece_and_the_frame_is_in_the_box() -> None:
    face = examples.face()
    ground = photo_ground(examples_photo, face, BOX)
    edge = ground.to_page(face.outline.points)
    assert (edge >= [ground.frame.left, ground.frame.top]).all()
    assert (edge <= [ground.frame.right, ground.frame.bottom]).all()
    assert ground.frame.overlap(BOX) == pytest.approx(ground.frame.width * ground.frame.height)


def test_another_photo_is_refused() -> None:
    photo = replace(examples_photo, pixels=examples_photo.pixels[:-1])
    with pytest.raises(PhotoError, match=r"not the photo .* 1600 x 1199 pixels instead of 1600 x 1200"):
        photo_ground(photo, examples.face(), BOX)


def test_a_face_outside_the_photo_is_refused() -> None:
    face = examples.face()
    away = tuple((x + 9000, y) for x, y in face.outline.points)
    with pytest.raises(PhotoError, match="outside"):
        photo_ground(examples_photo, replace(face, outline=replace(face.outline, points=away), pith=None), BOX)


@given(width=st.floats(0.1, 1e3), height=st.floats(0.1, 1e3))
def test_fitted_keeps_the_shape_and_touches_the_box(width: float, height: float) -> None:
    box = fitted(width, height, BOX)
    assert box.width / box.height == pytest.approx(width / height)
    assert box.width == pytest.approx(BOX.width) or box.height == pytest.approx(BOX.height)
    assert box.left + box.width / 2 == pytest.approx(BOX.left + BOX.width / 2)
    assert box.top == BOX.top


def test_plain_ground_is_one_scale() -> None:
    ground = plain_ground([(-100.0, -50.0), (100.0, 50.0)], BOX)
    ends = ground.to_page([(0, 0), (10, 0), (0, 10)])
    assert np.hypot(*(ends[1] - ends[0])) == pytest.approx(np.hypot(*(ends[2] - ends[0])))
    assert ground.picture is None
