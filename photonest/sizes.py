"""The standard measures of a face, from its outline, pith and defects."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from photonest.model import Crack, Defect, Diameters, Outline, Pith, Points, Size
from photonest.nest import largest_clear_circle


def centroid(points: Points) -> tuple[float, float]:
    """Return the centroid of a simple polygon.

    >>> centroid(((0, 0), (4, 0), (4, 2), (0, 2)))
    (2.0, 1.0)
    """
    x, y = np.asarray(points, dtype=float).T
    cross = x * np.roll(y, -1) - np.roll(x, -1) * y
    return (
        float(((x + np.roll(x, -1)) * cross).sum() / (3 * cross.sum())),
        float(((y + np.roll(y, -1)) * cross).sum() / (3 * cross.sum())),
    )


def area(points: Points) -> float:
    """Return the area of a simple polygon by the shoelace formula."""
    x, y = np.asarray(points, dtype=float).T
    return float(abs((x * np.roll(y, -1) - np.roll(x, -1) * y).sum()) / 2)


def caliper_diameters(points: Points) -> tuple[float, float]:
    """Return the greatest and the least distance between parallel tangents.

    The least one has a tangent along an edge of the convex hull; the greatest is between two of its corners.

    >>> caliper_diameters(((0, 0), (4, 0), (4, 3), (0, 3)))
    (5.0, 3.0)
    """
    import shapely

    hull = np.asarray(shapely.MultiPoint(list(points)).convex_hull.exterior.coords)[:-1]
    edges = np.roll(hull, -1, axis=0) - hull
    normals = np.column_stack([edges[:, 1], -edges[:, 0]]) / np.linalg.norm(edges, axis=1, keepdims=True)
    widths: NDArray[np.float64] = np.ptp(hull @ normals.T, axis=0)
    spans = np.linalg.norm(hull[:, None] - hull[None], axis=2)
    return float(spans.max()), float(widths.min())


def diameters(points: Points) -> Diameters:
    """Return the diameters and the area inside a simple polygon."""
    greatest, least = caliper_diameters(points)
    inside = area(points)
    return Diameters(greatest, least, float(np.sqrt(4 * inside / np.pi)), inside)


def looks_like_two_pieces(points: Points, radius: float) -> bool:
    """Return whether an outline has necks, lobes or dents that a single log, slice or blank hardly has.

    Something beside the wood taken for a part of it leaves a neck. An opening by half the radius of the largest circle
    inside cuts off what hangs on a neck (Serra 1982); the share of the convex hull that is filled tells dents. The
    limits stand above those of the fluted and part-hidden log ends seen in real photos.

    Parameters
    ----------
    points : points
        A simple polygon.
    radius : float
        Of the largest circle inside, in mm.

    Examples
    --------
    >>> looks_like_two_pieces(((0, 0), (90, 0), (90, 90), (0, 90)), 45.0)
    False
    """
    import shapely

    shape = shapely.Polygon(np.asarray(points))
    opened = shape.buffer(-radius / 2).buffer(radius / 2)
    return bool(opened.area < 0.945 * shape.area or shape.area < 0.94 * shape.convex_hull.area)


def measure_size(outline: Outline, pith: Pith | None, cracks: tuple[Crack, ...], defects: tuple[Defect, ...]) -> Size:
    """Return the standard measures of a face.

    Eccentricity is the pith offset in percent of the mean diameter (EN 1310 convention, from memory); ovality the
    difference of the greatest and least diameter in percent of the greatest (ISO 19474). Diameters include the bark;
    the circles lie in the wood under bark where that is known.
    """
    whole = diameters(outline.points)
    offset = None
    obstacles: list[Points] = [crack.path for crack in cracks if crack.status != "dismissed"]
    obstacles += [(*defect.outline, defect.outline[0]) for defect in defects if defect.status != "dismissed"]
    if pith is not None:
        offset = float(np.linalg.norm(np.subtract(pith.point, centroid(outline.points))))
        if pith.inside:
            obstacles.append((pith.point,))
    return Size(
        max_diameter=whole.max_diameter,
        min_diameter=whole.min_diameter,
        mean_diameter=whole.mean_diameter,
        ovality_pct=100 * (whole.max_diameter - whole.min_diameter) / whole.max_diameter,
        pith_offset=offset,
        eccentricity_pct=None if offset is None else 100 * offset / whole.mean_diameter,
        area=whole.area,
        inscribed_circle=largest_clear_circle(outline.wood, []),
        clear_circle=largest_clear_circle(outline.wood, obstacles),
        under_bark=diameters(outline.under_bark) if outline.under_bark is not None else None,
    )
