"""Rings whose centres drift: one family of ellipses fitted to the directions, and through it the pith.

Growth is seldom even, so the outer rings are centred off the pith, the more the larger they are: a fit of one common
centre to the whole disc misses the pith by several percent of the diameter. Here the ring that passes a point at the
distance rho has its centre at c + a rho, and all rings share one oval shape; c is the pith. For rho -> 0 and no oval
this is the classical least-squares meeting point of the ring normals.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.pith.directions import Directions
from photonest.planar import grid

CENTRE, DRIFTING, OVAL = 2, 4, 6  # how many of the parameters are free
RIVALS = 3  # places looked at where the first is doubtful
CHANCE = 0.2  # share of the lines that rings and rays together get for nothing, as measured


class Fit(NamedTuple):
    """A family of rings: (cx, cy, drift x, drift y, oval, oval at 45 degrees), the centre in units of `unit`."""

    parameters: NDArray[np.float64]
    unit: float

    @property
    def centre(self) -> NDArray[np.float64]:
        """The pith in pixels."""
        return self.parameters[:2] * self.unit


class Vote(NamedTuple):
    """Where most lines point: the place, whether they are rays or both rather than rings alone, and their share."""

    place: NDArray[np.float64]
    rays: bool
    share: float


def votes(
    seen: Directions, low: NDArray[np.float64], high: NDArray[np.float64], reach: float, count: int = 28
) -> list[Vote]:
    """Return the points of a grid between two corners that most lines speak for, as rings, rays or both, best first.

    Wood without visible rings often shows its rays, which run to the pith: lines may point there across themselves or
    along, or some across and some along. What lies within about `reach` of a place counts twice, for rings far off may
    be centred elsewhere. Two votes are half of `reach` apart at least.
    """
    some = slice(None, None, max(1, len(seen.points) // 1000))
    points, across, weights = seen.points[some], seen.across[some], seen.weights[some].astype(np.float32)
    places = grid(low, high, count)
    middle = points.mean(axis=0)
    at, of, ways = ((v - m).astype(np.float32) for v, m in ((places, middle), (points, middle), (across, 0.0)))
    apart = np.maximum((at**2).sum(axis=1)[:, None] + (of**2).sum(axis=1) - 2 * (at @ of.T), 1.0)
    cosine = np.minimum((at @ ways.T - (of * ways).sum(axis=1)) ** 2 / apart, 1.0)
    far = weights * np.minimum(apart / 100, 1.0)
    close = far / (1 + apart / np.float32(reach**2)) ** 2
    total = close.sum(axis=1)
    total = np.maximum(total, 0.25 * total.max())
    rings, rays = (
        (hit * far).sum(axis=1) / far.sum(axis=1) + (hit * close).sum(axis=1) / total
        for hit in (np.square(np.square(cosine)), np.square(np.square(1 - cosine)))
    )
    scores = np.array([rings, rays, rings + rays - 2 * CHANCE])
    found = []
    for _ in range(RIVALS):
        kind, k = np.unravel_index(int(scores.argmax()), scores.shape)
        found.append(Vote(places[k], bool(kind > 0), float(scores[kind, k]) / 2))
        scores[:, ((places - places[k]) ** 2).sum(axis=1) < (reach / 2) ** 2] = -1.0
    return found


class _Rings(NamedTuple):
    """A family's rings at n points.

    With d the drift and S the oval's matrix, a point at the offset o from the centre lies on the ring of the size rho
    that solves |S^1/2 q| = rho, where q = o - rho d runs to it from the ring's own middle; the ring's normal there runs
    along S q.
    """

    shape: NDArray[np.float64]
    """S."""
    steep: NDArray[np.float64]
    """S d."""
    root: NDArray[np.float64]
    """That of the quadratic equation for rho, shape (n,)."""
    rho: NDArray[np.float64]
    reach: NDArray[np.float64]
    """q, shape (2, n)."""


def _rings(parameters: NDArray[np.float64], unit: float, points: NDArray[np.float64]) -> _Rings:
    x, y, *drift, oval, slant = parameters
    offset = np.array([points[:, 0] - x * unit, points[:, 1] - y * unit])
    shape = np.array([[1 + oval, slant], [slant, 1 - oval]])
    steep = shape @ drift
    square = min(float(steep @ drift), 0.8)
    mixed = steep @ offset
    root = np.sqrt(np.maximum(mixed**2 + (1 - square) * (offset * (shape @ offset)).sum(axis=0), 1e-9))
    rho = (root - mixed) / (1 - square)
    return _Rings(shape, steep, root, rho, offset - np.array(drift)[:, None] * rho)


class _Sines(NamedTuple):
    """The sines of the angles between directions and normals, shape (n,), and their derivatives by the normals."""

    sines: NDArray[np.float64]
    lever: NDArray[np.float64]


def _sines(rings: _Rings, unit: float, seen: Directions) -> _Sines:
    normal = rings.shape @ rings.reach
    length = np.sqrt((normal**2).sum(axis=0) + (0.005 * unit) ** 2)
    along = np.array([-seen.across[:, 1], seen.across[:, 0]])
    sines = (along * normal).sum(axis=0) / length
    return _Sines(sines, (along - sines / length * normal) / length)


def residuals(parameters: NDArray[np.float64], unit: float, seen: Directions) -> NDArray[np.float64]:
    """Return the sine of the angle between each direction and the normal of the family's ring through its point."""
    return _sines(_rings(parameters, unit, seen.points), unit, seen).sines


def residuals_and_slopes(
    parameters: NDArray[np.float64], unit: float, seen: Directions, free: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the sines, shape (n,), and their derivatives by the first `free` parameters, shape (free, n)."""
    rings = _rings(parameters, unit, seen.points)
    sines, lever = _sines(rings, unit, seen)
    # any change moves a normal by itself, and by the change of rho that the quadratic equation asks for
    by_rho = (rings.steep @ lever) / (-2 * rings.root) * rings.reach
    slopes = np.empty((OVAL, len(sines)))
    slopes[:CENTRE] = -unit * (rings.shape @ (lever + 2 * by_rho))
    slopes[CENTRE:DRIFTING] = slopes[:CENTRE] * (rings.rho / unit)  # drift moves a ring's middle by rho times as much
    if free > DRIFTING:
        (x, y), (u, v) = rings.reach, lever + by_rho
        slopes[DRIFTING:] = u * x - v * y, u * y + v * x
    return sines, slopes[:free]


def agreement(seen: Directions, parameters: NDArray[np.float64], unit: float) -> float:
    """Return the share of the lines that run along a family's rings or its rays, to 12 degrees; chance gives 0.26."""
    across = np.abs(residuals(parameters, unit, seen))
    return float(np.average((across < 0.2) | (across > 0.98), weights=seen.weights))


def fit(seen: Directions, start: NDArray[np.float64], unit: float, free: int, scale: float = 0.15) -> Fit:
    """Fit the first `free` parameters by robust least squares (Geman & McClure weights), the others held at `start`.

    Drift and oval are held near 0 by a weak prior, as if a fiftieth and a twentieth of the directions spoke for it.
    """
    parameters = np.array(start, dtype=float)
    prior = np.array([0.0, 0.0, 0.02, 0.02, 0.05, 0.05])[:free] * len(seen.points)
    normal_matrix = np.eye(free)
    misses, slopes = residuals_and_slopes(parameters, unit, seen, free)
    for _ in range(10):
        weights = seen.weights / (1 + (misses / scale) ** 2) ** 2
        normal_matrix = (slopes * weights) @ slopes.T + np.diag(prior) + 1e-6 * np.eye(free)
        pull = slopes @ (weights * misses) + prior * parameters[:free]
        change = np.clip(-np.linalg.solve(normal_matrix, pull), -0.1, 0.1)
        parameters[:free] += change
        misses, slopes = residuals_and_slopes(parameters, unit, seen, free)
        if np.abs(change).max() < 3e-4:
            break
    return Fit(parameters, unit)
