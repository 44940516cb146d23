"""A reference that does not lie in the plane of the face: what that does to the scale, and how sure it is then."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from photonest.model import NotFound, Scale
from photonest.rectify import photo_to_mm
from photonest.scale.uncertainty import growth

LEVEL_MM = 2.0  # standard error of how level a reference is laid with a face by eye; common practice, no source
UNEVEN_MM = 0.5  # of what it lies on, between its long sides, which tilts it; common practice, no source
ON_IT_MM = 50.0  # of how thick a piece is that lies on its reference, where nobody says; common practice, no source
READING_MM = 1.0  # standard error of a height by a rule


def face_above(scale: Scale, height_mm: float, error_mm: float = 0.0) -> Scale | NotFound:
    """Return the scale in the plane of a face that lies `height_mm` nearer to the camera than the reference.

    A plane nearer by h is seen larger by d / (d - h), d the camera's distance from the reference's plane, about the
    foot of that distance.

    Parameters
    ----------
    height_mm : float
        Negative where the face lies farther than the reference.
    error_mm : float
        Standard error of the height.
    """
    if height_mm == 0 and error_mm == 0:
        return scale
    if scale.distance_mm is None or scale.foot_px is None:
        return NotFound(
            f"the height of the face can't be allowed for: the {scale.kind} does not tell how far the camera was",
            "Lay the reference level with the face.",
        )
    distance = scale.distance_mm
    if not height_mm < 0.8 * distance:
        return NotFound(
            f"a face {height_mm:g} mm above the reference can't be right: the camera was {distance:.0f} mm from it",
            "Give the height of the face above the reference in mm, as --face-above-reference.",
        )
    share = (distance - height_mm) / distance
    matrix = np.asarray(scale.px_to_mm, dtype=float)
    foot = matrix @ [*scale.foot_px, 1.0]
    shrink = np.eye(3) * [share, share, 1.0]
    shrink[:2, 2] = (1 - share) * foot[:2] / foot[2]
    moved = shrink @ matrix
    a, b, c = (moved / moved[2, 2]).tolist()
    error = np.hypot(height_mm * scale.distance_error_mm / distance, error_mm) / (distance - height_mm)
    raised = replace(
        scale,
        px_to_mm=(tuple(a), tuple(b), tuple(c)),
        mm_per_px=scale.mm_per_px * share,
        distance_mm=distance - height_mm,
    )
    return grown(raised, float(error))


def laid_by_eye(scale: Scale, middle_px: ArrayLike) -> Scale:
    """Return the scale with what it adds to the error that nobody measured how level face and reference are.

    The reference's plane is taken to pass `LEVEL_MM` above or below the face, and to lie uneven by `UNEVEN_MM` across
    the reference: a narrow one far from the face says little about the height there.

    Parameters
    ----------
    middle_px : array_like, shape (2,)
        About the middle of the face.
    """
    import cv2

    if scale.distance_mm is None:
        return scale
    error = LEVEL_MM
    if scale.references_px:
        rim = photo_to_mm(scale, np.concatenate(scale.references_px))
        (x, y), sides, _ = cv2.minAreaRect(rim.astype(np.float32))
        away = float(np.linalg.norm(photo_to_mm(scale, middle_px)[0] - (x, y)))
        error = float(np.hypot(LEVEL_MM, UNEVEN_MM * away / max(min(sides), 1.0)))
    return grown(scale, error / scale.distance_mm)


def below_the_piece(scale: Scale) -> Scale:
    """Return the scale of a reference on which the piece itself lies, its thickness not told."""
    share = error_pct_per_mm(scale)
    much = "" if share is None else f", by {10 * share:.1f} % for every 10 mm of its thickness"
    text = (
        f"The wood lies on its {scale.kind}: its face is nearer to the camera, and lengths come out too large{much}. "
        "Give the thickness with --face-above-reference, or lay the reference level with the face."
    )
    unsure = grown(scale, 0.0 if share is None else ON_IT_MM * share / 100)
    return replace(unsure, warnings=(*unsure.warnings, text))


def grown(scale: Scale, share: float) -> Scale:
    """Return the scale with a further standard error of all lengths alike, as a share of them."""
    total = float(np.hypot(scale.standard_error_pct, 100 * share))
    if scale.map_error is None or share == 0:
        return replace(scale, standard_error_pct=total)
    way = growth(scale) * share
    covariance = np.asarray(scale.map_error.covariance) + np.outer(way, way)
    kept = replace(scale.map_error, covariance=tuple(tuple(row) for row in covariance.tolist()))
    return replace(scale, standard_error_pct=total, map_error=kept)


def error_pct_per_mm(scale: Scale) -> float | None:
    """Return by how many percent lengths come out too small or too large for each mm between face and reference.

    >>> error_pct_per_mm(Scale("x", ((1, 0, 0), (0, 1, 0), (0, 0, 1)), 0.1, 1.0, distance_mm=500.0))
    0.2
    """
    return None if scale.distance_mm is None else 100 / scale.distance_mm
