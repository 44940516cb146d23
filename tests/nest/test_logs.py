import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from photonest.model import NoPlanError, Plan, Shop, Stock, StockError, plan_from_document, plan_to_document
from photonest.nest import check_plan, plan_nest
from photonest.nest.keepouts import keepouts
from photonest.nest.logs import HalfNest, Log, nest_at, polished
from photonest.nest.logsearch import plain_nests
from photonest.nest.logsite import Split, marks
from photonest.nest.solve import workshop
from tests.nest.examples import face, radial_crack, ring
from tests.nest.random_wood import random_piece


def test_a_clear_log_gives_two_nests_either_side_of_the_pith() -> None:
    log = face(ring(150.0, 120, 0.06), pith=(8.0, 3.0))
    plan = plan_nest(log, Stock("log", length=320.0), Shop(), gap_pct=3.0, work=40_000_000)
    assert check_plan(log, plan) == ()
    assert len(plan.nests) == 2
    one, other = (np.array(nest.axis.direction) for nest in plan.nests)
    assert np.allclose(one, -other)
    for nest in plan.nests:
        assert nest.axis.point[2] == pytest.approx(160.0)
        away = (np.array(nest.axis.point[:2]) - (8.0, 3.0)) @ np.array(nest.axis.direction[:2])
        assert away >= Shop().pith_slab
        assert 2 * nest.bowls[0].rim_diameter / 2 <= 320 - 2 * Shop().trueing
    assert plan_from_document(plan_to_document(plan)) == plan


def _plan(log_face: object, **stock: object) -> Plan | None:
    try:
        return plan_nest(log_face, Stock("log", **stock), Shop(), gap_pct=5.0, work=20_000_000)  # type: ignore[arg-type]
    except NoPlanError:
        return None


@pytest.mark.parametrize("seed", range(4))
def test_no_plan_of_a_random_log_fails_the_independent_check(seed: int) -> None:
    random = np.random.default_rng(seed)
    pith = tuple(random.uniform(-20, 20, 2).tolist())
    cracks = [radial_crack(f"c{i}", random.uniform(0, 360), 5, random.uniform(20, 100), pith) for i in range(seed)]
    log = face(ring(random.uniform(110, 180), 120, 0.08, 0.02), tuple(cracks), pith)
    stock = {
        "length": random.uniform(200, 400),
        "check_depth": [None, 30.0][seed % 2],
        "rim_towards": ["pith", "bark"][seed // 2],
    }
    plan = _plan(log, **stock)
    assert plan is None or check_plan(log, plan) == ()


def test_a_log_is_planned_the_same_twice_and_no_worse_than_the_plain_way() -> None:
    cracks = (radial_crack("c1", 80, 20, 130), radial_crack("c2", 200, 90, 165))
    wood, stock = face(ring(165.0, 120, 0.05), cracks, pith=(6.0, -4.0)), Stock("log", length=340.0)
    one, two = (plan_nest(wood, stock, Shop(), work=6_000_000) for _ in range(2))
    assert one == two
    assert [other.bowls for other in one.alternatives] == list(range(one.score.bowls - 1, 0, -1))
    binds = {word for nest in one.nests for word in nest.bowls[0].binds}
    assert all(any(word in reason for reason in one.reasons) for word in binds if word.startswith("crack"))
    shop = Shop()
    outs = keepouts(wood, stock, shop)
    split = Split((6.0, -4.0), shop.pith_slab + 2 * 0.5, True)
    centre = np.asarray(wood.outline.wood).mean(axis=0)
    log = Log(workshop(shop, None), marks(outs), centre, split, (170.0,), (167.0,), 0.002)
    plain = [nest.found for nest in plain_nests(log)]
    assert (one.score.bowls, one.score.value) >= (sum(n.bowls for n in plain), sum(n.value for n in plain))


def test_an_unknown_pith_is_asked_for() -> None:
    with pytest.raises(StockError, match="pith"):
        plan_nest(face(ring(150.0)), Stock("log", length=300.0), Shop())


def test_a_log_checked_from_end_to_end_gives_nothing() -> None:
    with pytest.raises(NoPlanError, match="end checks"):
        plan_nest(face(ring(150.0), pith=(0.0, 0.0)), Stock("log", length=200.0, check_depth=195.0), Shop())


def _section(log: Log, nest: HalfNest, trueing: float) -> shapely.Polygon:
    """Return the first bowl as it lies in the face, the trueing allowance added."""
    into = np.array([math.cos(nest.angle), math.sin(nest.angle)])
    across = np.array([-into[1], into[0]])
    bowl = nest.found.recipe.bowls(log.work.rules)[0]
    angles = np.linspace(0.0, math.asin(bowl.rim / bowl.radius), 200)
    rho, h = bowl.radius * np.sin(angles), bowl.radius * np.cos(angles) - bowl.stand_off
    rho, h = rho[h <= bowl.depth] + trueing, h[h <= bowl.depth]
    rho, h = np.append(bowl.foot + trueing, rho), np.append(bowl.depth, h)
    at = log.centre + nest.u * across + nest.t * into + h[:, None] * into
    return shapely.Polygon(np.vstack([at + rho[:, None] * across, (at - rho[:, None] * across)[::-1]]))


def test_bowls_moved_to_clear_all_by_the_most_lie_in_the_wood_between_its_marks_too() -> None:
    # The marks are 1 mm apart. Between two of them an arc of 60 mm or more bulges by 1 / (8 x 60) = 0.002 mm at most;
    # rim and foot are corners, and stood out between two marks while the marks alone were asked of a moved bowl.
    piece = random_piece("log", 77, 37)
    sure = replace(piece.face.outline, standard_error=0.0)
    wood = replace(piece.face, outline=sure, scale=replace(piece.face.scale, standard_error_pct=0.0))
    assert wood.pith is not None
    shop, z = piece.shop, (piece.stock.length or 0.0) / 2
    marked = marks(keepouts(wood, piece.stock, shop))
    split = Split(wood.pith.point, shop.pith_slab, towards_pith=False)
    centre = np.asarray(wood.outline.wood).mean(axis=0)
    log = Log(workshop(shop, None), marked, centre, split, (z,), (z - shop.trueing,), 0.0)
    inside = shapely.Polygon(wood.outline.wood).buffer(0.002)
    for u, t in [(-20.0, -110.0), (0.0, -100.0), (15.0, -90.0), (30.0, -80.0)]:
        nest = nest_at(log, 1.1, u, t, z)
        for found in (nest, polished(log, nest)) if nest is not None else ():
            assert inside.contains(_section(log, found, shop.trueing))
