"""The finder of knots, holes and bark inclusions: patches that differ from the wood, judged by their cues."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from photonest.cracks.patch_cues import cues_of
from photonest.cracks.patch_judge import judged, shipped
from photonest.cracks.patches import Patch, outline_of, patches, sheets
from photonest.model import Crack, Defect, DefectKind, FlatPhoto, NotFound, Outline, Pith

SMALLEST_PX = 64


@dataclass(frozen=True)
class PatchOptions:
    """How the finder decides.

    Attributes
    ----------
    seen_from, possible_from : float
        Likelihood of being any of the kinds from which a defect is reported as seen, and as possible. In a photo
        without colours none is more than possible.
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
            (float(p), one, kind) for p, one, kind in zip(sure, found, kinds, strict=True) if p >= options.possible_from
        ]
        surest = 2.0 if flat.grey else options.seen_from  # without colours nothing is more than possible
        return [_defect(one, kind, p, surest) for p, one, kind in _each_once(likely)]


Likely = tuple[float, Patch, DefectKind]


def _each_once(likely: list[Likely]) -> list[Likely]:
    """Return the surest of patches that lie over each other."""
    import shapely

    kept: list[tuple[Likely, Any]] = []
    for one in sorted(likely, key=lambda item: -item[0]):
        shape = shapely.Polygon(outline_of(one[1])).buffer(0)
        if not any(shape.intersection(other).area > 0.4 * min(shape.area, other.area) for _, other in kept):
            kept.append((one, shape))
    return [one for one, _ in kept]


def _defect(one: Patch, kind: DefectKind, sure: float, seen_from: float) -> Defect:
    outline = outline_of(one)
    return Defect(
        id="",
        kind=kind,
        outline=tuple((float(x), float(y)) for x, y in outline),
        confidence=round(sure, 3),
        status="seen" if sure >= seen_from else "possible",
        standard_error=one.sheet.flat.mm_per_px,
    )
