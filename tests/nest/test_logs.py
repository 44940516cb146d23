import numpy as np
import pytest

from photonest.model import NoPlanError, Plan, Shop, Stock, StockError, plan_from_document, plan_to_document
from photonest.nest import check_plan, plan_nest
from photonest.nest.keepouts import keepouts
from photonest.nest.logs import Log
from photonest.nest.logsearch import plain_nests
from photonest.nest.logsite import Split, marks
from photonest.nest.solve import workshop
from tests.nest.examples import face, radial_crack, ring


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
    one, two = (plan_nest(wood, stock, Shop(), work=15_000_000) for _ in range(2))
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
