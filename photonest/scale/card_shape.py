"""Whether a shape seen is a card of format ID-1: by its proportion, its round corners and its sides."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from photonest.model import Photo
from photonest.scale.build import STEEPEST_DEG
from photonest.scale.camera import Array, Prior, View
from photonest.scale.rectangle import Proportion, Seen, fitted, proportion, rough_proportion
from photonest.scale.rough_shapes import area, looks
from photonest.scale.shape_corners import Corners, corner_reaches, right_corners, runs_on, seem_right

# ISO/IEC 7810, format ID-1
WIDTH_MM, HEIGHT_MM, THICKNESS_MM = 85.60, 53.98, 0.76
CORNER_MM = 3.18  # radius; ISO/IEC 7810 allows 2.88 to 3.48
WIDTH_ERROR_MM, HEIGHT_ERROR_MM = 0.06, 0.03  # half of the standard's tolerance for unused cards
SMALLEST_SHARE = 0.006  # of the frame that it must fill
# standard errors that the proportion may be off where only two corners are seen, or three and a side is rough; the
# standard error of the proportion, which one sees well has; of two, the share of each side in sight, too
EXACT, EXACT_ERROR, TWO_HIDDEN_SHARE = 1.5, 0.005, 0.7
MARGIN = 0.1  # of each side, for its rounded corners
# of corners roughly seen, and of those whose sides are found: their error over the photo's longer side; a bias
ROUGH_CORNER, FOUND_CORNER, ROUGH_PROPORTION = 0.0015, 0.0004, 0.03
SURE_FIT, WORST_FIT = 1.3, 2.4  # mean squared residual over its expectation
LOOKS_OFF = 1.4  # by which factor a tilted card may look longer or shorter
ODD = 0.005  # that a proportion may be off by shadows along a side, as a share
# standard error of a proportion beyond which it tells nothing; the same where a corner is hidden, for of a playing card
# whose sides are hidden there readings lie farther apart than they say
TELLING, TELLING_HIDDEN = 0.05, 0.025
NEARLY = 1.12  # by which factor a card seen under 27 degrees may look longer or shorter
UNEVEN, UNEVEN_PX = 1.6, 0.05  # how much rougher than usual, and by how much more, one side may be then
# how far corners may reach in the middle over how far to either side of it, in the median: as far where round, by 1.37
# where sharp, however far off the sides are; of drawn cards with four corners right at most 1.094, with three 1.08
ROUND = 1.1
# standard errors that a proportion may be off; playing cards' longer side over the shorter, 88.9 x 63.5 mm from memory,
# with corners as round, and from how many standard errors on a shape is none
MOST_OFF, PLAYING, LEAST_UNLIKE = 2.8, 1.40, 2.8
PLAYING_CARD = "something may be a bank card or a playing card: its proportion can't be told well enough"
ODD_SIDE = "a card's proportion is not quite right: one of its sides or corners is hidden or bent"
ONLY_TWO = "only two of a card's round corners are seen: the others are hidden, bent up or cut off"
CUT = "a card is cut by the frame: only part of it is in the photo"
NO_CARD = "something has a card's proportion but not its round corners: it is bent or covered, or no card"


class Found(NamedTuple):
    """A card, its view in mm from a corner, the second best view, its size along the view's x and y, corners seen."""

    seen: Seen
    view: View
    other: View | None
    size: tuple[float, float]
    corners: int

    @property
    def is_sure(self) -> bool:
        """Whether all four corners are seen and its sides fit well."""
        return self.corners == 4 and self.view.cost < SURE_FIT * sum(len(edge.px) for edge in self.seen.edges)

    def holds(self, point: Array) -> bool:
        """Whether a pixel lies on the card."""
        x, y = self.view.to_mm(point[None])[0]
        return bool(0 < x < self.size[0] and 0 < y < self.size[1])


def has_size(photo: Photo, prior: Prior, rough: Array) -> bool:
    """Whether a shape may be a card by its size and its proportion, roughly seen."""
    longer = max(photo.width, photo.height)
    if area(rough) < SMALLEST_SHARE / 3 * photo.width * photo.height or not _looks_right(looks(rough)):
        return False
    return rough_proportion(prior, rough, ROUGH_CORNER * longer).is_about(_true(looks(rough)), ROUGH_PROPORTION)


def has_round_corner(photo: Photo, rough: Array) -> bool:
    """Whether at least one corner of a shape roughly seen is a card's."""
    return bool(seem_right(photo, rough, size_as_it_looks(looks(rough)), CORNER_MM, sharp=False).any())


def is_worth_reading(photo: Photo, prior: Prior, corners: Array, told: bool) -> bool:
    """Whether a shape whose sides are found, but not yet read closely, may still be a card, or something to tell of.

    Where two corners are a card's, one side may be another's; of what looks like a card up to here, most show none.
    """
    look, longer = looks(corners), max(photo.width, photo.height)
    right = int(seem_right(photo, corners, size_as_it_looks(look), CORNER_MM, sharp=False).sum())
    if right > 1 or not (right or (_looks_right(look, NEARLY) and not told)):
        return right > 1
    return rough_proportion(prior, corners, FOUND_CORNER * longer).is_about(_true(look), ROUGH_PROPORTION)


def as_card(photo: Photo, prior: Prior, seen: Seen) -> Found | str | None:
    """Return a shape as a card; None if it is not like one at all, or a text where it nearly is."""
    look = looks(seen.corners)
    if not _looks_right(look):
        return None
    size = size_as_it_looks(look)
    errors = (WIDTH_ERROR_MM, HEIGHT_ERROR_MM) if look > 1 else (HEIGHT_ERROR_MM, WIDTH_ERROR_MM)
    corners = right_corners(photo, seen.corners, size, CORNER_MM, sharp=False)
    if corners.count < 2:
        return NO_CARD if _looks_right(look, NEARLY) else None
    amiss = _amiss(photo, seen, corners, size)
    if amiss is not None:
        return amiss
    shape = proportion(prior, seen)
    if shape is None:
        return None
    fault = fault_of(shape[0], look, corners.count)
    if fault is not None:
        return fault or None
    if corners.count < 4 and _is_uneven(seen) and not (corners.sure.sum() == 3 and _is_exact(shape[0], look)):
        return ODD_SIDE
    answer = fitted(prior, seen, shape[1], size, errors)
    if answer is None:
        return None
    view, other = answer
    if view.tilt_deg > STEEPEST_DEG:
        return f"a card is seen {view.tilt_deg:.0f} degrees from square; take the photo from straight above the face"
    if seen.share < SMALLEST_SHARE:
        return f"a card fills only {100 * seen.share:.1f} % of the photo; that is too small to measure by"
    if view.cost > WORST_FIT * sum(len(edge.px) for edge in seen.edges):
        return "a card's sides are not straight: it is bent, or partly covered"
    return Found(seen, view, other, size, corners.count)


def _amiss(photo: Photo, seen: Seen, corners: Corners, size: tuple[float, float]) -> str | None:
    """Return what is wrong with the corners and sides of a shape that shows two or more of a card's corners."""
    share, two_sure = min(edge.share for edge in seen.edges), corners.sure.sum() > 1
    known = corners.has_neighbours or (two_sure and not corners.missing.any())
    if corners.count == 2 and (not known or corners.wrong.any() or share < TWO_HIDDEN_SHARE):
        return ONLY_TWO
    if (seen.corners < 0).any() or (seen.corners > [photo.width - 1, photo.height - 1]).any():
        return CUT
    # dust may look like the ground; but two cards on one another show it in corners that lie across from each other
    cut = corners.missing.any() and not corners.has_sure_neighbours
    rounded = corners.sure.sum() > (corners.count == 2) or _is_round(photo, seen.corners, size)
    return ODD_SIDE if cut or not rounded or runs_on(photo, seen.corners) else None


def _is_uneven(seen: Seen) -> bool:
    """Whether one side is much rougher than is usual for the others: dust or a shadow lies along it."""
    rough = [edge.error_px for edge in seen.edges]
    return (max(rough) - UNEVEN_PX) / float(np.median(rough)) > UNEVEN


def _is_exact(shape: Proportion, look: float) -> bool:
    """Whether a proportion is a card's to half a percent."""
    return shape.error < EXACT_ERROR and shape.is_about(_true(look), ODD, EXACT)


def fault_of(shape: Proportion, look: float, corners: int) -> str | None:
    """Return what is wrong with a proportion, the fewer corners are seen the sooner; empty where it is no card's."""
    true, playing = _true(look), PLAYING if look > 1 else 1 / PLAYING
    # a board cut to about a card's size may show two round corners by chance
    if corners == 2 and not _is_exact(shape, look):
        return ONLY_TWO
    if not shape.is_about(true, ODD, MOST_OFF):
        return ""
    telling = TELLING if corners == 4 else TELLING_HIDDEN
    if shape.error > telling or shape.is_about(playing, ODD, LEAST_UNLIKE):
        return PLAYING_CARD
    return None


def _is_round(photo: Photo, corners: Array, size: tuple[float, float]) -> bool:
    """Whether corners reach as far in their middle as to either side of it, wherever the sides are taken to be."""
    reach = corner_reaches(photo, corners, size, CORNER_MM)
    reach = reach[np.isfinite(reach).all(axis=1)]
    return bool(len(reach)) and float(np.median(reach[:, 2] / reach[:, [0, 4]].mean(axis=1))) < ROUND


def size_as_it_looks(looks: float) -> tuple[float, float]:
    """Return the size of a card that lies the way it looks."""
    return (WIDTH_MM, HEIGHT_MM) if looks > 1 else (HEIGHT_MM, WIDTH_MM)


def _true(looks: float) -> float:
    """Return the proportion of a card that lies the way it looks."""
    return WIDTH_MM / HEIGHT_MM if looks > 1 else HEIGHT_MM / WIDTH_MM


def _looks_right(looks: float, factor: float = LOOKS_OFF) -> bool:
    return _true(looks) / factor < looks < _true(looks) * factor
