"""What a photo shows, exactly."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from tests.drawn.camera import CameraSpec
from tests.drawn.marks import Traced, mark_path
from tests.drawn.noise import Array
from tests.drawn.references import Item
from tests.drawn.spec import SceneSpec
from tests.drawn.wood import Growth


@dataclass(frozen=True, eq=False)
class CrackTruth:
    """A crack as drawn: path (n, 2) and widths (n,) in mm, to the very tip."""

    kind: str
    path_mm: Array
    widths_mm: Array

    @property
    def width_mm(self) -> float:
        """Greatest width."""
        return float(self.widths_mm.max())

    @property
    def length_mm(self) -> float:
        """Length along the path."""
        return float(np.hypot(*np.diff(self.path_mm, axis=0).T).sum())


@dataclass(frozen=True, eq=False)
class Distractor:
    """Something that is no crack, as drawn."""

    kind: str
    path_mm: Array
    width_mm: float


@dataclass(frozen=True, eq=False)
class Truth:
    """What the photo shows, exactly.

    `outline_mm` and `under_bark_mm` are (n, 2), the first point not repeated. `pith_mm` is None where the face is along
    the grain; it may lie outside the piece. `diameter_mm` is of the circle with the outline's area.
    """

    outline_mm: Array
    under_bark_mm: Array
    pith_mm: Array | None
    diameter_mm: float
    cracks: tuple[CrackTruth, ...]
    distractors: tuple[Distractor, ...]
    references: tuple[Item, ...]
    camera: CameraSpec

    @property
    def reference(self) -> str:
        """Kind of the first reference, or "none"."""
        return self.references[0].kind if self.references else "none"

    @property
    def homography(self) -> Array:
        """3x3, from mm on the face to pixels of an ideal lens (not mirrored)."""
        return self.camera.homography()

    @property
    def mm_per_px(self) -> float:
        """Size of a pixel about the middle of the outline."""
        return 1 / self.camera.scale_at(self.outline_mm.mean(0))

    def mm_to_px(self, points: ArrayLike, z: float = 0.0) -> Array:
        """Return where points (n, 2) in mm fall in the photo, lens and all."""
        return self.camera.mm_to_px(points, z)

    def px_to_mm(self, points_px: ArrayLike, z: float = 0.0) -> Array:
        """Return the points of the face, in mm, that the photo shows at these pixels."""
        return self.camera.px_to_mm(points_px, z)

    def document(self, file: str) -> dict[str, Any]:
        """Return the truth as plain values, for a list of scenes."""
        c = self.camera
        return {
            "file": file,
            "reference": self.reference,
            "outline_mm": _rounded(_thinned(self.outline_mm)),
            "under_bark_mm": _rounded(_thinned(self.under_bark_mm)),
            "diameter_mm": round(self.diameter_mm, 4),
            "pith_mm": None if self.pith_mm is None else _rounded(self.pith_mm),
            "cracks_mm": [
                {
                    "kind": k.kind, "width": round(k.width_mm, 3), "length": round(k.length_mm, 2),
                    "path": _rounded(k.path_mm),
                }
                for k in self.cracks
            ],
            "distractors_mm": [
                {"kind": d.kind, "width": round(d.width_mm, 3), "path": _rounded(d.path_mm)} for d in self.distractors
            ],
            "references_mm": [
                {
                    "kind": r.kind, "variant": r.variant, "size": list(r.size), "z": r.z, "curl": r.curl,
                    "pitch": r.pitch, "number": r.number,
                    "corners": _rounded(r.corners),
                }
                for r in self.references
            ],
            "mm_to_px": {
                "homography": [[float(v) for v in row] for row in self.homography],
                "focal_px": c.focal_px, "centre_px": list(c.centre_px), "k1": c.k1, "k2": c.k2,
                "mirrored": c.mirrored, "width_px": c.width, "height_px": c.height,
            },
            "mm_per_px": self.mm_per_px,
            "tilt_deg": c.tilt_deg,
            "distance_mm": c.distance,
        }  # fmt: skip


def _thinned(outline: Array) -> Array:
    """Return fewer points of an outline, within 0.02 mm of it."""
    from shapely import Polygon

    return np.asarray(Polygon(outline).simplify(0.02).exterior.coords)[:-1]


def _rounded(points: Array) -> Any:
    return np.round(np.asarray(points, float), 3).tolist()


def truth_of(spec: SceneSpec, growth: Growth, cracks: list[Traced]) -> Truth:
    """Return what a photo of the scene shows."""
    outline = growth.polygon(growth.outer)
    x, y = outline[:, 0], outline[:, 1]
    area = 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))
    distractors = []
    for mark in spec.marks:
        path, widths = mark_path(mark)
        distractors.append(Distractor(mark.kind, path, float(widths.max())))
    for knot in spec.wood.knots:
        a = np.radians(knot.angle_deg)
        end = growth.pith + knot.reach * float(growth.rim(a)) * np.array([np.cos(a), np.sin(a)])
        distractors.append(Distractor("knot", np.array([growth.pith, end]), knot.width))
    for fold in spec.wood.folds:
        a = np.radians(fold.angle_deg)
        end = growth.pith + float(growth.rim(a)) * np.array([np.cos(a), np.sin(a)])
        distractors.append(Distractor("fold", np.array([growth.pith, end]), 2.0))
    return Truth(
        outline_mm=outline,
        under_bark_mm=growth.polygon(growth.under),
        pith_mm=growth.pith if spec.wood.cut == "end" else None,
        diameter_mm=float(np.sqrt(4 * area / np.pi)),
        cracks=tuple(CrackTruth(c.spec.kind, c.path, c.widths) for c in cracks),
        distractors=tuple(distractors),
        references=tuple(item for item in spec.items if item.is_reference),
        camera=spec.camera,
    )
