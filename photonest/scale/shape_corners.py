"""The corners of a rectangle seen: rounded or sharp, hidden or something else's."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import light
from photonest.model import Photo
from photonest.scale.camera import Array, mapped
from photonest.scale.rectangle import shape_homography
from photonest.scale.rough_shapes import looks
from photonest.scale.round_corners import are_cut, are_round, are_sharp, round_reaches

CORNER_SLACK = 0.2  # of a corner's radius, that its edge may be seen off
BESIDE_CORNER = (0.2, 0.35)  # shares of a side, between which the ground beside it is looked at
LIKE = 4  # of five rays, that show a corner to be sharp where it should be round, or round
BESIDE = 14  # places along a ray, 0.35 of a radius, that are compared before and behind each
# of light, between a shape and the ground at its corners: at least; and over what differs on the shape itself
LEAST_CONTRAST, OVER_NOISE = 0.01, 3.0
BEYOND, LEAST_STEP = 0.04, 0.08  # of a shape, to either side of a side; least step there over the largest of all
# along a side, before its end and past it, as shares of its length; to either side of it, over the shape's shorter side
BEFORE, PAST, ASIDE = (0.05, 0.16), (0.025, 0.09), (0.012, 0.035)
SAME = 0.23  # of the contrast across a side: what lies to either side of it past its end may differ by, and it goes on
SLANT = np.radians([15, 30, 45, 30, 15])  # of rays to a sharp corner's sides


@dataclass(frozen=True, eq=False)
class Corners:
    """Which corners of a shape are as they should be, shape (4,) each; the rest are hidden, but for two kinds.

    Some are sharp or round instead: `wrong`. In some, the ground beside the shape is seen: `missing`. Of those right,
    round ones are `sure` where tones near them tell so: next to no sharp one looks like that.
    """

    right: NDArray[np.bool_]
    wrong: NDArray[np.bool_]
    missing: NDArray[np.bool_]
    sure: NDArray[np.bool_]

    @property
    def count(self) -> int:
        """How many look as they should."""
        return int(self.right.sum())

    @property
    def has_neighbours(self) -> bool:
        """Whether two at the ends of one side do."""
        return bool((self.right & np.roll(self.right, 1)).any())

    @property
    def has_sure_neighbours(self) -> bool:
        """Whether two at the ends of one side surely do."""
        return bool((self.sure & np.roll(self.sure, 1)).any())


def right_corners(
    photo: Photo, corners: Array, size: tuple[float, float], radius_mm: float, *, sharp: bool, strongest: bool = False
) -> Corners:
    """Return which corners are seen to be rounded with a radius, or to be sharp as far as such a radius would reach.

    One corner may be hidden, another in shadow; by chance a sharp corner looks round one time in forty.
    `strongest` lets pass, too, those that look right by the strongest change along each ray instead of the first: white
    on pale, that may be noise.
    """
    round_, square = np.ones(5), 1 / np.cos(SLANT)
    light_along, away = _along_rays(photo, corners, size, radius_mm)
    first, strongly = _first_change(light_along, away), _strongest_change(light_along, away)
    right = _is_like(first, square if sharp else round_, sharp)
    if strongest:
        right |= _is_like(strongly, square if sharp else round_, sharp)
    other = np.abs(np.stack([first, strongly]) - (round_ if sharp else square)) < CORNER_SLACK / 2
    otherwise = (other[..., 2] & (other.sum(axis=-1) >= LIKE)).any(axis=0)
    missing = _show_ground(photo, corners, size, radius_mm, light_along, away)
    if sharp:
        return Corners(right, ~right & otherwise, ~right & missing, np.zeros(4, bool))
    reaches = round_reaches(photo, corners, size, radius_mm)
    sure, pointed = are_round(reaches), are_sharp(reaches)
    right = (right & ~pointed & ~are_cut(reaches)) | sure
    return Corners(right, ~right & (otherwise | pointed), ~right & missing, sure)


def seem_right(
    photo: Photo, corners: Array, size: tuple[float, float], radius_mm: float, *, sharp: bool
) -> NDArray[np.bool_]:
    """Return which corners are as they should be, as `right_corners` tells them, in less time; shape (4,)."""
    first = _first_change(*_along_rays(photo, corners, size, radius_mm))
    return _is_like(first, 1 / np.cos(SLANT) if sharp else np.ones(5), sharp)


def _show_ground(
    photo: Photo, corners: Array, size: tuple[float, float], radius_mm: float, light_along: Array, away: Array
) -> NDArray[np.bool_]:
    """Return where the ground beside a shape, not what may hide it, is seen in its corners: two cards, one on another.

    The ground is looked at beside both sides, some way from the corner: what hides a corner lies about it.
    """
    import cv2

    width, height = size
    ends = np.array([[0, 0], [width, 0], [width, height], [0, height]], float)
    step, outward = np.roll(ends, -1, axis=0) - ends, np.array([[0.0, -1], [1, 0], [0, 1], [-1, 0]])
    share = np.array([np.linspace(*BESIDE_CORNER, 6), 1 - np.linspace(*BESIDE_CORNER, 6)])
    mm = (ends + radius_mm * outward)[:, None, None] + share[..., None] * step[:, None, None]
    px = mapped(shape_homography(corners, size), mm.reshape(-1, 2)).astype(np.float32)
    seen = light(cv2.remap(photo.pixels, px[:, :1], px[:, 1:], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    beside = np.median(seen.reshape(4, 2, 6, 3), axis=2)  # of each side, near its start and near its end
    ground = np.stack([beside[:, 0], np.roll(beside[:, 1], 1, axis=0)], axis=1)
    inside = np.median(light_along[:, :, away < 0.5].reshape(4, -1, 3), axis=1)
    corner = np.median(light_along[:, 1:4, (away > 0.75) & (away < 0.95)].reshape(4, -1, 3), axis=1)
    contrast = np.linalg.norm(ground - inside[:, None], axis=2).max(axis=1)
    from_ground = np.linalg.norm(ground - corner[:, None], axis=2).min(axis=1)
    from_inside = np.linalg.norm(inside - corner, axis=1)
    return np.asarray((from_ground < 0.3 * contrast) & (from_inside > 0.6 * contrast) & (contrast > LEAST_CONTRAST))


def _is_like(reach: Array, expected: Array, sharp: bool) -> NDArray[np.bool_]:
    """Return which corners reach as far as expected in most of five rays."""
    off = reach - expected
    near = np.abs(off) < CORNER_SLACK
    middle = near[:, 2] if sharp else (off[:, 2] > -0.31) & (off[:, 2] < 0.226)
    others = [0, 1, 3, 4]
    closely = (np.abs(off[:, others]) < CORNER_SLACK / 2).all(axis=1)  # a mark beside the arc's middle is let pass
    return np.asarray((middle & (near[:, others].sum(axis=1) >= 3)) | closely)


def runs_on(photo: Photo, corners: Array) -> bool:
    """Whether what a shape is made of goes on beyond one of its sides: that is a line on something larger.

    A line of print, or a shadow's edge, which leaves the sides that it crosses going on straight past it.
    """
    return least_step(photo, corners) < LEAST_STEP or bool((least_change(photo, corners) < SAME).any())


def least_change(photo: Photo, corners: Array) -> NDArray[np.float64]:
    """Return by how much what lies beside the neighbours of each side changes past it, over the contrast across them.

    Of the two neighbours the one that changes more counts: sawdust on one corner hides that its sides end there. Tones
    are compared by the logarithm of light, and one shade of all may differ. Shape (4,): near 0.5 or more where both
    neighbours end at the side, for then the ground lies on either hand there; near zero where both go on.
    """
    import cv2

    look = looks(corners)
    size = np.array([look, 1.0]) / min(look, 1.0)
    ends = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * size
    step = np.roll(ends, -1, axis=0) - ends
    long = np.linalg.norm(step, axis=1)
    along, aside = np.linspace(0, 1, 14), np.linspace(*ASIDE, 4)
    from_end = np.stack([-BEFORE[0] + (BEFORE[0] - BEFORE[1]) * along, PAST[0] + (PAST[1] - PAST[0]) * along])
    at = np.stack([-from_end, 1 + from_end])  # shares of a side about its start and its end, before and past
    outward = np.stack([step[:, 1], -step[:, 0]], axis=1) / long[:, None]
    on = ends[:, None, None, None] + at[..., None] * step[:, None, None, None]
    off = np.stack([-aside, aside])[..., None] * outward[:, None, None]
    mm = on[:, :, :, None, :, None] + off[:, None, None, :, None]  # side, end, before or past, in or out, along, aside
    px = mapped(shape_homography(corners, (size[0], size[1])), mm.reshape(-1, 2)).astype(np.float32).reshape(64, -1, 2)
    seen = cv2.remap(photo.pixels, px[..., 0], px[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    tone = np.log(np.median(light(seen).reshape(4, 2, 2, 2, -1, 3), axis=4).clip(0.004))
    change = tone[:, :, 1] - tone[:, :, 0]
    change -= change.mean(axis=(2, 3), keepdims=True)
    contrast = np.linalg.norm(tone[:, :, 0, 0] - tone[:, :, 0, 1], axis=-1)
    ratio = np.linalg.norm(change, axis=-1).max(axis=-1) / np.maximum(contrast, 1e-3)
    return np.asarray(np.maximum(np.roll(ratio[:, 1], 1), np.roll(ratio[:, 0], -1)))


def least_step(photo: Photo, corners: Array) -> float:
    """Return how much light differs to either side of the side where it differs least, over where it does most.

    The middle of what is seen along each side counts: a line of print crosses but part of it.
    """
    import cv2

    inside, outside = (mapped(shape_homography(corners, (1.0, 1.0)), _beside(by)) for by in (BEYOND, -BEYOND))
    px = np.stack([inside, outside]).astype(np.float32)
    seen = cv2.remap(photo.pixels, px[..., 0], px[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    one, other = light(seen).astype(float).reshape(2, 4, -1, 3)
    step = np.linalg.norm(np.median(one - other, axis=1), axis=1)
    return float(step.min() / max(step.max(), 1e-6))


def _beside(by: float) -> Array:
    """Return places along the sides of a unit square, moved inwards by a share of it, shape (4 x n, 2)."""
    along = np.linspace(0.08, 0.92, 40)
    level = np.full_like(along, by)
    sides = ([along, level], [1 - level, along], [1 - along, 1 - level], [level, 1 - along])
    return np.concatenate([np.stack(side, axis=1) for side in sides])


def corner_reaches(photo: Photo, corners: Array, size: tuple[float, float], radius_mm: float) -> Array:
    """Return how far a shape reaches in its corners, from the centres of their arcs, over their radius, shape (4, 5).

    Along rays at 15, 30, 45, 60 and 75 degrees between the sides' normals; a corner rounded with that radius reaches as
    far in all of them, a sharp one farther in the middle. Told as `round_reaches` does where that tells, else by the
    first change along each ray; nan where the ground looks like the shape.
    """
    reaches = round_reaches(photo, corners, size, radius_mm)
    first = _first_change(*_along_rays(photo, corners, size, radius_mm))
    return np.where(np.isfinite(reaches).all(axis=1, keepdims=True), reaches, first)


def _along_rays(photo: Photo, corners: Array, size: tuple[float, float], radius_mm: float) -> tuple[Array, Array]:
    """Return light along five rays from the centre of each corner's arc, shape (4, 5, places, 3), and the places."""
    import cv2

    width, height = size
    centres = np.array([[0, 0], [width, 0], [width, height], [0, height]], float)
    outward = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    centres -= radius_mm * outward
    angle = np.radians([15, 30, 45, 60, 75])
    rays = outward[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    away = np.linspace(0.2, 2.0, 73)
    mm = centres[:, None, None] + radius_mm * away[:, None] * rays[:, :, None]
    px = mapped(shape_homography(corners, size), mm).astype(np.float32).reshape(20, -1, 2)
    colour = cv2.remap(photo.pixels, px[..., 0], px[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return light(colour).astype(float).reshape(4, 5, len(away), 3), away


def _first_change(value: Array, away: Array) -> Array:
    """Return as far as each ray looks like its inside, from there outward; the ground may be of any pattern."""
    within = np.median(value[..., away < 0.6, :], axis=-2)
    unlike = np.linalg.norm(value - within[..., None, :], axis=-1)
    usual = np.median(unlike[..., away > 1.5], axis=-1)
    least = np.maximum(LEAST_CONTRAST, OVER_NOISE * np.median(unlike[..., away < 0.6], axis=-1))
    other = unlike > 0.5 * usual[..., None]
    return np.where((usual > least) & other.any(axis=-1), away[other.argmax(axis=-1)], np.nan)


def _strongest_change(value: Array, away: Array) -> Array:
    """Return where what lies before along each ray, and what lies behind, differ most."""
    sums = np.cumsum(np.concatenate([np.zeros_like(value[..., :1, :]), value], axis=-2), axis=-2)
    means = (sums[..., BESIDE:, :] - sums[..., :-BESIDE, :]) / BESIDE
    step = np.linalg.norm(means[..., BESIDE:, :] - means[..., :-BESIDE, :], axis=-1)
    at = (away[BESIDE - 1 : -BESIDE] + away[BESIDE : -BESIDE + 1]) / 2
    return np.where(step.max(axis=-1) > LEAST_CONTRAST, at[step.argmax(axis=-1)], np.nan)
