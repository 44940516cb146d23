"""A bar of two rows of alternating dark and light squares, as used in forestry; the user gives their side."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photonest.model import NotFound, Photo, Scale
from photonest.scale.advice import rolled
from photonest.scale.bar_fit import corner_marks, fit_bar
from photonest.scale.build import scale_from_view
from photonest.scale.camera import Array, View, mapped, prior_of
from photonest.scale.corners import in_picture, saddle_points
from photonest.scale.edges import Edge, coarse_edge, fine_edge
from photonest.scale.side_points import Side

SEARCH_PX = 1600  # longer side of the picture that corners are looked for in
MOST_CORNERS = 400
FEWEST_CORNERS = 5
FEWEST_EDGES = 8
MOST_TRIED = 4  # chains of corners
NEIGHBOURS = 1.6  # squares between corners of one thing
LOOKED_AT = (-1.5, -0.8, -0.3, 0.3, 0.8, 1.5)  # squares from the middle: in the rows, and where there are no more
GOES_ON = 0.4  # of the change from square to square where there is most, that there must be in rows, and not beside
PRINT_ERROR = 0.001  # of the side of a square as given, as a share; common practice, no source
MOST_MARGIN = 8  # quarters of a square that a bar's margin is wide at most
WHITISH = 0.8  # its tone over a white square's
MOST_STRAY_PX, MOST_STRAY = 0.3, 0.03  # that edges may be off their places; the same as a share of a square


@dataclass(frozen=True)
class BarOptions:
    """What a user must tell of the bar.

    Attributes
    ----------
    square_mm : float or None
        Side of a square, in mm.
    """

    square_mm: float | None = None


class Bar:
    """Finds a chequered bar level with the face."""

    name = "bar"
    version = "1"
    Options = BarOptions

    def find(self, photo: Photo, options: BarOptions) -> Scale | NotFound:
        """Return the scale by the bar; x runs along it, from a corner between its rows."""
        import cv2

        square = options.square_mm
        if square is None:
            return NotFound(
                "the side of the bar's squares was not given",
                "Give the side of a chequered bar's squares, as --bar-square MM.",
                absent=True,
            )
        if not (math.isfinite(square) and 1 <= square <= 500):
            return NotFound(
                f"squares of {square:g} mm can't be right", "Give the side of one square in mm, from 1 to 500."
            )
        grey = cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2GRAY)
        points, dark = saddles(grey)
        refusal: NotFound | None = None
        for _ in range(MOST_TRIED):
            chain = longest_chain(points, dark)
            if len(chain) < FEWEST_CORNERS:
                break
            answer = self._measured(photo, grey, chain, square)
            if isinstance(answer, Scale):
                return answer
            refusal = answer if refusal is None else refusal
            left = _elsewhere(points, chain)
            points, dark = points[left], dark[left]
        if refusal is not None:
            return refusal
        return NotFound(
            "no chequered bar in sight",
            f"Lay the bar level with the face: {FEWEST_CORNERS} or more corners between its two rows must be seen.",
        )

    def _measured(self, photo: Photo, grey: NDArray[np.uint8], chain: Array, square: float) -> Scale | NotFound:
        number, points = chain[:, 0], chain[:, 1:]
        pitch = float(np.median(np.linalg.norm(np.diff(points, axis=0), axis=1) / np.diff(number)))
        points = saddle_points(grey, points, 0.25 * pitch)
        homography = _first(number, points, square)
        if homography is None:
            return NotFound("the bar's corners lie on no straight line", "Keep the bar straight and flat.")
        sides, edges = _edges(photo, homography, number, square, pitch)
        if len(edges) < FEWEST_EDGES:
            return NotFound("too few squares of the bar are in sight", "Uncover more of it, or go nearer.")
        homography = _second(homography, sides, edges, square)
        corner_sides, corners = corner_marks(points, saddle_points(grey, points, 0.14 * pitch))
        answer = fit_bar(
            prior_of(photo), homography, sides + corner_sides, edges + corners, (float(np.median(number)) * square, 0.0)
        )
        if answer is None or answer[2] > max(MOST_STRAY_PX, MOST_STRAY * pitch):
            return NotFound(
                "the bar's squares are not even enough, or not in one plane", "Keep the bar straight and flat."
            )
        view, other, _ = answer
        if _not_two_rows(grey, view, number, square):
            return NotFound(
                "what is chequered has not two rows of squares: it is a board or cloth, not a bar",
                "Lay the bar where nothing else is chequered.",
            )
        turned = rolled(self.name, view)
        if isinstance(turned, NotFound):
            return turned
        low, high = float(number.min() - 1) * square, float(number.max() + 1) * square
        rim = _with_margins(grey, view, np.array([[low, -square], [high, square]]), square)
        return scale_from_view(self.name, photo, view, rim, alternative=other, size_error=PRINT_ERROR, warnings=turned)


def _with_margins(grey: NDArray[np.uint8], view: View, box: Array, square: float) -> Array:
    """Return corners around a bar in pixels, shape (4, 2): a box in mm about its squares, and the white about that."""

    def along(line: Array) -> NDArray[np.uint8]:
        px = np.rint(view.to_px(np.linspace(line[0], line[1], 200))).astype(int)
        px = px[((px >= 0) & (px < grey.shape[::-1])).all(axis=1)]
        return np.asarray(grey[px[:, 1], px[:, 0]])

    white = np.percentile(
        along(np.array([[box[0, 0], square / 2], [box[1, 0], square / 2]])), 75
    )  # half of the squares in a row are white
    for axis, end in ((0, 0), (0, 1), (1, 0), (1, 1)):
        for _ in range(MOST_MARGIN):
            line = box.copy()
            line[:, axis] = box[end, axis] + (end - 0.5) * square / 2
            seen = along(line)
            if not len(seen) or np.median(seen) < WHITISH * white:
                break
            box[end, axis] = line[end, axis]
    (left, top), (right, bottom) = box
    return view.to_px(np.array([[left, top], [right, top], [right, bottom], [left, bottom]]))


def _not_two_rows(grey: NDArray[np.uint8], view: View, number: Array, square: float) -> bool:
    """Whether dark and light go on changing sides beside the bar's two rows, or not all across these, as on a board."""
    import cv2

    place = np.arange(number.min(), number.max())
    x, y = np.meshgrid((place + 0.5) * square, np.array(LOOKED_AT) * square)
    px = view.to_px(np.column_stack([x.ravel(), y.ravel()])).reshape(*x.shape, 2)
    inside = ((px >= 0) & (px <= np.array(grey.shape[::-1]) - 1)).all(axis=2)
    soft = cv2.blur(grey, (3, 3)).astype(np.float32)
    columns, rows = np.moveaxis(px.astype(np.float32), -1, 0)
    seen = cv2.remap(soft, columns, rows, cv2.INTER_LINEAR)
    count = np.maximum(inside.sum(axis=1, keepdims=True), 1)
    turn = np.where(inside, (-1.0) ** place, 0)
    turn -= np.where(inside, turn.sum(axis=1, keepdims=True) / count, 0)
    change = (seen * turn).sum(axis=1) / count[:, 0] * [1, -1, -1, 1, 1, -1]  # where one row is dark, the next is light
    own = change[1:5] * np.sign(change[2])
    beside = change[[0, -1]] * np.sign(change[2])
    return bool(own.min() < GOES_ON * own.max() or beside.max() > GOES_ON * own.max())


def _elsewhere(points: Array, chain: Array) -> NDArray[np.bool_]:
    """Return which corners belong to nothing that a chain's corners are part of, each near another."""
    near = NEIGHBOURS * float(np.median(np.linalg.norm(np.diff(chain[:, 1:], axis=0), axis=1) / np.diff(chain[:, 0])))
    apart = np.linalg.norm(points[:, None] - points[None], axis=2)
    part = (np.linalg.norm(points[:, None] - chain[None, :, 1:], axis=2) < 1e-6).any(axis=1)
    while True:
        more = (apart[:, part] < near).any(axis=1)
        if (more == part).all():
            return np.asarray(~part)
        part = more


def saddles(grey: NDArray[np.uint8]) -> tuple[Array, Array]:
    """Return where four squares may meet, shape (n, 2), in pixels, and which way dark lies there, shape (n,).

    The way is an angle modulo 180 degrees, that of the bisector of the dark squares.
    """
    import cv2

    longer = max(grey.shape)
    factor = min(1.0, SEARCH_PX / longer)
    small = grey if factor == 1 else cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    smooth = cv2.GaussianBlur(small.astype(np.float32), (0, 0), 1.6)
    xx, yy = cv2.Sobel(smooth, cv2.CV_32F, 2, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 2)
    xy = cv2.Sobel(smooth, cv2.CV_32F, 1, 1)
    strength = xy * xy - xx * yy
    peak = (strength == cv2.dilate(strength, np.ones((7, 7), np.uint8))) & (strength > 0)
    row, column = np.nonzero(peak[8:-8, 8:-8])
    row, column = row + 8, column + 8
    best = np.argsort(-strength[row, column], kind="stable")[: 3 * MOST_CORNERS]
    row, column = row[best], column[best]
    angle, good = _crossed(smooth, column.astype(float), row.astype(float))
    ratio = np.array(small.shape[::-1]) / np.array(grey.shape[::-1])
    points = (np.column_stack([column, row]).astype(float)[good] + 0.5) / ratio - 0.5
    return points[:MOST_CORNERS], angle[good][:MOST_CORNERS]


def _crossed(smooth: NDArray[np.float32], x: Array, y: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Return the bisector of the dark quarters about points, and whether there are two dark and two light ones."""
    import cv2

    turn = np.arange(24) * np.pi / 12
    ring = [cv2.remap(
        smooth,
        (x[:, None] + radius * np.cos(turn)).astype(np.float32),
        (y[:, None] + radius * np.sin(turn)).astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    ) for radius in (4.0, 6.0)]  # fmt: skip
    seen = np.mean(ring, axis=0).astype(float) if len(x) else np.zeros((0, 24))
    seen = seen - seen.mean(axis=1, keepdims=True)
    wave = seen @ np.exp(-2j * turn) / 12  # twice round: two light and two dark quarters
    rest = seen - (wave[:, None] * np.exp(2j * turn)).real
    # a square wave keeps 8 / pi^2 = 0.81 of its energy in the first harmonic
    share = 1 - (rest**2).sum(axis=1) / np.maximum((seen**2).sum(axis=1), 1e-9)
    dark = np.angle(-wave) / 2
    return np.asarray(-dark), np.asarray((share > 0.7) & (np.abs(wave) > 12))


def longest_chain(points: Array, dark: Array) -> Array:
    """Return the longest row of evenly spaced corners where dark and light change sides, as (number, x, y) rows.

    Spacing may change slowly along it, as perspective does; up to two corners running may be hidden.
    """
    best = np.zeros((0, 3))
    if len(points) < FEWEST_CORNERS:
        return best
    apart = np.linalg.norm(points[:, None] - points[None], axis=2)
    np.fill_diagonal(apart, np.inf)
    for seed in range(len(points)):
        for other in np.argsort(apart[seed])[:4]:
            if seed < other and _turned(dark[seed], dark[other], 1):
                chain = _grown(points, dark, seed, int(other))
                if len(chain) > len(best):
                    best = chain
    return best


def _turned(one: float, other: float, steps: int) -> bool:
    """Whether the dark bisectors are square to each other after an odd number of steps, or alike after an even one."""
    turn = abs((one - other + np.pi / 2) % np.pi - np.pi / 2)
    return bool(turn > np.pi / 3.2 if steps % 2 else turn < np.pi / 5.5)


def _grown(points: Array, dark: Array, first: int, second: int) -> Array:
    """Return the chain through two neighbours, grown at both ends."""
    members = {0: first, 1: second}
    for ahead in (1, -1):
        here, before = (1, 0) if ahead == 1 else (0, 1)
        step = points[members[here]] - points[members[before]]
        while True:
            for skip in (1, 2, 3):
                off = np.linalg.norm(points - (points[members[here]] + skip * step), axis=1)
                near = int(off.argmin())
                fits = off[near] < 0.12 * skip * np.linalg.norm(step) + 1
                if fits and near not in members.values() and _turned(dark[members[here]], dark[near], skip):
                    break
            else:
                break
            members[here + ahead * skip] = near
            step = (points[near] - points[members[here]]) / skip
            here += ahead * skip
    numbers = sorted(members)
    return np.column_stack([numbers, points[[members[n] for n in numbers]]])


def _first(number: Array, points: Array, square: float) -> Array | None:
    """Return a first homography: the corners, and the rows' rims as if seen squarely."""
    import cv2

    step = np.gradient(points, number, axis=0)
    aside = step[:, ::-1] * [-1, 1]
    mm = np.concatenate([np.column_stack([number * square, np.full(len(number), y * square)]) for y in (-1, 0, 1)])
    px = np.concatenate([points - aside, points, points + aside])
    homography, _ = cv2.findHomography(mm, px)
    if homography is None:
        return None
    off = np.linalg.norm(mapped(np.asarray(homography), mm) - px, axis=1)
    return np.asarray(homography) if np.median(off) < 0.2 * np.linalg.norm(step, axis=1).mean() else None


def _edges(
    photo: Photo, homography: Array, number: Array, square: float, pitch: float
) -> tuple[list[Side], list[Edge]]:
    """Return the edges between squares that are in sight, in both rows, each with its place; outward is to the dark."""
    sides, edges = [], []
    for place in np.arange(number.min() - 1, number.max() + 2):
        for row in (-1.0, 1.0):
            ends = mapped(homography, np.array([[place, 0.12 * row], [place, 0.88 * row]]) * square)
            moved = coarse_edge(photo.pixels, ends, max(2.5, 0.22 * pitch))
            if moved is None or moved[1] < 0.75:
                continue
            edge = fine_edge(photo.pixels, moved[0], min(max(2.5, 0.3 * pitch), 8.0), 0.08, pieces=8)
            if edge is None or edge.share < 0.7 or not in_picture(edge.px, photo.pixels.shape, 1).all():
                continue
            outward = _darker(photo, edge.px, mapped(homography, np.array([[place + 0.3, 0.5 * row]]) * square)[0])
            sides.append(Side((outward, 0.0), outward * float(place) * square, ()))
            edges.append(edge)
    return sides, edges


def _second(homography: Array, sides: list[Side], edges: list[Edge], square: float) -> Array:
    """Return a better homography: edges have their middles in the middle of their rows."""
    import cv2

    px = np.array([edge.px.mean(axis=0) for edge in edges])
    row = np.sign(mapped(np.asarray(np.linalg.inv(homography)), px)[:, 1])
    mm = np.column_stack([[side.at * side.outward[0] for side in sides], row * square / 2])
    better, _ = cv2.findHomography(mm, px, cv2.RANSAC, 3.0)
    return homography if better is None else np.asarray(better)


def _darker(photo: Photo, edge_px: Array, beyond_px: Array) -> float:
    """Return 1 where it is darker beyond an edge, else -1."""
    middle = edge_px.mean(axis=0)
    values = []
    for point in (beyond_px, 2 * middle - beyond_px):
        x, y = np.clip(np.rint(point).astype(int), 0, [photo.width - 1, photo.height - 1])
        values.append(int(photo.pixels[y, x].sum()))
    return 1.0 if values[0] < values[1] else -1.0


def bar_raster(squares: int, px_per_square: int) -> NDArray[np.uint8]:
    """Return a bar of two rows of squares with a light margin of half a square, as a grey picture, for trials."""
    rows, columns = np.indices((2, squares))
    dark = np.where((rows + columns) % 2, 255, 20).astype(np.uint8)
    bar = np.kron(dark, np.ones((px_per_square, px_per_square), np.uint8))
    out: NDArray[np.uint8] = np.pad(bar, px_per_square // 2, constant_values=255)
    return out
