"""Where knots, holes, bark inclusions and decay may be: areas that the network likens to them.

Its answer is cut at several levels, so that a faint area and a clear one both find the level that outlines them; what
is found at more than one is judged at each, and told once.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photonest.cracks.patch_map import KINDS, Likeness, Shares
from photonest.imaging import Mask, blurred
from photonest.model import DefectKind

LEVELS = (0.2, 0.35, 0.55)
LEAST_PX = 2
LEAST = 0.012  # of the diameter: side of what is no hole
HOLE = KINDS.index("hole")
AREAS = [k for k in range(len(KINDS)) if k != HOLE]


@dataclass(frozen=True, eq=False)
class Patch:
    """An area that is like a defect.

    Attributes
    ----------
    seen : Likeness
        Where it was found.
    mask : ndarray of bool
        What it covers of a window, holes in it filled.
    corner : (x, y)
        The window's first pixel.
    level : float
        How likely each place is part of a defect, at the least.
    kind : str
        What most of it is like.
    """

    seen: Likeness
    mask: Mask
    corner: tuple[int, int]
    level: float
    kind: DefectKind

    @property
    def window(self) -> tuple[slice, slice]:
        """The window's rows and columns."""
        (x, y), (height, width) = self.corner, self.mask.shape
        return np.s_[y : y + height, x : x + width]


def patches(seen: Likeness) -> list[Patch]:
    """Return the areas worth judging: at each level, and holes in what is like something else on their own."""
    shares = seen.near.copy()
    shares[AREAS] = (seen.near[AREAS] + seen.far[AREAS]) / 2  # from afar a hole is not seen
    anything, hollow = shares.sum(axis=0), shares.argmax(axis=0) == HOLE
    found: list[Patch] = []
    for level in LEVELS:
        over = (anything > level) & seen.wood
        for mask in (over, over & hollow):
            found += [
                one for one in _pieces(seen, shares, mask, level) if not any(_alike(one, other) for other in found)
            ]
    return found


def _alike(one: Patch, other: Patch) -> bool:
    """Tell whether two patches are nearly the same: the second level tells nothing new then."""
    if abs(one.corner[0] - other.corner[0]) > 2 or abs(one.corner[1] - other.corner[1]) > 2:
        return False
    first, second = one.mask.sum(), other.mask.sum()
    return bool(min(first, second) > 0.88 * max(first, second))


def _pieces(seen: Likeness, shares: Shares, over: Mask, level: float) -> Iterator[Patch]:
    """Yield the connected pieces of a mask."""
    import cv2

    _, labels, stats, _ = cv2.connectedComponentsWithStats(over.view(np.uint8), connectivity=4)
    for label, (x, y, width, height, size) in enumerate(stats[1:].tolist(), 1):
        if size < LEAST_PX:
            continue
        mask = (labels[y : y + height, x : x + width] == label).astype(np.uint8)
        like = shares[:, y : y + height, x : x + width][:, mask > 0].sum(axis=1)
        contours, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        cv2.drawContours(mask, contours, -1, 1, cv2.FILLED)
        kind = KINDS[int(like.argmax())]
        if kind == "hole" or size >= (LEAST * seen.diameter_px) ** 2:
            yield Patch(seen, mask > 0, (x, y), level, kind)


def outline_of(patch: Patch) -> NDArray[np.float64]:
    """Return the edge of a patch in mm, shape (n, 2), smoothed a little and at most about 60 points."""
    import cv2

    times = int(np.clip(128 // max(patch.mask.shape), 1, 4))
    padded = cv2.copyMakeBorder(patch.mask.astype(np.float32), 3, 3, 3, 3, cv2.BORDER_CONSTANT, value=0)
    fine = blurred(cv2.resize(padded, None, fx=times, fy=times, interpolation=cv2.INTER_LINEAR), float(times))
    over = (fine > min(0.45, 0.6 * float(fine.max()))).astype(np.uint8)
    contours, _ = cv2.findContours(over, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    contour = cv2.approxPolyDP(max(contours, key=len), 0.4 * times, True).reshape(-1, 2).astype(float)
    if len(contour) < 3:
        x, y, width, height = cv2.boundingRect(over)
        contour = np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]], float)
    px = (contour + 0.5) / times - 0.5 - 3 + np.asarray(patch.corner)
    return np.asarray(patch.seen.flat.to_mm(px))
