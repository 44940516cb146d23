"""Where cracks may run: candidate lines on the face, as paths of pixels, with what the network made of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photonest.cracks.network import Likeness, likeness
from photonest.cracks.paths import GridPath, best_paths
from photonest.cracks.profiles import Profile, are_light, profiles, ranked
from photonest.cracks.strips import CELL, Floats, Grid, PolarGrid, RingGrid, TurnedGrid, cells
from photonest.imaging import polygon_mask, usable_part
from photonest.model import FlatPhoto, Outline, Pith
from photonest.planar import mean_diameter
from photonest.resizing import cropped, reduced

MEASURE_DIAMETER_PX = 3600  # beyond, more pixels tell nothing more of a line's width
LEAST_LENGTH = (
    0.015  # of the diameter: shorter lines, and those no deeper in the wood, are left to the plan's clearance
)
DOUBTFUL, ODDS_PER_SCORE = np.float32(-3.0), np.float32(2.0)  # log odds that speak neither way; worth one score
GAP_SCORE, CEILING, NEVER = -1.5, 1.0, np.float32(-5.0)
EDGE = 0.004  # of the diameter: nothing is looked for so near the edge
BESIDE = 0.012  # nor so near what lies on the wood, whose own edge looks like a crack's
LEAST_SUM = 8.0  # of scores along a path
MANY_ROUNDS = 4  # about a pith checks crowd, and of some only the third round finds what a better one passed by
HEART = 0.03  # of the diameter: so near the pith what goes round it is no ring shake
ENDS = -1.0  # log odds to which a line is followed: higher, more tips lie beyond the margin; lower, more beside a crack
EVENED = 0.005  # of the diameter: what they are averaged over
TAIL = 0.35  # of the log odds of a line's surer places


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
class Candidate:
    """A line that may be a crack.

    Attributes
    ----------
    profile : Profile
        What lies across it, in pixels of `View.full`.
    odds : ndarray, shape (n,)
        Log odds of a crack at each of its points, as the network sees it.
    """

    profile: Profile
    odds: NDArray[np.float32]

    def part(self, start: int, stop: int) -> Candidate:
        """Return the stretch between two points."""
        return Candidate(self.profile.part(start, stop), self.odds[start:stop])


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
    like = likeness(seen.full, seen.outline, seen.diameter, centre)
    inner, deep = (_inner(like.flat, seen, depth) for depth in (EDGE, LEAST_LENGTH))
    found = []
    for grids in _grids(like.flat, seen, centre):
        scores = [_scores(like, inner, grid, seen.diameter / like.flat.mm_per_px) for grid in grids]
        rounds = MANY_ROUNDS if isinstance(grids[0], PolarGrid) else 2
        paths = best_paths(scores, grids[0].wraps, bend=0.3, least=LEAST_SUM, gap=20, apart=3, rounds=rounds)
        for grid, lines in zip(grids, paths, strict=True):
            found += _measured(seen, like, grid, [line for line in lines if _reaches(line, grid, deep)])
    return found


def _reaches(line: GridPath, grid: Grid, deep: NDArray[np.uint8]) -> bool:
    """Tell whether a line comes anywhere as deep into the wood as that: what runs along its edge is bark."""
    x, y = (np.asarray(np.round(places), np.int64) for places in grid.at(line.rows, line.columns))
    return bool(deep[y.clip(0, len(deep) - 1), x.clip(0, deep.shape[1] - 1)].any())


def _scores(like: Likeness, inner: NDArray[np.uint8], grid: Grid, diameter_px: float) -> Floats:
    import cv2

    x, y = cells(grid)
    scores: Floats = np.clip((like.at(x, y) - DOUBTFUL) / ODDS_PER_SCORE, GAP_SCORE, CEILING) * grid.steps
    scores[cv2.remap(inner, x, y, cv2.INTER_NEAREST) == 0] = NEVER
    if isinstance(grid, RingGrid):
        scores[:, : round(HEART * diameter_px / CELL)] = NEVER
    return scores


def _inner(flat: FlatPhoto, seen: View, depth: float) -> NDArray[np.uint8]:
    """Return 1 on the wood, so many diameters and at least three pixels in from its edge and from what lies on it."""
    import cv2

    def eroded(part: NDArray[np.bool_], share: float) -> NDArray[np.uint8]:
        rim = max(3, round(share * seen.diameter / flat.mm_per_px))
        return np.asarray(cv2.erode(part.view(np.uint8), np.ones((2 * rim + 1, 2 * rim + 1), np.uint8)))

    inside = eroded(polygon_mask(flat.to_px(seen.outline), flat.pixels.shape[:2]), depth)
    return inside & eroded(usable_part(flat), max(depth, BESIDE)) if flat.references else inside


def _grids(flat: FlatPhoto, seen: View, pith: Pith | None) -> list[list[Grid]]:
    """Return the straightened pictures to search: about the pith, or turned four ways where there is none.

    Those of a list are of one size, to be searched together.
    """
    edge = flat.to_px(seen.outline)
    if pith is None:
        return [_turned(edge, np.arange(4) * np.pi / 4)]
    x, y = (float(v) for v in flat.to_px([pith.point])[0])
    rows = int(np.hypot(*(edge - (x, y)).T).max() / CELL) + 1
    # rings hardly stray from their radius: half as many bearings do
    return [[PolarGrid((x, y), rows, max(128, int(5 * rows)))], [RingGrid((x, y), max(128, int(2.5 * rows)), rows)]]


def _turned(edge: NDArray[np.float64], bearings: NDArray[np.float64]) -> list[Grid]:
    """Return grids along bearings, just large enough for the piece in each of them."""
    courses = [np.array([[np.cos(way), np.sin(way)], [-np.sin(way), np.cos(way)]]) for way in bearings]
    low, high = ([extreme((edge @ course.T), axis=0) for course in courses] for extreme in (np.min, np.max))
    rows, columns = (int(n) + 1 for n in (np.array(high) - low).max(axis=0) / CELL)
    middles = [(first + last) / 2 @ course for first, last, course in zip(low, high, courses, strict=True)]
    return [TurnedGrid((float(x), float(y)), rows, columns, way) for (x, y), way in zip(middles, bearings, strict=True)]


def _measured(seen: View, like: Likeness, grid: Grid, paths: Sequence[GridPath]) -> list[Candidate]:
    """Return the lines along paths over a grid on the network's picture."""
    flat, grey = like.flat, seen.grey.pixels
    reach, slack = max(8, round(0.018 * seen.diameter_px)), max(3, round(2 * flat.mm_per_px / seen.full.mm_per_px + 1))
    px = [seen.full.to_px(flat.to_mm(np.column_stack(grid.at(path.rows, path.columns)))) for path in paths]
    light = are_light(grey, px, reach, slack)
    found = []
    for way in (False, True):
        lines = [line for line, is_light in zip(px, light, strict=True) if is_light == way]
        for line in profiles(grey, lines, reach, slack, way):
            x, y = flat.to_px(seen.full.to_mm(line.path)).T
            one = _between_ends(Candidate(line, like.at(x[None], y[None])[0]), seen)
            one = _without_tails(one, int(2 * slack / line.step))
            if one.profile.length > LEAST_LENGTH * seen.diameter_px:
                found.append(one)
    return found


def _between_ends(one: Candidate, seen: View) -> Candidate:
    """Return a line from the first to the last place where the network sees a crack, if it does anywhere."""
    count = min(len(one.odds), max(1, round(EVENED * seen.diameter_px / one.profile.step)))
    framed = np.pad(one.odds, (count // 2, count - 1 - count // 2), mode="edge")
    seen_at = np.flatnonzero(np.convolve(framed, np.full(count, 1 / count), "valid") >= ENDS)
    return one.part(int(seen_at[0]), int(seen_at[-1]) + 1) if len(seen_at) > 3 else one


def _without_tails(one: Candidate, most: int) -> Candidate:
    """Return a line without the ends where the network, which sees no finer than a few pixels, is much less sure.

    At most `most` points go at either end: a check may fade slowly.
    """
    typical = ranked(one.odds, 0.85)
    clear = np.flatnonzero(one.odds >= TAIL * typical)
    if typical <= 0 or len(one.odds) < 4 * most:
        return one
    start, stop = min(int(clear[0]), most), max(int(clear[-1]) + 1, len(one.odds) - most)
    return one.part(start, stop)
