"""The chain search beside a mixed-integer model of the same problem: python -m tests.bench.nest_highs [step ...].

The default workshop's cuts on a grid of each step (mm), below one first bowl 330 mm across and 140 mm deep: most bowls,
then the greatest sum of rim diameters. The model has one 0/1 variable for each cut that fits in the bowl another (or
nothing) leaves, and is solved with HiGHS through scipy, one core, at most a minute. Which fits is worked out from the
walls and bases themselves and not timed; nor is building the model. The chain search is timed whole, its tables
from nothing (`all`), and for one more first bowl with the tables at hand (`next`), as each further axis asks.
"""

from __future__ import annotations

import sys
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
    start = time.perf_counter()
    found = milp(
        -reward,
        constraints=LinearConstraint(flow, -np.inf, upper),
        integrality=np.ones(size),
        bounds=Bounds(0, 1),
        options={"time_limit": MINUTE},
    )
    return (-found.fun if found.status == 0 else float("nan")), time.perf_counter() - start


def best_of(chains: Chains, values: list[Level], first: Outside) -> float:
    follows = following(chains.grid, first)
    tops = [best_following(follows, level)[0][0] for level in values]
    return max((PER_BOWL * count + top for count, top in enumerate(tops, 1) if top > 0), default=0.0)


def main() -> None:
    rules = Rules(Shop())
    first = turned_outside(rules, np.array([RIM]), np.array([DEPTH]))
    print(
        f"{'step':>5} {'cuts':>6} {'pairs':>9} {'HiGHS s':>8} {'all s':>8} {'next s':>8} {'ratio all':>10} {'next':>9}"
    )
    for step in [float(argument) for argument in sys.argv[1:]] or [8.0, 4.0, 3.0, 2.0, 1.5]:
        best_of(chains_on(rules, point_grid(rules, 16.0)), [], first)  # nothing is measured cold
        start = time.perf_counter()
        chains = chains_on(rules, point_grid(rules, step))
        values = levels(chains, Worth("bowls"))
        ours = best_of(chains, values, first)
        whole = time.perf_counter() - start
        start = time.perf_counter()
        best_of(chains, values, first)
        again = time.perf_counter() - start
        asked = problem(rules, chains, first)
        theirs, spent = by_highs(asked)
        same = "equal" if abs(theirs - ours) < 1e-3 else f"HiGHS {theirs:.3f}"
        print(
            f"{step:5g} {len(asked.rim) - 1:6} {len(asked.tail):9} {spent:8.3f} {whole:8.4f} {again:8.4f} "
            f"{spent / whole:10.0f} {spent / again:9.0f}  {ours:.3f} {same}",
            flush=True,
        )


if __name__ == "__main__":
    main()
