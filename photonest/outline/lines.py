"""Closed lines: how far apart, how simple, and whether the photo ends where they run."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import Mask
from photonest.model import FlatPhoto, Points
from photonest.planar import Path, evenly, mean_diameter, polygon_centroid

NEAR_FRAME, CUT_RUN = 0.008, 0.075
"""Within so many mean diameters of the frame (a network sees no finer) an edge runs along it. A disc that only touches
the frame does so for 2 acos(1 - 2 x 0.008) / 2 pi = 5.7 % of its edge, one cut by a hundredth of it for 8.5 %."""


def at_frame(flat: FlatPhoto, edge: Path) -> Mask:
    """Return which of 720 even points of an edge lie where the photo ends."""
    points = flat.to_px(evenly(edge, 720))
    middle = polygon_centroid(points)
    step = NEAR_FRAME * mean_diameter(points) + 1.0
    away = points - middle
    beyond = np.round(points + step * away / np.maximum(np.hypot(*away.T), 1e-9)[:, None]).astype(int)
    height, width = flat.pixels.shape[:2]
    off = (beyond < 0).any(axis=1) | (beyond[:, 0] >= width) | (beyond[:, 1] >= height)
    if flat.covered is not None:
        off[~off] = ~flat.covered[beyond[~off, 1], beyond[~off, 0]]
    return np.asarray(off)


def longest_run(marked: Mask) -> float:
    """Return the longest run of marked points around a closed line, as a share of all.

    >>> longest_run(np.array([True, False, True, True]))
    0.75
    """
    if marked.all():
        return 1.0
    start = int((~marked).argmax())
    ends = np.flatnonzero(~np.append(np.roll(marked, -start), False))
    return float((np.diff(ends) - 1).max(initial=0) / len(marked))


def apart(line: Path, other: Path, points: int = 240) -> float:
    """Return the mean distance between two closed lines, the larger of both ways, at so many even points."""
    lines = evenly(line, points), evenly(other, points)
    return max(float(away_from(a, b).mean()) for a, b in (lines, lines[::-1]))


def away_from(points: Path, line: Path) -> NDArray[np.float64]:
    """Return how far points lie from a closed line, shape (n,); in single precision, which is much the quickest."""
    import cv2

    ring = line.astype(np.float32)[:, None]
    return np.abs([cv2.pointPolygonTest(ring, point, True) for point in points.tolist()])


def simple(path: Path) -> Path | None:
    """Return the path as a simple polygon: itself, or the largest part of what it encloses."""
    import shapely

    polygon = shapely.Polygon(path)
    if not polygon.is_valid:
        parts = shapely.get_parts(shapely.make_valid(polygon))
        areas = [part for part in parts if part.geom_type == "Polygon"]
        if not areas:
            return None
        polygon = shapely.Polygon(max(areas, key=lambda part: part.area).exterior)
    return np.asarray(polygon.exterior.coords)[:-1] if polygon.area > 0 else None


def as_points(path: NDArray[np.float64]) -> Points:
    """Return a path as the tuples that records keep."""
    return tuple((float(x), float(y)) for x, y in path)
