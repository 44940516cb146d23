"""Draws the side of the piece, from the edge of the face down to the bench."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.drawn.camera import F32, decode_srgb, lookup, photo_box
from tests.drawn.looks import LOOKS
from tests.drawn.noise import Array, Grid, clouds, generator, speckle
from tests.drawn.spec import SceneSpec
from tests.drawn.wood import Growth

STEPS = 24
"""Steps along each ray from the plane of the face to the bench."""


def draw_side(light: F32, spec: SceneSpec, growth: Growth, outline: Array) -> None:
    """Draw the piece's side where the camera sees it, at half the photo's resolution."""
    camera, below = spec.camera, spec.bench.below
    upper, lower = photo_box(camera, outline, 0.0, 4), photo_box(camera, outline, below, 4)
    if below < 1 or upper is None or lower is None:
        return
    box = (min(upper[0], lower[0]), min(upper[1], lower[1]), max(upper[2], lower[2]), max(upper[3], lower[3]))
    x0, y0 = (v[::2, ::2] for v in lookup(camera, 0.0, box))
    x1, y1 = (v[::2, ::2] for v in lookup(camera, below, box))
    # along a ray, x and y are linear in depth; only rays that miss the face can meet the side, and only near it
    depth = growth.depth(x0, y0, growth.outer)
    near = -1.5 * float(np.hypot(x1 - x0, y1 - y0).max()) - 2
    place = np.nonzero((depth < 0) & (depth > near))
    dx, dy = (x1 - x0)[place], (y1 - y0)[place]
    hit = _meeting(growth, x0[place], y0[place], dx, dy)
    good = np.isfinite(hit)
    if not good.any():
        return
    seen = (place[0][good], place[1][good])
    t = hit[good]
    layer, cover = np.zeros((*depth.shape, 3), np.float32), np.zeros(depth.shape, np.float32)
    layer[seen] = _colour(spec, growth, x0[seen] + t * dx[good], y0[seen] + t * dy[good], t * below)
    cover[seen] = 1.0
    _lay_over(light[box[1] : box[3], box[0] : box[2]], layer, cover, np.asarray(depth < 0))


def _meeting(growth: Growth, x: F32, y: F32, dx: F32, dy: F32) -> F32:
    """Return the share of the way at which each ray enters the piece; infinite where it doesn't."""
    hit = np.full(len(x), np.inf, np.float32)
    before = growth.depth(x, y, growth.outer)
    for k in range(1, STEPS + 1):
        now = growth.depth(x + np.float32(k / STEPS) * dx, y + np.float32(k / STEPS) * dy, growth.outer)
        meets = (now >= 0) & (before < 0) & ~np.isfinite(hit)
        exact = (k - now / np.maximum(now - before, 1e-9)) / STEPS
        hit = np.where(meets, exact, hit).astype(np.float32)
        before = now
    return hit


def _lay_over(view: F32, layer: F32, cover: F32, outside_face: NDArray[np.bool_]) -> None:
    import cv2

    # the colour runs on a little past its edges, and under the face, so that nothing of the bench shines through there
    spread = cv2.GaussianBlur(layer, (0, 0), 1.0) / np.maximum(cv2.GaussianBlur(cover, (0, 0), 1.0), 1e-3)[..., None]
    layer = np.where(cover[..., None] > 0, layer, spread)
    cover = np.where(outside_face, cover, cv2.dilate(cover, np.ones((3, 3), np.uint8))).astype(np.float32)
    wide = (2 * cover.shape[1], 2 * cover.shape[0])
    rows, columns = view.shape[:2]
    colour = cv2.resize(layer, wide, interpolation=cv2.INTER_LINEAR)[:rows, :columns]
    view += cv2.resize(cover, wide, interpolation=cv2.INTER_LINEAR)[:rows, :columns, None] * (colour - view)


def _colour(spec: SceneSpec, growth: Growth, x: F32, y: F32, z: F32) -> F32:
    """Return the linear light of the side at places on it: bark plates, or sawn wood where there is no bark."""
    import cv2

    look = LOOKS[spec.wood.look]
    angle = np.arctan2(y, x)
    rng = generator(spec.wood.seed, "side")
    sheet = Grid(0, 0, 0.5, 1600, 400)
    rough = clouds(sheet, rng, 9.0, 4) + 0.5 * speckle(sheet, rng, 0.8)
    around = (angle * np.float32(growth.spec.diameter / 2 / 0.5)) % 1599
    along = (z / 1.6) / 0.5 % 399
    longest = 32_000  # OpenCV's maps are shorter than 32768
    value = np.concatenate(
        [
            cv2.remap(
                rough,
                around[None, start : start + longest].astype(np.float32),
                along[None, start : start + longest].astype(np.float32),
                cv2.INTER_LINEAR,
            )[0]
            for start in range(0, max(len(x), 1), longest)
        ]
    )
    has_bark = growth.radius(angle, growth.outer - growth.under) > 0.4
    base = np.where(has_bark[:, None], np.array(look.bark), 0.85 * np.array(look.sap))
    tone = 1 + np.where(has_bark, 0.28, 0.05) * value
    facing = growth.facing(angle) if spec.wood.saws else angle
    lit = 0.62 + 0.30 * np.cos(facing - np.radians(spec.light.from_deg))
    fade = 1 - 0.35 * z / max(spec.bench.below, 1)
    return decode_srgb(np.clip(base * (tone * np.sqrt(np.maximum(spec.light.side * lit * fade, 0.05)))[:, None], 0, 1))
