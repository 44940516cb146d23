"""A face spoilt in one way at a time, and what is said of it."""

from __future__ import annotations

import math
from collections.abc import Callable

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from photonest.fitness import fitness, sharpness
from photonest.imaging import polygon_mask
from photonest.model import FlatPhoto
from tests.outline.scenes import blob

Pixels = NDArray[np.uint8]
LINE = blob((400, 400), 340)


def said(pixels: Pixels, share: float = 1.0) -> tuple[str, ...]:
    """Return what is said of a photo made smaller to a share."""
    if share != 1.0:
        pixels = np.asarray(cv2.resize(pixels, None, fx=share, fy=share, interpolation=cv2.INTER_AREA), np.uint8)
    line = (LINE + 0.5) * share - 0.5
    return fitness(FlatPhoto(pixels, 1.0, (0.0, 0.0), (400.0 * share, 400.0 * share)), tuple(map(tuple, line.tolist())))


@pytest.fixture(scope="module")
def good() -> Pixels:
    """Rings with sharp edges, as latewood has, on a dark bench."""
    y, x = np.mgrid[:800, :800]
    late = np.hypot(x - 410, y - 395) % 14 < 4
    heart = 1 - 0.4 * (np.hypot(x - 410, y - 395) < 180)  # stays in sight when the rings are blurred away
    wood = (np.where(late, 120, 175) * heart)[..., None] * np.array([1.0, 0.8, 0.6])
    noise = np.random.default_rng(0).normal(0, 3, wood.shape)
    inside = polygon_mask(LINE, (800, 800))[..., None]
    return np.clip(np.where(inside, wood + noise, 40), 0, 255).astype(np.uint8)


def test_nothing_is_said_of_a_good_photo(good: Pixels) -> None:
    assert said(good) == ()
    assert said(good, 0.6) == ()


def test_a_stained_heart_that_fades_is_not_taken_for_blur() -> None:
    """Pale rings with sharp edges, and about a small dark heart the strongest edge of all, 20 pixels wide."""
    y, x = np.mgrid[:800, :800]
    away = np.hypot(x - 410, y - 395)
    heart = cv2.GaussianBlur(1 - 0.6 * (away < 95), (0, 0), 5.0)
    wood = np.clip(np.where(away % 14 < 4, 162, 172) * heart, 0, 255)[..., None].repeat(3, axis=2)
    face = np.where(polygon_mask(LINE, (800, 800))[..., None], wood, 40).astype(np.uint8)
    assert said(face) == ()


def shaken(pixels: Pixels) -> Pixels:
    return np.asarray(cv2.filter2D(pixels, -1, np.full((1, 21), 1 / 21, np.float32)), np.uint8)


@pytest.mark.parametrize(
    ("harm", "word"),
    [
        (lambda p: cv2.GaussianBlur(p, (0, 0), 4.5), "blurred"),
        (shaken, "blurred"),
        (lambda p: (p * 0.08).astype(np.uint8), "dark"),
        (lambda p: np.clip(p * 4.0, 0, 255).astype(np.uint8), "burnt"),
    ],
    ids=["out of focus", "shaken", "dark", "overexposed"],
)
def test_each_fault_is_named_with_a_remedy(good: Pixels, harm: Callable[[Pixels], Pixels], word: str) -> None:
    told = said(harm(good))
    assert [word in text for text in told].count(True) == 1
    assert all(":" in text or "." in text[:-1] for text in told)  # the fault, then what to do


def test_a_small_face_is_told_its_size(good: Pixels) -> None:
    diameter = 2 * math.sqrt(cv2.contourArea(LINE.astype(np.float32)) / math.pi) * 0.25
    assert any(f"only {diameter:.0f} pixels" in text for text in said(good, 0.25))


def test_a_ramp_has_the_sharpness_of_a_ramp() -> None:
    ramp = np.tile(np.arange(120, dtype=np.float32), (120, 1))
    # Along the ramp two pixels show a quarter of what eight show, and across it there is nothing to judge.
    assert sharpness(ramp, np.ones((120, 120), bool)) == pytest.approx(0.25, abs=0.01)


def test_a_plain_face_is_not_called_blurred() -> None:
    assert said(np.full((800, 800, 3), 120, np.uint8)) == ()
