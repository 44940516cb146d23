"""The finder of knots, holes and bark inclusions: patches that differ from the wood, judged by their cues."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from photonest.cracks.patch_cues import cues_of
from photonest.cracks.patch_judge import judged, shipped
from photonest.cracks.patches import Patch, Sheet, outline_of, patches, sheets
from photonest.imaging import polygon_mask
from photonest.model import Crack, Defect, DefectKind, FlatPhoto, NotFound, Outline, Pith

SMALLEST_PX = 64
EDGE = 0.015  # of the side of the wood's area: an area nearer to the edge than this touches it


@dataclass(frozen=True)
class PatchOptions:
    """How the finder decides.

    Attributes
    ----------
    seen_from, possible_from : float
        Likelihood of being any of the kinds from which a defect is reported as seen, and as possible. In a photo
        without colours none is more than possible; along the edge of the wood, where something else may have been
        taken for wood, those that would be seen are possible, unless it is as dark beyond the edge, and others are
        left out.
    """

    seen_from: float = 0.8
    possible_from: float = 0.5


class Patches:
    """Finds knots, holes and bark inclusions as areas unlike the wood about them, judged by their looks."""

    name = "patches"
    version = "1"
    Options = PatchOptions

    def find(
        self, flat: FlatPhoto, outline: Outline, pith: Pith | None, options: PatchOptions
    ) -> Sequence[Crack | Defect] | NotFound:
        """Return the defects on the wood."""
        holes, areas = sheets(flat, outline)
        if areas.diameter_px < SMALLEST_PX:
            return NotFound("the piece is under 64 pixels across", "Take the photo nearer, so that the piece fills it.")
        found = patches(holes, areas)
        if not found:
            return []
        sure, kinds = judged(shipped(), cues_of(found, areas, pith))
        likely = [
            _Likely(float(p), kind, one, _shape(one))
            for p, one, kind in zip(sure, found, kinds, strict=True)
            if p >= options.possible_from
        ]
        defects = []
        for one in _each_once(likely):
            certain, along = one.sure >= options.seen_from, _along_edge(one.shape, outline)
            if not along or (certain and not _goes_on(one, outline, areas)):
                defects.append(_defect(one, certain and not along and not flat.grey))
        return defects


class _Likely(NamedTuple):
    """A patch that is likely a defect, its outline as a valid polygon in mm."""

    sure: float
    kind: DefectKind
    patch: Patch
    shape: Any


def _shape(one: Patch) -> Any:
    import shapely

    shape = shapely.Polygon(outline_of(one)).buffer(0)  # an outline of few points may cross itself
    return shape if shape.geom_type == "Polygon" else max(shape.geoms, key=lambda part: part.area)


def _each_once(likely: list[_Likely]) -> list[_Likely]:
    """Return the surest of patches that lie over each other."""
    kept: list[_Likely] = []
    for one in sorted(likely, key=lambda item: -item.sure):
        if not any(
            one.shape.intersection(other.shape).area > 0.4 * min(one.shape.area, other.shape.area) for other in kept
        ):
            kept.append(one)
    return kept


def _along_edge(shape: Any, outline: Outline) -> bool:
    """Tell whether an area lies along the edge of the wood: what is beside it may have been taken for wood there."""
    import shapely

    wood = shapely.Polygon(np.asarray(outline.wood))
    away = shapely.distance(shapely.points(shape.exterior.coords), wood.exterior)
    extent = float(np.hypot(*np.ptp(np.asarray(shape.exterior.coords), axis=0)))
    return bool(away.min() < EDGE * np.sqrt(wood.area) and away.max() < 0.6 * extent)


def _goes_on(one: _Likely, outline: Outline, areas: Sheet) -> bool:
    """Tell whether it is as dark beyond the edge: then something beside the wood was taken for wood."""
    import shapely

    wood = shapely.Polygon(np.asarray(outline.wood)).buffer(0)
    beyond = one.shape.buffer(2 * EDGE * float(np.sqrt(wood.area))).difference(wood)
    parts = [part for part in getattr(beyond, "geoms", [beyond]) if not part.is_empty]
    masks = [polygon_mask(areas.flat.to_px(part.exterior.coords), areas.grey.shape) for part in parts]
    inside = polygon_mask(areas.flat.to_px(one.shape.exterior.coords), areas.grey.shape)
    outside = np.any(masks, axis=0) if masks else ~inside
    if not inside.any() or not outside.any():
        return False
    dark, wooden = float(areas.grey[inside].mean()), float(areas.base[inside].mean())
    return float(np.median(areas.grey[outside])) < (dark + wooden) / 2


def _defect(one: _Likely, seen: bool) -> Defect:
    return Defect(
        id="",
        kind=one.kind,
        outline=tuple((float(x), float(y)) for x, y in one.shape.exterior.coords[:-1]),
        confidence=round(one.sure, 3),
        status="seen" if seen else "possible",
        standard_error=one.patch.sheet.flat.mm_per_px,
    )
