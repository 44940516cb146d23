"""What a small trained network makes of a face: at each place, how likely it lies in a knot, hole, bark or decay.

It sees the face's colours, where the wood is, and which way the radius runs where the pith is known, and was trained
on drawn faces alone (``python -m tests.bench.train_defect_map``): every real photo is one it never saw.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from photonest.cracks.network import courses
from photonest.imaging import Mask, polygon_mask, usable_part
from photonest.model import DefectKind, FlatPhoto, Outline, Pith
from photonest.networks import trained_network
from photonest.planar import mean_diameter
from photonest.resizing import cropped, enlarged, halved, reduced

KINDS: tuple[DefectKind, ...] = ("knot", "hole", "bark", "decay")
DIAMETER_PX, FAR_PX = 800, 420  # at which it looks closely, and from afar
MOST_ENLARGED = 2.0  # times
COARSEST = 16  # the network halves the picture four times
RIM = 0.006  # of the diameter: the edge itself is no defect
Shares = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Likeness:
    """A face at half of the size at which the network looks closely.

    Attributes
    ----------
    flat : FlatPhoto
    near, far : ndarray of float32, shape (kinds, height, width)
        How likely each place is of each of `KINDS`, looked at closely and from afar.
    wood : ndarray of bool
        Pixels on the wood that nothing covers, a little way in from its edge.
    diameter_px : float
        Mean diameter of the wood.
    """

    flat: FlatPhoto
    near: Shares
    far: Shares
    wood: Mask
    diameter_px: float


def likeness(face: FlatPhoto, outline: Outline, pith: Pith | None) -> Likeness:
    """Look for defects other than cracks."""
    import cv2

    edge = np.asarray(outline.wood, float)
    diameter = mean_diameter(edge)
    part = cropped(face, edge.min(axis=0) - 4 * face.mm_per_px, edge.max(axis=0) + 4 * face.mm_per_px)
    share = min(MOST_ENLARGED, DIAMETER_PX * face.mm_per_px / diameter)
    longest = max(part.pixels.shape[:2]) * share
    large = enlarged(part, longest) if share > 1 else reduced(part, longest)
    small = reduced(large, longest * FAR_PX / DIAMETER_PX)
    near, far = (_shares(one, edge, pith) for one in (large, small))
    half = halved(large, max(large.pixels.shape[:2]) / 2)
    height, width = half.pixels.shape[:2]
    start, step = ((small.to_px(half.to_mm([at])) / 2 - 0.25)[0] for at in ((0, 0), (1, 1)))
    at = np.array([[step[0] - start[0], 0, start[0]], [0, step[1] - start[1], start[1]]])
    back = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    far = np.stack(
        [cv2.warpAffine(one, at, (width, height), flags=back, borderMode=cv2.BORDER_REPLICATE) for one in far]
    )
    across = diameter / half.mm_per_px
    wood = polygon_mask(half.to_px(edge), (height, width)) & usable_part(half)
    rim = 2 * max(1, round(RIM * across)) + 1
    wood = cv2.erode(wood.view(np.uint8), np.ones((rim, rim), np.uint8), borderValue=0) > 0
    return Likeness(half, near, far, wood, across)


def _shares(face: FlatPhoto, edge: NDArray[np.float64], pith: Pith | None) -> Shares:
    """Return how likely each place is of each kind, at half of a picture's size."""
    import cv2

    height, width = face.pixels.shape[:2]
    rows, columns = -(-height // COARSEST) * COARSEST, -(-width // COARSEST) * COARSEST
    inside = polygon_mask(face.to_px(edge), (height, width))
    layers = np.zeros((1, 4, rows, columns), np.float32)
    for layer, colour in zip(layers[0], cv2.split(face.pixels), strict=False):
        layer[:height, :width] = (colour / np.float32(255) - np.float32(0.5)) * 4 * inside
    layers[0, 3, :height, :width] = inside
    network = trained_network(Path(__file__).with_name("patches.onnx"))
    network.setInput(layers, "face")
    network.setInput(courses(face, pith, rows // 4, columns // 4), "courses")
    four = network.forward()[0].reshape(2, 2, 1 + len(KINDS), rows // 4, columns // 4)
    odds = four.transpose(2, 3, 0, 4, 1).reshape(1 + len(KINDS), rows // 2, columns // 2)
    odds = np.exp(odds[:, : height // 2, : width // 2])
    return np.asarray(odds[1:] / odds.sum(axis=0), np.float32)
