"""How much faster a batch is on two cores than on one: python -m tests.bench.catalogue_batch [FOLDER].

Without a folder, drawn photos are measured. Run it on a machine with nothing else to do.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

from PIL import Image

from photonest.catalogue.batch import add_photos, photos_in
from photonest.catalogue.entries import Details
from photonest.catalogue.store import Catalogue

COUNT = 12


def drawn(folder: Path) -> Path:
    """Make photos that differ in a pixel's worth of their margins from the fixtures, and return their folder."""
    fixtures = sorted((Path(__file__).parents[2] / "fixtures").glob("*.jpg"))
    for number in range(COUNT):
        with Image.open(fixtures[number % len(fixtures)]) as picture:
            picture.crop((number, number, picture.width, picture.height)).save(folder / f"{number:02}.jpg", quality=90)
    return folder


def timed(paths: list[Path], jobs: int) -> tuple[float, int]:
    """Return the seconds a batch takes, and how many photos it added."""
    with tempfile.TemporaryDirectory() as folder, Catalogue(f"{folder}/yard.sqlite", make=True) as catalogue:
        begun = time.perf_counter()
        batch = add_photos(catalogue, paths, Details(), jobs=jobs)
        return time.perf_counter() - begun, len(batch.added)


def main() -> None:
    """Print the times of one and of two jobs, each after a warm-up."""
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", nargs="?", type=Path)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as own:
        paths = photos_in(given.folder if given.folder is not None else drawn(Path(own)))
        timed(paths[:2], 2)
        found = {jobs: timed(paths, jobs) for jobs in (1, 2)}
    for jobs, (seconds, added) in found.items():
        print(f"{jobs} at once: {seconds:6.1f} s, {added} of {len(paths)} added")
    print(f"{found[1][0] / found[2][0]:.2f} times as fast")


if __name__ == "__main__":
    main()
