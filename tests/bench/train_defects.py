"""Train the judge of patches: ``python -m tests.bench.train_defects``.

The examples are the finder's own patches on drawn faces with knots, holes, bark inclusions and decay, which the network
behind them never saw (`tests.bench.patched`). They are judged on faces left out, a fifth at a time; what is written is
fitted to all. No real photo is used.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from photonest.cracks import patch_judge
from photonest.cracks.patch_cues import cues_of
from photonest.cracks.patch_judge import Network, likelihoods
from photonest.cracks.patch_map import KINDS, likeness
from photonest.cracks.patches import outline_of, patches
from tests.bench.fitting import Fit, kept, network
from tests.bench.patched import Face, on_defect, random_face, shape_of

Vector = NDArray[np.float64]
FIRST_DRAWN = 3000  # seeds; those from 9000 on are kept for measuring
MEMBERS, PARTS = 4, 5
FIT = Fit(units=6, decay=0.006, steps=150, outliers_pct=0.3)


@dataclass(frozen=True, eq=False)
class Examples:
    """Patches: cues (n, k), the kind that each is likened to, whether it lies on a defect, and the part it is in."""

    cues: Vector
    kind: NDArray[np.str_]
    real: NDArray[np.bool_]
    part: NDArray[np.int64]


def faces(count: int) -> Iterator[Face]:
    """Yield the faces to learn from."""
    return (random_face(seed) for seed in range(FIRST_DRAWN, FIRST_DRAWN + count))


def gather(every: Iterable[Face]) -> Examples:
    """Return the patches of faces as examples; those on what is not clear are left out."""
    rows = []
    for number, face in enumerate(every):
        here = face.scene
        found = patches(likeness(here.flat, here.outline, here.pith))
        for one, cues in zip(found, cues_of(found, here.pith), strict=True):
            real = on_defect(shape_of(outline_of(one)), face.known)
            if real is not None:
                rows.append((cues, one.kind, real, number % PARTS))
    every_cue, kind, on, part = zip(*rows, strict=True)
    return Examples(np.array(every_cue, float), np.array(kind), np.array(on), np.array(part))


def fitted(cues: Vector, real: NDArray[np.bool_], members: int = MEMBERS) -> Network:
    """Return the network that tells what lies on a defect from what does not."""
    return network(cues, real.astype(float), np.ones(len(real)), members, FIT)


def left_out(examples: Examples) -> Vector:
    """Return the likelihoods, shape (n,), by networks (two, to be quicker) that never saw the face."""
    sure = np.zeros(len(examples.real))
    for part in np.unique(examples.part):
        out = examples.part == part
        sure[out] = likelihoods(fitted(examples.cues[~out], examples.real[~out], members=2), examples.cues[out])
    return sure


def report(examples: Examples, sure: Vector) -> None:
    """Print how often patches of unseen faces that are said to be so likely lie on a defect."""
    print("said    true (count), by kind:", ", ".join(KINDS))
    for low in np.arange(0, 1, 0.1):
        line = f"{low:.1f}-{low + 0.1:.1f}"
        for kind in KINDS:
            which = (examples.kind == kind) & (sure >= low) & (sure < low + 0.1 + 1e-9)
            line += f"   {examples.real[which].mean() if which.any() else 0:.2f} ({which.sum()})"
        print(line)


def main() -> None:
    import cv2

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--faces", type=int, default=240, help="drawn faces (240)")
    parser.add_argument("--keep", type=Path, help="write the examples here, or read them if it exists")
    parser.add_argument("--write", action="store_true", help="write the judge that the package ships")
    asked = parser.parse_args()
    cv2.setNumThreads(1)
    examples = Examples(**kept(asked.keep, lambda: vars(gather(faces(asked.faces)))))
    report(examples, left_out(examples))
    if asked.write:
        patch_judge.save(fitted(examples.cues, examples.real))
        print(f"written: {patch_judge.FILE.name}, {patch_judge.FILE.stat().st_size} bytes")


if __name__ == "__main__":
    main()
