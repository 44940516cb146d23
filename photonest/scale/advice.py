"""What a person should know about a scale, and how to take a better photo: plain words, one sentence or two each."""

from __future__ import annotations

import math

import numpy as np

from photonest.model import NotFound, Photo, Scale
from photonest.planar import polygon_area
from photonest.scale.camera import View
from photonest.scale.height import LEVEL_MM, error_pct_per_mm

TILTED_DEG = 20.0
SMALL_SHARE = 0.02  # of the frame
BLURRED = 0.0016  # standard deviation of the blur, as a share of the photo's longer side
UNSURE_PCT = 1.0
ROLLED_DEG, SLOPING_DEG = 12.0, 26.0  # turn of a narrow thing about its own length: told of; not believed
FAR_RATIO = 2.5  # distance from the reference to the middle of the photo over the reference's own half size
WHOLE = "so that where the lens pointed isn't known well: give it as the camera took it."
CROPPED, SEEMS_CROPPED = f"The photo is cropped, {WHOLE}", f"The photo seems to be cropped, {WHOLE}"


def advice(photo: Photo, scale: Scale) -> tuple[str, ...]:
    """Return warnings where tilt, blur, size in the frame or distance make a scale poor, each with what to do."""
    found = [CROPPED] if photo.cropped and scale.lens is not None else []
    if scale.tilt_deg is not None and scale.tilt_deg > TILTED_DEG:
        found.append(
            f"The photo was taken {scale.tilt_deg:.0f} degrees from square to the face: "
            "from straight above it is measured better."
        )
    if scale.references_px:
        found += _about_reference(photo, scale, np.concatenate(scale.references_px))
    if scale.standard_error_pct > UNSURE_PCT and not scale.others:  # else a better reference is no remedy
        found.append(
            f"Lengths are known to {scale.standard_error_pct:.1f} % only (standard error): "
            "use the marker sheet, or markers all around the face."
        )
    return tuple(found)


def height_note(scale: Scale) -> str:
    """Return what a difference in height between face and reference does to the lengths; empty where it isn't known."""
    share = error_pct_per_mm(scale)
    if share is None:
        return ""
    return (
        f"Face and {scale.kind} are taken to be level, give or take {LEVEL_MM:g} mm as laid by eye, which the error "
        f"holds: for every 10 mm more that the face lies above it, lengths come out {10 * share:.1f} % too large, and "
        f"as much too small where it lies below, as it does if the {scale.kind} lies on a board. Give the height with "
        "--face-above-reference, negative where the face lies lower; 0 says that they are level."
    )


def rolled(kind: str, view: View) -> tuple[str, ...] | NotFound:
    """Return a warning where a narrow thing is turned about its own length, x: it seldom lies that level.

    Turned as far as no photo from above is, it is refused: the sloping side of a scale rule made a face 47 % too large.
    """
    roll = abs(math.degrees(math.asin(min(1.0, abs(float(view.rotation[2, 1]))))))
    if roll < ROLLED_DEG:
        return ()
    turned = f"the {kind} is seen turned by {roll:.0f} degrees about its own length"
    if roll > SLOPING_DEG:
        return NotFound(
            f"{turned}: it lies sloping, or the camera looked so slantwise",
            f"Lay the {kind} flat in the plane of the face, and take the photo from straight above.",
        )
    return (
        f"T{turned[1:]}. Where the face is not turned as much, "
        f"lengths come out wrong: lay the {kind} flat in the plane of the face, or take the photo from straight above.",
    )


def _about_reference(
    photo: Photo, scale: Scale, points: np.ndarray[tuple[int, ...], np.dtype[np.float64]]
) -> list[str]:
    import cv2

    found = []
    corners = cv2.convexHull(points.astype(np.float32)).reshape(-1, 2)
    area = polygon_area(corners)
    share = area / (photo.width * photo.height)
    if share < SMALL_SHARE:
        found.append(
            f"The {scale.kind} fills only {100 * share:.1f} % of the photo: go nearer, or lay down something larger."
        )
    middle = np.array([photo.width - 1, photo.height - 1]) / 2
    away = float(np.linalg.norm(corners.mean(axis=0) - middle)) / (np.sqrt(area) / 2 + 1e-9)
    if away > FAR_RATIO and scale.standard_error_pct > UNSURE_PCT / 2:
        found.append(f"The {scale.kind} lies far from the middle of the photo for its size: lay it close to the face.")
    blur = blur_px(photo, corners)
    if blur > BLURRED * max(photo.width, photo.height):
        found.append(f"The photo is blurred by about {2.4 * blur:.0f} pixels: hold the camera still, in more light.")
    return found


def blur_px(photo: Photo, corners: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> float:
    """Return the blur about a reference, as a standard deviation in pixels, by its steepest edges.

    An edge of contrast c blurred by a Gaussian of s rises by c / (s sqrt(2 pi)) a pixel at most.
    """
    import cv2

    low = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 8, 0)
    high = np.ceil(corners.max(axis=0)).astype(int) + 9
    part = photo.pixels[low[1] : high[1], low[0] : high[0]]
    if min(part.shape[:2]) < 8:
        return 0.0
    grey = cv2.cvtColor(np.ascontiguousarray(part), cv2.COLOR_RGB2GRAY).astype(np.float32)
    slope = np.hypot(cv2.Sobel(grey, cv2.CV_32F, 1, 0) / 8, cv2.Sobel(grey, cv2.CV_32F, 0, 1) / 8)
    contrast = float(np.percentile(grey, 98) - np.percentile(grey, 2))
    steepest = float(np.percentile(slope, 99.7))
    return contrast / (steepest * np.sqrt(2 * np.pi)) if steepest > 0 else 0.0
