"""The side of a piece below its face, painted by the same geometry the other way about: the face swept downwards."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from photonest.model import FlatPhoto
from photonest.outline.side import Camera, above, side_of, steepest
from photonest.outline.strip import FINE, Ready, about
from photonest.planar import mean_diameter
from tests.outline.scenes import Array, blob, coverage, distances, painted, photo

SHAPE, MIDDLE, RADIUS = (420, 560), (270.0, 215.0), 140.0
FACE = blob(MIDDLE, RADIUS)
DEPTH = 60.0  # mm
CAMERA: Camera = (430.0, 260.0, 900.0)  # 300 mm and more to the side of the face's middle: 18 degrees


def below(flat: FlatPhoto, line: Array, z: float) -> Array:
    """Return where a line in pixels shows when it lies z mm below the face: on the way from the eye's foot, nearer."""
    foot, away = np.array(CAMERA[:2]), CAMERA[2]
    return flat.to_px(foot + (flat.to_mm(line) - foot) * away / (away + z))


def seen(tone: float = 0.55, face: Array = FACE, bark: Array | None = None) -> tuple[Ready, Array]:
    """Return the picture of a piece whose side is `tone` times as bright as its ground, and its edge, side and all."""
    pixels = painted(SHAPE, face, MIDDLE, ground="moss", bark=bark)
    flat = replace(photo(pixels), camera=CAMERA)
    swept = shapely.unary_union([shapely.Polygon(below(flat, face, z)) for z in np.linspace(0, DEPTH, 25)])
    shown = np.array(swept.exterior.coords)[:-1]
    side = np.clip(coverage(shown, SHAPE) - coverage(face, SHAPE), 0, 1)[..., None]
    rough = 110 * tone * (1 + 0.15 * np.random.default_rng(5).normal(size=(*SHAPE, 1)))
    flat = replace(flat, pixels=(pixels * (1 - side) + rough * np.array([1.0, 0.8, 0.6]) * side).astype(np.uint8))
    edge = flat.to_mm(shown)
    return about(flat, edge, FINE.longest_px, 0.055), edge


@pytest.mark.parametrize("tone", [0.55, 1.1])
def test_the_side_is_left_out(tone: float) -> None:
    ready, edge = seen(tone=tone)
    side = side_of(ready, edge, None, CAMERA)
    assert side is not None
    # the depth is read in steps of 0.2 % of the diameter as it shows, and texture moves it by some of them.
    assert side.depth == pytest.approx(DEPTH, rel=0.1)
    face = above(edge, side)
    truth = photo(np.zeros((*SHAPE, 3), np.uint8)).to_mm(FACE)
    off = [distances(line, truth).mean() / mean_diameter(truth) for line in (edge, face)]
    assert off[0] > 0.015
    assert off[1] < 0.003


def test_the_side_of_a_half_log_is_left_out_though_its_other_sides_have_bark() -> None:
    x, y = MIDDLE
    face = np.array([(x - 90, y - 120), (x + 90, y - 120), (x + 90, y + 120), (x - 90, y + 120)])
    wood = np.array([(x - 90, y - 100), (x + 90, y - 100), (x + 90, y + 100), (x - 90, y + 100)])
    ready, edge = seen(face=face, bark=wood)
    side = side_of(ready, edge, ready.flat.to_mm(wood), CAMERA)
    assert side is not None
    assert side.depth == pytest.approx(DEPTH, rel=0.1)  # as above
    flat = replace(photo(painted(SHAPE, face, MIDDLE, ground="moss", bark=wood)), camera=CAMERA)
    alone = flat.to_mm(face)
    assert side_of(about(flat, alone, FINE.longest_px, 0.055), alone, flat.to_mm(wood), CAMERA) is None


def test_bark_of_even_thickness_is_no_side() -> None:
    wood = blob(MIDDLE, 0.9 * RADIUS)
    pixels = painted(SHAPE, FACE, MIDDLE, ground="moss", bark=wood)
    flat = replace(photo(pixels), camera=CAMERA)
    edge = flat.to_mm(FACE)
    ready = about(flat, edge, FINE.longest_px, 0.055)
    assert side_of(ready, edge, flat.to_mm(wood), CAMERA) is None


def test_no_side_is_seen_where_none_shows_or_nothing_tells_of_the_camera() -> None:
    ready, edge = seen()
    x, y = np.mean(edge, axis=0)
    assert side_of(ready, edge, None, None) is None
    assert side_of(ready, edge, None, (float(x), float(y), 900.0)) is None  # straight above
    flat = replace(photo(painted(SHAPE, FACE, MIDDLE, ground="moss")), camera=CAMERA)
    alone = flat.to_mm(FACE)
    assert side_of(about(flat, alone, FINE.longest_px, 0.055), alone, None, CAMERA) is None


def test_the_steepest_look_is_on_the_camera_s_side() -> None:
    angle = np.arange(720) * 2 * np.pi / 720
    circle = 100 * np.column_stack([np.cos(angle), np.sin(angle)])
    assert steepest(circle, None) == 0.0
    assert steepest(circle, (0.0, 0.0, 900.0)) == 0.0
    # at the nearest point of the circle it is (400 - 100) / 1000; the quantile looks past a few degrees about it
    assert steepest(circle, (400.0, 0.0, 1000.0)) == pytest.approx(0.3, abs=0.01)
