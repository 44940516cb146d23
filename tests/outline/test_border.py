"""An even border about a photo, as turning it leaves behind; and what only looks like one."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from photonest.outline.border import without_border
from photonest.outline.trained import TrainedOutline
from tests.outline.scenes import blob, distances, found_by, painted, photo

Pixels = NDArray[np.uint8]
SHAPE = (420, 560)


@pytest.fixture(scope="module")
def scene() -> tuple[Pixels, NDArray[np.float64]]:
    line = blob((285, 212), 150)
    return painted(SHAPE, line, (300, 205), ground="moss"), line


def turned(pixels: Pixels, line: NDArray[np.float64], degrees: float) -> tuple[Pixels, NDArray[np.float64]]:
    """Return the picture turned in a frame that holds all of it, grey about it, and the line in it."""
    import cv2

    height, width = pixels.shape[:2]
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), degrees, 1.0)
    wide, high = (int(v) for v in np.abs(turn[:, :2]) @ [width, height])
    turn[:, 2] += (wide - width) / 2, (high - height) / 2
    grey = (120.0, 120.0, 120.0)
    out = cv2.warpAffine(pixels, turn, (wide, high), borderMode=cv2.BORDER_CONSTANT, borderValue=grey)
    return np.asarray(out, np.uint8), line @ turn[:, :2].T + turn[:, 2]


def test_the_border_of_a_turned_photo_is_left_out(scene: tuple[Pixels, NDArray[np.float64]]) -> None:
    pixels, line = turned(*scene, 25.0)
    flat = without_border(photo(pixels))
    assert flat.covered is not None
    share = SHAPE[0] * SHAPE[1] / (pixels.shape[0] * pixels.shape[1])
    # a pixel of the picture looked at, on each side, and at most two more
    rim = 3 * 2 * sum(SHAPE) * max(pixels.shape) / 480 / (pixels.shape[0] * pixels.shape[1])
    assert share - rim < flat.covered.mean() <= share + 0.002
    found = photo(pixels).to_px(found_by(TrainedOutline(), photo(pixels)).points)
    assert distances(found, line).mean() < 3.0  # one percent of D


def test_bars_are_a_border_too(scene: tuple[Pixels, NDArray[np.float64]]) -> None:
    barred = np.pad(scene[0], ((60, 60), (0, 0), (0, 0)))
    covered = without_border(photo(barred)).covered
    assert covered is not None
    assert not covered[:60].any()
    assert not covered[-60:].any()
    assert covered[64:-64].all()


def test_a_photo_without_a_border_stays_as_it_is(scene: tuple[Pixels, NDArray[np.float64]]) -> None:
    assert without_border(photo(scene[0])).covered is None


@pytest.mark.parametrize("room", [0, 6])
def test_a_piece_cut_out_is_no_photo(scene: tuple[Pixels, NDArray[np.float64]], room: int) -> None:
    pixels, line = scene[0].copy(), scene[1]
    import cv2

    outside = cv2.fillPoly(np.ones(SHAPE, np.uint8), [np.round(line).astype(np.int32)], 0).astype(bool)
    pixels[outside] = 255
    low, high = line.min(axis=0).astype(int) - room, line.max(axis=0).astype(int) + room + 1
    assert without_border(photo(pixels[low[1] : high[1], low[0] : high[0]])).covered is None
