import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from photonest.model import NotFound, Scale
from photonest.photo import read_photo
from photonest.rectify import photo_to_mm
from photonest.scale.combs import combs
from photonest.scale.edges import Edge
from photonest.scale.ruler import ONE_EDGE, UNTOLD, Ruler
from photonest.scale.ruler_edges import straight_lines
from photonest.scale.tick_grid import band, grid
from photonest.scale.tick_wave import followed
from tests.drawn.bench import BenchSpec
from tests.drawn.camera import CameraSpec
from tests.drawn.prints import artwork
from tests.drawn.references import ruler
from tests.drawn.ruler_prints import ruler_print
from tests.drawn.scene import draw
from tests.drawn.spec import LightSpec, SceneSpec
from tests.drawn.wood import WoodSpec
from tests.scale.scenes import as_photo, diameter_off_pct, photograph

CAMERA = CameraSpec(
    width=1600, height=1200, focal_px=1500, distance=520, aim=(0, -20), tilt_deg=12, tilt_axis_deg=20, k1=-0.01
)
REAL = Path(__file__).parents[3] / "shared" / "photos" / "sliceruler_pinus_trasB25.jpg"


def scene(unit: str, look: str = "black", turn_deg: float = 3.0) -> np.ndarray:
    item = ruler((0, 0), look=look, unit=unit, length=250.0 if unit == "mm" else 254.0)  # type: ignore[arg-type]
    art = artwork(item, 0.1)
    return photograph(CAMERA, art.pixels[..., 1], 1 / art.step, (-130.0, -190.0), turn_deg=turn_deg, ground=0.3)


def _black_mm() -> tuple[np.ndarray, float]:
    art = artwork(ruler((0, 0), look="black", unit="mm", length=250.0), 0.1)
    return art.pixels[..., 1], 1 / art.step


def find(pixels: np.ndarray, ticks: str | None) -> Scale | NotFound:
    return Ruler().find(as_photo(pixels, 1500.0), Ruler.Options(ticks=ticks))  # type: ignore[arg-type]


@pytest.mark.parametrize(("unit", "look"), [("mm", "black"), ("inch", "white")])
def test_ruler_beside_the_log_is_measured(unit: str, look: str) -> None:
    scale = find(scene(unit, look), unit)
    assert isinstance(scale, Scale), scale
    # the finder's own standard error here is about 0.3 %: three of them
    assert abs(diameter_off_pct(scale, CAMERA)) < 0.9
    assert abs(diameter_off_pct(scale, CAMERA)) < 3 * scale.standard_error_pct
    assert UNTOLD not in scale.warnings


def test_thin_ticks_seen_near_are_not_counted_twice() -> None:
    """Their first overtone is stronger than their own wave; the ruler's ends lie outside the photo."""
    near = replace(CAMERA, focal_px=5200.0, distance=480, aim=(-40.0, -180.0), tilt_deg=6)
    item = ruler((0, 0), look="white", unit="inch", length=254.0)
    art = artwork(item, 0.05)
    pixels = photograph(near, art.pixels[..., 1], 1 / art.step, (-130.0, -190.0), ground=0.3)
    scale = Ruler().find(as_photo(pixels, 5200.0), Ruler.Options(ticks="inch"))
    assert isinstance(scale, Scale), scale
    start, end = photo_to_mm(scale, near.mm_to_px(np.array([[-80.0, -185.0], [0.0, -185.0]])))
    assert np.linalg.norm(end - start) == pytest.approx(80, rel=0.005)


def test_ticks_lean_as_they_do() -> None:
    """How ticks lean along the ruler is all that tells of a tilt about it; blur at their ends hid a tenth of that."""
    tilted = replace(CAMERA, tilt_deg=22, tilt_axis_deg=10)
    art = artwork(ruler((0, 0), look="black", unit="mm", length=250.0), 0.1)
    pixels = photograph(tilted, art.pixels[..., 1], 1 / art.step, (-130.0, -190.0), turn_deg=3.0, ground=0.3)
    grey = pixels[..., 1].copy()
    comb = next(followed(grey, one) for one in combs(grey, straight_lines(pixels).ends) if followed(grey, one))
    assert comb is not None
    turn = np.exp(1j * np.radians(3.0))
    own = [(tilted.px_to_mm(px) @ [1, 1j]) / turn for _, px, _ in grid(grey, comb, band(grey, comb))]
    at = np.array([mm.real.mean() for mm in own])
    lean = np.array([np.polyfit(mm.imag, mm.real, 1)[0] for mm in own])
    assert len(at) > 10
    assert abs(np.polyfit(at / 100, lean, 1)[0]) < 0.0008
    assert np.abs(lean).mean() < 0.004


def test_an_end_that_turns_the_ruler_otherwise_than_its_ticks_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """An edge on the bench beyond a ruler's end made lengths 5 % too small, and sure."""
    beyond = CAMERA.mm_to_px(np.column_stack([np.linspace(126.0, 127.0, 12), np.linspace(-192.0, -205.0, 12)]))
    monkeypatch.setattr("photonest.scale.ruler.edges_across", lambda *_: [Edge(beyond, 0.06, 1.0)])
    refusal = find(scene("mm"), "mm")  # the true end of a ruler whose edge slopes would look so as well
    assert isinstance(refusal, NotFound) and "may slope" in refusal.reason
    monkeypatch.setattr("photonest.scale.ruler.LARGEST_ERROR_PCT", 90.0)
    scale = find(scene("mm"), "mm")
    assert isinstance(scale, Scale), scale
    assert abs(diameter_off_pct(scale, CAMERA)) < 3 * scale.standard_error_pct
    # the camera looks 11 degrees from square across the ruler: less than what a person is told of
    assert not any("turned" in text for text in scale.warnings)


@pytest.mark.parametrize("tilt", [20.0, 34.0])
def test_a_sloping_ruler_is_told_of_or_refused(tilt: float) -> None:
    camera = replace(CAMERA, tilt_deg=tilt, tilt_axis_deg=3)
    answer = find(photograph(camera, *_black_mm(), (-130.0, -190.0), turn_deg=3.0, ground=0.3), "mm")
    assert bool(answer) == (tilt < 26)
    told = " ".join(answer.warnings) if isinstance(answer, Scale) else answer.reason
    degrees = re.search(r"turned by (\d+) degrees", told)
    assert degrees is not None, told
    assert int(degrees[1]) == pytest.approx(tilt, abs=3)


def test_both_edges_of_an_arched_tape_tell_how_it_lies(monkeypatch: pytest.MonkeyPatch) -> None:
    """Either edge of the blade slopes by 14 degrees: by one alone a face was up to 10 % too large, give or take 0.8."""
    tape = ruler((0.0, -60.0), look="tape", unit="mm", length=200.0, width=25.0, seed=7)
    assert (ruler_print(tape).second, ruler_print(tape).wear) == ("mm", 0.0)
    camera = replace(CAMERA, distance=400.0, aim=(0.0, 10.0), k1=0.0)
    wood, bench = WoodSpec(diameter=60.0, bark=0.0), BenchSpec("dark", 1, (0.1, 0.1, 0.1), 5.0)
    spec = SceneSpec(wood=wood, bench=bench, items=(replace(tape, arch=1.5, z=1.5),), light=LightSpec(), camera=camera)
    pixels = draw(spec).pixels
    scale = find(pixels, "mm")
    assert isinstance(scale, Scale), scale
    assert abs(diameter_off_pct(scale, camera, diameter=120.0)) < 3 * scale.standard_error_pct < 1.5
    monkeypatch.setattr("photonest.scale.ruler.second_edge", lambda *_: None)
    monkeypatch.setattr("photonest.scale.ruler.edges_across", lambda *_: [])
    alone = find(pixels, "mm")
    assert isinstance(alone, Scale), alone
    assert abs(diameter_off_pct(alone, camera, diameter=120.0)) > abs(diameter_off_pct(scale, camera, diameter=120.0))
    # how it may slope, 0.04, turns lengths by that over the 70 mm from ruler to disc, seen from 400 mm
    assert alone.standard_error_pct > 0.6
    assert ONE_EDGE in alone.warnings and ONE_EDGE not in scale.warnings
    # its true end, which lies as high as its edges do, tells by how much that edge slopes: 4 x 1.5 / 25 mm at its rim
    end = camera.mm_to_px(np.column_stack([np.full(12, 106.0), np.linspace(-70.0, -50.0, 12)]))
    monkeypatch.setattr("photonest.scale.ruler.edges_across", lambda *_: [Edge(end, 0.06, 1.0)])
    told = find(pixels, "mm")
    assert isinstance(told, NotFound)
    assert "one edge" in told.reason


def test_ticks_must_be_said() -> None:
    answer = find(np.zeros((90, 120, 3), np.uint8), None)
    assert isinstance(answer, NotFound)
    assert "--ruler" in answer.hint


def test_millimetres_are_not_taken_for_inches() -> None:
    assert not find(scene("mm"), "inch")


def thirty_seconds(inches: int) -> tuple[CameraSpec, Scale | NotFound]:
    """Return what is found of a ruler with ticks of 1/32 inch, and the camera that saw so much of it."""
    art, per_mm = np.full((500, round(20 * 25.4 * inches)), 230, np.uint8), 20
    for k in range(32 * inches):
        longer = sum(k % each == 0 for each in (2, 4, 8, 16, 32))
        at = round((k + 0.5) * 25.4 / 32 * per_mm)
        art[: round((2.2 + 1.2 * longer) * per_mm), at - 2 : at + 2] = 30
    near = replace(CAMERA, focal_px=3000.0 + 9000 / inches, aim=(12.7 * inches - 130, -180.0), tilt_deg=6)
    pixels = photograph(near, art, per_mm, (-130.0, -190.0), ground=0.3)
    return near, Ruler().find(as_photo(pixels, near.focal_px), Ruler.Options(ticks="inch"))


def test_thirty_seconds_of_an_inch_are_not_taken_for_sixteenths() -> None:
    near, scale = thirty_seconds(6)
    assert isinstance(scale, Scale), scale
    start, end = photo_to_mm(scale, near.mm_to_px(np.array([[-120.0, -185.0], [-60.0, -185.0]])))
    assert np.linalg.norm(end - start) == pytest.approx(60, rel=0.01)
    assert UNTOLD not in scale.warnings


def test_where_they_cannot_be_told_apart_a_warning_says_so() -> None:
    _, scale = thirty_seconds(2)
    assert isinstance(scale, Scale), scale
    assert UNTOLD in scale.warnings


def test_no_ruler_is_not_found() -> None:
    answer = find(np.random.default_rng(0).integers(0, 255, (300, 400, 3), np.uint8), "mm")
    assert isinstance(answer, NotFound)
    assert answer.hint


def test_two_rulers_at_different_heights_are_both_told_of() -> None:
    """The second lies 50 mm lower, which at 520 mm makes lengths by it 57 / 52 of those by the first."""
    art = artwork(ruler((0, 0), look="black", length=250.0), 0.1)
    pixels = scene("mm").copy()
    lower = replace(CAMERA, distance=CAMERA.distance + 50)
    other = photograph(lower, art.pixels[..., 1], 1 / art.step, (-130.0, 100.0), ground=0.3)
    pixels[700:] = other[700:]
    scale = find(pixels, "mm")
    assert isinstance(scale, Scale), scale
    (told,) = scale.others
    assert told.kind == "ruler"
    ratio = max(told.size_ratio, 1 / told.size_ratio)
    # each ruler's own standard error in the middle of the photo is about 0.4 %: four of their difference
    assert ratio == pytest.approx(570 / 520, rel=0.025)
    assert scale.standard_error_pct == pytest.approx(50 * np.log(ratio), rel=0.05)


def asked(rows: int | None) -> Scale | NotFound:
    """What the real photo's upper rows give."""
    return Ruler().find(as_photo(read_photo(REAL).pixels[:rows]), Ruler.Options(ticks="mm"))


def real(rows: int | None) -> Scale:
    """The scale by them."""
    scale = asked(rows)
    assert isinstance(scale, Scale), scale
    return scale


@pytest.mark.skipif(not REAL.exists(), reason="the annotated photos are not here")
def test_real_ruler_beside_a_slice(monkeypatch: pytest.MonkeyPatch) -> None:
    """A reader's marks lie 400 mm apart; the ruler is three-sided, so that its edge isn't quite where its ticks end.

    Its sides slope, so that a face level with it would come out 47 % too large: lengths along it alone are right.
    """
    answer = asked(2400)
    assert isinstance(answer, NotFound)
    assert "sloping" in answer.reason
    monkeypatch.setattr("photonest.scale.advice.SLOPING_DEG", 90.0)
    monkeypatch.setattr("photonest.scale.ruler.LARGEST_ERROR_PCT", 90.0)
    start, end = photo_to_mm(real(2400), [[203, 300], [97, 2514]])
    assert np.linalg.norm(end - start) == pytest.approx(400, abs=4.0)


@pytest.mark.skipif(not REAL.exists(), reason="the annotated photos are not here")
def test_real_rulers_in_two_planes_are_both_told_of(monkeypatch: pytest.MonkeyPatch) -> None:
    """A reader's marks lie 100 mm apart on a second ruler, which lies lower than the three-sided one.

    That one's sides slope: it is told of only where what slopes so is believed.
    """
    assert not real(None).others
    monkeypatch.setattr("photonest.scale.advice.SLOPING_DEG", 90.0)
    monkeypatch.setattr("photonest.scale.ruler.LARGEST_ERROR_PCT", 90.0)
    scale = real(None)
    assert [other.kind for other in scale.others] == ["ruler"]
    start, end = photo_to_mm(scale, [[718, 2500], [1228, 2488]])
    assert np.linalg.norm(end - start) == pytest.approx(100, abs=1.0)
