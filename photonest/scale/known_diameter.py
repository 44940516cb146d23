"""The piece itself as reference: its diameter by calipers, or the rim of a blank that was turned round."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import NotFound, Photo, Scale
from photonest.planar import mean_diameter
from photonest.scale.build import as_rows, scale_from_view
from photonest.scale.camera import TURN, Array, View, fit, mirrored, prior_of, start
from photonest.scale.height import grown
from photonest.scale.seen_markers import seen_markers
from photonest.scale.uncertainty import TILT_LEFT, disc

Ellipse = tuple[Sequence[float], Sequence[float], float]  # middle, axes and turn in degrees

SEARCH_PX = 360  # longer side of the picture that the piece is cut out of
# standard errors of the edge found all round, and of a rim laid to it, as shares of the diameter: a third of rims are
# that far off, but where a piece's side is seen beside its rim for half of it, the two may be taken for one
EDGE_ERROR, RIM_ERROR = 0.006, 0.005
DISAGREE = 3.0  # standard errors by which an outline and that edge may differ
OUTLINE_ERROR = 0.008  # the same of its widest place, where an outline has been found
ROUGH_PX, ALIKE_DEG = 1.0, 12.0  # of single points of the edge, at that size; over how much of it they are off alike
LEAST_SHARE = 0.04  # of the frame that the piece must fill
LEAST_ROUND, LEAST_SOLID = 0.97, 0.95  # of its convex hull that a turned blank fills; that any piece does
# points of a rim, ellipses tried through some, how far off one a point lies on it, over its radius, and how much of its
# circumference must be seen
POINTS, DRAWS, SOME, ON_RIM, LEAST_SEEN = 240, 300, 6, 0.008, 0.6
SPUR_DEG = 31  # that what sticks out of an edge may take up twice
PAPER = 1.6  # size of a marker's paper over the marker's own
WORST_FIT = 4.0  # mean squared residual over its expectation of an edge that is round
STILL = 1e-3  # radians: a circle does not tell how it is turned in its plane, and nothing depends on it


@dataclass(frozen=True)
class KnownDiameterOptions:
    """What was measured.

    Attributes
    ----------
    diameter_mm : float or None
        The piece's diameter.
    diameter_error_mm : float
        Its standard error.
    across : {"widest", "round"}
        Where it holds: across the widest place, bark included as seen; or everywhere, of a blank turned round.
    """

    diameter_mm: float | None = None
    diameter_error_mm: float = 0.5
    across: Literal["widest", "round"] = "widest"


class KnownDiameter:
    """Takes the diameter of the piece in the middle of the photo as given."""

    name = "known-diameter"
    version = "1"
    Options = KnownDiameterOptions

    def find(self, photo: Photo, options: KnownDiameterOptions) -> Scale | NotFound:
        """Return the scale by the piece's own edge."""
        diameter, error = options.diameter_mm, options.diameter_error_mm
        if diameter is None:
            return NotFound(
                "no diameter was given", "Give the piece's widest diameter by calipers, as --diameter MM.", absent=True
            )
        if not (math.isfinite(diameter) and 10 <= diameter <= 5000 and math.isfinite(error) and error >= 0):
            return NotFound(
                f"a diameter of {diameter:g} mm, give or take {error:g}, can't be right", "Give both in mm."
            )
        edge = edge_of_piece(photo)
        if edge is None:
            return NotFound(
                "no piece stands out in the middle of the photo",
                "Put it on a plain ground of another colour, whole and in the middle of the photo.",
            )
        reading = error / diameter
        if options.across == "round":
            return _by_round_rim(self.name, photo, edge, diameter, reading)
        solid = _solidity(edge)
        if solid < LEAST_SOLID:
            return NotFound(
                "what fills the middle of the photo has no even edge: something touches the piece, or hides it",
                "Put the piece alone on a plain ground of another colour, or use another reference.",
            )
        return _by_widest(self.name, edge, diameter, reading, math.hypot(1.5 * EDGE_ERROR, 2 * (1 - solid)))


def edge_of_piece(photo: Photo) -> Array | None:
    """Return the edge of what fills the middle of the photo, in pixels, shape (n, 2), or None.

    Told from its surroundings by colour, from an ellipse to begin with (GrabCut, Rother et al. 2004).
    """
    import cv2

    longer = max(photo.width, photo.height)
    factor = min(1.0, SEARCH_PX / longer)
    small = cv2.resize(photo.pixels, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA)
    height, width = small.shape[:2]
    mask = np.full((height, width), cv2.GC_BGD, np.uint8)
    middle, short = (width // 2, height // 2), min(width, height)
    cv2.ellipse(mask, middle, (int(0.485 * width), int(0.485 * height)), 0, 0, 360, cv2.GC_PR_BGD, -1)
    cv2.circle(mask, middle, int(0.42 * short), cv2.GC_PR_FGD, -1)
    cv2.circle(mask, middle, int(0.12 * short), cv2.GC_FGD, -1)
    for quad in seen_markers(photo).px:  # paper is no wood
        paper = quad.mean(axis=0) + PAPER * (quad - quad.mean(axis=0))
        cv2.fillConvexPoly(mask, np.rint(paper * factor).astype(np.int32), cv2.GC_BGD)
    cv2.setRNGSeed(1)
    models = np.zeros((1, 65)), np.zeros((1, 65))
    bgr = np.ascontiguousarray(small[..., ::-1])
    cv2.grabCut(bgr, mask, None, models[0], models[1], 6, cv2.GC_INIT_WITH_MASK)
    piece = _middle_part(((mask == cv2.GC_FGD) | (mask == cv2.GC_PR_FGD)).astype(np.uint8))
    share = float(piece.mean())
    if not LEAST_SHARE < share < 0.9:
        return None
    contours, _ = cv2.findContours(piece, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    edge = np.reshape(max(contours, key=cv2.contourArea), (-1, 2)).astype(float)
    rim = (edge <= 1).any(axis=1) | (edge >= [width - 2, height - 2]).any(axis=1)
    if rim.mean() > 0.02:
        return None
    # the contour runs through the outermost pixels' centres: the edge is half a pixel further out
    outward = edge - edge.mean(axis=0)
    edge = edge + 0.5 * outward / np.linalg.norm(outward, axis=1, keepdims=True)
    ratio = np.array([width / photo.width, height / photo.height])
    return np.asarray((edge + 0.5) / ratio - 0.5)


def _middle_part(mask: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return the part of a mask that holds the picture's middle, smoothed, its holes filled."""
    import cv2

    size = max(3, round(max(mask.shape) / 90)) | 1
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (size, size))
    smooth = cv2.morphologyEx(cv2.morphologyEx(mask, cv2.MORPH_OPEN, disc), cv2.MORPH_CLOSE, disc)
    _, labels = cv2.connectedComponents(smooth)
    label = labels[mask.shape[0] // 2, mask.shape[1] // 2]
    part = ((labels == label) & (label > 0)).astype(np.uint8)
    contours, _ = cv2.findContours(part, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled: NDArray[np.uint8] = cv2.drawContours(np.zeros_like(part), contours, -1, 1, -1)
    return filled


def _solidity(edge: Array) -> float:
    """Return which share of its convex hull an edge holds."""
    import cv2

    points = edge.astype(np.float32)
    return float(cv2.contourArea(points) / cv2.contourArea(cv2.convexHull(points)))


def by_outline(scale: Scale, options: KnownDiameterOptions, outline: ArrayLike, error_mm: float) -> Scale:
    """Return the scale by the widest place of an outline found with it, bark included, to a standard error in mm.

    Where bark looks like the ground, the edge that the scale was taken from leaves it out; an outline does not. Of a
    blank turned round its rim settles the scale, and the outline only tells whether it is the piece's.
    """
    diameter, points = options.diameter_mm, np.asarray(outline, dtype=float)
    if diameter is None:
        return scale
    size, tilt = _size(points, diameter)
    reading = options.diameter_error_mm / diameter
    edge = max(OUTLINE_ERROR, math.sqrt(2) * error_mm * size / diameter)
    round_mm = None if options.across == "widest" else mean_diameter(points)
    apart = math.log(size if round_mm is None else diameter / round_mm)
    if abs(apart) > DISAGREE * math.hypot(edge, reading, scale.standard_error_pct / 100):
        scale = replace(scale, warnings=(*scale.warnings, _another(diameter, apart)))
        scale = scale if round_mm is None else grown(scale, apart / 2)
    if round_mm is not None:
        return scale
    return replace(
        scale,
        px_to_mm=as_rows(np.diag([size, size, 1.0]) @ np.asarray(scale.px_to_mm, dtype=float)),
        mm_per_px=scale.mm_per_px * size,
        standard_error_pct=100 * math.hypot(edge, reading, tilt),
    )


def _another(diameter: float, apart: float) -> str:
    """Return what tells that an outline and the edge that a diameter was first laid to are not of one thing."""
    return (
        f"The outline found is {diameter * math.exp(-apart):.0f} mm across where the edge that stands out in the "
        f"middle of the photo is {diameter:.0f} mm: one of them is not the piece's. See in face.png that the outline "
        "is; if not, say where the piece lies with --at X,Y, or put it alone on a plain ground of another colour."
    )


def _size(edge: Array, diameter: float) -> tuple[float, float]:
    """Return by what to multiply an edge so that its widest place is right, and the share of it that a tilt may be.

    A round piece is seen in its full width across the camera's tilt and shortened along it. How much wider it looks
    than in the mean is due to that, or to its own shape: it is taken to be half of each, give or take as much.
    """
    angle = np.arange(0, np.pi, np.pi / 180)
    along = edge @ np.array([np.cos(angle), np.sin(angle)])
    widest = float((along.max(axis=0) - along.min(axis=0)).max())
    x, y = edge.T
    mean = math.sqrt(2 / math.pi * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))))
    tilt = max(0.0, widest / mean - 1) / 2
    return diameter / widest * (1 + tilt), tilt


def _by_widest(kind: str, edge: Array, diameter: float, reading: float, edge_error: float) -> Scale:
    """Return the scale whose pixels make the greatest width of an edge, known so well, the diameter."""
    size, tilt = _size(without_spurs(edge), diameter)
    return Scale(
        kind=kind,
        px_to_mm=((size, 0.0, 0.0), (0.0, size, 0.0), (0.0, 0.0, 1.0)),
        standard_error_pct=100 * math.hypot(edge_error, reading, tilt),
        mm_per_px=size,
        reference_error_pct=100 * reading,
        warnings=(f"The scale comes from one diameter of the piece: {TILT_LEFT}",),
    )


def without_spurs(edge: Array) -> Array:
    """Return an edge by the median of its distances from its middle over a few degrees: no shadow sticks out of it."""
    middle = edge.mean(axis=0)
    off = edge - middle
    turn = np.arctan2(off[:, 1], off[:, 0])
    order = np.argsort(turn)
    half = SPUR_DEG // 2
    angle = np.radians(np.arange(-half, 360 + half))
    radius = np.interp(angle, turn[order], np.hypot(*off[order].T), period=2 * np.pi)
    smooth = np.median(np.lib.stride_tricks.sliding_window_view(radius, 2 * half + 1), axis=1)
    angle = angle[half:-half]
    return np.asarray(middle + smooth[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]))


def _on_ellipse(edge: Array) -> tuple[Array, Ellipse | None]:
    """Return which points of an edge lie on one ellipse, and it: what touches a round piece or lies before it does not.

    Of ellipses through a few points the one that most others lie on (Fischler & Bolles 1981), then through all those.
    Where they leave out too much of its circumference, all points count if nothing sticks out of them; else None.
    """
    import cv2

    turn = np.arctan2(*(edge - edge.mean(axis=0)).T[::-1])
    points = edge[np.argsort(turn)][:: max(1, len(edge) // POINTS)]
    rng = np.random.default_rng(0)
    rim = points, cv2.fitEllipse(points.astype(np.float32)) if _solidity(edge) > LEAST_ROUND else None
    most, best = 0.0, np.zeros(len(points), bool)
    for _ in range(DRAWS):
        few = points[rng.choice(len(points), SOME, replace=False)]
        off, _ = _off_ellipse(points, cv2.fitEllipseDirect(few.astype(np.float32)))
        near = float(np.maximum(0, 1 - (off / ON_RIM) ** 2).sum())
        if near > most:
            most, best = near, off < ON_RIM
    for _ in range(3):
        if best.sum() < SOME:
            break
        ellipse = cv2.fitEllipseDirect(points[best].astype(np.float32))
        off, angle = _off_ellipse(points, ellipse)
        best = off < ON_RIM
        if len(np.unique((angle[best] * 36 / np.pi).astype(int))) > LEAST_SEEN * 72:
            rim = points[best], ellipse
    return rim


def _off_ellipse(points: Array, ellipse: Ellipse) -> tuple[Array, Array]:
    """Return how far points lie off an ellipse, over its radius, and where around it, 0 to 2 pi, each shape (n,)."""
    (x, y), axes, turn = ellipse
    if not min(axes) > 0:
        return np.full(len(points), np.inf), np.zeros(len(points))
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    u, v = ((points - [x, y]) @ np.array([[c, -s], [s, c]]) / axes * 2).T
    return np.abs(np.hypot(u, v) - 1), np.arctan2(v, u) % (2 * np.pi)


def _by_round_rim(kind: str, photo: Photo, edge: Array, diameter: float, reading: float) -> Scale | NotFound:
    """Return the scale of the view in which an edge is a circle."""
    picked, ellipse = _on_ellipse(edge)
    if ellipse is None:
        return NotFound("the piece in the middle of the photo is not round", "Use across=widest, or another reference.")
    (x, y), (a, b), turn = ellipse
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    # from a circle's mm to an ellipse: its axes stretched, then turned there and back, so that nothing else turns
    turned = np.array([[c, -s], [s, c]])
    homography = np.eye(3)
    homography[:2, :2] = turned @ np.diag([a / diameter, b / diameter]) @ turned.T
    homography[:2, 2] = x, y
    prior = prior_of(photo)
    error_px = ROUGH_PX * max(photo.width, photo.height) / SEARCH_PX
    per_px = diameter / math.sqrt(a * b)
    alike = max(1.0, len(picked) * ALIKE_DEG / 360)

    def views(first: Sequence[View], times: float) -> list[View]:
        def residuals(at: View) -> Array:
            radius = np.linalg.norm(at.to_mm(picked), axis=-1)
            off = (radius - diameter / 2) / per_px / (times * error_px * math.sqrt(alike))
            return np.concatenate([off, at.values[..., TURN][..., 2:] / STILL], axis=-1)

        found = [fit(view, prior, residuals) for view in first]
        return sorted((view for view in found if view is not None), key=lambda view: view.cost)

    begun = start(prior, homography)
    found = [] if begun is None else views((begun, mirrored(begun)), 1.0)
    misfit = found[0].cost * alike / len(picked) if found else math.inf
    if misfit > WORST_FIT:
        return NotFound("the piece in the middle of the photo is not round", "Use across=widest, or another reference.")
    if misfit > 1:  # no camera sees a circle so: its edge is off by more
        found = views(found, math.sqrt(misfit))
    if not found:
        return NotFound("the piece in the middle of the photo is not round", "Use across=widest, or another reference.")
    other = found[1] if len(found) > 1 else None
    size_error = math.hypot(RIM_ERROR, reading)
    nothing = np.empty((0, 4, 2))  # lies on the photo: what is known is the piece itself
    rim = found[0].to_px(disc((0, 0), diameter / 2))
    return scale_from_view(kind, photo, found[0], nothing, alternative=other, size_error=size_error, around_px=rim)
