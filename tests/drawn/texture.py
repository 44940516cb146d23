"""Paints a face: colour in linear light and coverage over a raster of mm."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from tests.drawn.camera import F32, decode_srgb
from tests.drawn.defect_paint import paint_in_holes, paint_in_wood
from tests.drawn.defects import DefectSpec, bend_rings
from tests.drawn.looks import LOOKS, Look
from tests.drawn.marks import MarkSpec, Traced, mark_path
from tests.drawn.noise import Array, Grid, clouds, generator, speckle, walk
from tests.drawn.strewn_paint import paint_strewn
from tests.drawn.wear import WearSpec, dust_over, wear_down
from tests.drawn.wood import Growth


@dataclass(frozen=True)
class FinishSpec:
    """What the saw, the weather and the workshop did to the face.

    Attributes
    ----------
    saw : str
        "none" (planed), "band" (straight marks), "disc" (arcs of a circular saw), "chain" (coarse, with steps).
    saw_deg, saw_strength, saw_pitch : float
        Direction of the marks; strength (1 is bold); distance between them in mm.
    torn, rays, blotches, grey, dust, dirt : float
        Torn grain, and how much of each of the others lies on the face; 0 to 1.
    light_deg : float
        Where the light comes from, as the direction on the face.
    relief : float
        How strongly the surface's relief shows in that light.
    wear : WearSpec
        What looks like cracks and is none.
    """

    saw: Literal["none", "band", "disc", "chain"] = "band"
    saw_deg: float = 20.0
    saw_strength: float = 0.4
    saw_pitch: float = 2.5
    torn: float = 0.4
    rays: float = 1.0
    blotches: float = 0.3
    grey: float = 0.0
    dust: float = 0.1
    dirt: float = 0.1
    light_deg: float = 225.0
    relief: float = 1.0
    wear: WearSpec = field(default_factory=WearSpec)


@dataclass(frozen=True, eq=False)
class Painted:
    """A layer: linear light (rows, columns, 3) and coverage (rows, columns) over a raster."""

    grid: Grid
    colour: F32
    cover: F32


def paint(
    growth: Growth,
    finish: FinishSpec,
    cracks: Sequence[Traced],
    marks: Sequence[MarkSpec],
    grid: Grid,
    defects: Sequence[DefectSpec] = (),
) -> Painted:
    """Return the painted face."""
    x, y = np.meshgrid(grid.x, grid.y)
    look = LOOKS[growth.spec.look]
    rng = generator(growth.spec.seed, "texture")
    depth = np.asarray(growth.depth(x, y, growth.under), np.float32)
    outside = np.asarray(growth.depth(x, y, growth.outer), np.float32)
    age = growth.age_over(grid).astype(np.float32)
    bend_rings(age, defects, grid)
    colour, relief = _wood(growth, look, finish, grid, x, y, age, rng)
    _draw_marks(colour, marks, grid, before_saw=True)
    relief += _saw_relief(finish, grid, x, y, rng)
    relief += np.float32(finish.torn * look.fuzz) * _torn(grid, rng)
    wear_down(colour, relief, finish.wear, growth, grid, age)
    paint_in_wood(colour, relief, defects, grid)
    if growth.spec.bark > 0:
        _cover_with_bark(colour, relief, look, grid, depth, outside, rng)
    colour *= _lit(relief, finish, grid)[..., None]
    _dirty(colour, finish, grid, depth, rng)
    linear = decode_srgb_fast(colour)
    _draw_marks(linear, marks, grid, before_saw=False)
    paint_in_holes(linear, defects, grid, finish.light_deg)
    paint_strewn(linear, defects, grid, finish.light_deg)
    for crack in cracks:
        _open_crack(linear, crack, grid, finish, rng)
    dust_over(linear, finish.wear.film, growth, grid)
    cover = np.clip(outside / np.float32(grid.step) + 0.5, 0, 1)
    return Painted(grid, linear, np.asarray(cover, np.float32))


def decode_srgb_fast(colour: F32) -> F32:
    """Return linear light of sRGB floats through a table of 2048 steps."""
    table = decode_srgb(np.linspace(0, 1, 2048))
    return np.asarray(table[(np.clip(colour, 0, 1) * np.float32(2047)).astype(np.uint16)])


def _wood(
    growth: Growth, look: Look, finish: FinishSpec, grid: Grid, x: F32, y: F32, age: F32, rng: np.random.Generator
) -> tuple[F32, F32]:
    """Return the colour of the wood (sRGB floats) and its relief in mm."""
    import cv2

    heart = _heartwood(growth, look, grid, x, y, age, rng)
    dark, pore = _ring_profile(growth, look, age, grid.step, rng)
    around = clouds(grid, rng, 45.0, 2)
    dark = np.clip(dark * (1 + np.float32(0.18) * around), 0, 1.4)
    pores = np.clip(speckle(grid, rng, 0.35) - np.float32(0.7), 0, 2) * (np.float32(0.25) + pore)
    tone = 1 + np.float32(0.05 * look.rays * finish.rays + 0.012) * _grain(growth, grid, x, y, rng)
    tone += np.float32(0.018) * clouds(grid, rng, 18.0) + np.float32(0.03) * clouds(grid, rng, 90.0, 2)
    tone *= 1 - np.float32(0.16 * look.pores) * pores - np.float32(0.02) * speckle(grid, rng, 0.5)
    rings = dark * np.float32(look.contrast)
    planes = []
    for sap, core, late, warm in zip(look.sap, look.heart, look.late, (0.012, 0.0, -0.017), strict=True):
        plane = (sap + (core - sap) * heart) * (1 - (1 - late) * rings) * tone
        planes.append(plane * (1 + warm * around) if warm else plane)
    colour = np.asarray(cv2.merge(planes))
    if growth.spec.cut == "end":
        _knots(colour, growth, look, grid, rng)
        _pith_spot(colour, growth, x, y)
    relief = np.float32(-0.05 * look.pores) * pores + np.float32(0.04) * rings
    return colour, np.asarray(relief, np.float32)


def _ring_profile(growth: Growth, look: Look, age: F32, step: float, rng: np.random.Generator) -> tuple[F32, F32]:
    """Return how far towards latewood each place is, and how porous, through a table over the ring coordinate."""
    import cv2

    fine = 0.02
    edges = growth.ring_edges
    table_age = np.arange(0, edges[-1], fine)
    k = np.searchsorted(edges, table_age, "right") - 1
    phase = (table_age - edges[k]) / (edges[k + 1] - edges[k])
    strength = np.clip(1 + 0.25 * rng.standard_normal(len(edges)), 0.35, 1.6)[k]
    share = np.clip(0.35 + 0.09 * rng.standard_normal(len(edges)), 0.15, 0.6)[k]
    false_ring = (rng.random(len(edges)) < 0.05)[k] * np.exp(-(((phase - 0.5) / 0.08) ** 2)) * 0.4
    if look.profile == "conifer":
        ramp = np.clip((phase - (1 - share)) / share, 0, 1)
        dark = ramp**0.8 * strength + 0.12 * phase + false_ring
        porous = np.where(phase < 0.4, 0.4, 0.0)
    elif look.profile == "ring-porous":
        porous = np.exp(-((phase / 0.22) ** 2))
        dark = (0.75 * np.exp(-((phase / 0.18) ** 2)) + 0.45 * phase) * strength + false_ring
    else:
        porous = np.full_like(phase, 0.35)
        dark = (0.35 * phase**2 + 0.8 * np.exp(-(((phase - 0.97) / 0.07) ** 2))) * strength + 0.5 * false_ring
    sigma = max(0.5 * step / fine, 1.0)
    tables = np.stack([dark, porous]).astype(np.float32)
    tables = cv2.GaussianBlur(tables, (2 * int(3 * sigma) + 1, 1), sigma, sigmaY=0.0001)
    index = np.clip(age * np.float32(1 / fine), 0, len(table_age) - 1).astype(np.int32)
    return tables[0][index], tables[1][index]


def _heartwood(growth: Growth, look: Look, grid: Grid, x: F32, y: F32, age: F32, rng: np.random.Generator) -> F32:
    s = growth.spec
    if s.heart <= 0:
        return np.zeros_like(age)
    edge = s.heart * growth.mean_rim if s.cut == "end" else s.heart * 0.5 * s.diameter + s.pith_depth * 0.5
    ragged = (
        s.heart_rough
        * growth.mean_rim
        * (
            clouds(grid, rng, 0.7 * growth.mean_rim, 2)
            + np.float32(0.25) * clouds(grid, rng, 0.12 * growth.mean_rim, 3)
        )
    )
    place = age
    if s.cut == "end" and any(s.heart_shift):
        sx, sy = growth.pith + np.asarray(s.heart_shift)
        place = 0.5 * age + 0.5 * np.hypot(x - np.float32(sx), y - np.float32(sy))
    return _smooth(-look.edge, look.edge, np.asarray(np.float32(edge) - place + ragged, np.float32))


def _smooth(low: float, high: float, value: F32) -> F32:
    t = np.clip((value - np.float32(low)) / np.float32(high - low), 0, 1)
    return np.asarray(t * t * (3 - 2 * t), np.float32)


def _grain(growth: Growth, grid: Grid, x: F32, y: F32, rng: np.random.Generator) -> F32:
    """Return unit noise drawn out along the rays (end grain) or along the fibres (side grain)."""
    import cv2

    noise = rng.standard_normal((512, 2048)).astype(np.float32)
    noise = cv2.GaussianBlur(noise, (0, 0), 0.9) * np.float32(3.0)
    if growth.spec.cut == "side":
        u, v = growth.along_grain(x, y)
        across, along = u / np.float32(0.22), v / np.float32(14)
        fade: F32 | float = 1.0
    else:
        dx, dy = x - np.float32(growth.pith[0]), y - np.float32(growth.pith[1])
        r = np.hypot(dx, dy)
        across, along = np.arctan2(dy, dx) * np.float32(2048 / (2 * np.pi)), r / np.float32(7)
        fade = np.minimum(r / np.float32(35), 1)
    along = along + np.float32(0.4) * np.sin(across * np.float32(0.37))  # the streaks don't all begin together
    streaks = cv2.remap(noise, across % 2047, along % 511, cv2.INTER_LINEAR, borderMode=cv2.BORDER_WRAP)
    return np.asarray(streaks * fade, np.float32)


def _knots(colour: F32, growth: Growth, look: Look, grid: Grid, rng: np.random.Generator) -> None:
    tint = (0.5 * np.array(look.heart, np.float32) + 0.5 * np.array(look.sap, np.float32)) * np.array(
        [0.88, 0.76, 0.66], np.float32
    )
    for knot in growth.spec.knots:
        a = math.radians(knot.angle_deg)
        c, s = math.cos(a), math.sin(a)
        end = knot.reach * float(growth.rim(a))
        found = _box(np.array([growth.pith, growth.pith + end * np.array([c, s])]), 1.5 * knot.width + 4, grid)
        if found is None:
            continue
        rows, columns, part = found
        x, y = np.meshgrid(part.x, part.y)
        dx, dy = x - np.float32(growth.pith[0]), y - np.float32(growth.pith[1])
        along, across = dx * c + dy * s, -dx * s + dy * c
        half = knot.width / 2 * np.clip(along / end, 0.02, 1) ** np.float32(0.6)
        half += np.float32(0.08 * knot.width) * clouds(part, rng, 2.0 * knot.width, 3)
        inside = np.minimum(half - np.abs(across), np.minimum(end - along + 2 * speckle(part, rng, 4.0), along))
        body = _smooth(-0.8, 1.0, inside)[..., None]
        rim = (
            np.exp(-((inside / np.float32(0.9)) ** 2))[..., None]
            * _smooth(0.1, 0.6, np.asarray(along / end, np.float32))[..., None]
        )
        bow = across / np.maximum(half, np.float32(0.5))
        streak = 1 + np.float32(0.10) * np.sin(bow * 9 + np.float32(1.5) * speckle(part, rng, 9.0))
        streak += np.float32(0.05) * speckle(part, rng, 0.6)
        view = colour[rows, columns]
        view += body * (tint * streak[..., None] - view) * np.float32(0.8)
        view *= 1 - np.float32(0.4) * rim


def _pith_spot(colour: F32, growth: Growth, x: F32, y: F32) -> None:
    rng = generator(growth.spec.seed, "pith")
    r = np.hypot(x - np.float32(growth.pith[0]), y - np.float32(growth.pith[1]))
    size = rng.uniform(0.8, 2.4)
    colour *= (1 - np.float32(rng.uniform(0.1, 0.5)) * np.exp(-((r / np.float32(size)) ** 2)))[..., None]


def _saw_relief(finish: FinishSpec, grid: Grid, x: F32, y: F32, rng: np.random.Generator) -> F32:
    if finish.saw == "none" or finish.saw_strength <= 0:
        return np.zeros_like(x)
    a = np.radians(finish.saw_deg)
    if finish.saw == "disc":
        reach = np.float32(rng.uniform(150, 320))
        u = np.hypot(x + reach * np.float32(np.cos(a)) * 1.2, y + reach * np.float32(np.sin(a)) * 1.2)
    else:
        u = x * np.float32(np.cos(a)) + y * np.float32(np.sin(a))
        u = u + np.float32(0.8) * clouds(grid, rng, 60.0, 2)
    u = u - u.min()
    fine = 0.05
    length = int(float(u.max()) / fine) + 2
    s = np.arange(length) * fine
    phase = 2 * np.pi * s / finish.saw_pitch + np.interp(
        s, np.arange(0, s[-1] + 9, 8), 1.3 * walk(rng, int(s[-1] / 8) + 3, 0.7)[: len(np.arange(0, s[-1] + 9, 8))]
    )
    table = (0.5 + 0.5 * np.interp(s, *_steps(rng, s[-1], 11.0))) * np.sin(phase)
    if finish.saw == "chain":
        table = (
            0.5 * table + 1.6 * np.interp(s, *_steps(rng, s[-1], 6.0)) + 0.8 * np.interp(s, *_steps(rng, s[-1], 1.2))
        )
    table = table.astype(np.float32)[(u * np.float32(1 / fine)).astype(np.int32)]
    patches = np.clip(0.55 + 0.5 * clouds(grid, rng, 80.0, 2), 0, 1.3)
    return np.asarray(0.10 * finish.saw_strength * finish.saw_pitch / 2.5 * table * patches, np.float32)


def _steps(rng: np.random.Generator, length: float, every: float) -> tuple[Array, Array]:
    count = int(length / every) + 3
    return np.linspace(0, (count - 1) * every, count), walk(rng, count, 0.3)


def _torn(grid: Grid, rng: np.random.Generator) -> F32:
    rough = 0.06 * np.abs(speckle(grid, rng, 0.9)) + 0.05 * speckle(grid, rng, 0.35)
    patches = np.clip(0.5 + 0.7 * clouds(grid, rng, 35.0, 2), 0.05, 1.6)
    return np.asarray(rough * patches, np.float32)


def _lit(relief: F32, finish: FinishSpec, grid: Grid) -> F32:
    """Return the factor on the colour that light from one side makes of a relief in mm."""
    import cv2

    gx = cv2.Sobel(relief, cv2.CV_32F, 1, 0, ksize=3, scale=0.125 / grid.step)
    gy = cv2.Sobel(relief, cv2.CV_32F, 0, 1, ksize=3, scale=0.125 / grid.step)
    a = np.radians(finish.light_deg)
    slope = gx * np.float32(np.cos(a)) + gy * np.float32(np.sin(a))
    return np.asarray(1 - 0.55 * finish.relief * np.tanh(slope * np.float32(1.2)), np.float32)


def _cover_with_bark(
    colour: F32, relief: F32, look: Look, grid: Grid, depth: F32, outside: F32, rng: np.random.Generator
) -> None:
    """Paint the bark: a pale line of cambium, inner bark in layers, cracked outer bark."""
    fields = [clouds(grid, rng, 6.0, 3), clouds(grid, rng, 9.0, 4), clouds(grid, rng, 40.0, 3)]
    fields += [speckle(grid, rng, cell) for cell in (5.0, 4.0, 0.7)]
    here = (depth < 1.0) & (outside > -3.0)
    uneven, patchy, loose, layered, split, fine = (field[here] for field in fields)
    deep, out = -depth[here], outside[here]
    share = np.clip(deep / np.maximum(deep + out, 0.3), 0, 1)
    blend = _smooth(0.25, 0.7, share + np.float32(0.12) * uneven)
    layers = np.sin(deep * np.float32(4.2) + np.float32(1.5) * layered)
    tone = 1 + np.float32(0.10) * layers * (1 - blend) + np.float32(0.20) * patchy
    tone *= 1 - np.float32(0.55) * (1 - np.sqrt(np.clip(np.abs(split) * 3, 0, 1))) * blend
    tone *= 1 - np.float32(0.75) * np.exp(-(((deep - 0.35) / 0.35) ** 2)) * np.clip(loose - 0.2, 0, 1)
    inner, outer = np.array(look.inner_bark, np.float32), np.array(look.bark, np.float32)
    bark = (inner + (outer - inner) * blend[:, None]) * tone[:, None]
    cambium = np.exp(-(((deep - 0.3) / 0.5) ** 2))[:, None] * np.float32(0.35)
    bark += cambium * (np.array([0.72, 0.58, 0.38], np.float32) - bark)
    # where there is no bark, the wood goes on to the edge
    thick = np.clip((out + deep) / np.float32(0.4), 0, 1)
    on = _smooth(0.0, max(0.25, grid.step), deep) * thick
    wood = colour[here]
    colour[here] = wood + on[:, None] * (bark - wood)
    relief[here] += on * (np.float32(0.25) * patchy + np.float32(0.06) * fine - relief[here])


def _dirty(colour: F32, finish: FinishSpec, grid: Grid, depth: F32, rng: np.random.Generator) -> None:
    if finish.blotches > 0:
        patch = _smooth(0.2, 2.6, clouds(grid, rng, 70.0, 5))[..., None] * np.float32(finish.blotches)
        tint = np.array(rng.choice([[0.45, 0.48, 0.50], [0.55, 0.42, 0.30], [0.40, 0.36, 0.30]]), np.float32)
        colour *= 1 - 0.6 * patch * (1 - tint)
    if finish.grey > 0:
        mean = colour.mean(axis=2, keepdims=True)
        veil = np.clip(finish.grey + 0.25 * clouds(grid, rng, 60.0, 3), 0, 0.95)[..., None]
        colour += veil * (mean * np.array([0.86, 0.85, 0.83], np.float32) - colour)
    if finish.dirt > 0:
        near_rim = np.exp(-np.clip(depth, 0, None) / np.float32(14))
        size, least = float(rng.uniform(12, 80)), float(rng.uniform(0.2, 1.4))
        smear = _smooth(least, least + 2.6, clouds(grid, rng, size, 5) + 1.4 * near_rim) * np.float32(finish.dirt)
        specks = (speckle(grid, rng, 0.6) > 4.0 - 1.6 * finish.dirt) * np.float32(0.5)
        colour *= (1 - 0.6 * smear - specks * min(1.0, 2 * finish.dirt))[..., None]
    if finish.dust > 0:
        chips = np.clip((speckle(grid, rng, 0.9) - (4.0 - 2.0 * finish.dust)) * 4, 0, 1)
        heaps = _smooth(2.4 - 2.4 * finish.dust, 4.0 - 1.5 * finish.dust, clouds(grid, rng, 40.0, 5))
        cover = np.maximum(
            chips, heaps * np.clip(0.6 + 0.4 * speckle(grid, rng, 0.25) + 0.3 * speckle(grid, rng, 0.7), 0, 1)
        )[..., None]
        colour += cover * (np.array([0.93, 0.84, 0.66], np.float32) - colour) * 0.85


def coverage(shape: tuple[int, int], grid: Grid, path: Array, widths: Array, soft: float = 0.0) -> F32:
    """Return how much of each sample a band about a path covers, exact to first order.

    Each sample takes its distance to the nearest piece; a band narrower than a sample covers the share it should.
    """
    cover = np.zeros(shape, np.float32)
    p = (path - [grid.x0, grid.y0]) / grid.step
    w = np.maximum(widths, 1e-6) / grid.step
    edge = 1.0 + soft / grid.step
    for k in range(len(p) - 1):
        a, d = p[k], p[k + 1] - p[k]
        reach = max(w[k], w[k + 1]) / 2 + edge + 1
        c0, r0 = np.maximum(np.floor(np.minimum(a, p[k + 1]) - reach).astype(int), 0)
        c1, r1 = np.ceil(np.maximum(a, p[k + 1]) + reach).astype(int) + 1
        if c0 >= min(c1, shape[1]) or r0 >= min(r1, shape[0]):
            continue
        box = cover[r0:r1, c0:c1]
        dx = np.arange(c0, c0 + box.shape[1]) - a[0]
        dy = (np.arange(r0, r0 + box.shape[0]) - a[1])[:, None]
        t = np.clip((dx * d[0] + dy * d[1]) / max(float(d @ d), 1e-12), 0, 1)
        away = np.hypot(dx - t * d[0], dy - t * d[1])
        half = (w[k] + (w[k + 1] - w[k]) * t) / 2
        # overlap of the band [-half, half] with the sample [away - edge / 2, away + edge / 2]
        overlap = np.clip(np.minimum(half, away + edge / 2) - np.maximum(-half, away - edge / 2), 0, None) / edge
        np.maximum(box, overlap.astype(np.float32), out=box)
    return cover


def _box(path: Array, margin: float, grid: Grid) -> tuple[slice, slice, Grid] | None:
    low = np.floor((path.min(0) - margin - [grid.x0, grid.y0]) / grid.step).astype(int)
    high = np.ceil((path.max(0) + margin - [grid.x0, grid.y0]) / grid.step).astype(int) + 1
    c0, r0 = np.maximum(low, 0)
    c1, r1 = min(int(high[0]), grid.columns), min(int(high[1]), grid.rows)
    if c0 >= c1 or r0 >= r1:
        return None
    part = Grid(grid.x0 + c0 * grid.step, grid.y0 + r0 * grid.step, grid.step, int(c1 - c0), int(r1 - r0))
    return slice(int(r0), r1), slice(int(c0), c1), part


INSIDE = {"dark": (0.02, 0.014, 0.01), "bench": (0.10, 0.09, 0.08), "light": (0.62, 0.52, 0.36)}
"""Linear light seen inside a crack."""


def _open_crack(linear: F32, crack: Traced, grid: Grid, finish: FinishSpec, rng: np.random.Generator) -> None:
    found = _box(crack.path, float(crack.widths.max()) + 4, grid)
    if found is None:
        return
    rows, columns, part = found
    view = linear[rows, columns]
    shape = view.shape[:2]
    visible = crack.widths * crack.open
    cover = coverage(shape, part, crack.path, visible)
    # fibres at the lips: one side catches the light, the wood beside a wide crack is darker
    a = np.radians(finish.light_deg)
    beside = coverage(shape, part, crack.path, visible + 0.25 + 0.3 * visible, soft=0.5) - cover
    lit = coverage(shape, part, crack.path + 0.35 * np.array([np.cos(a), np.sin(a)]), 0.5 * visible, soft=0.3)
    view *= (1 - 0.18 * np.clip(beside, 0, 1) * float(rng.uniform(0.3, 1.0)))[..., None]
    view *= (1 + 0.12 * lit * float(rng.uniform(0.0, 1.0)))[..., None]
    inside = np.array(INSIDE[crack.spec.fill], np.float32)
    shade = 1 + 0.5 * speckle(part, rng, 1.2)[..., None]
    # narrow cracks let some light in; only wide ones are black
    width = np.clip(coverage(shape, part, crack.path, np.clip(visible, 0, 4), soft=2.0), 0, 1)[..., None]
    filled = inside * np.clip(shade, 0.4, 2) + view * 0.12 * (1 - width) * (crack.spec.fill == "dark")
    view += cover[..., None] * (filled - view)


def _draw_marks(colour: F32, marks: Sequence[MarkSpec], grid: Grid, *, before_saw: bool) -> None:
    """Draw what isn't a crack: stains belong to the wood, and are sawn; the rest came later and is in linear light."""
    for mark in marks:
        if (mark.kind in ("stain", "bark pocket")) != before_saw:
            continue
        path, widths = mark_path(mark)
        soft = {"stain": 0.6 * mark.width, "bark pocket": 0.4, "pencil": 0.15, "hole": 0.1}.get(mark.kind, 0.25)
        found = _box(path, float(widths.max()) + soft + 2, grid)
        if found is None:
            continue
        rows, columns, part = found
        view = colour[rows, columns]
        cover = coverage((part.rows, part.columns), part, path, widths, soft) * np.float32(mark.strength)
        rng = generator(mark.seed, "mark")
        if mark.kind == "stain":
            cover *= np.clip(0.75 + 0.35 * clouds(part, rng, 3.0, 3), 0.1, 1)
            view *= 1 - cover[..., None] * (1 - np.array(mark.colour, np.float32))
            continue
        if mark.kind in ("pencil", "ink"):
            cover *= np.clip(0.85 + 0.4 * speckle(part, rng, 0.5), 0.2, 1)
        ink = np.array(mark.colour, np.float32)
        view += cover[..., None] * ((ink if before_saw else decode_srgb(ink)) - view)
