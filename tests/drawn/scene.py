"""From a scene's description to its photo and its truth."""

from __future__ import annotations

import functools
import io
import json
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tests.drawn.bench import BenchSpec, paint_bench
from tests.drawn.camera import F32, CameraSpec, decode_srgb, expose, lookup, photo_box
from tests.drawn.marks import CrackSpec, MarkSpec, Traced, mark_path, trace
from tests.drawn.noise import Array, Grid, clouds, generator, speckle
from tests.drawn.prints import artwork
from tests.drawn.references import Item
from tests.drawn.texture import FinishSpec, Painted, paint
from tests.drawn.wood import Growth, WoodSpec


@dataclass(frozen=True)
class LightSpec:
    """The light in linear light.

    Attributes
    ----------
    from_deg : float
        Where it comes from, as a direction on the face.
    gradient : float
        How much brighter the lit side of the photo is than the middle, as a share.
    cast : float
        How dark the wood's own shadow on the bench is, 0 to 1.
    slant : float
        Length of a shadow over the height that casts it.
    soft : float
        Width of a shadow's edge in mm.
    patch : float
        Brightness that a patch of sun adds (0: none), or takes when negative (a shadow across the picture).
    patch_at, patch_size, patch_deg
        Its middle and half sizes in mm, and its turn.
    """

    from_deg: float = 225.0
    gradient: float = 0.15
    cast: float = 0.6
    slant: float = 0.8
    soft: float = 8.0
    patch: float = 0.0
    patch_at: tuple[float, float] = (0.0, 0.0)
    patch_size: tuple[float, float] = (80.0, 200.0)
    patch_deg: float = 30.0


@dataclass(frozen=True)
class SceneSpec:
    """Everything in a photo. Items are painted in their order, those below the face before the wood."""

    wood: WoodSpec = field(default_factory=WoodSpec)
    finish: FinishSpec = field(default_factory=FinishSpec)
    cracks: tuple[CrackSpec, ...] = ()
    marks: tuple[MarkSpec, ...] = ()
    bench: BenchSpec = field(default_factory=BenchSpec)
    items: tuple[Item, ...] = ()
    light: LightSpec = field(default_factory=LightSpec)
    camera: CameraSpec = field(default_factory=CameraSpec)
    sawdust: float = 0.0
    """How much sawdust lies over everything, references too; 0 to 1."""
    seed: int = 0

    @property
    def reference(self) -> str:
        """The kind of the first reference, or "none"."""
        return next((item.kind for item in self.items if item.is_reference), "none")


@dataclass(frozen=True, eq=False)
class CrackTruth:
    """A crack as drawn: path (n, 2) and widths (n,) in mm, to the very tip."""

    kind: str
    path_mm: Array
    widths_mm: Array

    @property
    def width_mm(self) -> float:
        """Greatest width."""
        return float(self.widths_mm.max())

    @property
    def length_mm(self) -> float:
        """Length along the path."""
        return float(np.hypot(*np.diff(self.path_mm, axis=0).T).sum())


@dataclass(frozen=True, eq=False)
class Distractor:
    """Something that is no crack, as drawn."""

    kind: str
    path_mm: Array
    width_mm: float


@dataclass(frozen=True, eq=False)
class Truth:
    """What the photo shows, exactly.

    `outline_mm` and `under_bark_mm` are (n, 2), the first point not repeated. `pith_mm` is None where the face is along
    the grain; it may lie outside the piece. `diameter_mm` is of the circle with the outline's area.
    """

    outline_mm: Array
    under_bark_mm: Array
    pith_mm: Array | None
    diameter_mm: float
    cracks: tuple[CrackTruth, ...]
    distractors: tuple[Distractor, ...]
    references: tuple[Item, ...]
    camera: CameraSpec

    @property
    def reference(self) -> str:
        """Kind of the first reference, or "none"."""
        return self.references[0].kind if self.references else "none"

    @property
    def homography(self) -> Array:
        """3x3, from mm on the face to pixels of an ideal lens (not mirrored)."""
        return self.camera.homography()

    @property
    def mm_per_px(self) -> float:
        """Size of a pixel about the middle of the outline."""
        return 1 / self.camera.scale_at(self.outline_mm.mean(0))

    def mm_to_px(self, points: ArrayLike, z: float = 0.0) -> Array:
        """Return where points (n, 2) in mm fall in the photo, lens and all."""
        return self.camera.mm_to_px(points, z)

    def px_to_mm(self, points_px: ArrayLike, z: float = 0.0) -> Array:
        """Return the points of the face, in mm, that the photo shows at these pixels."""
        return self.camera.px_to_mm(points_px, z)

    def document(self, file: str) -> dict[str, Any]:
        """Return the truth as plain values, for a list of scenes."""
        c = self.camera
        return {
            "file": file,
            "reference": self.reference,
            "outline_mm": _rounded(_thinned(self.outline_mm)),
            "under_bark_mm": _rounded(_thinned(self.under_bark_mm)),
            "diameter_mm": round(self.diameter_mm, 4),
            "pith_mm": None if self.pith_mm is None else _rounded(self.pith_mm),
            "cracks_mm": [
                {
                    "kind": k.kind, "width": round(k.width_mm, 3), "length": round(k.length_mm, 2),
                    "path": _rounded(k.path_mm),
                }
                for k in self.cracks
            ],
            "distractors_mm": [
                {"kind": d.kind, "width": round(d.width_mm, 3), "path": _rounded(d.path_mm)} for d in self.distractors
            ],
            "references_mm": [
                {
                    "kind": r.kind, "variant": r.variant, "size": list(r.size), "z": r.z, "curl": r.curl,
                    "pitch": r.pitch, "number": r.number,
                    "corners": _rounded(r.corners),
                }
                for r in self.references
            ],
            "mm_to_px": {
                "homography": [[float(v) for v in row] for row in self.homography],
                "focal_px": c.focal_px, "centre_px": list(c.centre_px), "k1": c.k1, "k2": c.k2,
                "mirrored": c.mirrored, "width_px": c.width, "height_px": c.height,
            },
            "mm_per_px": self.mm_per_px,
            "tilt_deg": c.tilt_deg,
            "distance_mm": c.distance,
        }  # fmt: skip


def _thinned(outline: Array) -> Array:
    """Return fewer points of an outline, within 0.02 mm of it."""
    from shapely import Polygon

    return np.asarray(Polygon(outline).simplify(0.02).exterior.coords)[:-1]


def _rounded(points: Array) -> Any:
    return np.round(np.asarray(points, float), 3).tolist()


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
    straight = replace(spec, camera=replace(spec.camera, mirrored=False))
    picture = expose(_photographed(straight, growth, cracks, truth), straight.camera, spec.seed)
    if spec.camera.mirrored:
        picture = np.ascontiguousarray(picture[:, ::-1])
    return Drawn(spec, truth, _encoded(picture, spec.camera))


def truth_of(spec: SceneSpec, growth: Growth, cracks: list[Traced]) -> Truth:
    """Return what a photo of the scene shows."""
    outline = growth.polygon(growth.outer)
    x, y = outline[:, 0], outline[:, 1]
    area = 0.5 * abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1)))
    distractors = []
    for mark in spec.marks:
        path, widths = mark_path(mark)
        distractors.append(Distractor(mark.kind, path, float(widths.max())))
    for knot in spec.wood.knots:
        a = np.radians(knot.angle_deg)
        end = growth.pith + knot.reach * float(growth.rim(a)) * np.array([np.cos(a), np.sin(a)])
        distractors.append(Distractor("knot", np.array([growth.pith, end]), knot.width))
    for fold in spec.wood.folds:
        a = np.radians(fold.angle_deg)
        end = growth.pith + float(growth.rim(a)) * np.array([np.cos(a), np.sin(a)])
        distractors.append(Distractor("fold", np.array([growth.pith, end]), 2.0))
    return Truth(
        outline_mm=outline,
        under_bark_mm=growth.polygon(growth.under),
        pith_mm=growth.pith if spec.wood.cut == "end" else None,
        diameter_mm=float(np.sqrt(4 * area / np.pi)),
        cracks=tuple(CrackTruth(c.spec.kind, c.path, c.widths) for c in cracks),
        distractors=tuple(distractors),
        references=tuple(item for item in spec.items if item.is_reference),
        camera=spec.camera,
    )


def _photographed(spec: SceneSpec, growth: Growth, cracks: list[Traced], truth: Truth) -> F32:
    camera = spec.camera
    light = _background(spec, growth)
    shade = _shade(spec)
    for item in spec.items:
        if item.z > 0:
            _lay(light, item, spec)
    _side_of_the_wood(light, spec, growth, truth)
    step = 0.95 / camera.scale_at()
    grid = Grid.over(truth.outline_mm.min(0), truth.outline_mm.max(0), step)
    face = paint(growth, spec.finish, cracks, spec.marks, grid)
    _warp(light, face, camera)
    for item in spec.items:
        if item.z <= 0:
            _lay(light, item, spec)
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


SUPERSAMPLE = 2
"""Samples per pixel along each side where an item is laid: its print is sharper than the photo."""


def _lay(light: F32, item: Item, spec: SceneSpec) -> None:
    import cv2

    camera = spec.camera
    lift = int(abs(item.curl) * camera.scale_at(item.centre, item.z))
    box = photo_box(camera, item.corners, item.z, 6 + lift)
    if box is None:
        return
    if item.kind != "heap":
        _shadow_of(light, item, spec)
    _sides_of(light, item, camera)
    x, y = lookup(camera, item.z, box, SUPERSAMPLE)
    if item.curl:
        x, y = _curled(item, camera, box, x, y)
    u, v = item.to_own(x, y)
    sample = 1 / (camera.scale_at(item.centre, item.z) * SUPERSAMPLE)
    soft = 1.5 if item.kind == "heap" else sample
    cover = np.clip(item.inside(u, v) / np.float32(soft) + 0.5, 0, 1)
    art = artwork(item, 1.2 * sample)
    half = np.float32(0.5)
    printed = cv2.remap(
        decode_srgb(art.pixels), u / np.float32(art.step) - half, v / np.float32(art.step) - half,
        cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    if item.curl:
        printed = printed * _curl_shade(item, u)[..., None]
    size = (box[2] - box[0], box[3] - box[1])
    covered = cv2.resize(printed * cover[..., None], size, interpolation=cv2.INTER_AREA)
    share = cv2.resize(cover, size, interpolation=cv2.INTER_AREA)[..., None]
    view = light[box[1] : box[3], box[0] : box[2]]
    view *= 1 - share
    view += covered


def _curled(item: Item, camera: CameraSpec, box: tuple[int, int, int, int], x: F32, y: F32) -> tuple[F32, F32]:
    """Move the points where rays meet the item's plane to where they meet its curled surface."""
    # along a ray, x and y are linear in z; the surface is met by going back and forth a few times
    x1, y1 = lookup(camera, item.z - 10.0, box, SUPERSAMPLE)
    slope_x, slope_y = (x1 - x) / np.float32(10), (y1 - y) / np.float32(10)
    u, _ = item.to_own(x, y)
    for _ in range(4):
        lift = _lift(item, u)
        u, _v = item.to_own(x + slope_x * lift, y + slope_y * lift)
    lift = _lift(item, u)
    return x + slope_x * lift, y + slope_y * lift


def _lift(item: Item, u: F32) -> F32:
    s = np.clip(u / np.float32(item.size[0]) * 2 - 1, -1.1, 1.1)
    return np.asarray(np.float32(item.curl) * s * s, np.float32)


def _curl_shade(item: Item, u: F32) -> F32:
    slope = 8 * item.curl / item.size[0] * (u / np.float32(item.size[0]) - np.float32(0.5))
    return np.asarray(1 + 0.5 * slope, np.float32)


def _shadow_of(light: F32, item: Item, spec: SceneSpec) -> None:
    """Darken what lies under an item: the higher it is above the bench, the farther and softer."""
    import cv2

    camera = spec.camera
    height = max(0.5, spec.bench.below - item.z)
    z = min(item.z + height, spec.bench.below) if item.z < spec.bench.below else item.z
    a = np.radians(spec.light.from_deg)
    throw = spec.light.slant * height * np.array([np.cos(a), np.sin(a)])
    corners = item.edge - throw
    px = camera.mm_to_px(corners, z)
    soft = (0.8 + 0.25 * height) * camera.scale_at(item.centre, z)
    box = photo_box(camera, corners, z, int(3 * soft) + 3)
    if box is None:
        return
    k = max(1, int(soft / 2))
    size = (max(2, (box[2] - box[0]) // k), max(2, (box[3] - box[1]) // k))
    mask = np.zeros((size[1], size[0]), np.float32)
    at = (px - [box[0], box[1]]) * [size[0] / (box[2] - box[0]), size[1] / (box[3] - box[1])]
    cv2.fillPoly(mask, [np.round(at * 16).astype(np.int32)], 1.0, cv2.LINE_8, 4)
    mask = cv2.GaussianBlur(mask, (0, 0), max(0.6, soft / k))
    full = cv2.resize(mask, (box[2] - box[0], box[3] - box[1]), interpolation=cv2.INTER_LINEAR)
    light[box[1] : box[3], box[0] : box[2]] *= (1 - 0.8 * spec.light.cast * full)[..., None]


def _sides_of(light: F32, item: Item, camera: CameraSpec) -> None:
    """Fill what is seen of an item's sides: the hull of its upper and lower edge; its top is laid over it."""
    import cv2

    if item.thick <= 0:
        return
    below = camera.mm_to_px(item.edge, item.z + item.thick)
    hull = cv2.convexHull(np.concatenate([camera.mm_to_px(item.edge, item.z), below]).astype(np.float32))
    colour = [float(v) for v in 0.45 * decode_srgb(np.asarray(item.colour))]
    cv2.fillConvexPoly(light, np.round(hull * 16).astype(np.int32), colour, cv2.LINE_8, 4)


WALL_STEPS = 24


def _side_of_the_wood(light: F32, spec: SceneSpec, growth: Growth, truth: Truth) -> None:
    """Draw the piece's side, from the edge of the face down to the bench, where the camera sees it."""
    import cv2

    below = spec.bench.below
    camera = spec.camera
    if below < 1:
        return
    base = truth.outline_mm
    box = photo_box(camera, np.concatenate([base, base]), 0.0, 4)
    lower = photo_box(camera, base, below, 4)
    if box is None or lower is None:
        return
    box = (min(box[0], lower[0]), min(box[1], lower[1]), max(box[2], lower[2]), max(box[3], lower[3]))
    x0, y0 = lookup(camera, 0.0, box)
    x1, y1 = lookup(camera, below, box)
    # the face hides the side: only rays that miss the face can meet it
    ray_out = growth.depth(x0[::2, ::2], y0[::2, ::2], growth.outer) < 0
    rows, columns = np.nonzero(ray_out)
    xa, ya = x0[::2, ::2][rows, columns], y0[::2, ::2][rows, columns]
    dx, dy = x1[::2, ::2][rows, columns] - xa, y1[::2, ::2][rows, columns] - ya
    close = growth.depth(xa, ya, growth.outer) > -1.5 * float(np.hypot(dx, dy).max()) - 2
    rows, columns = rows[close], columns[close]
    xa, ya, dx, dy = xa[close], ya[close], dx[close], dy[close]
    hit = np.full(len(xa), np.inf, np.float32)
    before = growth.depth(xa, ya, growth.outer)
    for k in range(1, WALL_STEPS + 1):
        t = k / WALL_STEPS
        now = growth.depth(xa + t * dx, ya + t * dy, growth.outer)
        meets = (now >= 0) & (before < 0) & ~np.isfinite(hit)
        exact = t - (now / np.maximum(now - before, 1e-9)) / WALL_STEPS
        hit = np.where(meets, exact, hit)
        before = now
    good = np.isfinite(hit)
    if not good.any():
        return
    px, py = xa[good] + hit[good] * dx[good], ya[good] + hit[good] * dy[good]
    colour = _side_colour(spec, growth, px, py, hit[good] * below)
    shape = ray_out.shape
    layer, cover = np.zeros((*shape, 3), np.float32), np.zeros(shape, np.float32)
    layer[rows[good], columns[good]], cover[rows[good], columns[good]] = colour, 1.0
    # spread the colour a little over the edges before it is enlarged
    weight = cv2.GaussianBlur(cover, (0, 0), 1.0)
    layer = np.where(
        cover[..., None] > 0, layer, cv2.GaussianBlur(layer, (0, 0), 1.0) / np.maximum(weight, 1e-3)[..., None]
    )
    size = (box[2] - box[0], box[3] - box[1])
    wide = (2 * shape[1], 2 * shape[0])
    colour_full = cv2.resize(layer, wide, interpolation=cv2.INTER_LINEAR)[: size[1], : size[0]]
    grown = cv2.dilate(cover, np.ones((3, 3), np.uint8)) * (ray_out < 1) + cover * ray_out
    cover_full = cv2.resize(grown.astype(np.float32), wide, interpolation=cv2.INTER_LINEAR)[: size[1], : size[0], None]
    view = light[box[1] : box[3], box[0] : box[2]]
    view += cover_full * (colour_full - view)


def _side_colour(spec: SceneSpec, growth: Growth, x: F32, y: F32, z: F32) -> F32:
    """Return the linear light of the side at places on it: bark plates, or sawn wood where there is no bark."""
    import cv2

    from tests.drawn.looks import LOOKS

    look = LOOKS[spec.wood.look]
    angle = np.arctan2(y, x)
    rng = generator(spec.wood.seed, "side")
    sheet = Grid(0, 0, 0.5, 1600, 400)
    rough = clouds(sheet, rng, 9.0, 4) + 0.5 * speckle(sheet, rng, 0.8)
    around = (angle * np.float32(growth.spec.diameter / 2 / 0.5)) % 1599
    value = cv2.remap(
        rough, around.astype(np.float32)[None], ((z / 1.6) / 0.5 % 399).astype(np.float32)[None], cv2.INTER_LINEAR
    )[0]
    has_bark = growth.radius(angle, growth.outer - growth.under) > 0.4
    base = np.where(has_bark[:, None], np.array(look.bark), 0.85 * np.array(look.sap))
    tone = 1 + np.where(has_bark, 0.28, 0.05) * value
    lit = 0.62 + 0.30 * np.cos(angle - np.radians(spec.light.from_deg))
    fade = 1 - 0.35 * z / max(spec.bench.below, 1)
    return decode_srgb(np.clip(base * (tone * np.sqrt(np.maximum(lit * fade, 0.05)))[:, None], 0, 1))


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
