"""How far the tips of true cracks lie beyond what was found of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]
NEAR = 0.01  # of the diameter: what lies so near a crack is on it, what so near the edge of the wood has no free tip
STEP = 0.002


def tips(true: Sequence[Vector], found: Sequence[Vector], edge: Vector, diameter: float) -> Iterator[float]:
    """Yield for each free tip of a crack that is mostly found how far it lies beyond what was found, in mm.

    Below nothing where a found line goes on past it: by how far, until that meets another crack.
    """
    import shapely

    rim = shapely.LinearRing(edge)
    lines, cracks = ([shapely.LineString(path) for path in paths] for paths in (found, true))
    for k, crack in enumerate(cracks):
        zone = crack.buffer(NEAR * diameter)
        own = [line for line in lines if line.intersection(zone).length > 0.3 * min(line.length, crack.length)]
        near = shapely.unary_union(own).buffer(NEAR * diameter)
        if not own or crack.intersection(near).length < 0.5 * crack.length:
            continue
        others = shapely.unary_union(cracks[:k] + cracks[k + 1 :]).buffer(NEAR * diameter)
        on_it = [part for part in (_along(line, zone, diameter) for line in own) if len(part[1])]
        for tip in (shapely.Point(crack.coords[0]), shapely.Point(crack.coords[-1])):
            if rim.distance(tip) > NEAR * diameter:
                yield min((_short(crack, tip, *part, others, diameter) for part in on_it), key=lambda pair: pair[0])[1]


def _along(line: Any, zone: Any, diameter: float) -> tuple[Any, Vector]:
    """Return a line and how far along it lie its places within a zone."""
    import shapely

    at = np.linspace(0.0, line.length, max(2, int(line.length / (STEP * diameter))))
    return line, at[shapely.covers(zone, shapely.line_interpolate_point(line, at))]


def _short(crack: Any, tip: Any, line: Any, at: Vector, others: Any, diameter: float) -> tuple[float, float]:
    """Return how far along a crack its tip lies from a line that is on it at places `at`; the same less what is past.

    That counts only where the line reaches the tip.
    """
    import shapely
    from shapely.ops import substring

    away = np.abs(shapely.line_locate_point(crack, shapely.line_interpolate_point(line, at)) - crack.project(tip))
    last = float(at[away.argmin()])
    short = float(away.min())
    if short > NEAR * diameter:
        return short, short
    past = substring(line, line.project(tip), line.length if last > float(at.mean()) else 0.0)
    met = past.intersection(others)
    if met.is_empty or past.length == 0:
        return short, short - float(past.length)
    return short, short - float(past.project(shapely.Point(shapely.get_coordinates(met)[0])))
