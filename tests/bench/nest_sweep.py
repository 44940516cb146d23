"""How safe plans are: python -m tests.bench.nest_sweep [--count N] [--kinds blank=9,slice=9,log=2] [--resume FILE].

Plans random blanks, slices and logs of invented wood with 0 to 12 defects, one in three with a wish (an axis, a rip,
a number of bowls, sizes, capacity), and counts those that the independent check finds unsafe; every so many plans are
also checked as solids in space. A plan is safe however near the best it is, so most searches are let off with a loose
gap and little work, which vary, and one in eight alone tells of other plans too. Each unsafe plan, and each piece that
the planner fails on, is named, so that it can be made again from its seed and index. With --resume, what was counted is
kept in a small file, by commit, and the next run goes on from there. Columns by kind: pieces, plans, pieces that give
no bowl, plans refused by the check, plans checked as solids and those found unsafe so, failures, and the seconds of the
processor at the median, the 90th percentile and in all.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import time
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, get_args

import numpy as np

from photonest.model import NoPlanError, StockKind
from photonest.nest import check_plan, plan_nest
from tests.nest.random_wood import random_piece, random_wish
from tests.nest.solids import found_unsafe

SAVED_EVERY = 10
WORK = (1, 1, 1, 1_000_000, 3_000_000, 20_000_000)  # points a log's search may ask, one of these a piece
GAPS = (1.0, 5.0, 30.0)  # percent
OTHERS_EVERY = 8
COUNTED = ("pieces", "plans", "no bowl", "unsafe", "solids", "unsafe solids", "failed")


@dataclass
class Tally:
    """What has been counted so far: by commit and kind of stock, and every fault by its seed and index."""

    seed: int
    mix: str
    done: int = 0
    counts: dict[str, dict[str, dict[str, int]]] = field(default_factory=dict)
    seconds: dict[str, list[float]] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)

    def kind(self, index: int) -> StockKind:
        """Return the kind of a piece: they come in turns, as the mix tells."""
        turn: list[StockKind] = []
        for part in self.mix.split(","):
            name, _, times = part.partition("=")
            turn += [kind for kind in get_args(StockKind) if kind == name] * int(times or 1)
        return turn[index % len(turn)]

    def add(self, commit: str, kind: str, what: str) -> None:
        row = self.counts.setdefault(commit, {}).setdefault(kind, dict.fromkeys(COUNTED, 0))
        row[what] += 1

    def fault(self, commit: str, kind: str, told: str) -> None:
        self.faults.append(f"{kind} seed {self.seed} index {self.done} at {commit}: {told}")
        print(self.faults[-1], flush=True)

    def table(self) -> str:
        heads = "".join(f"{what:>14}" for what in COUNTED)
        lines = [f"{'commit':10} {'kind':6}{heads}"]
        total: dict[str, dict[str, int]] = {}
        for commit, kinds in self.counts.items():
            for kind, row in kinds.items():
                lines.append(f"{commit:10} {kind:6}" + "".join(f"{row[what]:14}" for what in COUNTED))
                sums = total.setdefault(kind, dict.fromkeys(COUNTED, 0))
                total[kind] = {what: sums[what] + row[what] for what in COUNTED}
        for kind, row in total.items():
            middle, late = np.quantile(self.seconds[kind], [0.5, 0.9])
            times = f"   {middle:.2f} s, 90 % {late:.2f} s, all {sum(self.seconds[kind]):.0f} s"
            lines.append(f"{'all':10} {kind:6}" + "".join(f"{row[what]:14}" for what in COUNTED) + times)
        return "\n".join(lines)


def settings(seed: int, index: int) -> dict[str, Any]:
    """Return how hard to search for a piece."""
    random = np.random.default_rng([seed, index, 11])
    return {
        "work": WORK[int(random.integers(len(WORK)))],
        "gap_pct": GAPS[int(random.integers(len(GAPS)))],
        "others": index % OTHERS_EVERY == 0,
    }


def one_more(tally: Tally, commit: str, solids: int) -> None:
    """Plan and check the next piece."""
    kind = tally.kind(tally.done)
    piece = random_piece(kind, tally.seed, tally.done)
    tally.add(commit, kind, "pieces")
    start = time.process_time()
    try:
        wish = random_wish(piece, tally.seed, tally.done)
        plan = plan_nest(piece.face, piece.stock, piece.shop, **wish, **settings(tally.seed, tally.done))
    except NoPlanError:
        plan = None
    except Exception as error:  # whatever it is: counted, named and looked at
        tally.add(commit, kind, "failed")
        tally.fault(commit, kind, f"failed: {error!r}")
        return
    finally:
        tally.seconds.setdefault(kind, []).append(round(time.process_time() - start, 2))
    if plan is None:
        tally.add(commit, kind, "no bowl")
        return
    tally.add(commit, kind, "plans")
    if found := check_plan(piece.face, plan):
        tally.add(commit, kind, "unsafe")
        tally.fault(commit, kind, f"refused: {found[0].rule}, {found[0].where}: {found[0].message}")
    made = sum(kinds[kind]["plans"] for kinds in tally.counts.values() if kind in kinds)
    if solids and made % solids == 0:
        tally.add(commit, kind, "solids")
        if unsafe := found_unsafe(piece.face, plan):
            tally.add(commit, kind, "unsafe solids")
            tally.fault(commit, kind, f"as solids: {unsafe[0]}")


def commit_here() -> str:
    """Return the commit that the code is of, with a + where it was changed since; "?" outside a repository."""
    asked = ("git", "-C", str(Path(__file__).parent))
    try:
        name = subprocess.run([*asked, "rev-parse", "--short", "HEAD"], capture_output=True, check=True, text=True)
        changed = subprocess.run([*asked, "status", "--porcelain", "-uno"], capture_output=True, check=True, text=True)
    except (OSError, subprocess.CalledProcessError):
        return "?"
    return name.stdout.strip() + ("+" if changed.stdout.strip() else "")


def opened(path: Path | None, fresh: Tally) -> Tally:
    """Return the tally kept in a file, or the fresh one where there is none."""
    if path is None or not path.exists():
        return fresh
    kept = Tally(**json.loads(path.read_text()))
    if (kept.seed, kept.mix) != (fresh.seed, fresh.mix):
        raise SystemExit(f"{path} is of --seed {kept.seed} --kinds {kept.mix}: ask for the same.")
    return kept


def kept_in(path: Path | None, tally: Tally) -> None:
    if path is not None:
        beside = path.with_name(path.name + ".new")
        beside.write_text(json.dumps(asdict(tally)))
        beside.replace(path)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=1000, help="how many pieces in all")
    parser.add_argument("--kinds", default="blank=9,slice=9,log=2", help="kinds in turn, each so many times")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=60.0, help="stop after so long")
    parser.add_argument("--solids", type=int, default=20, help="check every so many plans as solids; 0 for none")
    parser.add_argument("--resume", type=Path, help="keep the count in this file, and go on from what it holds")
    told = parser.parse_args()
    tally = opened(told.resume, Tally(told.seed, told.kinds))
    commit, end = commit_here(), time.monotonic() + 60 * told.minutes
    while tally.done < told.count and time.monotonic() < end:
        one_more(tally, commit, told.solids)
        tally.done += 1
        if tally.done % SAVED_EVERY == 0:
            kept_in(told.resume, tally)
    kept_in(told.resume, tally)
    print(tally.table())
    print(*tally.faults, sep="\n")


if __name__ == "__main__":
    main()
