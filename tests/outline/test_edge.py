from __future__ import annotations

import numpy as np
import pytest
import shapely

from photonest.imaging import mean_diameter
from photonest.model import FlatPhoto, NotFound, Outline
from photonest.outline.edge import EdgeOptions, EdgeOutline
from tests.outline.scenes import GREEN, WHITE, blob, distances, painted, photo

SHAPE = (420, 560)


def find(flat: FlatPhoto) -> Outline | NotFound:
    return EdgeOutline().find(flat, EdgeOptions())


def found(flat: FlatPhoto) -> Outline:
    outline = find(flat)
    assert isinstance(outline, Outline)
    polygon = shapely.Polygon(outline.points)
    assert polygon.is_valid
    if outline.under_bark is not None:
        assert shapely.Polygon(outline.under_bark).is_valid
        assert polygon.buffer(0.02 * mean_diameter(outline.points)).covers(shapely.Polygon(outline.under_bark))
    return outline


@pytest.mark.parametrize("ground", [WHITE, (0, 0, 0), GREEN, "moss"])
def test_outline_of_a_round_face(ground: tuple[int, int, int] | str) -> None:
    line = blob((285, 212), 160)
    flat = photo(painted(SHAPE, line, (300, 205), ground=ground))
    outline = found(flat)
    away = distances(flat.to_px(outline.points), line)
    # A pixel is a third of a percent of D: the edge must hold to about one pixel, its worst twentieth to three.
    assert away.mean() < 1.2
    assert np.percentile(away, 95) < 3.2
    assert not outline.cut_by_frame
    assert away.mean() * flat.mm_per_px < 2 * outline.standard_error


def test_corners_of_a_half_stay_sharp() -> None:
    whole = shapely.Polygon(blob((280, 260), 190, waves=(0.02,)))
    half = np.array(whole.intersection(shapely.box(0, 0, 560, 262)).exterior.coords)[:-1]
    flat = photo(painted(SHAPE, half, (280, 262)))
    away = distances(flat.to_px(found(flat).points), half)
    assert away.max() < 5  # an opened corner would lose (sqrt(2) - 1) of a radius of 4 px and more


def test_bark_is_told_apart_on_a_plain_ground() -> None:
    outer, wood = blob((285, 212), 180), blob((285, 212), 165)
    outline = found(photo(painted(SHAPE, outer, (290, 205), bark=wood)))
    assert outline.under_bark is not None
    flat = photo(painted(SHAPE, outer, (290, 205), bark=wood))
    assert distances(flat.to_px(outline.points), outer).mean() < 1.0
    assert distances(flat.to_px(outline.under_bark), wood).mean() < 2.0


def test_bare_wood_has_no_bark() -> None:
    assert found(photo(painted(SHAPE, blob((285, 212), 160), (300, 205), ground="moss"))).under_bark is None
    assert found(photo(painted(SHAPE, blob((285, 212), 160), (300, 205)))).under_bark is None


def test_a_piece_cut_by_the_frame_says_so() -> None:
    outline = found(photo(painted(SHAPE, blob((180, 212), 230), (200, 205), ground="moss")))
    assert outline.cut_by_frame
    assert outline.warnings


def test_grey_photos_work() -> None:
    line = blob((285, 212), 160)
    grey = painted(SHAPE, line, (300, 205), ground="moss").mean(axis=2).astype(np.uint8)
    flat = photo(np.repeat(grey[..., None], 3, axis=2))
    assert flat.grey
    assert distances(flat.to_px(found(flat).points), line).mean() < 3.5  # one percent of D


@pytest.mark.parametrize(
    "pixels",
    [
        np.zeros((300, 400, 3), np.uint8),
        np.full((300, 400, 3), 255, np.uint8),
        np.full((20, 30, 3), 90, np.uint8),
    ],
    ids=["black", "white", "tiny"],
)
def test_nothing_to_see_is_not_found(pixels: np.ndarray) -> None:
    answer = find(photo(pixels))
    assert isinstance(answer, NotFound)
    assert answer.reason and answer.hint
