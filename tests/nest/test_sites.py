"""The axes of blanks and slices: defects seen on the far face, which a foot may stand above."""

import numpy as np
import pytest

from photonest.model import Defect, Shop, Stock
from photonest.nest import check_plan, plan_nest
from photonest.nest.keepouts import keepouts
from photonest.nest.sites import round_site
from tests.nest.examples import face, radial_crack, ring
from tests.nest.random_wood import random_piece

SCALE_ERROR = 0.03


@pytest.mark.parametrize("seed", range(6))
def test_every_place_of_a_far_defect_is_kept_as_clear_of_as_its_own_distance_asks(seed: int) -> None:
    random = np.random.default_rng(seed)
    hole = tuple((30 + x, 20 + y) for x, y in ring(12.0, 24))
    crack, marks = radial_crack("c1", 40.0, 5.0, 90.0, depth=30.0), (Defect("d1", "hole", hole, 0.9, "seen", 20.0),)
    wood = face(ring(150.0), (crack,), defects=marks)
    stock, shop = Stock("blank", thickness=120.0, rim="far"), Shop()
    outs = keepouts(wood, stock, shop)
    site = round_site(outs, 120.0, SCALE_ERROR, far=True, taper=None)
    x, y = random.uniform(-60, 5, 2)
    points, owner = site.points(x, y), site.owner
    for number, out in enumerate(outs):
        if out.depth is None:
            continue
        share = random.uniform(0, 1, (len(out.segments), 1))
        at = (1 - share) * out.segments[:, :2] + share * out.segments[:, 2:]
        at = np.vstack([at, at.mean(axis=0)])  # of a hole, its middle
        rho = np.hypot(*(at - (x, y)).T)
        true = out.margin + out.reach.max() + 2 * np.hypot(out.standard_error, SCALE_ERROR * rho)
        mine = owner == number
        for away, keep in zip(rho, true, strict=True):
            near = mine[: len(points.rho)] & (points.rho <= away + 1e-9)
            assert points.keep[near].max() >= keep - 1e-9


def test_a_foot_above_a_far_crack_clears_it_all_along() -> None:
    piece = random_piece("slice", 22, 991)  # a poor scale, and a crack that runs outward below the foot
    plan = plan_nest(piece.face, piece.stock, piece.shop, work=1, gap_pct=30.0, others=False)
    assert check_plan(piece.face, plan) == ()
