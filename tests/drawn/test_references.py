"""Everything that lies in a scene lies where its truth says."""

import functools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import Polygon

from tests.drawn import CameraSpec, Drawn, SceneSpec, draw, random_spec
from tests.drawn.bench import BenchSpec
from tests.drawn.camera import decode_srgb
from tests.drawn.measure_prints import bar_origin
from tests.drawn.noise import Array, generator
from tests.drawn.place import REFERENCES, decoys, place_reference
from tests.drawn.prints import artwork
from tests.drawn.references import CARD_CORNER, RULER_START, Item, bar, card, marker, paper, ruler, strip
from tests.drawn.spec import LightSpec
from tests.drawn.wood import Growth, WoodSpec

CAMERA = CameraSpec(
    width=1200, height=900, focal_px=1000.0, distance=540.0, tilt_deg=20.0, tilt_axis_deg=25.0, roll_deg=-5.0,
    k1=-0.05, k2=0.02, centre_shift_px=(-5.0, 7.0), blur_px=0.6, noise=0.002, jpeg_quality=95,
)  # fmt: skip
CARD = card((-150.0, 60.0), 21.0, colour=(0.92, 0.92, 0.92), print_="plain")
LOW_CARD = card((-150.0, -80.0), -13.0, z=25.0, colour=(0.9, 0.88, 0.86), print_="plain")
SHEET = paper((150.0, -70.0), 8.0, name="A5")
BAR = bar((60.0, 95.0), -4.0, square=10.0, count=16)


@functools.cache
def drawn() -> Drawn:
    """Return a small disc among a card at its height and one below, a sheet of paper and a chequered bar."""
    return draw(
        SceneSpec(
            wood=WoodSpec(diameter=60.0, look="lime", bark=0.0), bench=BenchSpec("dark", 1, (0.1, 0.1, 0.1), 30.0),
            items=(LOW_CARD, CARD, SHEET, BAR), light=LightSpec(gradient=0.0, cast=0.0), camera=CAMERA,
        )
    )  # fmt: skip


def light() -> Array:
    return np.asarray(decode_srgb(drawn().pixels).mean(2), float)


def edge_offsets(item: Item) -> Array:
    """Return how far, in px, each side's edge is seen from where it should be, at places away from the corners."""
    import cv2

    w, h = item.size
    picture = light().astype(np.float32)
    offsets = []
    for a, b, out in (
        ((0, 0), (w, 0), (0, -1)),
        ((w, 0), (w, h), (1, 0)),
        ((w, h), (0, h), (0, 1)),
        ((0, h), (0, 0), (-1, 0)),
    ):
        for t in np.linspace(0.15, 0.85, 12):
            middle = np.asarray(a) + t * (np.asarray(b) - a)
            line = item.to_scene(middle + np.linspace(-3, 3, 121)[:, None] * np.asarray(out))
            px = CAMERA.mm_to_px(line, item.z).astype(np.float32)
            profile = cv2.remap(picture, px[:, :1], px[:, 1:], cv2.INTER_LINEAR).ravel()
            bright, dark = np.median(profile[:30]), np.median(profile[-30:])
            # the edge of a blurred step encloses the same light as a sharp one
            share = float(((profile - dark) / (bright - dark)).mean())
            offsets.append((share - 0.5) * float(np.hypot(*(px[-1] - px[0]))))
    return np.array(offsets)


@pytest.mark.parametrize("item", [CARD, LOW_CARD, SHEET], ids=["card", "lower card", "paper"])
def test_a_things_edges_are_seen_where_the_truth_puts_them(item: Item) -> None:
    off = edge_offsets(item)
    # mottled print and the bench's texture make single places uncertain
    assert np.abs(off).max() < 0.15
    assert abs(off.mean()) < 0.03


def test_a_bars_saddles_are_found_where_the_truth_puts_them() -> None:
    import cv2

    own = bar_origin(BAR) + BAR.pitch * np.stack([np.arange(1, BAR.number), np.ones(BAR.number - 1)], 1)
    true = CAMERA.mm_to_px(BAR.to_scene(own))
    stop = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_MAX_ITER, 60, 1e-4)
    start = true.astype(np.float32)[:, None] + np.float32(0.3)
    found = cv2.cornerSubPix((255 * light()).astype(np.float32), start, (4, 4), (-1, -1), stop)[:, 0]
    assert np.hypot(*(found - true).T).max() < 0.1


def test_a_card_has_the_standards_corners() -> None:
    step = 0.1
    u, v = np.meshgrid(np.arange(-1, 90, step, dtype=np.float32), np.arange(-1, 58, step, dtype=np.float32))
    area = float(np.clip(CARD.inside(u, v) / step + 0.5, 0, 1).sum()) * step**2
    # ISO/IEC 7810 ID-1: 85.60 x 53.98 mm with corners of radius 3.18
    assert area == pytest.approx(85.60 * 53.98 - (4 - np.pi) * CARD_CORNER**2, rel=2e-4)


@pytest.mark.parametrize(
    ("unit", "pitch", "look"), [("mm", 1.0, "white"), ("inch", 1.5875, "white"), ("mm", 1.0, "fold")]
)
def test_a_rulers_ticks_are_one_pitch_apart(unit: str, pitch: float, look: str) -> None:
    item = ruler((0, 0), unit=unit, length=152.4, look=look)  # type: ignore[arg-type]
    art = artwork(item, 0.1)
    ticks = 255.0 - art.pixels[round(1.0 / art.step), :, 0]
    at = (np.arange(len(ticks)) + 0.5) * art.step
    weight = ticks - ticks.min()
    waves = np.arange(0.7, 1.9, 0.0005)
    power = np.abs(np.exp(-2j * np.pi * at / waves[:, None]) @ (weight - weight.mean()))
    # a comb 150 mm long: the peak is sharp to pitch^2 / length
    assert waves[np.argmax(power)] == pytest.approx(pitch, abs=0.002)
    assert at[weight > 0.5 * weight.max()][0] == pytest.approx(RULER_START, abs=2 * art.step)


def test_the_hook_of_a_tape_lies_over_its_first_mm_alone() -> None:
    plain, tape = (
        artwork(ruler((0, 0), unit="mm", length=100.0, width=20.0, look=look), 0.1) for look in ("wood", "tape")
    )
    dark = [(art.pixels[round(2.5 / art.step)].astype(float).sum(axis=1) < 150).nonzero()[0] for art in (plain, tape)]
    first = [float(columns[0]) * plain.step - RULER_START for columns in dark]
    assert first[0] == pytest.approx(0, abs=0.2)
    assert 8 < first[1] < 17
    assert dark[1][-1] == pytest.approx(dark[0][-1], abs=2)


def test_what_lies_beneath_a_clear_ruler_shows_through() -> None:
    solid = ruler((0.0, 60.0), unit="mm", length=60.0, width=25.0, look="clear")
    camera = CameraSpec(width=400, height=200, focal_px=1500.0, distance=300.0, aim=(0.0, 60.0), blur_px=0.5, noise=0.0)
    bench, wood = BenchSpec("dark", 1, (0.5, 0.2, 0.2), 0.1), WoodSpec(diameter=30.0, bark=0.0)
    spec = SceneSpec(wood=wood, bench=bench, light=LightSpec(gradient=0.0, cast=0.0), camera=camera)
    x, y = np.rint(camera.mm_to_px(solid.to_scene([[16.5, 18.0]]))).astype(int)[0]
    red = []
    for items in ((), (replace(solid, clear=0.8),), (solid,)):
        r, g, _ = decode_srgb(draw(replace(spec, items=items)).pixels[y - 2 : y + 3, x - 2 : x + 3]).mean(axis=(0, 1))
        red.append(float(r / g))
    bare, clear, covered = red
    assert covered < clear < bare


@pytest.mark.parametrize(
    ("item", "numbers"), [(marker((0, 0), number=87), [87]), (strip((0, 0), number=104), [104, 105, 106, 107])]
)
def test_cut_out_markers_are_read_by_opencv(item: Item, numbers: list[int]) -> None:
    import cv2

    from photonest.scale.board import marker_dictionary

    picture = artwork(item, 0.25).pixels
    picture = cv2.copyMakeBorder(picture, 20, 20, 20, 20, cv2.BORDER_CONSTANT, value=(240, 240, 240))
    _, ids, _ = cv2.aruco.ArucoDetector(marker_dictionary()).detectMarkers(np.ascontiguousarray(picture[..., 0]))
    assert sorted(np.asarray(ids).ravel().tolist()) == numbers


@pytest.mark.parametrize("turn", [0.0, 17.0])
@pytest.mark.parametrize("mm_per_px", [0.25, 0.6])
def test_the_dark_of_a_marker_has_its_true_area(mm_per_px: float, turn: float) -> None:
    import cv2

    from photonest.scale.board import marker_cells

    camera = CameraSpec(
        width=600, height=400, focal_px=1000.0, distance=1000 * mm_per_px, blur_px=0.6, noise=0.0, jpeg_quality=100
    )
    item = marker((-50.0, 0.0), turn, number=83)
    bench = BenchSpec("pale", 1, (0.9, 0.9, 0.9), 0.5)
    wood, lamp = WoodSpec(diameter=30.0, bark=0.0), LightSpec(gradient=0.0, cast=0.0)
    seen = decode_srgb(draw(SceneSpec(wood=wood, bench=bench, items=(item,), light=lamp, camera=camera)).pixels).mean(2)
    corners = camera.mm_to_px(item.corners)
    inner = np.zeros(seen.shape, np.uint8)
    cv2.fillPoly(inner, [np.round(corners.mean(0) + 0.9 * (corners - corners.mean(0))).astype(np.int32)], 1)
    light_ = seen[inner > 0]
    white, black = np.median(light_[light_ > 0.5]), np.median(light_[light_ < 0.1])
    area = float(((white - light_) / (white - black)).sum()) * mm_per_px**2
    # 0.1 % of lengths: a hundredth of a pixel at either side of the square
    assert area == pytest.approx(int(marker_cells(83).sum()) * (40 / 7) ** 2, rel=2e-3)


@pytest.mark.parametrize("kind", REFERENCES)
def test_references_beside_the_wood_do_not_overlap_it(kind: str) -> None:
    growth = Growth(WoodSpec(seed=9, lobes=0.03))
    wood = Polygon(growth.polygon(growth.outer))
    for seed in range(8):
        for item in place_reference(generator(seed, "test"), kind, growth, 1.0):
            assert item.is_reference or item.kind == "case"
            if item.is_reference or not kind.endswith("on-face"):
                assert wood.intersects(Polygon(item.corners)) == kind.endswith("on-face")


def test_a_cards_upper_side_lies_its_thickness_above_what_it_lies_on() -> None:
    growth = Growth(WoodSpec(seed=9))
    for kind, lower in (("card", 0.0), ("card", 30.0), ("card-on-face", 0.0)):
        (item,) = place_reference(generator(5, "test"), kind, growth, 1.0, lower)
        assert item.z == pytest.approx(lower - 0.76)  # ISO/IEC 7810


@given(st.integers(0, 10_000))
def test_no_decoy_has_a_references_proportions(seed: int) -> None:
    growth = Growth(WoodSpec(seed=1))
    for item in decoys(generator(seed, "test"), 1.0, growth, BenchSpec(below=40.0)):
        assert not item.is_reference
        proportion = max(item.size) / min(item.size)
        for known in (85.60 / 53.98, 2**0.5, 11 / 8.5):  # ID-1, ISO 216, Letter
            assert abs(proportion / known - 1) > 0.055


def test_what_reaches_under_the_camera_looks_as_if_it_ended_past_the_frame() -> None:
    camera = CameraSpec(width=400, height=300, focal_px=350.0, distance=200.0, tilt_deg=30.0, k1=-0.03, noise=0.0)
    wood, bench = WoodSpec(diameter=30.0, bark=0.0), BenchSpec("dark", 1, (0.1, 0.1, 0.1), 20.0)
    seen = []
    for length in (150.0, 900.0):  # along y, from -30 on; the photo shows y from -79, and from -396 on it is behind us
        board = Item("board", (0.0, -30 - length / 2), 90.0, 2.0, "", (length, 60.0), (0.7, 0.6, 0.4), thick=15.0)
        assert (np.array([0, -30 - length, 1]) @ camera.homography(2.0)[2] < 0) == (length > 366)
        spec = SceneSpec(wood=wood, bench=bench, items=(board,), light=LightSpec(cast=0.0), camera=camera)
        seen.append(draw(spec).pixels.mean(axis=2) > 90)
    assert 0.1 < seen[0].mean() < 0.6
    assert np.mean(seen[0] != seen[1]) < 0.005  # its grain is another


def test_options_change_only_what_they_name() -> None:
    plain = random_spec(31, reference="none", difficulty="hard", max_tilt=20.0)
    with_card = random_spec(31, reference="card", difficulty="hard", max_tilt=20.0)
    assert (plain.wood, plain.finish, plain.bench, plain.cracks) == (
        with_card.wood, with_card.finish, with_card.bench, with_card.cracks
    )  # fmt: skip
    assert plain.reference == "none" and with_card.reference == "card"
    assert random_spec(31, mirrored=True).camera == replace(random_spec(31).camera, mirrored=True)


def test_the_frame_cuts_off_the_share_asked_for() -> None:
    for seed in range(6):
        spec = random_spec(seed, difficulty="medium", cut_by_frame=0.3)
        item = next(i for i in spec.items if i.is_reference)
        px = spec.camera.mm_to_px(item.corners, item.z)
        size = np.array([spec.camera.width - 1, spec.camera.height - 1])
        outside = np.maximum(np.maximum(-px.min(0), px.max(0) - size), 0) / np.ptp(px, axis=0)
        assert outside.max() == pytest.approx(0.3, abs=0.08)
