"""What is drawn lies where the truth says, to a tenth of a pixel."""

import functools
import importlib.util
import json
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest

from photonest.scale.board import sheet_layout
from tests.drawn import CameraSpec, Drawn, SceneSpec, draw, random_spec
from tests.drawn.bench import KINDS, BenchSpec, paint_bench
from tests.drawn.camera import decode_srgb
from tests.drawn.marks import CrackSpec, MarkSpec
from tests.drawn.noise import Array, Grid
from tests.drawn.references import marker_sheet
from tests.drawn.spec import LightSpec
from tests.drawn.texture import FinishSpec, coverage
from tests.drawn.wood import WoodSpec

CAMERA = CameraSpec(
    width=1000, height=750, focal_px=800.0, distance=560.0, aim=(90.0, 0.0), tilt_deg=18.0, tilt_axis_deg=70.0,
    roll_deg=4.0, k1=0.06, k2=-0.02, centre_shift_px=(6.0, -4.0), blur_px=0.7, noise=0.002, jpeg_quality=95,
)  # fmt: skip
HOLES = [(-60.0, 20.0), (40.0, -55.0), (10.0, 70.0), (-20.0, -80.0)]

T = np.linspace(0, 2 * np.pi, 90, endpoint=False)


@functools.cache
def plain() -> Drawn:
    """Return an even face without bark on a dark bench, with four holes and a straight crack, and the sheet."""
    wood = WoodSpec(seed=2, look="lime", diameter=260.0, bark=0.0, roughness=0.05, heart=0.0, lobes=0.01)
    finish = FinishSpec(saw="none", torn=0.0, rays=0.0, blotches=0.0, dust=0.0, dirt=0.0, relief=0.0)
    holes = tuple(MarkSpec("hole", h, (h[0] + 0.01, h[1]), 8.0, (0.0, 0.0, 0.0), 1.0) for h in HOLES)
    crack = CrackSpec("radial", 180.0, 1.0, length=60.0, width=4.0, wander=0.0)
    return draw(
        SceneSpec(
            wood=wood, finish=finish, marks=holes, cracks=(crack,), bench=BenchSpec("dark", 1, (0.1, 0.1, 0.1), 0.0),
            items=(marker_sheet((255.0, 0.0), 3.0),), light=LightSpec(gradient=0.0, cast=0.0), camera=CAMERA,
        )
    )  # fmt: skip


def linear_grey(drawn: Drawn) -> Array:
    return np.asarray(decode_srgb(drawn.pixels).mean(2), float)


def test_the_sheets_corners_are_found_where_the_truth_puts_them() -> None:
    import cv2

    drawn = plain()
    sheet = drawn.truth.references[0]
    true = drawn.truth.mm_to_px(sheet.to_scene(sheet_layout("A4").board_corners()))
    grey = (255 * linear_grey(drawn)).astype(np.float32)
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 60, 1e-4)
    found = cv2.cornerSubPix(grey, true.astype(np.float32)[:, None] + np.float32(0.3), (4, 4), (-1, -1), stop)[:, 0]
    off = found - true
    # in linear light; the sRGB curve moves edges, and single corners by 0.15 px
    assert np.hypot(*off.T).max() < 0.1
    assert np.abs(off.mean(0)).max() < 0.01


@pytest.mark.parametrize("hole", HOLES)
def test_a_hole_is_where_the_truth_puts_it(hole: tuple[float, float]) -> None:
    from shapely import Polygon
    from skimage.measure import find_contours

    drawn = plain()
    centre = drawn.truth.mm_to_px([hole])[0]
    x0, y0 = np.round(centre).astype(int) - 10
    around = linear_grey(drawn)[y0 : y0 + 21, x0 : x0 + 21]
    half = (np.median(around) + around[8:13, 8:13].min()) / 2
    rim = max(find_contours(around, half), key=len)
    found = np.array(Polygon(rim[:, ::-1]).centroid.coords[0]) + np.array([x0, y0])
    # the grain beside it moves one side of the rim by 0.1 px or so
    assert np.hypot(*(found - centre)) < 0.1
    true = Polygon(drawn.truth.mm_to_px(np.add(hole, 4 * np.stack([np.cos(T), np.sin(T)], 1))))
    # 0.2 px of a radius of 5 px
    assert Polygon(rim).area == pytest.approx(true.area, rel=0.08)


def test_the_outlines_edge_lies_where_the_truth_puts_it() -> None:
    import cv2

    drawn = plain()
    outline = drawn.truth.outline_mm
    grey = linear_grey(drawn).astype(np.float32)
    offsets = []
    for k in range(5, len(outline), 41):
        p, before, after = outline[k], outline[k - 5], outline[(k + 5) % len(outline)]
        along = (after - before) / np.hypot(*(after - before))
        line = p + np.linspace(-3, 3, 121)[:, None] * np.array([along[1], -along[0]])
        px = drawn.truth.mm_to_px(line).astype(np.float32)
        profile = cv2.remap(grey, px[:, :1], px[:, 1:], cv2.INTER_LINEAR).ravel()
        bright, dark = np.median(profile[:30]), np.median(profile[-30:])
        assert bright > dark
        # the edge of a blurred step encloses the same light as a sharp one
        share = np.clip((profile - dark) / (bright - dark), -0.2, 1.2).sum() / 121
        offsets.append((share - 0.5) * float(np.hypot(*(px[-1] - px[0]))))
    crack_side = np.abs(np.array(offsets)) > 1.0
    assert crack_side.sum() <= 3  # the crack's mouth
    kept = np.array(offsets)[~crack_side]
    # grain makes single edges uncertain by 0.1 px or so; their mean is not
    assert abs(kept.mean()) < 0.05
    assert kept.std() < 0.25


def test_the_crack_lies_on_its_path_with_its_width() -> None:
    import cv2

    drawn = plain()
    crack = drawn.truth.cracks[0]
    grey = linear_grey(drawn).astype(np.float32)
    for k in range(10, 40, 6):
        p, along = crack.path_mm[k], crack.path_mm[k + 1] - crack.path_mm[k - 1]
        across = np.array([-along[1], along[0]]) / np.hypot(*along)
        t = np.linspace(-6, 6, 241)
        px = drawn.truth.mm_to_px(p + t[:, None] * across).astype(np.float32)
        profile = cv2.remap(grey, px[:, :1], px[:, 1:], cv2.INTER_LINEAR).ravel()
        bright = np.median(np.concatenate([profile[:50], profile[-50:]]))
        dark = np.clip(1 - profile / bright, 0, 1)
        dark[dark < 0.25] = 0
        # 0.15 mm is 0.2 px: the shading at the lips is part of the dark
        assert (dark * t).sum() / dark.sum() == pytest.approx(0.0, abs=0.2)
        assert dark.sum() * (t[1] - t[0]) == pytest.approx(crack.widths_mm[k], rel=0.3, abs=0.3)


def test_coverage_of_a_band_is_its_area() -> None:
    grid = Grid(0.0, 0.0, 0.25, 400, 400)
    path = np.array([[10.0, 20.0], [50.0, 45.0], [90.0, 40.0]])
    length = float(np.hypot(*np.diff(path, axis=0).T).sum())
    for width in (0.1, 0.6, 3.0):
        cover = coverage((400, 400), grid, path, np.full(3, width))
        # round ends and the bend add less than a circle of the band's width, and a sample's length at each end
        assert cover.sum() * 0.25**2 == pytest.approx(length * width, rel=0.03, abs=width * (width + 0.5))


def test_the_same_spec_gives_the_same_file_and_another_seed_another() -> None:
    spec = random_spec(5, difficulty="hard", megapixels=0.1)
    assert spec == random_spec(5, difficulty="hard", megapixels=0.1)
    first = draw(spec)
    assert first.jpeg == draw(spec).jpeg
    assert first.jpeg != draw(random_spec(6, difficulty="hard", megapixels=0.1)).jpeg


def test_mirroring_mirrors_the_photo() -> None:
    spec = random_spec(8, difficulty="easy", megapixels=0.3)
    spec = replace(spec, camera=replace(spec.camera, jpeg_quality=95))
    straight = draw(spec)
    mirrored = draw(replace(spec, camera=replace(spec.camera, mirrored=True)))
    # both are compressed in other blocks
    difference = np.abs(straight.pixels[:, ::-1].astype(int) - mirrored.pixels)
    assert np.median(difference) <= 1 and difference.mean() < 3
    p = straight.truth.mm_to_px([[10.0, 5.0]])[0]
    np.testing.assert_allclose(mirrored.truth.mm_to_px([[10.0, 5.0]])[0], [spec.camera.width - 1 - p[0], p[1]])


def test_the_focal_length_is_in_the_file_when_asked() -> None:
    import io

    from PIL import Image

    for exif in (True, False):
        drawn = draw(replace(random_spec(3, megapixels=0.3), camera=replace(CAMERA, width=500, height=375, exif=exif)))
        with Image.open(io.BytesIO(drawn.jpeg)) as picture:
            block = picture.getexif().get_ifd(0x8769)
        # 800 px on a diagonal of 625 px, of 43.27 mm
        assert block.get(0xA405) == (55 if exif else None)


@pytest.mark.parametrize("kind", KINDS)
def test_every_bench_fills_its_raster(kind: str) -> None:
    colour = paint_bench(BenchSpec(kind, 3), Grid(-50.0, -40.0, 1.0, 120, 90))
    assert colour.shape == (90, 120, 3)
    assert np.isfinite(colour).all() and colour.std() > 0


def test_the_truth_file_holds_what_a_scene_list_needs(tmp_path: Path) -> None:
    drawn = draw(random_spec(11, megapixels=0.3, cracks=3))
    drawn.save(tmp_path / "eleven.jpg")
    document = json.loads((tmp_path / "eleven.truth.json").read_text())
    assert document["file"] == "eleven.jpg"
    assert document["reference"] == "marker-sheet"
    x, y = np.array(document["outline_mm"]).T
    area = 0.5 * abs(x @ np.roll(y, -1) - y @ np.roll(x, -1))
    # the file keeps the outline within 0.02 mm
    assert np.sqrt(4 * area / np.pi) == pytest.approx(document["diameter_mm"], rel=2e-4)
    assert len(document["cracks_mm"]) == len(drawn.truth.cracks) > 0
    h = np.array(document["mm_to_px"]["homography"])
    assert h == pytest.approx(drawn.truth.homography)


def scorer() -> ModuleType:
    """Return the scorer of scenes; it leaves its files to the garbage collector, which isn't ours to mend."""
    path = Path(__file__).parents[3] / "shared" / "photos" / "score_photos.py"
    if not path.exists():
        pytest.skip("the scorer of real photos is not here")
    spec = importlib.util.spec_from_file_location("score_photos", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.filterwarnings("ignore::ResourceWarning")
def test_the_truth_scores_full_marks(tmp_path: Path) -> None:
    module = scorer()
    drawn = draw(random_spec(12, reference="none", megapixels=0.3, cracks=3))
    document = drawn.truth.document("twelve.jpg")
    (tmp_path / "scenes.json").write_text(json.dumps([document]))
    face: dict[str, Any] = {
        "scale": {"kind": "truth", "px_to_mm": np.eye(3).tolist()},
        "outline": {"points": document["outline_mm"]},
        "pith": {"point": document["pith_mm"], "standard_error": 0.1},
        "cracks": [{"path": c["path"], "status": "seen"} for c in document["cracks_mm"]],
    }
    (tmp_path / "twelve").mkdir()
    (tmp_path / "twelve" / "face.json").write_text(json.dumps(face))
    (row,) = module.scenes(str(tmp_path / "scenes.json"), str(tmp_path))
    assert abs(row["diameter_err_pct"]) < 0.02
    assert row["pith_offset_err_mm"] < 0.01
    assert row["crack_recall"] == pytest.approx(1.0)
