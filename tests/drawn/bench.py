"""What the wood lies on or stands before, painted over a raster of mm in linear light."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.drawn.camera import F32
from tests.drawn.looks import Colour
from tests.drawn.noise import Grid, clouds, generator, speckle
from tests.drawn.texture import decode_srgb_fast

KINDS = ("dark", "pale", "planks", "cloth", "concrete", "gravel", "chips", "leaves", "grass")


@dataclass(frozen=True)
class BenchSpec:
    """The background: one of `KINDS`, its main colour (sRGB, 0 to 1), and how far below the face it lies in mm."""

    kind: str = "planks"
    seed: int = 0
    colour: Colour = (0.55, 0.42, 0.30)
    below: float = 40.0
    turn_deg: float = 0.0
    contrast: float = 1.0


def paint_bench(bench: BenchSpec, grid: Grid) -> F32:
    """Return linear light over a raster, shape (rows, columns, 3)."""
    rng = generator(bench.seed, "bench")
    base = np.array(bench.colour, np.float32)
    shape = (grid.rows, grid.columns)
    if bench.kind == "planks":
        colour = _planks(bench, grid, base, rng)
    elif bench.kind in ("gravel", "chips", "leaves", "grass"):
        colour = _scatter(bench, grid, base, rng)
    elif bench.kind == "cloth":
        colour = _cloth(bench, grid, base, rng)
    else:
        k = 0.035 if bench.kind == "concrete" else 0.03
        tone = 1 + bench.contrast * (k * clouds(grid, rng, 150.0, 5) + k * speckle(grid, rng, 1.2))
        colour = np.asarray(base * tone[..., None], np.float32)
        _scratches(colour, grid, rng, 25 if bench.kind == "dark" else 10)
    if colour.shape[:2] != shape:
        raise ValueError("a bench must fill its raster")
    return decode_srgb_fast(np.clip(colour, 0, 1).astype(np.float32))


def _turned(bench: BenchSpec, grid: Grid) -> tuple[F32, F32]:
    a = np.radians(bench.turn_deg)
    x, y = np.meshgrid(grid.x, grid.y)
    c, s = np.float32(np.cos(a)), np.float32(np.sin(a))
    return x * c + y * s, -x * s + y * c


def _planks(bench: BenchSpec, grid: Grid, base: F32, rng: np.random.Generator) -> F32:
    import cv2

    u, v = _turned(bench, grid)
    width = float(rng.uniform(70, 150))
    board = np.floor(v / np.float32(width))
    index = board.astype(np.int32) % 64
    offset = rng.uniform(0, 400, 64).astype(np.float32)[index]
    noise = cv2.GaussianBlur(rng.standard_normal((512, 512)).astype(np.float32), (0, 0), 1.2) * np.float32(3)
    wave = np.float32(3.0) * np.sin(u / 70 + offset) + np.float32(1.2) * np.sin(u / 23 + 2 * offset)
    coarse = cv2.remap(noise, (u / 55 + offset) % 511, (v / 1.6 + wave + offset) % 511, cv2.INTER_LINEAR)
    fine = cv2.remap(noise, (u / 18 + offset) % 511, (v / 0.5 + offset) % 511, cv2.INTER_LINEAR)
    tone = (1 + 0.08 * rng.standard_normal(64)).astype(np.float32)[index]
    tone = tone * (1 + bench.contrast * (0.07 * coarse + 0.05 * fine + 0.04 * clouds(grid, rng, 90.0, 3)))
    gap = np.abs(v - board * np.float32(width))
    tone = tone * (1 - 0.75 * np.exp(-((gap / 1.1) ** 2)))
    colour = base * tone[..., None]
    colour[..., 2] *= 1 - 0.05 * np.clip(coarse, -1, 1)
    return np.asarray(colour)


def _cloth(bench: BenchSpec, grid: Grid, base: F32, rng: np.random.Generator) -> F32:
    """A woven cloth with a few long creases."""
    import cv2

    every = int(np.clip(2.0 / grid.step, 1, 12))  # creases are broad
    coarse = Grid(grid.x0, grid.y0, every * grid.step, grid.columns // every + 2, grid.rows // every + 2)
    folds = _creases(bench, coarse, rng) + np.float32(0.03) * clouds(coarse, rng, 200.0, 3)
    wide = cv2.resize(folds, (coarse.columns * every, coarse.rows * every), interpolation=cv2.INTER_LINEAR)
    a = np.radians(bench.turn_deg)
    warp = np.sin(grid.x * np.float32(2.6 * np.cos(a)))[None] * np.sin(grid.y * np.float32(2.6 * np.cos(a)))[:, None]
    tone = 1 + bench.contrast * (0.05 * warp + 0.04 * speckle(grid, rng, 0.9)) + wide[: grid.rows, : grid.columns]
    return np.asarray(base * tone[..., None], np.float32)


def _creases(bench: BenchSpec, grid: Grid, rng: np.random.Generator) -> F32:
    u, v = _turned(bench, grid)
    tone = np.zeros_like(u)
    for _ in range(int(rng.integers(4, 11))):
        a = rng.uniform(0, np.pi)
        at = np.float32(rng.uniform(-250, 250))
        along = u * np.float32(np.cos(a)) + v * np.float32(np.sin(a))
        across = -u * np.float32(np.sin(a)) + v * np.float32(np.cos(a)) - at + np.float32(6) * np.sin(along / 90)
        t = across / np.float32(rng.uniform(6, 30))
        fade = np.exp(-(((along - np.float32(rng.uniform(-300, 300))) / np.float32(rng.uniform(100, 400))) ** 2))
        tone = tone + np.float32(bench.contrast * rng.uniform(0.06, 0.22)) * t * np.exp(-t * t) * fade
    return np.asarray(tone, np.float32)


def _scratches(colour: F32, grid: Grid, rng: np.random.Generator, count: int) -> None:
    import cv2

    for _ in range(count):
        a = rng.uniform(0, 1, 2) * [grid.columns, grid.rows]
        b = a + rng.normal(0, 60 / grid.step, 2)
        shade = float(rng.choice([0.75, 1.25])) * colour[int(a[1]) % grid.rows, int(a[0]) % grid.columns]
        ends = [tuple(int(v * 16) for v in p) for p in (a, b)]
        cv2.line(colour, ends[0], ends[1], [float(v) for v in shade], 1, cv2.LINE_8, 4)


_SCATTER: dict[str, tuple[float, float, float, int]] = {
    # size in mm, elongation, spread of the tones, corners
    "gravel": (16.0, 1.3, 0.22, 9),
    "chips": (26.0, 2.2, 0.28, 5),
    "leaves": (42.0, 1.7, 0.30, 10),
    "grass": (60.0, 14.0, 0.35, 4),
}


def _scatter(bench: BenchSpec, grid: Grid, base: F32, rng: np.random.Generator) -> F32:
    import cv2

    size, long, spread, corners = _SCATTER[bench.kind]
    picture = np.empty((grid.rows, grid.columns, 3), np.uint8)
    picture[:] = np.clip(255 * 0.35 * base, 0, 255).astype(np.uint8)
    area = grid.rows * grid.columns * grid.step**2
    count = int(min(9000, 3.2 * area / (size * size / long)))
    centres = rng.uniform(0, 1, (count, 2)) * [grid.columns, grid.rows]
    sizes = size / grid.step * np.exp(0.4 * rng.standard_normal(count)) / 2
    turns = rng.uniform(0, 2 * np.pi, count)
    tones = np.clip(1 + spread * rng.standard_normal(count), 0.3, 1.9)
    tints = 1 + 0.04 * rng.standard_normal((count, 3))
    angles = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    radii = sizes[:, None] * rng.uniform(0.7, 1.15, (count, corners))
    u, v = radii * np.cos(angles), radii * np.sin(angles) / long
    c, s = np.cos(turns)[:, None], np.sin(turns)[:, None]
    shapes = np.stack([u * c - v * s, u * s + v * c], -1) + centres[:, None]
    fixed = (16 * shapes).astype(np.int32)
    shadows = (16 * (shapes + np.array([2.0, 2.5]) / grid.step)).astype(np.int32)
    colours = np.clip(255 * base * tones[:, None] * tints, 0, 255)
    for shape, shadow, colour in zip(fixed, shadows, colours.tolist(), strict=True):
        cv2.fillPoly(picture, [shadow], [0.3 * v for v in colour], cv2.LINE_AA, 4)
        cv2.fillPoly(picture, [shape], colour, cv2.LINE_AA, 4)
    grain: NDArray[np.float32] = 1 + 0.12 * speckle(grid, rng, 1.0) + 0.12 * clouds(grid, rng, 60.0, 3)
    return np.asarray(picture.astype(np.float32) * (grain / np.float32(255))[..., None])
