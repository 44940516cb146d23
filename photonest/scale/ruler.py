"""A straight ruler with ticks of a millimetre or of 1/16 or 1/32 inch, read by their spacing; figures aren't read."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import light
from photonest.model import NotFound, Photo, Scale
from photonest.scale.advice import rolled
from photonest.scale.build import scale_from_view
from photonest.scale.camera import TURN, Array, Prior, View, mapped, prior_of
from photonest.scale.combine import combined, middle_of_photo
from photonest.scale.combs import Comb, combs
from photonest.scale.edges import Edge, coarse_edge, fine_edge
from photonest.scale.lines import Lines, joined, straight_segments
from photonest.scale.sides import Side, fit_sides
from photonest.scale.tick_grid import CLEARLY, band, grid, zone_line
from photonest.scale.tick_heights import INCH_MM, LEAST_TIMES, between_fives, tick_mm
from photonest.scale.tick_wave import centred, followed, projective

SEARCH_PX, SHORTEST, SMOOTH_PX = 640, 0.06, 0.7  # picture that lines are looked for in; line, as a share; blur
MOST_FOLLOWED, MOST_MEASURED = 16, 4  # combs
AS_CLEAR, MUCH = 0.3, 1.2  # as the best one at first sight; better
HIDDEN_IN, FAINT = (5, 2.5), 0.2  # millimetres in waves of fives and their overtones; strength from which they are seen
WIDEST_MM, USUAL_DEPTHS_MM = 80.0, (18.0, -18.0)  # ruler; from its ticks on, where its other edge is not seen
END_MM, ASKEW = 10.0, 0.12  # how far its end may be from its last tick; how far off square, as a slope
PARALLEL, PARALLEL_FAR = 0.004, 0.00012  # slope that an edge may be off, and by how much more per pixel away
BESIDE_PX = 3.0  # how far beside an edge light is looked at
END_ERROR_PX = 0.06  # of a piece of its end, at least
TICK_ERROR_MM, TILTED = 0.02, 0.1  # of a tick; change of scale by tilt over half a ruler's length, as a share
# ticks as a whole stray by so many pixels; by more if finer, as what JPEG keeps of fine waves leans to its rows
TICK_STRAY, FINE_PITCH = 0.012, 3.0
END_SEEN = 0.85  # share of an end that must be straight: of less, something else may be a part
WORST_END, WORST_TICK = 2.5, 4.0  # residuals over their expectation beyond which an end or a tick is left out
# squared standard errors by which an end may turn the plane that the ticks alone are seen in: beyond, it is none
WORST_TURN = 9.0
SIZE_ERROR = 0.001  # of the ruler's own length, as a share, and for its top lying nearer than what it lies on
LARGEST_ERROR_PCT = 6.0
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
        for comb, tick in _found(grey, combs(grey, lines.ends), options.ticks):
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
        answer = _fitted(prior_of(photo), homography, seen, along, across, tick, first, comb)
        if answer is None:
            return NotFound("the ruler's ticks are not even enough, or not in one plane", "Keep the ruler flat.")
        view, other_view = answer
        rim = _rim(view, seen, edges)
        untold = tick == INCH_MM / 16 and comb.ticks[-1] - comb.ticks[0] < 32 * LEAST_TIMES + 1
        turned = rolled(self.name, view)
        if isinstance(turned, NotFound):
            return turned
        warnings = (*((UNTOLD,) if untold else ()), *turned)
        scale = scale_from_view(
            self.name, photo, view, rim, alternative=other_view, size_error=SIZE_ERROR, warnings=warnings
        )
        if isinstance(scale, Scale) and scale.standard_error_pct > LARGEST_ERROR_PCT:
            return NotFound(
                f"the ruler would give lengths to {scale.standard_error_pct:.0f} % only: ticks too fine or faint",
                "Go nearer, keep it out of glare, let both its ends be seen, and take the photo from straight above.",
            )
        return scale


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


def _fitted(
    prior: Prior,
    homography: Array,
    seen: list[tuple[float, Array, float]],
    along: Edge,
    across: list[Edge],
    tick: float,
    first: float,
    comb: Comb,
) -> tuple[View, View | None] | None:
    """Return the most likely view and the second; an end that nothing else agrees with is left out.

    Parameters
    ----------
    along : Edge
        What runs along the ruler.
    across : list of Edge
        Its ends.
    """
    inverse: Array = np.asarray(np.linalg.inv(homography))
    ends = [edge._replace(error_px=max(edge.error_px, END_ERROR_PX)) for edge in across]
    stray = TICK_STRAY * max(1.0, FINE_PITCH / comb.pitch) ** 4 * max(1.0, CLEARLY / comb.strength) ** 2

    def fitted(
        seen: list[tuple[float, Array, float]], error: float, ends: list[Edge]
    ) -> tuple[tuple[View, View | None] | None, list[Side], list[Edge]]:
        free = np.eye(len(ends) + 1)[:, 1:]
        sides = [Side((1.0, 0.0), (number - first) * tick, (0.0,) * len(ends)) for number, _, _ in seen]
        for k, (outward, edge) in enumerate([((0.0, 1.0), along), *[((1.0, 0.0), end) for end in ends]]):
            at = float((mapped(inverse, edge.px) @ outward).mean())
            sides.append(Side(outward, at, tuple(free[k])))
        edges = [*[Edge(points, error, 1.0) for _, points, _ in seen], along, *ends]
        errors = (WIDEST_MM,) * len(ends)
        return fit_sides(prior, homography, sides, edges, errors, (0.0, 0.0), side_px=stray), sides, edges

    error, grown = seen[0][2], False
    alone = fitted(seen, error, [])[0] if ends else None
    if alone is not None:
        ends = [end for end in ends if _agree(alone, fitted(seen, error, [end])[0])]
    while True:
        answer, sides, edges = fitted(seen, error, ends)
        if answer is None:
            return None
        off = [_off(answer[0], side, edge) for side, edge in zip(sides, edges, strict=True)]
        ratio = [float(np.sqrt((part**2).mean())) / edge.error_px for part, edge in zip(off, edges, strict=True)]
        worst = ratio[len(seen) + 1 :]
        if worst and max(worst) > WORST_END:
            del ends[int(np.argmax(worst))]
            continue
        rough = 1.4826 * float(np.median(np.abs(np.concatenate(off[: len(seen)]))))
        straying = [float(np.sqrt((part**2).mean())) > WORST_TICK * rough for part in off[: len(seen)]]
        if grown or (rough < 1.3 * error and not any(straying)):
            return answer
        seen = [one for one, strays in zip(seen, straying, strict=True) if not strays]
        error, grown = max(rough, error), True


def _agree(alone: tuple[View, View | None], other: tuple[View, View | None] | None) -> bool:
    """Whether ticks alone may be seen as a view has it that holds more: their plane is turned as far as they allow."""
    if other is None:
        return False
    return min(_turned(view, other[0]) for view in alone if view is not None) < WORST_TURN


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


def y_of(homography: Array, edge: Edge) -> float:
    """Return how far across the ruler an edge lies, in mm."""
    return float(mapped(np.asarray(np.linalg.inv(homography)), edge.px)[:, 1].mean())


def straight_lines(pixels: NDArray[np.uint8]) -> Lines:
    """Return straight lines in a picture, the longest first: what is edged in red, in blue or in evened tones."""
    import cv2

    factor = min(1.0, SEARCH_PX / max(pixels.shape))
    small = cv2.resize(pixels, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA) if factor < 1 else pixels
    ratio = np.array(small.shape[1::-1]) / pixels.shape[1::-1]
    smooth = cv2.GaussianBlur(small, (0, 0), SMOOTH_PX)
    detector = cv2.createLineSegmentDetector(cv2.LSD_REFINE_NONE, 1.0)
    found = [detector.detect(np.ascontiguousarray(smooth[..., channel]))[0] for channel in (0, 2)]
    ends = [straight_segments(small).ends, *[part.reshape(-1, 2, 2) for part in found if part is not None]]
    lines = joined(Lines(np.concatenate(ends)), SHORTEST * SEARCH_PX)
    return Lines((lines.ends + 0.5) / ratio - 0.5)


def rough_homography(comb: Comb, seen: list[tuple[float, Array, float]], tick: float, first: float) -> Array:
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


def edges_along(photo: Photo, lines: Lines, comb: Comb, tick: float) -> list[Edge]:
    """Return the clearest straight edge on either side of the ticks that runs along the ruler, the nearer one first.

    What is parallel to the ruler meets its line where its ticks come infinitely close. Grain and scratches are straight
    too, but not quite parallel; less light changes across them than across the ruler's own edges.
    """
    length = len(comb.ticks)
    vanishing = -projective(comb.ticks)[2]  # one over the place
    rest = lines.ends - comb.start
    aside, at = rest @ comb.across, rest @ comb.along
    slope = np.diff(aside, axis=1)[:, 0] / np.diff(at, axis=1)[:, 0]
    middle = at.mean(axis=1)
    expected = -aside.mean(axis=1) * vanishing / (1 - middle * vanishing)
    parallel = np.abs(slope - expected) < PARALLEL + PARALLEL_FAR * np.abs(aside).max(axis=1)
    near = np.abs(aside).max(axis=1) < WIDEST_MM / tick * comb.pitch
    overlap = np.minimum(at.max(axis=1), length) - np.maximum(at.min(axis=1), 0)
    found: dict[bool, tuple[float, float, Edge]] = {}
    reach = max(3.0, 2.0 * max(photo.width, photo.height) / SEARCH_PX)
    for k in np.flatnonzero(parallel & near & (overlap > 0.3 * length)):
        moved = coarse_edge(photo.pixels, lines.ends[k], reach)
        if moved is None or moved[1] < 0.5:
            continue
        edge = fine_edge(photo.pixels, moved[0], 4.0, 0.04, pieces=16)
        if edge is None or edge.share < 0.5 or edge.error_px > 0.4:
            continue
        off = float((edge.px.mean(axis=0) - comb.start) @ comb.across) - comb.aside
        clear = change_across(photo, edge, comb.across)
        if clear > found.get(off > 0, (0.0,))[0]:
            found[off > 0] = clear, abs(off), edge
    return [edge for _, _, edge in sorted(found.values(), key=lambda one: one[1])]


def change_across(photo: Photo, edge: Edge, across: Array) -> float:
    """Return how much light changes from one side of an edge to the other, the mean of its points."""
    sides = []
    for step in (-BESIDE_PX, BESIDE_PX):
        x, y = np.rint(edge.px + step * across).astype(int).T
        x, y = np.clip(x, 0, photo.width - 1), np.clip(y, 0, photo.height - 1)
        sides.append(light(photo.pixels[y, x][None])[0].mean(axis=0))
    return float(np.linalg.norm(sides[1] - sides[0]))


def edges_across(photo: Photo, comb: Comb, tick: float, first: float, homography: Array, depth: float) -> list[Edge]:
    """Return the ruler's two ends, where they are seen as straight edges square to it.

    Parameters
    ----------
    depth : float
        How far the ruler reaches from its ticks' edge, in mm; negative the other way.
    """
    ends = []
    for number in (comb.ticks[0], comb.ticks[-1]):
        x = (number - first) * tick
        line = mapped(homography, np.array([[x, 0.1 * depth], [x, 0.9 * depth]]))
        moved = coarse_edge(photo.pixels, line, END_MM / tick * comb.pitch)
        if moved is None or moved[1] < 0.75:
            continue
        edge = fine_edge(photo.pixels, moved[0], 4.0, 0.03, pieces=12)
        if edge is None or edge.share < END_SEEN or edge.error_px > 0.4:
            continue
        drawn = mapped(np.asarray(np.linalg.inv(homography)), edge.px)
        if abs(np.polyfit(drawn[:, 1], drawn[:, 0], 1)[0]) < ASKEW:
            ends.append(edge)
    return ends


def _rim(view: View, seen: list[tuple[float, Array, float]], edges: list[Edge]) -> Array:
    """Return corners around all that was seen of the ruler, in pixels."""
    px = np.concatenate([*[points for _, points, _ in seen], *[edge.px for edge in edges]])
    (x0, y0), (x1, y1) = (function(view.to_mm(px), axis=0) for function in (np.min, np.max))
    return view.to_px([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
