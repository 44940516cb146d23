"""The bound of a span of directions and a cell of axes, against the nests found on axes within it."""

import functools
import math

import numpy as np
import pytest

from photonest.model import Shop, Stock
from photonest.nest.keepouts import keepouts
from photonest.nest.logs import Log, nest_at
from photonest.nest.logsite import Split, marks
from photonest.nest.solve import workshop
from photonest.nest.spans import Cells, Table, table_of
from tests.nest.examples import face, radial_crack, ring


@functools.cache
def log_and_table() -> tuple[Log, Table]:
    cracks = (radial_crack("c1", 70, 20, 120), radial_crack("c2", 190, 60, 150), radial_crack("c3", 300, 100, 160))
    wood, shop = face(ring(160.0, 120, 0.06, 0.02), cracks, (5.0, -8.0), 0.5), Shop()
    outs = keepouts(wood, Stock("log", length=340.0), shop)
    work = workshop(shop, None)
    log = Log(work, marks(outs), np.zeros(2), Split((5.0, -8.0), 11.0, True), (170.0,), (167.0,), 0.005)
    return log, table_of(work, 167.0)


@pytest.mark.parametrize("seed", range(24))
def test_nothing_within_a_span_ranks_above_its_bound(seed: int) -> None:
    log, table = log_and_table()
    random = np.random.default_rng(seed)
    angle, half = random.uniform(0, 2 * math.pi), random.choice([0.0, 0.01, 0.05, 0.13])
    view = log.view(angle, half, 170.0)
    a, b = np.array([random.uniform(-60, 60)]), np.array([view.nearest + random.uniform(0, 60)])
    across, down = random.choice([0.5, 3.0, 12.0, 25.0], 2).tolist()
    cells = Cells(a, b, across, down, np.ones((1, len(table.levels[0].low)), bool), 0)
    bound = float(view.bounds(table, cells, 0.0)[1].max(initial=0.0))
    for _ in range(3):
        turned = angle + random.uniform(-half, half)
        u, t = float(a[0] + random.uniform(-across, across)), float(b[0] + random.uniform(-down, down))
        nearest, _ = log.split.limits(log.centre, turned, 0.0)
        nest = nest_at(log, turned, u, max(t, nearest), 170.0) if t >= nearest else None
        assert nest is None or log.rank(nest) <= bound + 1e-6
