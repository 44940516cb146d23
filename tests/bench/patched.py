"""Faces whose knots, holes, bark and decay are known: drawn ones, and real photos with more drawn into them."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from photonest.model import Outline, Pith
from photonest.planar import mean_diameter
from photonest.resizing import reduced
from tests.bench.cracks import Scene, Truth, scene, truths
from tests.bench.faces import flat_from

Vector = NDArray[np.float64]
DOUBTFUL: dict[str, tuple[tuple[int, int, int], ...]] = {
    "disc_douglas_dfC10d.jpg": ((850, 985, 40), (910, 1080, 40), (550, 1025, 40)),
    "disc_douglas_dfC07c.jpg": ((1630, 2160, 120), (1745, 1990, 60)),
    "disc_douglas_dfD06c.jpg": ((1440, 1035, 90),),
    "half_douglas_dfD06c.jpg": ((1150, 870, 90),),
    "logend_douglas_origC07c.jpg": ((1745, 2395, 120),),
    "slice_unknown_kag140147.jpg": ((1560, 840, 250), (1500, 1255, 60), (480, 1000, 120)),
    "stump_unknown_dj4.jpg": ((1265, 475, 100), (1200, 505, 120)),
}
"""What a reader could not decide on the annotated photos, or saw as a small knot or pitch pocket: x, y, radius, px."""
CLEAR: dict[str, tuple[tuple[str, tuple[tuple[int, int], ...]], ...]] = {
    "disc_pinus_apdF10b.jpg": (
        ("knot", ((716, 666), (782, 657), (770, 750), (793, 791), (739, 797), (735, 733))),
        (
            "knot",
            ((753, 948), (764, 988), (767, 1040), (751, 1102), (706, 1075), (658, 1052), (695, 1000), (724, 953)),
        ),
        (
            "knot",
            ((848, 944), (863, 913), (927, 884), (1014, 895), (1006, 953), (976, 1027), (933, 1011), (886, 988)),
        ),
    ),
    "disc_douglas_dfA05b.jpg": (("bark", ((584, 826), (640, 833), (684, 841), (682, 851), (636, 845), (584, 838))),),
}
"""What a reader saw clearly on them, outlined by eye in px."""
SAME_DISC = {"logend_douglas_origC07c": "dfC07c", "half_douglas_dfD06c": "dfD06c"}


@dataclass(frozen=True, eq=False)
class Known:
    """A defect in the face's mm; one that is not clear neither counts as missed nor as a false alarm."""

    kind: str
    shape: Any
    clear: bool


@dataclass(frozen=True, eq=False)
class Face:
    """A face with all of its defects; `disc` names the piece of wood."""

    name: str
    disc: str
    source: Literal["drawn", "drawn into", "real"]
    scene: Scene
    known: tuple[Known, ...]


def shape_of(points: Any) -> Any:
    """Return points as a polygon, mended where it crosses itself."""
    from shapely import Polygon

    return Polygon(points).buffer(0)


def points_of(line: Vector) -> tuple[tuple[float, float], ...]:
    """Return an array as points."""
    return tuple((float(x), float(y)) for x, y in line)


def drawn_face(seed: int, jpeg: bytes, truth: Any) -> Face:
    """Return a drawn photo as it was taken, its outline and pith as far off as finders leave them."""
    from PIL import Image

    with Image.open(io.BytesIO(jpeg)) as picture:
        pixels = np.asarray(picture.convert("RGB"))
    unit = truth.mm_per_px

    def seen(line: Vector) -> Vector:
        return np.asarray(truth.mm_to_px(line) * unit)

    rng = np.random.default_rng(seed)
    edge = unsure_edge(seen(truth.under_bark_mm[::8]), rng)
    pith = None
    if truth.pith_mm is not None and seed % 6:
        error = 0.003 * truth.diameter_mm
        pith = Pith(points_of(seen(truth.pith_mm[None]) + rng.normal(0, error, (1, 2)))[0], error)
    known = [Known(d.kind, shape_of(seen(d.outline_mm)), d.clear) for d in truth.defects]
    outline = Outline(points_of(edge))
    return Face(
        f"drawn {seed}", f"drawn {seed % 5}", "drawn", Scene(flat_from(pixels, unit), outline, pith), tuple(known)
    )


def random_face(seed: int, *, defects: bool = True) -> Face:
    """Draw a face: end grain or side grain, whole or half, easy to hard."""
    from tests.drawn import draw, random_spec

    difficulty: Literal["easy", "medium", "hard"] = ("easy", "medium", "hard")[seed % 3]
    spec = random_spec(
        seed,
        reference="none",
        difficulty=difficulty,
        megapixels=(1.5, 2.0, 3.0)[seed % 7 % 3],
        cut="side" if seed % 4 == 3 else "end",
        piece="half" if seed % 8 == 5 else "whole",
        defects=defects and seed % 5 != 4,
    )
    drawn = draw(spec)
    return drawn_face(seed, drawn.jpeg, drawn.truth)


def unsure_edge(edge: Vector, rng: np.random.Generator) -> Vector:
    """Return an outline as far off the true one as finders leave it: about half a percent of the diameter."""
    from tests.drawn.noise import periodic

    middle = edge.mean(axis=0)
    away = np.hypot(*(edge - middle).T)
    moved = 1 + (0.008 * periodic(rng, 512, range(1, 12), 0.8)[np.arange(len(edge)) * 512 // len(edge)] - 0.004)
    return np.asarray(middle + (edge - middle) * np.minimum(moved, 1 + 2.0 / away)[:, None])


def real_faces() -> Iterator[tuple[Truth, Face]]:
    """Yield the annotated photos as they are; what looks like a defect to the reader is not clear."""
    from shapely import LineString, Point

    for truth in truths():
        here = scene(truth)
        here = replace(here, flat=replace(here.flat, grey=_is_grey(here.flat.pixels)))
        unit, diameter = here.flat.mm_per_px, mean_diameter(here.outline.points)
        known = [Known(k, shape_of(np.asarray(line) * unit), True) for k, line in CLEAR.get(truth["file"], ())]
        known += [
            Known("knot", LineString(np.asarray(d["points"]) * unit).buffer(0.06 * diameter), False)
            for d in truth["distractors_px"]
            if d["kind"].startswith("knot")
        ]
        known += [
            Known("doubtful", Point(x * unit, y * unit).buffer(r * unit), False)
            for x, y, r in DOUBTFUL.get(truth["file"], ())
        ]
        known += [Known("crack", LineString(np.asarray(c["points"]) * unit).buffer(0.01 * diameter), False)
                  for c in truth["cracks_px"]]  # fmt: skip
        stem = str(truth["file"]).rsplit(".", 1)[0]
        disc = SAME_DISC.get(stem, stem.rsplit("_", 1)[-1])
        yield truth, Face(stem, disc, "real", here, tuple(known))


def _is_grey(pixels: NDArray[np.uint8]) -> bool:
    return bool((pixels[..., 0] == pixels[..., 1]).all() and (pixels[..., 1] == pixels[..., 2]).all())


def patched(base: Face, seed: int) -> Face:
    """Return a real photo with defects, and what is mistaken for them, drawn into it."""
    import cv2

    from tests.drawn.camera import decode_srgb
    from tests.drawn.defect_paint import paint_in_holes, paint_in_wood
    from tests.drawn.defects import REAL, within
    from tests.drawn.noise import Grid
    from tests.drawn.strewn_paint import paint_strewn
    from tests.drawn.vary_defects import random_defects
    from tests.drawn.vary_strewn import Lay

    rng = np.random.default_rng(seed)
    flat = reduced(base.scene.flat, float(rng.choice([1000, 1300, 1700])))
    wide = float(rng.uniform(180, 420)) / mean_diameter(base.scene.outline.points)  # the piece at another size
    flat = replace(
        flat,
        mm_per_px=flat.mm_per_px * wide,
        origin=(flat.origin[0] * wide, flat.origin[1] * wide),
        aim=(flat.aim[0] * wide, flat.aim[1] * wide),
    )
    edge = np.asarray(base.scene.outline.wood) * wide
    pith = None if base.scene.pith is None else np.asarray(base.scene.pith.point) * wide
    if pith is not None and not shape_of(edge).contains(_point(pith)):
        pith = None
    specs = random_defects(rng, Lay(edge, pith, mean_diameter(edge)))
    height, width = flat.pixels.shape[:2]
    grid = Grid(flat.origin[0], flat.origin[1], flat.mm_per_px, width, height)
    colour = flat.pixels.astype(np.float32) / np.float32(255)
    paint_in_wood(colour, np.zeros((height, width), np.float32), specs, grid)
    linear = decode_srgb(np.clip(colour, 0, 1)).astype(np.float32)
    light_deg = float(rng.uniform(0, 360))
    paint_in_holes(linear, specs, grid, light_deg)
    paint_strewn(linear, specs, grid, light_deg)
    shown = np.clip(linear, 0, 1)
    shown = np.where(shown <= 0.0031308, 12.92 * shown, 1.055 * shown ** (1 / 2.4) - 0.055)
    shown = cv2.GaussianBlur(shown.astype(np.float32), (0, 0), float(rng.uniform(0.4, 0.9)))
    pixels = np.clip(shown * 255 + 0.5, 0, 255).astype(np.uint8)
    if flat.grey:
        pixels = np.repeat(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)[..., None], 3, axis=2)
    outside = cv2.fillPoly(np.ones((height, width), np.uint8), [np.round(flat.to_px(edge)).astype(np.int32)], 0) > 0
    pixels[outside] = flat.pixels[outside]
    known = [
        Known("hole" if s.kind == "screw" else s.kind, shape_of(within(s, edge)), True) for s in specs if s.kind in REAL
    ]
    known = [one for one in known if not one.shape.is_empty]
    known += [replace(one, shape=_scaled(one.shape, wide)) for one in base.known]
    here = Scene(replace(flat, pixels=pixels), Outline(points_of(unsure_edge(edge, rng))), _moved(base, wide, seed))
    return Face(f"{base.name} {seed}", base.disc, "drawn into", here, tuple(known))


def _moved(base: Face, wide: float, seed: int) -> Pith | None:
    if base.scene.pith is None or seed % 6 == 0:
        return None
    x, y = base.scene.pith.point
    return replace(base.scene.pith, point=(x * wide, y * wide))


def _scaled(shape: Any, wide: float) -> Any:
    from shapely.affinity import scale

    return scale(shape, wide, wide, origin=(0, 0))


def _point(at: Vector) -> Any:
    from shapely import Point

    return Point(at)


def on_defect(shape: Any, known: Sequence[Known]) -> bool | None:
    """Tell whether most of a shape lies on defects, or it covers most of one; None where that is not clear.

    Nor is it where a shape lies on a defect of which it covers but a small part.
    """
    covered = [one.shape.intersection(shape).area / max(one.shape.area, 1e-9) for one in known if one.clear]
    on = sum(one.shape.intersection(shape).area for one in known if one.clear) > 0.5 * shape.area
    if (on and max(covered) > 0.15) or max(covered, default=0.0) > 0.5:
        return True
    touched = sum(one.shape.intersection(shape).area for one in known)
    return None if touched > 0.15 * shape.area else False


def matches(shapes: Sequence[Any], known: Sequence[Known]) -> NDArray[np.object_]:
    """Return what each shape is: a kind, "none", or "unsure" where it takes in a part of one, or something unclear.

    A shape is of a kind when it and a clear defect share more than half of what they cover together.
    """
    named = []
    for shape in shapes:
        best, touched = "none", False
        for one in known:
            shared = shape.intersection(one.shape).area
            together = shape.area + one.shape.area - shared
            if shared > 0.5 * together and one.clear:
                best = one.kind
            elif shared > 0.25 * shape.area or shared > 0.2 * together:
                touched = True
        named.append(best if best != "none" else "unsure" if touched else "none")
    return np.array(named, dtype=object)
