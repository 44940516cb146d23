"""Where cracks may run: candidate lines on the face, as paths of pixels, with what the search thought of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photonest.cracks.paths import best_paths, worthy_pieces
from photonest.cracks.profiles import Profile, profiles
from photonest.cracks.ridges import ridge_scores
from photonest.cracks.strips import Floats, Grid, PolarGrid, TurnedGrid
from photonest.imaging import Mask, blurred_within, cropped, luminance, mean_diameter, polygon_mask, reduced
from photonest.model import FlatPhoto, Outline, Pith

SEARCH_DIAMETER_PX = 1400  # a check 0.1 % of the diameter wide still darkens a pixel; 2000 finds no more
MEASURE_DIAMETER_PX = 3600  # beyond, more pixels tell nothing more of a line's width
LINE_WIDTHS = (1, 3, 6)
AVERAGED_ALONG = 9
DOUBT = 0.9  # of the local texture: a line must stand out by more than this
LEAST_LENGTH = 0.015  # of the diameter: shorter lines are left to the clearance of the plan
GAP_SCORE, CEILING = -0.6, 2.0


@dataclass(frozen=True, eq=False)
class View:
    """The piece cut out of the photo, at the sizes the search needs.

    Attributes
    ----------
    full, small : FlatPhoto
        For measuring, and for searching.
    outline : ndarray, shape (n, 2)
        Edge of the wood in mm.
    inside : ndarray of bool
        Pixels of `small` on the wood.
    diameter : float
        Mean diameter in mm.
    """

    full: FlatPhoto
    small: FlatPhoto
    outline: NDArray[np.float64]
    inside: Mask
    diameter: float


@dataclass(frozen=True, eq=False)
class Candidate:
    """A line that may be a crack.

    Attributes
    ----------
    profile : Profile
        What lies across it, in pixels of `View.full`.
    score : float
        What the search gave for each pixel of its length.
    """

    profile: Profile
    score: float


def view(flat: FlatPhoto, outline: Outline) -> View:
    """Cut the wood out of the photo."""
    edge = np.asarray(outline.wood, dtype=float)
    margin = 4 * flat.mm_per_px
    full = cropped(flat, edge.min(axis=0) - margin, edge.max(axis=0) + margin)
    diameter = mean_diameter(edge)
    longest, across = max(full.pixels.shape[:2]), diameter / full.mm_per_px
    full = reduced(full, longest * min(1.0, MEASURE_DIAMETER_PX / across))
    small = reduced(full, longest * min(1.0, SEARCH_DIAMETER_PX / across))
    inside = polygon_mask(small.to_px(edge), small.pixels.shape[:2])
    return View(full, small, edge, inside, diameter)


def grids(seen: View, pith: Pith | None) -> list[Grid]:
    """Return the straightened pictures to search: about the pith, or turned four ways where there is none."""
    edge = seen.small.to_px(seen.outline)
    if pith is not None:
        centre = seen.small.to_px([pith.point])[0]
        rows = 2 * int(np.hypot(*(edge - centre).T).max() / 2) + 2
        columns = max(256, int(2 * np.pi * rows * 0.8) // 64 * 64)
        return [PolarGrid((float(centre[0]), float(centre[1])), rows, columns)]
    low, high = edge.min(axis=0), edge.max(axis=0)
    size = 2 * int(np.hypot(*(high - low)) / 2) + 2
    middle = (low + high) / 2
    return [TurnedGrid((float(middle[0]), float(middle[1])), size, size, k * np.pi / 4) for k in range(4)]


def candidates(seen: View, pith: Pith | None) -> list[Candidate]:
    """Return the lines that may be cracks, dark ones first."""
    grey = _filled(luminance(seen.small.pixels), seen.inside)
    full_grey = luminance(seen.full.pixels).astype(np.uint8)
    found = []
    for grid in grids(seen, pith):
        dark, light = ridge_scores(grey, grid, LINE_WIDTHS, AVERAGED_ALONG)
        allowed = _allowed(seen, grid)
        for scores, is_light in ((dark, False), (light, True)):
            found += _traced(seen, grid, scores, allowed, full_grey, is_light)
    return found


def _traced(
    seen: View, grid: Grid, scores: Floats, allowed: Mask, full_grey: NDArray[np.uint8], light: bool
) -> list[Candidate]:
    worth = np.clip(scores - np.float32(DOUBT), GAP_SCORE, CEILING)
    worth[~allowed] = -5
    across_px = seen.diameter / seen.full.mm_per_px
    factor = seen.small.mm_per_px / seen.full.mm_per_px
    reach, slack = max(8, round(0.012 * across_px)), max(3, round(2 * factor + 1))
    paths = best_paths(worth, grid.wraps, bend=0.3, least=15, gap=20, apart=3)
    px = [seen.full.to_px(seen.small.to_mm(grid.to_px(2 * p.rows + 0.5, 2 * p.columns + 0.5))) for p in paths]
    lines = profiles(full_grey, px, reach, slack, light)
    return [
        Candidate(part, path.score / len(path.rows))
        for path, line in zip(paths, lines, strict=True)
        for part in _visible_parts(line, 0.006 * across_px)
        if part.length > LEAST_LENGTH * across_px and _stands_out(part)
    ]


def _stands_out(line: Profile) -> bool:
    """Tell whether a line is worth a closer look: a third of it clears the texture."""
    return bool((line.depth > 2.5 * line.noise).mean() > 0.3)


def _visible_parts(line: Profile, window: float) -> list[Profile]:
    """Return the stretches of a line where it stands out from the wood beside it, however the search ran on."""
    reach = max(2, round(window / line.step))
    kernel = np.hanning(2 * reach + 3)[1:-1]
    clear = np.convolve(np.pad(line.depth, reach, mode="edge"), kernel / kernel.sum(), "valid") / line.noise
    level = max(1.5, 0.35 * float(np.percentile(clear, 85)))
    pieces = worthy_pieces(np.clip(clear / level - 1, -1, 1), least=2 * reach, gap=6 * reach)
    return [line.part(start, stop) for start, stop, _ in pieces]


def _allowed(seen: View, grid: Grid) -> Mask:
    """Return the cells of the search on the wood, a little way in from its edge."""
    import cv2

    rim = max(3, round(0.004 * seen.diameter / seen.small.mm_per_px))
    inner = cv2.erode(seen.inside.astype(np.uint8), np.ones((2 * rim + 1, 2 * rim + 1), np.uint8))
    x, y = grid.maps(0, grid.rows, grid.columns, 0)
    cells = cv2.remap(inner, np.ascontiguousarray(x[::2, ::2]), np.ascontiguousarray(y[::2, ::2]), cv2.INTER_NEAREST)
    return np.asarray(cells > 0)


def _filled(grey: Floats, inside: Mask) -> Floats:
    """Return the picture with the surroundings replaced by the wood's local mean, so that its edge is no line."""
    import cv2

    shrunk = cv2.erode(inside.astype(np.uint8), np.ones((5, 5), np.uint8)).astype(np.float32)
    return np.where(shrunk > 0, grey, blurred_within(grey, shrunk, 12.0)).astype(np.float32)
