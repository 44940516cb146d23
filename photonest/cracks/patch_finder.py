"""The finder of knots, holes, bark inclusions and decay: patches like one, judged by their cues."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from photonest.cracks.patch_cues import cues_of
from photonest.cracks.patch_judge import likelihoods, shipped
from photonest.cracks.patch_map import Likeness, likeness
from photonest.cracks.patches import Patch, outline_of, patches
from photonest.imaging import Mask, luminance, polygon_mask
from photonest.model import Crack, Defect, FlatPhoto, NotFound, Outline, Pith

SMALLEST_PX = 64
EDGE = 0.015  # of the side of the wood's area: an area nearer to the edge than this touches it


@dataclass(frozen=True)
class PatchOptions:
    """How the finder decides.

    Attributes
    ----------
    seen_from, possible_from : float
        Likelihood of being any of the kinds from which a defect is reported as seen, and as possible. Decay, and any
        kind in a photo without colours, is never more than possible; along the edge of the wood, where something else
        may have been taken for wood, those that would be seen are possible, unless it is as dark beyond the edge, and
        others are left out.
    """

    seen_from: float = 0.9
    possible_from: float = 0.5


class Patches:
    """Finds knots, holes, bark inclusions and decay as areas that a network likens to them."""

    name = "patches"
    version = "2"
    Options = PatchOptions

    def find(
        self, flat: FlatPhoto, outline: Outline, pith: Pith | None, options: PatchOptions
    ) -> Sequence[Crack | Defect] | NotFound:
        """Return the defects on the wood."""
        seen = likeness(flat, outline, pith)
        if seen.diameter_px * seen.flat.mm_per_px < SMALLEST_PX * flat.mm_per_px:
            return NotFound("the piece is under 64 pixels across", "Take the photo nearer, so that the piece fills it.")
        found = patches(seen)
        if not found:
            return []
        sure = likelihoods(shipped(), cues_of(found, pith))
        likely = [
            _Likely(float(p), one, _shape(one))
            for p, one in zip(sure, found, strict=True)
            if p >= options.possible_from
        ]
        defects = []
        for one in _each_once(likely):
            certain, along = one.sure >= options.seen_from, _along_edge(one.shape, outline)
            if not along or (certain and not _goes_on(one.shape, outline, seen)):
                defects.append(_defect(one, certain and not along and not flat.grey and one.patch.kind != "decay"))
        return defects


class _Likely(NamedTuple):
    """A patch that is likely a defect, its outline as a valid polygon in mm."""

    sure: float
    patch: Patch
    shape: Any


def _shape(one: Patch) -> Any:
    import shapely

    shape = shapely.Polygon(outline_of(one)).buffer(0)  # an outline of few points may cross itself
    return shape if shape.geom_type == "Polygon" else max(shape.geoms, key=lambda part: part.area)


def _each_once(likely: list[_Likely]) -> list[_Likely]:
    """Return the surest of patches that are the same, the largest of those about as sure."""
    kept: list[_Likely] = []
    for one in sorted(likely, key=lambda item: (-round(item.sure, 1), -item.shape.area)):
        if not any(_same(one, other) for other in kept):
            kept.append(one)
    return kept


def _same(one: _Likely, other: _Likely) -> bool:
    """Tell whether two are the same; a hole in something else is another."""
    shared = one.shape.intersection(other.shape).area
    if one.patch.kind == other.patch.kind:
        return bool(shared > 0.4 * min(one.shape.area, other.shape.area))
    return bool(shared > 0.5 * (one.shape.area + other.shape.area - shared))


def _along_edge(shape: Any, outline: Outline) -> bool:
    """Tell whether an area lies along the edge of the wood: what is beside it may have been taken for wood there."""
    import shapely

    wood = shapely.Polygon(np.asarray(outline.wood))
    away = shapely.distance(shapely.points(shape.exterior.coords), wood.exterior)
    extent = float(np.hypot(*np.ptp(np.asarray(shape.exterior.coords), axis=0)))
    return bool(away.min() < EDGE * np.sqrt(wood.area) and away.max() < 0.6 * extent)


def _goes_on(shape: Any, outline: Outline, seen: Likeness) -> bool:
    """Tell whether it is as dark beyond the edge: then something beside the wood was taken for wood."""
    import shapely

    wood = shapely.Polygon(np.asarray(outline.wood)).buffer(0)
    beyond = shape.buffer(2 * EDGE * float(np.sqrt(wood.area))).difference(wood)
    about = shape.buffer(2 * EDGE * float(np.sqrt(wood.area))).intersection(wood).difference(shape)
    outside, wooden, inside = (_covered(part, seen) for part in (beyond, about, shape))
    wooden &= ~inside
    if not inside.any() or not outside.any() or not wooden.any():
        return False
    grey = luminance(seen.flat.pixels)
    middle = (float(grey[inside].mean()) + float(np.median(grey[wooden]))) / 2
    return float(np.median(grey[outside])) < middle


def _covered(shape: Any, seen: Likeness) -> Mask:
    """Return the pixels of a picture that a shape in mm covers."""
    parts = [part for part in getattr(shape, "geoms", [shape]) if part.geom_type == "Polygon" and not part.is_empty]
    size = seen.flat.pixels.shape[:2]
    masks = [polygon_mask(seen.flat.to_px(part.exterior.coords), size) for part in parts]
    return np.any(masks, axis=0) if masks else np.zeros(size, bool)


def _defect(one: _Likely, seen: bool) -> Defect:
    return Defect(
        id="",
        kind=one.patch.kind,
        outline=tuple((float(x), float(y)) for x, y in one.shape.exterior.coords[:-1]),
        confidence=round(one.sure, 3),
        status="seen" if seen else "possible",
        standard_error=one.patch.seen.flat.mm_per_px,
    )
