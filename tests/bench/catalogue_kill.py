"""Kill programs that add to a catalogue at random moments, and check it: python -m tests.bench.catalogue_kill.

Says how many were killed, how many entries were confirmed before, and what was lost or half there: it must be nothing.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import tempfile
import time
from pathlib import Path


def kill_forks(where: Path, count: int, seed: int) -> tuple[int, list[str]]:
    """Kill `count` adding programs, each forked from this one to save its start; return the losses found.

    Each is killed at a random moment of its first few adds, measured here first.
    """
    from photonest.catalogue.check import check_catalogue
    from photonest.catalogue.store import Catalogue
    from tests.catalogue.pieces import add

    rng = random.Random(seed)
    with Catalogue(str(where), make=True) as catalogue:
        add(catalogue, -1)
        begun = time.monotonic()
        for number in range(-6, -1):
            add(catalogue, number)
        one = (time.monotonic() - begun) / 5
    confirmed: set[str] = set()
    losses: list[str] = []
    for attempt in range(count):
        read_end, write_end = os.pipe()
        child = os.fork()
        if child == 0:  # the adding program
            os.close(read_end)
            with Catalogue(str(where)) as catalogue:
                os.write(write_end, b"\n")
                for number in range(attempt * 1000, attempt * 1000 + 1000):
                    os.write(write_end, f"{add(catalogue, number).code}\n".encode())
            os._exit(0)
        os.close(write_end)
        os.read(read_end, 1)  # it has begun: on a busy machine that takes long
        time.sleep(rng.uniform(0, 5 * one))
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        with os.fdopen(read_end) as told:
            confirmed |= set(told.read().split())
        if attempt % 25 == 24 or attempt == count - 1:
            with Catalogue(str(where)) as catalogue:
                losses += check_catalogue(catalogue).damage
                there = {entry.code for entry in catalogue.find()}
                losses += [f"{code} was confirmed and is lost" for code in confirmed - there]
                if attempt == count - 1:
                    losses += [f"{code} has no history" for code in there if not catalogue.history(code)]
    return len(confirmed), losses


def main() -> None:
    """Print what was lost."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--kills", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        where = Path(folder) / "yard.sqlite"
        begun = time.time()
        confirmed, losses = kill_forks(where, given.kills, given.seed)
        print(f"{given.kills} killed, {confirmed} entries confirmed, {len(losses)} losses, {time.time() - begun:.0f} s")
        for loss in losses[:20]:
            print(" ", loss)


if __name__ == "__main__":
    main()
