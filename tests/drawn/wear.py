"""What saws, weather, fungi, water and sawdust leave on a face, much of it in lines that look like cracks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tests.drawn.camera import F32
from tests.drawn.noise import Grid, clouds, generator, periodic, speckle
from tests.drawn.wood import Growth

ROWS, COLUMNS = 512, 2048  # of the noise that streaks are taken from


@dataclass(frozen=True)
class WearSpec:
    """How much of each there is, 0 (none) to 1.

    Attributes
    ----------
    scored : float
        Streaks that the saw's teeth leave where it runs along its own cut: pale, torn fibre, or dark and rubbed.
    blued : float
        Stain that fungi carry along the rays: wedges of fine streaks, each of which ends abruptly at some ring.
    ring_torn : float
        Earlywood that a coarse saw tears while it cuts the latewood beside it clean.
    eroded : float
        Earlywood that the weather has worn to grooves, with checks too short to be told between them.
    lobes : float
        Dark, soft-edged tongues out from the pith, where a face dries unevenly.
    runs : float
        Lanes of water, resin or dirt that ran over the face and stop.
    zones : float
        Thin dark lines that fungi draw, across the grain and back.
    film : float
        A thin film of sawdust over everything, cracks too, partly wiped off.
    """

    scored: float = 0.0
    blued: float = 0.0
    ring_torn: float = 0.0
    eroded: float = 0.0
    lobes: float = 0.0
    runs: float = 0.0
    zones: float = 0.0
    film: float = 0.0


def random_wear(rng: np.random.Generator) -> WearSpec:
    """Return one to three kinds of wear."""
    often = {"scored": 0.4, "blued": 0.4, "ring_torn": 0.3, "eroded": 0.25, "lobes": 0.15, "runs": 0.2, "zones": 0.1,
             "film": 0.3}  # fmt: skip
    share = np.array(list(often.values()))
    kinds = rng.choice(list(often), size=int(rng.integers(1, 4)), replace=False, p=share / share.sum())
    return WearSpec(**{str(kind): float(rng.uniform(0.2, 1.0)) for kind in kinds})


def wear_down(colour: F32, relief: F32, wear: WearSpec, growth: Growth, grid: Grid, age: F32) -> None:
    """Paint what lies in the wood or was done to it before it checked: colour (sRGB floats) and relief in mm."""
    if wear == WearSpec(film=wear.film):
        return
    x, y = np.meshgrid(grid.x, grid.y)
    rng = generator(growth.spec.seed, "wear")
    if wear.ring_torn > 0:
        _tear(colour, relief, wear.ring_torn, growth, grid, age, rng)
    if wear.eroded > 0:
        _erode(colour, relief, wear.eroded, growth, grid, x, y, age, rng)
    if wear.blued > 0:
        _blue(colour, wear.blued, growth, grid, x, y, age, rng)
    if wear.lobes > 0:
        _lobe(colour, wear.lobes, growth, grid, x, y, rng)
    if wear.zones > 0:
        _zone(colour, wear.zones, grid, rng)
    if wear.scored > 0:
        _score(colour, relief, wear.scored, growth, grid, x, y, rng)
    if wear.runs > 0:
        _run(colour, wear.runs, growth, x, y, rng)


def dust_over(linear: F32, film: float, growth: Growth, grid: Grid) -> None:
    """Lay a film of sawdust over a face in linear light."""
    if film <= 0:
        return
    rng = generator(growth.spec.seed, "film")
    x, y = np.meshgrid(grid.x, grid.y)
    thick = np.float32(rng.uniform(0.15, 0.65) * film) * np.clip(0.6 + 0.5 * clouds(grid, rng, 50.0, 4), 0, 1)
    across, along = _sawn(x, y, float(rng.uniform(0, 360)), float(rng.uniform(-1, 1)) / 300)
    wiped = _streaks(across / np.float32(rng.uniform(0.8, 5.0)), along / np.float32(rng.uniform(30, 120)), rng)
    thick *= np.clip(0.8 + np.float32(rng.uniform(0, 0.5)) * wiped, 0, 1)
    thick *= np.clip(0.8 + 0.35 * speckle(grid, rng, 0.5) + 0.2 * speckle(grid, rng, 1.2), 0, 1.2)
    tone = np.array([0.78, 0.62, 0.40], np.float32) * np.float32(rng.uniform(0.6, 1.0))
    linear += thick[..., None] * (tone - linear)


def _streaks(across: F32, along: F32, rng: np.random.Generator, *, abrupt: bool = False) -> F32:
    """Return unit noise drawn out along one coordinate, a unit of the other wide; its streaks end softly or not."""
    import cv2

    noise = rng.standard_normal((ROWS, COLUMNS)).astype(np.float32)
    noise = cv2.GaussianBlur(noise, (0, 0), sigmaX=0.7, sigmaY=0.01 if abrupt else 0.7)
    noise /= noise.std()
    if abrupt:  # each at a place of its own
        ends = rng.uniform(0, ROWS, COLUMNS).astype(np.float32)
        along = np.floor(along + ends[across.astype(np.int32) % COLUMNS])
    else:
        along = along + np.float32(3) * np.sin(across * np.float32(0.73))
    return np.asarray(cv2.remap(noise, across % (COLUMNS - 1), along % (ROWS - 1), cv2.INTER_LINEAR), np.float32)


def _rays(growth: Growth, x: F32, y: F32) -> tuple[F32, F32]:
    """Return coordinates in mm across the rays, as at half the rim, and along them; side grain: the fibres."""
    if growth.spec.cut == "side":
        u, v = growth.along_grain(x, y)
        return np.asarray(u, np.float32), np.asarray(v, np.float32)
    dx, dy = x - np.float32(growth.pith[0]), y - np.float32(growth.pith[1])
    return np.asarray(np.arctan2(dy, dx) * np.float32(growth.mean_rim / 2)), np.hypot(dx, dy)


def _phase(growth: Growth, age: F32) -> F32:
    """Return how far through its ring each place is, 0 to 1."""
    edges, fine = growth.ring_edges, 0.05
    at = np.arange(0, edges[-1], fine)
    k = np.searchsorted(edges, at, "right") - 1
    table = ((at - edges[k]) / (edges[k + 1] - edges[k])).astype(np.float32)
    return np.asarray(table[np.clip(age * np.float32(1 / fine), 0, len(table) - 1).astype(np.int32)])


def _sawn(x: F32, y: F32, deg: float, bend: float) -> tuple[F32, F32]:
    """Return coordinates across and along a saw's course, straight or an arc of that curvature in 1/mm."""
    a = np.radians(deg)
    across = x * np.float32(np.cos(a)) + y * np.float32(np.sin(a))
    along = y * np.float32(np.cos(a)) - x * np.float32(np.sin(a))
    return across + np.float32(0.5 * bend) * along * along, along


def _tear(
    colour: F32, relief: F32, much: float, growth: Growth, grid: Grid, age: F32, rng: np.random.Generator
) -> None:
    early = np.clip((0.65 - _phase(growth, age)) * 6, 0, 1) * np.clip(0.6 + 0.6 * clouds(grid, rng, 60.0, 3), 0, 1)
    size = float(rng.uniform(0.6, 2.0))
    pits = speckle(grid, rng, size) + 0.6 * speckle(grid, rng, 0.4 * size)
    relief += np.float32(0.09 * much) * early * pits
    colour *= (1 + np.float32(0.22 * much) * early * np.clip(pits, -2, 1.5))[..., None]


def _erode(
    colour: F32, relief: F32, much: float, growth: Growth, grid: Grid, x: F32, y: F32, age: F32,
    rng: np.random.Generator,
) -> None:  # fmt: skip
    groove = np.sin(np.float32(np.pi) * _phase(growth, age)) * np.clip(0.7 + 0.4 * clouds(grid, rng, 70.0, 3), 0, 1)
    relief -= np.float32(0.25 * much * rng.uniform(0.2, 1)) * groove
    colour *= (1 - np.float32(0.22 * much * rng.uniform(0.2, 1)) * groove)[..., None]
    across, along = _rays(growth, x, y)
    length, width = float(rng.uniform(0.003, 0.010) * growth.spec.diameter), float(rng.uniform(0.2, 0.7))
    fine = np.clip(_streaks(across / np.float32(width), along / np.float32(length), rng) - 1.3, 0, 1)
    fine *= np.clip(0.5 + 0.6 * clouds(grid, rng, 40.0, 3), 0, 1)
    colour *= (1 - np.float32(0.5 * much) * fine)[..., None]


def _blue(
    colour: F32, much: float, growth: Growth, grid: Grid, x: F32, y: F32, age: F32, rng: np.random.Generator
) -> None:
    across, along = _rays(growth, x, y)
    tints = [0.40, 0.43, 0.47], [0.52, 0.42, 0.34], [0.36, 0.34, 0.31], [0.55, 0.58, 0.55]
    tint = np.array(tints[int(rng.integers(len(tints)))], np.float32)
    if growth.spec.cut == "side":
        where = np.clip(1.2 * clouds(grid, rng, 0.4 * growth.spec.diameter, 3) - rng.uniform(-0.5, 1.0), 0, 1)
    else:
        curve = periodic(rng, 720, range(1, 40), 0.5).astype(np.float32)
        about = curve[(across * np.float32(720 / (np.pi * growth.mean_rim))).astype(np.int32) % 720]
        out = along / np.float32(growth.mean_rim)
        reach = float(rng.uniform(0.1, 0.8))
        deep = np.clip((out - (1 - reach)) * 3 / reach, -1, 1) if rng.random() < 0.7 else np.clip(
            1 - np.abs(out - rng.uniform(0.25, 0.7)) * 5, -1, 1)  # fmt: skip
        where = np.clip(0.8 * about + deep - np.float32(rng.uniform(0.0, 1.2)), 0, 1)
    width, length = float(np.exp(rng.uniform(np.log(0.4), np.log(3.0)))), float(rng.uniform(3, 30))
    ends = age if growth.spec.cut == "end" else along
    streak = _streaks(across / np.float32(width), ends / np.float32(length), rng, abrupt=True)
    least = float(rng.uniform(-0.5, 1.2))
    dark = np.clip((streak - np.float32(least)) * np.float32(rng.uniform(0.6, 2.0)), 0, 1)
    cover = np.float32(much) * where * (np.float32(rng.uniform(0, 0.35)) + np.float32(rng.uniform(0.4, 0.9)) * dark)
    colour *= 1 - np.clip(cover, 0, 0.95)[..., None] * (1 - tint)


def _lobe(colour: F32, much: float, growth: Growth, grid: Grid, x: F32, y: F32, rng: np.random.Generator) -> None:
    if growth.spec.cut == "side":
        return
    dx, dy = x - np.float32(growth.pith[0]), y - np.float32(growth.pith[1])
    ragged = np.float32(rng.uniform(0.5, 3.0)) * clouds(grid, rng, 9.0, 3)
    cover = np.zeros_like(x)
    for _ in range(int(rng.integers(2, 9))):
        a, wide = rng.uniform(0, 2 * np.pi), rng.uniform(0.02, 0.10) * growth.mean_rim
        first, last = np.sort(rng.uniform(0.02, 0.7, 2)) * growth.mean_rim
        along, side = (dx * np.float32(np.cos(a + t)) + dy * np.float32(np.sin(a + t)) for t in (0, np.pi / 2))
        middle, half = np.float32((first + last) / 2), np.float32(max((last - first) / 2, 2.0))
        bow = np.clip(1 - ((along - middle) / half) ** 2, 0, 1)
        inside = np.float32(wide) * np.sqrt(bow) - np.abs(side) + ragged * (bow > 0)
        cover = np.maximum(cover, np.clip(0.5 + inside / np.float32(rng.uniform(0.8, 4.0)), 0, 1) * (bow > 0))
    colour *= (1 - np.float32(much * rng.uniform(0.15, 0.5)) * cover)[..., None]


def _zone(colour: F32, much: float, grid: Grid, rng: np.random.Generator) -> None:
    patch = np.clip(1.5 * clouds(grid, rng, 120.0, 2), 0, 1)
    for _ in range(int(rng.integers(1, 4))):
        field = clouds(grid, rng, float(rng.uniform(20, 60)), 3)
        gy, gx = np.gradient(field, grid.step)
        off = np.abs(field - np.float32(rng.uniform(-1, 1))) / np.maximum(np.hypot(gx, gy), 1e-3)
        line = np.exp(-((off / np.float32(rng.uniform(0.25, 0.9))) ** 2)) * patch
        colour *= (1 - np.float32(much * rng.uniform(0.4, 0.9)) * line)[..., None]


def _score(
    colour: F32, relief: F32, much: float, growth: Growth, grid: Grid, x: F32, y: F32, rng: np.random.Generator
) -> None:
    deg = float(rng.uniform(0, 360))
    for _ in range(int(rng.integers(1, 3))):  # a saw that is set anew runs a little askew
        across, along = _sawn(x, y, deg + float(rng.normal(0, 12)), float(rng.choice([0, rng.uniform(-1, 1) / 200])))
        across = across + np.float32(0.6) * clouds(grid, rng, 60.0, 2)
        width = float(np.exp(rng.uniform(np.log(0.4), np.log(2.5))))
        streak = _streaks(across / np.float32(width), along / np.float32(rng.uniform(10, 90)), rng)
        every = np.sin(across * np.float32(2 * np.pi / rng.uniform(5, 20)))
        streak = np.clip(streak + np.float32(rng.uniform(0, 1.2)) * every - np.float32(rng.uniform(0.3, 1.3)), 0, 1.5)
        where = np.clip(
            0.4 + np.float32(rng.uniform(0.5, 1.2)) * clouds(grid, rng, float(rng.uniform(40, 160)), 2), 0, 1
        )
        streak *= where * np.clip(0.8 + 0.3 * speckle(grid, rng, 0.6), 0, 1.2)
        pale = rng.random() < 0.65
        tone = np.float32(much * rng.uniform(0.1, 0.35) if pale else -much * rng.uniform(0.1, 0.35)) * streak
        colour *= (1 + tone)[..., None]
        relief += np.float32(0.05 * much) * streak


def _run(colour: F32, much: float, growth: Growth, x: F32, y: F32, rng: np.random.Generator) -> None:
    down = float(rng.uniform(0, 360))
    tint = np.array([[0.62, 0.54, 0.44], [0.80, 0.78, 0.74], [1.15, 1.12, 1.05]][int(rng.integers(3))], np.float32)
    across, along = _sawn(x, y, down, 0.0)
    for _ in range(int(rng.integers(1, 6))):
        first, at = (float(v) * growth.spec.diameter for v in rng.uniform(-0.5, 0.4, 2))
        length = float(rng.uniform(0.05, 0.5)) * growth.spec.diameter
        t = (along - np.float32(first)) / np.float32(length)
        waves = (np.float32(rng.uniform(0.2, 1.5)) * np.sin(along / np.float32(v) + np.float32(v)) for v in (5.0, 17.0))
        off = np.abs(across - np.float32(at + 0.1) - sum(waves))
        half = np.float32(np.exp(rng.uniform(np.log(0.5), np.log(5.0)))) * np.clip(0.6 + 0.5 * t, 0, 1.2)
        inside = np.minimum(half - off, np.minimum(t, 1 - t) * np.float32(length))
        body = np.clip(0.5 + inside / np.float32(rng.uniform(0.3, 1.2)), 0, 1)
        border = np.exp(-((inside / np.float32(0.35)) ** 2)) * np.float32(rng.uniform(0, 0.5))
        colour *= 1 - np.float32(much) * (np.clip(body, 0, 1)[..., None] * (1 - tint) + (0.5 * border)[..., None])
