from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from photonest.model import FlatPhoto, NotFound, Outline, Pith
from photonest.pith.directions import view
from photonest.pith.rings import RingOptions, RingPith, locate
from photonest.pith.sureness import standard_error
from tests.bench import hearts
from tests.bench.faces import flat_from
from tests.drawn import draw
from tests.outline.scenes import blob, coverage, painted, photo

SHAPE = (420, 560)
Array = NDArray[np.float64]


def outlined(flat: FlatPhoto, line: Array) -> Outline:
    return Outline(tuple((float(x), float(y)) for x, y in flat.to_mm(line)))


def find(pixels: NDArray[np.uint8], line: Array) -> tuple[FlatPhoto, Pith | NotFound]:
    flat = photo(pixels)
    return flat, RingPith().find(flat, outlined(flat, line), RingOptions())


def miss(pixels: NDArray[np.uint8], line: Array, pith: tuple[float, float]) -> tuple[float, float, Pith]:
    """Return the distance from the truth and the standard error, in percent of D, and the answer."""
    flat, answer = find(pixels, line)
    assert isinstance(answer, Pith), answer
    diameter = 2 * np.sqrt(shapely.Polygon(line).area / np.pi)
    away = np.hypot(*(flat.to_px(answer.point) - pith))
    return 100 * away / diameter, 100 * answer.standard_error / flat.mm_per_px / diameter, answer


@pytest.mark.parametrize("drift", [(0.0, 0.0), (0.12, -0.08), (-0.2, 0.1)])
def test_rings_with_drifting_centres(drift: tuple[float, float]) -> None:
    line = blob((285, 212), 180)
    away, error, answer = miss(painted(SHAPE, line, (310, 200), drift=drift, noise=12), line, (310, 200))
    assert away < 0.3  # a pixel is 0.28 % of D
    assert away < 3 * error
    assert answer.inside


def test_turned_photo_gives_the_turned_pith() -> None:
    line = blob((285, 212), 180)
    pixels = painted(SHAPE, line, (310, 200), drift=(0.1, 0.05), noise=8)
    back = np.ascontiguousarray(np.rot90(pixels, 2))
    assert miss(back, np.array([559, 419]) - line, (559 - 310, 419 - 200))[0] < 0.3


@pytest.mark.parametrize(
    "harm",
    [
        lambda p: (255 * (p / 255) ** 1.8).astype(np.uint8),
        lambda p: np.clip(p * np.linspace(0.35, 1.1, p.shape[1])[None, :, None], 0, 255).astype(np.uint8),
        lambda p: np.repeat(p.mean(axis=2, keepdims=True).astype(np.uint8), 3, axis=2),
        lambda p: np.clip(p + 22 * np.sin(np.arange(p.shape[1]) * 2 * np.pi / 5.3)[None, :, None], 0, 255).astype("u1"),
    ],
    ids=["dark", "shaded", "grey", "saw marks"],
)
def test_light_and_saw_marks_change_little(harm: Callable[[NDArray[np.uint8]], NDArray[np.uint8]]) -> None:
    line = blob((285, 212), 180)
    pixels = harm(painted(SHAPE, line, (310, 200), drift=(0.1, 0.05), noise=6))
    away, error, _ = miss(pixels, line, (310, 200))
    assert away < 0.6  # two pixels
    assert away < 3 * error


def test_rays_alone_show_the_pith() -> None:
    line, pith = blob((285, 212), 180), (320.0, 190.0)
    rng = np.random.default_rng(5)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    angle = np.arctan2(y - pith[1], x - pith[0])
    rays = np.interp(angle, np.linspace(-np.pi, np.pi, 400), rng.normal(size=400))
    pixels = np.clip(170 + 18 * rays + 5 * rng.normal(size=SHAPE), 0, 255)
    pixels = (pixels * coverage(line, SHAPE))[..., None].repeat(3, axis=2).astype(np.uint8)
    away, error, _ = miss(pixels, line, pith)
    assert away < 1.0
    assert away < 3 * error


def test_a_pencil_line_across_faint_rays_is_not_taken_for_rings_about_the_pith() -> None:
    import cv2

    line, pith = blob((285, 212), 180), (300, 205)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    angle = np.arctan2(y - pith[1], x - pith[0])
    rays = np.repeat((150 + 9 * np.sin(70 * angle))[..., None], 3, axis=2)
    grain = np.random.default_rng(3).normal(0, 12, SHAPE)[..., None]
    pixels = np.clip(rays + grain, 0, 255).astype(np.uint8)
    cv2.ellipse(pixels, (240, 330), (110, 110), 0, 200, 330, (25, 25, 25), 7)
    flat, answer = find(pixels, line)
    # small discs are drawn to the line, by a tenth of the diameter: that far from where most lines agree none is given
    assert isinstance(answer, NotFound) or np.hypot(*(flat.to_px(answer.point) - pith)) < 3


def test_a_pith_seen_less_all_round_or_within_wide_rings_is_less_sure() -> None:
    line, pith = blob((285, 212), 180), (300, 205)
    flat = photo(painted(SHAPE, line, pith, noise=8))
    seen = view(flat, outlined(flat, line).wood, 700)
    found = locate(seen, seen.flat.to_px(flat.to_mm(line)), 1200)
    assert found is not None
    assert not found.one_sided
    error = standard_error(found, seen.diameter)
    assert standard_error(found._replace(covered=0.75), seen.diameter) > 1.7 * error
    assert standard_error(found._replace(width=0.025 * seen.diameter), seen.diameter) > 0.002


def test_a_wide_crack_and_a_knot_at_the_pith() -> None:
    line = blob((285, 212), 180)
    pixels = painted(SHAPE, line, (310, 200), drift=(0.1, 0.05), noise=6)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    pixels[(np.abs(y - 200 - 0.4 * (x - 310)) < 4) & (x > 304) & (x < 420)] = 25
    knot = (np.abs(x - 310) < 0.25 * (200 - y)) & (y < 200) & (y > 110)
    pixels[knot] = (pixels[knot] * 0.6).astype(np.uint8)
    away, error, _ = miss(pixels, line, (310, 200))
    assert away < 0.6
    assert away < 3 * error


def test_a_hole_beside_the_pith_is_not_taken_for_rings() -> None:
    import cv2

    line, pith = blob((285, 212), 180), (310, 200)
    pixels = painted(SHAPE, line, pith, drift=(0.1, 0.05), noise=30)
    cv2.ellipse(pixels, (316, 204), (11, 8), 20, 0, 360, (40, 32, 24), -1)
    away, error, _ = miss(pixels, line, pith)
    assert away < 0.6  # two pixels, a third of how far the hole's middle lies from the pith
    assert away < 3 * error


def test_half_with_the_pith_at_its_edge() -> None:
    whole = shapely.Polygon(blob((280, 250), 190, waves=(0.02,)))
    half = np.array(whole.intersection(shapely.box(0, 0, 560, 252)).exterior.coords)[:-1]
    away, error, _ = miss(painted(SHAPE, half, (285, 246), noise=6), half, (285, 246))
    assert away < 2.0  # asked for: within 2 %
    assert away < 3 * error


def test_at_the_edge_it_is_not_left_to_chance_which_lines_are_fitted(monkeypatch: pytest.MonkeyPatch) -> None:
    whole = shapely.Polygon(blob((285, 212), 180))
    half = np.array(whole.intersection(shapely.box(0, 205, 560, 420)).exterior.coords)[:-1]
    pixels = painted(SHAPE, half, (290, 205), drift=(0.1, 0.05), noise=12)
    shuffle, answers = np.random.default_rng, []
    for seed in (1, 2, 3):
        monkeypatch.setattr(np.random, "default_rng", lambda _, seed=seed: shuffle(seed))
        flat, answer = find(pixels, half)
        assert isinstance(answer, Pith)
        answers.append(answer.point)
    # 0.02 % of D, a tenth of what is stated: a face this small has fewer lines than are fitted
    assert np.ptp(answers, axis=0).max() < 0.0002 * 2 * np.sqrt(whole.area / np.pi) * flat.mm_per_px


def test_pith_outside_the_piece_is_said_to_be() -> None:
    whole = shapely.Polygon(blob((270, 330), 270, waves=(0.02,)))
    piece = np.array(whole.intersection(shapely.box(60, 20, 500, 290)).exterior.coords)[:-1]
    pith = (270.0, 330.0)
    flat, answer = find(painted(SHAPE, piece, pith, noise=5, pitch=12), piece)
    if isinstance(answer, NotFound):
        return
    away = np.hypot(*(flat.to_px(answer.point) - pith)) * flat.mm_per_px
    assert not answer.inside
    assert answer.warnings
    assert away < 3 * answer.standard_error


def test_grain_alone_gives_no_confident_pith() -> None:
    line = blob((285, 212), 180)
    rng = np.random.default_rng(2)
    stripes = np.cumsum(rng.normal(size=SHAPE[0]) * 9)
    stripes -= np.convolve(stripes, np.ones(31) / 31, "same")
    pixels = np.clip(165 + stripes[:, None] + 6 * rng.normal(size=SHAPE), 0, 255) * coverage(line, SHAPE)
    _, answer = find(pixels[..., None].repeat(3, axis=2).astype(np.uint8), line)
    assert isinstance(answer, NotFound) or not answer.inside or answer.standard_error > 0.02 * 180


@pytest.mark.parametrize("level", [0, 128, 255])
def test_a_face_without_any_lines_is_not_found(level: int) -> None:
    line = blob((285, 212), 180)
    _, answer = find(np.full((*SHAPE, 3), level, np.uint8), line)
    assert isinstance(answer, NotFound)
    assert answer.reason and answer.hint


def test_noise_has_no_pith() -> None:
    line = blob((285, 212), 180)
    noise = np.random.default_rng(4).integers(0, 256, (*SHAPE, 3)).astype(np.uint8)
    flat, answer = find(noise, line)
    assert isinstance(answer, NotFound) or answer.standard_error > 0.02 * 180 * flat.mm_per_px


def test_tiny_piece_is_not_found() -> None:
    line = blob((20, 20), 12)
    assert isinstance(find(painted((40, 40), line, (20, 20)), line)[1], NotFound)


def test_same_answer_each_time_from_a_read_only_photo() -> None:
    line = blob((285, 212), 180)
    pixels = painted(SHAPE, line, (310, 200))
    pixels.setflags(write=False)
    assert find(pixels, line)[1] == find(pixels, line)[1]


@pytest.mark.parametrize("seed", [994_046, 995_047])
def test_rays_tell_the_pith_of_a_spoilt_heart(seed: int) -> None:
    scene = draw(hearts.spec_of(seed, ("medium", "hard", "easy"))[1])  # rot and a stain: rings alone miss by 2.4 %
    truth, unit = scene.truth, scene.truth.mm_per_px
    assert truth.pith_mm is not None
    wood = truth.mm_to_px(truth.outline_mm) * unit
    outline = Outline(tuple((float(x), float(y)) for x, y in wood))
    found = RingPith().find(flat_from(scene.pixels, unit), outline, RingOptions())
    assert isinstance(found, Pith)
    away = np.hypot(*(np.array(found.point) - truth.mm_to_px(np.atleast_2d(truth.pith_mm))[0] * unit))
    assert away < 0.006 * 2 * np.sqrt(shapely.Polygon(wood).area / np.pi)  # as unsure as rays are said to be
    assert away < 3 * found.standard_error
