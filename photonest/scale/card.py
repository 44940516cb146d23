"""A bank, identity or membership card of the standard size, of any colour."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from photonest.model import NotFound, Photo, Scale
from photonest.scale.build import scale_from_view
from photonest.scale.camera import Array, Prior, View, prior_of
from photonest.scale.card_shape import (
    CORNER_MM,
    CUT,
    HEIGHT_ERROR_MM,
    HEIGHT_MM,
    MARGIN,
    NO_CARD,
    ODD_SIDE,
    PLAYING_CARD,
    SMALLEST_SHARE,
    THICKNESS_MM,
    WIDTH_ERROR_MM,
    WIDTH_MM,
    Found,
    as_card,
    has_round_corner,
    has_size,
    is_worth_reading,
    size_as_it_looks,
)
from photonest.scale.combine import combined, middle_of_photo
from photonest.scale.height import face_above
from photonest.scale.rectangle import sharpened
from photonest.scale.rough_shapes import area, looks, searched
from photonest.scale.shape_corners import right_corners, seem_right

# of the frame that a sheet of paper fills: it measures better, and cards that no edge tells may stay
SHEET_SHARE = 0.035
ENOUGH = 2  # ways to close one card, of which the best is taken where none is sure
LEAST_BY_TONES, LARGEST_BY_TONES = 0.6, 0.12  # over the least share; share of the frame: beside a log, one is smaller
MOST_BY_COLOUR = 3  # shapes that are read by their colour
# errors of a side over the photo's longer one, from which it is read again, and may be no card's; how often it is; from
# what difference of its logarithm, of the mm that a pixel shows, on another size is told
UNEVEN_SIDE, ROUGH_SIDE, READ_AGAIN, ANOTHER_SIZE = 5e-5, 1e-4, 2, 0.02


@dataclass(frozen=True)
class CardOptions:
    """What a user may tell about the card.

    Attributes
    ----------
    thickness_mm : float
        How far its upper side lies above what it lies on.
    """

    thickness_mm: float = THICKNESS_MM


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
    right = right_corners(photo, seen.corners, size_as_it_looks(looks(seen.corners)), CORNER_MM, sharp=False).right
    sides = [k for k in range(4) if right[k] and right[(k + 1) % 4]]
    for side in sides if not right.all() else ():
        width, height = size_as_it_looks(looks(seen.corners))
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
