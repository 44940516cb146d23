"""What `tests.bench.scale` measures: drawn scenes, and what a user would tell the finders about each."""

from __future__ import annotations

import io
import pickle
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np

from photonest.model import NotFound, Photo, Scale
from photonest.photo import frozen_pixels
from photonest.scale.bar import Bar
from photonest.scale.card import Card
from photonest.scale.combine import combined, middle_of_photo
from photonest.scale.height import face_above
from photonest.scale.known_diameter import KnownDiameter
from photonest.scale.marker_sheet import MarkerSheet
from photonest.scale.markers import Markers
from photonest.scale.paper import Paper
from photonest.scale.ruler import Ruler
from photonest.scale.two_points import PICKING_PX, TwoPoints
from tests.drawn import SceneSpec, draw, random_spec
from tests.drawn.lookalikes import lookalikes, repeated
from tests.drawn.noise import Array, generator
from tests.drawn.references import Item
from tests.drawn.wood import Growth

Random = np.random.Generator
WAYS: dict[str, dict[str, Any]] = {"": {}, "curled": {}, "blank": {"cut": "side"}, "cut": {"cut_by_frame": 0.25}}
WAYS |= {"lookalikes": {}, "repeated": {}}
FOCAL_ERROR = 0.02  # by which the focal length in a file is off, as a share; common practice, no source
CALIPERS_MM, HEIGHT_MM = 0.5, 1.0  # standard errors of what a user measures


@dataclass(frozen=True, eq=False)
class Shot:
    """A drawn photo and its file, what it shows, and how high the face lies above the reference."""

    spec: SceneSpec
    photo: Photo
    jpeg: bytes
    above_mm: float = 0.0

    @property
    def outline(self) -> Array:
        """The face's outline in mm."""
        growth = Growth(self.spec.wood)
        return growth.polygon(growth.outer)[::8]

    def seen(self, points_mm: Array) -> Array:
        """Return where the photo shows points of the face, as if it lay that much higher."""
        return self.spec.camera.mm_to_px(points_mm, -self.above_mm)


@dataclass(frozen=True)
class Case:
    """A row of the table: which photos, how they are measured, and the target.

    Attributes
    ----------
    photos : str
        Kind of reference, and after a plus how the scene differs.
    find : callable
        Of a shot and random numbers for what a user measures.
    target : (found, median, ninety)
        Least share found, and most error of the diameter, in percent.
    above : bool
        The face lies 10 to 150 mm above the reference.
    """

    photos: str
    find: Callable[[Shot, Random], Scale | NotFound]
    target: tuple[float, float, float] | None = None
    above: bool = False


def scene(kind: str, seed: int, megapixels: float = 3.0) -> SceneSpec:
    """Return a scene of difficulty medium or hard with a reference of a kind: tilt to 25 degrees, blur to 1 px."""
    level: Literal["medium", "hard"] = "hard" if seed % 2 else "medium"
    reference, _, way = kind.partition("+")
    options = {"difficulty": level, "max_tilt": 25.0, "megapixels": megapixels, **WAYS[way]}
    spec = random_spec(seed, reference=reference, **options)
    if way == "lookalikes":
        spec = replace(spec, items=(*spec.items, *lookalikes(generator(seed, way), Growth(spec.wood), spec.bench)))
    if way == "repeated":
        spec = replace(spec, items=(*spec.items, *repeated(generator(seed, way), Growth(spec.wood), spec.bench)))
    rng = generator(seed, f"scale-{reference}")
    k1, blur = float(rng.normal(0, 0.02)), float(rng.uniform(0.5, 1.0)) * spec.camera.width / 2000
    if way == "curled":
        curl = float(rng.uniform(0.5, 6.0))
        spec = replace(spec, items=tuple(replace(i, curl=curl) if i.kind == reference else i for i in spec.items))
    return replace(spec, camera=replace(spec.camera, k1=k1, k2=0.0, blur_px=blur))


def shot(kind: str, seed: int, megapixels: float, cache: Path | None, above: bool = False) -> Shot:
    """Return a scene and its photo, drawn or as kept from an earlier run."""
    kept = None if cache is None else cache / f"{kind}-{seed}-{megapixels:g}.pickle"
    if kept is not None and kept.exists():
        spec, jpeg = pickle.loads(kept.read_bytes())
    else:
        spec = scene(kind, seed, megapixels)
        jpeg = draw(spec).jpeg
        if kept is not None:
            kept.write_bytes(pickle.dumps((spec, jpeg)))
    rng = generator(seed, f"told-{kind}")
    focal = spec.camera.focal_px * float(np.exp(rng.normal(0, FOCAL_ERROR))) if spec.camera.exif else None
    height = float(rng.uniform(10, 150)) if above else 0.0
    return Shot(spec, opened(jpeg, focal), jpeg, height)


def opened(jpeg: bytes, focal_px: float | None) -> Photo:
    """Return a drawn file as the finders get it."""
    from PIL import Image

    pixels = np.asarray(Image.open(io.BytesIO(jpeg)).convert("RGB"))
    return Photo(frozen_pixels(pixels), "drawn.jpg", "0" * 64, focal_px=focal_px)


def _unasked(finder: Any) -> Callable[[Shot, Random], Scale | NotFound]:
    return lambda shot, _: finder.find(shot.photo, finder.Options())


def told(items: Iterable[Item]) -> dict[str, dict[str, Any]]:
    """Return the options of the finders of what is drawn, as a user who knows what lies there would give them."""
    options: dict[str, dict[str, Any]] = {}
    for item in items:
        words = item.variant.split()
        if item.kind == "bar":
            options["bar"] = {"square_mm": item.pitch}
        if item.kind == "ruler":
            options["ruler"] = {"ticks": words[-1]}
        if item.kind == "paper":
            options["paper"] = {"size": "any" if words[0] in ("A4", "Letter") else words[0]}
    return options


def _told(finder: Any) -> Callable[[Shot, Random], Scale | NotFound]:
    return lambda shot, _: finder.find(shot.photo, finder.Options(**told(shot.spec.items)[finder.name]))


def _widest(shot: Shot, rng: Random) -> Scale | NotFound:
    angle = np.arange(0, np.pi, np.pi / 360)
    along = shot.outline @ np.array([np.cos(angle), np.sin(angle)])
    widest = float(np.ptp(along, axis=0).max() + rng.normal(0, CALIPERS_MM))
    return KnownDiameter().find(shot.photo, KnownDiameter.Options(diameter_mm=widest))


def _round(shot: Shot, rng: Random) -> Scale | NotFound:
    x, y = shot.outline.T
    mean = float(2 * np.hypot(x - x.mean(), y - y.mean()).mean() + rng.normal(0, CALIPERS_MM))
    return KnownDiameter().find(shot.photo, KnownDiameter.Options(diameter_mm=mean, across="round"))


def _two_points(shot: Shot, rng: Random) -> Scale | NotFound:
    first = int(rng.integers(len(shot.outline)))
    ends = shot.outline[[first, first - len(shot.outline) // 2]]
    picked = shot.seen(ends) + rng.normal(0, PICKING_PX * shot.photo.width, (2, 2))
    length = float(np.linalg.norm(ends[1] - ends[0]) + rng.normal(0, CALIPERS_MM))
    x1, y1, x2, y2 = (float(value) for value in picked.ravel())
    return TwoPoints().find(shot.photo, TwoPoints.Options(x1, y1, x2, y2, length_mm=length))


def _raised(shot: Shot, rng: Random) -> Scale | NotFound:
    scale = MarkerSheet().find(shot.photo, MarkerSheet.Options())
    if isinstance(scale, NotFound):
        return scale
    return face_above(scale, shot.above_mm + float(rng.normal(0, HEIGHT_MM)), HEIGHT_MM)


def _sheet_and_points(shot: Shot, rng: Random) -> Scale | NotFound:
    found = [MarkerSheet().find(shot.photo, MarkerSheet.Options()), _two_points(shot, rng)]
    scales = [scale for scale in found if isinstance(scale, Scale)]
    return combined(scales, middle_of_photo(shot.photo.width, shot.photo.height)) if len(scales) == 2 else found[0]


SHEET, BAR = (99.0, 0.15, 0.5), (95.0, 0.5, 1.5)
CASES: dict[str, Case] = {
    "marker-sheet": Case("marker-sheet", _unasked(MarkerSheet()), SHEET),
    "curled sheet": Case("marker-sheet+curled", _unasked(MarkerSheet())),
    "sheet cut by frame": Case("marker-sheet+cut", _unasked(MarkerSheet())),
    "sheet below face": Case("marker-sheet", _raised, above=True),
    "markers-around": Case("markers-around", _unasked(Markers()), (99.0, 0.05, 0.15)),
    "strips": Case("strips", _unasked(Markers()), (99.0, 0.15, 0.5)),
    "bar": Case("bar", _told(Bar()), BAR),
    "ruler": Case("ruler", _told(Ruler()), BAR),
    "ruler cut by frame": Case("ruler+cut", _told(Ruler())),
    "any-ruler": Case("any-ruler", _told(Ruler()), BAR),
    "ruler-on-face": Case("ruler-on-face", _told(Ruler()), BAR),
    "known-diameter": Case("none+blank", _widest),
    "round blank": Case("none+blank", _round),
    "two-points": Case("markers-around", _two_points),
    "sheet and points": Case("marker-sheet", _sheet_and_points, SHEET),
    "card": Case("card", _unasked(Card()), (97.0, 0.5, 1.5)),
    "card-on-face": Case("card-on-face", _unasked(Card()), (97.0, 0.3, 0.8)),
    "white-card-on-face": Case("white-card-on-face", _unasked(Card()), (97.0, 0.3, 0.8)),
    "paper": Case("paper", _told(Paper()), (97.0, 0.15, 0.5)),
}
