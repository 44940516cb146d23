"""Drawn scenes of every kind of piece, for training and judging what finds the outline.

Discs, halves, quarters and round blanks; cut by the frame, one of several, with a card lying on the face; with every
reference and none. Whole scenes follow from their seed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import polygon_mask
from photonest.model import FlatPhoto, Lens, Photo, Point, Scale
from photonest.photo import frozen_pixels
from photonest.rectify import flatten, map_points, matrix_rows, photo_to_mm, upright
from tests.drawn import CameraSpec, SceneSpec, Truth, draw, random_spec
from tests.drawn.place import pair
from tests.drawn.vary import Difficulty
from tests.drawn.wood import Growth, Piece

Points = NDArray[np.float64]
KINDS = (
    "disc", "disc", "half", "quarter", "blank", "cut by frame", "several", "card on face", "no reference",
    "half, no reference",
)  # fmt: skip
LEVELS: tuple[Difficulty, ...] = ("medium", "hard", "medium", "easy", "hard")
BESIDE = ("marker-sheet", "card", "paper", "markers-around", "strips", "marker-sheet")
PIECES: dict[str, Piece] = {"half": "half", "quarter": "quarter", "half, no reference": "half"}


@dataclass(frozen=True)
class PieceScene:
    """A flat photo and the true outline in it, in mm; only what the frame shows of it."""

    name: str
    kind: str
    level: str
    flat: FlatPhoto
    outline: Points
    under_bark: Points


def piece_scene(
    seed: int,
    kind: str | None = None,
    *,
    megapixels: float = 2.0,
    cracks: int | None = None,
    change: Callable[[SceneSpec], SceneSpec] | None = None,
) -> PieceScene:
    """Return the scene of a seed: kind and difficulty by turns, unless a kind is given; `change` is made to it first.

    Beside `KINDS` there is "sawn blank", one with straight sides.

    Raises
    ------
    ValueError
        If nothing of the piece is in the frame.
    """
    rng = np.random.default_rng(seed)
    kind = kind or KINDS[seed % len(KINDS)]
    level = LEVELS[seed // len(KINDS) % len(LEVELS)]
    spec = random_spec(
        seed,
        reference=_reference(rng, kind),
        difficulty=level,
        piece=PIECES.get(kind, "whole"),
        megapixels=megapixels,
        cut="side" if kind.endswith("blank") else "end",
        cracks=cracks,
        round_blank=kind != "sawn blank",
    )
    if change is not None:
        spec = change(spec)
    if kind == "cut by frame":
        spec = replace(spec, camera=_cutting(rng, spec))
    if kind == "several":
        spec = replace(spec, camera=replace(spec.camera, distance=1.35 * spec.camera.distance))
    drawn = draw(spec)
    pixels, aim = drawn.pixels, ((spec.camera.width - 1) / 2, (spec.camera.height - 1) / 2)
    if kind == "several":
        pixels = _with_another(rng, spec, drawn.truth, pixels)
        aim = pair(drawn.truth.mm_to_px(drawn.truth.outline_mm).mean(axis=0))
    return _flat_scene(f"{seed} {kind} {level}", kind, level, drawn.truth, spec.camera, pixels, aim)


def _reference(rng: np.random.Generator, kind: str) -> str:
    if kind.endswith("no reference"):
        return "none"
    if kind == "card on face":
        return str(rng.choice(["card-on-face", "white-card-on-face"]))
    return str(rng.choice(BESIDE))


def _cutting(rng: np.random.Generator, spec: SceneSpec) -> CameraSpec:
    """Return the camera aimed so that one side of the frame cuts 4 to 25 % of the piece's extent off."""
    growth, camera = Growth(spec.wood), spec.camera
    seen = camera.mm_to_px(growth.polygon(growth.outer))
    axis, share = int(rng.integers(2)), float(rng.uniform(0.04, 0.25))
    low, high = float(seen[:, axis].min()), float(seen[:, axis].max())
    shift = np.zeros(2)
    last = (camera.width, camera.height)[axis] - 1
    shift[axis] = low + share * (high - low) if rng.random() < 0.5 else high - share * (high - low) - last
    return replace(camera, aim=pair(camera.px_to_mm([np.asarray(camera.centre_px) + shift])[0]))


def _with_another(
    rng: np.random.Generator, spec: SceneSpec, truth: Truth, pixels: NDArray[np.uint8]
) -> NDArray[np.uint8]:
    """Return the photo with a second piece beside the first, on the same bench in the same light."""
    other = random_spec(spec.seed + 500_000, reference="none", megapixels=0.5)
    wood = replace(other.wood, diameter=float(rng.uniform(0.5, 1.0)) * spec.wood.diameter)
    first, second = (growth.polygon(growth.outer) for growth in (Growth(spec.wood), Growth(wood)))
    angle = float(rng.uniform(0, 2 * np.pi))
    way = np.array([np.cos(angle), np.sin(angle)])
    offset = way * ((first @ way).max() + rng.uniform(2, 40) - (second @ way).min())
    camera = replace(spec.camera, aim=pair(np.asarray(spec.camera.aim) - offset))
    beside = draw(replace(other, wood=wood, camera=camera, bench=spec.bench, light=spec.light, items=()))
    shape = (pixels.shape[0], pixels.shape[1])
    its = polygon_mask(beside.truth.mm_to_px(beside.truth.outline_mm), shape)
    its &= ~polygon_mask(truth.mm_to_px(truth.outline_mm), shape)
    return np.where(its[..., None], beside.pixels, pixels)


def _flat_scene(
    name: str, kind: str, level: str, truth: Truth, camera: CameraSpec, pixels: NDArray[np.uint8], aim: Point
) -> PieceScene:
    """Return the photo made flat by its true scale."""
    import shapely

    grey = bool((pixels == pixels[..., :1]).all())
    photo = Photo(frozen_pixels(pixels), "drawn.jpg", "0" * 64, grey=grey)
    lying = tuple(tuple(pair(corner) for corner in truth.mm_to_px(item.corners)) for item in truth.references)
    lens = Lens(camera.focal_px, camera.centre_px, camera.k1, camera.k2) if lying else None
    inverse = np.linalg.inv(truth.homography) if lying else np.diag([truth.mm_per_px, truth.mm_per_px, 1.0])
    scale = Scale("drawn", matrix_rows(inverse), 0.1, truth.mm_per_px, lens, lying)
    if lying:  # only a reference tells where the camera was
        way = camera.distance * camera.rotation[2]
        foot = pair(map_points(truth.homography, np.asarray(camera.aim) - way[:2])[0])
        scale = replace(scale, distance_mm=float(way[2]), foot_px=foot)
    scale = upright(scale, aim) if lying else scale
    along = np.linspace(0, 1, 50, endpoint=False)[:, None]
    ends = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * [photo.width, photo.height] - 0.5
    rim = np.concatenate([a + (b - a) * along for a, b in zip(ends, np.roll(ends, -1, axis=0), strict=True)])
    frame = shapely.Polygon(photo_to_mm(scale, rim)).buffer(0)

    def shown(line: Points) -> Points:
        part = shapely.Polygon(photo_to_mm(scale, truth.mm_to_px(line))).buffer(0).intersection(frame)
        if part.is_empty:
            raise ValueError(f"nothing of the piece of {name} is in the frame")
        largest = max(shapely.get_parts(part), key=lambda one: float(one.area))
        return np.asarray(largest.exterior.coords)[:-1]

    flat = flatten(photo, scale, aim)
    return PieceScene(name, kind, level, flat, shown(truth.outline_mm), shown(truth.under_bark_mm))
