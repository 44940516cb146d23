"""Markers cut out and laid around the face, and strips of them: each loose piece of known size in one plane."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from photonest.model import NotFound, Photo, Scale
from photonest.scale.advice import SEEMS_CROPPED
from photonest.scale.board import CHECK_LINE_MM, MARKER_CELLS, marker_cells
from photonest.scale.build import scale_from_view
from photonest.scale.camera import Array, mapped, prior_if_cropped, prior_of, strained
from photonest.scale.cut_outs import MARGIN_MM, SIDE_MM, piece_of, place_on_piece
from photonest.scale.edges import Edge, coarse_edges, fine_edges
from photonest.scale.marker_sheet import PRINT_ERROR, READING_MM, print_stretch
from photonest.scale.seen_markers import seen_markers
from photonest.scale.side_points import Side
from photonest.scale.sides import fit_loose

SIDE_ERROR_PX = 0.05  # of a printed side alone
WORST_FIT = 2.5  # mean squared residual over its expectation, of most edges of a piece that lies in the plane
MOST_OFF = 0.3  # share of the pieces that may lie otherwise
INNER_LINES = 4  # of a marker that are measured: more take time and tell little
CLEAR_SHARE = 0.7  # of an edge of a marker must be seen
LEAST_MISFIT = 0.2  # mean squared residual over its expectation, however well all agree
OVERLAP = 0.35  # share of the covariance that is no error counted twice
# where paper is blown out, the ripples that JPEG leaves beside edges are cut off at white: a marker looks larger than
# its inner edges tell, each side by so much of what it is unsure of for being blown out; as measured on drawn ones
RIPPLES = 0.25
FEW = 3  # pieces below which the user is told to lay out more


@dataclass(frozen=True)
class MarkersOptions:
    """What a user may tell about the print.

    Attributes
    ----------
    check_line_mm : float or None
        The printed check line as measured with a ruler; None takes it to be as long as it should be.
    """

    check_line_mm: float | None = None


class Markers:
    """Finds markers and strips of the project's own cut-out sheets, lying loose and level with the face."""

    name = "markers"
    version = "1"
    Options = MarkersOptions

    def find(self, photo: Photo, options: MarkersOptions) -> Scale | NotFound:
        """Return the scale by all pieces in sight; its frame is mm from the corner of the one seen largest."""
        stretch = print_stretch(options.check_line_mm)
        if isinstance(stretch, NotFound):
            return stretch
        found = _largest_first(detected(photo))
        sides, edges, shown = _sides(photo, found, stretch)
        if seen_markers(photo).mirrored:
            return NotFound(
                "the photo is mirrored: its markers read backwards",
                "Use the photo as the camera took it, not mirrored.",
            )
        if len(edges) < 4:
            return NotFound(
                "no cut-out markers in sight",
                "Lay four or more of them flat around the face, all of each in the photo, or use the marker sheet.",
                absent=True,
            )
        first, pieces = shown[0], len({side.shape for side in sides})
        homography = _homography(first, found[first], stretch)
        middle = (SIDE_MM / 2 * stretch, SIDE_MM / 2 * stretch)
        prior = prior_of(photo)
        answer = fit_loose(prior, homography, sides, edges, middle, SIDE_ERROR_PX)
        cut = answer is not None and strained(answer.view, prior)
        if cut:
            answer = fit_loose(prior_if_cropped(photo), homography, sides, edges, middle, SIDE_ERROR_PX)
        off = [] if answer is None else _out_of_plane(sides, answer.misfits)
        if answer is None or answer.view.covariance is None or len(off) > MOST_OFF * pieces:
            return NotFound(
                "the cut-out markers don't lie in one plane", "Lay all of them flat and level with the face."
            )
        misfit = answer.view.cost / sum(len(edge.px) for edge in edges)
        view = replace(answer.view, covariance=OVERLAP * max(LEAST_MISFIT, misfit) * answer.view.covariance)
        warnings: tuple[str, ...] = (SEEMS_CROPPED,) if cut else ()
        if off:
            warnings += (
                f"{len(off)} of {pieces} loose markers hardly count: not level with the others, or bent. Lay all of "
                "them flat and level with the face.",
            )
        if pieces < FEW:
            warnings += (f"Only {pieces} loose markers in sight: four or more around the face measure far better.",)
        printed = PRINT_ERROR if options.check_line_mm is None else READING_MM / CHECK_LINE_MM
        return scale_from_view(
            self.name,
            photo,
            view,
            [_paper(number, corners, stretch) for number, corners in found.items()],
            alternative=answer.other,
            size_error=math.hypot(printed, _ripples(edges, found)),
            reference_error=printed,
            warnings=warnings,
        )


def _ripples(edges: list[Edge], found: dict[int, Array]) -> float:
    """Return by which share all pieces may look larger together, where their paper is blown out.

    What moves a marker's sides matters less the farther apart a strip's are.
    """
    pieces: dict[int | None, list[Array]] = {}
    for number, corners in found.items():
        pieces.setdefault(piece_of(number), []).append(corners)
    sizes = [float(np.linalg.norm(np.ptp(np.concatenate(corners), axis=0))) for corners in pieces.values()]
    return 2 * RIPPLES * float(np.mean([edge.shared_px for edge in edges])) / (float(np.mean(sizes)) / math.sqrt(2))


def _out_of_plane(sides: list[Side], misfits: Array) -> list[int]:
    """Return the pieces of which most edges don't fit to the others'."""
    piece = np.array([side.shape for side in sides])
    return [k for k in np.unique(piece) if np.median(misfits[piece == k]) > WORST_FIT]


def detected(photo: Photo) -> dict[int, Array]:
    """Return the corners, clockwise as printed, shape (4, 2), of each cut-out marker in sight, by number.

    A number seen twice is left out: copies can't be told apart.
    """
    seen = seen_markers(photo)
    return {
        number: px
        for number, px in zip(seen.numbers, seen.px, strict=True)
        if piece_of(number) is not None and seen.numbers.count(number) == 1
    }


def _largest_first(found: dict[int, Array]) -> dict[int, Array]:
    import cv2

    return dict(sorted(found.items(), key=lambda item: -cv2.contourArea(item[1].astype(np.float32))))


def _sides(photo: Photo, found: dict[int, Array], stretch: float) -> tuple[list[Side], list[Edge], list[int]]:
    """Return the edges of all markers seen, where they are on their pieces in mm, and the markers' numbers.

    One outer side of a marker may be hidden.
    """
    sides: list[Side] = []
    edges: list[Edge] = []
    pieces: dict[int, int] = {}
    shown: list[int] = []
    for number, corners in found.items():
        homography = _homography(number, corners, stretch)
        cell = float(np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1).min()) / MARKER_CELLS
        seen = _edges(photo, number, homography, cell, stretch)
        if seen[:4].count(None) > 1:
            continue
        shown.append(number)
        shape = pieces.setdefault(piece_of(number) or 0, len(pieces))
        for line, edge in zip(lines(number), seen, strict=True):
            if edge is not None:
                sides.append(line.side(number, stretch, shape))
                edges.append(edge)
    return sides, edges, shown


@dataclass(frozen=True)
class Line:
    """A straight edge of a marker's print: from one point to another, in cells, dark on its right as seen."""

    start: tuple[int, int]
    end: tuple[int, int]

    @property
    def cells(self) -> int:
        """Its length."""
        return abs(self.end[0] - self.start[0]) + abs(self.end[1] - self.start[1])

    def ends_mm(self, number: int) -> Array:
        """Return its ends on the marker's piece, shape (2, 2)."""
        return np.array([self.start, self.end]) * (SIDE_MM / MARKER_CELLS) + place_on_piece(number)

    def side(self, number: int, stretch: float, shape: int) -> Side:
        """Return it as a side of what is dark."""
        start, end = self.ends_mm(number) * stretch
        x, y = (end - start) / np.linalg.norm(end - start)
        return Side((float(y), float(-x)), float(y * start[0] - x * start[1]), (), shape)


@cache
def lines(number: int) -> list[Line]:
    """Return the four outer sides of a marker, then its longest inner edges, one on a line between cells.

    Where the print's dark parts look too large or too small, outer and inner edges, dark to opposite sides, show it.
    """
    cells = marker_cells(number)
    n = MARKER_CELLS
    found = [Line((0, 0), (n, 0)), Line((n, 0), (n, n)), Line((n, n), (0, n)), Line((0, n), (0, 0))]
    for k in range(1, n):
        for flipped in (False, True):
            step = cells.T[k].astype(int) - cells.T[k - 1] if not flipped else cells[k].astype(int) - cells[k - 1]
            first, last = _longest_run(step)
            if last - first < 2:
                continue
            dark_after = step[first] > 0
            if flipped:  # along x, at y = k; dark below: it lies on the right going right
                ends = ((first, k), (last, k)) if dark_after else ((last, k), (first, k))
            else:  # along y, at x = k; dark to the right of it: it lies on the right going up
                ends = ((k, last), (k, first)) if dark_after else ((k, first), (k, last))
            found.append(Line(*ends))
    inner = sorted(found[4:], key=lambda line: -line.cells)
    return found[:4] + inner[:INNER_LINES]


def _longest_run(step: NDArray[np.int_]) -> tuple[int, int]:
    """Return from where to where the longest run of one same value other than 0 reaches."""
    best, begin = (0, 0), 0
    for at in range(1, len(step) + 1):
        if at == len(step) or step[at] != step[begin]:
            if step[begin] and at - begin > best[1] - best[0]:
                best = (begin, at)
            begin = at
    return best


def _edges(photo: Photo, number: int, homography: Array, cell: float, stretch: float) -> list[Edge | None]:
    """Return a marker's `lines` as seen, None for each that is hidden.

    Parameters
    ----------
    homography : ndarray, shape (3, 3)
        About from the mm of its piece to pixels.
    cell : float
        Side of one of its cells, in pixels.
    """
    reach = float(np.clip(0.45 * cell, 2.0, 8.0))
    ends = mapped(homography, np.array([line.ends_mm(number) for line in lines(number)]) * stretch)
    cells = np.array([line.cells for line in lines(number)])
    moved = coarse_edges(photo.pixels, ends, reach)
    seen: NDArray[np.bool_] = np.array([there is not None and there[1] >= CLEAR_SHARE for there in moved])
    ends[seen] = [there[0] for there, clear in zip(moved, seen, strict=True) if there is not None and clear]
    found: list[Edge | None] = [None] * len(ends)
    for which, pieces in ((np.flatnonzero(seen & (cells > 5)), 10), (np.flatnonzero(seen & (cells <= 5)), 6)):
        fine = fine_edges(photo.pixels, ends[which], reach, np.minimum(0.25, 0.5 / cells[which]), pieces)
        for k, edge in zip(which, fine, strict=True):
            found[k] = edge if edge is not None and edge.share > CLEAR_SHARE else None
    return found


def _homography(number: int, corners: Array, stretch: float) -> Array:
    import cv2

    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * SIDE_MM + place_on_piece(number)
    return np.asarray(
        cv2.getPerspectiveTransform((square * stretch).astype(np.float32), corners.astype(np.float32)), float
    )


def _paper(number: int, corners: Array, stretch: float) -> Array:
    """Return the corners of a marker's paper in the photo, the white about it included, shape (4, 2)."""
    low, high = -MARGIN_MM, SIDE_MM + MARGIN_MM
    tile = np.array([[low, low], [high, low], [high, high], [low, high]]) + place_on_piece(number)
    return mapped(_homography(number, corners, stretch), tile * stretch)
