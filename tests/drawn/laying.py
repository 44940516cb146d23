"""Lays flat things into the light that the camera sees."""

from __future__ import annotations

import numpy as np

from tests.drawn.camera import F32, CameraSpec, decode_srgb, in_sight, lookup, photo_box
from tests.drawn.prints import artwork
from tests.drawn.references import Item
from tests.drawn.spec import SceneSpec

SUPERSAMPLE = 2
"""Samples per pixel along each side where an item is laid: its print is sharper than the photo."""


def lay(light: F32, item: Item, spec: SceneSpec) -> None:
    """Lay an item over the light that the camera sees, with its shadow and its sides."""
    import cv2

    camera = spec.camera
    part = in_sight(camera, item.corners, item.z)
    if not len(part):
        return
    scale = camera.scale_at(part.mean(axis=0), item.z)
    lift = int((abs(item.curl) + item.arch) * scale)
    box = photo_box(camera, part, item.z, 6 + lift)
    if box is None:
        return
    if item.kind != "heap":
        _shadow_of(light, item, spec)
    _sides_of(light, item, camera)
    x, y = lookup(camera, item.z, box, SUPERSAMPLE)
    if item.curl or item.arch:
        x, y = _curled(item, camera, box, x, y)
    u, v = item.to_own(x, y)
    sample = 1 / (scale * SUPERSAMPLE)
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
    if item.clear:
        paint = decode_srgb(np.asarray(item.colour))
        bare = np.clip(1 - np.abs(printed - paint).sum(axis=-1) / np.float32(paint.sum()), 0, 1)
        cover = cover * (1 - np.float32(item.clear) * bare)
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
    u, v = item.to_own(x, y)
    for _ in range(4):
        lift = _lift(item, u, v)
        u, v = item.to_own(x + slope_x * lift, y + slope_y * lift)
    lift = _lift(item, u, v)
    return x + slope_x * lift, y + slope_y * lift


def _lift(item: Item, u: F32, v: F32) -> F32:
    s, t = (np.clip(at / np.float32(size) * 2 - 1, -1.1, 1.1) for at, size in zip((u, v), item.size, strict=True))
    return np.asarray(np.float32(item.curl) * s * s + np.float32(item.arch) * t * t, np.float32)


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
    corners = in_sight(camera, item.edge - throw, z)
    if not len(corners):
        return
    px = camera.mm_to_px(corners, z)
    soft = (0.8 + 0.25 * height) * camera.scale_at(corners.mean(axis=0), z)
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
    depths = (item.z, item.z + item.thick)
    seen = [camera.mm_to_px(in_sight(camera, item.edge, z), z) for z in depths]
    hull = cv2.convexHull(np.concatenate(seen).astype(np.float32))
    colour = [float(v) for v in 0.45 * decode_srgb(np.asarray(item.colour))]
    cv2.fillConvexPoly(light, np.round(hull * 16).astype(np.int32), colour, cv2.LINE_8, 4)
