"""Random plans against solids of revolution (trimesh, manifold3d) and Pappus' theorem: a second check of safety."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
import trimesh

from photonest.model import Face, Plan, Shop, Stock, StockKind
from photonest.nest import check_plan, plan_nest
from tests.nest.examples import face, plain_blank, radial_crack, ring
from tests.nest.random_wood import random_piece
from tests.nest.solids import SECTIONS, found_unsafe, groove_of, hollow_of, thinnest, too_near, turned, wall_of

# of the first 30 random pieces those from which a bowl can be had
ROUND = [
    (("blank", "slice")[index % 2], index) for index in (0, 2, 3, 5, 6, 7, 8, 9, 12, 15, 18, 21, 24, 25, 27, 28, 29)
]


def planned(kind: StockKind, index: int) -> tuple[Face, Plan]:
    wood, stock, shop = random_piece(kind, 11, index, index % 4)
    return wood, plan_nest(wood, stock, shop, keep_axis=(6.0, -4.0) if index % 3 else None)


@pytest.mark.parametrize(("kind", "index"), ROUND)
def test_solids_keep_clear_of_defects_and_within_the_wood(kind: StockKind, index: int) -> None:
    wood, plan = planned(kind, index)
    assert found_unsafe(wood, plan) == []
    assert check_plan(wood, plan) == ()


def test_the_two_halves_of_a_log_keep_clear() -> None:
    log = face(ring(170.0), (radial_crack("c1", 75, 60, 160),), pith=(8.0, -5.0))
    plan = plan_nest(log, Stock("log", length=330.0), Shop(), gap_pct=25.0, work=10_000_000)
    assert found_unsafe(log, plan) == []
    told = {word for nest in plan.nests for word in nest.bowls[0].binds}
    assert told & {"the edge of the wood", "crack c1", "the pith"}
    axis = plan.nests[0].axis
    across = replace(log, cracks=(radial_crack("c3", 0, 20, 40, centre=axis.point[:2]),))
    assert any("c3" in told for told in too_near(across, plan))


@pytest.mark.parametrize("bowl", plain_blank()[1].nests[0].bowls)
def test_volumes_by_three_ways(bowl: object) -> None:
    """The planner's own integral, Pappus' theorem (2 pi times centroid times area) and two kinds of mesh."""
    area = shapely.Polygon([*bowl.inner, (0.0, 0.0)])  # type: ignore[attr-defined]
    pappus = 2 * math.pi * area.centroid.x * area.area
    polygon = SECTIONS / (2 * math.pi) * math.sin(2 * math.pi / SECTIONS)  # of the area of its circle: 1 - 2e-4
    assert hollow_of(bowl).volume() == pytest.approx(pappus * polygon, rel=1e-5)  # type: ignore[arg-type]
    closed = np.array([*bowl.inner, (0.0, 0.0)])[::-1]  # type: ignore[attr-defined]
    assert abs(trimesh.creation.revolve(closed, sections=SECTIONS).volume) == pytest.approx(pappus * polygon, rel=1e-5)
    # the drawn curve's 60 chords over at most a quarter turn lose up to their sagitta: R (pi / 120)^2 / 8 < 1e-4 R
    assert bowl.capacity_ml * 1000 == pytest.approx(pappus, rel=5e-4)  # type: ignore[attr-defined]


def test_walls_and_grooves_fill_the_first_bowl_without_meeting() -> None:
    nest = plain_blank()[1].nests[0]
    parts = [wall_of(bowl) for bowl in nest.bowls] + [groove_of(cut) for cut in nest.cuts]
    for part, other in itertools.combinations(parts, 2):
        assert (part ^ other).volume() < 0.1 * 2e4  # mm3: chords, within 0.1 mm, over the area they share
    first = turned((*nest.bowls[0].outer, (0.0, 0.0)))
    parts.append(hollow_of(nest.bowls[-1]))
    # what is left is under the feet of the cores, inside the groove's inner edge
    feet = sum(math.pi * (bowl.foot_diameter / 2) ** 2 * 20 for bowl in nest.bowls[1:])
    assert 0 <= first.volume() - sum(part.volume() for part in parts) < feet


def test_the_solids_see_a_crack_in_a_wall_and_a_thin_wall() -> None:
    blank, plan = plain_blank()
    x, y, _ = plan.nests[0].axis.point
    crack = radial_crack("c9", 100, 150, 158, centre=(x, y))
    assert any("c9" in told for told in too_near(replace(blank, cracks=(crack,)), plan))
    bowl = plan.nests[0].bowls[0]
    # the wall told is exact; chords of the outside and of 64 sections lie up to 0.05 and the nearest sample 0.1 off
    assert thinnest(bowl) == pytest.approx(bowl.wall_min, abs=0.15)
    moved = replace(bowl, inner=tuple((rho + 3.0, h) for rho, h in bowl.inner))
    assert thinnest(moved) < bowl.wall_min - 1.0
