"""The side of the piece below its face, where the camera looks onto it: no part of the face, however like it.

What lies z below the face shows at q where the face shows at q - z slant, `slant` being how far the line of sight runs
along the face, towards the camera, for each mm of depth. The edge of the face thus shows within the edge of the whole
piece as the same line again, moved by as many mm of depth all along: texture, bark and cracks have no such edge.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import Mask, sampled
from photonest.outline.lines import at_frame, away_from
from photonest.outline.strip import Ready, outward_normals
from photonest.planar import Path, evenly, mean_diameter, polygon_area

RAYS = 720
LEAST_SLANT = 0.05  # three degrees; a side seen more squarely hardly shows
NEAR, ELSEWHERE = 0.4, 0.1  # shares of the greatest slant across the edge from which on a side shows, up to which not
ROUND = 0.75  # of the least circle about it that a whole piece fills: an ellipse four by three does
LEFT = 0.75  # of the bark elsewhere, at least
BARE = 0.006  # mean diameters: bark thinner than this is none
STEP, FIRST, LAST, HALF = 0.002, 0.012, 0.2, 0.008  # mean diameters: depths as they show where the slant is greatest
LAST_SAWN = 0.45  # of an angular piece
PART = 24  # rays that are taken together
CLEAR, CLEAR_BESIDE, EVERYWHERE, LEAST_CHANGE = 5.0, 1.7, 0.7, 5.0
CLEAR_SAWN, SAWN_EVERYWHERE, CLEAREST = 2.5, 0.75, 6.0  # of an angular piece; clearer than the last counts no more


Camera = tuple[float, float, float]
"""Where the camera is, in mm: above which point of the face, and how far."""


class Side(NamedTuple):
    """The side of a piece as it shows to a camera: how deep it is in mm."""

    depth: float
    camera: Camera


def side_of(ready: Ready, edge: Path, wood: Path | None, camera: Camera | None) -> Side | None:
    """Return the side that shows within an edge in mm, if any does; none is sought without a camera.

    Parameters
    ----------
    ready : Ready
        The picture about the edge.
    edge : ndarray, shape (n, 2)
        The edge of the piece as it shows.
    wood : ndarray, shape (n, 2), or None
        The edge of the wood under bark: of the bark, about as much is left as elsewhere about the piece.
    """
    if camera is None:
        return None
    from scipy.ndimage import gaussian_filter1d

    size = mean_diameter(edge)
    base = gaussian_filter1d(evenly(edge, RAYS), 2, axis=0, mode="wrap")
    slant, across = slant_at(base, camera), _across(base, camera)
    top = _greatest(across)
    if top < LEAST_SLANT:
        return None
    rays = np.flatnonzero(across > NEAR * top)
    whole = _whole(base)
    depths = np.arange(0.0, LAST if whole else LAST_SAWN, STEP) * size / top
    x, y = np.moveaxis(ready.flat.to_px((base[rays, None] - slant[rays, None] * depths[:, None]).reshape(-1, 2)), -1, 0)
    shape = len(rays), len(depths)
    change = np.stack([_change(sampled(plane, x.reshape(shape), y.reshape(shape))) for plane in ready.lab], axis=2)
    parts = np.array([
        np.linalg.norm(change[k : k + PART].mean(axis=0), axis=1) for k in range(0, len(rays) - PART // 2, PART)
    ])  # fmt: skip
    possible = depths * top >= FIRST * size
    if not whole:
        sawn = _all_along(parts, possible)
        return None if sawn is None else Side(float(depths[sawn]), camera)
    found = np.median(parts, axis=0)
    seen = _seen(ready, possible, base, wood, across, depths, top, size)
    if not seen.depths.any():
        return None
    at = int(np.where(seen.depths, found, 0.0).argmax())
    clear = float(found[at] / (np.median(found[possible]) + 0.1))
    everywhere = float(np.mean(parts[:, at] > seen.twice * np.median(parts[:, possible], axis=1)))
    if found[at] < LEAST_CHANGE or clear < seen.clear or everywhere < EVERYWHERE or not _peak(found, at):
        return None
    return Side(float(depths[at]), camera)


def _all_along(parts: NDArray[np.float64], possible: Mask) -> int | None:
    """Return the depth at which an angular piece changes all along, as the number of a column; None where none does.

    What is sawn off a round piece has bark here and none there, so that bark elsewhere tells nothing of bark here;
    its straight sides show the more alike.
    """
    clear = parts / (np.median(parts[:, possible], axis=1, keepdims=True) + 0.1)
    middle = np.where(possible, np.median(np.minimum(clear, CLEAREST), axis=0), 0.0)
    at = int(middle.argmax())
    everywhere = float(np.mean(clear[:, at] > 2.0))
    enough = middle[at] >= CLEAR_SAWN and everywhere >= SAWN_EVERYWHERE and np.median(parts[:, at]) > LEAST_CHANGE
    return at if enough and _peak(middle, at) else None


class _Seen(NamedTuple):
    """Depths that the bark allows, and how clear an edge must be there: in all, and in a part for it to count."""

    depths: Mask
    clear: float
    twice: float


def _seen(
    ready: Ready,
    possible: Mask,
    base: Path,
    wood: Path | None,
    across: NDArray[np.float64],
    depths: NDArray[np.float64],
    top: float,
    size: float,
) -> _Seen:
    """Return what may be the side of a round piece: it leaves most of the bark that the rest of it has.

    Where what looks like bark is much thicker than elsewhere, less must speak for an edge that leaves as much.
    """
    near, rest = across > NEAR * top, (across < ELSEWHERE * top) & ~at_frame(ready.flat, base)
    free = _Seen(possible, CLEAR, 2.0)
    if wood is None or not rest.any():
        return free
    thick = away_from(base, wood)
    middle, most = np.quantile(thick[rest], [0.5, 0.75])
    if most < BARE * size:
        return free
    left = np.median(thick[near, None] - across[near, None] * depths, axis=0)
    if middle > BARE * size and np.median(thick[near]) > 1.4 * middle + 0.01 * size:
        return _Seen(possible & (np.abs(left / middle - 1) < 0.4), CLEAR_BESIDE, 1.3)
    return _Seen(possible & (left > LEFT * most), CLEAR, 2.0)


def _whole(edge: Path) -> bool:
    """Return whether a piece is round all about."""
    import shapely

    circle = np.pi * float(shapely.minimum_bounding_radius(shapely.LinearRing(edge))) ** 2
    return polygon_area(edge) > ROUND * circle


def _peak(values: NDArray[np.float64], at: int) -> bool:
    return 0 < at < len(values) - 1 and bool(values[at] >= max(values[at - 1], values[at + 1]))


def slant_at(points: Path, camera: Camera) -> NDArray[np.float64]:
    """Return how far lines of sight run along the face at points of it, towards the camera, for each mm of depth."""
    return np.asarray((np.array(camera[:2]) - points) / camera[2])


def steepest(edge: Path, camera: Camera | None) -> float:
    """Return the greatest slant across an edge, where the side of the piece would show most; 0 where none is known."""
    return 0.0 if camera is None else max(0.0, _greatest(_across(evenly(edge, RAYS), camera)))


def _across(edge: Path, camera: Camera) -> NDArray[np.float64]:
    return np.asarray((slant_at(edge, camera) * outward_normals(edge, 6)).sum(axis=1))


def _greatest(across: NDArray[np.float64]) -> float:
    return float(np.quantile(across, 0.97))


def above(edge: Path, side: Side) -> Path:
    """Return the edge of the face, given that of what shows of the face and the side."""
    import shapely

    whole = shapely.Polygon(edge).buffer(0)
    moved = shapely.Polygon(edge - slant_at(edge, side.camera) * side.depth).buffer(0)
    face = max(shapely.get_parts(whole.intersection(moved)), key=lambda part: float(part.area), default=whole)
    return np.asarray(face.exterior.coords)[:-1]


def _change(rows: NDArray[np.float32]) -> NDArray[np.float64]:
    """Return how much the mean over `HALF` beyond each step differs from that before it; nothing at the ends."""
    half = round(HALF / STEP)
    total = np.cumsum(np.pad(rows.astype(float), ((0, 0), (1, 0))), axis=1)
    means = (total[:, half:] - total[:, :-half]) / half
    change = np.zeros(rows.shape)
    change[:, half : rows.shape[1] - half + 1] = means[:, half:] - means[:, :-half]
    return change
