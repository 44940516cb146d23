"""Whether a photo shows a face well enough to be measured: sharp, bright, large; else how to take it again."""

from __future__ import annotations

import numpy as np

from photonest.imaging import Image, Mask, luminance, polygon_mask
from photonest.model import FlatPhoto, Points
from photonest.planar import mean_diameter
from photonest.resizing import cropped, reduced

LOOK_PX = 700.0  # mean diameter of the face in the picture that is judged
SMALL_PX = 300.0  # mean diameter of the face in the photo
BLURRED = 0.29  # sharpness: 0.38 and more in all sharp photos seen, less where half a percent of the diameter blurs
PLAIN = 2.0  # differences of brightness below which there is nothing to judge sharpness by
DARK = 26.0  # median brightness of the face, of 255
# Share of the face burnt out to white. To a tenth, 87 % and more of the points along drawn cracks still show; from a
# sixth on, on some faces half and more of them don't. The pith is found until nine tenths are burnt out.
BURNT = 0.15


def fitness(flat: FlatPhoto, outline: Points) -> tuple[str, ...]:
    """Return what about the photo spoils the measuring of a face, each with how to take it again.

    The limits were measured on drawn and real faces that were blurred, shaken, darkened, burnt and made smaller step by
    step (tests/bench/fitness.py): beyond them the pith is missed by more than twice as much, or not found.
    """
    edge = np.asarray(outline, dtype=float)
    low, high = edge.min(axis=0), edge.max(axis=0)
    diameter = mean_diameter(edge)
    part = cropped(flat, low, high)
    small = reduced(part, LOOK_PX * float((high - low).max()) / diameter)
    pixels = small.pixels
    face = polygon_mask(small.to_px(edge), (pixels.shape[0], pixels.shape[1]))
    if small.covered is not None:
        face &= small.covered
    if face.sum() < 100:
        return ()
    found = []
    size = diameter / flat.mm_per_px
    if size < SMALL_PX:
        found.append(
            f"The face is only {size:.0f} pixels across in the photo: go nearer, or use the camera's full size "
            f"({SMALL_PX:.0f} pixels are the least, 1000 are good)."
        )
    grey = luminance(pixels)
    brightness, burnt = float(np.median(grey[face])), float((pixels[face].min(axis=1) >= 250).mean())
    if brightness < DARK:
        found.append(
            "The face is too dark to show rings and cracks surely: take the photo in more light, without flash."
        )
    if burnt > BURNT:
        found.append(
            f"{100 * burnt:.0f} % of the face is burnt out to white: take the photo in the shade, or expose it less."
        )
    if sharpness(grey, face) < BLURRED:
        found.append(
            "The face is blurred: the pith may be off, and fine cracks don't show. Clean the lens, focus on the wood, "
            "and hold the camera still in more light."
        )
    return tuple(found)


def sharpness(grey: Image, face: Mask) -> float:
    """Return how much of the strong differences across 8 pixels are there across 2 already, in the worst direction.

    A ramp as long as that gives 0.25; an edge, or lines closer together, give more. A shaken photo is blurred in one
    direction only, so four are tried. 1 where there is nothing to judge by.
    """
    import cv2

    inner = cv2.erode(face.astype(np.uint8), np.ones((25, 25), np.uint8), borderValue=0).astype(bool)
    if inner.sum() < 1000:
        return 1.0
    smooth = cv2.GaussianBlur(grey, (0, 0), 0.7)
    shares = []
    for way in ((1.0, 0.0), (0.0, 1.0), (0.7, 0.7), (0.7, -0.7)):
        wide = _steep(smooth, inner, way, 4.0)
        shares.append(_steep(smooth, inner, way, 1.0) / wide if wide > PLAIN else 1.0)
    return min(shares)


def _steep(image: Image, where: Mask, way: tuple[float, float], half: float) -> float:
    """Return the 97th percentile of the differences between points `half` pixels along and against a direction.

    What is strongest of all need not be sharp in wood: the edge of a stained heart fades over some millimetres.
    """
    import cv2

    size = (image.shape[1], image.shape[0])
    ahead, behind = (
        cv2.warpAffine(image, np.array([[1, 0, s * half * way[0]], [0, 1, s * half * way[1]]], np.float32), size)
        for s in (1, -1)
    )
    return float(np.percentile(np.abs(ahead - behind)[where], 97))
