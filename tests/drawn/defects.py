"""Knots, holes, bark inclusions and decay, and areas that look like them: outlines in mm, and how they are painted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from tests.drawn.camera import F32
from tests.drawn.noise import Array, Grid, clouds, generator, periodic, speckle

DefectKind = Literal["knot", "hole", "bark", "decay", "wet", "paint", "screw", "stain"]
REAL: tuple[DefectKind, ...] = ("knot", "hole", "bark", "decay")
"""The others are mistaken for these."""
SIDES = 96


@dataclass(frozen=True)
class DefectSpec:
    """An area of the face.

    Attributes
    ----------
    kind : str
        "knot", "hole", "bark" and "decay" are defects; "wet", "paint", "screw" (its head, and the shadow it throws) and
        "stain" (sharply bounded, coloured by the tree) are not.
    middle : (x, y)
        In mm.
    along, across : float
        Its extents in mm.
    along_deg : float
        Direction of `along` on the face.
    taper : float
        0 for an oval; towards 1 the end that `along_deg` points to is the wider, as of a branch cut lengthwise.
    bend : float
        How far the middle line bows out, as a share of `along`.
    rough : float
        How ragged its edge is, as a share of `across`.
    strength : float
        How much it differs from the wood, 0 to 1.
    colour : (r, g, b)
        Of what it is made, sRGB; factors on the wood's own colour for "knot", "decay", "wet" and "stain".
    rim : float
        How dark the line at its edge is: a knot's bark, decay's zone line; 0 to 1.
    """

    kind: DefectKind
    middle: tuple[float, float]
    along: float
    across: float
    along_deg: float = 0.0
    taper: float = 0.0
    bend: float = 0.0
    rough: float = 0.05
    strength: float = 0.9
    colour: tuple[float, float, float] = (0.6, 0.5, 0.4)
    rim: float = 0.5
    seed: int = 0


def defect_outline(spec: DefectSpec) -> Array:
    """Return the edge of an area, shape (n, 2), in mm."""
    angle = np.linspace(0, 2 * np.pi, SIDES, endpoint=False)
    ragged = spec.rough * periodic(generator(spec.seed, "edge"), SIDES, range(2, 14), 0.8)
    u = np.cos(angle)
    widen = (1 + spec.taper * u) ** 0.8
    if spec.taper > 0:  # a branch is cut off square, not round, where it ends
        u = np.sign(u) * np.abs(u) ** (1 - 0.5 * spec.taper)
    v = np.sin(angle) * widen * (1 + ragged)
    p = u * (1 + 0.3 * ragged) * spec.along / 2
    q = v * spec.across / 2 + spec.bend * spec.along * (1 - (2 * p / spec.along) ** 2)
    a = np.radians(spec.along_deg)
    return np.stack([spec.middle[0] + p * np.cos(a) - q * np.sin(a), spec.middle[1] + p * np.sin(a) + q * np.cos(a)], 1)


def within(spec: DefectSpec, edge: Array) -> Array:
    """Return the part of an area's outline inside an edge; empty where none is."""
    from shapely import Polygon

    part: Any = Polygon(defect_outline(spec)).buffer(0).intersection(Polygon(edge).buffer(0))
    if part.geom_type != "Polygon":
        part = max(getattr(part, "geoms", []), key=lambda g: g.area, default=Polygon())
    if part.is_empty or part.geom_type != "Polygon":
        return np.zeros((0, 2))
    return np.asarray(part.exterior.coords)[:-1]


@dataclass(frozen=True, eq=False)
class _Place:
    """The part of the raster about an area; `inside` is the distance in mm within its edge, negative outside."""

    rows: slice
    columns: slice
    grid: Grid
    inside: F32
    along: F32
    across: F32
    edge: F32


def _place(spec: DefectSpec, grid: Grid, margin: float) -> _Place | None:
    import cv2

    outline = defect_outline(spec)
    low = np.maximum(np.floor((outline.min(0) - margin - [grid.x0, grid.y0]) / grid.step).astype(int), 0)
    high = np.ceil((outline.max(0) + margin - [grid.x0, grid.y0]) / grid.step).astype(int) + 1
    high = np.minimum(high, [grid.columns, grid.rows])
    if (low >= high).any():
        return None
    part = Grid(grid.x0 + low[0] * grid.step, grid.y0 + low[1] * grid.step, grid.step, *(int(n) for n in high - low))
    fine = 4
    shape = (part.rows * fine, part.columns * fine) if part.rows * part.columns < 40_000 else (part.rows, part.columns)
    scale = shape[0] / part.rows
    px = ((outline - [part.x0, part.y0]) / part.step + 0.5) * scale - 0.5
    mask = np.zeros(shape, np.uint8)
    cv2.fillPoly(mask, [np.round(px * 16).astype(np.int32).reshape(-1, 1, 2)], 1, shift=4)
    away = cv2.distanceTransform(mask, cv2.DIST_L2, 5) - cv2.distanceTransform(1 - mask, cv2.DIST_L2, 5)
    away = np.clip(away, -sum(shape), sum(shape))  # infinite where the part holds no edge at all
    away = away * np.float32(part.step / scale) - np.sign(away) * np.float32(0.5 * part.step / scale)
    inside = cv2.resize(away, (part.columns, part.rows), interpolation=cv2.INTER_AREA)
    x, y = np.meshgrid(part.x - np.float32(spec.middle[0]), part.y - np.float32(spec.middle[1]))
    c, s = np.float32(np.cos(np.radians(spec.along_deg))), np.float32(np.sin(np.radians(spec.along_deg)))
    edge = np.clip(inside / np.float32(part.step) + 0.5, 0, 1)
    rows, columns = slice(int(low[1]), int(high[1])), slice(int(low[0]), int(high[0]))
    return _Place(rows, columns, part, inside, x * c + y * s, y * c - x * s, edge)


def bend_rings(age: F32, defects: Sequence[DefectSpec], grid: Grid) -> None:
    """Bend the rings about knots, as they grew round the branch."""
    for spec in defects:
        if spec.kind != "knot":
            continue
        reach = 0.7 * spec.across
        here = _place(spec, grid, 3 * reach)
        if here is not None:
            near = np.exp(-((np.clip(-here.inside, 0, None) / np.float32(reach)) ** 2))
            age[here.rows, here.columns] -= np.float32(0.35 * spec.across) * near


def paint_in_wood(colour: F32, relief: F32, defects: Sequence[DefectSpec], grid: Grid) -> None:
    """Paint what belongs to the wood and was sawn with it, in sRGB floats."""
    painters = {"knot": _knot, "bark": _bark, "decay": _decay, "stain": _stain}
    for spec in defects:
        painter = painters.get(spec.kind)
        here = None if painter is None else _place(spec, grid, 6.0 + 0.3 * spec.across)
        if painter is not None and here is not None:
            painter(spec, here, colour[here.rows, here.columns], relief[here.rows, here.columns])


def paint_on_wood(linear: F32, defects: Sequence[DefectSpec], grid: Grid, light_deg: float) -> None:
    """Paint what came after the saw, in linear light."""
    for spec in defects:
        here = _place(spec, grid, 4.0 + 2 * spec.across) if spec.kind in ("hole", "wet", "paint", "screw") else None
        if here is None:
            continue
        view = linear[here.rows, here.columns]
        if spec.kind == "hole":
            _hole(spec, here, view, light_deg)
        elif spec.kind == "screw":
            _screw(spec, here, view, light_deg)
        else:
            _coat(spec, here, view)


def _soft(here: _Place, width: float) -> F32:
    return np.asarray(1 / (1 + np.exp(-4 * np.clip(here.inside / np.float32(width), -8, 8))), np.float32)


def _knot(spec: DefectSpec, here: _Place, colour: F32, relief: F32) -> None:
    rng = generator(spec.seed, "knot")
    tone = np.array(spec.colour, np.float32)
    if spec.taper > 0:  # cut lengthwise: its own rings run along it
        lines = here.across / np.float32(max(0.09 * spec.across, 0.5)) + speckle(here.grid, rng, 8.0)
    else:
        lines = here.inside / np.float32(rng.uniform(0.5, 1.5)) + np.float32(0.5) * clouds(here.grid, rng, 6.0, 2)
    streak = 1 + np.float32(rng.uniform(0.03, 0.12)) * np.sin(2 * np.pi * np.asarray(lines) / 2.2)
    streak += np.float32(0.04) * speckle(here.grid, rng, 0.6)
    if spec.taper == 0:  # heart checks of the branch
        for _ in range(int(rng.integers(0, 4))):
            a = rng.uniform(0, np.pi)
            line = np.abs(here.along * np.float32(np.cos(a)) + here.across * np.float32(np.sin(a)))
            streak *= 1 - np.float32(0.6) * np.exp(-((line / np.float32(0.35)) ** 2)) * (
                here.inside > 0.2 * spec.across
            )
    deeper = 1 - np.float32(rng.uniform(0, 0.25)) * np.clip(here.inside / np.float32(0.4 * spec.across), 0, 1)
    body = _soft(here, float(rng.uniform(0.4, 1.6)))[..., None] * np.float32(spec.strength)
    base = np.median(colour.reshape(-1, 3), axis=0)  # the rings beside it don't run on through it
    own = np.float32(0.3) * colour + np.float32(0.7) * base
    colour += body * (own * tone * (streak * deeper)[..., None] - colour)
    thick = np.float32(rng.uniform(0.3, 0.04 * spec.across + 0.7))
    rim = np.exp(-((here.inside / thick) ** 2)) * np.clip(0.7 + 0.5 * clouds(here.grid, rng, 8.0, 2), 0, 1)
    colour *= (1 - np.float32(0.75 * spec.rim) * rim)[..., None]
    relief *= 1 - 0.7 * body[..., 0]  # harder than the wood beside it: the saw leaves it smoother


def _bark(spec: DefectSpec, here: _Place, colour: F32, relief: F32) -> None:
    rng = generator(spec.seed, "inclusion")
    layers = 1 + np.float32(0.18) * np.sin(here.across * np.float32(3.0) + 2 * clouds(here.grid, rng, 5.0, 3))
    grain = 1 + np.float32(0.16) * clouds(here.grid, rng, 3.0, 3) + np.float32(0.1) * speckle(here.grid, rng, 0.6)
    tone = np.array(spec.colour, np.float32) * (layers * grain)[..., None]
    gap = np.exp(-((here.across / np.float32(0.08 * spec.across + 0.15)) ** 2)) * np.clip(
        clouds(here.grid, rng, 9.0, 2), 0, 1
    )
    tone *= (1 - np.float32(0.7) * gap)[..., None]
    beside = np.exp(-np.clip(-here.inside, 0, None) / np.float32(rng.uniform(0.5, 3.0)))
    colour *= (1 - np.float32(rng.uniform(0.05, 0.3)) * beside)[..., None]  # the wood about it is discoloured
    body = _soft(here, float(rng.uniform(0.25, 0.8)))[..., None] * np.float32(spec.strength)
    colour += body * (tone - colour)
    relief += body[..., 0] * np.float32(0.2) * clouds(here.grid, rng, 2.5, 3)


def _decay(spec: DefectSpec, here: _Place, colour: F32, relief: F32) -> None:
    rng = generator(spec.seed, "decay")
    mottled = np.clip(0.75 + 0.45 * clouds(here.grid, rng, float(rng.uniform(3, 12)), 4), 0.1, 1.2)
    body = (_soft(here, float(rng.uniform(1.5, 6.0))) * mottled * np.float32(spec.strength))[..., None]
    mean = colour.mean(axis=(0, 1))
    punky = (0.5 * colour + 0.5 * mean) * np.array(spec.colour, np.float32)  # the rings fade in it
    colour += np.clip(body, 0, 1) * (punky - colour)
    if spec.rim > 0:
        wander = here.inside - 2 - 1.2 * clouds(here.grid, rng, 9.0, 3)
        thick = np.float32(rng.uniform(0.3, 0.9))
        colour *= (1 - np.float32(0.8 * spec.rim) * np.exp(-((wander / thick) ** 2)))[..., None]
        for _ in range(int(rng.integers(0, 3))):
            field = clouds(here.grid, rng, float(rng.uniform(12, 30)), 3)
            gy, gx = np.gradient(field, here.grid.step)
            line = np.abs(field) / np.maximum(np.hypot(gx, gy), 1e-3)
            inked = np.exp(-((line / thick) ** 2)) * (here.inside > 2)
            colour *= (1 - np.float32(0.7 * spec.rim) * inked)[..., None]
    relief += body[..., 0] * np.float32(0.12) * speckle(here.grid, rng, 1.0)


def _stain(spec: DefectSpec, here: _Place, colour: F32, relief: F32) -> None:
    rng = generator(spec.seed, "stained")
    body = _soft(here, float(rng.uniform(0.3, 2.5))) * np.clip(0.85 + 0.2 * clouds(here.grid, rng, 6.0, 3), 0, 1)
    colour *= 1 - (body * np.float32(spec.strength))[..., None] * (1 - np.array(spec.colour, np.float32))


def _hole(spec: DefectSpec, here: _Place, linear: F32, light_deg: float) -> None:
    rng = generator(spec.seed, "hole")
    a = np.radians(light_deg - spec.along_deg)
    toward = here.along * np.float32(np.cos(a)) + here.across * np.float32(np.sin(a))
    radius = np.float32(spec.across / 2)
    # the wall away from the light catches some of it, near the mouth
    far = np.clip(-toward / radius, 0, 1) * np.exp(-np.clip(here.inside, 0, None) / (np.float32(0.25) * radius))
    wall = np.float32(rng.uniform(0.0, 0.35)) * far[..., None] * linear
    deep = linear * np.float32(rng.uniform(0.01, 0.10)) + np.array(spec.colour, np.float32) * np.float32(0.05)
    lip = np.exp(-((here.inside / np.float32(0.25 + 0.06 * spec.across)) ** 2))
    shade = np.where(toward > 0, np.float32(-rng.uniform(0.0, 0.3)), np.float32(rng.uniform(0.0, 0.25)))
    linear *= (1 + lip * shade)[..., None]
    linear += here.edge[..., None] * np.float32(spec.strength) * (deep + wall - linear)


def _screw(spec: DefectSpec, here: _Place, linear: F32, light_deg: float) -> None:
    from dataclasses import replace as changed

    a = np.radians(light_deg)
    throw = 0.5 * spec.across * np.array([np.cos(a), np.sin(a)])
    place = (float(spec.middle[0] - throw[0]), float(spec.middle[1] - throw[1]))
    shadow = _place(changed(spec, middle=place), here.grid, 2.0)
    if shadow is not None:
        linear[shadow.rows, shadow.columns] *= (1 - np.float32(0.65) * _soft(shadow, 1.2))[..., None]
    rng = generator(spec.seed, "screw")
    metal = np.array(spec.colour, np.float32) * (1 + np.float32(0.5) * np.tanh(here.along / spec.across * 3))[..., None]
    for turn in (0.0, np.pi / 2):
        b = turn + rng.uniform(0, 0.3)
        line = np.abs(here.along * np.float32(np.sin(b)) + here.across * np.float32(np.cos(b)))
        metal = metal * (1 - 0.8 * ((line < 0.07 * spec.across) & (here.inside > 0.2 * spec.across)))[..., None]
    linear += here.edge[..., None] * (metal.astype(np.float32) - linear)


def _coat(spec: DefectSpec, here: _Place, linear: F32) -> None:
    rng = generator(spec.seed, "coat")
    wet = spec.kind == "wet"
    body = _soft(here, float(rng.uniform(0.8, 5.0) if wet else rng.uniform(0.2, 1.0)))
    body *= np.clip(0.9 + (0.1 if wet else 0.35) * clouds(here.grid, rng, 4.0, 3), 0, 1)
    tint = np.array(spec.colour, np.float32)
    goal = linear * tint if wet else 0.25 * linear + 0.75 * tint
    linear += (body * np.float32(spec.strength))[..., None] * (goal - linear)
