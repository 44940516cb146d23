"""Draw cracks, and what is mistaken for them, into photos of real wood, so that their place is known to the pixel."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from photonest.model import FlatPhoto, Outline, Pith
from tests.bench.cracks import Scene

Vector = NDArray[np.float64]
SUPERSAMPLED = 4


@dataclass(frozen=True, eq=False)
class Cracked:
    """A photo with drawn cracks: `cracks` and `others` (pencil lines, stains, scratches) are paths in its pixels.

    `openings` are the cracks' widths along their paths, in pixels.
    """

    scene: Scene
    factor: float
    cracks: list[Vector]
    others: list[Vector]
    openings: list[Vector]


def cracked(base: Scene, seed: int) -> Cracked:
    """Return a photo at another size, exposure and sharpness, with a few cracks and other lines drawn into it."""
    import cv2

    rng = np.random.default_rng(seed)
    flat, factor = _resized(base.flat, float(rng.choice([0.4, 0.55, 0.75, 1.0])))
    pixels = flat.pixels.astype(np.float32)
    edge = flat.to_px(base.outline.wood)
    assert base.pith is not None
    pith = flat.to_px([base.pith.point])[0]
    across = np.sqrt(4 * cv2.contourArea(edge.astype(np.float32)) / np.pi)
    others = [_other(pixels, edge, pith, across, rng) for _ in range(int(rng.integers(0, 5)))]
    cracks = [_crack(pixels, edge, pith, across, rng) for _ in range(int(rng.integers(0, 7)))]
    developed = _developed(pixels, rng)
    developed.setflags(write=False)
    new = replace(flat, pixels=developed)
    drawn = [crack for crack in cracks if len(crack[0])]
    return Cracked(
        Scene(new, base.outline, base.pith), factor, [path for path, _ in drawn], others, [width for _, width in drawn]
    )


def mirrored(base: Scene) -> Scene:
    """Return the photo seen in a mirror."""
    width = base.flat.pixels.shape[1] * base.flat.mm_per_px

    def flip(points: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
        return tuple((width - base.flat.mm_per_px - x, y) for x, y in points)

    under = base.outline.under_bark
    return Scene(
        replace(base.flat, pixels=np.ascontiguousarray(base.flat.pixels[:, ::-1])),
        Outline(flip(base.outline.points), under_bark=flip(under) if under else None),
        Pith(flip((base.pith.point,))[0], base.pith.standard_error) if base.pith else None,
    )


def _resized(flat: FlatPhoto, factor: float) -> tuple[FlatPhoto, float]:
    from photonest.resizing import reduced

    if factor >= 1:
        return flat, 1.0
    small = reduced(flat, max(flat.pixels.shape[:2]) * factor)
    return small, flat.mm_per_px / small.mm_per_px


def _crack(
    pixels: NDArray[np.float32], edge: Vector, pith: Vector, across: float, rng: np.random.Generator
) -> tuple[Vector, Vector]:
    """Draw one check: from the rim inwards, from the pith outwards, between, or along a ring; return path and widths.

    Both are empty where there is no room.
    """
    from shapely.geometry import Point, Polygon

    bearing = rng.uniform(0, 2 * np.pi)
    rim = _rim(edge, pith, bearing)
    length = across * float(rng.choice([rng.uniform(0.03, 0.1), rng.uniform(0.1, 0.45)]))
    where = rng.choice(["rim", "pith", "between"], p=[0.35, 0.3, 0.35])
    if where == "pith":
        near, far = 0.0, min(length, 0.95 * rim)
    elif where == "rim":
        near, far = max(0.0, rim - length), rim
    else:
        near = rng.uniform(0.02, 0.8) * rim
        far = min(near + length, 0.97 * rim)
    if far - near < 0.02 * across:
        return np.empty((0, 2)), np.empty(0)
    if where == "between" and rng.random() < 0.3:
        path = _around(pith, bearing, near + 0.05 * across, far - near, rng)
        path = path[[Polygon(edge).buffer(-0.005 * across).covers(Point(p)) for p in path]]
        if len(path) < 8:
            return np.empty((0, 2)), np.empty(0)
    else:
        path = _wandering(pith, bearing, near, far, rng)
    count = len(path)
    t = np.linspace(0, 1, count)
    shape = {"pith": 1 - t, "rim": t}.get(str(where), np.minimum(1.0, 3 * np.minimum(t, 1 - t)))
    widest = across * float(np.exp(rng.uniform(np.log(0.0007), np.log(0.006 if rng.random() < 0.8 else 0.03))))
    uneven = np.clip(1 + 0.35 * _series(count, 12, rng), 0.4, 1.8)
    widths = np.maximum(widest * shape ** rng.uniform(0.4, 0.9) * uneven, 0.3)
    opening = np.ones(count)
    if rng.random() < 0.6:  # fibres bridge it here and there
        opening = np.clip(1.2 + 0.8 * _series(count, 10, rng) - rng.uniform(0, 0.8), 0, 1)
    local = _wood(pixels, path)
    if rng.random() < 0.12:
        fill = np.clip(local * rng.uniform(1.2, 1.6) + 20, 0, 255)
    else:
        fill = local * rng.uniform(0.05, 0.65) * np.array([1.0, 0.95, 0.9])
    _paint(pixels, path, widths, opening, fill, rng.uniform(0.3, 0.9))
    return path, widths


def _other(pixels: NDArray[np.float32], edge: Vector, pith: Vector, across: float, rng: np.random.Generator) -> Vector:
    """Draw a pencil line, a pen stroke, a stain streak or a scratch."""
    kind = rng.choice(["pencil", "ink", "stain", "stain", "stain", "scratch"])
    bearing = rng.uniform(0, 2 * np.pi)
    rim = _rim(edge, pith, bearing)
    if kind == "stain":
        near = rng.uniform(0.1, 0.8) * rim
        far = min(rim, near + across * rng.uniform(0.04, 0.25))
        path = _wandering(pith, bearing, near, far, rng)
        t = np.linspace(0, 1, len(path))
        widths = across * rng.uniform(0.003, 0.012) * np.sqrt(np.minimum(1, 4 * np.minimum(t, 1 - t))) + 0.5
        fill = _wood(pixels, path) * rng.uniform(0.35, 0.85) * np.array([0.9, 0.95, rng.uniform(0.9, 1.15)])
        streaky = np.clip(0.7 + 0.4 * _series(len(path), 15, rng), 0, 1)
        _paint(pixels, path, widths, streaky, fill, across * rng.uniform(0.0015, 0.005))
        return path
    reach = rng.uniform(0.1, 0.9) * rim
    start = pith + rng.normal(0, 0.01 if kind == "pencil" else 0.1, 2) * across
    end = pith + reach * np.array([np.cos(bearing), np.sin(bearing)])
    count = max(8, int(np.hypot(*(end - start)) / 2))
    path = start + np.linspace(0, 1, count)[:, None] * (end - start)
    width = across * rng.uniform(0.0006, 0.0022) * (2.5 if kind == "ink" else 1.0)
    widths = np.full(count, max(0.8, width)) * np.clip(1 + 0.08 * _series(count, 30, rng), 0.7, 1.3)
    local = _wood(pixels, path)
    fill = np.clip(local * 1.35 + 15, 0, 255) if kind == "scratch" else local * rng.uniform(0.3, 0.75)
    _paint(pixels, path, widths, np.clip(0.85 + 0.25 * _series(count, 4, rng), 0, 1), fill, rng.uniform(0.4, 1.0))
    if kind == "pencil":
        _ticks(pixels, path, width, fill, rng)
    return path


def _ticks(pixels: NDArray[np.float32], path: Vector, width: float, fill: Vector, rng: np.random.Generator) -> None:
    along = path[-1] - path[0]
    across = np.array([-along[1], along[0]]) / max(float(np.hypot(*along)), 1e-9)
    for k in rng.integers(0, len(path), int(rng.integers(0, 12))):
        tick = path[k] + np.linspace(-4, 4, 9)[:, None] * width * across
        _paint(pixels, tick, np.full(9, max(0.8, width)), np.full(9, 0.9), fill, 0.5)


def _wandering(pith: Vector, bearing: float, near: float, far: float, rng: np.random.Generator) -> Vector:
    """Return a path outwards that strays as checks do, two pixels a step."""
    count = max(8, int((far - near) / 2))
    radius = np.linspace(near, far, count)
    stray = rng.uniform(0.01, 0.05) * (far - near) * _series(count, max(8, count // 5), rng)
    stray += rng.uniform(0.2, 1.2) * _series(count, 4, rng)
    stray -= stray[0] if near == 0 else 0
    lean = rng.normal(0, 0.12) * (radius - near) * (near > 0)
    outward, sideways = np.array([np.cos(bearing), np.sin(bearing)]), np.array([-np.sin(bearing), np.cos(bearing)])
    return np.asarray(pith + radius[:, None] * outward + (stray + lean)[:, None] * sideways)


def _around(pith: Vector, bearing: float, radius: float, length: float, rng: np.random.Generator) -> Vector:
    """Return a path along a ring, two pixels a step."""
    count = max(8, int(length / 2))
    angle = bearing + np.linspace(0, min(length / radius, 5.0), count)
    r = (
        radius
        + rng.uniform(0.005, 0.03) * length * _series(count, max(8, count // 5), rng)
        + 0.5 * _series(count, 4, rng)
    )
    return np.asarray(pith + r[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]))


def _series(count: int, smooth: int, rng: np.random.Generator) -> Vector:
    """Return smooth noise of unit spread."""
    kernel = np.hanning(2 * smooth + 3)[1:-1]
    noise = np.convolve(rng.normal(size=count + 2 * smooth), kernel, "valid")
    return np.asarray(noise / np.sqrt((kernel**2).sum()))[:count]


def _rim(edge: Vector, pith: Vector, bearing: float) -> float:
    from shapely.geometry import LineString, Point, Polygon

    far = 4 * float(np.hypot(*(edge - pith).T).max())
    ray = LineString([pith, pith + far * np.array([np.cos(bearing), np.sin(bearing)])])
    cut = ray.intersection(Polygon(edge).buffer(0))
    return float(cut.length) if Polygon(edge).buffer(0).contains(Point(pith)) else 0.0


def _wood(pixels: NDArray[np.float32], path: Vector) -> Vector:
    height, width = pixels.shape[:2]
    x, y = np.clip(path.astype(int), 0, [width - 1, height - 1]).T
    return np.asarray(np.median(pixels[y, x], axis=0), float)


def _paint(
    pixels: NDArray[np.float32], path: Vector, widths: Vector, opening: Vector, fill: Vector, blur: float
) -> None:
    """Lay a ribbon over the picture: exact cover of each pixel, softened by `blur` pixels."""
    import cv2

    from photonest.cracks.profiles import normals

    margin = 4 * blur + float(widths.max()) + 2
    low = np.maximum(np.floor(path.min(axis=0) - margin), 0).astype(int)
    high = np.minimum(np.ceil(path.max(axis=0) + margin), [pixels.shape[1], pixels.shape[0]]).astype(int)
    if (high - low).min() < 3:
        return
    size = high - low
    cover = np.zeros((size[1] * SUPERSAMPLED, size[0] * SUPERSAMPLED), np.uint8)
    across = normals(path) * widths[:, None] / 2
    left, right = path + across, path - across
    for k in range(len(path) - 1):
        piece = np.stack([left[k], left[k + 1], right[k + 1], right[k]])
        corners = ((piece - low + 0.5) * SUPERSAMPLED - 0.5) * 16
        cv2.fillConvexPoly(cover, np.round(corners).astype(np.int32), int(255 * opening[k]), shift=4)
    share = cv2.resize(cover, (int(size[0]), int(size[1])), interpolation=cv2.INTER_AREA).astype(np.float32) / 255
    share = cv2.GaussianBlur(share, (0, 0), max(blur, 0.2))[:, :, None]
    part = pixels[low[1] : high[1], low[0] : high[0]]
    part += share * (fill.astype(np.float32) - part)


def _developed(pixels: NDArray[np.float32], rng: np.random.Generator) -> NDArray[np.uint8]:
    """Change exposure, sharpness, noise and compression as another camera would."""
    import cv2

    gain, gamma = rng.uniform(0.6, 1.15), rng.uniform(0.8, 1.25)
    out = 255 * np.clip(pixels / 255 * gain, 0, 1) ** gamma
    if rng.random() < 0.5:
        out = cv2.GaussianBlur(out, (0, 0), rng.uniform(0.3, 1.1))
    out = out + rng.normal(0, rng.uniform(0, 4), out.shape)
    eight = np.clip(out, 0, 255).astype(np.uint8)
    if rng.random() < 0.2:
        eight = np.repeat(cv2.cvtColor(eight, cv2.COLOR_RGB2GRAY)[:, :, None], 3, axis=2)
    ok, coded = cv2.imencode(".jpg", eight[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(55, 96))])
    assert ok
    return np.ascontiguousarray(cv2.imdecode(coded, cv2.IMREAD_COLOR_RGB))
