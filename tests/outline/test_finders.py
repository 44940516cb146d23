"""What every outline finder must do, on painted faces."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapely

from photonest.model import NotFound
from photonest.outline.edge import EdgeOutline
from photonest.outline.trained import TrainedOutline
from tests.outline.scenes import GREEN, WHITE, blob, distances, found_by, painted, photo

SHAPE = (420, 560)
pytestmark = pytest.mark.parametrize("finder", [EdgeOutline(), TrainedOutline()], ids=lambda finder: finder.name)


@pytest.mark.parametrize("ground", [WHITE, (0, 0, 0), GREEN, "moss"])
def test_outline_of_a_round_face(finder: Any, ground: tuple[int, int, int] | str) -> None:
    line = blob((285, 212), 160)
    flat = photo(painted(SHAPE, line, (300, 205), ground=ground))
    outline = found_by(finder, flat)
    away = distances(flat.to_px(outline.points), line)
    # A pixel is a third of a percent of D: the edge must hold to about one pixel, its worst twentieth to three.
    assert away.mean() < 1.2
    assert np.percentile(away, 95) < 3.2
    assert not outline.cut_by_frame
    assert away.mean() * flat.mm_per_px < 2 * outline.standard_error


def test_corners_of_a_half_stay_sharp(finder: Any) -> None:
    whole = shapely.Polygon(blob((280, 260), 190, waves=(0.02,)))
    half = np.array(whole.intersection(shapely.box(0, 0, 560, 262)).exterior.coords)[:-1]
    flat = photo(painted(SHAPE, half, (280, 262)))
    away = distances(flat.to_px(found_by(finder, flat).points), half)
    assert away.max() < 5  # an opened corner would lose (sqrt(2) - 1) of a radius of 4 px and more


def test_bark_is_told_apart_on_a_plain_ground(finder: Any) -> None:
    outer, wood = blob((285, 212), 180), blob((285, 212), 165)
    flat = photo(painted(SHAPE, outer, (290, 205), bark=wood))
    outline = found_by(finder, flat)
    assert outline.under_bark is not None
    assert distances(flat.to_px(outline.points), outer).mean() < 1.0
    assert distances(flat.to_px(outline.under_bark), wood).mean() < 2.0


@pytest.mark.parametrize("ground", [WHITE, "moss"])
def test_bare_wood_has_no_bark(finder: Any, ground: tuple[int, int, int] | str) -> None:
    flat = photo(painted(SHAPE, blob((285, 212), 160), (300, 205), ground=ground))
    assert found_by(finder, flat).under_bark is None


def test_a_piece_cut_by_the_frame_says_so(finder: Any) -> None:
    outline = found_by(finder, photo(painted(SHAPE, blob((180, 212), 230), (200, 205), ground="moss")))
    assert outline.cut_by_frame
    assert any("outside the photo" in warning for warning in outline.warnings)


@pytest.mark.parametrize(
    "pixels",
    [
        np.zeros((300, 400, 3), np.uint8),
        np.full((300, 400, 3), 255, np.uint8),
        np.full((20, 30, 3), 90, np.uint8),
    ],
    ids=["black", "white", "tiny"],
)
def test_nothing_to_see_is_not_found(finder: Any, pixels: np.ndarray) -> None:
    answer = finder.find(photo(pixels), finder.Options())
    assert isinstance(answer, NotFound)
    assert answer.reason and answer.hint
