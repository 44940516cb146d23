"""Train the judge of patches: ``python -m tests.bench.train_defects``.

The examples are the finder's own patches on drawn faces with knots, holes, bark inclusions and decay, on real photos
with such drawn into them, and on those photos as they are (`tests.bench.patched`). A network a kind is fitted. They
are judged on wood they never saw, a fifth of the discs and drawn faces at a time left out; what is written is fitted
to all.
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
from photonest.cracks.patches import outline_of, patches, sheets
from photonest.model import DefectKind
from tests.bench.fitting import Fit, kept, network
from tests.bench.patched import Face, matches, patched, random_face, real_faces, shape_of

Vector = NDArray[np.float64]
FIRST_DRAWN = 3000  # seeds; those from 9000 on are kept for measuring
MEMBERS, PARTS = 4, 5
FIT = Fit(units=8, decay=0.006, steps=150, outliers_pct=0.3)
KINDS: tuple[DefectKind, ...] = ("knot", "hole", "bark")


@dataclass(frozen=True, eq=False)
class Examples:
    """Patches: cues (n, k), what each is, its disc, and the sort of photo."""

    cues: Vector
    kind: NDArray[np.str_]
    disc: NDArray[np.str_]
    source: NDArray[np.str_]

    def __getitem__(self, which: NDArray[np.bool_]) -> Examples:
        return Examples(self.cues[which], self.kind[which], self.disc[which], self.source[which])


def faces(variants: int, drawn: int) -> Iterator[Face]:
    """Yield the faces to learn from."""
    for number, (_, face) in enumerate(real_faces()):
        yield face
        for k in range(variants):
            yield patched(face, 1000 * number + k)
    for seed in range(FIRST_DRAWN, FIRST_DRAWN + drawn):
        yield random_face(seed)


def gather(every: Iterable[Face]) -> Examples:
    """Return the patches of faces as examples; those of unsure kind are left out."""
    rows = []
    for face in every:
        holes, areas = sheets(face.scene.flat, face.scene.outline)
        found = patches(holes, areas)
        kinds = matches([shape_of(outline_of(one)) for one in found], face.known)
        for cues, kind in zip(cues_of(found, areas, face.scene.pith), kinds, strict=True):
            if kind != "unsure":
                rows.append((cues, kind, face.disc, face.source))
    every_cue, kind, disc, source = zip(*rows, strict=True)
    return Examples(np.array(every_cue, float), np.array(kind), np.array(disc), np.array(source))


def fitted(examples: Examples, kind: str, members: int = MEMBERS) -> Network:
    """Return the network that tells one kind from all else."""
    target = (examples.kind == kind).astype(float)
    return network(examples.cues, target, np.ones(len(target)), members, FIT)


def left_out(examples: Examples) -> Vector:
    """Return the likelihoods, shape (n, kinds), by networks (two, to be quicker) that never saw the disc."""
    sure = np.zeros((len(examples.kind), len(KINDS)))
    discs, number = np.unique(examples.disc, return_inverse=True)
    for part in range(min(PARTS, len(discs))):
        out = number % PARTS == part
        for k, kind in enumerate(KINDS):
            sure[out, k] = likelihoods(fitted(examples[~out], kind, members=2), examples.cues[out])
    return sure


def report(examples: Examples, sure: Vector) -> None:
    """Print how well patches of unseen wood are told."""
    for source in ("real", "drawn into", "drawn"):
        here = examples.source == source
        print(f"{source}: {here.sum()} patches")
        for k, kind in enumerate(KINDS):
            true = here & (examples.kind == kind)
            line = f"  {kind:6} {true.sum():5} of them"
            for limit in (0.2, 0.5, 0.8):
                over = here & (sure[:, k] > limit)
                line += f" | over {limit}: {(over & true).sum():5} right {(over & ~true).sum():4} wrong"
            print(line)
    print("said    true (count) for each of", ", ".join(KINDS))
    for low in np.arange(0, 1, 0.1):
        line = f"{low:.1f}-{low + 0.1:.1f}"
        for k, kind in enumerate(KINDS):
            which = (sure[:, k] >= low) & (sure[:, k] < low + 0.1 + 1e-9)
            line += f"   {(examples.kind[which] == kind).mean() if which.any() else 0:.2f} ({which.sum()})"
        print(line)


def main() -> None:
    import cv2

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--variants", type=int, default=5, help="pictures drawn into each photo")
    parser.add_argument("--drawn", type=int, default=190, help="wholly drawn photos")
    parser.add_argument("--keep", type=Path, help="write the examples here, or read them if it exists")
    parser.add_argument("--write", action="store_true", help="write the judge that the package ships")
    asked = parser.parse_args()
    cv2.setNumThreads(1)
    examples = Examples(**kept(asked.keep, lambda: vars(gather(faces(asked.variants, asked.drawn)))))
    report(examples, left_out(examples))
    if asked.write:
        patch_judge.save({kind: fitted(examples, kind) for kind in KINDS})
        print(f"written: {patch_judge.FILE.name}, {patch_judge.FILE.stat().st_size} bytes")


if __name__ == "__main__":
    main()
