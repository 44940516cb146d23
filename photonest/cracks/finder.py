"""The crack finder: candidates from straightened pictures, judged by their cuts at full resolution."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photonest.cracks.evidence import evidence
from photonest.cracks.judge import likelihoods, shipped
from photonest.cracks.search import Candidate, View, candidates, view
from photonest.model import Crack, CrackKind, Defect, FlatPhoto, NotFound, Outline, Pith

NEAR_PITH = 0.03  # of the diameter: a check that comes so near goes through


@dataclass(frozen=True)
class RidgeOptions:
    """How the finder decides.

    Attributes
    ----------
    seen_from, possible_from : float
        Confidence from which a crack is reported as seen, and as possible.
    tip_margin_pct : float
        How far a free tip is extended beyond what is seen, in percent of the mean diameter.
    """

    seen_from: float = 0.5
    possible_from: float = 0.15
    tip_margin_pct: float = 1.5


class Ridges:
    """Finds checks as thin dark or light lines: best paths over ridge scores, judged by their profile."""

    name = "ridges"
    version = "1"
    Options = RidgeOptions

    def find(
        self, flat: FlatPhoto, outline: Outline, pith: Pith | None, options: RidgeOptions
    ) -> Sequence[Crack | Defect] | NotFound:
        """Return the cracks on the wood, most certain first."""
        seen = view(flat, outline)
        if min(seen.full.pixels.shape[:2]) < 64:
            return NotFound("the piece is under 64 pixels across", "Take the photo nearer, so that the piece fills it.")
        found = candidates(seen, pith)
        sure = likelihoods(shipped(), evidence(found, seen, pith)) if found else ()
        kept = [(one, float(p)) for one, p in zip(found, sure, strict=True) if p >= options.possible_from]
        return [_crack(one, sure, seen, pith, options) for one, sure in _each_once(kept, seen)]


def _each_once(judged: list[tuple[Candidate, float]], seen: View) -> list[tuple[Candidate, float]]:
    """Leave out candidates that mostly run along a better one."""
    height, width = seen.full.pixels.shape[:2]
    across = seen.diameter / seen.full.mm_per_px
    cell = max(2.0, 0.004 * across)
    taken = np.zeros((int(height / cell) + 3, int(width / cell) + 3), bool)
    kept = []
    for one, sure in sorted(judged, key=lambda pair: -pair[1] * pair[0].profile.length):
        x, y = np.clip(np.round(one.profile.path / cell).astype(int), 0, None).T
        x, y = np.minimum(x, taken.shape[1] - 2), np.minimum(y, taken.shape[0] - 2)
        if taken[y, x].mean() > 0.4:
            continue
        kept.append((one, sure))
        for dx in (-1, 0, 1):
            for dy in (-1, 0, 1):
                taken[np.maximum(y + dy, 0), np.maximum(x + dx, 0)] = True
    return kept


def _crack(one: Candidate, sure: float, seen: View, pith: Pith | None, options: RidgeOptions) -> Crack:
    mm = seen.full.mm_per_px
    path, widths = seen.full.to_mm(one.profile.path), one.profile.width * mm
    if pith is not None and np.hypot(*(path[0] - pith.point)) > np.hypot(*(path[-1] - pith.point)):
        path, widths = path[::-1], widths[::-1]
    through = pith is not None and bool(np.hypot(*(path[0] - pith.point)) < NEAR_PITH * seen.diameter)
    path, widths = _thinned(path, widths, 0.004 * seen.diameter)
    margin = options.tip_margin_pct / 100 * seen.diameter
    path, widths = _extended(path, widths, margin, seen.outline)
    if through and pith is not None:
        path[0] = pith.point
    else:
        path, widths = path[::-1], widths[::-1]
        path, widths = _extended(path, widths, margin, seen.outline)
        path, widths = path[::-1], widths[::-1]
    return Crack(
        id="",
        path=tuple((float(x), float(y)) for x, y in path),
        width=float(widths.max()),
        length=float(np.hypot(*np.diff(path, axis=0).T).sum()),
        kind=_kind(path, through, pith),
        confidence=round(sure, 3),
        status="seen" if sure >= options.seen_from else "possible",
        standard_error=float(mm),
        tip_margin=float(margin),
        widths=tuple(float(w) for w in widths),
    )


def _kind(path: NDArray[np.float64], through: bool, pith: Pith | None) -> CrackKind:
    if pith is None:
        return "other"
    if through:
        return "heart"
    chord, radius = path[-1] - path[0], path.mean(axis=0) - pith.point
    off = abs(radius[0] * chord[1] - radius[1] * chord[0]) / max(float(np.hypot(*chord) * np.hypot(*radius)), 1e-9)
    return "radial" if off < 0.5 else "ring" if off > 0.94 else "other"


def _thinned(
    path: NDArray[np.float64], widths: NDArray[np.float64], spacing: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return fewer points, about `spacing` apart, each with the widest opening about it."""
    travelled = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    count = max(2, round(travelled[-1] / spacing) + 1)
    at = np.linspace(0, travelled[-1], count)
    nearest = np.clip(np.round(travelled / max(travelled[-1], 1e-9) * (count - 1)).astype(int), 0, count - 1)
    widest = np.zeros(count)
    np.maximum.at(widest, nearest, widths)
    return np.column_stack([np.interp(at, travelled, path[:, k]) for k in (0, 1)]), widest


def _extended(
    path: NDArray[np.float64], widths: NDArray[np.float64], margin: float, edge: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Extend the last tip by `margin` along its course, not beyond the edge of the wood."""
    import cv2

    back = path[max(0, len(path) - 6)]
    course = path[-1] - back
    course = course / max(float(np.hypot(*course)), 1e-9)
    ring = edge.astype(np.float32).reshape(-1, 1, 2)
    room = margin
    for share in (1.0, 0.75, 0.5, 0.25, 0.0):
        room = share * margin
        x, y = path[-1] + room * course
        if cv2.pointPolygonTest(ring, (float(x), float(y)), False) >= 0:
            break
    if room <= 0:
        return path, widths
    return np.vstack([path, path[-1] + room * course]), np.append(widths, 0.0)
