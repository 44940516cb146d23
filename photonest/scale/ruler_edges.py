"""The straight edges of a ruler: those along it, which its ticks are parallel to, and its ends."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import light
from photonest.model import Photo
from photonest.scale.camera import Array, mapped
from photonest.scale.combs import Comb
from photonest.scale.edges import Edge, coarse_edge, fine_edge
from photonest.scale.lines import LSD_SCALE, Lines, joined, straight_segments
from photonest.scale.tick_wave import projective

SEARCH_PX, SHORTEST, SMOOTH_PX = 640, 0.06, 0.7  # picture that lines are looked for in; line, as a share; blur
END_MM, ASKEW = 10.0, 0.12  # how far its end may be from its last tick; how far off square, as a slope
PARALLEL, PARALLEL_FAR = 0.004, 0.00012  # slope that an edge may be off, and by how much more per pixel away
BESIDE_PX = 3.0  # how far beside an edge light is looked at
END_SEEN = 0.85  # share of an end that must be straight: of less, something else may be a part
WIDEST_MM = 80.0  # ruler


def straight_lines(pixels: NDArray[np.uint8]) -> Lines:
    """Return straight lines in a picture, the longest first: what is edged in blue, or in evened tones."""
    import cv2

    small = pixels
    while max(small.shape) > 2 * SEARCH_PX:  # halving takes a fraction of the time that other ratios do
        small = cv2.resize(small, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    factor = min(1.0, SEARCH_PX / max(small.shape))
    small = cv2.resize(small, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA) if factor < 1 else small
    ratio = np.array(small.shape[1::-1]) / pixels.shape[1::-1]
    blue = cv2.GaussianBlur(np.ascontiguousarray(small[..., 2]), (0, 0), SMOOTH_PX)
    found = cv2.createLineSegmentDetector(cv2.LSD_REFINE_NONE, LSD_SCALE).detect(blue)[0]
    ends = [straight_segments(small).ends, *([] if found is None else [found.reshape(-1, 2, 2)])]
    lines = joined(Lines(np.concatenate(ends)), SHORTEST * SEARCH_PX)
    return Lines((lines.ends + 0.5) / ratio - 0.5)


def edges_along(photo: Photo, lines: Lines, comb: Comb, tick: float) -> list[Edge]:
    """Return the clearest straight edge on either side of the ticks that runs along the ruler, the nearer one first.

    What is parallel to the ruler meets its line where its ticks come infinitely close. Grain and scratches are straight
    too, but not quite parallel; less light changes across them than across the ruler's own edges.
    """
    length = len(comb.ticks)
    vanishing = -projective(comb.ticks)[2]  # one over the place
    rest = lines.ends - comb.start
    aside, at = rest @ comb.across, rest @ comb.along
    slope = np.diff(aside, axis=1)[:, 0] / np.diff(at, axis=1)[:, 0]
    middle = at.mean(axis=1)
    expected = -aside.mean(axis=1) * vanishing / (1 - middle * vanishing)
    parallel = np.abs(slope - expected) < PARALLEL + PARALLEL_FAR * np.abs(aside).max(axis=1)
    near = np.abs(aside).max(axis=1) < WIDEST_MM / tick * comb.pitch
    overlap = np.minimum(at.max(axis=1), length) - np.maximum(at.min(axis=1), 0)
    found: dict[bool, tuple[float, float, Edge]] = {}
    reach = max(3.0, 2.0 * max(photo.width, photo.height) / SEARCH_PX)
    for k in np.flatnonzero(parallel & near & (overlap > 0.3 * length)):
        moved = coarse_edge(photo.pixels, lines.ends[k], reach)
        if moved is None or moved[1] < 0.5:
            continue
        edge = fine_edge(photo.pixels, moved[0], 4.0, 0.04, pieces=16)
        if edge is None or edge.share < 0.5 or edge.error_px > 0.4:
            continue
        off = float((edge.px.mean(axis=0) - comb.start) @ comb.across) - comb.aside
        clear = change_across(photo, edge, comb.across)
        if clear > found.get(off > 0, (0.0,))[0]:
            found[off > 0] = clear, abs(off), edge
    return [edge for _, _, edge in sorted(found.values(), key=lambda one: one[1])]


def change_across(photo: Photo, edge: Edge, across: Array) -> float:
    """Return how much light changes from one side of an edge to the other, the mean of its points."""
    sides = []
    for step in (-BESIDE_PX, BESIDE_PX):
        x, y = np.rint(edge.px + step * across).astype(int).T
        x, y = np.clip(x, 0, photo.width - 1), np.clip(y, 0, photo.height - 1)
        sides.append(light(photo.pixels[y, x][None])[0].mean(axis=0))
    return float(np.linalg.norm(sides[1] - sides[0]))


def edges_across(photo: Photo, comb: Comb, tick: float, first: float, homography: Array, depth: float) -> list[Edge]:
    """Return the ruler's two ends, where they are seen as straight edges square to it.

    Parameters
    ----------
    depth : float
        How far the ruler reaches from its ticks' edge, in mm; negative the other way.
    """
    ends = []
    for number in (comb.ticks[0], comb.ticks[-1]):
        x = (number - first) * tick
        line = mapped(homography, np.array([[x, 0.1 * depth], [x, 0.9 * depth]]))
        moved = coarse_edge(photo.pixels, line, END_MM / tick * comb.pitch)
        if moved is None or moved[1] < 0.75:
            continue
        edge = fine_edge(photo.pixels, moved[0], 4.0, 0.03, pieces=12)
        if edge is None or edge.share < END_SEEN or edge.error_px > 0.4:
            continue
        drawn = mapped(np.asarray(np.linalg.inv(homography)), edge.px)
        if abs(np.polyfit(drawn[:, 1], drawn[:, 0], 1)[0]) < ASKEW:
            ends.append(edge)
    return ends


def y_of(homography: Array, edge: Edge) -> float:
    """Return how far across the ruler an edge lies, in mm."""
    return float(mapped(np.asarray(np.linalg.inv(homography)), edge.px)[:, 1].mean())
