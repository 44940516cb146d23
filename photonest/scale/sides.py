"""The most likely view of flat shapes whose straight sides are seen: one shape, or several lying loose in one plane."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from photonest.scale.camera import OPTICS, SHIFT, Array, Prior, View, fit, mirrored, squarely, start
from photonest.scale.edges import Edge
from photonest.scale.side_points import BentSidePoints, Side, SidePoints, growth_px

GROWTH_PX = 0.15  # of all sides together of loose shapes: what is light looks larger, or smaller
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
HEAVY, ROUNDS = 4.0, 3  # degrees of freedom of the t distribution, and how often weights are worked out


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
    seen = BentSidePoints(sides, edges, side_px) if bend_error else SidePoints(sides, edges, side_px)
    growth = growth_px(edges) if side_px is None else GROWTH_PX
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
    seen = BentSidePoints(sides, edges) if bend_error else SidePoints(sides, edges, side_px)
    growth = growth_px(edges) if side_px is None else GROWTH_PX
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
    even = SidePoints(sides, edges, side_px)
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
    seen: SidePoints,
    errors: Sequence[float],
    softness: Sequence[tuple[float, float, int]] = SOFTNESS,
) -> View | None:
    """Return the most likely view near a first one."""
    for soft, settled, steps in softness:
        if view.rotation[2, 2] <= 0.1:
            return None
        aimed = seen.aimed(view)

        def residuals(at: View, aimed: SidePoints = aimed, soft: float = soft) -> Array:
            return aimed.outside(at) / soft

        def slopes(at: View, aimed: SidePoints = aimed, soft: float = soft) -> Array:
            return aimed.slopes(at) / soft

        fitted = fit(view, prior, residuals, errors, settled, steps, slopes)
        if fitted is None:
            return None
        view = fitted
        if soft == 1 and view.cost > HOPELESS * len(seen.px):
            break
    return view


def _differ(view: View, other: View, least: float = 1e-3) -> bool:
    return bool(np.abs(view.rotation - other.rotation).max() > least)
