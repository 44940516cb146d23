"""How much each cell of a straightened picture looks like part of a line running down its column."""

from __future__ import annotations

import numpy as np

from photonest.cracks.strips import Floats, Grid

MARGIN = 64  # columns beside a band, so that every filter sees its neighbourhood


def ridge_scores(grey: Floats, grid: Grid, widths: tuple[int, ...], along: int) -> tuple[Floats, Floats]:
    """Return how far each cell is darker, and lighter, than both its sides, in units of the local texture.

    Parameters
    ----------
    grey : ndarray of float32
        The picture, filled smoothly outside the piece.
    widths : tuple of int
        Line widths sought, in picture pixels; the best answer of all is kept.
    along : int
        Pixels averaged along the line.

    Returns
    -------
    dark, light : ndarray of float32, shape (grid.rows // 2, grid.columns // 2)
        Two rows and two columns of the grid make a cell.
    """
    import cv2

    dark = np.zeros((grid.rows // 2, grid.columns // 2), np.float32)
    light = np.zeros_like(dark)
    for first, last, columns in grid.bands():
        map_x, map_y = grid.maps(first, last, columns, MARGIN)
        strip = cv2.remap(grey, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        smooth = cv2.blur(strip, (1, along), borderType=cv2.BORDER_REFLECT)[::2]
        for target, sign in ((dark, 1.0), (light, -1.0)):
            best = _best_over_widths(smooth * np.float32(sign), widths)[:, MARGIN:-MARGIN]
            best = np.maximum(best[:, ::2], best[:, 1::2])
            if best.shape[1] != target.shape[1]:
                best = cv2.resize(best, (target.shape[1], len(best)), interpolation=cv2.INTER_LINEAR)
            target[first // 2 : first // 2 + len(best)] = best
    return dark, light


def _best_over_widths(smooth: Floats, widths: tuple[int, ...]) -> Floats:
    best = _normalised(_darker_than_both_sides(smooth, widths[0]))
    for width in widths[1:]:
        np.maximum(best, _normalised(_darker_than_both_sides(smooth, width)), out=best)
    return best


def _darker_than_both_sides(strip: Floats, width: int) -> Floats:
    """Return the lesser of the two steps up from a middle of `width` cells to its sides.

    The lesser, because an edge has one large step and only a line has two.
    """
    import cv2

    side = width + 2
    reach = (width + side) // 2 + max(1, width // 2)
    middle = cv2.blur(strip, (width, 1)) if width > 1 else strip
    sides = cv2.blur(strip, (side, 1))
    step = np.zeros_like(strip)
    step[:, reach:-reach] = np.minimum(sides[:, 2 * reach :], sides[:, : -2 * reach]) - middle[:, reach:-reach]
    return step


def _normalised(step: Floats) -> Floats:
    """Divide by the local root mean square, strong lines held down so that they don't hide their neighbours."""
    import cv2

    overall = np.float32(np.sqrt(np.mean(step * step)) + 1e-6)
    clipped = np.minimum(np.abs(step), 3 * overall)
    local = np.sqrt(np.maximum(cv2.blur(clipped * clipped, (101, 31), borderType=cv2.BORDER_REFLECT), 0))
    return np.asarray(step / (local + np.float32(0.25) * overall + np.float32(0.3)), np.float32)
