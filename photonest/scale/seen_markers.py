"""The square markers in a photo, of sheets and of loose pieces alike, looked for once for all finders."""

from __future__ import annotations

from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from photonest.model import Photo
from photonest.resizing import folded
from photonest.scale.board import MARKER_CELLS, marker_dictionary
from photonest.scale.camera import Array

SEARCH_PX = 1600  # longer side of the picture that they are looked for in
SMALLEST_PX = 8.0  # side of a square there that may be a marker's; below two pixels a cell none can be read
THRESHOLDS_PX = (11, 23)  # windows that dark is told from light in
FEWEST_MIRRORED = 3  # markers that read backwards by which a photo is taken to be mirrored
# a sheet's squares crowd: so many alike lie within so many sides of one (28 to 57 about one of a drawn sheet, at most 3
# on grass, gravel, leaves and chips). A third of a crowd is markers at least: where fewer are read, it is looked at so
# large, and sharpened by so much at that blur (of blurred drawn sheets 25 markers instead of 14, of clear ones as many)
CROWD, CROWDED, ALIKE, LEAST_READ = 9, 6.0, 0.3, 1 / 3
SIDE_READ_PX, MOST_ENLARGED, MOST_CLOSER_PX = 32.0, 2.0, 2000
SHARPENED, BLUR_PX = 5.0, 1.5
FEW_READ = 6  # fewer markers of a crowd tell of a sheet too small or too blurred


@dataclass(frozen=True, eq=False)
class SeenMarkers:
    """Numbers of the markers, their corners in pixels of the photo, shape (n, 4, 2), clockwise as printed.

    `mirrored` says that there are none, but some that read backwards; `unread` that hardly any could be read of
    what looks like a sheet of them.
    """

    numbers: tuple[int, ...]
    px: Array
    mirrored: bool = False
    unread: bool = False


# what is seen in a photo is asked for by several finders; it depends on nothing else, and goes when the photo goes
_kept: WeakKeyDictionary[Photo, SeenMarkers] = WeakKeyDictionary()


def seen_markers(photo: Photo) -> SeenMarkers:
    """Return the markers in sight, in the order of their numbers."""
    kept = _kept.get(photo)
    if kept is None:
        kept = _kept[photo] = _looked_for(photo)
    return kept


def _looked_for(photo: Photo) -> SeenMarkers:
    import cv2

    grey = cv2.cvtColor(photo.pixels, cv2.COLOR_RGB2GRAY)
    fold = max(1, max(grey.shape) // SEARCH_PX)
    small = folded(grey, fold)
    factor = min(1.0, SEARCH_PX / max(small.shape))
    if factor < 1:
        small = cv2.resize(small, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    # pixel centres: x of the full photo is (x + 1/2) / ratio - 1/2 of the small one
    ratio = np.array(small.shape[::-1]) / (np.array(grey.shape[::-1]) // fold * fold)
    numbers, px, others = _read(small)
    crowd = _crowd(px, others)
    if crowd is not None:
        nearer, its = _read_closer(grey, (crowd + 0.5) / ratio - 0.5)
        if len(nearer) > len(numbers):
            numbers, px = nearer, (its + 0.5) * ratio - 0.5
    unread = crowd is not None and len(numbers) < FEW_READ
    if not len(numbers):
        mirrored = False
        if _any_backwards(small, others):  # not all that read so are among those passed over
            mirrored = len(_read(np.ascontiguousarray(small[:, ::-1]))[0]) >= FEWEST_MIRRORED
        return SeenMarkers((), np.zeros((0, 4, 2)), mirrored, unread)
    order = np.argsort(numbers, kind="stable")
    seen = tuple(int(number) for number in numbers[order])
    return SeenMarkers(seen, (px[order] + 0.5) / ratio - 0.5, unread=unread)


def _read(grey: NDArray[np.uint8]) -> tuple[NDArray[np.int_], Array, Array]:
    """Return the markers' numbers in a picture, their corners, shape (n, 4, 2), and those of other quadrangles."""
    import cv2

    settings = cv2.aruco.DetectorParameters()
    settings.minMarkerPerimeterRate = 4 * SMALLEST_PX / max(grey.shape)
    settings.adaptiveThreshWinSizeMin, settings.adaptiveThreshWinSizeMax = THRESHOLDS_PX
    settings.adaptiveThreshWinSizeStep = THRESHOLDS_PX[1] - THRESHOLDS_PX[0]
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    px, numbers, others = cv2.aruco.ArucoDetector(marker_dictionary(), settings).detectMarkers(grey)
    listed = np.zeros(0, int) if numbers is None else np.ravel(numbers).astype(int)
    return listed, np.reshape(px, (-1, 4, 2)).astype(float), np.reshape(others, (-1, 4, 2)).astype(float)


def _crowd(read: Array, others: Array) -> Array | None:
    """Return those of many quadrangles that crowd about one and are alike, shape (n, 4, 2).

    None if few do, or if what was read among them is as many as a sheet's squares hold.
    """
    quads = np.concatenate([read, others])
    if len(quads) <= CROWD:
        return None
    size = np.linalg.norm(quads - np.roll(quads, 1, axis=1), axis=2).mean(axis=1)
    middle = quads.mean(axis=1)
    apart = np.linalg.norm(middle[:, None] - middle, axis=2) / size
    alike = (apart < CROWDED) & (np.abs(np.log(size[:, None] / size)) < ALIKE)
    one = alike[:, alike.sum(axis=0).argmax()]
    many = int(one.sum())
    return quads[one] if many > CROWD and one[: len(read)].sum() < LEAST_READ * many else None


def _read_closer(grey: NDArray[np.uint8], crowd: Array) -> tuple[NDArray[np.int_], Array]:
    """Return the numbers and corners, in pixels of the photo, of markers read about a crowd of squares alike."""
    import cv2

    points = crowd.reshape(-1, 2)
    margin = np.ptp(points, axis=0)  # a crowd may be a part of a sheet
    low = np.maximum(np.floor(points.min(axis=0) - margin), 0).astype(int)
    high = np.minimum(np.ceil(points.max(axis=0) + margin), grey.shape[::-1]).astype(int)
    side = float(np.linalg.norm(crowd - np.roll(crowd, 1, axis=1), axis=2).mean())
    times = min(SIDE_READ_PX / side, MOST_ENLARGED, MOST_CLOSER_PX / float((high - low).max()))
    part = grey[low[1] : high[1], low[0] : high[0]]
    part = cv2.resize(part, None, fx=times, fy=times, interpolation=cv2.INTER_CUBIC if times > 1 else cv2.INTER_AREA)
    part = cv2.addWeighted(part, 1 + SHARPENED, cv2.GaussianBlur(part, (0, 0), BLUR_PX), -SHARPENED, 0)
    numbers, px, _ = _read(np.asarray(part))
    return numbers, (px + 0.5) / (np.array(part.shape[::-1]) / (high - low)) - 0.5 + low


def _any_backwards(grey: NDArray[np.uint8], quads: Array) -> bool:
    """Return whether any of the quadrangles, shape (n, 4, 2), is a marker that reads backwards."""
    import cv2

    cell = (np.arange(MARKER_CELLS) + 0.5) / MARKER_CELLS
    u, v = (grid.ravel() for grid in np.meshgrid(cell, cell))
    weights = np.stack([(1 - u) * (1 - v), u * (1 - v), u * v, (1 - u) * v], axis=1)
    for first in range(0, len(quads), 512):
        at = np.einsum("cq,nqx->ncx", weights, quads[first : first + 512]).astype(np.float32)
        seen = cv2.remap(grey, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE).astype(float)
        light = seen > (seen.min(axis=1, keepdims=True) + seen.max(axis=1, keepdims=True)) / 2
        cells = light.reshape(-1, MARKER_CELLS, MARKER_CELLS)
        inner = cells[:, 1:-1, 1:-1]
        framed = cells.sum(axis=(1, 2)) == inner.sum(axis=(1, 2))
        for bits in inner[framed]:
            if marker_dictionary().identify(np.ascontiguousarray(bits[:, ::-1], dtype=np.uint8), 0.0)[0]:
                return True
    return False
