"""The printed marker sheet in a photo: corners to a tenth of a pixel, whatever part of it is in sight."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from photonest.model import NotFound, Photo, Scale
from photonest.scale.board import CHECK_LINE_MM, PAPER_MM, Paper, SheetLayout, marker_dictionary, sheet_layout
from photonest.scale.build import scale_from_view
from photonest.scale.camera import Array, Prior, View, fit, mapped, prior_of, start
from photonest.scale.corners import are_saddles, in_picture, refined

Grey = NDArray[np.uint8]

FEWEST_CORNERS = 6
SEARCH_PX = 1600  # the markers are looked for in a photo of this size; their corners in the full one
CORNER_PX = 0.12  # usual standard error of a corner (Hu et al. 2019 find 0.09 to 0.12 px in good light)
CORNER_WEIGHT = 8  # how many residuals that expectation is worth against the residuals seen
NOT_FLAT = 0.012  # root mean square residual, as a share of a square's side, that flat paper stays below
PRINT_ERROR = 0.002  # of an unchecked printer's scale, as a share; common practice, no source
ASPECT_ERROR = 0.001  # of a printer's scale along against across the feed; common practice, no source
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


@dataclass(frozen=True, eq=False)
class Corners:
    """Board corners in sight: pixels, shape (n, 2), the mm on the sheet that they are, and their standard error."""

    px: Array
    mm: Array
    error_px: float = CORNER_PX

    def picked(self, which: NDArray[np.bool_]) -> Corners:
        """Return some of them."""
        return replace(self, px=self.px[which], mm=self.mm[which])


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
        grey = cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2GRAY)
        seen = find_sheet(grey)
        if isinstance(seen, NotFound):
            return seen
        layout, homography = seen
        prior = prior_of(photo)
        fitted = _fitted(grey, layout, homography @ np.diag([1, 1, stretch]), stretch, prior)
        if isinstance(fitted, NotFound):
            return fitted
        view, corners = fitted
        size_error = PRINT_ERROR if options.check_line_mm is None else READING_MM / CHECK_LINE_MM
        rim = view.to_px(layout.rim() * stretch)
        warnings = _advice(photo, layout, corners)
        return scale_from_view(self.name, photo, view, rim, size_error=size_error, warnings=warnings)


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


def find_sheet(grey: Grey) -> tuple[SheetLayout, Array] | NotFound:
    """Return which sheet is in a grey photo, and a first homography from its mm to pixels."""
    import cv2

    longer = max(grey.shape)
    for side in sorted({min(SEARCH_PX, longer), longer}):
        factor = side / longer
        small = grey if factor == 1 else cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
        seen = _sheet_by_markers(small)
        if seen is not None:
            layout, homography = seen
            # pixel centres: x of the full photo is (x + 1/2) / factor - 1/2 of the small one
            ratio = np.array(small.shape[::-1]) / grey.shape[::-1]
            back = np.diag([*(1 / ratio), 1.0])
            back[:2, 2] = 0.5 / ratio - 0.5
            return layout, back @ homography
    if _sheet_by_markers(np.ascontiguousarray(small[:, ::-1])) is not None:
        return NotFound(
            "the photo is mirrored: the marker sheet reads backwards", "Use the photo as the camera took it."
        )
    return NotFound(
        "no marker sheet in sight",
        "Lay the printed sheet (photonest marker-sheet) level with the face, in the photo and in the light.",
    )


def _sheet_by_markers(grey: Grey) -> tuple[SheetLayout, Array] | None:
    """Return the sheet most of whose markers agree on one homography."""
    import cv2

    quads, numbers, _ = _detector().detectMarkers(grey)
    if numbers is None:
        return None
    numbers = np.asarray(numbers).ravel()
    best: tuple[int, SheetLayout, Array] | None = None
    for paper in PAPER_MM:
        layout = sheet_layout(cast(Paper, paper))
        mine = [k for k, number in enumerate(numbers) if number in layout.ids]
        if not mine:
            continue
        px = np.concatenate([np.asarray(quads[k]).reshape(4, 2) for k in mine]).astype(float)
        mm = np.concatenate([layout.marker_corners()[numbers[k] - layout.first_id] for k in mine])
        homography, inside = cv2.findHomography(mm, px, cv2.RANSAC, 4.0)
        count = int(inside.sum()) if homography is not None else 0
        if count >= 8 and np.linalg.det(homography[:2, :2]) > 0 and (best is None or count > best[0]):
            best = count, layout, np.asarray(homography)
    return None if best is None else best[1:]


def _detector() -> Any:
    import cv2

    settings = cv2.aruco.DetectorParameters()
    settings.minMarkerPerimeterRate = 0.02
    return cv2.aruco.ArucoDetector(marker_dictionary(), settings)


def _fitted(
    grey: Grey, layout: SheetLayout, homography: Array, stretch: float, prior: Prior
) -> tuple[View, Corners] | NotFound:
    """Return the view by all corners in sight; each round looks again where the last view predicts them."""
    view = start(prior, homography, more=1)
    if view is None:
        return NotFound("the marker sheet is seen from behind or edge-on", "Retake the photo from above the face.")
    corners = board_corners(grey, layout, stretch, lambda mm: mapped(homography, mm))
    for _ in range(2):
        if len(corners.px) < FEWEST_CORNERS:
            return NotFound(
                f"only {len(corners.px)} corners of the marker sheet are in sight; {FEWEST_CORNERS} are needed",
                "Uncover more of the sheet, keep it out of glare and hard shadows, or go nearer.",
            )
        fitted = fit_corners(view, corners, prior)
        if fitted is None:
            return NotFound("the marker sheet's corners fit no camera", "Lay the sheet flat and retake the photo.")
        view, corners = fitted
        corners = board_corners(grey, layout, stretch, view.to_px)
    fitted = fit_corners(view, corners, prior)
    if fitted is None or fitted[1].error_px > max(NOT_FLAT * _square_px(view, layout, stretch), 3 * CORNER_PX):
        return NotFound(
            "the marker sheet isn't flat: its corners don't lie in one plane",
            "Tape the sheet to something stiff and flat, smooth out folds, and retake the photo.",
        )
    return fitted


def _square_px(view: View, layout: SheetLayout, stretch: float) -> float:
    """Return the side of a square in the middle of the sheet, in pixels."""
    middle = np.asarray(layout.size) / 2 * stretch
    ends = view.to_px(middle + np.array([[0.0, 0.0], [layout.square, 0.0], [0.0, layout.square]]) * stretch)
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
        return Corners(guesses, mm)
    px = refined(grey, guesses, 0.9 * window)
    around = predict((mm[:, None] + _quadrants(layout, mm, 0.6 * clear)).reshape(-1, 2) * stretch)
    around = around.reshape(-1, 4, 2) + (px - guesses)[:, None]
    good = (np.linalg.norm(px - guesses, axis=1) < window) & are_saddles(grey, around)
    return Corners(px[good], mm[good] * stretch)


def _quadrants(layout: SheetLayout, corners_mm: Array, away: float) -> Array:
    """Return steps from board corners into the four squares about each, a light one first, shape (n, 4, 2)."""
    column, row = np.rint((corners_mm - layout.origin) / layout.square).astype(int).T
    turn = np.array([[1, -1], [1, 1], [-1, 1], [-1, -1]]) * away
    # the square up and left of corner (c, r) is (c - 1, r - 1): as dark as (c + r) is even, so up and right is light
    light_first = (column + row) % 2 == 0
    return np.where(light_first[:, None, None], turn, np.roll(turn, 1, axis=0))


def fit_corners(view: View, corners: Corners, prior: Prior) -> tuple[View, Corners] | None:
    """Return the view by corners of a print, those that fit it, and their standard error.

    The one more parameter is the print's stretch along the sheet against across it.
    """
    seen, error = corners, CORNER_PX
    for _ in range(3):
        picked = seen

        def residuals(at: View, picked: Corners = picked, error: float = error) -> Array:
            off = (_printed(at, picked.mm) - picked.px) / error
            return off.reshape(*off.shape[:-2], -1)

        fitted = fit(view, prior, residuals, more_errors=(ASPECT_ERROR,))
        if fitted is None:
            return None
        view = fitted
        off = np.linalg.norm(_printed(view, corners.mm) - corners.px, axis=1)
        kept = off < max(3.5 * float(np.median(off)) / 1.18, 3 * CORNER_PX)
        seen = corners.picked(kept)
        freedom = 2 * len(seen.px) - 9
        error = float(np.sqrt((CORNER_WEIGHT * CORNER_PX**2 + (off[kept] ** 2).sum()) / (CORNER_WEIGHT + freedom)))
    return view, replace(seen, error_px=error)


def _printed(view: View, mm: Array) -> Array:
    """Return where the photo shows points of a print that came out stretched."""
    stretch = view.more[..., None, :1] * [1.0, -1.0]
    return view.to_px(mm * (1 + stretch))


def _advice(photo: Photo, layout: SheetLayout, corners: Corners) -> tuple[str, ...]:
    """Return what a person could do to make the next photo better."""
    share = len(corners.px) / len(layout.board_corners())
    if share < 0.4:
        return (f"Only {100 * share:.0f} % of the marker sheet's corners are in sight: uncover more of it.",)
    return ()
