"""Measure the finder of other defects: ``python -m tests.bench.defects [drawn | into | photos] [COUNT]``.

``drawn`` draws `COUNT` faces (100) from the seed 9000 on, which no training saw: end grain and blanks, easy to hard, a
fifth of them without defects but for what every drawn face may have; outline and pith lie off the truth as finders
leave them. ``into`` draws defects, and what is mistaken for them, into `COUNT` annotated real photos. Both print,
by size, the share of clear defects most of which is covered by a patch; how many of the patches of each confidence lie
on a defect of any kind, and on one of their own kind and outline; and the processor time. ``photos`` prints what is
said of the annotated real photos.
"""

from __future__ import annotations

import argparse
import itertools
import time
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np

from photonest.cracks.patch_finder import Patches, PatchOptions
from photonest.model import Defect, NotFound
from photonest.planar import mean_diameter
from tests.bench.patched import Face, matches, patched, random_face, real_faces, shape_of

FIRST = 9000
SIZES = (0.0, 0.004, 0.008, 0.015, 0.03, 0.06, 1.0)  # side over the diameter
LIMITS = (0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.01)
OPTIONS = PatchOptions(possible_from=LIMITS[0])


@dataclass
class Tally:
    """What was found of each clear defect (kind, side over D, best confidence), and each patch said.

    A patch: its kind, its confidence, what it is by its outline, and whether it lies on a defect at all.
    """

    known: list[tuple[str, float, float]] = field(default_factory=list)
    said: list[tuple[str, float, str, bool]] = field(default_factory=list)
    faces: int = 0
    seconds: list[float] = field(default_factory=list)


def defects_on(face: Face) -> list[Defect]:
    """Return what the finder says of a face."""
    here = face.scene
    answer = Patches().find(here.flat, here.outline, here.pith, OPTIONS)
    return [] if isinstance(answer, NotFound) else [mark for mark in answer if isinstance(mark, Defect)]


def count(tally: Tally, face: Face, found: list[Defect]) -> None:
    """Add a face to the tally."""
    diameter = mean_diameter(face.scene.outline.wood)
    shapes = [shape_of(one.outline) for one in found]
    tally.faces += 1
    for one, shape, what in zip(found, shapes, matches(shapes, face.known), strict=True):
        on = any(k.shape.intersection(shape).area > 0.5 * min(shape.area, k.shape.area) for k in face.known)
        tally.said.append((one.kind, one.confidence, str(what), on))
    for known in face.known:
        if known.clear:
            covered = [
                one.confidence
                for one, shape in zip(found, shapes, strict=True)
                if shape.intersection(known.shape).area > 0.5 * known.shape.area
            ]
            tally.known.append((known.kind, float(np.sqrt(known.shape.area)) / diameter, max(covered, default=0.0)))


def drawn(number: int) -> Iterator[Face]:
    """Yield drawn faces."""
    return (random_face(seed) for seed in range(FIRST, FIRST + number))


def drawn_into(number: int) -> Iterator[Face]:
    """Yield real photos with defects drawn into them."""
    photos = [face for _, face in real_faces()]
    return (patched(photos[k % len(photos)], FIRST + k) for k in range(number if photos else 0))


def gathered(faces: Iterable[Face]) -> Tally:
    """Return the tally of faces."""
    tally = Tally()
    for face in faces:
        start = time.process_time()
        found = defects_on(face)
        tally.seconds.append(time.process_time() - start)
        count(tally, face, found)
    return tally


def report(tally: Tally) -> None:
    """Print the tables."""
    by_kind: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for kind, side, sure in tally.known:
        by_kind[kind].append((side, sure))
    print(f"{tally.faces} faces\nkind    side, % of D      n   possible   seen")
    for kind, rows in by_kind.items():
        for low, high in itertools.pairwise(SIZES):
            sures = np.array([sure for side, sure in rows if low <= side < high])
            if len(sures):
                possible, seen = (
                    (sures >= PatchOptions().possible_from).mean(),
                    (sures >= PatchOptions().seen_from).mean(),
                )
                print(f"{kind:7} {100 * low:4.1f} to {100 * high:5.1f} {len(sures):6} {possible:9.2f} {seen:7.2f}")
    print("confidence      n   on a defect   kind and outline   nothing there")
    for low, high in itertools.pairwise(LIMITS):
        rows_here = [row for row in tally.said if low <= row[1] < high]
        if rows_here:
            on = np.mean([row[3] for row in rows_here])
            right = np.mean([row[0] == row[2] for row in rows_here])
            nothing = [row[0] for row in rows_here if not row[3]]
            told = ", ".join(f"{nothing.count(kind)} {kind}" for kind in sorted(set(nothing)))
            print(f"{low:.1f} to {high:.1f} {len(rows_here):6} {on:12.2f} {right:17.2f}     {told}")
    print(f"processor seconds a face: median {np.median(tally.seconds):.2f}")


def main() -> None:
    import cv2

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("which", nargs="?", choices=("drawn", "into", "photos"), default="drawn")
    parser.add_argument("count", nargs="?", type=int, default=100, help="faces (100)")
    told = parser.parse_args()
    cv2.setNumThreads(1)
    if told.which == "photos":
        for _, face in real_faces():
            print(face.name)
            for one in defects_on(face):
                x, y = face.scene.flat.to_px([np.mean(one.outline, axis=0)])[0]
                on = [k.kind for k in face.known if k.shape.intersects(shape_of(one.outline))]
                print(
                    f"    {one.kind} {one.confidence:.2f} at pixel {x:.0f},{y:.0f}; the reader: {', '.join(on) or '-'}"
                )
        return
    report(gathered(drawn(told.count) if told.which == "drawn" else drawn_into(told.count)))


if __name__ == "__main__":
    main()
