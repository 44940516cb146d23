"""The built-in outline finder: a plain background first, else competing regions; then bark, then the exact edge."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from photonest.imaging import usable_part
from photonest.model import FlatPhoto, NotFound, Outline
from photonest.outline import bark
from photonest.outline.answers import CUT, RETAKE, nothing_to_see
from photonest.outline.lines import CUT_RUN, as_points, at_frame, longest_run, simple
from photonest.outline.plain import PLAIN_ERROR, contour, plain_piece
from photonest.outline.regions import best_edge, prepare
from photonest.outline.strip import COARSE, FINE, sharpened
from photonest.planar import Path, mean_diameter, polygon_area
from photonest.resizing import reduced


@dataclass(frozen=True)
class EdgeOptions:
    """Settings of the outline finder.

    Attributes
    ----------
    work_px, plain_px, middling_px : int
        Longer side of the reduced picture in which regions compete, in which a plain background is sought, and in which
        the edge is found exactly.
    points : int
        Corners of the outline.
    bark : bool
        Tell bark apart from wood.
    """

    work_px: int = 256
    plain_px: int = 1024
    middling_px: int = 1400
    points: int = 720
    bark: bool = True


class _Edges(NamedTuple):
    """Edges in mm with bark and under it, and how they were found."""

    outer: Path
    wood: Path | None
    plain: bool
    score: float


class EdgeOutline:
    """Finds the edge of the piece, with bark and under it."""

    name = "edge"
    version = "1"
    Options = EdgeOptions

    def find(self, flat: FlatPhoto, options: EdgeOptions) -> Outline | NotFound:
        """Return the outline of the piece at the aim."""
        empty = nothing_to_see(flat)
        if empty is not None:
            return empty
        middling = reduced(flat, options.middling_px)
        found = _plain(middling, options) or _natural(middling, options)
        return _outline(middling, found) if isinstance(found, _Edges) else found


def _plain(flat: FlatPhoto, options: EdgeOptions) -> _Edges | None:
    """Return the edges before a plain background, if it is one."""
    middling = reduced(flat, options.plain_px)
    piece = plain_piece(middling, usable_part(middling))
    if piece is None:
        return None
    outer = middling.to_mm(contour(piece, 0.8, options.points))
    return _Edges(outer, _under_bark(flat, outer) if options.bark else None, True, 1.0)


def _natural(flat: FlatPhoto, options: EdgeOptions) -> _Edges | NotFound:
    """Return the edges before any other background."""
    small = reduced(flat, options.work_px)
    usable = usable_part(small)
    aim = np.clip(small.to_px(np.asarray(flat.aim)), 2.0, np.array(usable.shape[::-1]) - 3.0)
    if not usable.any():
        return NotFound("nothing of the photo is left to look at", RETAKE)
    best = best_edge(prepare(small, usable, aim), aim)
    first = small.to_mm(best.star.points())
    if polygon_area(best.star.points()) < 0.003 * usable.size:
        return NotFound("no piece of wood stands out from its background", RETAKE)
    for settings in (COARSE, FINE):
        first = sharpened(flat, first, settings)
    if not options.bark:
        return _Edges(first, None, False, best.score)
    seen = bark.outside(flat, first)
    wide, clear = seen.width >= 0.022 and seen.difference >= 0.7, seen.width >= 0.01 and seen.difference >= 1.7
    if wide or (clear and seen.darker > 25):
        under = _under_bark(flat, seen.edge)
        return _Edges(seen.edge, first if under is None else under, False, best.score)
    return _Edges(first, _under_bark(flat, first), False, best.score)


def _under_bark(flat: FlatPhoto, outer: Path) -> Path | None:
    """Return the edge of the wood within an edge that holds bark; None where it holds none for certain."""
    seen = bark.inside(flat, outer)
    return seen.edge if seen.difference >= 1.85 and seen.darker >= 40 and seen.width >= 0.005 else None


def _outline(flat: FlatPhoto, found: _Edges) -> Outline | NotFound:
    outer = simple(found.outer)
    if outer is None:
        return NotFound("the edge found crosses itself", RETAKE)
    wood = None if found.wood is None else simple(found.wood)
    cut = longest_run(at_frame(flat, outer)) > CUT_RUN
    warnings = (CUT,) if cut and not found.plain else ()
    return Outline(
        as_points(outer),
        None if wood is None else as_points(wood),
        standard_error=_standard_error(flat, outer, found),
        cut_by_frame=cut and not found.plain,
        warnings=warnings,
    )


def _standard_error(flat: FlatPhoto, outer: Path, found: _Edges) -> float:
    """Return the standard error of the edge across itself, in mm (measured: see tests/bench/faces.py)."""
    share = PLAIN_ERROR if found.plain else 0.007 if found.wood is None else 0.008
    return float(np.hypot(share * mean_diameter(outer), 0.5 * flat.mm_per_px))
