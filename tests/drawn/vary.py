"""Invents varied, believable scenes from a seed."""

from __future__ import annotations

from dataclasses import replace
from typing import Literal

import numpy as np

from tests.drawn.bench import BenchSpec
from tests.drawn.camera import CameraSpec
from tests.drawn.looks import LOOKS, Colour
from tests.drawn.marks import CrackSpec, MarkKind, MarkSpec
from tests.drawn.noise import Array, generator
from tests.drawn.place import any_colour, beside, decoys, occluders, pair, pick, place_reference
from tests.drawn.references import Item
from tests.drawn.spec import LightSpec, SceneSpec
from tests.drawn.texture import FinishSpec
from tests.drawn.vary_defects import random_defects
from tests.drawn.vary_strewn import Lay
from tests.drawn.wood import Fold, Growth, Knot, Piece, Saw, WoodSpec

Difficulty = Literal["easy", "medium", "hard"]
__all__ = ["beside", "random_cracks", "random_marks", "random_spec"]
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
    cut: Literal["end", "side"] = "end",
    reference_on_bench: bool = False,
    cut_by_frame: float = 0.0,
    mirrored: bool = False,
    defects: bool = False,
    round_blank: bool = True,
) -> SceneSpec:
    """Return a scene of a slice or log end, or of a blank.

    Parameters
    ----------
    seed : int
        The same seed and options give the same scene; other options leave the rest of it alone.
    reference : str
        One of `tests.drawn.place.REFERENCES`. "none": no reference, and unless `max_tilt` is given no tilt and no lens
        distortion, so that `Truth.mm_per_px` says all.
    difficulty : str
        "easy", "medium" or "hard": how much is done to the wood, the bench, the light, the reference and the photo.
    look, piece : str
        A species' look (any if None); "whole", "half" or "quarter" (the pith at the edge or outside).
    megapixels : float
        Of the photo, 4 : 3.
    max_tilt : float or None
        Degrees; 12, 25 or 35 by difficulty if None.
    cracks : int or None
        Number of cracks; random if None.
    cut : str
        "side" gives a blank seen on its side grain.
    reference_on_bench : bool
        The reference lies on the bench, lower than the face.
    cut_by_frame : float
        Share of the reference's extent that lies outside the photo.
    mirrored : bool
        The photo is mirrored.
    defects : bool
        Knots, holes, bark inclusions, decay, and what is mistaken for them, are drawn on it too.
    round_blank : bool
        False gives blanks as they are before they are sawn round: half logs, boards, those with their corners cut off.
    """
    level = _LEVEL[difficulty]

    def part(name: str) -> np.random.Generator:
        return generator(seed, "scene", name)

    wood = _wood(part("wood"), seed, level, look, piece)
    if cut == "side":
        wood = _blank(part("blank"), wood)
        wood = wood if round_blank else _straight_sided(part("saws"), wood)
    growth = Growth(wood)
    finish = _finish(part("finish"), level)
    bench = _bench(part("bench"), level, wood)
    z = bench.below - 0.1 if reference_on_bench else 0.0
    references = place_reference(part("reference"), reference, growth, level, max(z, 0.0))
    hidden_by = occluders(part("occluders"), level, references)
    items = decoys(part("decoys"), level, growth, bench) + references + hidden_by
    known = reference == "none" and max_tilt is None
    tilt_limit = (12.0, 25.0, 35.0)[round(2 * level)] if max_tilt is None else max_tilt
    camera = _camera(part("camera"), level, growth, items, megapixels, 0.0 if known else tilt_limit, known)
    if cut_by_frame and references:
        camera = _cutting(camera, references[0], cut_by_frame)
    return SceneSpec(
        wood=wood,
        finish=finish,
        cracks=random_cracks(part("cracks"), growth, level, cracks),
        marks=random_marks(part("marks"), growth, level),
        defects=random_defects(part("defects"), _lay(growth)) if defects else (),
        bench=bench,
        items=items,
        light=_light(part("light"), level, finish, growth),
        camera=replace(camera, mirrored=mirrored),
        sawdust=pick(part("dust"), (0.0, float(part("dust share").uniform(0, 0.5)) * level)),
        seed=seed,
    )


def _lay(growth: Growth) -> Lay:
    on_end = growth.spec.cut == "end"
    grain = growth.spec.grain_deg
    return Lay(growth.polygon(growth.under), growth.pith if on_end else None, growth.spec.diameter, grain)


def _blank(rng: np.random.Generator, wood: WoodSpec) -> WoodSpec:
    """Return a round blank of the same wood, the pith's line beside it or below it."""
    diameter = wood.diameter
    return replace(
        wood,
        cut="side",
        ovality=float(rng.uniform(0, 0.006)),
        lobes=float(rng.uniform(0.0005, 0.002)),
        roughness=float(rng.uniform(0.05, 0.2)),
        bark=0.0,
        piece="whole",
        knots=(),
        folds=(),
        pith=pair(rng.normal(0, 0.35 * diameter, 2)),
        pith_depth=float(rng.uniform(15, 120)),
        taper=float(rng.normal(0, 0.05)),
        grain_deg=float(rng.uniform(0, 180)),
        heart=float(rng.choice([0.0, rng.uniform(0.8, 2.0)])),
        wobble=float(rng.uniform(0.8, 2.5)),
    )


def _straight_sided(rng: np.random.Generator, blank: WoodSpec) -> WoodSpec:
    """Return a blank of straight sides: across the grain saw cuts, along it saw cuts or what is left of the log's bark.

    Its corners are left, cut off, or it is chopped about at random.
    """
    grain, half = blank.grain_deg, blank.diameter / 2
    wide = half * float(rng.uniform(0.5, 0.72))
    long = min(wide * float(np.exp(rng.normal(0.15, 0.2))), 0.95 * float(np.sqrt(half**2 - wide**2)))
    if rng.random() < 0.2:  # chopped about with a chainsaw
        count = int(rng.integers(5, 10))
        turns = np.arange(count) * 360 / count + rng.normal(0, 60 / count, count)
        return replace(blank, saws=tuple(Saw(float(a), wide * float(rng.uniform(0.85, 1.15))) for a in turns))
    bark = rng.random(2) < float(rng.choice([0.0, 0.9]))
    lean = rng.normal(0, 1.5, 4)
    saws = [Saw(grain + 180 * k + lean[k], long) for k in range(2)]
    saws += [Saw(grain + 90 + 180 * k + lean[2 + k], wide, bool(bark[k])) for k in range(2)]
    if rng.random() < 0.5:
        corner, diagonal = float(np.degrees(np.arctan2(wide, long))), float(np.hypot(wide, long))
        saws += [
            Saw(grain + sign * corner + turn, diagonal * float(rng.uniform(0.74, 0.95)))
            for turn in (0.0, 180.0) for sign in (1, -1)
        ]  # fmt: skip
    thick = float(rng.uniform(3, 15))
    return replace(blank, saws=tuple(saws), bark=thick if bark.any() else 0.0, roughness=float(rng.uniform(0.1, 0.8)))


def _cutting(camera: CameraSpec, item: Item, share: float) -> CameraSpec:
    """Return the camera aimed so that the frame cuts off about this share of an item's extent."""
    for _ in range(6):  # a tilted camera sees another size when aimed elsewhere
        px = camera.mm_to_px(item.corners, item.z)
        middle = px.mean(0) - np.asarray(camera.centre_px)
        axis = int(np.argmax(np.abs(middle)))
        edge = (camera.width, camera.height)[axis] - 1.0 if middle[axis] > 0 else 0.0
        far = px[:, axis].max() if middle[axis] > 0 else px[:, axis].min()
        shift = np.zeros(2)
        shift[axis] = far - np.sign(middle[axis]) * share * float(np.ptp(px[:, axis])) - edge
        camera = replace(camera, aim=pair(camera.px_to_mm([np.asarray(camera.centre_px) + shift])[0]))
    return camera


def _wood(rng: np.random.Generator, seed: int, level: float, look: str | None, piece: Piece) -> WoodSpec:
    name = look or pick(rng, list(LOOKS))
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
        heart_shift=pair(rng.normal(0, 0.03 * diameter * level, 2)),
        wobble=float(rng.uniform(0.4, 1.0 + 0.8 * level)),
        piece=piece,
        cut_deg=float(rng.uniform(0, 360)),
        cut_offset=float(rng.uniform(-20, 15)),
        knots=tuple(knots),
        folds=tuple(folds),
    )


def _finish(rng: np.random.Generator, level: float) -> FinishSpec:
    return FinishSpec(
        saw=pick(rng, ("none", "band", "disc", "chain"), (0.2, 0.3, 0.2, 0.3)),
        saw_deg=float(rng.uniform(0, 360)),
        saw_strength=float(rng.uniform(0.1, 0.4 + 0.6 * level)),
        saw_pitch=float(rng.uniform(1.5, 6.0)),
        torn=float(rng.uniform(0.05, 0.3 + 0.7 * level)),
        rays=float(rng.uniform(0.3, 1.3)),
        blotches=pick(rng, (0.0, float(rng.uniform(0, 0.3 + 0.7 * level))), (0.3, 0.7)),
        grey=float(rng.choice([0.0, rng.uniform(0, 0.6) * level])),
        dust=float(rng.uniform(0, 0.2 + 0.5 * level)),
        dirt=pick(rng, (0.0, float(rng.uniform(0, 0.2 + 0.8 * level))), (0.3, 0.7)),
        light_deg=float(rng.uniform(0, 360)),
        relief=float(rng.uniform(0.4, 1.1)),
    )


def _bench(rng: np.random.Generator, level: float, wood: WoodSpec) -> BenchSpec:
    kinds = ["dark", "cloth", "planks", "concrete"] + (["pale", "gravel", "chips", "leaves", "grass"] if level else [])
    kind = pick(rng, kinds)
    colour = pick(rng, _BENCHES[kind])
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
        aim=pair((low + high) / 2 + rng.normal(0, 0.01 * across, 2)),
        tilt_deg=tilt,
        tilt_axis_deg=float(rng.uniform(0, 360)),
        roll_deg=float(rng.normal(0, 3)) + (90.0 if turned else 0.0) + float(rng.choice([0.0, 180.0])),
        k1=0.0 if known else float(rng.normal(0, 0.02 + 0.03 * level)),
        k2=0.0 if known else float(rng.normal(0, 0.01)),
        centre_shift_px=(0.0, 0.0) if known else pair(rng.normal(0, 0.004 * width, 2)),
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


def random_cracks(
    rng: np.random.Generator, growth: Growth, level: float, count: int | None = None
) -> tuple[CrackSpec, ...]:
    """Return cracks such as a drying end face has, or the ends of a blank's grain."""
    d = growth.spec.diameter
    hairlines = 0
    if count is None:
        count = pick(rng, (0, int(rng.integers(1, 5)), int(rng.integers(3, 10))), (0.2, 0.4, 0.4))
        if count and rng.random() < 0.25 * level:
            hairlines = int(rng.integers(8, 40))
    if growth.spec.cut == "side":
        return tuple(_end_check(rng, growth, k) for k in range(count))
    cracks = [_random_crack(rng, d, level, k) for k in range(count)]
    return tuple(cracks + [_hairline(rng, d, count + k) for k in range(hairlines)])


def _random_crack(rng: np.random.Generator, diameter: float, level: float, seed: int) -> CrackSpec:
    length = float(diameter * np.clip(np.exp(rng.normal(-1.9, 0.5)), 0.04, 0.45))
    width = float(np.clip(np.exp(rng.normal(-0.3 - 0.4 * level, 0.6)) * (length / 50) ** 0.4, 0.12, 4))
    angle = float(rng.uniform(0, 360))
    crack = CrackSpec(
        angle_deg=angle,
        length=length,
        width=width,
        wander=float(rng.uniform(0.4, 1.4)),
        bridged=pick(rng, (0.0, float(rng.uniform(0, 0.35)))),
        fill=pick(rng, ("dark", "bench", "light"), (0.8, 0.13, 0.07)),
        seed=seed,
    )
    kind = pick(rng, ("rim", "inner", "heart", "ring"), (0.5, 0.22, 0.18, 0.10))
    if kind == "rim":
        return crack
    if kind == "inner":
        return replace(crack, start=float(rng.uniform(0.15, 0.7)), inward=False, widest="middle")
    if kind == "heart":
        second = angle + float(rng.normal(180, 35))
        return replace(crack, kind="heart", second_deg=second, second_share=float(rng.uniform(0.2, 0.5)))
    return replace(crack, kind="ring", start=float(rng.uniform(0.2, 0.85)))


def _hairline(rng: np.random.Generator, diameter: float, seed: int) -> CrackSpec:
    """Return one of many thin checks that open all over a face as it dries."""
    return CrackSpec(
        angle_deg=float(rng.uniform(0, 360)),
        start=float(rng.uniform(0.15, 0.85)),
        inward=False,
        length=float(rng.uniform(0.03, 0.16) * diameter),
        width=float(rng.uniform(0.15, 0.4)),
        widest="middle",
        wander=float(rng.uniform(0.6, 1.5)),
        bridged=float(rng.uniform(0, 0.3)),
        seed=seed,
    )


def _end_check(rng: np.random.Generator, growth: Growth, seed: int) -> CrackSpec:
    """Return a check that runs along a blank's grain: mostly in from where the fibres end at its rim."""
    crack = _random_crack(rng, growth.spec.diameter, 0.5, seed)
    angle = growth.spec.grain_deg + pick(rng, (0.0, 180.0)) + float(rng.normal(0, 22))
    crack = replace(crack, kind="radial", angle_deg=angle, start=1.0, inward=True, widest="start", wander=0.4)
    if rng.random() < 0.2:
        return replace(crack, kind="other", start=float(rng.uniform(0, 0.7)), widest="middle")
    return replace(crack, length=0.5 * crack.length)


def random_marks(rng: np.random.Generator, growth: Growth, level: float) -> tuple[MarkSpec, ...]:
    """Return stains, lines and holes that are no cracks."""
    kinds: tuple[MarkKind, ...] = ("stain", "stain", "pencil", "ink", "scratch", "hole", "bark pocket")
    chosen = [pick(rng, kinds) for _ in range(int(rng.poisson(1.0 + 5.0 * level)))]
    marks = [_mark(rng, growth, kind, k) for k, kind in enumerate(chosen)]
    if rng.random() < 0.2 * level:  # sapwood streaked by fungus
        marks += [_mark(rng, growth, "stain", 100 + k) for k in range(int(rng.integers(10, 40)))]
    if growth.spec.cut == "end" and rng.random() < 0.2 * level:
        marks += _ring_count_line(rng, growth)
    if rng.random() < 0.25 * level:
        marks += _writing(rng, growth)
    return tuple(marks)


def _mark(rng: np.random.Generator, growth: Growth, kind: MarkKind, seed: int) -> MarkSpec:
    middle = _somewhere(rng, growth)
    along = growth.ray(*middle) if kind == "stain" else _unit(float(rng.uniform(0, 2 * np.pi)))
    reach, width, colour = _mark_size(rng, kind, growth.spec.diameter)
    a, b = pair(middle - reach / 2 * along), pair(middle + reach / 2 * along)
    return MarkSpec(kind, a, b, width, colour, float(rng.uniform(0.4, 0.95)), seed)


def _somewhere(rng: np.random.Generator, growth: Growth) -> Array:
    a = float(rng.uniform(0, 2 * np.pi))
    if growth.spec.cut == "side":
        return _unit(a) * growth.spec.diameter / 2 * float(rng.uniform(0, 0.9))
    return np.asarray(growth.pith + _unit(a) * float(growth.rim(a)) * float(rng.uniform(0.15, 0.9)))


def _ring_count_line(rng: np.random.Generator, growth: Growth) -> list[MarkSpec]:
    """Return a pencil line from the pith to the bark with a tick every few rings, as ring counters draw it."""
    a = float(rng.uniform(0, 2 * np.pi))
    unit, across = _unit(a), _unit(a + np.pi / 2)
    rim = float(growth.rim(a))
    grey = (0.28, 0.28, 0.30)
    marks = [MarkSpec("pencil", pair(growth.pith), pair(growth.pith + 0.97 * rim * unit), 0.4, grey, 0.8, 200)]
    for k, r in enumerate(np.arange(0.08, 0.95, float(rng.uniform(0.05, 0.15))) * rim):
        at = growth.pith + r * unit
        marks.append(MarkSpec("pencil", pair(at - 2 * across), pair(at + 2 * across), 0.4, grey, 0.8, 201 + k))
    return marks


def _writing(rng: np.random.Generator, growth: Growth) -> list[MarkSpec]:
    """Return a few strokes of a felt pen close together: a figure or a letter written on the face."""
    colour = any_colour(rng, 0.0, 0.5)
    middle, size = _somewhere(rng, growth), float(rng.uniform(8, 30))
    places = rng.uniform(-0.5, 0.5, (int(rng.integers(3, 8)), 2, 2)) * size + middle
    return [MarkSpec("ink", pair(a), pair(b), 0.07 * size, colour, 0.9, 300 + k) for k, (a, b) in enumerate(places)]


def _mark_size(rng: np.random.Generator, kind: MarkKind, diameter: float) -> tuple[float, float, Colour]:
    """Return length, width and colour of a mark."""
    if kind == "stain":
        tints: tuple[Colour, ...] = ((0.42, 0.44, 0.48), (0.55, 0.40, 0.32), (0.35, 0.30, 0.28))
        return float(rng.uniform(4, 0.12 * diameter)), float(rng.uniform(0.8, 4)), pick(rng, tints)
    if kind == "hole":
        return 0.02, float(rng.uniform(1.5, 5)), (0.05, 0.04, 0.04)
    if kind == "bark pocket":
        return float(rng.uniform(4, 15)), float(rng.uniform(2, 6)), (0.22, 0.15, 0.11)
    reach = float(rng.uniform(0.05, 0.45) * diameter)
    if kind == "pencil":
        return reach, 0.5, (0.30, 0.30, 0.32)
    if kind == "ink":
        return reach, float(rng.uniform(1.2, 4)), any_colour(rng, 0.0, 0.6)
    return reach, 0.4, (0.90, 0.82, 0.68)


def _unit(angle: float) -> Array:
    return np.array([np.cos(angle), np.sin(angle)])
