"""The value of chains against two other ways: trying everything, and a mixed-integer model solved with HiGHS."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from photonest.model import Cutter, Range, Shop
from photonest.nest.chains import Worth, best_following, cell_grid, chains_on, following, levels, point_grid
from photonest.nest.curves import cored_outside, turned_outside, wall_between, worth_having
from photonest.nest.rules import Rules
from photonest.nest.solve import bound_on_axis, nests_on_axis, wider, workshop

COARSE = Shop(
    cutters=(Cutter("R110", 110.0, 8.0), Cutter("R150", 150.0, 8.0)),
    offset=Range(-8.0, 8.0),
    stand_off=Range(0.0, 90.0),
)


def everything(rules: Rules, step: float) -> list[tuple[float, float, float, float]]:
    """Return every cut of a grid: outer and inner edge, offset and stand-off."""
    cuts = []
    for cutter in rules.shop.cutters:
        for offset, stand_off in itertools.product(np.arange(-8, 8.1, step), np.arange(0, 90.1, step)):
            edge = cutter.radius - cutter.kerf / 2
            if stand_off < edge and bool(worth_having(rules, cored_outside(rules, edge, offset, stand_off))):
                cuts.append((edge + cutter.kerf, edge, float(offset), float(stand_off)))
    return cuts


def fits(bowl: object, cut: tuple[float, float, float, float]) -> bool:
    """Say from the wall and base themselves whether a groove fits in a bowl."""
    outer, _, offset, stand_off = cut
    wall = float(wall_between(bowl, outer, offset, stand_off))  # type: ignore[arg-type]
    base = bowl.axis_floor - (math.sqrt(outer**2 - offset**2) - stand_off)  # type: ignore[attr-defined]
    return bool(wall >= bowl.wall - 1e-9 and base >= -1e-9)  # type: ignore[attr-defined]


@pytest.mark.parametrize(("rim", "depth"), [(165.0, 140.0), (120.0, 110.0)])
def test_the_best_chain_by_trying_everything_and_by_a_mixed_integer_model(rim: float, depth: float) -> None:
    rules = Rules(COARSE)
    first = turned_outside(rules, np.array([rim]), np.array([depth]))
    cuts = everything(rules, 8.0)
    bowls = [turned_outside(rules, rim, depth)] + [cored_outside(rules, edge, offset, s) for _, edge, offset, s in cuts]
    rims = np.array([float(np.atleast_1d(bowl.rim)[0]) for bowl in bowls])
    arcs = [
        (i, j) for i, bowl in enumerate(bowls) for j, cut in enumerate(cuts, 1) if fits(bowl, cut) and rims[j] < rims[i]
    ]
    best: dict[int, float] = {1: 2 * rim}
    reach = {0: 2 * rim}
    for count in range(2, 6):  # every chain, longest last
        found: dict[int, float] = {}
        for i, j in arcs:
            if i in reach:
                found[j] = max(found.get(j, 0.0), reach[i] + 2 * rims[j])
        reach = found
        if found:
            best[count] = max(found.values())

    chains = chains_on(rules, point_grid(rules, 8.0))
    follows = following(chains.grid, first)
    for count, level in enumerate(levels(chains, Worth("bowls")), 2):
        value = float(best_following(follows, level)[0][0])
        if value > 0:
            assert 2 * rim + value == pytest.approx(best[count], abs=1e-6)
        else:
            assert count not in best

    # the mixed-integer model: one 0/1 variable an arc, a path from the first bowl; counts first, then the sum
    size = len(arcs)
    reward = np.array([1e4 + 2 * rims[j] for _, j in arcs])
    flow = np.zeros((len(bowls), size))
    for k, (i, j) in enumerate(arcs):
        flow[i, k] += 1
        flow[j, k] -= 1
    upper = np.zeros(len(bowls))
    upper[0] = 1.0
    model = milp(
        -reward, constraints=[LinearConstraint(flow, -np.inf, upper)], integrality=np.ones(size), bounds=Bounds(0, 1)
    )
    most = max(best)
    assert -model.fun == pytest.approx((most - 1) * 1e4 + best[most] - 2 * rim, abs=1e-3)


@pytest.mark.parametrize(("rim", "depth"), [(172.0, 150.0), (140.0, 100.0), (98.0, 90.0)])
def test_the_bound_holds_and_is_near(rim: float, depth: float) -> None:
    work = workshop(Shop(), None)

    def room(radius: np.ndarray) -> np.ndarray:
        return np.full_like(radius, depth)

    found, bounds = nests_on_axis(work, room, rim), bound_on_axis(work, room, rim)
    for count, nest in found.items():
        assert nest.value <= bounds[count] + 1e-9
        assert bounds[count] <= nest.value * 1.01


def test_cells_hold_every_point() -> None:
    """No exact chain is worth more than the bound of the cells it lies in."""
    rules = Rules(COARSE)
    points, cells = chains_on(rules, point_grid(rules, 2.0)), chains_on(rules, cell_grid(rules, 5.0))
    for rim in (90.0, 130.0, 165.0):
        first = turned_outside(rules, np.array([rim]), np.array([0.85 * rim]))
        exact, upper = levels(points, Worth("bowls")), levels(cells, Worth("bowls"))
        for low, high in zip(exact, upper, strict=False):
            assert (
                best_following(following(points.grid, first), low)[0][0]
                <= best_following(following(cells.grid, first), high)[0][0] + 1e-9
            )


def test_a_rig_that_moves_far_has_a_wider_grid_that_still_holds_every_cut() -> None:
    far = Rules(replace(Shop(), max_slope=45.0, offset=Range(-200.0, 200.0)))
    assert wider(Rules(Shop())) == 1.0
    usual, grid = (point_grid(rules, wider(rules)) for rules in (Rules(Shop()), far))
    pairs = [len(each.offset) ** 2 * len(each.stand_off) for each in (usual, grid)]
    assert pairs[1] < 5 * pairs[0]  # MOST_CUTS is 3.1 times what the usual workshop has, and rows are whole
    assert len(point_grid(far, 1.0).offset) > 5 * len(usual.offset)
