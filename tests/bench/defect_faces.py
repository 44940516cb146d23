"""Faces drawn to train the network that looks for knots, holes, bark inclusions and decay, and what each place is."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.cracks.patch_map import DIAMETER_PX, KINDS
from photonest.imaging import polygon_mask
from photonest.model import FlatPhoto
from photonest.planar import mean_diameter
from photonest.resizing import reduced
from tests.bench.crack_faces import DIFFICULTIES, kept
from tests.bench.patched import Face, drawn_face
from tests.drawn import SceneSpec
from tests.drawn.wear import random_wear
from tests.drawn.wood import Piece

FIRST_SEED = 6_000_000
UNTOLD = 255
SMALLEST_PX = 1.6  # across: what is smaller can't be seen, and is told neither way
Bytes = NDArray[np.uint8]


class Sample(NamedTuple):
    """A face: layers (height, width, 5) of colours, wood and kind; its pith, NaN without one; places to look at.

    Kinds are 0 for none, 1 to 4 for those of `KINDS`, `UNTOLD` where nothing is told. Places (n, 2) are the middles of
    defects in pixels.
    """

    layers: Bytes
    pith: NDArray[np.float64]
    spots: NDArray[np.int64]


def face_spec(seed: int, rng: np.random.Generator) -> SceneSpec:
    """Return a face to draw; two fifths are side grain, one in nine has no defects but what every face may have."""
    from tests.drawn import random_spec

    cut: Literal["end", "side"] = "side" if rng.random() < 0.4 else "end"
    pieces: tuple[Piece, ...] = ("whole", "half", "quarter")
    spec = random_spec(
        seed,
        reference="none",
        megapixels=float(rng.choice([1.0, 1.5, 2.2])),
        difficulty=DIFFICULTIES[int(rng.choice(3, p=[0.2, 0.5, 0.3]))],
        cut=cut,
        piece=pieces[int(rng.choice(3, p=[0.8, 0.14, 0.06]))] if cut == "end" else "whole",
        defects=bool(rng.random() < 0.89),
    )
    if rng.random() < 0.3:
        spec = replace(spec, finish=replace(spec.finish, wear=random_wear(rng)))
    return spec


def sample(seed: int) -> Sample:
    """Return a drawn face."""
    import cv2

    from tests.drawn import draw

    cv2.setNumThreads(1)
    rng = np.random.default_rng(seed)
    drawn = draw(face_spec(seed, rng))
    face = drawn_face(seed, drawn.jpeg, drawn.truth)
    here, edge = face.scene, np.asarray(face.scene.outline.wood)
    across = DIAMETER_PX * (1.0 if rng.random() < 0.5 else float(rng.uniform(0.55, 1.2)))
    share = min(1.0, across * here.flat.mm_per_px / mean_diameter(edge))
    flat = reduced(here.flat, max(here.flat.pixels.shape[:2]) * share)
    wood = polygon_mask(flat.to_px(edge), flat.pixels.shape[:2])
    kinds, spots = kinds_of(face, flat)
    low, high = np.argwhere(wood).min(axis=0), np.argwhere(wood).max(axis=0) + 1
    layers = np.dstack([flat.pixels, 255 * wood.astype(np.uint8), kinds])[low[0] : high[0], low[1] : high[1]]
    pith = np.full(2, np.nan) if here.pith is None else flat.to_px([here.pith.point])[0] - low[::-1]
    return Sample(layers, pith, np.array(spots, np.int64).reshape(-1, 2) - low[::-1])


def kinds_of(face: Face, flat: FlatPhoto) -> tuple[Bytes, list[tuple[int, int]]]:
    """Return what each pixel of a face is, and the middles of its defects."""
    kinds = np.zeros(flat.pixels.shape[:2], np.uint8)
    spots: list[tuple[int, int]] = []
    order = {"decay": 0, "knot": 1, "bark": 2, "hole": 3}  # the later lie in the others
    for known in sorted(face.known, key=lambda one: order[one.kind]):
        side = float(np.sqrt(known.shape.area)) / flat.mm_per_px
        if known.shape.is_empty or not side:
            continue
        doubt = 0.7 + (0.06 if known.kind == "decay" else 0.02) * side  # pixels by which an edge is known
        _fill(kinds, known.shape.buffer(doubt * flat.mm_per_px), flat, UNTOLD)
        if known.clear and side > SMALLEST_PX:
            sure = known.shape.buffer(-min(doubt, 0.15 * side) * flat.mm_per_px)
            _fill(kinds, sure if not sure.is_empty else known.shape, flat, 1 + KINDS.index(known.kind))
            x, y = flat.to_px(known.shape.representative_point().coords)[0]
            spots.append((round(float(x)), round(float(y))))
    return kinds, spots


def _fill(kinds: Bytes, shape: Any, flat: FlatPhoto, value: int) -> None:
    import cv2

    for part in getattr(shape, "geoms", [shape]):
        px = np.round(16 * flat.to_px(np.asarray(part.exterior.coords))).astype(np.int32)
        cv2.fillPoly(kinds, [px], value, cv2.LINE_8, 4)


def kept_sample(seed: int, folder: Path) -> Path | None:
    """Draw a face into a folder, if it isn't there; None if it can't be drawn."""
    return kept(folder / f"{seed}.npz", lambda: sample(seed)._asdict())
