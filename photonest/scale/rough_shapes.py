"""Shapes with four straight sides, roughly: seen by a network or closed by lines, their sides moved onto edges."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator
from functools import cached_property
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from photonest.model import Photo
from photonest.resizing import folded
from photonest.scale.camera import Array
from photonest.scale.edges import coarse_edge, coarse_edges, meet, normals_of
from photonest.scale.quads import SEARCH_PX, find_shapes
from photonest.scale.seen_markers import seen_markers
from photonest.scale.sight import SHEET, Proposal, proposed
from photonest.scale.tones import placed_by_tones, roughness, tone_odds

ROUGH_SHARE = 0.4  # of each side must be seen as an edge
ROUGH_PX = 1000  # least longer side, where the photo has it, of the picture that sides are first looked for in
LEAST_AREA, LONGEST = 0.002, 3.0  # of shapes looked at: share of the frame, and length over width
NEARLY_SAME = 0.001  # of the longer side, that corners may be moved by and need no second look where they were
# shapes looked at, seen and by lines; seen, where markers measure better. Of 185 drawn cards found, 172 are the sixth
# seen or before, 12 the eighth by lines or before, one the 15th
MOST_TRIED, FEW_SEEN = 16, 2
SEEN_REACH, LINES_REACH = 4.0, 2.5  # by how much sides may be off, in pixels of the picture searched for lines
ENOUGH_MARKERS = 4  # in sight, that a card or a sheet beside them is looked for only to see whether it agrees
BY_TONES, TONE_ROUNDS = 0.015, 3  # of the longer side, by which tones may move a side at once; how often
MOST_PLACED = 4  # shapes seen whose sides are laid by tones
# in pixels of the small picture: sides of the squares that roughness is taken over, how far it may move a side at once
# and how often; a smooth shape looks that much smaller at the last, for squares on the rough reach onto it
BY_ROUGHNESS, SMALLER_PX = (((5, 9), 15.0, 4), ((3, 3), 8.0, 1)), 1.2
FAR_SIDE = 0.12  # of a shape's depth, that a side may be off where its size and three other sides say it is


class Searched:
    """Shapes with four straight sides in a photo: as a network sees them, then as lines in a small picture close them.

    Cards and paper are both looked for in one photo: it is searched once, and each shape is moved onto edges once.
    """

    def __init__(self, pixels: NDArray[np.uint8], few: bool = False) -> None:
        self._few, self._pixels = few, pixels
        self._fold = max(1, max(pixels.shape) // ROUGH_PX)
        self.small = folded(pixels, self._fold)
        self._moved: dict[bytes, Array | None] = {}

    @cached_property
    def _proposed(self) -> list[Proposal]:
        return [one for one in proposed(self.small) if _is_worth_a_look(one.corners, self.small.shape)]

    @cached_property
    def _seen(self) -> list[Array]:
        return [one.corners for one in self._proposed]

    def seems_sheet(self, share: float) -> bool:
        """Whether the network takes something for a sheet that fills so much of the frame."""
        height, width = self.small.shape[:2]
        return any(one.kind == SHEET and area(one.corners) > share * width * height for one in self._proposed)

    @cached_property
    def _by_lines(self) -> tuple[list[Array], list[Array]]:
        quads, cut = find_shapes(self.small)
        return [quad for quad in quads if _is_worth_a_look(quad, self.small.shape)], list(cut)

    @property
    def cut(self) -> list[Array]:
        """Shapes cut by the frame: two corners each are seen."""
        return [] if self._few else [self._in_photo(corners) for corners in self._by_lines[1]]

    def shapes(self, wanted: Callable[[Array], bool]) -> Iterator[Array]:
        """Yield corners of shapes wanted, clockwise, to a pixel or two: with sides moved onto edges, and as they were.

        Parameters
        ----------
        wanted : callable
            Of corners to a few pixels, whether the shape is worth a closer look; asked when its turn comes.
        """
        yield from self._near(self._seen, wanted, SEEN_REACH, FEW_SEEN if self._few else MOST_TRIED)
        if not self._few:
            yield from self._near(self._by_lines[0], wanted, LINES_REACH, MOST_TRIED)

    def _near(self, quads: list[Array], wanted: Callable[[Array], bool], reach: float, most: int) -> Iterator[Array]:
        longer, looked_at = max(self.small.shape[:2]), 0
        for quad in quads:
            if looked_at == most or not wanted(self._in_photo(quad)):
                continue
            looked_at += 1
            key = quad.tobytes()
            if key not in self._moved:
                self._moved[key] = _moved(self.small, quad, max(3.0, reach * longer / SEARCH_PX))
            moved = self._moved[key]
            if moved is not None:
                yield self._in_photo(moved)
            if moved is None or np.abs(moved - quad).max() > NEARLY_SAME * longer:
                yield self._in_photo(quad)

    def placed(self, wanted: Callable[[Array], bool]) -> Iterator[Array]:
        """Yield corners of shapes that the network saw, their sides where their tones end; none beside markers.

        Before gravel, chips or grass, or where nothing but grain lies beside a side, lines tell little. What is smooth
        is told from grain of the same tone last.
        """
        tried: list[Array] = []
        seen = [self._in_photo(quad) for quad in ([] if self._few else self._seen[:MOST_PLACED])]
        for way, rough in itertools.product((self.by_tones, self.by_roughness), seen):
            corners = way(rough) if wanted(rough) else None
            if corners is not None and all(np.abs(corners - other).max() > self._fold for other in tried):
                tried.append(corners)
                yield corners

    def with_far_side(self, corners: Array, side: int, depth: float) -> Array | None:
        """Return corners with the side opposite to one moved onto the strongest edge about where it should be.

        Parameters
        ----------
        side : int
            The side trusted, with the directions of its two neighbours.
        depth : float
            About how long those are, over the length of that side.
        """
        a, b, c, d = np.roll(self._in_small(corners), -side, axis=0)
        reach = depth * float(np.linalg.norm(b - a))
        far = np.array([b + reach * (c - b) / np.linalg.norm(c - b), a + reach * (d - a) / np.linalg.norm(d - a)])
        edge = coarse_edge(self.small, far, FAR_SIDE * reach)
        if edge is None or edge[1] < ROUGH_SHARE:
            return None
        moved = np.array([a, b, meet(np.array([b, c]), edge[0]), meet(np.array([a, d]), edge[0])])
        return self._in_photo(np.roll(moved, side, axis=0)) if np.isfinite(moved).all() else None

    def by_tones(self, corners: Array) -> Array | None:
        """Return corners with each side moved to where the shape's own tones give way to those about it."""
        placed: Array | None = self._in_small(corners)
        reaches = [BY_TONES * max(self.small.shape)] * TONE_ROUNDS
        for pixels, reach in [*((self.small, reach) for reach in reaches), (self._pixels, 2.0 * self._fold)]:
            odds = None if placed is None else tone_odds(self.small, placed)  # learnt anew as the shape is moved
            if placed is None or odds is None:
                return None
            there = pixels is not self.small
            placed = placed_by_tones(pixels, self._in_photo(placed) if there else placed, odds, reach)
        return placed

    def by_roughness(self, corners: Array) -> Array | None:
        """Return corners with each side moved to where what is as light and as smooth as the shape ends."""
        there = self._in_small(corners)
        reach = np.ptp(there, axis=0) / 2 + sum(by * times for _, by, times in BY_ROUGHNESS)
        low, high = np.maximum(there.min(axis=0) - reach, 0).astype(int), (there.max(axis=0) + reach).astype(int)
        part, placed = self.small[low[1] : high[1], low[0] : high[0]], there - low
        for windows, by, times in BY_ROUGHNESS:
            picture = roughness(part, windows)
            for _ in range(times):
                odds = tone_odds(picture, placed)
                moved = None if odds is None else placed_by_tones(picture, placed, odds, by)
                if moved is None:
                    return None
                stays = bool(np.abs(moved - placed).max() < 1)
                placed = moved
                if stays:
                    break
        return self._in_photo(_grown(placed, SMALLER_PX) + low)

    def _in_small(self, corners: Array) -> Array:
        return np.asarray((corners + 0.5) / self._fold - 0.5)

    def _in_photo(self, corners: Array) -> Array:
        return np.asarray((corners + 0.5) * self._fold - 0.5)


def searched(photo: Photo) -> Searched:
    """Return the shapes with four straight sides in a photo; those seen at once where markers measure it better."""
    if photo not in _SEARCHED:
        few = len(seen_markers(photo).numbers) >= ENOUGH_MARKERS
        _SEARCHED[photo] = Searched(photo.pixels, few)
    return _SEARCHED[photo]


_SEARCHED: WeakKeyDictionary[Photo, Searched] = WeakKeyDictionary()  # nothing but answers worked out before


def _is_worth_a_look(quad: Array, shape: tuple[int, ...]) -> bool:
    return area(quad) > LEAST_AREA * shape[0] * shape[1] and 1 / LONGEST < looks(quad) < LONGEST


def _moved(pixels: NDArray[np.uint8], quad: Array, reach: float) -> Array | None:
    """Return a shape with its sides moved onto the strongest straight edges near them; None where one isn't there."""
    found = coarse_edges(pixels, np.stack([quad, np.roll(quad, -1, axis=0)], axis=1), reach)
    ends = [moved[0] for moved in found if moved is not None and moved[1] >= ROUGH_SHARE]
    if len(ends) < 4:
        return None
    corners = np.array([meet(ends[k - 1], ends[k]) for k in range(4)])
    return corners if np.isfinite(corners).all() and np.abs(corners - quad).max() < 4 * reach else None


def _grown(corners: Array, by: float) -> Array:
    """Return corners with every side moved outward by so many pixels."""
    sides = np.stack([corners, np.roll(corners, -1, axis=0)], axis=1)
    sides = sides + by * normals_of(sides)[:, None]
    return np.array([meet(sides[k - 1], sides[k]) for k in range(4)])


def area(corners: Array) -> float:
    """Return the area of a four-sided shape, positive where its corners run clockwise as seen."""
    (ax, ay), (bx, by), (cx, cy), (dx, dy) = corners.tolist()
    return float((cx - ax) * (dy - by) - (cy - ay) * (dx - bx)) / 2


def looks(corners: Array) -> float:
    """Return the length of sides 0 and 2 over that of sides 1 and 3, as seen."""
    a, b, c, d = corners.tolist()
    return math.sqrt(math.dist(a, b) * math.dist(c, d) / max(math.dist(b, c) * math.dist(d, a), 1e-9))
