"""The chain search beside a mixed-integer model of the same problem: python -m tests.bench.nest_highs [step ...].

The default workshop's cuts on a grid of each step (mm), below one first bowl 330 mm across and 140 mm deep: most bowls,
then the greatest sum of rim diameters. The model has one 0/1 variable for each cut that fits in the bowl another (or
nothing) leaves, and is solved with HiGHS through scipy, one core, at most a minute. It is given which cut fits in which
bowl, worked out from the walls and bases themselves; neither that nor building the model is timed. The chain search is
timed with as much given (`solve`), with its tables of what fits from nothing (`all`), and for one more first bowl with
all tables at hand (`next`), as each further axis asks. Ours are the processor's seconds, the median of several runs as
each takes milliseconds; HiGHS's those of the processor or of the clock, whichever are fewer.
"""

from __future__ import annotations

import argparse
import time
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from photonest.model import Shop
from photonest.nest.chains import Chains, Level, Worth, best_following, chains_on, following, levels, point_grid
from photonest.nest.curves import Outside, turned_outside, wall_between
from photonest.nest.rules import Rules

RIM, DEPTH = 165.0, 140.0
PER_BOWL = 1e4
MINUTE = 60.0
RUNS = 9


class Problem(NamedTuple):
    """Bowls, the first of them turned; and which bowl (`head`) can follow which (`tail`)."""

    rim: NDArray[np.float64]
    tail: NDArray[np.intp]
    head: NDArray[np.intp]


def problem(rules: Rules, chains: Chains, first: Outside) -> Problem:
    grid = chains.grid
    rows, columns = np.nonzero(grid.good)
    outer, offset, stand_off = grid.outer[rows], grid.offset[rows], grid.stand_off[columns]
    cores = grid.bowls.at(grid.good)
    rim = np.concatenate([first.rim, cores.rim])
    tails, heads = [], []
    for place in range(len(rim)):
        bowl = first.at([0]) if place == 0 else cores.at([place - 1])
        with np.errstate(invalid="ignore"):
            wall = wall_between(bowl, outer, offset, stand_off)
            base = bowl.axis_floor - (np.sqrt(outer**2 - offset**2) - stand_off)
        fits = (wall >= bowl.wall - 1e-9) & (base >= -1e-9) & (cores.rim < bowl.rim)
        found = np.flatnonzero(fits) + 1
        tails.append(np.full(len(found), place))
        heads.append(found)
    return Problem(rim, np.concatenate(tails), np.concatenate(heads))


def by_highs(asked: Problem) -> tuple[float, float]:
    """Return the best value (none where the minute was not enough), and the seconds."""
    size, every = len(asked.tail), np.arange(len(asked.tail))
    flow = sparse.coo_matrix(
        (np.repeat([1.0, -1.0], size), (np.concatenate([asked.tail, asked.head]), np.tile(every, 2))),
        shape=(len(asked.rim), size),
    ).tocsc()
    upper = np.zeros(len(asked.rim))
    upper[0] = 1.0
    reward = PER_BOWL + 2 * asked.rim[asked.head]
    clock, start = time.perf_counter(), time.process_time()
    found = milp(
        -reward,
        constraints=LinearConstraint(flow, -np.inf, upper),
        integrality=np.ones(size),
        bounds=Bounds(0, 1),
        options={"time_limit": MINUTE},
    )
    spent = min(time.perf_counter() - clock, time.process_time() - start)
    return (-found.fun if found.status == 0 else float("nan")), spent


def best_of(chains: Chains, values: list[Level], first: Outside) -> float:
    follows = following(chains.grid, first)
    tops = [best_following(follows, level)[0][0] for level in values]
    return max((PER_BOWL * count + top for count, top in enumerate(tops, 1) if top > 0), default=0.0)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("step", nargs="*", type=float, default=[8.0, 4.0, 3.0, 2.0, 1.5], help="of the grid, in mm")
    told = parser.parse_args()
    rules = Rules(Shop())
    first = turned_outside(rules, np.array([RIM]), np.array([DEPTH]))
    print(
        f"{'step':>5} {'cuts':>6} {'pairs':>9} {'HiGHS s':>8} {'solve s':>8} {'all s':>8} {'next s':>8} "
        f"{'ratio solve':>12} {'all':>6} {'next':>6}"
    )
    for step in told.step:
        every, solves, nexts = [], [], []
        for _ in range(RUNS):
            start = time.process_time()
            chains = chains_on(rules, point_grid(rules, step))
            known = time.process_time()
            values = levels(chains, Worth("bowls"))
            ours = best_of(chains, values, first)
            every.append(time.process_time() - start)
            solves.append(time.process_time() - known)
            start = time.process_time()
            best_of(chains, values, first)
            nexts.append(time.process_time() - start)
        whole, solve, again = (float(np.median(times)) for times in (every, solves, nexts))
        asked = problem(rules, chains, first)
        theirs, spent = by_highs(asked)
        same = "equal" if abs(theirs - ours) < 1e-3 else f"HiGHS {theirs:.3f}"
        print(
            f"{step:5g} {len(asked.rim) - 1:6} {len(asked.tail):9} {spent:8.3f} {solve:8.4f} {whole:8.4f} "
            f"{again:8.4f} {spent / solve:12.0f} {spent / whole:6.0f} {spent / again:6.0f}  {ours:.3f} {same}",
            flush=True,
        )


if __name__ == "__main__":
    main()
