"""Cracks and what is mistaken for them: paths in mm with their widths."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from tests.drawn.noise import Array, generator, walk
from tests.drawn.wood import Growth

MarkKind = Literal["stain", "pencil", "ink", "scratch", "hole", "bark pocket"]
STEP = 0.8
"""Length of a path's pieces in mm."""


@dataclass(frozen=True)
class CrackSpec:
    """A crack to be traced.

    Attributes
    ----------
    kind : str
        "radial", "heart" (through the pith, `length` to the far end of both arms), "ring", or "other" (side grain:
        along the grain).
    angle_deg : float
        Direction from the pith. Side grain: where on the rim it begins, about the origin.
    start : float
        Where it begins, as a share of the way from the pith to the rim.
    inward : bool
        Radial: it runs from `start` towards the pith, not away.
    length, width : float
        Along the path; at the widest place.
    widest : str
        "start" tapers to the end; "middle" tapers to both.
    second_deg : float
        Heart: direction of the second arm; its length is `second_share` of the whole.
    wander : float
        How far it strays, 1 as usual.
    bridged : float
        Share of the length hidden by fibres across it.
    fill : str
        What shows inside: "dark", "bench" or "light" (dust, glue).
    """

    kind: Literal["radial", "heart", "ring", "other"] = "radial"
    angle_deg: float = 0.0
    start: float = 1.0
    inward: bool = True
    length: float = 40.0
    width: float = 0.8
    widest: Literal["start", "middle"] = "start"
    second_deg: float = 180.0
    second_share: float = 0.4
    wander: float = 1.0
    bridged: float = 0.0
    fill: Literal["dark", "bench", "light"] = "dark"
    seed: int = 0


@dataclass(frozen=True, eq=False)
class Traced:
    """A crack's path (n, 2) in mm, from its beginning, with its width and how open it looks at every point."""

    spec: CrackSpec
    path: Array
    widths: Array
    open: Array


@dataclass(frozen=True)
class MarkSpec:
    """Something that looks like a crack and is none.

    `kind`: "stain" (a soft radial streak), "pencil" (a straight thin line), "ink" (a felt-pen stroke), "scratch" (a
    straight pale line), "hole" (a round dark one, `width` across), "bark pocket".
    """

    kind: MarkKind
    start: tuple[float, float]
    end: tuple[float, float]
    width: float = 0.5
    colour: tuple[float, float, float] = (0.2, 0.2, 0.22)
    strength: float = 0.8
    seed: int = 0


def trace(growth: Growth, spec: CrackSpec) -> Traced | None:
    """Return the path of a crack on a face; None if less than two points of it lie on the wood."""
    rng = generator(growth.spec.seed, "crack", spec.seed)
    if spec.kind == "heart":
        path = _heart(growth, spec, rng)
    elif spec.kind == "ring":
        path = _ring(growth, spec, rng)
    else:
        path = _run(growth, _start(growth, spec), spec.length, -1.0 if spec.inward else 1.0, spec.wander, rng)
    inside = growth.depth(path[:, 0], path[:, 1], growth.under) > -0.02
    last = len(path) if inside.all() else int(np.argmin(inside))
    if last < 3:
        return None
    path = path[:last]
    widths = _widths(path, spec, rng)
    if last < len(inside):  # it runs out through the edge and is open there
        widths = np.maximum(widths, 0.3 * spec.width)
    return Traced(spec, path, widths, _opening(len(path), spec.bridged, rng))


def _start(growth: Growth, spec: CrackSpec) -> Array:
    angle = np.radians(spec.angle_deg)
    direction = np.array([np.cos(angle), np.sin(angle)])
    if growth.spec.cut == "side":
        return np.asarray(direction * spec.start * float(growth.radius(angle, growth.under)))
    return np.asarray(growth.pith + direction * spec.start * float(growth.rim(angle)))


def _run(growth: Growth, start: Array, length: float, sign: float, wander: float, rng: np.random.Generator) -> Array:
    """Follow the rays from a point, straying a little and stepping aside at some rings, as checks do."""
    count = max(3, int(np.ceil(length / STEP)) + 1)
    stray = np.radians(5.0) * wander * walk(rng, count, 0.93) + np.radians(7.0) * wander * walk(rng, count, 0.3)
    jumps = np.where(rng.random(count) < 0.03, rng.standard_normal(count) * np.radians(35) * wander, 0.0)
    if growth.spec.cut == "side" and sign * float(growth.ray(*start) @ start) > 0:
        sign = -sign  # from the rim into the wood
    points = [np.asarray(start, float)]
    for k in range(count - 1):
        d = sign * growth.ray(points[-1][0], points[-1][1])
        a = stray[k] + jumps[k]
        turned = np.array([d[0] * np.cos(a) - d[1] * np.sin(a), d[0] * np.sin(a) + d[1] * np.cos(a)])
        step = length - STEP * k if k == count - 2 else STEP
        points.append(points[-1] + step * turned)
        if growth.spec.cut == "end" and sign < 0 and float(np.hypot(*(points[-1] - growth.pith))) < 2 * STEP:
            break
    return np.array(points)


def _heart(growth: Growth, spec: CrackSpec, rng: np.random.Generator) -> Array:
    arms = []
    for angle_deg, share in ((spec.angle_deg, 1 - spec.second_share), (spec.second_deg, spec.second_share)):
        a = np.radians(angle_deg)
        first = growth.pith + 1.5 * np.array([np.cos(a), np.sin(a)])
        arms.append(_run(growth, first, spec.length * share - 1.5, 1.0, spec.wander, rng))
    return np.concatenate([arms[0][::-1], growth.pith[None], arms[1]])


def _ring(growth: Growth, spec: CrackSpec, rng: np.random.Generator) -> Array:
    a0 = np.radians(spec.angle_deg)
    r = spec.start * float(growth.rim(a0))
    p = growth.pith + r * np.array([np.cos(a0), np.sin(a0)])
    # a shake runs along a ring's edge: take the nearest one
    age = growth.ring_edges[np.argmin(np.abs(growth.ring_edges - float(growth.age(p[0], p[1]))))]
    angles = a0 + np.arange(max(3, int(spec.length / STEP) + 1)) * STEP / r
    unit = np.stack([np.cos(angles), np.sin(angles)], 1)
    low, high = np.full(len(angles), 0.3 * r), np.full(len(angles), 1.7 * r)
    for _ in range(30):
        middle = (low + high) / 2
        q = growth.pith + middle[:, None] * unit
        outside = growth.age(q[:, 0], q[:, 1]) > age
        low, high = np.where(outside, low, middle), np.where(outside, middle, high)
    stray = 0.12 * spec.wander * walk(rng, len(angles), 0.8)
    return np.asarray(growth.pith + (low + stray)[:, None] * unit)


def _widths(path: Array, spec: CrackSpec, rng: np.random.Generator) -> Array:
    steps = np.hypot(*np.diff(path, axis=0).T)
    s = np.concatenate([[0], np.cumsum(steps)])
    t = s / s[-1]
    if spec.kind == "heart":
        pith = 1 - spec.second_share
        profile = np.where(t < pith, t / pith, (1 - t) / (1 - pith)) ** 0.8
    elif spec.widest == "middle" or spec.kind == "ring":
        profile = np.sin(np.pi * t) ** 0.7
    else:
        profile = (1 - t) ** 0.7
    uneven = np.clip(1 + 0.22 * walk(rng, len(path), 0.8), 0.45, 1.6)
    return np.asarray(spec.width * profile * np.where(t * (1 - t) > 0, uneven, 1.0))


def _opening(count: int, bridged: float, rng: np.random.Generator) -> Array:
    if bridged <= 0:
        return np.ones(count)
    series = walk(rng, count, 0.75)
    return np.clip((series - np.quantile(series, bridged)) / 0.35 + 0.5, 0.0, 1.0)


def mark_path(mark: MarkSpec) -> tuple[Array, Array]:
    """Return the path and widths of a mark in mm."""
    a, b = np.asarray(mark.start, float), np.asarray(mark.end, float)
    length = float(np.hypot(*(b - a)))
    count = max(3, int(length / 1.5) + 1)
    t = np.linspace(0, 1, count)
    path = a + t[:, None] * (b - a)
    widths = np.full(count, mark.width)
    side = np.array([-(b - a)[1], (b - a)[0]]) / max(length, 1e-9)
    rng = generator(mark.seed, "mark path")
    if mark.kind == "stain":
        widths = mark.width * np.sin(np.pi * np.clip(t, 0.02, 0.98)) ** 0.6
        path = path + np.outer(0.25 * walk(rng, count, 0.9), side)
    elif mark.kind == "ink":
        bow = rng.normal(0, 0.08) * length
        path = path + np.outer(bow * np.sin(np.pi * t) + 0.15 * walk(rng, count, 0.95), side)
        widths = mark.width * np.clip(1 + 0.1 * walk(rng, count, 0.9), 0.6, 1.4)
    elif mark.kind == "bark pocket":
        widths = (
            mark.width
            * np.clip(np.sin(np.pi * np.clip(t, 0.05, 1)), 0.1, 1)
            * np.clip(1 + 0.3 * walk(rng, count, 0.7), 0.4, 1.6)
        )
        path = path + np.outer(0.5 * walk(rng, count, 0.9), side)
    return path, widths
