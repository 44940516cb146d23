from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from photonest.model import NotFound, Scale
from photonest.photo import read_photo
from photonest.rectify import photo_to_mm
from photonest.scale.bar import Bar, bar_raster, longest_chain
from tests.drawn.camera import CameraSpec
from tests.scale.scenes import as_photo, diameter_off_pct, photograph

CAMERA = CameraSpec(
    width=1200, height=900, focal_px=1000, distance=470, aim=(0, -20), tilt_deg=12, tilt_axis_deg=20, k1=-0.01
)
REAL = Path(__file__).parents[3] / "shared" / "photos" / "logend_douglas_origC07c.jpg"


def find(pixels: np.ndarray, square: float | None) -> Scale | NotFound:
    return Bar().find(as_photo(pixels, 1000.0), Bar.Options(square_mm=square))


def test_bar_beside_the_log_is_measured() -> None:
    square = 15.0
    pixels = photograph(CAMERA, bar_raster(16, 90), 90 / square, (-130.0, -205.0), turn_deg=2.0)
    scale = find(pixels, square)
    assert isinstance(scale, Scale), scale
    assert abs(diameter_off_pct(scale, CAMERA)) < 0.5
    assert scale.tilt_deg == pytest.approx(12, abs=1.5)


def test_soiled_squares_are_outvoted() -> None:
    """Dust over two squares moves their edges by pixels; the others still tell the size."""
    square = 15.0
    art = bar_raster(16, 90)
    rng = np.random.default_rng(3)
    art[60:200, 500:690] = np.where(rng.random((140, 190)) < 0.5, 200, art[60:200, 500:690])
    scale = find(photograph(CAMERA, art, 90 / square, (-130.0, -205.0), turn_deg=2.0), square)
    assert isinstance(scale, Scale), scale
    assert abs(diameter_off_pct(scale, CAMERA)) < 0.5


def test_bar_turned_about_its_length_is_told() -> None:
    camera = replace(CAMERA, tilt_deg=18, tilt_axis_deg=0)
    scale = find(photograph(camera, bar_raster(16, 90), 6.0, (-130.0, -205.0)), 15.0)
    assert isinstance(scale, Scale), scale
    assert any("about its own length" in text for text in scale.warnings)


def test_chain_bridges_hidden_corners() -> None:
    """Eleven corners in slow perspective, two of them hidden, and strays beside them."""
    number = np.arange(11)
    x = 100 + 50 * number - 0.5 * number**2
    points = np.column_stack([x, 200 + 0.1 * x])
    dark = np.where(number % 2, 0.0, np.pi / 2)
    keep = ~np.isin(number, (4, 5))
    strays = np.array([[130, 320], [400, 90.0]])
    chain = longest_chain(np.vstack([points[keep], strays]), np.concatenate([dark[keep], [0.3, 1.0]]))
    assert np.ptp(chain[:, 0]) == 10
    assert len(chain) == 9


@pytest.mark.parametrize("square", [None, 0.0, -1.0, 1e6, float("nan")])
def test_side_must_be_given(square: float | None) -> None:
    answer = find(np.zeros((90, 120, 3), np.uint8), square)
    assert isinstance(answer, NotFound)
    assert answer.hint


@pytest.mark.parametrize("rows", [3, 8])
def test_a_chequered_board_is_no_bar_and_hides_none(rows: int) -> None:
    """Boards, cloths and floors have rows of squares too: one beside the wood was taken for a bar of the side said."""
    row, column = np.indices((90 * rows, 90 * 18)) // 90
    board = np.where((row + column) % 2, 255, 20).astype(np.uint8)
    alone = photograph(CAMERA, board, 6.0, (-130.0, -205.0), turn_deg=2.0)
    answer = find(alone, 15.0)
    assert isinstance(answer, NotFound)
    assert "board" in answer.reason
    both = photograph(CAMERA, bar_raster(16, 90), 6.0, (-130.0, 150.0))
    both[:600] = alone[:600]
    assert find(both, 15.0)


def test_no_bar_is_not_found() -> None:
    assert not find(np.random.default_rng(0).integers(0, 255, (300, 400, 3), np.uint8), 10.0)


@pytest.mark.skipif(not REAL.exists(), reason="the annotated photos are not here")
def test_real_bar_on_a_log_end() -> None:
    """A reader's marks lie 18 squares apart, read to about a tenth of a square."""
    photo = read_photo(REAL)
    scale = Bar().find(photo, Bar.Options(square_mm=10.0))
    assert isinstance(scale, Scale), scale
    start, end = photo_to_mm(scale, [[1046, 15], [2153, 246]])
    assert np.linalg.norm(end - start) == pytest.approx(180, abs=2.0)
