"""What a small trained network takes for cards and sheets of paper: four-sided shapes, roughly.

Where no line closes a shape, grey on grey, grain across a side, sawdust on a corner, what it is made of still tells it
from what it lies on. The network sees the picture small, then each shape once more from near, and says at each place
how like a card or a sheet it is, hidden parts too; four straight sides are laid about that. It was trained on drawn
scenes alone (``python -m tests.bench.train_shapes``). It proposes only: what a shape is, its edges must show.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.networks import trained_network
from photonest.scale.camera import Array
from photonest.scale.edges import meet

FAR_PX, NEAR_PX, STEP = 448, 224, 32  # longer side of what the network sees, from far and from near; what it divides by
NEAR_MARGIN, MOST_NEAR = 0.3, 4  # about a shape seen from near, over its extent; how many are
LEVELS = (0.0, -2.0, 2.0)  # log odds of a card or a sheet at its edge: where it seems to run on, one is right
FINER = 4  # times as fine, that edges are laid
LEAST_PX = 30  # of a shape, at half the size the network sees
LEAST_FULL, MOST_FULL = 0.7, 1.4  # area of what is seen over that of the four-sided shape about it
MOST_POINTS = 300  # along an outline, or up to twice as many
ROUNDS, CORNER, FEWEST = 5, 0.12, 5  # of laying sides; share of a side at its corners, and fewest points along it
ALIKE = 0.005  # of the longer side, that corners of one shape may be apart


SHEET = 1  # a proposal's kind; a card's is 0


class Proposal(NamedTuple):
    """A shape's corners in pixels, clockwise as seen, and what it may be: a card or a sheet."""

    corners: Array
    kind: int


def proposed(pixels: NDArray[np.uint8]) -> list[Proposal]:
    """Return what may be cards and sheets of paper in an RGB picture, the likeliest first.

    Returns
    -------
    list of Proposal
        To two thousandths of the picture's longer side as seen from near, twice that as
        seen from far; some shapes are there in more than one way.
    """
    network = trained_network(Path(__file__).with_name("shapes.onnx"))
    far = _seen(network, pixels, FAR_PX)
    known: list[Proposal] = []
    near: list[Proposal] = []
    for one in far:
        if len(known) < MOST_NEAR and not any(other.kind == one.kind and _holds(other, one) for other in known):
            known.append(one)
            near += _from_near(network, pixels, one)
    return [*near, *far]


def _from_near(network: Any, pixels: NDArray[np.uint8], shape: Proposal) -> list[Proposal]:
    """Return the same shape as it is seen from near."""
    low, high = shape.corners.min(axis=0), shape.corners.max(axis=0)
    half = (0.5 + NEAR_MARGIN) * (high - low).max()
    if 2 * half > NEAR_PX / FAR_PX * max(pixels.shape[:2]):  # no nearer than it was seen
        return []
    middle = (low + high) / 2
    left, upper = np.maximum(np.floor(middle - half), 0).astype(int).tolist()
    right, lower = np.minimum(np.ceil(middle + half), pixels.shape[1::-1]).astype(int).tolist()
    if min(right - left, lower - upper) < STEP:
        return []
    seen = _seen(network, pixels[upper:lower, left:right], NEAR_PX)
    seen = [Proposal(one.corners + np.array([left, upper]), one.kind) for one in seen]
    return [one for one in seen if one.kind == shape.kind and _holds(one, shape)]


def _holds(shape: Proposal, other: Proposal) -> bool:
    """Whether another shape's middle lies in a shape."""
    import cv2

    x, y = other.corners.mean(axis=0).tolist()
    return bool(cv2.pointPolygonTest(shape.corners.astype(np.float32), (x, y), False) > 0)


def _seen(network: Any, pixels: NDArray[np.uint8], longest: int) -> list[Proposal]:
    """Return four-sided shapes as the network sees them in a picture made so large."""
    import cv2

    height, width = pixels.shape[:2]
    factor = longest / max(height, width)
    size = max(2, round(width * factor)), max(2, round(height * factor))
    small = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA if factor < 1 else cv2.INTER_LINEAR)
    unit = np.array([width, height]) / size * 2  # of what the network says, in the picture's pixels
    found: list[Proposal] = []
    for kind, odds in enumerate(_odds(network, small)):
        fine = cv2.resize(odds, None, fx=FINER, fy=FINER, interpolation=cv2.INTER_LINEAR)
        for level in LEVELS:
            outlines, _ = cv2.findContours((fine > level).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
            for outline in outlines:
                area = cv2.contourArea(outline)
                points = outline[:: max(1, len(outline) // MOST_POINTS), 0]
                corners = four_sides(points.astype(float)) if area > LEAST_PX * FINER**2 else None
                if corners is None:
                    continue
                full = area / max(cv2.contourArea(corners.astype(np.float32)), 1.0)
                corners = (corners + 0.5) / FINER * unit - 0.5
                near = ALIKE * max(height, width)
                again = any(one.kind == kind and _is_again(one.corners, corners, near) for one in found)
                if LEAST_FULL < full < MOST_FULL and not again:
                    found.append(Proposal(corners, kind))
    return found


def _is_again(corners: Array, other: Array, near: float) -> bool:
    return any(bool(np.abs(np.roll(corners, turn, axis=0) - other).max() < near) for turn in range(4))


def _odds(network: Any, small: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return the logarithms of the odds of card and of sheet, shape (2, height, width), at half the size."""
    height, width = small.shape[:2]
    given = np.zeros((1, 3, -(-height // STEP) * STEP, -(-width // STEP) * STEP), np.float32)
    given[0, :, :height, :width] = ((small / np.float32(255) - np.float32(0.5)) * 4).transpose(2, 0, 1)
    network.setInput(given)
    return np.asarray(network.forward()[0, :, : (height + 1) // 2, : (width + 1) // 2])


def four_sides(outline: Array) -> Array | None:
    """Return corners of four straight lines about an outline, clockwise as seen (y down); None where it has no such.

    Parameters
    ----------
    outline : ndarray, shape (n, 2)
        Points along it. Each side is laid through those nearest to it, but for a share at its ends: corners may be
        rounded.
    """
    import cv2

    corners = cv2.boxPoints(cv2.minAreaRect(outline.astype(np.float32))).astype(float)
    if cv2.contourArea(corners.astype(np.float32), oriented=True) < 0:
        corners = corners[::-1]
    for _ in range(ROUNDS):
        step = np.roll(corners, -1, axis=0) - corners
        long = np.linalg.norm(step, axis=1)
        if long.min() < 2:
            return None
        along = step / long[:, None]
        off = outline[:, None] - corners
        at = (off * along).sum(axis=2) / long
        aside = np.abs(off[..., 0] * along[:, 1] - off[..., 1] * along[:, 0])
        nearest = aside.argmin(axis=1)
        lines = []
        for k in range(4):
            mine = outline[(nearest == k) & (at[:, k] > CORNER) & (at[:, k] < 1 - CORNER)]
            if len(mine) < FEWEST:
                return None
            right, down, x, y = cv2.fitLine(mine.astype(np.float32), cv2.DIST_HUBER, 0, 0.01, 0.01).ravel().tolist()
            lines.append(np.array([[x, y], [x + right, y + down]]))
        corners = np.array([meet(lines[k - 1], lines[k]) for k in range(4)])
        if not np.isfinite(corners).all():
            return None
    return np.asarray(corners) if cv2.contourArea(corners.astype(np.float32), oriented=True) > 0 else None
