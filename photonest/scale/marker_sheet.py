"""The printed marker sheet in a photo: corners to a tenth of a pixel, whatever part of it is in sight."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import cast

import numpy as np
from numpy.typing import NDArray

from photonest.model import NotFound, Photo, Scale
from photonest.scale.advice import SEEMS_CROPPED
from photonest.scale.board import CHECK_LINE_MM, PAPER_MM, Paper, SheetLayout, sheet_layout
from photonest.scale.build import scale_from_view
from photonest.scale.camera import Array, Prior, View, mapped, prior_if_cropped, prior_of, start, strained
from photonest.scale.corners import are_saddles, in_picture, saddle_points
from photonest.scale.height import face_above
from photonest.scale.seen_markers import SeenMarkers, seen_markers
from photonest.scale.sheet_fit import MORE, Corners, SheetView, fit_corners, rough_fit

Grey = NDArray[np.uint8]

FEWEST_CORNERS = 6
CORNER_PX = 0.05  # least standard error of a corner
SOILED = 0.6  # standard error of a corner over how far two windows about it disagree, where dust lies beside it
MOST_SOILED_PX = 0.8  # disagreement beyond which a corner says nothing
NOT_FLAT = 0.012  # usual residual, as a share of a square's side, that paper bent one way stays below
MOST_BENT_MM, BENT_MM = 15.0, 1.5  # lift at the page's rim that is measured at all; that a person is told of
RESTING = 0.1  # standard error of the plane that a bent sheet rests on, over its lift
PRINT_ERROR = 0.002  # of an unchecked printer's scale, as a share; common practice, no source
FEW_SHARE = 0.4  # of the corners, below which a person is told to show more of the sheet
SMALL_SQUARE_PX = 30.0  # below which markers and print about a corner mislead as much as a sheet that isn't flat
NEARER = (
    "Go so near that the sheet fills 2 % of the photo or more, tape it flat, and hold the camera still, in good light."
)
READING_MM = 0.15  # standard error of the check line as read with a steel rule


@dataclass(frozen=True)
class MarkerSheetOptions:
    """What a user may tell about the sheet.

    Attributes
    ----------
    check_line_mm : float or None
        The printed check line as measured with a ruler; None takes it to be as long as it should be.
    """

    check_line_mm: float | None = None


class MarkerSheet:
    """Finds the project's own printed sheet; its frame is mm from the sheet's top left corner."""

    name = "marker-sheet"
    version = "1"
    Options = MarkerSheetOptions

    def find(self, photo: Photo, options: MarkerSheetOptions) -> Scale | NotFound:
        """Return the scale by the sheet."""
        import cv2

        stretch = print_stretch(options.check_line_mm)
        if isinstance(stretch, NotFound):
            return stretch
        seen = find_sheet(photo)
        if isinstance(seen, NotFound):
            return seen
        layout, homography = seen
        grey = cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2GRAY)
        rough, prior = homography @ np.diag([1, 1, stretch]), prior_of(photo)
        fitted = _fitted(grey, layout, rough, stretch, prior)
        cut = not isinstance(fitted, NotFound) and strained(fitted[0].view, prior)
        if cut:
            fitted = _fitted(grey, layout, rough, stretch, prior_if_cropped(photo))
        if isinstance(fitted, NotFound):
            return fitted
        sheet, corners = fitted
        size_error = PRINT_ERROR if options.check_line_mm is None else READING_MM / CHECK_LINE_MM
        rim, warnings = layout.rim() * stretch, _advice(photo, layout, corners, sheet, stretch)
        warnings += (SEEMS_CROPPED,) if cut else ()
        scale = scale_from_view(
            self.name, photo, sheet.view, sheet.to_px(rim), size_error=size_error, warnings=warnings
        )
        return scale if isinstance(scale, NotFound) else _as_it_lies(scale, sheet, rim)


def print_stretch(check_line_mm: float | None) -> float | NotFound:
    """Return the print's scale by its check line, 1 where it was not measured."""
    if check_line_mm is None:
        return 1.0
    if not 0.8 * CHECK_LINE_MM <= check_line_mm <= 1.25 * CHECK_LINE_MM:
        return NotFound(
            f"a check line of {check_line_mm:g} mm can't be right: it is {CHECK_LINE_MM:g} mm long on a good print",
            "Measure it again, in mm, between the outer edges of its two end marks.",
        )
    return check_line_mm / CHECK_LINE_MM


def find_sheet(photo: Photo) -> tuple[SheetLayout, Array] | NotFound:
    """Return which sheet is in a photo, and a first homography from its mm to pixels."""
    seen = seen_markers(photo)
    found = [answer for paper in PAPER_MM if (answer := _sheet_by_markers(seen, sheet_layout(cast(Paper, paper))))]
    if found:
        _, layout, homography = max(found, key=lambda answer: answer[0])
        return layout, homography
    if seen.mirrored:
        return NotFound(
            "the photo is mirrored: its markers read backwards", "Use the photo as the camera took it, not mirrored."
        )
    if seen.unread:
        return NotFound(
            "what looks like a marker sheet is too small or too blurred to be read",
            NEARER,
        )
    return NotFound(
        "no marker sheet in sight",
        "Lay the printed sheet (photonest marker-sheet) level with the face, in the light, and go so near that it "
        "fills 2 % of the photo or more.",
        absent=True,
    )


def _sheet_by_markers(seen: SeenMarkers, layout: SheetLayout) -> tuple[int, SheetLayout, Array] | None:
    """Return the homography that most of a sheet's markers agree on, the number of corners that do before it."""
    import cv2

    mine = [k for k, number in enumerate(seen.numbers) if number in layout.ids]
    if len(mine) < 2:
        return None
    px = np.concatenate([seen.px[k] for k in mine])
    mm = np.concatenate([layout.marker_corners()[seen.numbers[k] - layout.first_id] for k in mine])
    size = float(np.mean([np.linalg.norm(seen.px[k] - np.roll(seen.px[k], 1, axis=0), axis=1).mean() for k in mine]))
    homography, inside = cv2.findHomography(mm, px, cv2.RANSAC, max(4.0, 0.08 * size))
    count = int(inside.sum()) if homography is not None else 0
    # seen from its printed side, however tilted: what is seen lies before the camera, and the map's last element is 1
    if count < 8 or np.linalg.det(homography) <= 0:
        return None
    return count, layout, np.asarray(homography)


def _fitted(
    grey: Grey, layout: SheetLayout, homography: Array, stretch: float, prior: Prior
) -> tuple[SheetView, Corners] | NotFound:
    """Return the view by all corners in sight, looked for where the homography and then a first view predict them."""
    view = start(prior, homography, more=MORE)
    if view is None:
        return NotFound("the marker sheet is seen from behind or edge-on", "Retake the photo from above the face.")
    first = _fitted_near(grey, layout, stretch, prior, view, partial(mapped, homography), rough_fit)
    if isinstance(first, NotFound):
        return first
    second = _fitted_near(grey, layout, stretch, prior, first[0].view, first[0].to_px, fit_corners)
    if isinstance(second, NotFound):
        return second
    sheet, corners = second
    off = sheet.spread * float(np.median(corners.error_px))
    lift = np.abs(sheet.lift(layout.rim() * stretch)).max()
    square_px = _square_px(sheet, layout, stretch)
    if off > max(NOT_FLAT * square_px, 6 * CORNER_PX) or lift > MOST_BENT_MM:
        if square_px < SMALL_SQUARE_PX:
            return NotFound(
                "the marker sheet is seen too small, or isn't flat: its corners don't lie in one plane", NEARER
            )
        return NotFound(
            "the marker sheet isn't flat: its corners don't lie in one plane",
            "Tape the sheet to something stiff and flat, smooth out folds, and retake the photo.",
        )
    return second


def _fitted_near(
    grey: Grey,
    layout: SheetLayout,
    stretch: float,
    prior: Prior,
    view: View,
    predict: Callable[[Array], Array],
    fitting: Callable[[View, Corners, Prior, Array], SheetView | None],
) -> tuple[SheetView, Corners] | NotFound:
    """Return the view near another by the corners that are seen where they are predicted."""
    corners = board_corners(grey, layout, stretch, predict)
    if len(corners.px) < FEWEST_CORNERS:
        return NotFound(
            f"only {len(corners.px)} corners of the marker sheet are in sight; {FEWEST_CORNERS} are needed",
            "Uncover more of the sheet, keep it out of glare and hard shadows, or go nearer.",
        )
    sheet = fitting(view, corners, prior, np.asarray(layout.size) / 2 * stretch)
    if sheet is None:
        return NotFound("the marker sheet's corners fit no camera", "Lay the sheet flat and retake the photo.")
    return sheet, corners


def _as_it_lies(scale: Scale, sheet: SheetView, rim_mm: Array) -> Scale | NotFound:
    """Return the scale in the plane that a bent sheet rests on, taken to be the face's, and tell of the bend."""
    lift = sheet.lift(rim_mm)
    bent, sunk = float(np.abs(lift).max()), min(0.0, float(lift.min()))
    if bent < BENT_MM:
        return scale
    told = (
        f"The marker sheet is bent by about {bent:.0f} mm; that is allowed for, but a sheet taped flat to "
        "something stiff measures better."
    )
    return face_above(replace(scale, warnings=(*scale.warnings, told)), sunk, RESTING * bent)


def _square_px(sheet: SheetView, layout: SheetLayout, stretch: float) -> float:
    """Return the side of a square in the middle of the sheet, in pixels."""
    middle = np.asarray(layout.size) / 2 * stretch
    ends = sheet.to_px(middle + np.array([[0.0, 0.0], [layout.square, 0.0], [0.0, layout.square]]) * stretch)
    return float(np.linalg.norm(ends[1:] - ends[0], axis=1).min())


def board_corners(grey: Grey, layout: SheetLayout, stretch: float, predict: Callable[[Array], Array]) -> Corners:
    """Return the corners of the board in sight near where they are predicted.

    Parameters
    ----------
    predict : callable
        From true mm on the sheet, shape (n, 2), to pixels.
    """
    mm = layout.board_corners()
    clear = (layout.square - layout.marker) / 2  # from a corner to the nearest marker
    guesses, aside = predict(mm * stretch), predict((mm + np.array([0, clear])) * stretch)
    window = float(np.median(np.linalg.norm(aside - guesses, axis=1)))
    near = in_picture(guesses, grey.shape, window + 2)
    mm, guesses = mm[near], guesses[near]
    if not len(mm):
        return Corners(guesses, mm, guesses[:, 0])
    px, closer = saddle_points(grey, guesses, 0.9 * window), saddle_points(grey, guesses, 0.5 * window)
    apart = np.linalg.norm(px - closer, axis=1)
    around = predict((mm[:, None] + _quadrants(layout, mm, 0.6 * clear)).reshape(-1, 2) * stretch)
    around = around.reshape(-1, 4, 2) + (px - guesses)[:, None]
    good = (np.linalg.norm(px - guesses, axis=1) < window) & (apart < MOST_SOILED_PX) & are_saddles(grey, around)
    return Corners(px[good], mm[good] * stretch, np.hypot(CORNER_PX, SOILED * apart[good]))


def _quadrants(layout: SheetLayout, corners_mm: Array, away: float) -> Array:
    """Return steps from board corners into the four squares about each, a light one first, shape (n, 4, 2)."""
    column, row = np.rint((corners_mm - layout.origin) / layout.square).astype(int).T
    turn = np.array([[1, -1], [1, 1], [-1, 1], [-1, -1]]) * away
    # the square up and left of corner (c, r) is (c - 1, r - 1): as dark as (c + r) is even, so up and right is light
    light_first = (column + row) % 2 == 0
    return np.where(light_first[:, None, None], turn, np.roll(turn, 1, axis=0))


def _advice(photo: Photo, layout: SheetLayout, corners: Corners, sheet: SheetView, stretch: float) -> tuple[str, ...]:
    """Return what a person could do to make the next photo better."""
    places = layout.board_corners()
    share = len(corners.px) / len(places)
    if share >= FEW_SHARE:
        return ()
    inside = float(in_picture(sheet.to_px(places * stretch), photo.pixels.shape, 0).mean())
    cut = inside < share + (1 - share) / 2  # most of what is missing lies beyond the frame
    what = "the frame cuts it: take the photo from farther away" if cut else "uncover more of it"
    return (f"Only {100 * share:.0f} % of the marker sheet's corners are in sight: {what}.",)
