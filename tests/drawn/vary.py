"""Invents varied, believable scenes from a seed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal, TypeVar

import numpy as np

from tests.drawn.bench import BenchSpec
from tests.drawn.camera import CameraSpec
from tests.drawn.looks import LOOKS, Colour
from tests.drawn.marks import CrackSpec, MarkKind, MarkSpec
from tests.drawn.noise import Array, generator
from tests.drawn.references import Item, card, marker_sheet
from tests.drawn.scene import LightSpec, SceneSpec
from tests.drawn.texture import FinishSpec
from tests.drawn.wood import Fold, Growth, Knot, Piece, WoodSpec

T = TypeVar("T")
Difficulty = Literal["easy", "medium", "hard"]
_LEVEL = {"easy": 0.0, "medium": 0.5, "hard": 1.0}

_BENCHES: dict[str, tuple[Colour, ...]] = {
    "dark": ((0.13, 0.13, 0.14), (0.20, 0.18, 0.17), (0.10, 0.14, 0.20)),
    "pale": ((0.86, 0.86, 0.84), (0.78, 0.80, 0.82), (0.90, 0.87, 0.80)),
    "planks": ((0.60, 0.46, 0.32), (0.72, 0.58, 0.42), (0.45, 0.33, 0.24), (0.80, 0.68, 0.50)),
    "cloth": ((0.16, 0.17, 0.20), (0.30, 0.35, 0.30), (0.50, 0.20, 0.18), (0.62, 0.60, 0.55)),
    "concrete": ((0.55, 0.54, 0.52), (0.66, 0.64, 0.60)),
    "gravel": ((0.52, 0.50, 0.47), (0.60, 0.54, 0.46)),
    "chips": ((0.62, 0.48, 0.33), (0.45, 0.33, 0.25)),
    "leaves": ((0.45, 0.33, 0.20), (0.36, 0.38, 0.18)),
    "grass": ((0.34, 0.46, 0.18), (0.45, 0.50, 0.25)),
}


def random_spec(
    seed: int,
    *,
    reference: str = "marker-sheet",
    difficulty: Difficulty = "medium",
    look: str | None = None,
    piece: Piece = "whole",
    megapixels: float = 3.0,
    max_tilt: float | None = None,
    cracks: int | None = None,
) -> SceneSpec:
    """Return a scene of a slice or log end.

    Parameters
    ----------
    seed : int
        The same seed and options give the same scene.
    reference : str
        "marker-sheet", "card", "card-on-face", or "none": no reference, no tilt and no lens distortion, so that
        `Truth.mm_per_px` says all.
    difficulty : str
        "easy", "medium" or "hard": how much is done to the wood, the bench, the light and the photo.
    look, piece : str
        A species' look (any if None); "whole", "half" or "quarter" (the pith at the edge or outside).
    megapixels : float
        Of the photo, 4 : 3.
    max_tilt : float or None
        Degrees; 12, 25 or 35 by difficulty if None.
    cracks : int or None
        Number of cracks; random if None.
    """
    rng = generator(seed, "scene")
    level = _LEVEL[difficulty]
    wood = _wood(rng, seed, level, look, piece)
    growth = Growth(wood)
    finish = _finish(rng, level)
    bench = _bench(rng, level, wood)
    items = _references(rng, reference, growth, bench) + _decoys(rng, level, growth, bench)
    known = reference == "none"
    tilt_limit = (12.0, 25.0, 35.0)[round(2 * level)] if max_tilt is None else max_tilt
    return SceneSpec(
        wood=wood,
        finish=finish,
        cracks=random_cracks(rng, growth, level, cracks),
        marks=random_marks(rng, growth, level),
        bench=bench,
        items=items,
        light=_light(rng, level, finish, growth),
        camera=_camera(rng, level, growth, items, megapixels, 0.0 if known else tilt_limit, known),
        sawdust=float(rng.choice([0.0, rng.uniform(0, 0.5) * level])),
        seed=seed,
    )


def _wood(rng: np.random.Generator, seed: int, level: float, look: str | None, piece: Piece) -> WoodSpec:
    name = look or _pick(rng, list(LOOKS))
    diameter = float(rng.uniform(180, 420))
    offset = diameter * abs(rng.normal(0, 0.03 + 0.03 * level))
    at = rng.uniform(0, 2 * np.pi)
    ring = LOOKS[name].ring * float(np.exp(rng.normal(0, 0.3)))
    knots = [
        Knot(float(rng.uniform(0, 360)), float(rng.uniform(0.3, 1.0)), float(rng.uniform(6, 20)))
        for _ in range(int(rng.poisson(0.3 + 0.8 * level)))
    ]
    folds = [
        Fold(float(rng.uniform(0, 360)), float(rng.choice([-1, 1]) * rng.uniform(1, 4)), float(rng.uniform(2, 6)))
        for _ in range(int(rng.poisson(0.4 * level)))
    ]
    return WoodSpec(
        seed=seed,
        look=name,
        diameter=diameter,
        ovality=float(abs(rng.normal(0, 0.03 + 0.03 * level))),
        lobes=float(rng.uniform(0.004, 0.012 + 0.03 * level)),
        roughness=float(rng.uniform(0.1, 0.5)),
        pith=(offset * np.cos(at), offset * np.sin(at)),
        bark=float(rng.choice([0.0, rng.uniform(2, 6), rng.uniform(5, 18)], p=[0.15, 0.45, 0.40])),
        bark_missing=float(rng.choice([0.0, rng.uniform(0.05, 0.5)])),
        ring=ring,
        ring_spread=float(rng.uniform(0.15, 0.4)),
        heart=float(rng.choice([0.0, rng.uniform(0.15, 0.8)], p=[0.25, 0.75])),
        heart_rough=float(rng.uniform(0.005, 0.03 + 0.07 * level)),
        heart_shift=_pair(rng.normal(0, 0.03 * diameter * level, 2)),
        wobble=float(rng.uniform(0.4, 1.0 + 0.8 * level)),
        piece=piece,
        cut_deg=float(rng.uniform(0, 360)),
        cut_offset=float(rng.uniform(-20, 15)),
        knots=tuple(knots),
        folds=tuple(folds),
    )


def _finish(rng: np.random.Generator, level: float) -> FinishSpec:
    return FinishSpec(
        saw=_pick(rng, ("none", "band", "disc", "chain"), (0.2, 0.3, 0.2, 0.3)),
        saw_deg=float(rng.uniform(0, 360)),
        saw_strength=float(rng.uniform(0.1, 0.4 + 0.6 * level)),
        saw_pitch=float(rng.uniform(1.5, 6.0)),
        torn=float(rng.uniform(0.05, 0.3 + 0.7 * level)),
        rays=float(rng.uniform(0.3, 1.3)),
        blotches=float(rng.uniform(0, 0.3 + 0.7 * level)),
        grey=float(rng.choice([0.0, rng.uniform(0, 0.6) * level])),
        dust=float(rng.uniform(0, 0.2 + 0.5 * level)),
        dirt=float(rng.uniform(0, 0.2 + 0.8 * level)),
        light_deg=float(rng.uniform(0, 360)),
        relief=float(rng.uniform(0.4, 1.1)),
    )


def _bench(rng: np.random.Generator, level: float, wood: WoodSpec) -> BenchSpec:
    kinds = ["dark", "cloth", "planks", "concrete"] + (["pale", "gravel", "chips", "leaves", "grass"] if level else [])
    kind = _pick(rng, kinds)
    colour = _pick(rng, _BENCHES[kind])
    if kind in ("planks", "pale") and rng.random() < 0.4 * level:  # the bench has the wood's own colour
        colour = LOOKS[wood.look].sap
    below = float(rng.choice([0.0, rng.uniform(10, 70), rng.uniform(60, 250)], p=[0.2, 0.5, 0.3]))
    return BenchSpec(
        kind, int(rng.integers(0, 2**31)), colour, below, float(rng.uniform(0, 180)), float(rng.uniform(0.6, 1.4))
    )


def _light(rng: np.random.Generator, level: float, finish: FinishSpec, growth: Growth) -> LightSpec:
    d = growth.spec.diameter
    patch = float(rng.choice([0.0, rng.uniform(0.4, 1.6), -rng.uniform(0.3, 0.6)])) if rng.random() < level else 0.0
    return LightSpec(
        from_deg=finish.light_deg,
        gradient=float(rng.uniform(0.02, 0.15 + 0.25 * level)),
        cast=float(rng.uniform(0.3, 0.85)),
        slant=float(rng.uniform(0.3, 1.4)),
        soft=float(rng.uniform(3, 30)),
        patch=patch,
        patch_at=(float(rng.normal(0, 0.4 * d)), float(rng.normal(0, 0.4 * d))),
        patch_size=(float(rng.uniform(0.1, 0.5) * d), float(rng.uniform(0.2, 1.0) * d)),
        patch_deg=float(rng.uniform(0, 180)),
    )


def _camera(
    rng: np.random.Generator,
    level: float,
    growth: Growth,
    items: tuple[Item, ...],
    megapixels: float,
    max_tilt: float,
    known: bool,
) -> CameraSpec:
    width = round(np.sqrt(megapixels * 1e6 * 4 / 3))
    height = round(width * 3 / 4)
    shown = [growth.polygon(growth.outer)] + [item.corners for item in items if item.is_reference]
    points = np.concatenate(shown)
    low, high = points.min(0), points.max(0)
    wide, tall = (float(v) for v in high - low)
    turned = tall > wide  # the photographer turns the camera along what is to be shown
    if turned:
        wide, tall = tall, wide
    across = max(wide, tall * width / height)
    # phones: main cameras of 24 to 28 mm equivalent, and doubled
    focal = float(np.hypot(width, height)) * float(rng.choice([24, 26, 28, 52])) / 43.27
    tilt = max_tilt * float(np.sqrt(rng.random()))
    fill = float(rng.uniform(0.78, 0.95)) * (1 - 0.006 * tilt)
    return CameraSpec(
        width=width,
        height=height,
        focal_px=focal,
        distance=focal * across / (fill * width),
        aim=_pair((low + high) / 2 + rng.normal(0, 0.01 * across, 2)),
        tilt_deg=tilt,
        tilt_axis_deg=float(rng.uniform(0, 360)),
        roll_deg=float(rng.normal(0, 3)) + (90.0 if turned else 0.0) + float(rng.choice([0.0, 180.0])),
        k1=0.0 if known else float(rng.normal(0, 0.02 + 0.03 * level)),
        k2=0.0 if known else float(rng.normal(0, 0.01)),
        centre_shift_px=(0.0, 0.0) if known else _pair(rng.normal(0, 0.004 * width, 2)),
        blur_px=float(rng.uniform(0.45, 0.7 + 0.6 * level)) * width / 2000,
        noise=float(rng.uniform(0.004, 0.010 + 0.02 * level)),
        sharpen=float(rng.choice([0.0, rng.uniform(0.2, 0.8)])),
        vignetting=float(rng.uniform(0, 0.3)),
        exposure=float(np.exp(rng.normal(0.0, 0.08 + 0.14 * level))),
        white_balance=(
            float(np.exp(rng.normal(0, 0.03 + 0.05 * level))),
            1.0,
            float(np.exp(rng.normal(0, 0.03 + 0.07 * level))),
        ),
        jpeg_quality=int(rng.integers(88 - round(25 * level), 97)),
        exif=bool(rng.random() < 0.8),
        grey=bool(rng.random() < 0.08 * level),
    )


def _references(rng: np.random.Generator, reference: str, growth: Growth, bench: BenchSpec) -> tuple[Item, ...]:
    if reference == "none":
        return ()
    side = float(rng.choice([0, 90, 180, 270]))
    if reference == "marker-sheet":
        papers: tuple[Literal["A4", "Letter"], ...] = ("A4", "Letter")
        turned = _pick(rng, (0.0, 90.0, 180.0, 270.0))
        item = marker_sheet((0, 0), float(rng.normal(0, 4)) + turned, paper=_pick(rng, papers))
    elif reference in ("card", "card-on-face"):
        colour = _colour(rng, 0.05, 0.9)
        item = card((0, 0), float(rng.uniform(-30, 30)), colour=colour, seed=int(rng.integers(0, 2**31)))
    else:
        raise ValueError(f"no reference is called {reference!r}")
    if reference == "card-on-face":
        at = rng.normal(0, 0.12 * growth.spec.diameter, 2)
        return (_moved(item, float(at[0]), float(at[1]), -0.76),)
    return (beside(item, growth, side, float(rng.uniform(6, 25))),)


def beside(item: Item, growth: Growth, side_deg: float, gap: float) -> Item:
    """Return the item moved out beside the wood, on the side of this direction, `gap` mm away."""
    a = np.radians(side_deg)
    n = np.array([np.cos(a), np.sin(a)])
    corners = item.corners - np.asarray(item.centre)
    far = float((growth.polygon(growth.outer) @ n).max()) + gap - float((corners @ n).min())
    return _moved(item, far * n[0], far * n[1], item.z)


def _moved(item: Item, x: float, y: float, z: float) -> Item:
    return replace(item, centre=(x, y), z=z)


def _decoys(rng: np.random.Generator, level: float, growth: Growth, bench: BenchSpec) -> tuple[Item, ...]:
    items = []
    for _ in range(int(rng.poisson(0.5 + 2.5 * level))):
        kind = _pick(rng, ("book", "tile", "label", "board", "log"))
        size = {
            "book": (float(rng.uniform(110, 240)), float(rng.uniform(150, 300))),
            "tile": (float(rng.uniform(80, 200)),) * 2,
            "label": (float(rng.uniform(40, 80)), float(rng.uniform(30, 60))),
            "board": (float(rng.uniform(200, 600)), float(rng.uniform(30, 90))),
            "log": (float(rng.uniform(90, 300)),) * 2,
        }[kind]
        colour = _colour(rng, 0.15, 0.9)
        if kind in ("board", "log"):
            colour = LOOKS[_pick(rng, list(LOOKS))].sap
        if kind == "label":
            colour = (0.92, 0.91, 0.88)
        item = Item(
            kind,
            (0, 0),
            float(rng.uniform(0, 360)),
            max(bench.below - 1.0, 0.1),
            "",
            size,
            colour,
            seed=int(rng.integers(0, 2**31)),
        )
        items.append(beside(item, growth, float(rng.uniform(0, 360)), float(rng.uniform(15, 140))))
    return tuple(items)


def random_cracks(
    rng: np.random.Generator, growth: Growth, level: float, count: int | None = None
) -> tuple[CrackSpec, ...]:
    """Return cracks such as a drying end face has."""
    d = growth.spec.diameter
    if count is None:
        count = _pick(rng, (0, int(rng.integers(1, 5)), int(rng.integers(3, 10))), (0.2, 0.4, 0.4))
    return tuple(_random_crack(rng, d, level, k) for k in range(count))


def _random_crack(rng: np.random.Generator, diameter: float, level: float, seed: int) -> CrackSpec:
    length = float(diameter * np.clip(np.exp(rng.normal(-1.9, 0.5)), 0.04, 0.45))
    width = float(np.clip(np.exp(rng.normal(-0.3 - 0.4 * level, 0.6)) * (length / 50) ** 0.4, 0.12, 4))
    angle = float(rng.uniform(0, 360))
    crack = CrackSpec(
        angle_deg=angle,
        length=length,
        width=width,
        wander=float(rng.uniform(0.4, 1.4)),
        bridged=_pick(rng, (0.0, float(rng.uniform(0, 0.35)))),
        fill=_pick(rng, ("dark", "bench", "light"), (0.8, 0.13, 0.07)),
        seed=seed,
    )
    kind = _pick(rng, ("rim", "inner", "heart", "ring"), (0.5, 0.22, 0.18, 0.10))
    if kind == "rim":
        return crack
    if kind == "inner":
        return replace(crack, start=float(rng.uniform(0.15, 0.7)), inward=False, widest="middle")
    if kind == "heart":
        second = angle + float(rng.normal(180, 35))
        return replace(crack, kind="heart", second_deg=second, second_share=float(rng.uniform(0.2, 0.5)))
    return replace(crack, kind="ring", start=float(rng.uniform(0.2, 0.85)))


def random_marks(rng: np.random.Generator, growth: Growth, level: float) -> tuple[MarkSpec, ...]:
    """Return stains, lines and holes that are no cracks."""
    d = growth.spec.diameter
    kinds: tuple[MarkKind, ...] = ("stain", "stain", "pencil", "ink", "scratch", "hole", "bark pocket")
    marks = []
    for k in range(int(rng.poisson(1.0 + 5.0 * level))):
        kind = _pick(rng, kinds)
        a = float(rng.uniform(0, 2 * np.pi))
        middle = growth.pith + _unit(a) * float(growth.rim(a)) * float(rng.uniform(0.15, 0.9))
        along = growth.ray(*middle) if kind == "stain" else _unit(float(rng.uniform(0, 2 * np.pi)))
        reach, width, colour = _mark_size(rng, kind, d)
        (x0, y0), (x1, y1) = middle - reach / 2 * along, middle + reach / 2 * along
        strength = float(rng.uniform(0.4, 0.95))
        marks.append(MarkSpec(kind, (float(x0), float(y0)), (float(x1), float(y1)), width, colour, strength, k))
    return tuple(marks)


def _mark_size(rng: np.random.Generator, kind: MarkKind, diameter: float) -> tuple[float, float, Colour]:
    """Return length, width and colour of a mark."""
    if kind == "stain":
        tints: tuple[Colour, ...] = ((0.42, 0.44, 0.48), (0.55, 0.40, 0.32), (0.35, 0.30, 0.28))
        return float(rng.uniform(4, 0.12 * diameter)), float(rng.uniform(0.8, 4)), _pick(rng, tints)
    if kind == "hole":
        return 0.02, float(rng.uniform(1.5, 5)), (0.05, 0.04, 0.04)
    if kind == "bark pocket":
        return float(rng.uniform(4, 15)), float(rng.uniform(2, 6)), (0.22, 0.15, 0.11)
    reach = float(rng.uniform(0.05, 0.45) * diameter)
    if kind == "pencil":
        return reach, 0.5, (0.30, 0.30, 0.32)
    if kind == "ink":
        return reach, float(rng.uniform(1.2, 4)), _colour(rng, 0.0, 0.6)
    return reach, 0.4, (0.90, 0.82, 0.68)


def _pick(rng: np.random.Generator, options: Sequence[T], shares: Sequence[float] | None = None) -> T:
    return options[int(rng.choice(len(options), p=shares))]


def _unit(angle: float) -> Array:
    return np.array([np.cos(angle), np.sin(angle)])


def _colour(rng: np.random.Generator, low: float, high: float) -> Colour:
    r, g, b = (float(v) for v in rng.uniform(low, high, 3))
    return r, g, b


def _pair(values: Array) -> tuple[float, float]:
    return float(values[0]), float(values[1])
