"""How much each cell of a straightened picture looks like part of a line running down its column."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from photonest.cracks.strips import Floats, Grid

MARGIN = 64  # columns beside a band, so that every filter sees its neighbourhood
WIDE = 5  # lines as wide as this are sought in pairs of columns


def ridge_scores(grey: NDArray[np.uint8], grid: Grid, widths: tuple[int, ...], along: int) -> tuple[Floats, Floats]:
    """Return how far each cell is darker, and lighter, than both its sides, in units of the local texture.

    Parameters
    ----------
    grey : ndarray of uint8
        The picture, filled smoothly outside the piece.
    widths : tuple of int
        Odd line widths sought, in picture pixels; the best answer of all is kept.
    along : int
        Pixels averaged along the line.

    Returns
    -------
    dark, light : ndarray of float32, shape (grid.rows // 2, grid.columns // 2)
        Two rows and two columns of the grid make a cell.
    """
    import cv2

    shape = (grid.rows // 2, grid.columns // 2)
    dark, light = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    for first, last, columns in grid.bands():
        map_x, map_y = grid.maps(first, last, columns, MARGIN)
        strip = cv2.remap(grey, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        smooth = cv2.boxFilter(strip, cv2.CV_32F, (1, along), borderType=cv2.BORDER_REFLECT)[::2]
        for target, best in zip((dark, light), _best_over_widths(smooth, widths), strict=True):
            part = best[:, MARGIN // 2 : -MARGIN // 2]
            if part.shape[1] != shape[1]:
                part = cv2.resize(part, (shape[1], len(part)), interpolation=cv2.INTER_LINEAR)
            target[first // 2 : first // 2 + len(part)] = part
    return dark, light


def _best_over_widths(smooth: Floats, widths: tuple[int, ...]) -> tuple[Floats, Floats]:
    """Return the best dark and light answers of all widths, two columns to a cell."""
    pairs = np.asarray((smooth[:, ::2] + smooth[:, 1::2]) / 2, np.float32)
    dark, light = np.full_like(pairs, -np.inf), np.full_like(pairs, -np.inf)
    for width in widths:
        steps = _lines(smooth, width) if width < WIDE else _lines(pairs, width // 4 * 2 + 1)
        for best, step in zip((dark, light), steps, strict=True):
            for part in (step[:, ::2], step[:, 1::2]) if width < WIDE else (step,):
                np.maximum(best, part, out=best)
    return dark, light


def _lines(strip: Floats, width: int) -> tuple[Floats, Floats]:
    """Return how far a middle of `width` cells is below the lower of its sides, and above the higher of them.

    The lesser of the two steps, because an edge has one large step and only a line has two; in units of the local
    root mean square, strong lines held down so that they don't hide their neighbours.
    """
    import cv2

    side = width + 2
    reach = (width + side) // 2 + max(1, width // 2)
    middle = cv2.blur(strip, (width, 1)) if width > 1 else strip
    sides = cv2.blur(strip, (side, 1))
    left, right, middle = sides[:, : -2 * reach], sides[:, 2 * reach :], middle[:, reach:-reach]
    dark, light = np.minimum(left, right) - middle, middle - np.maximum(left, right)
    scale = _texture(dark, light)
    frame = ((0, 0), (reach, reach))
    return np.pad(dark * scale, frame), np.pad(light * scale, frame)


def _texture(dark: Floats, light: Floats) -> Floats:
    """Return one over the local root mean square of the steps, taken at an eighth of their size."""
    import cv2

    power = (dark * dark + light * light) / 2
    overall = float(power.mean())
    np.minimum(power, np.float32(9 * overall), out=power)
    small = cv2.resize(power, (power.shape[1] // 8 + 1, power.shape[0] // 4 + 1), interpolation=cv2.INTER_AREA)
    local = np.sqrt(np.maximum(cv2.blur(small, (13, 9), borderType=cv2.BORDER_REFLECT), 0))
    inverse = 1 / (local + np.float32(0.25 * np.sqrt(overall) + 0.3))
    return np.asarray(cv2.resize(inverse, power.shape[1::-1], interpolation=cv2.INTER_LINEAR), np.float32)
