"""What a photo shows, exactly."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike

from tests.drawn.camera import CameraSpec
from tests.drawn.defects import HIDING, REAL, defect_outline, within
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
class DefectTruth:
    """A knot, hole, bark inclusion or decayed area as drawn: its outline (n, 2) in mm, the first point not repeated.

    `clear` tells whether a reader of the photo could not miss it.
    """

    kind: str
    outline_mm: Array
    clear: bool = True


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
    defects: tuple[DefectTruth, ...] = ()

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
        defects=tuple(_defects(spec, growth)),
    )


def _defects(spec: SceneSpec, growth: Growth) -> Iterator[DefectTruth]:
    """Yield every defect but the cracks: those asked for, the wood's own knots, and marks that are holes or bark."""
    edge = growth.polygon(growth.under)
    over = shapely.union_all([shapely.Polygon(defect_outline(s)).buffer(0) for s in spec.defects if s.kind in HIDING])
    for one in spec.defects:
        if one.kind in REAL:
            outline = within(one, edge)
            if len(outline):
                shape = shapely.Polygon(outline).buffer(0)
                hidden = shape.intersection(over).area > 0.3 * shape.area
                yield DefectTruth("hole" if one.kind == "screw" else one.kind, outline, not hidden)
    for knot in spec.wood.knots if spec.wood.cut == "end" else ():
        a = np.radians(knot.angle_deg)
        end = knot.reach * float(growth.rim(a))
        t = np.linspace(0.02, 1, 24)
        half = knot.width / 2 * t**0.6
        unit, side = np.array([np.cos(a), np.sin(a)]), np.array([-np.sin(a), np.cos(a)])
        lips = [growth.pith + end * t[:, None] * unit + sign * half[:, None] * side for sign in (1, -1)]
        yield DefectTruth("knot", np.concatenate([lips[0], lips[1][::-1]]), clear=False)
    for mark in spec.marks:
        if mark.kind in ("hole", "bark pocket"):
            path, widths = mark_path(mark)
            outline = _outlined(path, np.maximum(widths, 0.4))
            yield DefectTruth("hole" if mark.kind == "hole" else "bark", outline, clear=mark.strength > 0.75)


def _outlined(path: Array, widths: Array) -> Array:
    """Return the outline of a band about a path."""
    from shapely import LineString, Point
    from shapely.ops import unary_union

    spots = [Point(p).buffer(w / 2, 12) for p, w in zip(path, widths, strict=True)]
    hulls = [unary_union(pair).convex_hull for pair in itertools.pairwise(spots)]
    whole = unary_union(hulls) if hulls else LineString(path).buffer(0.2)
    return np.asarray(whole.exterior.coords)[:-1]
