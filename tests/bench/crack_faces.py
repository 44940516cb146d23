"""Faces drawn to train the network that looks for cracks, with what is a crack at every place of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.cracks.network import DIAMETER_PX
from photonest.cracks.search import view
from photonest.imaging import polygon_mask
from photonest.resizing import reduced
from tests.bench.cracked import cracked
from tests.bench.cracks import seen_squarely
from tests.drawn import SceneSpec
from tests.drawn.marks import CrackSpec, MarkSpec
from tests.drawn.vary import Difficulty
from tests.drawn.wear import random_wear
from tests.drawn.wood import Piece

FIRST_SEED = 3_000_000
FINEST = 0.35  # pixels: what opens less can't be seen, and is told neither way
DIFFICULTIES: tuple[Difficulty, ...] = ("easy", "medium", "hard")
Bytes = NDArray[np.uint8]


class Mix(NamedTuple):
    """What is drawn how often.

    Shares of the easy, medium and hard faces; spread of the cracks' widths (as logarithms) and the widest, in mm;
    shares of light checks, of light ring shakes, and of checks that become ring shakes; whether hairlines about the
    pith, stain streaks and deep saw marks come on top; the share that is worn (`tests.drawn.wear`).
    """

    difficulties: tuple[float, float, float]
    spread: float
    widest: float
    light: float
    light_ring: float
    rings: float
    more: bool
    worn: float


TAUGHT = Mix((0.1, 0.6, 0.3), 0.4, 5.0, 0.15, 0.15, 0.12, more=False, worn=0.2)
JUDGED = Mix((0.1, 0.5, 0.4), 0.5, 9.0, 0.17, 0.30, 0.16, more=True, worn=0.5)
"""For the network and for the judge. A network taught on the second found less than that taught on the first, and one
taught on three in five worn faces less on photos than that taught on one in five."""


@dataclass(frozen=True, eq=False)
class Sample:
    """A face: layers (height, width, 5) of colours, wood and truth (0 none, 128 not told, 255 crack), and its pith."""

    layers: Bytes
    pith: tuple[float, float] | None


def sample(seed: int) -> Sample:
    """Return a drawn face."""
    import cv2

    from tests.drawn import draw

    cv2.setNumThreads(1)
    rng = np.random.default_rng(seed)
    spec = face_spec(seed, rng, TAUGHT)
    drawn = seen_squarely(draw(spec))
    here, paths, openings = drawn.scene, drawn.cracks, drawn.openings
    if spec.wood.cut == "end" and rng.random() < 0.6:
        made = cracked(here, seed)
        paths = [*paths, *(made.scene.flat.to_mm(path) for path in made.cracks)]
        openings = [*openings, *(opening * made.scene.flat.mm_per_px for opening in made.openings)]
        here = made.scene
    seen = view(here.flat, here.outline)
    across = DIAMETER_PX if rng.random() < 0.5 else rng.uniform(0.55, 1.15) * DIAMETER_PX
    flat = reduced(seen.full, max(seen.full.pixels.shape[:2]) * min(1.0, across / seen.diameter_px))
    inside = polygon_mask(flat.to_px(seen.outline), flat.pixels.shape[:2])
    lines = [(flat.to_px(path), opening / flat.mm_per_px) for path, opening in zip(paths, openings, strict=True)]
    layers = np.dstack([flat.pixels, 255 * inside.astype(np.uint8), truth_of(lines, inside.shape)])
    pith = None
    if here.pith is not None and spec.wood.cut == "end":
        x, y = (float(v) for v in flat.to_px([here.pith.point])[0])
        if 0 <= x < inside.shape[1] and 0 <= y < inside.shape[0] and inside[int(y), int(x)]:
            pith = x, y
    return Sample(layers, pith)


def face_spec(seed: int, rng: np.random.Generator, mix: Mix) -> SceneSpec:
    """Return a face to draw; a third are side grain, half bear knots and other defects."""
    from tests.drawn import random_spec

    cut: Literal["end", "side"] = "side" if rng.random() < 0.35 else "end"
    pieces: tuple[Piece, ...] = ("whole", "half", "quarter")
    piece = pieces[int(rng.choice(3, p=[0.75, 0.17, 0.08]))] if cut == "end" else "whole"
    spec = random_spec(
        seed,
        reference="none",
        megapixels=float(rng.choice([1.5, 3.0, 5.0])),
        difficulty=DIFFICULTIES[int(rng.choice(3, p=mix.difficulties))],
        cut=cut,
        piece=piece,
        defects=bool(rng.random() < 0.5),
        cracks=None if rng.random() < 0.6 else int(rng.integers(3, 14)),
    )
    spec = replace(spec, cracks=tuple(varied(crack, cut, rng, mix) for crack in spec.cracks))
    if rng.random() < mix.worn:
        spec = replace(spec, finish=replace(spec.finish, wear=random_wear(rng)))
    return with_more(spec, rng) if mix.more else spec


def with_more(spec: SceneSpec, rng: np.random.Generator) -> SceneSpec:
    """Return a face with hairlines about the pith, streaks and deep saw marks, each now and then."""
    cracks, marks, finish = spec.cracks, spec.marks, spec.finish
    on_end = spec.wood.cut == "end"
    if on_end and rng.random() < 0.3:
        count = int(rng.integers(1, 6))
        cracks += tuple(hairline_at_heart(spec.wood.diameter, 500 + k, rng) for k in range(count))
    if on_end and rng.random() < 0.25:
        marks += tuple(streak(spec, 500 + k, rng) for k in range(int(rng.integers(5, 30))))
    if rng.random() < 0.3:
        finish = replace(finish, saw_strength=float(rng.uniform(0.5, 1.3)), rays=float(rng.uniform(0.8, 1.8)))
    return replace(spec, cracks=cracks, marks=marks, finish=finish)


def hairline_at_heart(diameter: float, seed: int, rng: np.random.Generator) -> CrackSpec:
    """Return a fine check that runs out from the pith one way, or two."""
    crack = CrackSpec(
        angle_deg=float(rng.uniform(0, 360)),
        start=float(rng.uniform(0.01, 0.06)),
        inward=False,
        length=float(rng.uniform(0.03, 0.2) * diameter),
        width=float(diameter * np.exp(rng.uniform(np.log(0.0005), np.log(0.002)))),
        wander=float(rng.uniform(0.5, 1.4)),
        bridged=float(rng.uniform(0, 0.3)),
        fill="light" if rng.random() < 0.1 else "dark",
        seed=seed,
    )
    if rng.random() < 0.3:
        return replace(crack, kind="heart", second_deg=crack.angle_deg + float(rng.normal(180, 40)))
    return crack


def streak(spec: SceneSpec, seed: int, rng: np.random.Generator) -> MarkSpec:
    """Return a radial streak of stain, often about as narrow as a check."""
    angle, across = float(rng.uniform(0, 2 * np.pi)), spec.wood.diameter
    near, far = across / 2 * (rng.uniform(0.2, 0.8) + np.array([0, rng.uniform(0.05, 0.35)]))
    (x, y), (dx, dy) = spec.wood.pith, (float(np.cos(angle)), float(np.sin(angle)))
    first, last = ((x + float(r) * dx, y + float(r) * dy) for r in (near, far))
    dark = float(rng.uniform(0.15, 0.5))
    colour = (dark, dark * float(rng.uniform(0.75, 1.05)), dark * float(rng.uniform(0.6, 1.15)))
    width = float(across * np.exp(rng.uniform(np.log(0.0015), np.log(0.012))))
    return MarkSpec("stain", first, last, width, colour, float(rng.uniform(0.3, 0.9)), seed)


def truth_of(lines: list[tuple[NDArray[np.float64], NDArray[np.float64]]], shape: tuple[int, ...]) -> Bytes:
    """Return 255 along lines, given as points and openings in pixels, 128 close by and where nothing can be seen."""
    told = np.zeros(shape, np.uint8)
    for line, width in lines:
        rule(told, line, np.where(width > FINEST, width + 5, 3), 128)
    for line, width in lines:
        rule(told, line, np.where(width > FINEST, np.maximum(width, 2), 0), 255)
    return told


def varied(crack: CrackSpec, cut: str, rng: np.random.Generator, mix: Mix) -> CrackSpec:
    """Return a drawn crack more often light, of another width, and a few more ring shakes."""
    fill = "light" if rng.random() < (mix.light_ring if crack.kind == "ring" else mix.light) else crack.fill
    width = float(np.clip(crack.width * np.exp(rng.normal(0.1, mix.spread)), 0.12, mix.widest))
    if cut == "end" and crack.kind == "radial" and rng.random() < mix.rings:
        return replace(crack, kind="ring", start=float(rng.uniform(0.2, 0.85)), fill=fill, width=width)
    return replace(crack, fill=fill, width=width)


def rule(told: Bytes, line: NDArray[np.float64], width: NDArray[np.float64], value: int) -> None:
    """Draw a line of changing width, none where that is 0."""
    import cv2

    points = np.round(line * 16).astype(np.int32)
    for k in range(len(line) - 1):
        thick = round(float(max(width[k], width[k + 1])))
        if thick > 0:
            first, last = (tuple(int(v) for v in point) for point in points[k : k + 2])
            cv2.line(told, first, last, value, thick, cv2.LINE_8, 4)


def kept_sample(seed: int, folder: Path) -> Path | None:
    """Draw a face into a folder, if it isn't there; None if it can't be drawn."""

    def arrays() -> dict[str, Any]:
        one = sample(seed)
        return {"layers": one.layers, "pith": np.array(one.pith or (np.nan, np.nan))}

    return kept(folder / f"{seed}.npz", arrays)


def kept(file: Path, arrays: Callable[[], dict[str, Any]]) -> Path | None:
    """Write arrays into a file, if it isn't there, whole or not at all; None if they can't be had."""
    if not file.exists():
        try:
            given = arrays()
        except ValueError:
            return None
        part = file.with_suffix(".part")
        with part.open("wb") as target:
            np.savez(target, **given)
        part.rename(file)
    return file
