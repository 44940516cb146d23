"""Spoil drawn faces step by step and see what it costs: ``python -m tests.bench.fitness [faults] [count] [first]``.

``python -m tests.bench.fitness burnt [count] [first seed]`` prints instead, for faces exposed more and more, the share
that is burnt out and how many of the points along true cracks still show there, of those that showed before.

Prints a row a fault and degree: the pith's miss and stated standard error in percent of the diameter, how many piths
were not found, and of how many photos a warning is given. The limits of `photonest.fitness` come from this table.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from photonest.fitness import fitness
from photonest.imaging import luminance, polygon_mask, sampled
from photonest.model import FlatPhoto, Outline, Pith
from photonest.pith.rings import RingPith
from photonest.planar import mean_diameter
from photonest.resizing import cropped, reduced
from tests.bench.faces import drawn_faces, flat_from
from tests.drawn import draw, random_spec

Spoil = Callable[[FlatPhoto, float, float], FlatPhoto]


def blurred(flat: FlatPhoto, diameter_px: float, share: float) -> FlatPhoto:
    """Return the photo out of focus by a Gaussian of this share of the diameter."""
    import cv2

    return replace(flat, pixels=np.asarray(cv2.GaussianBlur(flat.pixels, (0, 0), share * diameter_px + 0.01), np.uint8))


def shaken(flat: FlatPhoto, diameter_px: float, share: float) -> FlatPhoto:
    """Return the photo smeared along x over this share of the diameter."""
    import cv2

    return replace(flat, pixels=np.asarray(cv2.blur(flat.pixels, (max(1, round(share * diameter_px)), 1)), np.uint8))


def exposed(flat: FlatPhoto, diameter_px: float, gain: float) -> FlatPhoto:
    """Return the photo with this share of the light, and the noise that it would have."""
    light = (flat.pixels / 255.0) ** 2.2 * gain
    noise = np.random.default_rng(0).normal(0, 1, light.shape) * np.sqrt(6e-5 * light + 4e-6)
    pixels: NDArray[np.uint8] = (np.clip(light + noise, 0, 1) ** (1 / 2.2) * 255).round().astype(np.uint8)
    return replace(flat, pixels=pixels)


def smaller(flat: FlatPhoto, diameter_px: float, wanted_px: float) -> FlatPhoto:
    """Return the photo with the face this many pixels across."""
    return reduced(flat, max(flat.pixels.shape[:2]) * wanted_px / diameter_px)


STEPS: tuple[tuple[Spoil, tuple[float, ...]], ...] = (
    (blurred, (0.0, 0.0015, 0.003, 0.006, 0.01)),
    (shaken, (0.01, 0.02, 0.04)),
    (exposed, (0.1, 0.03, 0.01, 2.5, 5.0)),
    (smaller, (400.0, 300.0, 250.0, 160.0, 100.0)),
)


GAINS = (1.0, 1.5, 2.2, 3.0, 4.2, 6.0, 9.0)
SHOWS = 12.0  # of 255: darker than what lies beside it


def crack_contrast(flat: FlatPhoto, paths: list[NDArray[np.float64]]) -> NDArray[np.float64]:
    """Return at 30 points of each path in pixels how much darker it is than what lies 5 to 7 pixels beside it."""
    grey, found = luminance(flat.pixels), []
    for path in paths:
        steps = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
        x, y = (np.interp(np.linspace(0, steps[-1], 30), steps, along) for along in path.T)
        right = np.stack([-np.gradient(y), np.gradient(x)]) / (np.hypot(np.gradient(x), np.gradient(y)) + 1e-9)
        across = {k: sampled(grey, x + k * right[0], y + k * right[1]).ravel() for k in (-7, -5, -1, 0, 1, 5, 7)}
        beside = np.mean([across[k] for k in (-7, -5, 5, 7)], axis=0)
        found.append(beside - np.min([across[k] for k in (-1, 0, 1)], axis=0))
    return np.concatenate(found)


def burnt_out(count: int = 5, first: int = 52_000) -> None:
    """Print what is left of cracks against the share of the face that is burnt out."""
    rows = []
    for seed in range(first, first + count):
        drawn = draw(random_spec(seed, reference="none", difficulty="medium", megapixels=1.0, cracks=6))
        truth = drawn.truth
        flat = flat_from(drawn.pixels, truth.mm_per_px)
        face = polygon_mask(truth.mm_to_px(truth.outline_mm), (flat.pixels.shape[0], flat.pixels.shape[1]))
        paths = [np.asarray(truth.mm_to_px(crack.path_mm)) for crack in truth.cracks]
        shown = crack_contrast(flat, paths) > SHOWS
        for gain in GAINS:
            over = exposed(flat, 0.0, gain)
            burnt = float((over.pixels[face].min(axis=1) >= 250).mean())
            rows.append((burnt, float((crack_contrast(over, paths)[shown] > SHOWS).mean())))
    for burnt, left in sorted(rows):
        print(f"burnt out {burnt:.2f}  cracks still shown {left:.2f}")


def spoilt_faces(count: int, first: int) -> None:
    """Print the table of the faults."""
    faces = [face for face in drawn_faces(count, first) if "whole" in face.name and face.pith is not None]
    for spoil, degrees in STEPS:
        for degree in degrees:
            misses, errors, told = [], [], 0
            for face in faces:
                assert face.under_bark is not None and face.pith is not None
                wood = tuple((float(x), float(y)) for x, y in face.under_bark)
                part = cropped(face.flat, face.outline.min(axis=0) - 10, face.outline.max(axis=0) + 10)
                spoilt = spoil(part, mean_diameter(face.under_bark) / part.mm_per_px, degree)
                told += bool(fitness(spoilt, wood))
                pith = RingPith().find(spoilt, Outline(wood), RingPith.Options())
                if isinstance(pith, Pith):
                    unit = mean_diameter(face.under_bark) / 100
                    misses.append(float(np.hypot(*(np.array(pith.point) - face.pith))) / unit)
                    errors.append(pith.standard_error / unit)
            figures = [f"{np.median(v):6.2f} {max(v):6.2f}" if v else "     -      -" for v in (misses, errors)]
            print(
                f"{spoil.__name__:8} {degree:8g}  pith median, worst {figures[0]}  s.e. {figures[1]}  "
                f"not found {len(faces) - len(misses)}  warned of {told} of {len(faces)}",
                flush=True,
            )


def main() -> None:
    """Print the table asked for."""
    import cv2

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("which", nargs="?", choices=("faults", "burnt"), default="faults")
    parser.add_argument("count", nargs="?", type=int, default=9, help="faces to draw (9)")
    parser.add_argument("first", nargs="?", type=int, default=1000, help="seed of the first (1000)")
    told = parser.parse_args()
    cv2.setNumThreads(1)
    (burnt_out if told.which == "burnt" else spoilt_faces)(told.count, told.first)


if __name__ == "__main__":
    main()
