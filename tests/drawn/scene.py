"""From a scene's description to its photo and its truth."""

from __future__ import annotations

import functools
import io
import json
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.drawn.bench import paint_bench
from tests.drawn.camera import F32, CameraSpec, expose, lookup, photo_box
from tests.drawn.laying import lay
from tests.drawn.marks import trace
from tests.drawn.noise import Grid, clouds, generator, speckle
from tests.drawn.sides import draw_side
from tests.drawn.spec import SceneSpec
from tests.drawn.texture import Painted, paint
from tests.drawn.truth import Truth, truth_of
from tests.drawn.wood import Growth


@dataclass(frozen=True, eq=False)
class Drawn:
    """A drawn photo: its pixels (height, width, 3) in sRGB as they left the JPEG file, the file, and the truth."""

    spec: SceneSpec
    truth: Truth
    jpeg: bytes = field(repr=False)

    @functools.cached_property
    def pixels(self) -> NDArray[np.uint8]:
        """The photo as its file shows it."""
        from PIL import Image

        with Image.open(io.BytesIO(self.jpeg)) as picture:
            return np.asarray(picture.convert("RGB"))

    def save(self, path: Path | str) -> Path:
        """Write the photo (JPEG as drawn; any other suffix as Pillow does) and, beside it, its truth as JSON."""
        path = Path(path)
        if path.suffix.lower() in (".jpg", ".jpeg"):
            path.write_bytes(self.jpeg)
        else:
            from PIL import Image

            Image.fromarray(self.pixels).save(path)
        text = json.dumps(self.truth.document(path.name), separators=(",", ":"))
        path.with_suffix(".truth.json").write_text(text + "\n", encoding="utf-8")
        return path


def draw(spec: SceneSpec) -> Drawn:
    """Return the photo of a scene."""
    growth = Growth(spec.wood)
    cracks = [t for t in (trace(growth, c) for c in spec.cracks) if t is not None]
    truth = truth_of(spec, growth, cracks)
    grid = Grid.over(truth.outline_mm.min(0), truth.outline_mm.max(0), 0.95 / spec.camera.scale_at())
    return draw_face(spec, growth, truth, paint(growth, spec.finish, cracks, spec.marks, grid, spec.defects))


def draw_face(spec: SceneSpec, growth: Growth, truth: Truth, face: Painted) -> Drawn:
    """Return the photo of a scene whose face is painted already."""
    straight = replace(spec, camera=replace(spec.camera, mirrored=False))
    picture = expose(_photographed(straight, growth, truth, face), straight.camera, spec.seed)
    if spec.camera.mirrored:
        picture = np.ascontiguousarray(picture[:, ::-1])
    return Drawn(spec, truth, _encoded(picture, spec.camera))


def _photographed(spec: SceneSpec, growth: Growth, truth: Truth, face: Painted) -> F32:
    camera = spec.camera
    light = _background(spec, growth)
    shade = _shade(spec)
    for item in spec.items:
        if item.z > 0:
            lay(light, item, spec)
    draw_side(light, spec, growth, truth.outline_mm)
    _warp(light, face, camera)
    for item in spec.items:
        if item.z <= 0:
            lay(light, item, spec)
    if spec.sawdust > 0:
        _dust(light, spec)
    light *= shade
    return light


def _background(spec: SceneSpec, growth: Growth) -> F32:
    """Return the bench with the shadow that the wood throws on it, seen by the camera."""
    import cv2

    camera, z = spec.camera, spec.bench.below
    border = np.array([[0, 0], [1, 0], [1, 1], [0, 1], [0.5, 0], [0.5, 1], [0, 0.5], [1, 0.5]])
    reach = camera.px_to_mm(border * [camera.width - 1, camera.height - 1], z)
    step = max(1.6 / camera.scale_at(z=z), float(np.ptp(reach, axis=0).max()) / 6000)
    grid = Grid.over(reach.min(0), reach.max(0), step)
    colour = paint_bench(spec.bench, grid)
    if spec.light.cast > 0:
        coarse = Grid.over(reach.min(0), reach.max(0), max(step, 2.0))
        a = np.radians(spec.light.from_deg)
        throw = spec.light.slant * z * np.array([np.cos(a), np.sin(a)])
        x, y = np.meshgrid(coarse.x + np.float32(throw[0]), coarse.y + np.float32(throw[1]))
        edge = growth.smooth_outer  # far out, the fine roughness would throw its shadow as rays
        inside = growth.depth(x, y, edge)
        soft = spec.light.soft + 0.1 * z
        shadow = 0.5 + 0.5 * np.tanh(inside / soft)
        xc, yc = np.meshgrid(coarse.x, coarse.y)
        contact = np.exp(-np.clip(-growth.depth(xc, yc, edge), 0, None) / (4 + 0.2 * z))
        dark = 1 - spec.light.cast * np.maximum(shadow, 0.7 * contact)
        sx, sy = coarse.sample_of(grid.x, grid.y)
        full = cv2.remap(
            dark.astype(np.float32), *np.meshgrid(sx, sy), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        colour *= full[..., None]
    x, y = lookup(camera, z, (0, 0, camera.width, camera.height))
    return np.asarray(cv2.remap(colour, *grid.sample_of(x, y), cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))


def _warp(light: F32, layer: Painted, camera: CameraSpec, z: float = 0.0) -> None:
    """Lay a painted layer over the light that the camera sees."""
    import cv2

    g = layer.grid
    low, high = [g.x0, g.y0], [g.x0 + g.step * (g.columns - 1), g.y0 + g.step * (g.rows - 1)]
    edge = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
    box = photo_box(camera, edge, z)
    if box is None:
        return
    x, y = g.sample_of(*lookup(camera, z, box))
    cover = cv2.remap(layer.cover, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)[..., None]
    colour = cv2.remap(layer.colour, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    view = light[box[1] : box[3], box[0] : box[2]]
    view += cover * (colour - view)


def _shade(spec: SceneSpec) -> F32:
    """Return the factor of the light over the photo: its gradient and the patch of sun or shadow."""
    import cv2

    camera = spec.camera
    k = 8
    gx, gy = np.arange(0, camera.width + k, k) + (k - 1) / 2, np.arange(0, camera.height + k, k) + (k - 1) / 2
    px = np.stack(np.meshgrid(gx, gy), -1)
    a = np.radians(spec.light.from_deg)
    u = (px - np.asarray(camera.centre_px)) / (max(camera.width, camera.height) / 2)
    shade = 1 + spec.light.gradient * (u[..., 0] * np.cos(a) + u[..., 1] * np.sin(a))
    gain = np.repeat(shade[..., None], 3, axis=2)
    if spec.light.patch:
        mm = camera.px_to_mm(px.reshape(-1, 2)).reshape(px.shape) - spec.light.patch_at
        t = np.radians(spec.light.patch_deg)
        p, q = mm[..., 0] * np.cos(t) + mm[..., 1] * np.sin(t), -mm[..., 0] * np.sin(t) + mm[..., 1] * np.cos(t)
        inside = np.minimum(spec.light.patch_size[0] - np.abs(p), spec.light.patch_size[1] - np.abs(q))
        weight = 0.5 + 0.5 * np.tanh(inside / max(spec.light.soft, 1.0))
        tint = np.array([1.05, 1.0, 0.88]) if spec.light.patch > 0 else np.array([1.0, 0.96, 0.88])
        gain *= 1 + weight[..., None] * spec.light.patch * tint
    full = cv2.resize(gain.astype(np.float32), (k * len(gx), k * len(gy)), interpolation=cv2.INTER_LINEAR)
    return np.asarray(np.maximum(full[: camera.height, : camera.width], 0.02))


def _dust(light: F32, spec: SceneSpec) -> None:
    """Strew sawdust over the whole photo."""
    camera = spec.camera
    rng = generator(spec.seed, "dust")
    grid = Grid(0, 0, 1 / camera.scale_at(), camera.width, camera.height)
    chips = np.clip((speckle(grid, rng, 1.1) - (3.0 - 1.2 * spec.sawdust)) * 3, 0, 1)
    heaps = np.clip((clouds(grid, rng, 90.0, 5) - 2.2 + 1.5 * spec.sawdust) * 0.8, 0, 1)
    heaped = heaps * np.clip(0.6 + 0.4 * speckle(grid, rng, 0.3) + 0.3 * speckle(grid, rng, 0.8), 0, 1)
    cover = np.maximum(chips, heaped)[..., None]
    tone = np.array([0.78, 0.62, 0.38], np.float32) * (1 + 0.2 * speckle(grid, rng, 1.3))[..., None]
    light += cover * (tone - light) * 0.9


def _encoded(picture: NDArray[np.uint8], camera: CameraSpec) -> bytes:
    from PIL import Image

    target = io.BytesIO()
    image = Image.fromarray(picture)
    exif = image.getexif()
    if camera.exif:
        # 35 mm equivalence by the diagonal of the frame, 43.27 mm (CIPA DCG-001)
        diagonal = float(np.hypot(camera.width, camera.height))
        block = exif.get_ifd(0x8769)
        block[0xA405] = round(camera.focal_px * 43.27 / diagonal)
    image.save(target, "JPEG", quality=camera.jpeg_quality, subsampling=0 if camera.jpeg_quality > 92 else 2, exif=exif)
    return target.getvalue()
