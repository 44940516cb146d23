"""A bank, identity or membership card of the standard size, of any colour."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from photonest.model import NotFound, Photo, Scale
from photonest.scale.build import STEEPEST_DEG, scale_from_view
from photonest.scale.camera import Array, Prior, View, prior_of
from photonest.scale.combine import combined, middle_of_photo
from photonest.scale.height import face_above
from photonest.scale.rectangle import Proportion, Seen, fitted, proportion, rough_proportion, sharpened
from photonest.scale.rough_shapes import area, looks, searched
from photonest.scale.shape_corners import Corners, corner_reaches, right_corners, runs_on, seem_right

# ISO/IEC 7810, format ID-1
WIDTH_MM, HEIGHT_MM, THICKNESS_MM = 85.60, 53.98, 0.76
CORNER_MM = 3.18  # radius; ISO/IEC 7810 allows 2.88 to 3.48
WIDTH_ERROR_MM, HEIGHT_ERROR_MM = 0.06, 0.03  # half of the standard's tolerance for unused cards
SMALLEST_SHARE = 0.006  # of the frame that it must fill
SHEET_SHARE = (
    0.035  # of the frame that a sheet of paper fills: it measures better, and cards that no edge tells may stay
)
# standard errors that the proportion may be off where only two corners are seen, or three and a side is rough; the
# standard error of the proportion, which one sees well has; of two, the share of each side in sight, too
EXACT, EXACT_ERROR, TWO_HIDDEN_SHARE = 1.5, 0.005, 0.7
MARGIN = 0.1  # of each side, for its rounded corners
# of corners roughly seen, and of those whose sides are found: their error over the photo's longer side; a bias
ROUGH_CORNER, FOUND_CORNER, ROUGH_PROPORTION = 0.0015, 0.0004, 0.03
SURE_FIT, WORST_FIT = 1.3, 2.4  # mean squared residual over its expectation
ENOUGH = 2  # ways to close one card, of which the best is taken where none is sure
LOOKS_OFF = 1.4  # by which factor a tilted card may look longer or shorter
ODD = 0.005  # that a proportion may be off by shadows along a side, as a share
# standard error of a proportion beyond which it tells nothing; the same where a corner is hidden, for of a playing card
# whose sides are hidden there readings lie farther apart than they say
TELLING, TELLING_HIDDEN = 0.05, 0.025
NEARLY = 1.12  # by which factor a card seen under 27 degrees may look longer or shorter
LEAST_BY_TONES, LARGEST_BY_TONES = 0.6, 0.12  # over the least share; share of the frame: beside a log, one is smaller
UNEVEN, UNEVEN_PX = 1.6, 0.05  # how much rougher than usual, and by how much more, one side may be then
MOST_BY_COLOUR = 3  # shapes that are read by their colour
# how far corners may reach in the middle over how far to either side of it, in the median: as far where round, by 1.37
# where sharp, however far off the sides are; of drawn cards with four corners right at most 1.094, with three 1.08
ROUND = 1.1
# standard errors that a proportion may be off; playing cards' longer side over the shorter, 88.9 x 63.5 mm from memory,
# with corners as round, and from how many standard errors on a shape is none
MOST_OFF, PLAYING, LEAST_UNLIKE = 2.8, 1.40, 2.8
# errors of a side over the photo's longer one, from which it is read again, and may be no card's; how often it is; from
# what difference of its logarithm, of the mm that a pixel shows, on another size is told
UNEVEN_SIDE, ROUGH_SIDE, READ_AGAIN, ANOTHER_SIZE = 5e-5, 1e-4, 2, 0.02
PLAYING_CARD = "something may be a bank card or a playing card: its proportion can't be told well enough"
ODD_SIDE = "a card's proportion is not quite right: one of its sides or corners is hidden or bent"
ONLY_TWO = "only two of a card's round corners are seen: the others are hidden, bent up or cut off"
CUT = "a card is cut by the frame: only part of it is in the photo"
NO_CARD = "something has a card's proportion but not its round corners: it is bent or covered, or no card"


@dataclass(frozen=True)
class CardOptions:
    """What a user may tell about the card.

    Attributes
    ----------
    thickness_mm : float
        How far its upper side lies above what it lies on.
    """

    thickness_mm: float = THICKNESS_MM


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


class Card:
    """Finds a card of format ID-1, lying on the face or level with it."""

    name = "card"
    version = "1"
    Options = CardOptions

    def find(self, photo: Photo, options: CardOptions) -> Scale | NotFound:
        """Return the scale by the card, in the plane it lies on; by all of them where there are more."""
        prior = prior_of(photo)
        cards: list[Found] = []
        complaints: list[str] = []
        odd: list[Array] = []  # all of them but what may be a playing card: that is not asked twice

        def is_wanted(rough: Array) -> bool:
            here = [card for card in cards if card.holds(rough.mean(axis=0))]
            # else it is another way to close a card already seen
            return len(here) < ENOUGH and not any(card.is_sure for card in here) and has_size(photo, prior, rough)

        for rough in searched(photo).shapes(is_wanted):
            if not (is_wanted(rough) and has_round_corner(photo, rough)):
                continue
            found = _best_of(photo, prior, rough, told=bool(complaints))
            if isinstance(found, Found):
                cards.append(found)
            else:
                odd += [rough] if found != PLAYING_CARD else []
                complaints += [found] if found else []
        if not cards and not searched(photo).seems_sheet(SHEET_SHARE):
            cards = _by_colour(photo, prior, odd) or _by_tones(photo, prior)
        if not cards:
            return _none([CUT] if _is_cut(photo) else complaints)
        scales = [
            self._scale(photo, card, options) for card in sorted(_apart(cards), key=lambda card: -card.seen.share)
        ]
        sound = [scale for scale in scales if isinstance(scale, Scale)]
        if not sound:
            return scales[0]
        return combined(sound, middle_of_photo(photo.width, photo.height))

    def _scale(self, photo: Photo, card: Found, options: CardOptions) -> Scale | NotFound:
        scale = scale_from_view(
            self.name,
            photo,
            card.view,
            card.seen.corners,
            alternative=card.other,
            reference_error=float(np.hypot(WIDTH_ERROR_MM / WIDTH_MM, HEIGHT_ERROR_MM / HEIGHT_MM) / 2),
        )
        return scale if isinstance(scale, NotFound) else face_above(scale, -options.thickness_mm)


def has_size(photo: Photo, prior: Prior, rough: Array) -> bool:
    """Whether a shape may be a card by its size and its proportion, roughly seen."""
    longer = max(photo.width, photo.height)
    if area(rough) < SMALLEST_SHARE / 3 * photo.width * photo.height or not _looks_right(looks(rough)):
        return False
    return rough_proportion(prior, rough, ROUGH_CORNER * longer).is_about(_true(looks(rough)), ROUGH_PROPORTION)


def has_round_corner(photo: Photo, rough: Array) -> bool:
    """Whether at least one corner of a shape roughly seen is a card's."""
    return bool(seem_right(photo, rough, _size(looks(rough)), CORNER_MM, sharp=False).any())


def is_worth_reading(photo: Photo, prior: Prior, corners: Array, told: bool) -> bool:
    """Whether a shape whose sides are found, but not yet read closely, may still be a card, or something to tell of.

    Where two corners are a card's, one side may be another's; of what looks like a card up to here, most show none.
    """
    look, longer = looks(corners), max(photo.width, photo.height)
    right = int(seem_right(photo, corners, _size(look), CORNER_MM, sharp=False).sum())
    if right > 1 or not (right or (_looks_right(look, NEARLY) and not told)):
        return right > 1
    return rough_proportion(prior, corners, FOUND_CORNER * longer).is_about(_true(look), ROUGH_PROPORTION)


def _best_of(photo: Photo, prior: Prior, rough: Array, told: bool) -> Found | str | None:
    """Return a shape roughly seen as a card, if need be with a side moved to where the others say that it must be.

    `told` says that there is something to tell of already: what is no card is then given up the sooner.
    """

    def worth(corners: Array) -> bool:
        return is_worth_reading(photo, prior, corners, told)

    seen = sharpened(photo, rough, MARGIN, worth)
    if seen is None:
        return None
    found = as_card(photo, prior, seen)
    if isinstance(found, Found):
        return _standing(photo, prior, found)
    right = right_corners(photo, seen.corners, _size(looks(seen.corners)), CORNER_MM, sharp=False).right
    sides = [k for k in range(4) if right[k] and right[(k + 1) % 4]]
    for side in sides if not right.all() else ():
        width, height = _size(looks(seen.corners))
        other = searched(photo).with_far_side(seen.corners, side, width / height if side % 2 else height / width)
        again = None if other is None else sharpened(photo, other, MARGIN, worth)
        better = None if again is None else as_card(photo, prior, again)
        if isinstance(better, Found):
            return _standing(photo, prior, better)
    return found


def _standing(photo: Photo, prior: Prior, card: Found) -> Found | str:
    """Return a card; where a side is rough, only if it is one when read again from where it was found.

    Such a side lies along a shadow, dust or gravel: a pixel off, it lets something else pass for a card, or the camera
    look tilted. Sides that are smooth by colour are read so then, as where one is but uneven; where that tells another
    size, it counts.
    """
    corners = card.seen.corners
    roughest = max(edge.error_px for edge in card.seen.edges) / max(photo.width, photo.height)
    if roughest < UNEVEN_SIDE:
        return card
    places = np.array([[1, 1], [3, 1], [3, 3], [1, 3]]) / 4 * [photo.width, photo.height]
    for _ in range(READ_AGAIN):
        seen = sharpened(photo, corners, MARGIN, lambda _: True, shaded=True)
        if seen is None:
            break
        again = as_card(photo, prior, seen)
        if isinstance(again, Found):
            differ = [math.log(_mm_per_px(again.view, place) / _mm_per_px(card.view, place)) for place in places]
            return again if max(map(abs, differ)) > ANOTHER_SIZE else card
        corners = seen.corners
    return ODD_SIDE if roughest > ROUGH_SIDE else card


def _mm_per_px(view: View, at: Array) -> float:
    """Return how many mm a pixel shows at a place."""
    origin, right, down = view.to_mm(at + np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]))
    return math.sqrt(abs(float(np.linalg.det([right - origin, down - origin]))))


def _by_colour(photo: Photo, prior: Prior, doubtful: list[Array]) -> list[Found]:
    """Return the first card among shapes roughly seen, its sides told by colour: its own shadow may lie beside it.

    A border of another colour about something else is then taken for part of it, and what is sharp inside looks round.
    """

    def worth(corners: Array) -> bool:
        return is_worth_reading(photo, prior, corners, told=True)

    some = photo.pixels[::16, ::16]
    if (some == some[..., :1]).all():  # a grey photo
        return []
    for rough in doubtful[:MOST_BY_COLOUR]:
        seen = sharpened(photo, rough, MARGIN, worth, shaded=True)
        found = None if seen is None else as_card(photo, prior, seen)
        card = _standing(photo, prior, found) if isinstance(found, Found) else None
        if isinstance(card, Found):
            return [card]
    return []


def _is_round(photo: Photo, corners: Array, size: tuple[float, float]) -> bool:
    """Whether corners reach as far in their middle as to either side of it, wherever the sides are taken to be."""
    reach = corner_reaches(photo, corners, size, CORNER_MM)
    reach = reach[np.isfinite(reach).all(axis=1)]
    return bool(len(reach)) and float(np.median(reach[:, 2] / reach[:, [0, 4]].mean(axis=1))) < ROUND


def _by_tones(photo: Photo, prior: Prior) -> list[Found]:
    """Return the first card among shapes seen, their sides laid where their tones change."""

    def is_small(rough: Array) -> bool:
        share = area(rough) / (photo.width * photo.height)
        return LEAST_BY_TONES * SMALLEST_SHARE < share < LARGEST_BY_TONES

    for placed in searched(photo).placed(is_small):
        if has_size(photo, prior, placed) and has_round_corner(photo, placed):
            found = _best_of(photo, prior, placed, told=True)
            if isinstance(found, Found):
                return [found]
            again = _by_colour(photo, prior, [placed])
            if again:
                return again
    return []


def _is_cut(photo: Photo) -> bool:
    """Whether two corners of a card are seen whose other two lie beyond the frame."""
    return any(_cut_corners(photo, corners) == 2 for corners in searched(photo).cut)


def _cut_corners(photo: Photo, corners: Array) -> int:
    """Return how many corners of a shape cut by the frame are a card's, the card long or short along the side seen."""
    rim = np.minimum(corners, [photo.width - 1, photo.height - 1] - corners).min(axis=1)
    first = next(k for k in range(4) if rim[k] >= rim[k - 1] and rim[(k + 1) % 4] > rim[(k + 2) % 4])
    a, b, c, d = np.roll(corners, -first, axis=0)
    wide, best = float(np.linalg.norm(b - a)), 0
    for size in ((WIDTH_MM, HEIGHT_MM), (HEIGHT_MM, WIDTH_MM)):
        deep = wide * size[1] / size[0]
        if wide * deep < SMALLEST_SHARE / 3 * photo.width * photo.height:
            continue
        whole = np.array([a, b, *(end + deep * _unit(far - end) for end, far in ((b, c), (a, d)))])
        best = max(best, int(seem_right(photo, whole, size, CORNER_MM, sharp=False)[:2].sum()))
    return best


def _unit(vector: Array) -> Array:
    return np.asarray(vector / np.linalg.norm(vector))


def _size(looks: float) -> tuple[float, float]:
    """Return the size of a card that lies the way it looks."""
    return (WIDTH_MM, HEIGHT_MM) if looks > 1 else (HEIGHT_MM, WIDTH_MM)


def _true(looks: float) -> float:
    """Return the proportion of a card that lies the way it looks."""
    return WIDTH_MM / HEIGHT_MM if looks > 1 else HEIGHT_MM / WIDTH_MM


def _looks_right(looks: float, factor: float = LOOKS_OFF) -> bool:
    return _true(looks) / factor < looks < _true(looks) * factor


def as_card(photo: Photo, prior: Prior, seen: Seen) -> Found | str | None:
    """Return a shape as a card; None if it is not like one at all, or a text where it nearly is."""
    look = looks(seen.corners)
    if not _looks_right(look):
        return None
    size = _size(look)
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
    is_round = corners.sure.sum() > (corners.count == 2) or _is_round(photo, seen.corners, size)
    return ODD_SIDE if cut or not is_round or runs_on(photo, seen.corners) else None


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


def _apart(cards: list[Found]) -> list[Found]:
    """Return cards that don't overlap; of those that do, the one with most of a card's corners and the best fit."""
    kept: list[Found] = []
    for card in sorted(cards, key=lambda card: (-card.corners, card.view.cost)):
        middle = card.seen.corners.mean(axis=0)
        reach = [np.linalg.norm(other.seen.corners - other.seen.corners.mean(axis=0), axis=1).min() for other in kept]
        away = [np.linalg.norm(other.seen.corners.mean(axis=0) - middle) for other in kept]
        if all(gap > radius for gap, radius in zip(away, reach, strict=True)):
            kept.append(card)
    return kept


def _none(complaints: list[str]) -> NotFound:
    if complaints:
        return NotFound(
            min(complaints, key=lambda text: text == NO_CARD),
            "Lay one flat, whole card level with the face, clear of sawdust, "
            "all of it in the photo, taken from straight above.",
        )
    return NotFound(
        "no card in sight",
        "Lay a bank or identity card (85.60 x 53.98 mm) on the face or level with it, all of it in the photo "
        "and clear of other edges.",
        absent=True,
    )
