"""Several references in one photo: one scale out of them where they agree, both values where they don't."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from photonest.model import Lens, OtherScale, Scale
from photonest.rectify import photo_to_mm
from photonest.scale.build import as_rows
from photonest.scale.height import grown
from photonest.scale.uncertainty import TILT_LEFT, Array, diameter_error_pct, diameter_slope, disc

UNTOLD = 1e-5  # standard error of a size beyond what two scales say of theirs, as a share: sizes nearby tell the same
DISAGREE = 3.0  # standard errors of their difference beyond which two scales don't agree


def combined(scales: Sequence[Scale], outline_px: ArrayLike) -> Scale:
    """Return one scale from several of the same face.

    The surest is kept; each other one that agrees with it on the mean diameter of `outline_px` moves it as much as it
    is trusted (a Kalman update by one measurement). One that disagrees beyond `DISAGREE` standard errors is left out
    and named in `others`; all lengths then have a standard error of half of the difference at least.

    Parameters
    ----------
    outline_px : array_like, shape (n, 2)
        A closed line in the photo around what is to be measured; `middle_of_photo` where nothing is known yet.
    """
    if not scales:
        raise ValueError("no scales to combine")
    around = np.asarray(outline_px, dtype=float)
    ranked = sorted(scales, key=lambda scale: (round(_error(scale, around), 3), scale.kind))
    best, odd = ranked[0], []
    for other in ranked[1:]:
        apart, error = difference_pct(best, other, around)
        if abs(apart) > DISAGREE * error:
            odd.append(other)
        else:
            best = _with(best, other, around)
    return _beside(best, odd, around)


def middle_of_photo(width: int, height: int, share: float = 0.6) -> Array:
    """Return a circle in the middle of a photo, of a share of its shorter side, in pixels, shape (72, 2)."""
    return disc(((width - 1) / 2, (height - 1) / 2), share / 2 * min(width, height))


def difference_pct(one: Scale, other: Scale, outline_px: ArrayLike) -> tuple[float, float]:
    """Return by how many percent another scale measures a closed line larger, and that difference's standard error."""
    around = np.asarray(outline_px, dtype=float)
    apart = 100 * math.log(_diameter(other, around) / _diameter(one, around))
    return apart, math.hypot(_error(one, around), _error(other, around))


def _with(best: Scale, other: Scale, around: Array) -> Scale:
    """Return a scale moved by another one that agrees."""
    apart, error = difference_pct(best, other, around)
    gain = _error(best, around) ** 2 / max(error**2, 1e-12)
    moved = _scaled(best, gain * apart / 100) if best.map_error is None else _updated(best, other, around)
    return replace(
        moved,
        kind=f"{best.kind} + {other.kind}",
        standard_error_pct=best.standard_error_pct * math.sqrt(max(0.0, 1 - gain))
        if best.map_error is None
        else _error(moved, around),
        references_px=(*best.references_px, *other.references_px),
        others=(*best.others, *other.others),
        warnings=_warnings(best, other),
    )


def _warnings(best: Scale, other: Scale) -> tuple[str, ...]:
    """Return the warnings of two scales that were made one: if the map kept knows the tilt, the other needs not."""
    tilted = any(text.endswith(TILT_LEFT) for text in best.warnings)
    told = [text for text in other.warnings if tilted or not text.endswith(TILT_LEFT)]
    return tuple(dict.fromkeys((*best.warnings, *told)))


def _beside(best: Scale, odd: Sequence[Scale], around: Array) -> Scale:
    """Return a scale with those that disagree named, and its error widened to hold them."""
    apart = [difference_pct(best, other, around)[0] / 100 for other in odd]
    told = [OtherScale(other.kind, math.exp(share)) for other, share in zip(odd, apart, strict=True)]
    widest = max(map(abs, apart), default=0.0) / 2
    more = math.sqrt(max(0.0, widest**2 - (_error(best, around) / 100) ** 2))
    lying = sum((other.references_px for other in odd), best.references_px)
    return grown(replace(best, others=(*best.others, *told), references_px=lying), more)


def _scaled(scale: Scale, share: float) -> Scale:
    factor = math.exp(share)
    matrix = np.diag([factor, factor, 1.0]) @ np.asarray(scale.px_to_mm, dtype=float)
    return replace(scale, px_to_mm=as_rows(matrix), mm_per_px=scale.mm_per_px * factor)


def _updated(best: Scale, other: Scale, around: Array) -> Scale:
    """Return a scale moved by another's mean diameters, its covariance narrowed by what these tell.

    A reference is surest about itself, which may lie anywhere: sizes are compared around the middle and to four sides.
    Without a camera behind it, as from two points, it tells of one place alone.
    """
    error = best.map_error
    assert error is not None
    if other.lens is None or other.map_error is None:
        lines, own = [around], np.array([[(_error(other, around) / 100) ** 2]])
    else:
        lines = _places(around)
        its = np.array([diameter_slope(other, photo_to_mm(other, line)) for line in lines])
        own = its @ np.asarray(other.map_error.covariance) @ its.T
    apart = np.array([difference_pct(best, other, line)[0] / 100 for line in lines])
    covariance = np.asarray(error.covariance)
    slope = np.array([diameter_slope(best, photo_to_mm(best, line)) for line in lines])
    reach = covariance @ slope.T
    total = slope @ reach + own + UNTOLD**2 * np.eye(len(lines))
    gain = np.linalg.solve(total, reach.T).T
    change = gain @ apart
    narrowed = covariance - gain @ reach.T
    narrowed = (narrowed + narrowed.T) / 2
    (x, y), unit = error.centre_px, error.unit_px
    inner = np.eye(3)
    inner[:2] += [[change[1], change[2], change[0]], [change[4], change[5], change[3]]]
    inner[2, :2] = -change[6], -change[7]
    frame = np.array([[unit, 0, x], [0, unit, y], [0, 0, 1.0]])
    matrix = np.asarray(best.px_to_mm, dtype=float) @ frame @ inner @ np.linalg.inv(frame)
    lens = best.lens
    if lens is not None:
        lens = Lens(lens.focal_px, lens.centre_px, lens.k1 - float(change[8]), lens.k2 - float(change[9]))
    size = best.mm_per_px * math.exp(float(slope[0] @ change))
    rows = tuple(tuple(row) for row in narrowed.tolist())
    return replace(best, px_to_mm=as_rows(matrix), lens=lens, mm_per_px=size, map_error=replace(error, covariance=rows))


def _places(around: Array) -> list[Array]:
    """Return closed lines where sizes are compared: one given, and discs half as wide to four sides of its middle."""
    middle, radius = around.mean(axis=0), float(np.ptp(around, axis=0).mean()) / 2
    ways = 1.2 * radius * np.array([[1.0, 0.0], [0.0, 1.0], [-1.0, 0.0], [0.0, -1.0]])
    return [around, *(disc(middle + way, radius / 2) for way in ways)]


def _diameter(scale: Scale, around: Array) -> float:
    x, y = photo_to_mm(scale, around).T
    return 2 * math.sqrt(abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2 / math.pi)


def _error(scale: Scale, around: Array) -> float:
    return diameter_error_pct(scale, photo_to_mm(scale, around))
