"""The most likely view of a ruler by its ticks and ends, and whether its one edge may slope."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from photonest.scale.camera import OPTICS, TURN, Array, Prior, View, mapped
from photonest.scale.combs import Comb
from photonest.scale.edges import Edge
from photonest.scale.ruler_edges import WIDEST_MM
from photonest.scale.side_points import Side
from photonest.scale.sides import fit_sides, refit_sides
from photonest.scale.tick_grid import CLEARLY

Tick = tuple[float, Array, float]  # its number, points along it, shape (n, 2), and their error in pixels
Views = tuple[View, View | None]

END_ERROR_PX = 0.06  # of a piece of its end, at least
# ticks as a whole stray by so many pixels; by more if finer, as what JPEG keeps of fine waves leans to its rows
TICK_STRAY, FINE_PITCH = 0.012, 3.0
WORST_END, WORST_TICK = 2.5, 4.0  # residuals over their expectation beyond which an end or a tick is left out
# squared standard errors by which an end may turn the plane that the ticks alone are seen in: beyond, it is none
WORST_TURN = 9.0
MAY_SLOPE = 0.04  # radians by which the only edge that is seen may slope, if no end speaks against it


@dataclass(frozen=True, eq=False)
class TicksSeen:
    """What is seen of a ruler.

    Attributes
    ----------
    one, other : list of (number, points, error)
        Ticks of one edge, and of the other in mm from any place, as far as these are seen.
    along : Edge
        What runs along the ruler.
    tick, first : float
        What one edge's ticks stand for, in mm, and the number of the one that is taken for zero.
    comb : Comb
        The ticks of that edge as they were found.
    """

    one: list[Tick]
    other: list[Tick]
    along: Edge
    tick: float
    first: float
    comb: Comb

    @property
    def stray_px(self) -> float:
        """By how many pixels ticks stray as a whole."""
        comb = self.comb
        return TICK_STRAY * max(1.0, FINE_PITCH / comb.pitch) ** 4 * max(1.0, CLEARLY / comb.strength) ** 2

    @property
    def unleaning(self) -> TicksSeen:
        """The same without how the ticks of one edge lean."""
        return replace(self, one=[(number, px.mean(axis=0)[None], error_px) for number, px, error_px in self.one])

    def sides(self, homography: Array, error: float, ends: Sequence[Edge]) -> tuple[list[Side], list[Edge]]:
        """Return what is seen as sides of one shape; uncertain are where the other ticks begin and the ends lie."""
        inverse = np.asarray(np.linalg.inv(homography))
        free = np.eye(len(ends) + 2)[:, 1:]
        sides = [Side((1.0, 0.0), (number - self.first) * self.tick, tuple(free[0])) for number, _, _ in self.one]
        for k, (outward, edge) in enumerate([((0.0, 1.0), self.along), *[((1.0, 0.0), end) for end in ends]]):
            at = float((mapped(inverse, edge.px) @ outward).mean())
            sides.append(Side(outward, at, tuple(free[k])))
        sides += [Side((1.0, 0.0), mm, tuple(free[-1])) for mm, _, _ in self.other]
        edges = [*[Edge(points, error, 1.0) for _, points, _ in self.one], self.along, *ends]
        return sides, edges + [Edge(points, error_px, 1.0) for _, points, error_px in self.other]


def fit_ruler(
    prior: Prior, homography: Array, seen: TicksSeen, across: Sequence[Edge]
) -> tuple[View, View | None, bool] | None:
    """Return the most likely view, the second, and whether the ticks of one edge alone tell how the ruler lies.

    An end that nothing else agrees with is left out.

    Parameters
    ----------
    homography : ndarray, shape (3, 3)
        About from mm to pixels.
    across : sequence of Edge
        What may be its ends.
    """
    error = seen.one[0][2]
    alone = _views(prior, homography, seen, error, ())
    if alone is None:
        return None
    ends, slope = [], MAY_SLOPE
    for end in [edge._replace(error_px=max(edge.error_px, END_ERROR_PX)) for edge in across]:
        if _agree(alone, _views(prior, homography, seen, error, [end], alone)):
            ends.append(end)
        elif not seen.other:
            slope = max(slope, _angle(alone, _views(prior, homography, seen.unleaning, error, [end], alone)))
    answer: Views | None = alone
    grown = False
    while True:
        answer = _views(prior, homography, seen, error, ends, answer or ())
        if answer is None:
            return None
        off, ratio = _misfits(answer[0], *seen.sides(homography, error, ends))
        count = len(seen.one)
        worst = ratio[count + 1 : count + 1 + len(ends)]
        if worst and max(worst) > WORST_END:
            del ends[int(np.argmax(worst))]
            continue
        rough = 1.4826 * float(np.median(np.abs(np.concatenate(off[:count]))))
        straying = [float(np.sqrt((part**2).mean())) > WORST_TICK * rough for part in off[:count]]
        if grown or (rough < 1.3 * error and not any(straying)):
            break
        seen = replace(seen, one=[one for one, strays in zip(seen.one, straying, strict=True) if not strays])
        error, grown = max(rough, error), True
    by_ends = _views(prior, homography, seen.unleaning, error, ends, alone) if ends and not seen.other else None
    if seen.other or (by_ends is not None and _turn_error(by_ends[0]) < MAY_SLOPE):
        return *answer, False
    return _may_slope(answer[0], slope), answer[1], True


def _views(
    prior: Prior,
    homography: Array,
    seen: TicksSeen,
    error: float,
    ends: Sequence[Edge],
    near: Iterable[View | None] = (),
) -> Views | None:
    """Return the most likely view by what is seen and some ends, and the second; near some views, if there are any."""
    sides, edges = seen.sides(homography, error, ends)
    errors = (WIDEST_MM,) * (len(ends) + 1)
    # what is not known of a ruler is begun anew at zero
    more = np.zeros(len(errors) + 1)
    begun = [View(np.append(view.values[:OPTICS], more), view.turned) for view in near if view is not None]
    if begun:
        return refit_sides(prior, begun, sides, edges, errors, side_px=seen.stray_px)
    return fit_sides(prior, homography, sides, edges, errors, (0.0, 0.0), side_px=seen.stray_px)


def _misfits(view: View, sides: list[Side], edges: list[Edge]) -> tuple[list[Array], list[float]]:
    """Return by how many pixels each edge's points lie off their side, and how much that is over their error."""
    off = [_off(view, side, edge) for side, edge in zip(sides, edges, strict=True)]
    return off, [float(np.sqrt((part**2).mean())) / edge.error_px for part, edge in zip(off, edges, strict=True)]


def _agree(alone: Views, other: Views | None) -> bool:
    """Whether ticks alone may be seen as a view has it that holds more: their plane is turned as far as they allow."""
    if other is None:
        return False
    return min(_turned(view, other[0]) for view in alone if view is not None) < WORST_TURN


def _angle(alone: Views, other: Views | None) -> float:
    """Return by how many radians the likeliest views have a ruler turned otherwise about its length."""
    if other is None:
        return 0.0
    first, second = (float(np.arcsin(views[0].rotation[2, 1].clip(-1, 1))) for views in (alone, other))
    return abs(first - second)


def _turn_error(view: View) -> float:
    """Return the standard error of how a ruler is turned about its length, in radians."""
    assert view.covariance is not None
    axis = view.rotation[:, 0]
    return float(np.sqrt(axis @ view.covariance[TURN, TURN] @ axis))


def _may_slope(view: View, slope: float) -> View:
    """Return a view that is less sure of how the ruler is turned about its length, by so many radians.

    Nothing tells but the ticks of one edge: that may slope, as a bevelled edge does, or the blade of a tape measure.
    """
    assert view.covariance is not None
    covariance, axis = view.covariance.copy(), view.rotation[:, 0]
    covariance[TURN, TURN] += slope**2 * np.outer(axis, axis)
    return replace(view, covariance=covariance)


def _turned(view: View, other: View) -> float:
    """Return how far another view's plane is turned from one's, in its standard errors, squared."""
    assert view.covariance is not None
    apart = other.rotation @ view.rotation.T
    turn = np.array([apart[2, 1] - apart[1, 2], apart[0, 2] - apart[2, 0], apart[1, 0] - apart[0, 1]]) / 2
    return float(turn @ np.linalg.solve(view.covariance[TURN, TURN], turn))


def _off(view: View, side: Side, edge: Edge) -> Array:
    """Return how far points lie off their side, in pixels, shape (n,)."""
    at = side.at + float(np.dot(side.size, view.more[: len(side.size)]))
    mm = view.to_mm(edge.px)
    step = view.to_mm(edge.px + 1.0) - mm
    return np.asarray((mm @ np.array(side.outward) - at) * np.sqrt(2) / np.linalg.norm(step, axis=1))
