"""An outline finder that looks for the rim itself: closed edges about many middles, judged one against another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from photonest.imaging import Mask, Path, cropped, mean_diameter, polygon_centroid
from photonest.model import FlatPhoto, NotFound, Outline
from photonest.outline.choice import Rim, appeals, strong
from photonest.outline.parting import Contrast, labelled, unlike_ground
from photonest.outline.polar import Ground, along, closed_paths, evidence, look, prepare

OFF_PHOTO = 1.5  # what a point of a path costs where there is no photo
SEARCH_PX, BENDS = 256, (0.10, 0.04)
LEAST_ERROR = 0.004  # of the diameter: roughness and bark that no edge settles


@dataclass(frozen=True)
class ContourOptions:
    """Settings of the finder: the least quality (0 to 1) of an outline, and below which it is given with a warning."""

    least_quality: float = 0.35
    doubtful_quality: float = 0.6


class ContourOutline:
    """Finds the edge of the piece by the rim that stands out best."""

    name = "contour"
    version = "1"
    Options = ContourOptions

    def find(self, flat: FlatPhoto, options: ContourOptions) -> Outline | NotFound:
        """Return the outline of the piece at the aim."""
        if min(flat.pixels.shape[:2]) < 32:
            return NotFound("the photo is too small", "take a photo at least 300 pixels wide")
        ground = prepare(flat, SEARCH_PX)
        rims = _distinct(candidates(ground))
        if not rims:
            return NotFound("nothing but the reference is in the photo", "show the whole piece beside the reference")
        best = rims[int(appeals(ground, rims).argmax())]
        strongest = nearer(flat, best, MIDDLING)
        best = nearer(flat, parted(flat, strongest, PARTING), NEAR)
        diameter = mean_diameter(best.points)
        doubt = apart(best.points, strongest.points) / diameter
        quality = strong(best.strength)
        if quality < options.least_quality:
            return NotFound("no piece stands out", "put a plain sheet or cloth of another colour under the wood")
        warnings = (
            ("The outline is faint in places: check it in the picture.",) if quality < options.doubtful_quality else ()
        )
        points = tuple((float(x), float(y)) for x, y in best.points)
        error = diameter * float(np.hypot(LEAST_ERROR, 0.5 * doubt))
        return Outline(points, None, error, cut_by_frame=_cut(flat, best.points), warnings=warnings)


def candidates(ground: Ground) -> list[Rim]:
    """Return the closed edges about many middles, and about the middles of those."""
    size = max(ground.usable.shape)
    middles = _middles(ground.usable, ground.flat.to_px([ground.flat.aim])[0])
    found: list[Rim] = []
    for _ in range(2 if len(middles) else 0):
        rays = look(ground, middles, 0.025 * size, 0.75 * size, 64, 0.04)
        strength = evidence(rays)
        cost = np.where(rays.usable, -strength, OFF_PHOTO)
        lines = []
        for bend in BENDS:
            paths = closed_paths(cost, 5, bend)
            lines += list(rays.points(paths))
            found += [
                Rim(ground.flat.to_mm(line), s)
                for line, s in zip(lines[-len(paths) :], along(strength, paths), strict=True)
            ]
        middles = _apart(np.array([polygon_centroid(line) for line in lines]), 0.02 * size)
    return found


def _distinct(rims: list[Rim]) -> list[Rim]:
    """Return the rims, of those as good as alike only the strongest; many middles lead to the same one."""
    best: dict[tuple[int, ...], Rim] = {}
    for rim in sorted(rims, key=lambda rim: float(rim.strength.mean())):
        diameter = mean_diameter(rim.points)
        place = polygon_centroid(rim.points) / (0.05 * diameter)
        # cells on a logarithmic grid of sizes, so that alike means alike for small and large rims
        best[round(float(np.log(diameter)) / 0.04), *np.round(place).astype(int).tolist()] = rim
    return list(best.values())


def _apart(places: Path, least: float) -> Path:
    """Return the places without those nearer than `least` to an earlier one."""
    kept: list[NDArray[np.float64]] = []
    for place in places:
        if all(np.hypot(*(place - other)) >= least for other in kept):
            kept.append(place)
    return np.array(kept)


def _middles(usable: Mask, aim: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return where a piece may have its middle, in pixels: at and about the aim, and in the widest free places."""
    import cv2

    height, width = usable.shape
    size = max(height, width)
    free = cv2.distanceTransform(np.pad(usable, 1).astype(np.uint8), cv2.DIST_L2, 3)[1:-1, 1:-1]
    rows, columns = np.mgrid[:height, :width]
    wish = free - 0.25 * np.hypot(columns - aim[0], rows - aim[1])
    places = [aim]
    for _ in range(3):
        row, column = divmod(int(wish.argmax()), width)
        places.append(np.array([column, row], float))
        wish[np.hypot(columns - column, rows - row) < 0.12 * size] = -np.inf
    for reach, turn in ((0.16, 0.0), (0.30, 0.5)):
        angles = (np.arange(8) + turn) * np.pi / 4
        places += list(aim + reach * size * np.column_stack([np.cos(angles), np.sin(angles)]))
    inside = [p for p in places if 2 <= p[0] < width - 2 and 2 <= p[1] < height - 2]
    return np.array([p for p in inside if free[round(p[1]), round(p[0])] > 0.03 * size]).reshape(-1, 2)


def _cut(flat: FlatPhoto, line: Path) -> bool:
    """Return whether the photo ends where the piece does."""
    middle = polygon_centroid(line)
    beyond = np.round(flat.to_px(middle + 1.01 * (line - middle))).astype(int)
    height, width = flat.pixels.shape[:2]
    off = (beyond < 0).any(axis=1) | (beyond[:, 0] >= width) | (beyond[:, 1] >= height)
    if flat.covered is not None:
        off[~off] = ~flat.covered[beyond[~off, 1], beyond[~off, 0]]
    return bool(off.mean() > 0.02)


class Zoom(NamedTuple):
    """How a rim is looked for again from nearer: picture size, rays, step and reach in shares of the radius."""

    longest_px: int
    rays: int
    step: float
    reach: float
    moves: int
    bend: float


MIDDLING = Zoom(320, 180, 0.012, 0.35, 8, 0.05)
NEAR = Zoom(900, 540, 0.004, 0.06, 8, 0.05)
ROUNDS, REGION = 4, 0.12


def nearer(flat: FlatPhoto, rim: Rim, zoom: Zoom) -> Rim:
    """Return the rim found again near a first one, in a closer picture."""
    low, high = rim.points.min(axis=0), rim.points.max(axis=0)
    margin = (zoom.reach + 0.05) * (high - low).max() / 2
    ground = prepare(cropped(flat, low - margin, high + margin), zoom.longest_px)
    middle = polygon_centroid(rim.points)
    first = _radii(rim.points - middle, zoom.rays) / ground.flat.mm_per_px
    rays = look(
        ground,
        ground.flat.to_px([middle]),
        first.min() * (1 - zoom.reach),
        first.max() * (1 + zoom.reach),
        zoom.rays,
        zoom.step,
    )
    strength = evidence(rays)
    cost = np.where(rays.usable, -strength, OFF_PHOTO)
    cost[0][np.abs(np.log(rays.radii / first[:, None])) > zoom.reach] = 1.0
    paths = closed_paths(cost, zoom.moves, zoom.bend)
    return Rim(ground.flat.to_mm(rays.points(paths)[0]), along(strength, paths)[0])


PARTING = Zoom(320, 180, 0.012, 0.7, 8, 0.05)


def parted(flat: FlatPhoto, rim: Rim, zoom: Zoom) -> Rim:
    """Return the rim moved to where the piece parts from the ground about it."""
    low, high = rim.points.min(axis=0), rim.points.max(axis=0)
    margin = 0.5 * (high - low).max() / 2
    ground = prepare(cropped(flat, low - margin, high + margin), zoom.longest_px)
    middle = polygon_centroid(rim.points)
    first = _radii(rim.points - middle, zoom.rays) / ground.flat.mm_per_px
    rays = look(ground, ground.flat.to_px([middle]), 0.5 * first.min(), 1.65 * first.max(), zoom.rays, zoom.step)
    strength = evidence(rays)
    labels = labelled(rays, Contrast().labels)
    columns = np.clip(np.searchsorted(rays.radii, first), 0, len(rays.radii) - 1)
    far = np.abs(np.log(rays.radii / first[:, None])) > 0.35
    for _ in range(ROUNDS):
        ratio = unlike_ground(rays, labels, columns, Contrast())
        # a step of the sum spans the same share of the radius whatever the step
        cost = np.where(rays.usable, -strength, OFF_PHOTO) - REGION * np.cumsum(ratio, axis=1)[None]
        cost[0][far] = 1e3
        found = closed_paths(cost, zoom.moves, zoom.bend)[0]
        moved = np.abs(found - columns).mean()
        columns = found
        if moved < 0.3:
            break
    return Rim(ground.flat.to_mm(rays.points(columns[None])[0]), along(strength, columns[None])[0])


def measured(flat: FlatPhoto, line: Path) -> Rim:
    """Return a closed line in mm as a rim, with how far each of its points is like an edge."""
    low, high = line.min(axis=0), line.max(axis=0)
    margin = 0.15 * (high - low).max()
    ground = prepare(cropped(flat, low - margin, high + margin), MIDDLING.longest_px)
    middle = polygon_centroid(line)
    radii = _radii(line - middle, MIDDLING.rays)
    first = radii / ground.flat.mm_per_px
    rays = look(ground, ground.flat.to_px([middle]), 0.8 * first.min(), 1.2 * first.max(), MIDDLING.rays, MIDDLING.step)
    at = np.clip(np.searchsorted(rays.radii, first) - 1, 1, len(rays.radii) - 2)
    strength = evidence(rays)[0]
    near = np.max([np.take_along_axis(strength, (at + k)[:, None], axis=1)[:, 0] for k in (-1, 0, 1)], axis=0)
    ray = np.column_stack([np.cos(rays.angles), np.sin(rays.angles)])
    return Rim(middle + radii[:, None] * ray, near)


def apart(line: Path, other: Path) -> float:
    """Return the mean distance from one closed line's points to another."""
    import shapely

    return float(shapely.distance(shapely.points(line), shapely.LinearRing(other)).mean())


def _radii(offsets: Path, rays: int) -> NDArray[np.float64]:
    """Return a closed line's distances from the origin at even angles."""
    angles = np.mod(np.arctan2(offsets[:, 1], offsets[:, 0]), 2 * np.pi)
    order = np.argsort(angles)
    even = np.arange(rays) * 2 * np.pi / rays
    return np.interp(even, angles[order], np.hypot(*offsets[order].T), period=2 * np.pi)
