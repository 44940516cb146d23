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

SEARCH_PX = 1600  # longer side of the picture that they are looked for in: a sheet of 2 % of it still shows its cells
SMALLEST_PX = 12.0  # side of a marker there: below two pixels a cell none can be read
THRESHOLDS_PX = (11, 23)  # windows that dark is told from light in
FEWEST_MIRRORED = 3  # markers that read backwards by which a photo is taken to be mirrored


@dataclass(frozen=True, eq=False)
class SeenMarkers:
    """Numbers of the markers, their corners in pixels of the photo, shape (n, 4, 2), clockwise as printed.

    `mirrored` says that there are none, but some that read backwards.
    """

    numbers: tuple[int, ...]
    px: Array
    mirrored: bool = False


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
    settings = cv2.aruco.DetectorParameters()
    settings.minMarkerPerimeterRate = 4 * SMALLEST_PX / max(small.shape)
    settings.adaptiveThreshWinSizeMin, settings.adaptiveThreshWinSizeMax = THRESHOLDS_PX
    settings.adaptiveThreshWinSizeStep = THRESHOLDS_PX[1] - THRESHOLDS_PX[0]
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    detector = cv2.aruco.ArucoDetector(marker_dictionary(), settings)
    quads, numbers, others = detector.detectMarkers(small)
    if numbers is None:
        mirrored = False
        if _any_backwards(small, np.reshape(others, (-1, 4, 2))):  # not all that read so are among those passed over
            turned = detector.detectMarkers(np.ascontiguousarray(small[:, ::-1]))[1]
            mirrored = turned is not None and len(turned) >= FEWEST_MIRRORED
        return SeenMarkers((), np.zeros((0, 4, 2)), mirrored)
    listed = np.ravel(numbers)
    order = np.argsort(listed, kind="stable")
    # pixel centres: x of the full photo is (x + 1/2) / ratio - 1/2 of the small one
    ratio = np.array(small.shape[::-1]) / (np.array(grey.shape[::-1]) // fold * fold)
    px = (np.reshape(quads, (-1, 4, 2)).astype(float)[order] + 0.5) / ratio - 0.5
    return SeenMarkers(tuple(int(number) for number in listed[order]), px)


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
