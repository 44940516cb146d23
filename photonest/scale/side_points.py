"""Points on the straight sides of flat shapes: how far off a view has them, and how that changes with the view."""

from __future__ import annotations

import math
from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Self

import numpy as np

from photonest.scale.camera import OPTICS, Array, View
from photonest.scale.edges import Edge
from photonest.scale.slopes import camera_slopes, place_slopes

SIDE_SHARE = 0.7  # of its pieces' own error that a side is off as a whole, where what lies beside misleads them alike
# a rectangle's side is shifted, turned and bent as a whole by bevels, sawdust and texture along it, by so many times
# what its pieces are rough over a clean edge's; measured on drawn cards and sheets
STRAY, CLEAN_PX = (1.4, 1.3, 1.5), 0.015
# standard error of all sides of a shape together, in pixels, without a soft shadow about it; with one, of each side
# alone over that of all. Measured on drawn cards
CLEAR_GROWTH_PX, SHADOW_OWN = 0.07, 0.4
ALIKE_PIECES = 3.0  # over which errors of neighbouring pieces of an edge are alike
OWN_GROWTH_PX = 0.2  # of each loose shape: white paper in the sun is overexposed, and looks larger, not in the shade
ANYWHERE_MM, ANY_TURN = 1e4, 10.0  # where a loose shape may lie, and how it may be turned


@dataclass(frozen=True, eq=False)
class Side:
    """A side of a flat shape: points with ``outward @ (x, y) = at`` in the shape's own mm.

    `size` says how much the side moves outward, in mm, for each uncertain length; `shape` is the shape's number.
    """

    outward: tuple[float, float]
    at: float
    size: tuple[float, ...] = ()
    shape: int = 0


def rectangle(width: float, height: float) -> tuple[Side, Side, Side, Side]:
    """Return the sides of a rectangle, clockwise from the top; its uncertain lengths are its width and its height."""
    return (
        Side((0.0, -1.0), 0.0, (0.0, 0.0)),
        Side((1.0, 0.0), width, (1.0, 0.0)),
        Side((0.0, 1.0), height, (0.0, 1.0)),
        Side((-1.0, 0.0), 0.0, (0.0, 0.0)),
    )


class SidePoints:
    """Points on the sides of shapes, all in one array each: pixels, weight, and what their side says in mm.

    Of what is added to a view's parameters, the uncertain lengths come first, then by how many pixels all sides look
    moved outward. Where there are several loose shapes, then comes by how many more those of each do, and for each but
    the first where its origin lies and how it is turned.
    """

    def __init__(self, sides: Sequence[Side], edges: Sequence[Edge], side_px: float | None = None) -> None:
        counts = [len(edge.px) for edge in edges]
        of_side = np.repeat(np.arange(len(edges)), counts)
        self.px = np.concatenate([edge.px for edge in edges])
        self._steps = np.concatenate([self.px, self.px])
        self._last: tuple[View, Array, Array] | None = None
        self.outward = np.array([side.outward for side in sides])[of_side]
        self.at = np.array([side.at for side in sides])[of_side]
        self.size = np.array([side.size for side in sides], dtype=float)[of_side]
        # each side may be moved as a whole: its points' errors are correlated, and are made independent by a matrix a
        # side, all of one size; the last place of all stands for no point
        self._whiten = np.zeros((len(edges), max(counts), max(counts)))
        for k, edge in enumerate(edges):
            own = _whitening(len(edge.px), edge.error_px, _stray(edge, side_px))
            self._whiten[k, : counts[k], : counts[k]] = own
        self.counts = np.array(counts)
        within = np.arange(max(counts))
        first = (np.cumsum(counts) - counts)[:, None]
        self._places = np.where(within < self.counts[:, None], first + within, -1)
        self.shape = np.tile(np.array([side.shape for side in sides])[of_side], 2)  # of steps; points come first
        self.loose = int(self.shape.max())
        self._growths = self.loose + 1 if self.loose else 0
        self._poses = self.size.shape[1] + 1 + self._growths  # where they begin among what is added to the parameters
        self.loose_errors = (*[OWN_GROWTH_PX] * self._growths, *[ANYWHERE_MM, ANYWHERE_MM, ANY_TURN] * self.loose)

    def aimed(self, view: View) -> Self:
        """Return the same with a pixel outward of each point as a view has it: the mm of a pixel lie between."""
        other = copy(self)
        other._last = None
        there = self.own(view, self.px)
        ways = [((self.own(view, self.px + step) - there) * self.outward).sum(axis=1) for step in np.eye(2)]
        other._steps = np.concatenate([self.px, self.px + np.column_stack(ways / np.hypot(*ways))])
        return other

    def placed(self, view: View) -> View:
        """Return a view with each loose shape laid where its points and sides roughly say."""
        values, mm = view.values.copy(), view.to_mm(self.px)
        first = OPTICS + self._poses
        for number in range(1, self.loose + 1):
            mine = self.shape[: len(mm)] == number
            values[first + 3 * number - 3 : first + 3 * number] = _pose(mm[mine], self.outward[mine], self.at[mine])
        return replace(view, values=values)

    def own(self, at: View, points_px: Array) -> Array:
        """Return where points, or all steps, lie in the mm of the shape that each belongs to, shape (..., n, 2)."""
        mm = at.to_mm(points_px)
        if not self.loose:
            return mm
        poses = at.more[..., self._poses :].reshape(*at.more.shape[:-1], self.loose, 3)
        poses = np.concatenate([np.zeros_like(poses[..., :1, :]), poses], axis=-2)[..., self.shape[: mm.shape[-2]], :]
        x, y = np.moveaxis(mm - poses[..., :2], -1, 0)
        c, s = np.cos(poses[..., 2]), np.sin(poses[..., 2])
        return np.stack([c * x + s * y, c * y - s * x], axis=-1)

    def outside(self, at: View) -> Array:
        """Return by how many pixels the points lie outside their sides, whitened, shape (n,).

        How many mm a pixel shows goes with the view: were it that of another, the view in which a shape is smallest
        would seem to fit best.
        """
        return self._whitened(self._off_px(at)[0] - self._growth(at))

    def _off_px(self, at: View) -> tuple[Array, Array]:
        """Return by how many pixels points lie outside their sides, and the mm of a pixel there, shape (n,) each."""
        if self._last is None or self._last[0] is not at:  # else it was asked how far off they are: now, how it changes
            there, beyond = np.split((self.own(at, self._steps) * np.tile(self.outward, (2, 1))).sum(axis=1), 2)
            lengths = self.size.shape[1]
            off = (there - self.at - self.size @ at.more[:lengths]) / (beyond - there)
            self._last = at, off, beyond - there
        return self._last[1:]

    def _growth(self, at: View) -> Array:
        """Return by how many pixels the points' sides look moved outward."""
        lengths = self.size.shape[1]
        growth = at.more[lengths, None]
        return growth + at.more[lengths + 1 : self._poses][self.shape[: len(self.px)]] if self.loose else growth

    def weighted(self, weights: Array) -> Self:
        """Return the same with a weight for each side."""
        other = copy(self)
        other._whiten = self._whiten * np.sqrt(weights)[:, None, None]
        return other

    def off2(self, view: View) -> Array:
        """Return the sum of squares of `outside` over each side."""
        off = self.aimed(view).outside(view)
        return np.asarray((off.reshape(len(self.counts), -1) ** 2).sum(axis=1))

    def slopes(self, at: View) -> Array:
        """Return how `outside` changes with each parameter of one view, shape (parameters, n)."""
        off, mm_per_px = self._off_px(at)
        by_place, by_pose = (
            _by_step(slopes, off, mm_per_px) for slopes in self._own_slopes(at, np.tile(self.outward, (2, 1)))
        )
        by_length = -self.size.T / mm_per_px
        by_growth = -np.ones((1 + self._growths, len(off)))
        by_growth[1:] *= self.shape[: len(off)] == np.arange(self._growths)[:, None]
        return self._whitened(np.concatenate([by_place, by_length, by_growth, by_pose]))

    def _own_slopes(self, at: View, ways: Array) -> tuple[Array, Array]:
        """Return how `own` of all steps changes along a way each, with the view's own parameters and the last ones."""
        if not self.loose:
            return place_slopes(at, self._steps, ways), np.zeros((0, len(ways)))
        poses = at.more[self._poses :].reshape(self.loose, 3)
        turn = np.append(0.0, poses[:, 2])[self.shape]
        c, s = np.cos(turn), np.sin(turn)
        (u, v), (x, y) = ways.T, self.own(at, self._steps).T
        in_plane = np.column_stack([c * u - s * v, s * u + c * v])
        by_pose = np.stack([-in_plane[:, 0], -in_plane[:, 1], u * y - v * x])
        mine = self.shape == np.arange(1, self.loose + 1)[:, None]
        return place_slopes(at, self._steps, in_plane), (mine[:, None] * by_pose).reshape(-1, len(ways))

    def _whitened(self, off: Array) -> Array:
        """Return what is off, shape (n,) or (m, n), with alike errors made independent, a few zeros among it."""
        rows = off.reshape(-1, off.shape[-1])
        padded = np.append(rows, np.zeros((len(rows), 1)), axis=1)[:, self._places]
        return np.asarray((padded.swapaxes(0, 1) @ self._whiten).swapaxes(0, 1).reshape(*off.shape[:-1], -1))


class BentSidePoints(SidePoints):
    """Points on the sides of one rectangle that is bent along its width and its height.

    How far its sides lie above its middle, in mm, are the last two parameters; the height goes with the square of the
    distance from the middle.
    """

    def own(self, at: View, points_px: Array) -> Array:
        """Return where pixels lie in the mm of the sheet as if it were flat; the bend's length is next to nothing."""
        seen = at.to_mm(points_px)
        camera = -(np.swapaxes(at.rotation, -1, -2) @ at.shift[..., None])[..., 0]
        height = ((2 * seen / self._span - 1) ** 2 * at.more[..., None, -2:]).sum(axis=-1, keepdims=True)
        return np.asarray(seen + (camera[..., None, :2] - seen) * height / -camera[..., None, 2:])

    @cached_property
    def _span(self) -> Array:
        return np.array([self.at[self.outward[:, k] > 0].max() for k in (0, 1)])

    def _own_slopes(self, at: View, ways: Array) -> tuple[Array, Array]:
        seen, camera = at.to_mm(self._steps), at.camera_mm()
        out, bend = 2 * seen / self._span - 1, at.more[-2:]
        share = out**2 @ bend / -camera[2]
        gain = (ways * (camera[:2] - seen)).sum(axis=1) / -camera[2]
        by_place = (1 - share)[:, None] * ways + gain[:, None] * (4 * out * bend / self._span)
        by_camera = np.column_stack([share[:, None] * ways, share * gain])
        return place_slopes(at, self._steps, by_place) + camera_slopes(at) @ by_camera.T, (out**2).T * gain


def _by_step(slopes: Array, off: Array, mm_per_px: Array) -> Array:
    """Return how pixels off change, from how the places of points and of those a pixel outward do, (..., 2n)."""
    there, beyond = np.split(slopes, 2, axis=-1)
    return np.asarray((there - off * (beyond - there)) / mm_per_px)


def _pose(mm: Array, outward: Array, at: Array) -> Array:
    """Return the origin and the turn of a shape that bring points onto their sides: the best of many turns."""
    turn = np.arange(72) * np.pi / 36
    c, s = np.cos(turn), np.sin(turn)
    normal = outward @ np.array([[c, s], [-s, c]]).transpose(2, 0, 1)  # the sides' normals in the plane's frame
    off = (mm * normal).sum(axis=2) - at
    across = normal.swapaxes(1, 2)
    origin = np.linalg.solve(across @ normal, across @ off[..., None])
    left = off - (normal @ origin)[..., 0]
    best = int((left**2).sum(axis=1).argmin())
    return np.array([*origin[best, :, 0], turn[best]])


def growth_px(edges: Sequence[Edge]) -> float:
    """Return by how many pixels all sides of one shape may look moved outward together."""
    toned = sum(edge.toned_px for edge in edges) / len(edges)
    return math.hypot(CLEAR_GROWTH_PX, toned, *[edge.shadow_px / math.sqrt(len(edges)) for edge in edges])


def _stray(edge: Edge, side_px: float | None) -> tuple[float, ...]:
    """Return by how many pixels a side may be shifted, turned at its ends, and bent there against its middle."""
    own, shared = edge.error_px, edge.shared_px
    if side_px is None:
        # what hides a part of a side lies also beside the rest
        shift, turn, bend = (times * (own - CLEAN_PX) / max(edge.share, 0.2) for times in STRAY)
        return (
            math.hypot(shift, shared, SHADOW_OWN * edge.shadow_px),
            math.hypot(turn, shared),
            math.hypot(bend, shared),
        )
    stray = math.hypot(side_px, SIDE_SHARE * own, shared)
    return stray, stray, 0.0


def _whitening(count: int, own: float, stray: Sequence[float]) -> Array:
    """Return the symmetric root of the inverse covariance of the places of neighbouring pieces of a side.

    Each has an error, half of it (as a variance) alike to its neighbours' by the texture beside the edge; all share
    those that shift the side, turn it and bend it.
    """
    along = np.linspace(-1, 1, count)
    ways = np.stack([np.ones(count), along, along**2 - 1 / 3]) * np.reshape(stray, (3, 1))
    apart = np.abs(np.subtract.outer(np.arange(count), np.arange(count)))
    covariance = 0.5 * own**2 * (np.exp(-apart / ALIKE_PIECES) + np.eye(count)) + ways.T @ ways
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors / np.sqrt(values) @ vectors.T)
