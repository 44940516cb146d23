"""Where cracks may run: candidate lines on the face, as paths of pixels, with what the search thought of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photonest.cracks.paths import GridPath, best_paths, worthy_pieces
from photonest.cracks.profiles import Profile, profiles
from photonest.cracks.ridges import ridge_scores
from photonest.cracks.strips import Grid, PolarGrid, RingGrid, TurnedGrid
from photonest.imaging import Mask, cropped, mean_diameter, polygon_mask, reduced
from photonest.model import FlatPhoto, Outline, Pith

MEASURE_DIAMETER_PX = 3600  # beyond, more pixels tell nothing more of a line's width
LEAST_LENGTH = 0.015  # of the diameter: shorter lines are left to the clearance of the plan
AVERAGED_ALONG = 9
GAP_SCORE, CEILING = -0.6, 2.0
LEAST_SUM = 8.0  # of scores along a path


@dataclass(frozen=True)
class Effort:
    """How finely one way of straightening is searched.

    Attributes
    ----------
    diameter_px : int
        Size at which the piece is searched; a line 0.1 % of 1400 pixels wide still darkens one.
    widths : tuple of int
        Line widths sought at that size, in pixels.
    doubt : float
        How far a line must stand out, in units of the local texture: rings are lines too.
    """

    diameter_px: int
    widths: tuple[int, ...]
    doubt: float


ACROSS_RINGS = Effort(1400, (1, 3, 7, 17), 0.85)
ALONG_RINGS = Effort(1000, (1, 3, 7), 1.3)
ANY_WAY = Effort(1000, (1, 3, 7, 13), 1.0)


@dataclass(frozen=True, eq=False)
class View:
    """The piece cut out of the photo.

    Attributes
    ----------
    full : FlatPhoto
        For measuring.
    grey : FlatPhoto
        The same, its pixels brightness alone, shape (height, width).
    outline : ndarray, shape (n, 2)
        Edge of the wood in mm.
    diameter : float
        Mean diameter in mm.
    """

    full: FlatPhoto
    grey: FlatPhoto
    outline: NDArray[np.float64]
    diameter: float

    @property
    def diameter_px(self) -> float:
        """Mean diameter in pixels of `full`."""
        return self.diameter / self.full.mm_per_px


@dataclass(frozen=True, eq=False)
class Sheet:
    """The piece at the size of one search.

    Attributes
    ----------
    flat : FlatPhoto
    grey : ndarray of uint8
        Its brightness, filled smoothly outside the wood so that the edge is no line.
    inner : ndarray of bool
        Pixels on the wood, a little way in from its edge.
    """

    flat: FlatPhoto
    grey: NDArray[np.uint8]
    inner: Mask


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
    import cv2

    edge = np.asarray(outline.wood, dtype=float)
    margin = 4 * flat.mm_per_px
    full = cropped(flat, edge.min(axis=0) - margin, edge.max(axis=0) + margin)
    diameter = mean_diameter(edge)
    share = MEASURE_DIAMETER_PX * full.mm_per_px / diameter
    full = reduced(full, max(full.pixels.shape[:2]) * min(1.0, share))
    grey = replace(full, pixels=cv2.cvtColor(full.pixels, cv2.COLOR_RGB2GRAY), covered=None)
    return View(full, grey, edge, diameter)


def candidates(seen: View, pith: Pith | None) -> list[Candidate]:
    """Return the lines that may be cracks.

    About a pith they are sought across and along the rings. Without one, or about one outside the piece, which may be
    far off its mark, every way.
    """
    centre = pith if pith is not None and pith.inside else None
    efforts = (ACROSS_RINGS, ALONG_RINGS) if centre is not None else (ANY_WAY,)
    found, sheet = [], None
    for effort in efforts:
        sheet = sheet_at(seen, effort.diameter_px, sheet)
        for grid in _grids(sheet, seen, centre, effort):
            allowed = _allowed(sheet, grid)
            worth = []
            for scores in ridge_scores(sheet.grey, grid, effort.widths, AVERAGED_ALONG):
                worth.append(np.clip(scores - np.float32(effort.doubt), GAP_SCORE, CEILING))
                worth[-1][~allowed] = -5
            paths = best_paths(worth, grid.wraps, bend=0.3, least=LEAST_SUM, gap=20, apart=3, rounds=(2, 1))
            paths[1] = [path for path in paths[1] if path.score > 1.5 * LEAST_SUM]  # light cracks are rare
            for some, is_light in zip(paths, (False, True), strict=True):
                found += _traced(seen, sheet.flat, grid, some, is_light)
    return found


def sheet_at(seen: View, diameter_px: int, larger: Sheet | None = None) -> Sheet:
    """Return the piece at most `diameter_px` across, by way of a larger sheet where there is one."""
    import cv2

    source = larger.flat if larger else seen.grey
    share = min(1.0, diameter_px * source.mm_per_px / seen.diameter)
    flat = reduced(source, max(source.pixels.shape) * share)
    inside = polygon_mask(flat.to_px(seen.outline), flat.pixels.shape[:2]).view(np.uint8)
    rim = max(3, round(0.004 * seen.diameter / flat.mm_per_px))
    inner = cv2.erode(inside, np.ones((2 * rim + 1, 2 * rim + 1), np.uint8)) > 0
    certain = cv2.erode(inside, np.ones((5, 5), np.uint8))
    return Sheet(flat, _filled(flat.pixels, certain), np.asarray(inner))


def _filled(grey: NDArray[np.uint8], certain: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the picture with the wood near by in place of what lies outside it."""
    import cv2

    size = (grey.shape[1] // 4 + 1, grey.shape[0] // 4 + 1)
    wood = cv2.resize(grey * certain, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    share = cv2.resize(certain * np.uint8(255), size, interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    wood, share = (cv2.GaussianBlur(part, (0, 0), 3.0, borderType=cv2.BORDER_REFLECT) for part in (wood, share))
    near = np.clip(wood / np.maximum(share, 1e-3), 0, 255).astype(np.uint8)
    filled = cv2.resize(near, grey.shape[1::-1], interpolation=cv2.INTER_LINEAR)
    cv2.copyTo(grey, certain, filled)
    return np.asarray(filled)


def _grids(sheet: Sheet, seen: View, pith: Pith | None, effort: Effort) -> list[Grid]:
    """Return the straightened pictures to search: about the pith, or turned four ways where there is none."""
    edge = sheet.flat.to_px(seen.outline)
    if pith is None:
        return [_turned(edge, k * np.pi / 4) for k in range(4)]
    x, y = sheet.flat.to_px([pith.point])[0]
    radius = 2 * int(np.hypot(*(edge - (x, y)).T).max() / 2) + 2
    if effort is ALONG_RINGS:  # rings hardly stray from their radius: half as many bearings do
        return [RingGrid((float(x), float(y)), max(256, int(2 * np.pi * radius * 0.4) // 64 * 64), radius)]
    round_ = max(256, int(2 * np.pi * radius * 0.8) // 64 * 64)
    return [PolarGrid((float(x), float(y)), radius, round_)]


def _turned(edge: NDArray[np.float64], bearing: float) -> TurnedGrid:
    """Return the grid along a bearing that just holds the piece."""
    course = np.array([[np.cos(bearing), np.sin(bearing)], [-np.sin(bearing), np.cos(bearing)]])
    low, high = (edge @ course.T).min(axis=0), (edge @ course.T).max(axis=0)
    rows, columns = (2 * int(n) + 2 for n in (high - low) / 2)
    x, y = (low + high) / 2 @ course
    return TurnedGrid((float(x), float(y)), rows, columns, bearing)


def _traced(seen: View, flat: FlatPhoto, grid: Grid, paths: Sequence[GridPath], light: bool) -> list[Candidate]:
    """Return the visible stretches of paths over a grid on `flat`."""
    reach, slack = max(8, round(0.018 * seen.diameter_px)), max(3, round(2 * flat.mm_per_px / seen.full.mm_per_px + 1))
    px = [seen.full.to_px(flat.to_mm(grid.to_px(2 * p.rows + 0.5, 2 * p.columns + 0.5))) for p in paths]
    return [
        Candidate(part, path.score / len(path.rows))
        for path, line in zip(paths, profiles(seen.grey.pixels, px, reach, slack, light), strict=True)
        for part in _visible_parts(line, 0.006 * seen.diameter_px)
        if part.length > LEAST_LENGTH * seen.diameter_px and _stands_out(part)
    ]


def _stands_out(line: Profile) -> bool:
    """Tell whether a line is worth a closer look: a third of it clears the texture."""
    return bool((line.depth > 2.5 * line.noise).mean() > 0.3)


def _visible_parts(line: Profile, window: float) -> list[Profile]:
    """Return the stretches of a line where it stands out from the wood beside it, however the search ran on."""
    reach = max(2, round(window / line.step))
    kernel = np.hanning(2 * reach + 3)[1:-1]
    clear = np.convolve(np.pad(line.depth, reach, mode="edge"), kernel / kernel.sum(), "valid") / line.noise
    level = float(np.clip(0.35 * np.percentile(clear, 85), 1.5, 2.5))  # the thin end of a wide check is faint
    pieces = worthy_pieces(np.clip(clear / level - 1, -1, 1), least=2 * reach, gap=12 * reach)
    return [line.part(start, stop) for start, stop, _ in pieces]


def _allowed(sheet: Sheet, grid: Grid) -> Mask:
    """Return the cells of the search on the wood, a little way in from its edge."""
    import cv2

    x, y = grid.maps(0, grid.rows, grid.columns, 0, step=2)
    return np.asarray(cv2.remap(sheet.inner.astype(np.uint8), x, y, cv2.INTER_NEAREST) > 0)
