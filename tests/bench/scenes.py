"""Draw a folder of photos with a list of their truth: ``python -m tests.bench.scenes FOLDER [kinds] [--count N] ...``.

FOLDER/scenes.json is a list with an entry per photo: `file`, `reference`, `outline_mm`, `diameter_mm`, `pith_mm`,
`cracks_mm` and what else the truth holds, in mm of the face's own frame. Photos that are there already are kept, so
that a long run can be taken up again.
"""

from __future__ import annotations

import argparse
import json
import time
from pathlib import Path
from typing import Any

from tests.drawn import SceneSpec, draw, random_spec
from tests.drawn.place import REFERENCES
from tests.drawn.vary import Difficulty

LEVELS: tuple[Difficulty, ...] = ("easy", "medium", "hard")
WAYS: dict[str, dict[str, Any]] = {
    "": {},
    "on-bench": {"reference_on_bench": True},
    "cut": {"cut_by_frame": 0.25},
    "mirrored": {"mirrored": True},
    "blank": {"cut": "side"},
    "half": {"piece": "half"},
    "quarter": {"piece": "quarter"},
}
"""What may follow a kind after a plus: ``paper+on-bench``."""


def scene(kind: str, seed: int, difficulty: Difficulty, megapixels: float, max_tilt: float | None) -> SceneSpec:
    """Return the scene of a kind, such as ``card`` or ``card+on-bench``, and a seed."""
    reference, _, way = kind.partition("+")
    if way not in WAYS:
        raise SystemExit(f"after a plus there may be one of {', '.join(filter(None, WAYS))}, not {way!r}")
    options = {"difficulty": difficulty, "megapixels": megapixels, "max_tilt": max_tilt, **WAYS[way]}
    return random_spec(seed, reference=reference, **options)


def write(
    folder: Path, kinds: list[str], seeds: range, levels: list[Difficulty], megapixels: float, tilt: float | None
) -> int:
    """Draw the photos that aren't there yet and write the list of all; return how many it holds."""
    folder.mkdir(parents=True, exist_ok=True)
    entries = []
    for kind in kinds:
        for seed in seeds:
            path = folder / f"{kind}-{seed}.jpg"
            truth = path.with_suffix(".truth.json")
            if not (path.exists() and truth.exists()):
                level = levels[seed % len(levels)]
                draw(scene(kind, seed, level, megapixels, tilt)).save(path)
            entries.append({**json.loads(truth.read_text()), "reference": kind})
    (folder / "scenes.json").write_text(json.dumps(entries) + "\n", encoding="utf-8")
    return len(entries)


def main() -> None:
    """Read the command line and draw."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", type=Path)
    parser.add_argument(
        "kinds",
        nargs="*",
        default=["marker-sheet"],
        help=f"of {', '.join(REFERENCES)}; +{' +'.join(filter(None, WAYS))}",
    )
    parser.add_argument("--count", type=int, default=10, help="photos of each kind")
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--difficulty", nargs="+", choices=LEVELS, default=["medium", "hard"], help="taken in turn")
    parser.add_argument("--megapixels", type=float, default=3.0)
    parser.add_argument(
        "--max-tilt", type=float, default=25.0, help="degrees; -1 for no tilt and no lens where there is no reference"
    )
    given = parser.parse_args()
    import cv2

    cv2.setNumThreads(1)
    began = time.perf_counter()
    seeds = range(given.first, given.first + given.count)
    tilt = None if given.max_tilt < 0 else given.max_tilt
    count = write(given.folder, given.kinds, seeds, given.difficulty, given.megapixels, tilt)
    print(f"{count} photos listed in {given.folder / 'scenes.json'}, {time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
