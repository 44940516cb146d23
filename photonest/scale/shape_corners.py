"""The corners of a rectangle seen: rounded or sharp, hidden or something else's."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from photonest.model import Photo
from photonest.scale.camera import Array, mapped
from photonest.scale.edges import light
from photonest.scale.rectangle import shape_homography

CORNER_SLACK = 0.2  # of a corner's radius, that its edge may be seen off
LEAST_CONTRAST = 0.01  # of light, between a shape and the ground at its corners


@dataclass(frozen=True, eq=False)
class Corners:
    """Which corners of a shape look as they should, and which look otherwise, shape (4,) each; the rest are hidden."""

    right: NDArray[np.bool_]
    wrong: NDArray[np.bool_]

    @property
    def count(self) -> int:
        """How many look as they should."""
        return int(self.right.sum())


def right_corners(photo: Photo, corners: Array, size: tuple[float, float], radius_mm: float, *, sharp: bool) -> Corners:
    """Return which corners are seen to be rounded with a radius, or to be sharp as far as such a radius would reach.

    One corner may be hidden, another in shadow; by chance a corner of something else looks right one time in fifty.
    """
    reach = corner_reaches(photo, corners, size, radius_mm) / radius_mm
    slant = np.radians([15, 30, 45, 30, 15])
    off = reach - (1 / np.cos(slant) if sharp else 1)
    near = np.abs(off) < CORNER_SLACK
    middle = near[:, 2] if sharp else (off[:, 2] > -0.31) & (off[:, 2] < 0.226)
    others = [0, 1, 3, 4]
    closely = (np.abs(off[:, others]) < CORNER_SLACK / 2).all(axis=1)  # a mark beside the arc's middle is let pass
    right = (middle & (near[:, others].sum(axis=1) >= 3)) | closely
    return Corners(right, ~right & (off[:, 2] > 0.3))


def corner_reaches(photo: Photo, corners: Array, size: tuple[float, float], radius_mm: float) -> Array:
    """Return how far a shape reaches in its corners, from the centres of their arcs, shape (4, 5), in mm.

    Along rays at 15, 30, 45, 60 and 75 degrees between the sides' normals; a corner rounded with that radius reaches as
    far in all of them, a sharp one farther in the middle. Nan where the ground looks like the shape.
    """
    import cv2

    width, height = size
    centres = np.array([[0, 0], [width, 0], [width, height], [0, height]], float)
    outward = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    centres -= radius_mm * outward
    angle = np.radians([15, 30, 45, 60, 75])
    rays = outward[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    away = np.linspace(0.2, 2.0, 73)
    mm = centres[:, None, None] + radius_mm * away[:, None] * rays[:, :, None]
    px = mapped(shape_homography(corners, size), mm).astype(np.float32).reshape(20, -1, 2)
    colour = cv2.remap(photo.pixels, px[..., 0], px[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    value = light(colour).astype(float)
    within = np.median(value[:, away < 0.6], axis=1)
    unlike = np.linalg.norm(value - within[:, None], axis=2)
    usual = np.median(unlike[:, away > 1.5], axis=1)
    # from inside outward, as far as it looks like the inside; the ground may be of any pattern
    other = unlike > 0.5 * usual[:, None]
    reach = np.where((usual > LEAST_CONTRAST) & other.any(axis=1), away[other.argmax(axis=1)], np.nan)
    return np.asarray(radius_mm * reach.reshape(4, 5))
