"""A pinhole camera with a radial lens: where a point of the scene falls in the photo, exactly.

The frame of the scene is the face: x to the right, y down, z into the wood, away from the camera; the face is z = 0 and
millimetres are the unit. Pixels mean pixel centres, the first at (0, 0).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]
F32 = NDArray[np.float32]


@dataclass(frozen=True)
class CameraSpec:
    """Where the camera stands and what it does to the picture.

    Attributes
    ----------
    focal_px, distance : float
        Focal length in pixels; mm from the pinhole to the aimed point of the face.
    aim : (x, y)
        Point of the face, in mm, that an ideal lens shows at the principal point.
    tilt_deg, tilt_axis_deg : float
        Angle between the camera's axis and the face's normal, about an axis of this direction in the face.
    roll_deg : float
        Turn of the camera about its own axis.
    k1, k2 : float
        Radial distortion as OpenCV counts it.
    centre_shift_px : (x, y)
        Principal point less the middle of the photo.
    blur_px : float
        Standard deviation of the point spread.
    noise : float
        Standard deviation at mid grey, as a share of full white.
    sharpen, vignetting, exposure : float
        Strength of the camera's own sharpening; share of light lost in the corners; factor on the light.
    white_balance : (r, g, b)
        Factors on linear light.
    jpeg_quality : int
        As Pillow counts it.
    exif, mirrored, grey : bool
        Whether the file tells the focal length; the photo is mirrored left to right; the photo holds no colour.
    """

    width: int = 2000
    height: int = 1500
    focal_px: float = 1560.0
    distance: float = 600.0
    aim: tuple[float, float] = (0.0, 0.0)
    tilt_deg: float = 0.0
    tilt_axis_deg: float = 0.0
    roll_deg: float = 0.0
    k1: float = 0.0
    k2: float = 0.0
    centre_shift_px: tuple[float, float] = (0.0, 0.0)
    blur_px: float = 0.6
    noise: float = 0.006
    sharpen: float = 0.0
    vignetting: float = 0.0
    exposure: float = 1.0
    white_balance: tuple[float, float, float] = (1.0, 1.0, 1.0)
    jpeg_quality: int = 90
    exif: bool = False
    mirrored: bool = False
    grey: bool = False

    @property
    def centre_px(self) -> tuple[float, float]:
        """Principal point, before any mirroring."""
        return (self.width - 1) / 2 + self.centre_shift_px[0], (self.height - 1) / 2 + self.centre_shift_px[1]

    @property
    def rotation(self) -> Array:
        """Rotation from the scene's axes to the camera's: tilt about an axis in the face, then roll."""
        a, t, r = np.radians([self.tilt_axis_deg, self.tilt_deg, self.roll_deg])
        axis = np.array([np.cos(a), np.sin(a), 0.0])
        cross = np.array([[0, 0, axis[1]], [0, 0, -axis[0]], [-axis[1], axis[0], 0]])
        tilt = np.eye(3) + np.sin(t) * cross + (1 - np.cos(t)) * cross @ cross
        roll = np.array([[np.cos(r), -np.sin(r), 0], [np.sin(r), np.cos(r), 0], [0, 0, 1]])
        return np.asarray(roll @ tilt)

    def homography(self, z: float = 0.0) -> Array:
        """Return the 3x3 matrix from mm in the plane at depth z to pixels of an ideal lens, not mirrored."""
        cx, cy = self.centre_px
        k = np.array([[self.focal_px, 0, cx], [0, self.focal_px, cy], [0, 0, 1]])
        r = self.rotation
        t = r @ np.array([-self.aim[0], -self.aim[1], z]) + [0, 0, self.distance]
        return np.asarray(k @ np.column_stack([r[:, 0], r[:, 1], t]))

    def mm_to_px(self, points: ArrayLike, z: float = 0.0) -> Array:
        """Return where points (n, 2) of the plane at depth z, in mm, fall in the photo, shape (n, 2)."""
        p = np.asarray(points, float).reshape(-1, 2)
        h = np.column_stack([p, np.ones(len(p))]) @ self.homography(z).T
        return self._photographed(h[:, :2] / h[:, 2:])

    def px_to_mm(self, points_px: ArrayLike, z: float = 0.0) -> Array:
        """Return the points of the plane at depth z, in mm, that the photo shows at these pixels: the inverse."""
        h = np.column_stack([self._ideal(points_px), np.ones(np.asarray(points_px).size // 2)])
        p = h @ np.linalg.inv(self.homography(z)).T
        return np.asarray(p[:, :2] / p[:, 2:])

    def _photographed(self, ideal: Array) -> Array:
        c = np.asarray(self.centre_px)
        u = (ideal - c) / self.focal_px
        r2 = (u * u).sum(1, keepdims=True)
        q = c + self.focal_px * u * (1 + self.k1 * r2 + self.k2 * r2 * r2)
        return np.column_stack([self.width - 1 - q[:, 0], q[:, 1]]) if self.mirrored else q

    def _ideal(self, points_px: ArrayLike) -> Array:
        q = np.asarray(points_px, float).reshape(-1, 2)
        if self.mirrored:
            q = np.column_stack([self.width - 1 - q[:, 0], q[:, 1]])
        c = np.asarray(self.centre_px)
        d = (q - c) / self.focal_px
        seen = np.hypot(d[:, 0], d[:, 1])
        r = seen.copy()
        for _ in range(8):  # Newton on r (1 + k1 r^2 + k2 r^4) = seen; quadratic, so 8 steps reach rounding
            r2 = r * r
            slope = 1 + 3 * self.k1 * r2 + 5 * self.k2 * r2 * r2
            r -= (r * (1 + self.k1 * r2 + self.k2 * r2 * r2) - seen) / slope
        ratio = np.divide(r, seen, out=np.ones_like(r), where=seen > 1e-12)
        return np.asarray(c + self.focal_px * d * ratio[:, None])

    def scale_at(self, point: ArrayLike = (0.0, 0.0), z: float = 0.0) -> float:
        """Return pixels per mm about a point: the root of the area scale."""
        p = np.asarray(point, float)
        q = self.mm_to_px(p + np.array([[0, 0], [0.1, 0], [0, 0.1]]), z)
        a, b = (q[1] - q[0]) * 10, (q[2] - q[0]) * 10
        return float(np.sqrt(abs(a[0] * b[1] - a[1] * b[0])))


GRID = 8
"""Step of the coarse grid of `lookup`: between its nodes the map bends by 0.006 px at most (k1 = 0.1, 35 degrees)."""


def lookup(camera: CameraSpec, z: float, box: tuple[int, int, int, int], supersample: int = 1) -> tuple[F32, F32]:
    """Return the mm (x, y) that each sample of a box of the photo shows in the plane at depth z.

    Parameters
    ----------
    box : (left, top, right, bottom)
        Pixels, the right and bottom ones excluded.
    supersample : int
        Samples per pixel along each side.

    Returns
    -------
    x, y : ndarray of float32, shape (rows * supersample, columns * supersample)
    """
    import cv2

    left, top, right, bottom = box
    n = GRID * supersample
    columns, rows = -(-(right - left) // GRID), -(-(bottom - top) // GRID)
    # cv2.resize puts node j at sample (j + 1/2) n - 1/2; one more node all round keeps its edge rule out of the box
    gx = left - 0.5 + GRID * (np.arange(-1, columns + 1) + 0.5)
    gy = top - 0.5 + GRID * (np.arange(-1, rows + 1) + 0.5)
    nodes = np.stack(np.meshgrid(gx, gy), -1)
    mm = camera.px_to_mm(nodes.reshape(-1, 2), z).reshape(nodes.shape).astype(np.float32)
    size = (n * (columns + 2), n * (rows + 2))
    full: F32 = cv2.resize(mm, size, interpolation=cv2.INTER_LINEAR)
    inner = full[n : n + (bottom - top) * supersample, n : n + (right - left) * supersample]
    return np.ascontiguousarray(inner[..., 0]), np.ascontiguousarray(inner[..., 1])


def photo_box(camera: CameraSpec, points: ArrayLike, z: float, margin: int = 3) -> tuple[int, int, int, int] | None:
    """Return the box of the photo that holds these points of a plane, or None if the photo doesn't show them."""
    q = camera.mm_to_px(points, z)
    left, top = np.floor(q.min(0)).astype(int) - margin
    right, bottom = np.ceil(q.max(0)).astype(int) + margin + 1
    box = (max(0, int(left)), max(0, int(top)), min(camera.width, int(right)), min(camera.height, int(bottom)))
    return box if box[0] < box[2] and box[1] < box[3] else None


def in_sight(camera: CameraSpec, polygon: Array, z: float) -> Array:
    """Return the part of a convex polygon of the plane at depth z that a photo half as wide and high again shows.

    What reaches under a tilted camera or far past the frame falls where neither pinhole nor lens says anything: it is
    cut off; what doesn't is returned as it is. Shape (n, 2), in mm; n is 0 where nothing is in sight.
    """
    import cv2

    h = np.column_stack([polygon, np.ones(len(polygon))]) @ camera.homography(z).T
    size = np.array([camera.width, camera.height])
    if (h[:, 2] > 0).all() and (np.abs(h[:, :2] - h[:, 2:] * camera.centre_px) < size.max() * h[:, 2:]).all():
        return polygon
    t = np.linspace(-0.25, 1.25, 9)
    low, high = np.full(9, t[0]), np.full(9, t[-1])
    border = np.stack([np.concatenate([t, high, t[::-1], low]), np.concatenate([low, t, high, t[::-1]])], 1)
    seen = cv2.convexHull(camera.px_to_mm(border * size, z).astype(np.float32))
    _, part = cv2.intersectConvexConvex(cv2.convexHull(polygon.astype(np.float32)), seen)
    return np.zeros((0, 2)) if part is None else np.asarray(part.reshape(-1, 2), float)


def expose(linear: F32, camera: CameraSpec, seed: int) -> NDArray[np.uint8]:
    """Return the sRGB picture, shape (height, width, 3), that the camera makes of linear light of the same shape."""
    import cv2

    light = linear * np.asarray(camera.white_balance, np.float32) * np.float32(camera.exposure)
    if camera.blur_px > 0:
        light = cv2.GaussianBlur(light, (0, 0), camera.blur_px)
    if camera.vignetting > 0:
        cx, cy = camera.centre_px
        y, x = np.ogrid[: camera.height, : camera.width]
        r2 = ((x - cx) ** 2 + (y - cy) ** 2) / (cx * cx + cy * cy)
        light *= (1 - camera.vignetting * r2.astype(np.float32))[..., None]
    if camera.noise > 0:
        light = _noisy(light, camera.noise, seed)
    if camera.grey:
        light = np.repeat((light @ np.array([0.2126, 0.7152, 0.0722], np.float32))[..., None], 3, axis=2)
    picture = encode_srgb(light)
    if camera.sharpen > 0:
        soft = cv2.GaussianBlur(picture, (0, 0), 1.5)
        picture = cv2.addWeighted(picture, 1 + camera.sharpen, soft, -camera.sharpen, 0)
    return np.asarray(picture)


def _noisy(light: F32, noise: float, seed: int) -> F32:
    """Add photon noise, which grows with the root of the light, and read noise; the channels share a part of both."""
    import cv2

    rng = np.random.default_rng([seed, 77])
    h, w = light.shape[:2]
    # one sheet of noise repeated over the photo serves as well as fresh noise everywhere
    sheet = rng.standard_normal((min(h, 701), min(w, 1103), 4), np.float32)
    grain = cv2.GaussianBlur(sheet[..., :3] * np.float32(0.8) + sheet[..., 3:] * np.float32(0.6), (0, 0), 0.45)
    grain *= np.float32(noise * 0.4 / np.sqrt(0.18))
    spread = np.sqrt(np.maximum(light, np.float32(0.002))) + np.float32(0.08)
    for top in range(0, h, sheet.shape[0]):
        for left in range(0, w, sheet.shape[1]):
            part = spread[top : top + sheet.shape[0], left : left + sheet.shape[1]]
            part *= grain[: part.shape[0], : part.shape[1]]
    spread += light
    return np.asarray(spread)


_STEPS = 4096


def encode_srgb(linear: F32) -> NDArray[np.uint8]:
    """Return sRGB bytes (IEC 61966-2-1) of linear light from 0 to 1."""
    v = np.linspace(0, 1, _STEPS)
    # finer where the curve is steep: the table runs over the square root of the light
    table = np.round(255 * _srgb(v * v)).astype(np.uint8)
    index = np.sqrt(np.clip(linear, 0, 1)) * np.float32(_STEPS - 1) + np.float32(0.5)
    return np.asarray(table[index.astype(np.uint16)])


def decode_srgb(picture: ArrayLike) -> F32:
    """Return linear light of sRGB values: bytes, or floats from 0 to 1."""
    a = np.asarray(picture)
    if a.dtype == np.uint8:
        return np.asarray(_linear(np.arange(256) / 255).astype(np.float32)[a])
    return _linear(a).astype(np.float32)


def _srgb(v: Array) -> Array:
    return np.where(v <= 0.0031308, 12.92 * v, 1.055 * np.maximum(v, 1e-9) ** (1 / 2.4) - 0.055)


def _linear(v: NDArray[np.floating]) -> Array:
    v = np.asarray(v, float)
    return np.where(v <= 0.04045, v / 12.92, ((np.maximum(v, 0) + 0.055) / 1.055) ** 2.4)
