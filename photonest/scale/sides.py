"""The most likely view of flat shapes whose straight sides are seen: one shape, or several lying loose in one plane."""

from __future__ import annotations

import math
from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple, Self

import numpy as np
from numpy.typing import ArrayLike

from photonest.scale.camera import OPTICS, SHIFT, Array, Prior, View, fit, mirrored, squarely, start
from photonest.scale.edges import Edge
from photonest.scale.slopes import camera_slopes, place_slopes

GROWTH_PX = 0.15  # of all sides together of loose shapes: what is light looks larger, or smaller
SIDE_SHARE = 0.7  # of its pieces' own error that a side is off as a whole, where what lies beside misleads them alike
# a rectangle's side is shifted, turned and bent as a whole by bevels, sawdust and texture along it, by so many times
# what its pieces are rough over a clean edge's; measured on drawn cards and sheets
STRAY, CLEAN_PX = (1.4, 1.3, 1.5), 0.015
# standard error of all sides of a shape together, in pixels, without a soft shadow about it; with one, of each side
# alone over that of all. Measured on drawn cards
CLEAR_GROWTH_PX, SHADOW_OWN = 0.07, 0.4
ALIKE_PIECES = 3.0  # over which errors of neighbouring pieces of an edge are alike
# errors are first taken to be larger, so that what is known keeps the lens sane; how far each fit is driven, and the
# most steps it takes
SOFTNESS = ((30.0, 1e-3, 12), (1.0, 1e-4, 12), (1.0, 1e-5, 60))
# of views by a soft fit: elements of the rotation within which they lead to one in the end, and more cost than the
# best's with which they lead to none as likely (of second ones that did, at most 2.3 among drawn cards and sheets)
ROUGHLY_ALIKE, UNLIKELY = 0.01, 5.0
HOPELESS = 100.0  # mean squared residual beyond which a view is driven no further
# standard error of a focal length's logarithm from which on a view by one so many times as long is also tried: a shape
# under a wide lens and one more tilted under a long one may look nearly alike
FOCAL_UNTOLD, LONGER = 0.1, 1.7
POOR_FIT = 1.5  # mean squared residual beyond which another start is tried
OWN_GROWTH_PX = 0.2  # of each loose shape: white paper in the sun is overexposed, and looks larger, not in the shade
HEAVY, ROUNDS = 4.0, 3  # degrees of freedom of the t distribution, and how often weights are worked out
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


def fit_sides(
    prior: Prior,
    homography: ArrayLike,
    sides: Sequence[Side],
    edges: Sequence[Edge],
    size_errors: Sequence[float],
    middle_mm: tuple[float, float],
    side_px: float | None = None,
    bend_error: float = 0.0,
) -> tuple[View, View | None] | None:
    """Return the most likely view of shapes by their edges, and the second most likely.

    Parameters
    ----------
    homography : array_like
        About from the first shape's mm to pixels.
    size_errors : sequence of float
        Standard errors, in mm, of the shape's uncertain lengths.
    side_px : float
        By how many pixels each side alone may be off; for a rectangle, by how rough it looks if not given.
    bend_error : float
        How far, in mm, the sides of a rectangle may lie above its middle; zero for a flat one.
    """
    seen = _BentPoints(sides, edges, side_px) if bend_error else _Points(sides, edges, side_px)
    growth = _growth(edges) if side_px is None else GROWTH_PX
    errors = (*size_errors, growth, *seen.loose_errors, *[bend_error] * (2 if bend_error else 0))
    begun = start(prior, homography, more=len(errors))
    if begun is None:
        return None

    def settled(first: View, softness: Sequence[tuple[float, float, int]]) -> View | None:
        return _settled(first, prior, seen, errors, softness)

    rough = [settled(seen.placed(first), SOFTNESS[:1]) for first in (begun, mirrored(begun, middle_mm))]
    found = [settled(view, SOFTNESS[1:]) for view in _likely(rough)]
    found += [settled(seen.placed(view), SOFTNESS[1:]) for view in _under_long_lens(prior, homography, len(errors))]
    if min((view.cost for view in found if view is not None), default=np.inf) > POOR_FIT * len(seen.px):
        # errors taken to be larger may lead all starts to what cameras mostly are; a shape alone is begun without that
        third = settled(seen.placed(squarely(begun, middle_mm)), SOFTNESS[:1]) if seen.loose else begun
        if third is not None and (not seen.loose or third in _likely([*rough, third])):
            found.append(settled(third, SOFTNESS[1:]))
    return _best_two(found)


def refit_sides(
    prior: Prior,
    begun: Sequence[View],
    sides: Sequence[Side],
    edges: Sequence[Edge],
    size_errors: Sequence[float],
    bend_error: float = 0.0,
    side_px: float | None = None,
) -> tuple[View, View | None] | None:
    """Return the most likely view of one shape and the second most likely, near views that its edges gave before."""
    seen = _BentPoints(sides, edges) if bend_error else _Points(sides, edges, side_px)
    growth = _growth(edges) if side_px is None else GROWTH_PX
    errors = (*size_errors, growth, *[bend_error] * (2 if bend_error else 0))
    firsts = [*begun, *_under_long_lens(prior, begun[0].homography, len(errors))]
    return _best_two([_settled(view, prior, seen, errors, softness=SOFTNESS[-1:]) for view in firsts])


def _under_long_lens(prior: Prior, homography: ArrayLike, more: int) -> list[View]:
    """Return a first view under a long lens, where the focal length isn't known well."""
    if prior.focal_error < FOCAL_UNTOLD:
        return []
    view = start(replace(prior, focal_px=LONGER * prior.focal_px), homography, more)
    return [view] if view else []


class LooseFit(NamedTuple):
    """The most likely view of loose shapes, the second, and each edge's mean squared residual over its expectation."""

    view: View
    other: View | None
    misfits: Array


def fit_loose(
    prior: Prior,
    homography: ArrayLike,
    sides: Sequence[Side],
    edges: Sequence[Edge],
    middle_mm: tuple[float, float],
    side_px: float,
) -> LooseFit | None:
    """Return what `fit_sides` does for shapes of known size, edges weighted by how well each agrees with the others.

    A shadow beside an edge, or dust, moves all of it by more than its pieces' roughness tells, so that residuals of an
    edge are taken from a t distribution (Lange et al. 1989).
    """
    even = _Points(sides, edges, side_px)
    answer = fit_sides(prior, homography, sides, edges, (), middle_mm, side_px)
    for left in reversed(range(ROUNDS)):
        if answer is None:
            return None
        seen = even.weighted((HEAVY + even.counts) / (HEAVY + even.off2(answer[0])))
        errors = (GROWTH_PX, *seen.loose_errors)
        softness = SOFTNESS[-2:-1] if left else SOFTNESS[-1:]
        answer = _best_two([_settled(view, prior, seen, errors, softness) for view in answer if view is not None])
    return None if answer is None else LooseFit(*answer, even.off2(answer[0]) / even.counts)


def enlarged(view: View, times: float, bent: bool = False) -> View:
    """Return a view of a rectangle fitted before as if it, and all mm with it, were so many times larger.

    `bent` says whether the view is to hold how far its sides are bent up.
    """
    values = view.values.copy()
    values[SHIFT][2] += np.log(times)
    values[OPTICS : OPTICS + 2] = 0  # what its sides were off by
    bends = values[OPTICS + 3 :] * times if len(values) > OPTICS + 3 else np.zeros(2)
    return View(np.append(values[: OPTICS + 3], bends if bent else []), view.turned)


def _likely(rough: Sequence[View | None]) -> list[View]:
    """Return views of a first, soft fit that are worth going on from: each another, none far less likely than one."""
    views = [view for view in rough if view is not None]
    least = min((view.cost for view in views), default=np.inf)
    kept: list[View] = []
    for view in views:
        if view.cost < least + UNLIKELY and all(_differ(view, other, ROUGHLY_ALIKE) for other in kept):
            kept.append(view)
    return kept


def _best_two(found: Sequence[View | None]) -> tuple[View, View | None] | None:
    views = sorted((view for view in found if view is not None), key=lambda view: view.cost)
    if not views:
        return None
    return views[0], views[1] if len(views) > 1 and _differ(views[0], views[1]) else None


def _settled(
    view: View,
    prior: Prior,
    seen: _Points,
    errors: Sequence[float],
    softness: Sequence[tuple[float, float, int]] = SOFTNESS,
) -> View | None:
    """Return the most likely view near a first one."""
    for soft, settled, steps in softness:
        if view.rotation[2, 2] <= 0.1:
            return None
        aimed = seen.aimed(view)

        def residuals(at: View, aimed: _Points = aimed, soft: float = soft) -> Array:
            return aimed.outside(at) / soft

        def slopes(at: View, aimed: _Points = aimed, soft: float = soft) -> Array:
            return aimed.slopes(at) / soft

        fitted = fit(view, prior, residuals, errors, settled, steps, slopes)
        if fitted is None:
            return None
        view = fitted
        if soft == 1 and view.cost > HOPELESS * len(seen.px):
            break
    return view


class _Points:
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


class _BentPoints(_Points):
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


def _growth(edges: Sequence[Edge]) -> float:
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


def _differ(view: View, other: View, least: float = 1e-3) -> bool:
    return bool(np.abs(view.rotation - other.rotation).max() > least)
