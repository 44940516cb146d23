"""The most likely view of a chequered bar by the edges between its squares and its corners, some of them soiled.

Each edge or corner is weighed by how well it agrees with the rest, as if residuals came from a t distribution (Lange et
al. 1989): dust beside an edge moves it far more often than a normal error would.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.scale.camera import Array, Prior, View
from photonest.scale.edges import Edge
from photonest.scale.side_points import SIDE_SHARE, Side
from photonest.scale.sides import fit_sides

STRAY_PX = 0.05  # that a clean edge is off its place, give or take a common factor
SOILED = 0.6  # standard error of a corner over how far two windows about it disagree
USUAL_FACTOR, FACTOR_WEIGHT = 0.8, 8.0  # the factor expected, and how many residuals that expectation counts
HEAVY = 4.0  # degrees of freedom of the t distribution
ROUNDS = 3
LEAST_WEIGHT = 0.02
AGREE = 0.8  # an edge's stray, its turn and its pieces' errors overlap; measured on drawn bars


@dataclass(frozen=True, eq=False)
class Marks:
    """What is seen of a bar: sides, and for each an edge with its own error in pixels; a corner is one of one point."""

    sides: tuple[Side, ...]
    edges: tuple[Edge, ...]

    @property
    def own_px(self) -> Array:
        """Standard error of each edge as a whole, shape (n,), but for the common factor."""
        return np.hypot(STRAY_PX, SIDE_SHARE * np.array([edge.error_px for edge in self.edges]))

    @property
    def measures(self) -> NDArray[np.int_]:
        """How many numbers each one tells: an edge its place and its direction, a corner its place."""
        return np.array([2 if len(edge.px) > 1 else 1 for edge in self.edges])


def corner_marks(points: ArrayLike, closer: ArrayLike) -> tuple[list[Side], list[Edge]]:
    """Return corners on the bar's middle line as marks, by how far two windows about each disagree."""
    px = np.asarray(points, dtype=float)
    apart = np.linalg.norm(px - closer, axis=1)
    edges = [Edge(point[None], max(0.01, SOILED * off / SIDE_SHARE), 1.0) for point, off in zip(px, apart, strict=True)]
    return [Side((0.0, 1.0), 0.0)] * len(edges), edges


def fit_bar(
    prior: Prior, homography: Array, sides: Sequence[Side], edges: Sequence[Edge], middle_mm: tuple[float, float]
) -> tuple[View, View | None, float] | None:
    """Return the most likely view, the second most likely, and by how much marks stray in pixels; None without one."""
    marks = Marks(tuple(sides), tuple(edges))
    own, factor = marks.own_px, 1.5
    weight = np.ones(len(own))
    for left in reversed(range(ROUNDS)):
        answer = fit_sides(
            prior, homography, marks.sides, _weighed(marks, factor, weight), (), middle_mm, side_px=factor * STRAY_PX
        )
        if answer is None:
            return None
        view, other = answer
        if left:
            homography = view.homography
            weight, factor = _weights(_off_px(view, marks), own, marks.measures)
    if view.covariance is None:
        return None
    # a bar that agrees worse than a clean print is bent or uneven, which is no chance error
    wider = (AGREE * max(1.0, factor)) ** 2
    return replace(view, covariance=wider * view.covariance), other, factor * STRAY_PX


def _weighed(marks: Marks, factor: float, weight: Array) -> list[Edge]:
    """Return the edges with errors that give each its weight beside the stray that all have."""
    own = (factor * marks.own_px) ** 2 / np.maximum(weight, LEAST_WEIGHT) - (factor * STRAY_PX) ** 2
    errors = np.sqrt(np.maximum(own, 1e-4)) / SIDE_SHARE
    return [edge._replace(error_px=float(error)) for edge, error in zip(marks.edges, errors, strict=True)]


def _weights(off_px: Array, own_px: Array, measures: NDArray[np.int_]) -> tuple[Array, float]:
    """Return weights, shape (n,), and the common factor, both by the t distribution."""
    off2, factor, weight = (off_px / own_px) ** 2, 1.0, np.ones(len(own_px))
    freedom = max(1, int(measures.sum()) - 9)
    for _ in range(15):
        weight = (HEAVY + measures) / (HEAVY + off2 / factor**2)
        total = FACTOR_WEIGHT * USUAL_FACTOR**2 + float(weight @ off2)
        factor = float(np.sqrt(total / (FACTOR_WEIGHT + freedom)))
    return weight, factor


def _off_px(view: View, marks: Marks) -> Array:
    """Return how far each mark is off its place, shift and turn together, in pixels, shape (n,)."""
    found = []
    for side, edge in zip(marks.sides, marks.edges, strict=True):
        mm, outward = view.to_mm(edge.px), np.asarray(side.outward)
        per_px = np.hypot(*[(view.to_mm(edge.px + step) - mm) @ outward for step in np.eye(2)])
        off = (mm @ outward - side.at) / per_px - view.more[0]
        along = np.linspace(-1, 1, len(off)) if len(off) > 1 else np.zeros(1)
        turn = float(off @ along / max(along @ along, 1e-9))
        found.append(np.hypot(off.mean(), turn))
    return np.array(found)
