"""What a small trained network makes of a picture: at each place the shares of wood, of bark and of all else.

The network sees 256 pixels of the longer side, which of them count, where the piece meant is and, where the scale tells
it, from where the camera looks: on that side the side of the piece shows below its face. It was trained on drawn scenes
alone (``python -m tests.bench.train_outlines``), so that every real photo is one it never saw. What it gives is coarse:
it says which part of the picture is the piece, and to about a hundredth of its diameter where it ends.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path as File
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import Image, Mask, blurred, blurred_within, sampled, usable_part
from photonest.model import FlatPhoto
from photonest.networks import trained_network
from photonest.planar import Path, polygon_area
from photonest.resizing import averaged

SIDE = 256
AIM_PX = 24.0  # standard deviation of the spot that marks the aim
DOUBTFUL = 0.42  # share of wood and bark from which on a wide stretch of bark is taken for it
TONGUE, SHORT = 0.05, 1.5  # half the width, in mean diameters, and the length over that from which on one is no bark
STEEPEST = 1.5  # the greatest slant told apart: how far the line of sight runs along the face for each mm of depth
EVENED_PX, LEAST_NEAR = (1.5, 3.0, 6.0, 12.0, 24.0), 0.05  # standard deviations tried in turn; weight that is enough
NARROW = 0.4  # short side over long one: bars and rulers, not cards and sheets
AS_IT_IS: tuple[tuple[int, int], ...] = ((1, 1),)
MIRRORED = ((1, 1), (1, -1), (-1, 1), (-1, -1))
"""Steps along rows and columns: the picture as it is, and turned over each way and both."""


class Shares(NamedTuple):
    """A reduced picture and the shares of all else, wood and bark in it, shape (3, height, width); their sum is 1."""

    flat: FlatPhoto
    shares: Image

    def edge(self, *, wood: bool = False, level: float = 0.5, step: int = 1) -> Path | None:
        """Return the edge in mm of what is wood or bark, or of the wood alone; None where there is none.

        Of several pieces it is the largest, one that holds the aim counting four times. Only every `step`-th row and
        column is looked at.
        """
        from skimage.measure import find_contours, points_in_poly

        piece = (self.shares[1] if wood else 1 - self.shares[0])[::step, ::step]
        # beyond the picture there is nothing of the piece
        lines = [step * (line[:-1, ::-1] - 1) for line in find_contours(np.pad(piece, 1), level) if len(line) > 8]
        if not lines:
            return None
        aim = self.flat.to_px([self.flat.aim])
        weight = [polygon_area(line) * (4 if points_in_poly(aim, line)[0] else 1) for line in lines]
        return self.flat.to_mm(lines[int(np.argmax(weight))])

    def with_doubtful_bark(self) -> Shares:
        """Return the same, but what may just as well be bark as not, for three pixels across and more, taken for bark.

        Of thick dark bark the network is less sure than it should be; of a thin line, as beside every edge, it says
        nothing but that the edge lies there.
        """
        import cv2

        rest, wood, bark = self.shares
        doubtful = (rest < 1 - DOUBTFUL) & (rest >= 0.5) & (bark > wood)
        round_one = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3, 3))
        wide = cv2.morphologyEx(doubtful.astype(np.uint8), cv2.MORPH_OPEN, round_one)
        taken = (cv2.dilate(wide, np.ones((3, 3), np.uint8)) > 0) & (rest < 1 - DOUBTFUL) & (rest >= 0.49)
        return self._replace(shares=np.stack([np.where(taken, 0.49, rest), wood, np.where(taken, 0.51 - wood, bark)]))

    def without_tongues(self) -> Shares:
        """Return the same, but what sticks out of the piece far and narrow, as chips or a shadow beside it, is rest.

        Corners of halves and quarters stay, and plates of bark: they are wide for their height.
        """
        import cv2

        rest = self.shares[0]
        piece = (rest < 0.5).astype(np.uint8)
        reach = round(TONGUE * 2 * float(np.sqrt(piece.sum() / np.pi)))
        disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
        wide = 2 * reach
        room = cv2.copyMakeBorder(piece, wide, wide, wide, wide, cv2.BORDER_REPLICATE)  # the frame cuts nothing narrow
        inner = slice(wide, -wide or None)
        body = cv2.morphologyEx(room, cv2.MORPH_OPEN, disc)[inner, inner]
        if not body.any():
            return self
        away = cv2.distanceTransform(1 - body, cv2.DIST_L2, 5)
        _, labels = cv2.connectedComponents(piece & (1 - body), connectivity=4)
        tongue = np.isin(labels, np.unique(labels[(labels > 0) & (away > SHORT * reach)]))
        return self._replace(
            shares=np.where(tongue, np.array([0.52, 0.24, 0.24], np.float32)[:, None, None], self.shares)
        )

    def onto(self, flat: FlatPhoto) -> Shares:
        """Return the same shares over another picture of the same piece."""
        height, width = flat.pixels.shape[:2]
        (left, upper), (right, lower) = self.flat.to_px(flat.to_mm([(0.0, 0.0), (width - 1.0, height - 1.0)]))
        x, y = np.meshgrid(np.linspace(left, right, width), np.linspace(upper, lower, height))
        return Shares(flat, np.stack([sampled(part, x, y) for part in self.shares]))


def looks(flat: FlatPhoto, turned: Sequence[tuple[int, int]] = AS_IT_IS) -> list[Shares]:
    """Return what the network sees in a picture turned over in each of the ways."""
    network = trained_network(File(__file__).with_name("shares.onnx"))
    small = averaged(flat, SIDE)
    height, width = small.pixels.shape[:2]
    pictures = [_layers(picture) for picture in _led_on(small)]
    seen = []
    for way in turned:
        shares, *others = (_shares(network, layers, way)[:, :height, :width] for layers in pictures)
        for other in others:
            shares = np.where(other[0] < shares[0], other, shares)
        seen.append(Shares(small, shares))
    return seen


def mean_of(several: Sequence[Shares]) -> Shares:
    """Return the mean of what was seen in one picture."""
    return Shares(several[0].flat, np.mean([one.shares for one in several], axis=0))


def _led_on(small: FlatPhoto) -> tuple[FlatPhoto, ...]:
    """Return the picture with what lies beside narrow references led on beneath them, evened out and mirrored.

    A ruler or bar across a piece parts it in two, of which the network would take the larger. Evened out, it may look
    like a sawn edge; mirrored, rings and edges break: either way alone still parts some.
    """
    import cv2

    sides = [sorted(cv2.minAreaRect(np.array(one, np.float32))[1]) for one in small.references]
    wide = tuple(one for one, (short, long) in zip(small.references, sides, strict=True) if short > NARROW * long)
    bare = replace(small, references=wide)
    usable = usable_part(bare)
    lying = (usable & ~usable_part(small)).astype(np.uint8)
    hidden = usable & (cv2.dilate(lying, np.ones((5, 5), np.uint8)) > 0)  # its edges shine into the pixels beside
    if not hidden.any() or hidden.all():
        return (small,)
    return tuple(replace(bare, pixels=how(small.pixels, hidden, usable)) for how in (_evened, _mirrored))


def _evened(pixels: NDArray[np.uint8], hidden: Mask, usable: Mask) -> NDArray[np.uint8]:
    """Return a picture whose hidden places have the mean of the nearest in sight, of more where those are far."""
    weight = (usable & ~hidden).astype(np.float32)
    left, out = hidden.copy(), pixels.copy()
    for sigma in EVENED_PX:
        near = left & (blurred(weight, sigma) > LEAST_NEAR)
        for channel in range(3):
            mean = blurred_within(pixels[..., channel].astype(np.float32), weight, sigma)
            out[near, channel] = np.round(mean[near])
        left &= ~near
    return out


def _mirrored(pixels: NDArray[np.uint8], hidden: Mask, usable: Mask) -> NDArray[np.uint8]:
    """Return a picture whose hidden places show what lies as far beyond the nearest place in sight."""
    from scipy.ndimage import distance_transform_edt

    at = np.argwhere(hidden)
    nearest = distance_transform_edt(hidden | ~usable, return_distances=False, return_indices=True)[:, hidden].T
    beyond = np.clip(2 * nearest - at, 0, np.array(hidden.shape) - 1)
    shown = (usable & ~hidden)[tuple(beyond.T)]
    out = pixels.copy()
    out[hidden] = pixels[tuple(np.where(shown[:, None], beyond, nearest).T)]
    return out


def _layers(small: FlatPhoto) -> Image:
    """Return what the network gets, shape (7, SIDE, SIDE): colours, where they count, the aim, and the slant."""
    height, width = small.pixels.shape[:2]
    usable = usable_part(small)
    layers = np.zeros((7, SIDE, SIDE), np.float32)
    colours = (small.pixels / np.float32(255) - np.float32(0.5)) * 4
    layers[:3, :height, :width] = np.where(usable[..., None], colours, 0).transpose(2, 0, 1)
    layers[3, :height, :width] = usable
    (x, y), at = small.to_px([small.aim])[0], np.arange(SIDE)
    layers[4] = np.exp(-((at - y)[:, None] ** 2 + (at - x) ** 2) / (2 * AIM_PX**2))
    if small.camera is not None:
        (x, y), distance = small.to_px([small.camera[:2]])[0], small.camera[2] / small.mm_per_px
        layers[5] = np.clip((x - at) / distance, -STEEPEST, STEEPEST)
        layers[6] = np.clip((y - at) / distance, -STEEPEST, STEEPEST)[:, None]
    return layers


def _shares(network: Any, layers: Image, way: tuple[int, int]) -> NDArray[np.float32]:
    import cv2

    down, right = way
    turned = layers[:, ::down, ::right].copy()
    turned[5:] *= np.array([right, down], np.float32)[:, None, None]
    network.setInput(turned[None])
    raw = np.exp(np.minimum(network.forward()[0][:, ::down, ::right], 60.0))
    half = raw / raw.sum(axis=0)
    return np.stack(
        [cv2.resize(np.ascontiguousarray(part), (SIDE, SIDE), interpolation=cv2.INTER_LINEAR) for part in half]
    )
