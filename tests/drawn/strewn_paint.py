"""How what only lies or was drawn on a face is painted: it looks like a defect, and a wall may pass under it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from tests.drawn.camera import F32, decode_srgb
from tests.drawn.defects import DefectSpec, Place, place, soft
from tests.drawn.noise import Grid, clouds, generator, speckle

DUST = (0.78, 0.62, 0.40)


def paint_strewn(linear: F32, defects: Sequence[DefectSpec], grid: Grid, light_deg: float) -> None:
    """Paint what came onto a face after the saw, in linear light."""
    painters = {
        "wet": _coat, "paint": _coat, "resin": _resin, "chalk": _chalk, "heap": _heap, "chip": _chip, "shade": _shade,
        "burn": _burn, "drop": _drop, "stamp": _stamp, "tag": _tag,
    }  # fmt: skip
    for spec in defects:
        painter = painters.get(spec.kind)
        here = (
            None if painter is None else place(spec, grid, 4.0 + (1.0 if painter is not _coat else 2.0) * spec.across)
        )
        if painter is not None and here is not None:
            painter(spec, here, linear[here.rows, here.columns], light_deg)


def _coat(spec: DefectSpec, here: Place, linear: F32, light_deg: float) -> None:
    rng = generator(spec.seed, "coat")
    wet = spec.kind == "wet"
    body = soft(here, float(rng.uniform(0.8, 5.0) if wet else rng.uniform(0.2, 1.0)))
    body *= np.clip(0.9 + (0.1 if wet else 0.35) * clouds(here.grid, rng, 4.0, 3), 0, 1)
    tint = np.array(spec.colour, np.float32)
    goal = linear * tint if wet else 0.25 * linear + 0.75 * tint
    linear += (body * np.float32(spec.strength))[..., None] * (goal - linear)


def _resin(spec: DefectSpec, here: Place, linear: F32, light_deg: float) -> None:
    """Amber that the wood shows through, with a few glints."""
    rng = generator(spec.seed, "resin")
    body = soft(here, float(rng.uniform(0.3, 1.5))) * np.clip(0.9 + 0.2 * clouds(here.grid, rng, 5.0, 2), 0, 1)
    linear *= 1 - (body * np.float32(spec.strength))[..., None] * (1 - np.array(spec.colour, np.float32))
    glint = np.clip(clouds(here.grid, rng, 2.5, 2) - np.float32(rng.uniform(1.4, 2.4)), 0, 1) * (here.inside > 0)
    linear += np.float32(1.5) * glint[..., None]


def _chalk(spec: DefectSpec, here: Place, linear: F32, light_deg: float) -> None:
    """Strokes of chalk, crayon or pencil, which the wood's texture breaks."""
    rng = generator(spec.seed, "chalk")
    width = float(rng.choice([rng.uniform(0.4, 1.0), rng.uniform(2.0, 6.0)]))
    t = np.linspace(0, 2 * np.pi, 40)
    a, b = spec.along / 2, spec.across / 2
    if spec.sort == "ring":
        lines = [np.stack([a * np.cos(t), b * np.sin(t)], 1)]
    elif spec.sort == "cross":
        lines = [np.array([[-a, -b], [a, b]]), np.array([[-a, b], [a, -b]])]
    elif spec.sort == "stroke":
        lines = [np.array([[-a, 0.0], [0.0, b * rng.uniform(-1, 1)], [a, 0.0]])]
    else:
        steps = np.cumsum(rng.normal(0, 1, (14, 2)), axis=0)
        steps -= steps.mean(axis=0)
        lines = [steps / np.abs(steps).max() * [a, b]]
    grain = np.clip(rng.uniform(0.2, 1.0) + 0.6 * speckle(here.grid, rng, float(rng.uniform(0.3, 1.2))), 0, 1)
    cover = _drawn_lines(spec, here, lines, width) * grain * np.float32(spec.strength)
    linear += cover[..., None] * (np.array(spec.colour, np.float32) - linear)


def _drawn_lines(spec: DefectSpec, here: Place, lines: Sequence[Any], width: float) -> F32:
    """Return how much of each sample lines cover; they are in mm along and across an area."""
    import cv2

    a, grid = np.radians(spec.along_deg), here.grid
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    cover = np.zeros(here.inside.shape, np.uint8)
    for line in lines:
        px = (np.asarray(line) @ turn + spec.middle - [grid.x0, grid.y0]) / grid.step
        cv2.polylines(
            cover, [np.round(16 * px).astype(np.int32)], False, 255, max(1, round(width / grid.step)), cv2.LINE_AA, 4
        )
    return cover.astype(np.float32) / np.float32(255)


def _heap(spec: DefectSpec, here: Place, linear: F32, light_deg: float) -> None:
    """Sawdust, lit on one side and dark on the other."""
    import cv2

    rng = generator(spec.seed, "heap")
    thick = np.clip(here.inside + 2.0 * clouds(here.grid, rng, 6.0, 4), 0, None) * np.float32(0.35)
    a = np.radians(light_deg)
    smooth = cv2.GaussianBlur(thick, (0, 0), max(0.6 / here.grid.step, 0.5))
    gy, gx = np.gradient(smooth, here.grid.step)
    lit = 1 - np.float32(0.6) * np.tanh(gx * np.float32(np.cos(a)) + gy * np.float32(np.sin(a)))
    grains = 1 + np.float32(0.18) * speckle(here.grid, rng, 0.4) + np.float32(0.12) * speckle(here.grid, rng, 1.2)
    tone = np.array(spec.colour, np.float32) * (lit * grains)[..., None]
    cover = np.clip(thick * np.float32(rng.uniform(0.6, 2.0)), 0, 1) * np.float32(spec.strength)
    linear += cover[..., None] * (tone - linear)


def _thrown(spec: DefectSpec, here: Place, linear: F32, light_deg: float, far: float) -> None:
    """Darken where something so high throws its shadow."""
    a = np.radians(light_deg)
    at = (float(spec.middle[0] - far * np.cos(a)), float(spec.middle[1] - far * np.sin(a)))
    shadow = place(replace(spec, middle=at), here.grid, 2.0)
    if shadow is not None:
        linear[shadow.rows, shadow.columns] *= (1 - np.float32(0.6) * soft(shadow, 0.8 + 0.3 * far))[..., None]


def _chip(spec: DefectSpec, here: Place, linear: F32, light_deg: float) -> None:
    """A shaving or chip that lies on the face."""
    rng = generator(spec.seed, "chip")
    _thrown(spec, here, linear, light_deg, float(rng.uniform(0.3, 3.0)))
    round_over = 1 + np.float32(rng.uniform(-0.3, 0.3)) * here.across / np.float32(spec.across)
    lines = 1 + np.float32(0.08) * np.sin(here.across * np.float32(rng.uniform(2, 8)))
    tone = np.array(spec.colour, np.float32) * (round_over * lines)[..., None]
    linear += here.edge[..., None] * (tone - linear)


def _shade(spec: DefectSpec, here: Place, linear: F32, light_deg: float) -> None:
    rng = generator(spec.seed, "shade")
    body = soft(here, float(np.exp(rng.uniform(np.log(0.4), np.log(12)))))
    linear *= 1 - (body * np.float32(spec.strength))[..., None] * (1 - np.array(spec.colour, np.float32))


def _burn(spec: DefectSpec, here: Place, linear: F32, light_deg: float) -> None:
    """What a dull saw that rubs leaves: brown to black, in streaks along its course."""
    rng = generator(spec.seed, "burn")
    streaks = np.sin(here.across * np.float32(rng.uniform(0.8, 4.0)) + 1.5 * clouds(here.grid, rng, 12.0, 2))
    body = soft(here, float(rng.uniform(1.5, 6.0))) * np.clip(0.75 + np.float32(rng.uniform(0, 0.4)) * streaks, 0, 1)
    linear *= 1 - (body * np.float32(spec.strength))[..., None] * (1 - np.array(spec.colour, np.float32))


def _drop(spec: DefectSpec, here: Place, linear: F32, light_deg: float) -> None:
    """A drop of water: the wood beneath is darker, its far side brighter, and it glints."""
    rng = generator(spec.seed, "drop")
    a = np.radians(light_deg - spec.along_deg)
    toward = (here.along * np.float32(np.cos(a)) + here.across * np.float32(np.sin(a))) / np.float32(spec.across)
    tint = np.array([0.62, 0.56, 0.50], np.float32) * (1 - np.float32(rng.uniform(0, 0.7)) * toward)[..., None]
    linear += here.edge[..., None] * np.float32(spec.strength) * (linear * tint - linear)
    glint = np.exp(-(((toward - 0.25) / 0.07) ** 2)) * (np.abs(here.across) < 0.3 * spec.across) * here.edge
    linear += np.float32(rng.uniform(0, 1.5)) * glint[..., None]


def _text(spec: DefectSpec, here: Place, rng: np.random.Generator) -> F32:
    """Return how much of each sample a word of capitals and figures covers, as wide as the area is long."""
    import cv2

    word = "".join(str(rng.choice(list("ABCDEFHKLMNPRSTX0123456789"))) for _ in range(int(rng.integers(1, 6))))
    (wide, tall), _ = cv2.getTextSize(word, cv2.FONT_HERSHEY_SIMPLEX, 2.0, 5)
    page = np.zeros((tall + 20, wide + 20), np.uint8)
    cv2.putText(page, word, (10, tall + 8), cv2.FONT_HERSHEY_SIMPLEX, 2.0, 255, int(rng.integers(3, 9)), cv2.LINE_AA)
    plate = page.astype(np.float32) / np.float32(255)
    scale = min(0.85 * spec.along / plate.shape[1], 0.85 * spec.across / plate.shape[0])  # mm a pixel
    x = here.along / np.float32(scale) + np.float32(plate.shape[1] / 2)
    y = here.across / np.float32(scale) + np.float32(plate.shape[0] / 2)
    plate = cv2.GaussianBlur(plate, (0, 0), max(0.5 * here.grid.step / scale, 0.3))
    return np.asarray(cv2.remap(plate, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0))


def _stamp(spec: DefectSpec, here: Place, linear: F32, light_deg: float) -> None:
    rng = generator(spec.seed, "stamp")
    worn = np.clip(rng.uniform(0.5, 1.1) + 0.4 * clouds(here.grid, rng, 5.0, 3), 0, 1)
    cover = _text(spec, here, rng) * worn * np.float32(spec.strength)
    linear += cover[..., None] * (np.array(spec.colour, np.float32) - linear)


def _tag(spec: DefectSpec, here: Place, linear: F32, light_deg: float) -> None:
    """A number on a piece of plastic or paper."""
    rng = generator(spec.seed, "tag")
    _thrown(spec, here, linear, light_deg, float(rng.uniform(0.2, 1.0)))
    ground = np.array(spec.colour, np.float32)
    ink = decode_srgb(np.array([0.08, 0.08, 0.1]) if ground.mean() > 0.3 else np.array([0.9, 0.9, 0.9]))
    tone = ground + _text(spec, here, rng)[..., None] * (ink.astype(np.float32) - ground)
    linear += here.edge[..., None] * (tone.astype(np.float32) - linear)
