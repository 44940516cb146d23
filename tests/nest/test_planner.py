from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from photonest.face_warnings import face_warnings
from photonest.model import Face, NoPlanError, Shop, Stock, plan_from_document, plan_to_document
from photonest.nest import check_plan, plan_nest
from photonest.nest.planner import _warnings
from tests.nest.examples import face, plain_blank, radial_crack, ring


def random_face(seed: int) -> Face:
    random = np.random.default_rng(seed)
    outline = ring(random.uniform(90, 200), 90, random.uniform(0, 0.15), random.uniform(0, 0.03))
    cracks = []
    for index in range(random.integers(0, 13)):
        start = random.uniform(0, 180)
        depth = float(random.uniform(5, 100)) if random.random() < 0.3 else None
        end = start + random.uniform(4, 80)
        cracks.append(
            radial_crack(f"c{index + 1}", random.uniform(0, 360), start, end, width=random.uniform(0, 3), depth=depth)
        )
    pith = tuple(random.uniform(-30, 30, 2).tolist()) if random.random() < 0.5 else None
    return face(outline, tuple(cracks), pith, random.uniform(0, 1.5))


def test_a_blank_350_across_and_150_thick_gives_three_bowls() -> None:
    """Common practice, no source: a nest of three, the smaller bowls with thinner walls."""
    plan = plan_nest(face(ring(175.0)), Stock("blank", thickness=150.0), Shop())
    walls = [bowl.wall_min for bowl in plan.nests[0].bowls]
    assert plan.score.bowls == 3
    assert walls == sorted(walls, reverse=True)
    assert plan.bound.gap_pct <= 1.0


def test_a_plan_survives_its_file() -> None:
    _, plan = plain_blank()
    assert plan_from_document(plan_to_document(plan)) == plan


@given(st.integers(0, 1_000_000), st.floats(40, 220), st.sampled_from(["photographed", "far"]))
@settings(max_examples=6)
def test_no_plan_fails_the_independent_check(seed: int, thickness: float, rim: str) -> None:
    wood = random_face(seed)
    try:
        plan = plan_nest(wood, Stock("blank", thickness=thickness, rim=rim), Shop())  # type: ignore[arg-type]
    except NoPlanError:
        return
    assert check_plan(wood, plan) == ()
    assert plan.score.total_rim_diameter <= plan.bound.value + 1e-9


def test_the_same_question_gets_the_same_answer() -> None:
    wood = random_face(7)
    stock = Stock("blank", thickness=120.0)
    assert plan_nest(wood, stock, Shop()) == plan_nest(wood, stock, Shop())


def test_no_plan_says_what_is_nearest() -> None:
    with pytest.raises(NoPlanError, match="93 mm across"):
        plan_nest(face(ring(50.0)), Stock("blank", thickness=100.0), Shop())
    with pytest.raises(NoPlanError, match="30 mm of thickness"):
        plan_nest(face(ring(150.0)), Stock("blank", thickness=30.0), Shop())


def test_a_poor_scale_makes_a_smaller_nest() -> None:
    stock, cracks = Stock("blank", thickness=120.0), (radial_crack("c1", 10, 120, 170),)
    sharp = plan_nest(face(ring(170.0), cracks, standard_error_pct=0.1), stock, Shop())
    poor = plan_nest(face(ring(170.0), cracks, standard_error_pct=2.0), stock, Shop())
    assert poor.nests[0].bowls[0].rim_diameter < sharp.nests[0].bowls[0].rim_diameter - 5


def test_drying_makes_thicker_walls() -> None:
    wood, stock = face(ring(150.0)), Stock("blank", thickness=130.0)
    plan = plan_nest(wood, stock, Shop(), wall_need=lambda rim: 0.25 * rim)
    assert check_plan(wood, plan, wall_need=lambda rim: 0.25 * rim) == ()
    assert all(bowl.wall_min >= 0.125 * bowl.rim_diameter - 0.05 for bowl in plan.nests[0].bowls)


def test_pith_is_kept_out_unless_allowed() -> None:
    wood, stock = face(ring(150.0), pith=(5.0, 0.0)), Stock("slice", thickness=120.0)
    allowed = Stock("slice", thickness=120.0, through_pith=True)
    assert plan_nest(wood, stock, Shop()).nests[0].bowls[0].rim_diameter < 150
    assert plan_nest(wood, allowed, Shop()).nests[0].bowls[0].rim_diameter > 280


def test_doubtful_cracks_are_told_in_the_words_of_the_face() -> None:
    """Where the warnings of face and plan stand together, each is told once."""
    doubts = [replace(radial_crack(f"c{n}", 90.0 * n, 150.0, 160.0), status="possible") for n in (1, 2)]
    for cracks in (doubts, doubts[:1]):
        seen = face(ring(175.0), tuple(cracks))
        said = [text for text in _warnings(seen, Stock("blank", thickness=100.0), Shop(), ()) if "possible" in text]
        assert len(said) == 1
        assert said[0] in face_warnings(seen)


def test_a_plan_without_others_to_choose_from_is_the_same_plan() -> None:
    blank, whole = plain_blank()
    alone = plan_nest(blank, Stock("blank", thickness=150.0), Shop(), others=False)
    assert (alone.nests, alone.score, alone.bound) == (whole.nests, whole.score, whole.bound)
    assert whole.runners_up != alone.runners_up == ()
