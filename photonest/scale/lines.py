"""Straight lines in a picture.

White paper on pale wood has no outline that a threshold would find, but its edges are straight and long. Straight
segments are found by their gradients alone (von Gioi et al. 2012, as OpenCV has it) and joined into lines.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

LSD_SCALE = 0.8  # it makes the picture smaller by, so that neither noise nor the steps of a slanting edge break a line
LSD_SIGMA, LSD_STEP = 0.6, 1.2  # its blur; the least change in grey levels a pixel that it trusts
GRAIN_PX, MOST_GAIN, GAMMA = 5, 3.0, 0.8  # window that levels what is finer than edges; by how much light is spread
NEAR_PX = 1.5  # from a line, that a piece of it may end
MOST_PIECES, MOST_LINES = 1500, 350


@dataclass(frozen=True, eq=False)
class Lines:
    """Straight lines seen: their ends, shape (n, 2, 2), in pixels."""

    ends: Array

    @cached_property
    def step(self) -> Array:
        """From end to end, shape (n, 2)."""
        return np.asarray(self.ends[:, 1] - self.ends[:, 0])

    @cached_property
    def length(self) -> Array:
        """Shape (n,)."""
        return np.asarray(np.linalg.norm(self.step, axis=1))

    @cached_property
    def along(self) -> Array:
        """Unit vectors, shape (n, 2)."""
        return self.step / self.length[:, None]

    def picked(self, which: NDArray[np.int_] | NDArray[np.bool_]) -> Lines:
        """Return some of them."""
        return Lines(self.ends[which])


def straight_segments(pixels: NDArray[np.uint8]) -> Lines:
    """Return straight edges of an RGB picture by brightness and by two differences of colours.

    Where a card or paper is as light as what it lies on, it is seldom of its colour too; and what is rough in
    brightness, such as rings and bark, is smooth in colour.
    """
    import cv2

    picture = evened(pixels)
    red, green, blue = (picture[..., k].astype(np.int16) for k in range(3))
    detector = cv2.createLineSegmentDetector(cv2.LSD_REFINE_NONE, LSD_SCALE, LSD_SIGMA, LSD_STEP)
    seen = [cv2.cvtColor(picture, cv2.COLOR_RGB2GRAY)]
    seen += [np.clip(one - other + 128, 0, 255).astype(np.uint8) for one, other in ((red, green), (green, blue))]
    found = [detector.detect(np.ascontiguousarray(picture))[0] for picture in seen]
    ends = [np.reshape(part, (-1, 2, 2)) for part in found if part is not None]
    return Lines(np.concatenate(ends).astype(float) if ends else np.zeros((0, 2, 2)))


def evened(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return an RGB picture without grain, sawdust and figures, its tones spread over all that there are."""
    import cv2

    smooth = cv2.medianBlur(np.ascontiguousarray(pixels), GRAIN_PX)
    low, high = np.percentile(smooth[::4, ::4], [0.5, 99.5])
    tone = np.clip((np.arange(256) - low) / max(high - low, 255 / MOST_GAIN), 0, 1) ** GAMMA
    return np.asarray(cv2.LUT(smooth, np.round(255 * tone).astype(np.uint8)))


def joined(lines: Lines, shortest: float) -> Lines:
    """Return lines with pieces of one straight edge made one, the longest first, those too short left out.

    A piece joins the longest line that both its ends lie within 1.5 px of, if the gap is below half that line's length.
    """
    lines = lines.picked(lines.length > shortest / 3)
    lines = lines.picked(np.argsort(-lines.length, kind="stable")[:MOST_PIECES])
    whole, piece = _pairs_alike(lines)
    aside = np.stack([-lines.along[:, 1], lines.along[:, 0]], axis=1)
    at_start = np.abs(((lines.ends[piece, 0] - lines.ends[whole, 0]) * aside[whole]).sum(axis=1)) < NEAR_PX
    whole, piece = whole[at_start], piece[at_start]
    start, along, length = lines.ends[whole, 0], lines.along[whole], lines.length[whole]
    rest = lines.ends[piece] - start[:, None]
    off = np.abs(rest[..., 0] * -along[:, None, 1] + rest[..., 1] * along[:, None, 0]).max(axis=1)
    at = (rest * along[:, None]).sum(axis=2)
    low, high = at.min(axis=1), at.max(axis=1)
    near = (off < NEAR_PX) & (low < 1.5 * length) & (high > -0.5 * length)
    count = len(lines.ends)
    parent = np.arange(count)
    np.minimum.at(parent, piece[near], whole[near])  # numbers go down as lengths go up
    own = near & (parent[piece] == whole)
    belongs = np.where(parent == np.arange(count), parent, count)
    belongs[piece[own]] = whole[own]
    merged = _through(lines.picked(belongs < count), belongs[belongs < count])
    merged = merged.picked(merged.length >= shortest)
    return merged.picked(np.argsort(-merged.length, kind="stable")[:MOST_LINES])


def _through(lines: Lines, groups: NDArray[np.int_]) -> Lines:
    """Return for each group the straight line that fits its pieces best, each by its length, as long as all of them."""
    _, group = np.unique(groups, return_inverse=True)
    count = int(group.max()) + 1 if len(group) else 0

    def total(values: Array) -> Array:
        return np.asarray(np.bincount(group, lines.length * values, count), dtype=float)

    weight = total(np.ones(len(group)))
    middle = lines.ends.mean(axis=1)
    centre = np.stack([total(middle[:, k]) / weight for k in (0, 1)], axis=1)
    x, y = (middle - centre[group]).T
    u, v = lines.step.T  # a piece's own second moments are a twelfth of its step's square
    xx, yy, xy = total(x * x + u * u / 12), total(y * y + v * v / 12), total(x * y + u * v / 12)
    angle = 0.5 * np.arctan2(2 * xy, xx - yy)
    along = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    at = ((lines.ends - centre[group, None]) * along[group, None]).sum(axis=2)
    reach = np.zeros((count, 2))
    np.minimum.at(reach[:, 0], group, at.min(axis=1))
    np.maximum.at(reach[:, 1], group, at.max(axis=1))
    return Lines(centre[:, None] + reach[..., None] * along[:, None])


def _pairs_alike(lines: Lines) -> tuple[NDArray[np.int_], NDArray[np.int_]]:
    """Return pairs (longer, shorter) of lines of nearly one direction, each pair once."""
    angle = np.degrees(np.arctan2(lines.along[:, 1], lines.along[:, 0])) % 180
    width = 4.0
    wheel = np.floor(angle / width).astype(int)
    turns = round(180 / width)
    firsts, seconds = [], []
    for turn in range(turns):
        mine = np.flatnonzero(wheel == turn)
        near = np.flatnonzero((wheel == turn) | (wheel == (turn + 1) % turns) | (wheel == (turn - 1) % turns))
        a, b = (grid.ravel() for grid in np.meshgrid(mine, near, indexing="ij"))
        firsts.append(a[a < b])
        seconds.append(b[a < b])
    return np.concatenate(firsts), np.concatenate(seconds)
