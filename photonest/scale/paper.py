"""A plain white sheet of paper of a standard size."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from photonest.imaging import light
from photonest.model import NotFound, Photo, Scale
from photonest.scale.build import scale_from_view
from photonest.scale.camera import Array, Prior, View, prior_of
from photonest.scale.rectangle import Proportion, Seen, fitted, interior, proportion, rough_proportion, sharpened
from photonest.scale.rough_shapes import area, looks, searched
from photonest.scale.shape_corners import Corners, right_corners, runs_on, seem_right

SIZES_MM: dict[str, tuple[float, float]] = {  # long side first
    "A3": (420.0, 297.0),  # ISO 216
    "A4": (297.0, 210.0),
    "A5": (210.0, 148.0),
    "Letter": (279.4, 215.9),  # ANSI/ASME Y14.1, size A
}
UNNAMED = ("A4", "Letter")  # A3, A4 and A5 have one proportion: the others must be named
MARGIN = 0.05  # of each side
ALIKE, MOST_READ = 0.001, 3  # of the photo's longer side, that corners of one shape are read apart; how often it is
# ways to close shapes in one place that are read, where none is a sheet and where one is but fits badly; how far apart
# their middles are, over their extent. Of 139 drawn sheets found, all were by the fifth, and none a second time
MOST_WAYS, MORE_WAYS, ONE_PLACE = 12, 3, 0.25
CORNER, ROUGH_PROPORTION = 0.0004, 0.03  # of corners: their error over the photo's longer side; a bias
CUT_ERROR_MM = 0.5  # of office paper's sides, well inside the 2 mm that ISO 216 allows; common practice, no source
SMALLEST_SHARE = 0.035  # of the frame; smaller white rectangles are labels
SURE_FIT = 1.2  # mean squared residual over its expectation, below which no better one is looked for
WORST_FIT = 1.6  # mean squared residual over its expectation: flat sheets stay below 1.45, one bent by 1 mm does not
HIDDEN = "a white rectangle does not show four sharp corners: one is hidden, bent or cut off, or it is no sheet"
# share of each side that must be seen, and by how much rougher than usual, and by how much more, one may be, for the
# edge of what is printed on something is seen in part and rough; or else sawdust covers part of it: all corners must be
# sharp then and the proportion closer to a sheet's, in its standard errors
LEAST_SIDE, COVERED_OFF, UNEVEN, UNEVEN_PX = 0.65, 2.0, 2.8, 0.05
# where a corner is hidden: each side's roughness over the photo's longer side, the proportion's standard error
CLEAN, TELLING = 8e-5, 0.012
# standard error of the proportion beyond which A4 and Letter can't be told apart, and standard errors off a sheet's:
# beyond them labels look like sheets; drawn sheets stay below 0.02, without a focal length in the file too, and 2.4
MOST_DOUBT, MOST_OFF = 0.028, 3.0
UNTOLD = "a white rectangle's proportion can't be told well enough: it is seen too slantwise, or is no sheet"
SURE_NAME = 10.0  # difference of squared standard errors by which one proportion is sure: odds of 150 to 1
# longer side over the shorter of a photo print of 8 by 10 inches, a usual size, from memory, and how closely such are
# cut (common practice, no source); by how many squared standard errors it must be farther off for Letter to be told
PRINT, CUT_TO, PRINT_UNLIKE = 1.25, 0.008, 4.0
BENT_GAIN = 6.0  # in squared standard errors, by which a bent sheet must fit better: nineteen in twenty lie flat
FLAT_MM = 0.3  # that the sides of a sheet that lies flat are above its middle, or below; common practice, no source
BEND = 0.012  # of a sheet's height, that its sides may lie above its middle
LOOKS_BENT = 0.01  # share of a side's length by which it may look bent then: 1.5 times that bend, from 30 degrees aside
SHADED, WHITE = 0.7, 0.54  # least light of a sheet, over the photo's usual one, and over its lightest
MOST_COLOUR = 0.42  # of white paper's light, largest channel less smallest over the largest
SHADOW = 4.0  # by which factor light may differ on a sheet, part of it in shadow
TINTS = 0.35  # by which share its colour may
PLAIN_SHARE = 0.6  # of the sheet must be of one tone within that
# median share by which light may differ from one place to the next on a sheet, a 24th of it away: on drawn sheets,
# ruled and dusty ones, too, at most 0.034; on a pale board 0.10
STREAKS = 0.06
LEAST_WHITE_SIDE = 0.4  # of the strip inside each side


@dataclass(frozen=True)
class PaperOptions:
    """What a user may tell about the sheet.

    Attributes
    ----------
    size : str
        "A3", "A4", "A5" or "Letter"; "any" takes A4 or Letter by the proportion.
    """

    size: str = "any"


class Found(NamedTuple):
    """A sheet, its size's name, its size along its view's x and y, its view in mm from a corner, the second best."""

    seen: Seen
    name: str
    size: tuple[float, float]
    view: View
    other: View | None

    @property
    def misfit(self) -> float:
        """Mean squared residual over its expectation."""
        return self.view.cost / sum(len(edge.px) for edge in self.seen.edges)

    def holds(self, point: Array) -> bool:
        """Whether a pixel lies on the sheet."""
        x, y = self.view.to_mm(point[None])[0]
        return bool(0 < x < self.size[0] and 0 < y < self.size[1])


class Paper:
    """Finds a white sheet of paper level with the face."""

    name = "paper"
    version = "1"
    Options = PaperOptions

    def find(self, photo: Photo, options: PaperOptions) -> Scale | NotFound:
        """Return the scale by the sheet."""
        names = UNNAMED if options.size == "any" else (options.size,)
        if any(name not in SIZES_MM for name in names):
            return NotFound(f"no paper size is called {options.size!r}", f"Give one of {', '.join(SIZES_MM)}.")
        prior = prior_of(photo)
        least_light = least_white(photo)
        sheets: list[Found] = []
        complaints: list[str] = []
        read: list[Array] = []
        middles: list[Array] = []  # of all ways to close shapes that were tried

        def is_wanted(rough: Array) -> bool:
            return not _is_settled(rough, sheets, middles) and may_be_paper(photo, rough, least_light)

        def is_worth_reading(corners: Array) -> bool:
            if _is_known(corners, read, photo):
                return False
            # what shows fewer sharp corners is no sheet; one such need be read, to be told of
            return not complaints or sharp_corners(photo, corners, strongest=True).count > 2

        for rough in _shapes(photo, is_wanted, sheets):
            if not (is_wanted(rough) and seem_right(photo, rough, *_about(rough), sharp=True).any()):
                continue
            middles.append(rough.mean(axis=0))
            seen = sharpened(photo, rough, MARGIN, is_worth_reading, LOOKS_BENT)
            if seen is None or _is_known(seen.corners, read, photo):
                continue
            found = as_paper(photo, prior, seen, names, least_light)
            read += [seen.corners] * (1 if isinstance(found, str) else MOST_READ)
            if isinstance(found, str):
                complaints.append(found)
            elif found is not None:
                sheets.append(found)
        if not sheets:
            return _none(complaints, names)
        return self._scale(photo, min(sheets, key=lambda sheet: sheet.misfit), options)

    def _scale(self, photo: Photo, best: Found, options: PaperOptions) -> Scale | NotFound:
        warnings: tuple[str, ...] = ()
        if options.size == "any" and best.name == "A4":
            warnings = ("The sheet is taken to be A4; A3 and A5 look the same but for their size, and must be named.",)
        return scale_from_view(
            self.name,
            photo,
            best.view,
            best.seen.corners,
            alternative=best.other,
            reference_error=CUT_ERROR_MM * float(np.hypot(1 / best.size[0], 1 / best.size[1])) / 2,
            warnings=warnings,
        )


def _shapes(photo: Photo, wanted: Callable[[Array], bool], sheets: list[Found]) -> Iterator[Array]:
    """Yield shapes wanted, those laid by their tones only if there are no sheets by then."""
    yield from searched(photo).shapes(wanted)
    if not sheets:
        yield from searched(photo).placed(wanted)


def _is_settled(rough: Array, sheets: list[Found], middles: list[Array]) -> bool:
    """Whether a shape lies on a sheet seen well, as another way to close it, or where enough were tried."""
    middle, near = rough.mean(axis=0), ONE_PLACE * np.ptp(rough, axis=0)
    ways = sum(bool((np.abs(middle - other) < near).all()) for other in middles)
    here = [sheet for sheet in sheets if sheet.holds(middle)]
    return any(sheet.misfit < SURE_FIT for sheet in here) or ways >= (MORE_WAYS if here else MOST_WAYS)


def _is_known(corners: Array, read: list[Array], photo: Photo) -> bool:
    """Whether a shape has been read often enough: dust or a bend may mislead one reading, and another be right."""
    return sum(_is_again(corners, other, photo) for other in read) >= MOST_READ


def _is_again(corners: Array, other: Array, photo: Photo) -> bool:
    """Whether a shape is one read before, whichever corner comes first."""
    least = ALIKE * max(photo.width, photo.height)
    return any(bool(np.abs(np.roll(corners, turn, axis=0) - other).max() < least) for turn in range(4))


def may_be_paper(photo: Photo, rough: Array, least_light: float) -> bool:
    """Whether a shape is large enough and looks like plain white paper, as far as its rough corners tell."""
    share = area(rough) / (photo.width * photo.height)
    return share > SMALLEST_SHARE / 3 and _is_plain_white(photo, rough, least_light)


def sharp_corners(photo: Photo, corners: Array, strongest: bool = False) -> Corners:
    """Return which corners of a shape are as sharp as a sheet's, as `right_corners` tells them."""
    return right_corners(photo, corners, *_about(corners), sharp=True, strongest=strongest)


def _about(corners: Array) -> tuple[tuple[float, float], float]:
    """Return about a sheet's size, and how far its corners are looked at, in any unit."""
    size = (100 * looks(corners), 100.0)
    return size, min(size) / 30


def as_paper(photo: Photo, prior: Prior, seen: Seen, names: tuple[str, ...], least_light: float) -> Found | str | None:
    """Return a shape as a sheet of one of the sizes named; None if it is not like one, or a text where it nearly is."""
    if not _is_plain_white(photo, seen.corners, least_light):
        return None
    corners = sharp_corners(photo, seen.corners)
    longer = max(photo.width, photo.height)
    share, rough = min(edge.share for edge in seen.edges), [edge.error_px for edge in seen.edges]
    covered = share < LEAST_SIDE or max(rough) > UNEVEN_PX + UNEVEN * float(np.median(rough))
    clean = not covered and max(rough) < CLEAN * longer
    if runs_on(photo, seen.corners) or (covered and corners.count < 4):
        return HIDDEN
    nearly = corners.count > 1 and clean and not (corners.wrong | corners.missing).any()
    if corners.count < 4 and not (nearly and sharp_corners(photo, seen.corners, strongest=True).count > 2):
        return HIDDEN
    doubt = TELLING if covered or corners.count < 4 else MOST_DOUBT if len(names) > 1 else np.inf
    about = rough_proportion(prior, seen.corners, CORNER * longer)
    if not any(about.is_about(ratio, ROUGH_PROPORTION) for ratio in _ratios(names, about).values()):
        return _not_like(about)
    told = _told(prior, seen, names, doubt, COVERED_OFF if covered else MOST_OFF)
    if told is None or isinstance(told, str):
        return told
    name, size, views = told
    best = _flat_or_bent(prior, seen, views, size)
    if best is None:
        return None
    view, other = best
    if seen.share < SMALLEST_SHARE:
        return f"a white rectangle fills only {100 * seen.share:.1f} % of the photo: a label, or a sheet too far off"
    if view.cost > WORST_FIT * sum(len(edge.px) for edge in seen.edges):
        return "a sheet's sides are not straight: it is curled, or partly covered"
    return Found(seen, name, size, view, other)


def _told(
    prior: Prior, seen: Seen, names: tuple[str, ...], most_error: float, most_off: float = MOST_OFF
) -> tuple[str, tuple[float, float], list[View]] | str | None:
    """Return which sheet a shape is by its proportion, its size as it lies, its views; or what keeps it from that."""
    complaint = None
    for bend in (0.0, BEND):
        answer = proportion(prior, seen, bend)
        if answer is None:
            return None
        shape, views = answer
        ratios = _ratios(names, shape)
        fits = [name for name, ratio in ratios.items() if shape.is_about(ratio, 0.003, most_off)]
        if len(names) > 1 and "Letter" in fits and _may_be_print(shape, ratios["Letter"]):
            complaint = "something may be Letter paper or a photo print: its proportion can't be told well enough"
            continue
        fair = views[0].cost < WORST_FIT * sum(len(edge.px) for edge in seen.edges)
        fits = _likeliest(shape, {name: ratios[name] for name in fits})
        if len(fits) == 1 and fair and shape.error < most_error:
            long, short = SIZES_MM[fits[0]]
            return fits[0], (long, short) if shape.value > 1 else (short, long), views
        if len(fits) > 1:
            complaint = f"a white sheet may be {' or '.join(fits)}: its proportion can't be told"
        elif not fits:
            complaint = _not_like(shape)
        else:
            doubt = HIDDEN if most_error == TELLING else UNTOLD
            complaint = doubt if fair else "a sheet's sides are not straight: it is curled, or partly covered"
    return complaint


def _ratios(names: tuple[str, ...], shape: Proportion) -> dict[str, float]:
    """Return the proportions of sheets that lie the way a shape does."""
    ratios = {name: SIZES_MM[name][0] / SIZES_MM[name][1] for name in names}
    return ratios if shape.value > 1 else {name: 1 / ratio for name, ratio in ratios.items()}


def _not_like(shape: Proportion) -> str:
    times = max(shape.value, 1 / shape.value)
    return f"a white rectangle is {times:.2f} times as long as wide: no sheet's proportion"


def _may_be_print(shape: Proportion, letter: float) -> bool:
    """Return whether a shape may as well be a photo print as a sheet of Letter that lies the same way."""
    printed = PRINT if letter > 1 else 1 / PRINT
    as_print = math.log(shape.value / printed) / math.hypot(shape.error, CUT_TO)
    as_letter = math.log(shape.value / letter) / shape.error
    return as_print**2 < as_letter**2 + PRINT_UNLIKE


def _likeliest(shape: Proportion, ratios: dict[str, float]) -> list[str]:
    """Return the name of the proportion that a shape has far more likely than any other, or all names."""
    off = sorted(((math.log(shape.value / ratio) / shape.error) ** 2, name) for name, ratio in ratios.items())
    if len(off) > 1 and off[1][0] - off[0][0] > SURE_NAME:
        return [off[0][1]]
    return [name for _, name in off]


def _flat_or_bent(
    prior: Prior, seen: Seen, views: list[View], size: tuple[float, float]
) -> tuple[View, View | None] | None:
    """Return the most likely view of a sheet and the second: flat unless a bent one fits much better."""
    errors = (CUT_ERROR_MM, CUT_ERROR_MM)
    flat, bent = (fitted(prior, seen, views, size, errors, bend) for bend in (FLAT_MM / size[1], BEND))
    if flat is None or bent is None:
        return flat or bent
    if flat[0].cost - bent[0].cost > BENT_GAIN:
        return bent
    return flat[0], flat[1] or replace(bent[0], cost=bent[0].cost + BENT_GAIN)


def least_white(photo: Photo) -> float:
    """Return how light a sheet must at least be, in the shade, too."""
    step = max(1, min(photo.width, photo.height) // 100)
    usual, most = np.quantile(light(np.ascontiguousarray(photo.pixels[::step, ::step])).mean(axis=2), [0.5, 0.98])
    return max(SHADED * float(usual), WHITE * float(most))


def _is_plain_white(photo: Photo, corners: Array, least_light: float) -> bool:
    """Whether a shape is of one nearly colourless, light tone, some writing or sawdust on it let pass."""
    inside = interior(photo, corners)
    tone = np.median(inside.reshape(-1, 3), axis=0)
    colour = (tone.max() - tone.min()) / max(float(tone.max()), 1e-3)
    if colour >= MOST_COLOUR or tone.mean() <= least_light:
        return False
    against = inside / np.maximum(tone, 1e-3)
    bright = np.maximum(against.mean(axis=-1), 1e-3)
    if max(float(np.median(np.abs(np.diff(np.log(bright), axis=axis)))) for axis in (0, 1)) > STREAKS:
        return False
    plain = (np.abs(against / bright[..., None] - 1).max(axis=-1) < TINTS) & (np.abs(np.log(bright)) < np.log(SHADOW))
    along_sides = (plain[:2], plain[-2:], plain[:, :2], plain[:, -2:])
    # where one is not plain, the edge of something beside the sheet is taken for one of its sides
    least_side = min(float(side.mean()) for side in along_sides)
    return least_side >= LEAST_WHITE_SIDE and bool(plain.mean() > PLAIN_SHARE)


def _none(complaints: list[str], names: tuple[str, ...]) -> NotFound:
    if complaints:
        return NotFound(
            complaints[0],
            "Lay one flat, white, standard sheet level with the face, "
            "all of it in the photo, taken from straight above.",
        )
    return NotFound(
        f"no sheet of paper ({' or '.join(names)}) in sight",
        "Lay a white sheet level with the face, all four sides in the photo, or use the marker sheet.",
        absent=True,
    )
