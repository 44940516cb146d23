"""A straight ruler with ticks of a millimetre or of 1/16 or 1/32 inch, read by their spacing; figures aren't read."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from photonest.model import NotFound, Photo, Scale
from photonest.scale.advice import rolled
from photonest.scale.build import scale_from_view
from photonest.scale.camera import Array, View, prior_of
from photonest.scale.combine import combined, middle_of_photo
from photonest.scale.combs import Comb, combs
from photonest.scale.edges import Edge
from photonest.scale.lines import Lines
from photonest.scale.ruler_edges import WIDEST_MM, edges_across, edges_along, straight_lines, y_of
from photonest.scale.ruler_fit import Tick, TicksSeen, fit_ruler
from photonest.scale.second_edge import second_edge
from photonest.scale.tick_grid import band, grid, zone_line
from photonest.scale.tick_heights import INCH_MM, LEAST_TIMES, between_fives, tick_mm
from photonest.scale.tick_wave import centred, followed

LARGE_PX = 3000  # longer side of a photo that is looked through in half its size first
MOST_FOLLOWED, FOLLOWED_MORE, MOST_MEASURED = 16, 5, 4  # combs; after one is found
AS_CLEAR, MUCH = 0.3, 1.2  # as the best one at first sight; better
HIDDEN_IN, FAINT = (5, 2.5), 0.2  # millimetres in waves of fives and their overtones; strength from which they are seen
USUAL_DEPTHS_MM = 18.0, -18.0  # from a ruler's ticks on, where its other edge is not seen
TICK_ERROR_MM, TILTED = 0.02, 0.1  # of a tick; change of scale by tilt over half a ruler's length, as a share
SIZE_ERROR = 0.001  # of the ruler's own length, as a share, and for its top lying nearer than what it lies on
LARGEST_ERROR_PCT = 6.0
ONE_EDGE = (
    "Only the ticks along one edge of the ruler tell how it lies: where that edge slopes, as a tape measure's and a "
    "bevelled one do, lengths beside it come out wrong by some percents. Use one with ticks along both edges, or let "
    "its ends be seen."
)
UNTOLD = (
    "So little of the ruler is seen that 1/16 can't be told from 1/32 inch: 1/16 is taken. If its finest ticks are of "
    "1/32 inch, all is half as large as said. Let more of it be seen, or use the side with millimetres."
)


@dataclass(frozen=True)
class RulerOptions:
    """What a user must tell of the ruler.

    Attributes
    ----------
    ticks : str or None
        What its finest ticks stand for: "mm", or "inch" for sixteenths or thirty-seconds of an inch.
    """

    ticks: Literal["mm", "inch"] | None = None


class Ruler:
    """Finds a straight ruler level with the face."""

    name = "ruler"
    version = "1"
    Options = RulerOptions

    def find(self, photo: Photo, options: RulerOptions) -> Scale | NotFound:
        """Return the scale by the ruler, x along it; by both where there are two."""
        import cv2

        if options.ticks is None:
            return NotFound(
                "it was not said that a ruler lies there",
                "Of a ruler, say what its ticks are: --ruler mm, or inch.",
                absent=True,
            )
        grey = cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2GRAY)
        lines = straight_lines(photo.pixels)
        refusal = NotFound(
            "no ruler in sight", "Lay the ruler level with the face, its ticks up and sharp in the photo."
        )
        scales: list[Scale] = []
        tried: list[tuple[Comb, float]] = []
        for comb, tick in _searched(grey, lines, options.ticks):
            if len(tried) == MOST_MEASURED or (scales and any(_on_one_ruler(comb, *other) for other in tried)):
                continue
            scale = self._measured(photo, grey, lines, comb, tick)
            if isinstance(scale, Scale):
                scales.append(scale)
            elif not tried:
                refusal = scale
            tried.append((comb, tick))
        return combined(scales, middle_of_photo(photo.width, photo.height)) if scales else refusal

    def _measured(
        self, photo: Photo, grey: NDArray[np.uint8], lines: Lines, comb: Comb, tick: float
    ) -> Scale | NotFound:
        zone = band(grey, comb)
        seen = grid(grey, comb, zone)
        if len(seen) < 4:
            return NotFound("too little of the ruler's ticks is in sight", "Uncover more of it, or go nearer.")
        first = seen[len(seen) // 2][0]
        homography = rough_homography(comb, seen, tick, first)
        edges = edges_along(photo, lines, comb, tick)
        # a shadow or grain may run beside a ruler as straight as its edges: they tell where its ends are looked for
        along = zone_line(comb, zone) or next(iter(edges), None)
        if along is None:
            return NotFound("the ruler's edges are not in sight", "Lay it on a ground of another colour.")
        homography = homography @ np.array([[1, 0, 0], [0, 1, y_of(homography, along)], [0, 0, 1]])
        across: list[Edge] = []
        for depth in (*sorted((y_of(homography, edge) for edge in edges), key=abs, reverse=True), *USUAL_DEPTHS_MM):
            if len(across) < 2 and abs(depth) > 8.0:
                across = max(across, edges_across(photo, comb, tick, first, homography, depth), key=len)
        other = _other_ticks(grey, comb, tick)
        if other:  # how a band leans tells little beside that, and wrongly where the ruler is arched or bevelled
            seen, other = ([(at, px.mean(axis=0)[None], error) for at, px, error in part] for part in (seen, other))
        ruler = TicksSeen(seen, other, along, tick, first, comb)
        answer = fit_ruler(prior_of(photo), homography, ruler, across)
        if answer is None:
            return NotFound("the ruler's ticks are not even enough, or not in one plane", "Keep the ruler flat.")
        view, other_view, by_one_edge = answer
        rim = _rim(view, seen, edges)
        untold = tick == INCH_MM / 16 and comb.ticks[-1] - comb.ticks[0] < 32 * LEAST_TIMES + 1
        turned = rolled(self.name, view)
        if isinstance(turned, NotFound):
            return turned
        warnings = (*((UNTOLD,) if untold else ()), *((ONE_EDGE,) if by_one_edge else ()), *turned)
        scale = scale_from_view(
            self.name, photo, view, rim, alternative=other_view, size_error=SIZE_ERROR, warnings=warnings
        )
        if isinstance(scale, Scale) and scale.standard_error_pct > LARGEST_ERROR_PCT:
            why = "one edge alone tells how it lies, and may slope" if by_one_edge else "ticks too fine or faint"
            return NotFound(
                f"the ruler would give lengths to {scale.standard_error_pct:.0f} % only: {why}",
                "Use one with ticks along both edges, go nearer, keep it out of glare, let both its ends be seen, and "
                "take the photo from straight above.",
            )
        return scale


def _searched(grey: NDArray[np.uint8], lines: Lines, ticks: Literal["mm", "inch"]) -> Iterator[tuple[Comb, float]]:
    """Yield what `_found` does; of a large photo in half its size, and in full where nothing is found so."""
    import cv2

    if max(grey.shape) > LARGE_PX:
        half = cv2.resize(grey, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
        found = _found(half, combs(half, (lines.ends + 0.5) / 2 - 0.5), ticks)
        yield from ((centred(grey, comb.doubled()), tick) for comb, tick in found)
        if found:
            return
    yield from _found(grey, combs(grey, lines.ends), ticks)


def _found(grey: NDArray[np.uint8], candidates: list[Comb], ticks: Literal["mm", "inch"]) -> list[tuple[Comb, float]]:
    """Return rulers' ticks and what they stand for in mm, those first that are seen clearest and along most of a line.

    One that can't be much better than the best is looked at only if it may be another ruler's, about as clear at first
    sight. Where no millimetres are found so, they may lie between ticks of five that stand out more.
    """
    found: list[tuple[float, Comb, float]] = []
    untold: list[Comb] = []
    most, clearest, left = 0.0, 0.0, MOST_FOLLOWED
    for candidate in candidates:
        if len(candidate.ticks) < MUCH * most and (  # no strength is above one
            candidate.strength < AS_CLEAR * clearest or any(_on_one_ruler(candidate, one, its) for _, one, its in found)
        ):
            continue
        left -= 1
        if left < 0:
            break
        comb = followed(grey, candidate)
        tick = None if comb is None else tick_mm(grey, comb, ticks)
        if comb is None or tick is None:
            untold += [] if comb is None else [comb]
            continue
        comb, tick = _finest(grey, comb, tick)
        found.append((comb.strength * len(comb.ticks), comb, tick))
        left = min(left, FOLLOWED_MORE)
        if found[-1][0] > most:
            most, clearest = found[-1][0], candidate.strength
    if not found and ticks == "mm":
        hidden = [centred(grey, replace(comb, ticks=comb.ticks * parts)) for comb in untold for parts in HIDDEN_IN]
        seen = [
            one for one in hidden if one.strength > FAINT and tick_mm(grey, one, ticks) and between_fives(grey, one)
        ]
        found = [(comb.strength * len(comb.ticks), comb, 1.0) for comb in seen]
    return [(comb, tick) for _, comb, tick in sorted(found, key=lambda one: -one[0])]


def _finest(grey: NDArray[np.uint8], comb: Comb, tick: float) -> tuple[Comb, float]:
    """Return the ticks that measure best: of eighths of an inch sixteenths, if these are seen better."""
    fine = centred(grey, replace(comb, ticks=2 * comb.ticks)) if tick == INCH_MM / 8 else comb
    return (fine, tick / 2) if fine.strength > comb.strength else (comb, tick)


def _on_one_ruler(comb: Comb, other: Comb, tick: float) -> bool:
    """Whether ticks lie where a ruler reaches whose other ticks are known, and what those stand for."""
    rest = comb.place(np.array(len(comb.ticks) / 2), np.array(0.0)) - other.start
    aside, at = abs(float(rest @ other.across)), float(rest @ other.along)
    return aside < WIDEST_MM / tick * other.pitch and 0 < at < len(other.ticks)


def _other_ticks(grey: NDArray[np.uint8], comb: Comb, tick: float) -> list[Tick]:
    """Return ticks of the ruler's other edge as `grid` does, but for their numbers, which are in mm from any place."""
    found = second_edge(grey, comb, tick)
    if found is None:
        return []
    other, spacing = found
    seen = grid(grey, other, band(grey, other))
    middle = seen[len(seen) // 2][0] if seen else 0.0
    return [((number - middle) * spacing, points, error) for number, points, error in seen]


def rough_homography(comb: Comb, seen: list[Tick], tick: float, first: float) -> Array:
    """Return a homography from mm to pixels by where the ticks are seen; across them, mm are taken to look as along.

    With (u, v) along and across the ticks' line, x = (h0 + h1 u + h2 v) / (1 + g0 u + g1 v): linear in all five.
    """
    px = np.concatenate([points for _, points, _ in seen])
    x = np.repeat([(number - first) * tick for number, _, _ in seen], [len(points) for _, points, _ in seen])
    frame = np.column_stack([comb.along, comb.across])
    middle, unit = px.mean(axis=0), len(comb.ticks) / 2
    u, v = ((px - middle) @ frame / unit).T
    rows = np.column_stack([np.ones_like(u), u, v, -x * u, -x * v])
    # ticks are short: what they say of the change across the ruler is held to what tilts of cameras do
    rows, x = np.vstack([rows, [0, 0, 0, 0, TICK_ERROR_MM / TILTED]]), np.append(x, 0.0)
    h, *_ = np.linalg.lstsq(rows, x, rcond=None)
    to_mm = np.array([[h[1], h[2], h[0]], [0.0, abs(h[1]), 0.0], [h[3], h[4], 1.0]])
    to_px = np.eye(3)
    to_px[:2, :2], to_px[:2, 2] = frame * unit, middle
    return np.asarray(to_px @ np.linalg.inv(to_mm))


def _rim(view: View, seen: list[Tick], edges: list[Edge]) -> Array:
    """Return corners around all that was seen of the ruler, in pixels."""
    px = np.concatenate([*[points for _, points, _ in seen], *[edge.px for edge in edges]])
    (x0, y0), (x1, y1) = (function(view.to_mm(px), axis=0) for function in (np.min, np.max))
    return view.to_px([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
