"""How defects of the wood are painted: knots, bark inclusions, decay, stains of the tree, holes and screws."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tests.drawn.camera import F32
from tests.drawn.defects import DefectSpec, Place, place, soft
from tests.drawn.noise import Grid, clouds, generator, speckle


def paint_in_wood(colour: F32, relief: F32, defects: Sequence[DefectSpec], grid: Grid) -> None:
    """Paint what belongs to the wood and was sawn with it, in sRGB floats."""
    painters = {"knot": _knot, "bark": _bark, "decay": _decay, "stain": _stain, "hole": _iron, "screw": _iron}
    for spec in defects:
        painter = painters.get(spec.kind)
        here = None if painter is None else place(spec, grid, 6.0 + (2.0 if painter is _iron else 0.3) * spec.across)
        if painter is not None and here is not None:
            painter(spec, here, colour[here.rows, here.columns], relief[here.rows, here.columns])


def paint_in_holes(linear: F32, defects: Sequence[DefectSpec], grid: Grid, light_deg: float) -> None:
    """Paint holes and screws, which came after the saw, in linear light."""
    for spec in defects:
        here = place(spec, grid, 4.0 + 2 * spec.across) if spec.kind in ("hole", "screw") else None
        if here is not None:
            painter = _hole if spec.kind == "hole" else _screw
            painter(spec, here, linear[here.rows, here.columns], light_deg)


def _knot(spec: DefectSpec, here: Place, colour: F32, relief: F32) -> None:
    """A branch: its own rings about its own pith, or along it where it is cut lengthwise, its bark about it."""
    rng = generator(spec.seed, "knot")
    tone = np.array(spec.colour, np.float32)
    half = np.float32(max(spec.across / 2, 0.5))
    out = np.clip(1 - here.inside / half, 0, 2)  # from the branch's pith to its edge
    spacing = float(np.exp(rng.uniform(np.log(0.35), np.log(2.5))))
    if spec.taper > 0:
        waves = here.across / np.float32(spacing) + np.float32(0.7) * clouds(here.grid, rng, 12.0, 2)
    else:
        lean = half * np.float32(0.35) * rng.normal(0, 1, 2).astype(np.float32)
        stretched = here.along * np.float32(spec.across / spec.along)
        about = np.hypot(stretched - lean[0] * (1 - out), here.across - lean[1] * (1 - out))
        waves = about / np.float32(spacing) + np.float32(0.25) * clouds(here.grid, rng, 6.0, 2)
    late = (waves % 1) ** np.float32(rng.uniform(1.0, 4.0))
    ringed = 1 - np.float32(rng.choice([rng.uniform(0.0, 0.12), rng.uniform(0.1, 0.35)])) * late
    ringed *= 1 + np.float32(0.05) * speckle(here.grid, rng, 0.5)
    ringed *= 1 + np.float32(rng.normal(0, 0.13)) * np.clip(1 - out, 0, 1)  # its heart, darker or paler
    if spec.taper == 0:
        pith = np.hypot(here.along, here.across) / np.float32(rng.uniform(0.03, 0.1) * spec.across + 0.3)
        ringed *= 1 - np.float32(rng.uniform(0, 0.6)) * np.exp(-(pith**2))
        _checked(spec, here, ringed, rng)
    body = soft(here, float(rng.choice([rng.uniform(0.3, 1.2), rng.uniform(1.0, 3.0)])))[..., None]
    body *= np.float32(spec.strength)
    base = np.median(colour.reshape(-1, 3), axis=0)  # the rings beside it don't run on through it
    own = np.float32(0.2) * colour + np.float32(0.8) * base
    near = np.exp(-np.clip(-here.inside, 0, None) / np.float32(rng.uniform(0.05, 0.3) * spec.across + 0.5))
    colour *= 1 - np.float32(rng.uniform(0, 0.18)) * near[..., None] * np.array([0.6, 0.9, 1.0], np.float32)
    colour += body * (own * tone * ringed[..., None] - colour)
    thick = np.float32(rng.uniform(0.25, 0.05 * spec.across + 0.7))
    held = np.clip(rng.uniform(0.2, 1.0) + 0.6 * clouds(here.grid, rng, 0.6 * spec.across + 2.0, 2), 0, 1)
    bark = np.exp(-((here.inside / thick) ** 2)) * held
    colour *= 1 - np.float32(0.8 * spec.rim) * bark[..., None] * np.array([0.9, 1.0, 1.05], np.float32)
    relief *= 1 - 0.7 * body[..., 0]  # harder than the wood beside it: the saw leaves it smoother


def _checked(spec: DefectSpec, here: Place, tone: F32, rng: np.random.Generator) -> None:
    """Open checks from a branch's middle, as a star, some right across."""
    for _ in range(int(rng.integers(0, 6))):
        a = rng.uniform(0, 2 * np.pi)
        reach = np.float32(rng.uniform(0.15, 0.6) * spec.across)
        on = here.along * np.float32(np.cos(a)) + here.across * np.float32(np.sin(a))
        off = here.across * np.float32(np.cos(a)) - here.along * np.float32(np.sin(a))
        off = off + np.float32(0.3) * np.sin(on * np.float32(rng.uniform(0.3, 1.5)))
        width = np.float32(rng.uniform(0.12, 0.5)) * np.clip(1 - on / reach, 0, 1)
        line = np.exp(-((off / np.maximum(width, 1e-3)) ** 2)) * (on > 0) * (on < reach) * (here.inside > 0)
        tone *= 1 - np.float32(rng.uniform(0.4, 0.9)) * line


def _bark(spec: DefectSpec, here: Place, colour: F32, relief: F32) -> None:
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
    body = soft(here, float(rng.uniform(0.25, 0.8)))[..., None] * np.float32(spec.strength)
    colour += body * (tone - colour)
    relief += body[..., 0] * np.float32(0.2) * clouds(here.grid, rng, 2.5, 3)


def _decay(spec: DefectSpec, here: Place, colour: F32, relief: F32) -> None:
    rng = generator(spec.seed, "decay")
    mottled = np.clip(0.75 + 0.45 * clouds(here.grid, rng, float(rng.uniform(3, 12)), 4), 0.1, 1.2)
    body = (soft(here, float(rng.uniform(1.5, 6.0))) * mottled * np.float32(spec.strength))[..., None]
    mean = colour.mean(axis=(0, 1))
    faded = np.float32(0.85 if spec.sort == "punky" else 0.5)
    tone = ((1 - faded) * colour + faded * mean) * np.array(spec.colour, np.float32)  # the rings fade in it
    if spec.sort == "white":  # pale flecks where the fungus has eaten more
        flecks = np.clip(speckle(here.grid, rng, float(rng.uniform(0.8, 2.5))) - 0.4, 0, 1.5)
        tone *= 1 + np.float32(rng.uniform(0.05, 0.25)) * flecks[..., None]
    elif spec.sort == "brown":
        tone *= 1 - np.float32(rng.uniform(0.3, 0.75)) * _cubes(here, rng)[..., None]
    elif spec.sort == "spalted":
        tone *= 1 + np.float32(0.12) * np.sign(clouds(here.grid, rng, 20.0, 2))[..., None]
    colour += np.clip(body, 0, 1) * (tone - colour)
    if spec.rim > 0:
        thick = np.float32(rng.uniform(0.3, 0.9))
        wander = here.inside - 2 - 1.2 * clouds(here.grid, rng, 9.0, 3)
        colour *= (1 - np.float32(0.8 * spec.rim) * np.exp(-((wander / thick) ** 2)))[..., None]
        for _ in range(int(rng.integers(2, 6) if spec.sort == "spalted" else rng.integers(0, 3))):
            line = _wandering(here, rng, float(rng.uniform(12, 30)))
            inked = np.exp(-((line / thick) ** 2)) * (here.inside > 2)
            colour *= (1 - np.float32(0.7 * spec.rim) * inked)[..., None]
    rough = 0.25 if spec.sort in ("punky", "brown") else 0.12
    relief += body[..., 0] * np.float32(rough) * speckle(here.grid, rng, 1.0)


def _wandering(here: Place, rng: np.random.Generator, cell: float) -> F32:
    """Return the distance in mm to a line that wanders."""
    field = clouds(here.grid, rng, cell, 3)
    gy, gx = np.gradient(field, here.grid.step)
    return np.asarray(np.abs(field) / np.maximum(np.hypot(gx, gy), 1e-3))


def _cubes(here: Place, rng: np.random.Generator) -> F32:
    """Return how much each place lies in the shrinkage cracks of brown rot, along the fibres and across them."""
    size, turn = float(np.exp(rng.uniform(np.log(2.5), np.log(14)))), float(rng.uniform(0, np.pi))
    width = np.float32(rng.uniform(0.06, 0.18))
    found = np.zeros_like(here.inside)
    for a, longer in ((turn, 1.0), (turn + np.pi / 2, float(rng.uniform(1.0, 2.2)))):
        u = here.along * np.float32(np.cos(a)) + here.across * np.float32(np.sin(a))
        v = here.across * np.float32(np.cos(a)) - here.along * np.float32(np.sin(a))
        u = u / np.float32(size * longer) + np.float32(0.22) * clouds(here.grid, rng, 2 * size, 3)
        row = np.floor(v / np.float32(2.2 * size)) * np.float32(0.37)  # blocks are set off from row to row
        found = np.maximum(found, np.exp(-((((u + row) % 1 - 0.5) / width) ** 2)))
    return np.asarray(found * np.clip(0.7 + 0.5 * clouds(here.grid, rng, 3 * size, 2), 0, 1), np.float32)


def _stain(spec: DefectSpec, here: Place, colour: F32, relief: F32) -> None:
    rng = generator(spec.seed, "stained")
    edge = rng.uniform(0.05, 0.3) * spec.across if spec.sort == "soft" else rng.uniform(0.3, 2.5)
    body = soft(here, float(edge)) * np.clip(0.85 + 0.2 * clouds(here.grid, rng, 6.0, 3), 0, 1)
    colour *= 1 - (body * np.float32(spec.strength))[..., None] * (1 - np.array(spec.colour, np.float32))


def _iron(spec: DefectSpec, here: Place, colour: F32, relief: F32) -> None:
    """The blue black that iron leaves about a nail or screw, drawn out one way along the fibres or rays."""
    if spec.rim <= 0:
        return
    rng = generator(spec.seed, "iron")
    a, longer = rng.uniform(0, np.pi), np.float32(rng.uniform(1.0, 4.0))
    on = here.along * np.float32(np.cos(a)) + here.across * np.float32(np.sin(a))
    off = here.across * np.float32(np.cos(a)) - here.along * np.float32(np.sin(a))
    away = np.hypot(on / longer, off) / np.float32(spec.across * rng.uniform(0.5, 1.0))
    halo = np.exp(-(away**2)) * np.clip(0.8 + 0.3 * clouds(here.grid, rng, 2.0, 3), 0, 1)
    colour *= 1 - np.float32(spec.rim) * halo[..., None] * (1 - np.array([0.35, 0.36, 0.42], np.float32))


def _hole(spec: DefectSpec, here: Place, linear: F32, light_deg: float) -> None:
    rng = generator(spec.seed, "hole")
    a = np.radians(light_deg - spec.along_deg)
    toward = here.along * np.float32(np.cos(a)) + here.across * np.float32(np.sin(a))
    radius = np.float32(spec.across / 2)
    # the wall away from the light catches some of it, near the mouth
    far = np.clip(-toward / radius, 0, 1) * np.exp(-np.clip(here.inside, 0, None) / (np.float32(0.25) * radius))
    wall = np.float32(rng.uniform(0.0, 0.35)) * far[..., None] * linear
    deep = linear * np.float32(rng.uniform(0.01, 0.10)) + np.array(spec.colour, np.float32) * np.float32(0.05)
    if spec.sort == "filled":  # with the dust of the insect, below the mouth
        dust = np.array([0.62, 0.48, 0.30], np.float32) * np.float32(rng.uniform(0.25, 0.9))
        below = np.clip(here.inside / (np.float32(0.4) * radius), 0.2, 1)[..., None]
        deep = dust * below * (1 + np.float32(0.25) * speckle(here.grid, rng, 0.5))[..., None]
    lip = np.exp(-((here.inside / np.float32(0.25 + 0.06 * spec.across)) ** 2))
    shade = np.where(toward > 0, np.float32(-rng.uniform(0.0, 0.3)), np.float32(rng.uniform(0.0, 0.25)))
    linear *= (1 + lip * shade)[..., None]
    linear += here.edge[..., None] * np.float32(spec.strength) * (deep + wall - linear)


def _screw(spec: DefectSpec, here: Place, linear: F32, light_deg: float) -> None:
    """A head of metal, proud of the face and throwing a shadow, or driven below it."""
    rng = generator(spec.seed, "screw")
    a = np.radians(light_deg)
    proud = float(rng.choice([0.0, rng.uniform(0.1, 0.6)])) * spec.across
    throw = proud * np.array([np.cos(a), np.sin(a)])
    cast = replace(spec, middle=(float(spec.middle[0] - throw[0]), float(spec.middle[1] - throw[1])))
    shadow = place(cast, here.grid, 2.0) if proud else None
    if shadow is not None:
        linear[shadow.rows, shadow.columns] *= (1 - np.float32(0.65) * soft(shadow, 1.2))[..., None]
    toward = (here.along * np.float32(np.cos(a)) + here.across * np.float32(np.sin(a))) / np.float32(spec.across)
    shine = np.float32(rng.uniform(0.2, 0.6)) * np.tanh(3 * toward)
    shine += np.float32(rng.uniform(0, 1.5)) * np.exp(-(((toward - 0.2) / 0.12) ** 2))
    metal = np.array(spec.colour, np.float32) * np.clip(1 + shine, 0.1, 3)[..., None]
    rusty = np.clip(rng.normal(0, 0.5) + 0.5 * clouds(here.grid, rng, 3.0, 3), 0, 1)[..., None]
    metal += rusty * (np.array([0.22, 0.09, 0.04], np.float32) - metal)
    size = np.float32(spec.across)
    if spec.sort == "hex":
        metal *= (1 - 0.9 * (np.hypot(here.along, here.across) < 0.22 * size))[..., None]
    for turn in {"cross": (0.0, np.pi / 2), "slot": (0.0,)}.get(spec.sort, ()):
        line = np.abs(here.along * np.float32(np.sin(turn)) + here.across * np.float32(np.cos(turn)))
        metal *= (1 - 0.8 * ((line < 0.07 * size) & (here.inside > 0.15 * size)))[..., None]
    rim = np.exp(-((here.inside / np.float32(0.08 * spec.across)) ** 2))
    linear *= (1 - np.float32(0.5) * rim)[..., None]
    linear += here.edge[..., None] * (metal.astype(np.float32) - linear)
