"""Four-sided shapes with straight edges in a photo: cards and sheets of paper, and whatever else looks like one.

Straight lines that meet in four corners, or nearly, are closed into quadrilaterals.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from photonest.scale.lines import Array, Lines, joined, straight_segments

SEARCH_PX = 640  # longer side of the picture that is searched
SHORTEST = 0.03  # line that is looked at, as a share of that
MOST_QUADS = 400
MOST_OPEN, LEAST_COVER = 12, 0.6  # shapes with a side open, and the share of each other one that a line covers
AT_FRAME_PX = 6.0  # from the frame, that a line ends which goes on beyond it
MOST_AT_ONCE = 2000  # three-sided shapes that a fourth side is looked for in one go
PARALLEL_DEG, SQUARE_DEG = 30.0, 50.0  # how far, seen slantwise, sides may be off parallel and off square
ThreeSided = tuple[NDArray[np.int_], NDArray[np.int_], NDArray[np.int_]]  # numbers of bases, lines at their two ends


def find_shapes(pixels: NDArray[np.uint8]) -> tuple[Array, Array]:
    """Return four-sided shapes in an RGB picture, and shapes that the frame cuts, as `cut_by_frame` does.

    Corners, shape (n, 4, 2), run clockwise as seen, those of the best closed first. They are where the sides' lines
    meet, to about two pixels of the searched size.
    """
    import cv2

    longer = max(pixels.shape[:2])
    factor = min(1.0, SEARCH_PX / longer)
    small = pixels if factor == 1 else cv2.resize(pixels, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    ratio = np.array(small.shape[1::-1]) / np.array(pixels.shape[1::-1])
    lines = joined(straight_segments(small), SHORTEST * SEARCH_PX)
    if len(lines.ends) < 3:
        return np.zeros((0, 4, 2)), np.zeros((0, 4, 2))
    width, height = small.shape[1], small.shape[0]
    three = _three_sided(lines)
    quads, cut = closed(lines, three, width, height), cut_by_frame(lines, three, width, height)
    return (quads + 0.5) / ratio - 0.5, (cut + 0.5) / ratio - 0.5


def cut_by_frame(lines: Lines, three: ThreeSided, width: int, height: int) -> Array:
    """Return shapes of which two corners are seen and two sides run on to the frame, shape (n, 4, 2).

    Corners run clockwise as seen; the two that lie at the frame are where the sides leave it.
    """
    base, first, last = three
    corners, ends = [], []
    for line in (last, first):
        corner = _intersection(lines, base, line)
        way = lines.ends[line] - corner[:, None]
        far = np.linalg.norm(way, axis=2).argmax(axis=1)
        corners.append(corner)
        ends.append(np.take_along_axis(lines.ends[line], far[:, None, None], axis=1)[:, 0])
    shapes = np.stack([ends[0], ends[1], corners[1], corners[0]], axis=1)
    outside = np.minimum(shapes, [width - 1, height - 1] - shapes).min(axis=2)  # how far each lies inside the frame
    share = lines.length[base] / np.linalg.norm(corners[0] - corners[1], axis=1)
    good = (
        (outside[:, :2] < AT_FRAME_PX).all(axis=1) & (outside[:, 2:] > AT_FRAME_PX).all(axis=1) & (share > LEAST_COVER)
    )
    good &= share < 2 - LEAST_COVER
    order = np.argsort(-lines.length[base[good]], kind="stable")[:MOST_OPEN]
    return np.asarray(_clockwise(shapes[good][order]))


def closed(lines: Lines, three: ThreeSided, width: int, height: int) -> Array:
    """Return quadrilaterals that lines close, the best covered by them first, shape (n, 4, 2).

    A fourth side is looked for across the open end of three that meet in two corners. Behind them come those whose
    fourth side is not seen, but two others end as far out.
    """
    sides = np.unique(_canonical(_four_sided(lines, *three)), axis=0)
    corners = _corners(lines, sides)
    good = _plausible(corners, width, height)
    sides, corners = sides[good], corners[good]
    cover = _cover(lines, sides, corners)
    order = np.argsort(-cover, kind="stable")
    order = order[cover[order] > 0.4][:MOST_QUADS]
    open_ended = _open_ended(lines, *three)
    open_ended = open_ended[_plausible(open_ended, width, height)][:MOST_OPEN]
    return _apart(_clockwise(np.concatenate([corners[order], open_ended])))


def _corner_partners(lines: Lines) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return which lines (rows) end near which others' first and last ends (columns), and roughly square to them."""
    ends, along, length = lines.ends, lines.along, lines.length
    cross = along[:, None, 0] * along[None, :, 1] - along[:, None, 1] * along[None, :, 0]
    square = np.abs(cross) > np.cos(np.radians(SQUARE_DEG))
    safe = np.where(np.abs(cross) < 1e-6, 1.0, cross)
    gap = ends[None, :, 0] - ends[:, None, 0]  # from line i's start to line j's start
    on_i = (gap[..., 0] * along[None, :, 1] - gap[..., 1] * along[None, :, 0]) / safe
    on_j = (gap[..., 0] * along[:, None, 1] - gap[..., 1] * along[:, None, 0]) / safe
    reach_i = np.minimum(np.abs(on_i), np.abs(on_i - length[:, None]))
    slack = 6 + 0.6 * np.minimum(length[:, None], length[None, :])
    near_i = reach_i < slack
    return square & near_i & (np.abs(on_j) < slack), square & near_i & (np.abs(on_j - length[None, :]) < slack)


def _four_sided(
    lines: Lines, base: NDArray[np.int_], first: NDArray[np.int_], last: NDArray[np.int_]
) -> NDArray[np.int_]:
    """Return sides (first, base, last, across) of all shapes that lines may close, shape (n, 4)."""
    parallel = np.abs(lines.along @ lines.along.T) > np.cos(np.radians(PARALLEL_DEG))
    away = _heights(lines)
    reach, side = np.maximum(lines.length[first], lines.length[last]), np.sign(away[base, first])
    opposite = parallel & (lines.length[None] > 0.3 * lines.length[:, None])
    found = []
    for part in np.array_split(np.arange(len(base)), len(base) // MOST_AT_ONCE + 1):
        height = side[part, None] * away[base[part]]
        far = opposite[base[part]] & (height > 0.4 * reach[part, None]) & (height < 1.6 * reach[part, None])
        which, across = np.nonzero(far)
        which = part[which]
        good = _spans(lines, across, first[which], last[which])
        which, across = which[good], across[good]
        found.append(np.column_stack([first[which], base[which], last[which], across]))
    return np.concatenate(found)


def _open_ended(lines: Lines, base: NDArray[np.int_], first: NDArray[np.int_], last: NDArray[np.int_]) -> Array:
    """Return corners of shapes with three sides well covered by lines, the best first, shape (n, 4, 2).

    The open side comes first; it is laid where the farther of its neighbours ends.
    """
    corners, along, seen = [], [], []
    for line in (last, first):
        corner = _intersection(lines, base, line)
        way = lines.ends[line] - corner[:, None]
        far = np.linalg.norm(way, axis=2).argmax(axis=1)
        way = np.take_along_axis(way, far[:, None, None], axis=1)[:, 0]
        corners.append(corner)
        along.append(way)
        seen.append(np.linalg.norm(way, axis=1))
    reach = np.maximum(*seen)
    far_last, far_first = (c + a * (reach / s)[:, None] for c, a, s in zip(corners, along, seen, strict=True))
    width = np.linalg.norm(corners[0] - corners[1], axis=1)
    covers = (lines.length[base] / width, lines.length[first] / reach, lines.length[last] / reach)
    cover = np.minimum.reduce([np.minimum(share, 2 - share) for share in covers])
    order = np.argsort(-cover, kind="stable")
    order = order[cover[order] > LEAST_COVER]
    return np.asarray(np.stack([far_last, far_first, corners[1], corners[0]], axis=1)[order])


def _three_sided(lines: Lines) -> ThreeSided:
    """Return lines with two others that start at their ends, to one side, about parallel and alike in length."""
    at_start, at_end = _corner_partners(lines)
    parts = []
    for base in range(len(lines.ends)):
        first, last = np.flatnonzero(at_start[:, base]), np.flatnonzero(at_end[:, base])
        parts.append([np.full(len(first) * len(last), base), np.repeat(first, len(last)), np.tile(last, len(first))])
    base, first, last = np.concatenate(parts, axis=1)
    away, length = _heights(lines), lines.length
    parallel = np.abs((lines.along[first] * lines.along[last]).sum(axis=1)) > np.cos(np.radians(PARALLEL_DEG))
    alike = np.maximum(length[first], length[last]) < 3 * np.minimum(length[first], length[last])
    good = (first != last) & parallel & alike & (away[base, first] * away[base, last] > 0)
    return base[good], first[good], last[good]


def _heights(lines: Lines) -> Array:
    """Return how far to the side of lines (rows) others' middles lie (columns)."""
    normal = np.stack([-lines.along[:, 1], lines.along[:, 0]], axis=1)
    return np.asarray(normal @ lines.ends.mean(axis=1).T - (normal * lines.ends[:, 0]).sum(axis=1)[:, None])


def _spans(
    lines: Lines, across: NDArray[np.int_], first: NDArray[np.int_], last: NDArray[np.int_]
) -> NDArray[np.bool_]:
    """Return which lines lie between two others for a good part, and end near them."""
    one, other = _intersection(lines, across, first), _intersection(lines, across, last)
    gap = other - one
    width = np.linalg.norm(gap, axis=1)
    safe = np.maximum(width, 1e-6)
    at = ((lines.ends[across] - one[:, None]) * (gap / safe[:, None])[:, None]).sum(axis=2)
    low, high = at.min(axis=1), at.max(axis=1)
    inside = np.minimum(high, width) - np.maximum(low, 0)
    good = (inside > 0.3 * width) & (high - low < 1.4 * width + 6)
    for line, corner in ((first, one), (last, other)):
        reach = np.linalg.norm(lines.ends[line] - corner[:, None], axis=2).min(axis=1)
        good &= reach < 6 + 0.7 * lines.length[line]
    return np.asarray(good)


def _intersection(lines: Lines, a: NDArray[np.int_], b: NDArray[np.int_]) -> Array:
    """Return where lines a and b meet, shape (n, 2); far away where they are parallel."""
    p, u, q, v = lines.ends[a, 0], lines.along[a], lines.ends[b, 0], lines.along[b]
    cross = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    cross = np.where(np.abs(cross) < 1e-9, 1e-9, cross)
    gap = q - p
    return np.asarray(p + u * ((gap[:, 0] * v[:, 1] - gap[:, 1] * v[:, 0]) / cross)[:, None])


def _canonical(sides: NDArray[np.int_]) -> NDArray[np.int_]:
    """Return sides in one order whichever of them was the base, so that doubles can be told."""
    first = sides.argmin(axis=1) if len(sides) else np.zeros(0, int)
    rolled = np.take_along_axis(sides, (first[:, None] + np.arange(4)) % 4, axis=1)
    flipped = rolled[:, [0, 3, 2, 1]]
    return np.where((rolled[:, 1] < rolled[:, 3])[:, None], rolled, flipped)


def _corners(lines: Lines, sides: NDArray[np.int_]) -> Array:
    """Return where neighbouring sides meet, shape (n, 4, 2); corner k lies between sides k - 1 and k."""
    return np.stack([_intersection(lines, sides[:, k - 1], sides[:, k]) for k in range(4)], axis=1)


def _plausible(corners: Array, width: int, height: int) -> NDArray[np.bool_]:
    """Return which quadrilaterals are convex, not too thin, and at least nearly inside the picture."""
    step = np.roll(corners, -1, axis=1) - corners
    following = np.roll(step, -1, axis=1)
    turn = step[..., 0] * following[..., 1] - step[..., 1] * following[..., 0]
    convex = np.abs(np.sign(turn).sum(axis=1)) == 4
    long = np.linalg.norm(step, axis=2)
    thin = long.max(axis=1) > 3.2 * long.min(axis=1)
    slack = 0.02 * max(width, height)
    x, y = corners[..., 0], corners[..., 1]
    inside = ((x > -slack) & (y > -slack) & (x < width + slack) & (y < height + slack)).all(axis=1)
    return np.asarray(convex & ~thin & inside & (long.min(axis=1) > SHORTEST * max(width, height)))


def _cover(lines: Lines, sides: NDArray[np.int_], corners: Array) -> Array:
    """Return how much of each shape's sides is covered by lines: the mean share, short of its least side's lack."""
    shares = []
    for k in range(4):
        p, q = corners[:, k], corners[:, (k + 1) % 4]
        step = q - p
        long = np.maximum(np.linalg.norm(step, axis=1), 1e-6)
        at = ((lines.ends[sides[:, k]] - p[:, None]) * (step / long[:, None])[:, None]).sum(axis=2)
        inside = np.minimum(at.max(axis=1), long) - np.maximum(at.min(axis=1), 0)
        beyond = np.maximum(at.max(axis=1) - long, 0) + np.maximum(-at.min(axis=1), 0)
        shares.append((inside - 0.5 * beyond).clip(min=0) / long)
    share = np.stack(shares, axis=1)
    return np.asarray(0.5 * share.mean(axis=1) + 0.5 * share.min(axis=1))


def _clockwise(corners: Array) -> Array:
    """Return quadrilaterals with their corners clockwise as seen (y down)."""
    step = np.roll(corners, -1, axis=1) - corners
    turn = step[:, 0, 0] * step[:, 1, 1] - step[:, 0, 1] * step[:, 1, 0]
    return np.where((turn > 0)[:, None, None], corners, corners[:, ::-1])


def _apart(quads: Array, least: float = 4.0) -> Array:
    """Return quadrilaterals in order without those that nearly repeat an earlier one."""
    middle = quads.mean(axis=1)
    one, other = np.nonzero(np.abs(middle[:, None] - middle).max(axis=2) < least)
    one, other = one[one > other], other[one > other]
    alike = np.zeros((len(quads), len(quads)), bool)
    for turn in range(4):
        turned = np.roll(quads[other], turn, axis=1)
        alike[one, other] |= np.abs(quads[one] - turned).max(axis=(1, 2)) < least
    kept = np.ones(len(quads), bool)
    for k, near in enumerate(alike):
        kept[k] = not (near & kept).any()
    return quads[kept]
