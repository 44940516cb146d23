"""Knots, holes, bark inclusions and decay, and areas that look like them: outlines in mm, and how they are painted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from tests.drawn.camera import F32
from tests.drawn.noise import Array, Grid, generator, periodic

DefectKind = Literal[
    "knot", "hole", "bark", "decay", "screw",
    "stain", "wet", "paint", "resin", "chalk", "heap", "chip", "shade", "burn", "drop", "stamp", "tag",
]  # fmt: skip
REAL: tuple[DefectKind, ...] = ("knot", "hole", "bark", "decay", "screw")
"""The others are mistaken for these."""
HIDING: tuple[DefectKind, ...] = ("heap", "chip", "tag", "paint")
SIDES = 96


@dataclass(frozen=True)
class DefectSpec:
    """An area of the face.

    Attributes
    ----------
    kind : str
        "knot", "hole", "bark", "decay" and "screw" (its head, or a nail's, and the shadow it throws) are defects. The
        others are not: "stain" (sharply bounded, coloured by the tree), "wet", "paint", "resin", "chalk", "heap" (of
        sawdust), "chip", "shade" (of something out of sight), "burn", "drop" (of water), "stamp" (ink) and "tag".
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
        Of what it is made, sRGB; factors on the wood's own colour for "knot", "decay", "wet", "stain", "shade", "burn"
        and "resin".
    rim : float
        How dark the line at its edge is: a knot's bark, decay's zone line, the black that iron leaves about a nail; 0
        to 1.
    sort : str
        Decay: "white", "brown", "punky" or "spalted". Hole: "" or "filled" (with dust). Screw: "cross", "slot", "hex"
        or "nail". Chalk: "cross", "ring", "stroke" or "scribble". Stain: "" or "soft".
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
    sort: str = ""


def defect_outline(spec: DefectSpec) -> Array:
    """Return the edge of an area, shape (n, 2), in mm."""
    angle = np.linspace(0, 2 * np.pi, SIDES, endpoint=False)
    ragged = spec.rough * periodic(generator(spec.seed, "edge"), SIDES, range(2, 14), 0.8)
    u, v = np.cos(angle), np.sin(angle)
    if spec.kind == "tag":  # has corners
        u, v = (np.sign(c) * np.abs(c) ** 0.25 for c in (u, v))
    widen = (1 + spec.taper * u) ** 0.8
    if spec.taper > 0:  # a branch is cut off square, not round, where it ends
        u = np.sign(u) * np.abs(u) ** (1 - 0.5 * spec.taper)
    v = v * widen * (1 + ragged)
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
class Place:
    """The part of the raster about an area; `inside` is the distance in mm within its edge, negative outside."""

    rows: slice
    columns: slice
    grid: Grid
    inside: F32
    along: F32
    across: F32
    edge: F32


def place(spec: DefectSpec, grid: Grid, margin: float) -> Place | None:
    """Return the part of a raster about an area, so much wider on each side in mm; None where it lies outside."""
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
    return Place(rows, columns, part, inside, x * c + y * s, y * c - x * s, edge)


def bend_rings(age: F32, defects: Sequence[DefectSpec], grid: Grid) -> None:
    """Bend the rings about knots, as they grew round the branch."""
    for spec in defects:
        if spec.kind != "knot":
            continue
        rng = generator(spec.seed, "bent")
        reach, much = float(rng.uniform(0.4, 1.0)) * spec.across, float(rng.uniform(0.2, 0.6)) * spec.across
        here = place(spec, grid, 3 * reach)
        if here is not None:
            near = np.exp(-((np.clip(-here.inside, 0, None) / np.float32(reach)) ** 2))
            age[here.rows, here.columns] -= np.float32(much) * near


def soft(here: Place, width: float) -> F32:
    """Return how far each place is within an area, 0 to 1, over an edge so wide in mm."""
    return np.asarray(1 / (1 + np.exp(-4 * np.clip(here.inside / np.float32(width), -8, 8))), np.float32)
