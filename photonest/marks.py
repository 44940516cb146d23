"""What a person set on a face, kept in pixels of the photo so that it outlives a new measurement of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from photonest.model import Crack, Defect, Face, Point, Points, Scale
from photonest.model.documents import plain
from photonest.rectify import mm_to_photo, photo_to_mm
from photonest.spec import Stage


@dataclass(frozen=True)
class HandMarks:
    """Positions in pixels of the photo; lengths, depths and standard errors in mm."""

    outline_px: Points = ()
    under_bark_px: Points = ()
    outline_error: float = 1.0
    pith_px: Point | None = None
    pith_error: float = 1.0
    cracks_px: tuple[Crack, ...] = ()
    defects_px: tuple[Defect, ...] = ()

    def settings(self, stage: Stage, scale: Scale) -> dict[str, Any]:
        """Return the options of the stage's by-hand finder, in mm of the scale's frame."""

        def mm(points: Points) -> Points:
            return _moved(points, lambda px: photo_to_mm(scale, px))

        if stage == "outline" and self.outline_px:
            return {
                "points": mm(self.outline_px),
                "under_bark": mm(self.under_bark_px),
                "standard_error": self.outline_error,
            }
        if stage == "pith" and self.pith_px is not None:
            return {"point": mm((self.pith_px,))[0], "standard_error": self.pith_error}
        if stage == "cracks" and (self.cracks_px or self.defects_px):
            return {
                "cracks": [plain(replace(crack, path=mm(crack.path))) for crack in self.cracks_px],
                "defects": [plain(replace(defect, outline=mm(defect.outline))) for defect in self.defects_px],
            }
        return {}


def hand_marks(face: Face) -> HandMarks:
    """Return what a person set on a face."""

    def px(points: Points | None) -> Points:
        return _moved(points or (), lambda mm: mm_to_photo(face.scale, mm))

    outline, pith = face.outline, face.pith
    by_person = outline.set_by == "person"
    return HandMarks(
        outline_px=px(outline.points) if by_person else (),
        under_bark_px=px(outline.under_bark) if by_person else (),
        outline_error=outline.standard_error,
        pith_px=px((pith.point,))[0] if pith is not None and pith.set_by == "person" else None,
        pith_error=pith.standard_error if pith is not None else 1.0,
        cracks_px=tuple(replace(c, path=px(c.path)) for c in face.cracks if c.set_by == "person"),
        defects_px=tuple(replace(d, outline=px(d.outline)) for d in face.defects if d.set_by == "person"),
    )


def _moved(points: Points, move: Callable[[Any], Any]) -> Points:
    return tuple((float(x), float(y)) for x, y in move(points)) if points else ()
