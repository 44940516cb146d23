"""Measure real photos altered as another day, camera or ground would: ``python -m tests.bench.altered [WHAT...]``.

The annotated photos are few; what a method makes of them under another light or before another ground tells how it will
fare on others. Each is measured the whole way, at a nominal scale, and compared with the annotation moved along. Prints
a row for each alteration (all, or those named), over all photos: the pith's distance from the annotator's in percent of
the mean diameter D, median and worst, and how many have none; the outline's edge distance, mean and 95th percentile,
and how many are over 3 % off, or failed; the share of the clear cracks' length found, those longer than D/10 missed;
false lines called seen, and seen or possible, in D a photo. ``--each`` prints a row a photo as well.
"""

from __future__ import annotations

import argparse
import hashlib
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from photonest.asking import Choices
from photonest.imaging import polygon_mask
from photonest.model import Face, FlatPhoto, Photo, PhotonestError
from photonest.photo import frozen_pixels
from photonest.pipeline import measure
from photonest.registry import Registry
from tests.bench.cracks import MM_PER_PX, PHOTOS, Truth, score, truths
from tests.bench.faces import edge_distances
from tests.drawn.bench import KINDS, BenchSpec, paint_bench
from tests.drawn.noise import Grid, clouds

Pixels = NDArray[np.uint8]
Light = NDArray[np.float32]
Affine = NDArray[np.float64]
FAILED = 3.0
SAME = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])


@dataclass(frozen=True, eq=False)
class View:
    """A photo, and the map from the annotated one's pixels to its own, shape (2, 3)."""

    pixels: Pixels
    moved: Affine


@dataclass(frozen=True)
class Figures:
    """What one photo gave; nan where there is nothing to compare."""

    pith: float = math.nan
    edge: float = math.inf
    edge95: float = math.inf
    found: float = math.nan
    big_missed: int = 0
    false_seen: float = math.nan
    false_all: float = math.nan
    failure: str = ""


def _lit(change: Callable[[Light, np.random.Generator], Light]) -> Callable[..., View]:
    """Return an alteration of the light that fell on the sensor, linear and from 0 to 1."""

    def alter(pixels: Pixels, truth: Truth, rng: np.random.Generator) -> View:
        light = ((pixels / np.float32(255)) ** np.float32(2.2)).astype(np.float32)
        changed = np.clip(change(light, rng), 0, 1) ** np.float32(1 / 2.2)
        return View(np.round(changed * 255).astype(np.uint8), SAME)

    return alter


def _half_in_sun(light: Light, rng: np.random.Generator) -> Light:
    """A straight shadow a little soft at its edge, bluer than the sun."""
    height, width = light.shape[:2]
    angle = rng.uniform(0, 2 * np.pi)
    y, x = np.mgrid[:height, :width].astype(np.float32)
    across, down = width * rng.uniform(0.35, 0.65), height * rng.uniform(0.35, 0.65)
    away = (x - across) * np.cos(angle) + (y - down) * np.sin(angle)
    share = 1 / (1 + np.exp(-away / (0.006 * width)))
    shade = np.array([0.30, 0.34, 0.42], np.float32)
    return np.asarray(light * (share[..., None] + (1 - share[..., None]) * shade) * 1.15, np.float32)


def _dappled(light: Light, rng: np.random.Generator) -> Light:
    height, width = light.shape[:2]
    tone = clouds(Grid(0, 0, 1.0, width, height), rng, 0.12 * width, 2)
    return np.asarray(light * (0.4 + 0.8 / (1 + np.exp(-6 * tone)))[..., None], np.float32)


def _noisy(pixels: Pixels, truth: Truth, rng: np.random.Generator) -> View:
    """Noise of a small sensor in poor light, and much compressed."""
    import cv2

    noisy = pixels + rng.normal(0, 9, pixels.shape).astype(np.float32)
    noisy = np.clip(noisy, 0, 255).astype(np.uint8)
    _, packed = cv2.imencode(".jpg", noisy[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, 40])
    return View(np.asarray(cv2.imdecode(packed, cv2.IMREAD_COLOR_RGB), np.uint8), SAME)


def _soft(pixels: Pixels, truth: Truth, rng: np.random.Generator) -> View:
    import cv2

    return View(np.asarray(cv2.GaussianBlur(pixels, (0, 0), 1.5), np.uint8), SAME)


def _grey(pixels: Pixels, truth: Truth, rng: np.random.Generator) -> View:
    import cv2

    return View(np.repeat(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)[..., None], 3, axis=2), SAME)


def _warped(pixels: Pixels, moved: Affine, size: tuple[int, int]) -> View:
    import cv2

    edge = [float(v) for v in np.median(np.concatenate([pixels[0], pixels[-1]]), axis=0)]
    warped = cv2.warpAffine(pixels, moved, size, flags=cv2.INTER_AREA, borderMode=cv2.BORDER_CONSTANT, borderValue=edge)
    return View(np.asarray(warped, np.uint8), moved)


def _turned(pixels: Pixels, truth: Truth, rng: np.random.Generator) -> View:
    """Turned about the middle, in a frame that holds all of it."""
    height, width = pixels.shape[:2]
    angle = rng.uniform(0.3, 2.8)
    c, s = math.cos(angle), math.sin(angle)
    turn = np.array([[c, -s], [s, c]])
    new = np.ceil(np.abs(turn) @ [width, height]).astype(int)
    shift = new / 2 - turn @ [width / 2, height / 2]
    return _warped(pixels, np.column_stack([turn, shift]), (int(new[0]), int(new[1])))


def _small(megapixels: float) -> Callable[..., View]:
    """Return the alteration to a photo of that size."""

    def alter(pixels: Pixels, truth: Truth, rng: np.random.Generator) -> View:
        import cv2

        height, width = pixels.shape[:2]
        factor = math.sqrt(megapixels * 1e6 / (width * height))
        how = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
        resized = cv2.resize(pixels, None, fx=factor, fy=factor, interpolation=how)
        shift = (factor - 1) / 2
        return View(np.asarray(resized, np.uint8), np.array([[factor, 0, shift], [0, factor, shift]]))

    return alter


def _near(pixels: Pixels, truth: Truth, rng: np.random.Generator) -> View:
    """The piece almost filling the frame."""
    return _framed(pixels, truth, 0.02)


def _far(pixels: Pixels, truth: Truth, rng: np.random.Generator) -> View:
    """The piece small in the frame, on a drawn ground."""
    wide = _framed(pixels, truth, 0.85)
    outline = np.array(truth["outline_px"]) @ wide.moved[:, :2].T + wide.moved[:, 2]
    return View(_grounded(wide.pixels, outline, rng), wide.moved)


def _framed(pixels: Pixels, truth: Truth, margin: float) -> View:
    outline = np.array(truth["outline_px"])
    low, high = outline.min(axis=0), outline.max(axis=0)
    low, high = low - margin * (high - low), high + margin * (high - low)
    width, height = (int(v) for v in high - low)
    return _warped(pixels, np.column_stack([np.eye(2), -low]), (width, height))


def _other_ground(pixels: Pixels, truth: Truth, rng: np.random.Generator) -> View:
    return View(_grounded(pixels, np.array(truth["outline_px"]), rng), SAME)


def _grounded(pixels: Pixels, outline: NDArray[np.float64], rng: np.random.Generator) -> Pixels:
    """Return the piece on a drawn ground, with the shadow it throws there."""
    import cv2

    height, width = pixels.shape[:2]
    across = float(np.ptp(outline, axis=0).mean())
    step = 350 / across  # the ground's own grain, as if the piece were 350 mm wide
    kind, seed = str(rng.choice(KINDS)), int(rng.integers(1 << 30))
    red, green, blue = (float(c) for c in (0.25, 0.22, 0.2) + rng.uniform(0, 0.5) * np.array([1.0, 0.92, 0.8]))
    spec = BenchSpec(kind, seed, (red, green, blue), turn_deg=float(rng.uniform(0, 180)))
    ground = paint_bench(spec, Grid(0.0, 0.0, step, width, height))
    mask = polygon_mask(outline, (height, width)).astype(np.float32)
    mask = cv2.GaussianBlur(cv2.erode(mask, np.ones((3, 3))), (0, 0), 0.8)[..., None]
    angle, reach = rng.uniform(0, 2 * np.pi), rng.uniform(0.01, 0.06) * across
    move = np.array([[1, 0, reach * np.cos(angle)], [0, 1, reach * np.sin(angle)]])
    thrown = cv2.warpAffine(mask[..., 0], move, (width, height))
    shade = cv2.GaussianBlur(thrown, (0, 0), 0.3 * reach + 1)[..., None]
    lit = 255 * (ground * (1 - 0.6 * shade)) ** (1 / 2.2)
    return np.asarray(np.round(mask * pixels + (1 - mask) * lit), np.uint8)


ALTERATIONS: Mapping[str, Callable[[Pixels, Truth, np.random.Generator], View]] = {
    "as taken": lambda pixels, truth, rng: View(pixels, SAME),
    "turned": _turned,
    "dim": _lit(lambda light, rng: light * np.float32(0.3)),
    "bright": _lit(lambda light, rng: light * np.float32(1.5)),
    "warm": _lit(lambda light, rng: light * np.array([1.15, 0.9, 0.55], np.float32)),
    "cold": _lit(lambda light, rng: light * np.array([0.7, 0.95, 1.2], np.float32)),
    "hazy": _lit(lambda light, rng: light * np.float32(0.55) + np.float32(0.12)),
    "half in sun": _lit(_half_in_sun),
    "dappled": _lit(_dappled),
    "soft": _soft,
    "noisy": _noisy,
    "grey": _grey,
    "1 MP": _small(1.0),
    "48 MP": _small(48.0),
    "near": _near,
    "far": _far,
    "other ground": _other_ground,
}


def moved_truth(truth: Truth, moved: Affine) -> Truth:
    """Return the annotation in the pixels of an altered photo."""

    def move(points: Any) -> Any:
        return (np.asarray(points, float) @ moved[:, :2].T + moved[:, 2]).tolist()

    def lines(entries: Any) -> Any:
        shapes = ("points", "polygon")
        return [{key: move(value) if key in shapes else value for key, value in entry.items()} for entry in entries]

    factor = math.sqrt(abs(np.linalg.det(moved[:, :2])))
    return {
        **truth,
        "outline_px": move(truth["outline_px"]),
        "pith_px": move([truth["pith_px"]])[0] if truth["pith_px"] else None,
        "diameter_px": truth["diameter_px"] * factor,
        "cracks_px": lines(truth["cracks_px"]),
        "ambiguous_px": lines(truth["ambiguous_px"]),
    }


def figures(face: Face, truth: Truth, pixels: Pixels) -> Figures:
    """Compare a face with the annotation of its photo."""
    matrix = np.asarray(face.scale.px_to_mm)
    unit = float(matrix[0, 0] / matrix[2, 2])
    origin = (float(matrix[0, 2] / matrix[2, 2]), float(matrix[1, 2] / matrix[2, 2]))
    flat = FlatPhoto(pixels, unit, origin, (0.0, 0.0))
    across = truth["diameter_px"] / 100
    pith = math.nan
    if face.pith is not None and truth["pith_px"]:
        pith = float(np.linalg.norm(flat.to_px([face.pith.point])[0] - truth["pith_px"])) / across
    away = edge_distances(flat.to_px(face.outline.points), np.array(truth["outline_px"])) / across
    cracks = score(face.cracks, truth, flat)
    return Figures(
        pith, float(away.mean()), float(np.percentile(away, 95)), _number(cracks.recall), cracks.big_missed,
        _number(cracks.false_seen), _number(cracks.false_all),
    )  # fmt: skip


def _number(value: float | None) -> float:
    return math.nan if value is None else value


def altered(truth: Truth, what: str) -> Figures:
    """Measure one photo under one alteration."""
    import cv2

    pixels = np.ascontiguousarray(cv2.imread(str(PHOTOS / truth["file"]), cv2.IMREAD_COLOR_RGB))
    seed = int.from_bytes(hashlib.sha256(f"{truth['file']} {what}".encode()).digest()[:4], "little")
    view = ALTERATIONS[what](pixels, truth, np.random.default_rng(seed))
    photo = Photo(frozen_pixels(view.pixels), truth["file"], "0" * 64, grey=what == "grey")
    settings = {("scale", "by-hand"): {"mm_per_px": MM_PER_PX}}
    try:
        face = measure(photo, Registry.installed(), Choices(settings=settings))
    except PhotonestError as error:
        return Figures(failure=error.message)
    return figures(face, moved_truth(truth, view.moved), view.pixels)


def row(name: str, all_of: list[Figures]) -> str:
    """Return a line of the table."""

    def over(key: str, how: Callable[..., Any]) -> float:
        values = [value for value in (float(getattr(one, key)) for one in all_of) if math.isfinite(value)]
        return float(how(values)) if values else math.nan

    off = sum(one.edge > FAILED for one in all_of)
    none = sum(math.isnan(one.pith) for one in all_of)
    missed = sum(one.big_missed for one in all_of)
    return (
        f"{name:14} {over('pith', np.median):6.2f} {over('pith', np.max):6.2f} {none:4} {over('edge', np.mean):7.2f} "
        f"{over('edge95', np.mean):6.2f} {off:4} {over('found', np.mean):7.3f} "
        f"{missed:6} {over('false_seen', np.mean):8.3f} {over('false_all', np.mean):7.3f}"
    )


def main() -> None:
    """Print the table."""
    import cv2

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", nargs="*", help=f"of {', '.join(ALTERATIONS)}")
    parser.add_argument("--each", action="store_true", help="a row a photo as well")
    parser.add_argument("--only", default="", help="part of a photo's name")
    asked = parser.parse_args()
    cv2.setNumThreads(1)
    print(f"{'':14}   pith  worst none    edge   95 %  off   found missed    false     all")
    for what in asked.what or ALTERATIONS:
        all_of = []
        for truth in truths():
            if asked.only in truth["file"]:
                all_of.append(altered(truth, what))
                if asked.each:
                    print(row(truth["file"][:14], all_of[-1:]) + " " + all_of[-1].failure, flush=True)
        print(row(what, all_of), flush=True)


if __name__ == "__main__":
    main()
