"""What a plan's figures are said to mean."""

from dataclasses import replace

from photonest.report.words import MOST_LIMITS, proof, what_limits
from tests.nest.examples import plain_blank


def test_what_is_not_proven_is_not_claimed() -> None:
    _, plan = plain_blank()
    open_count = replace(plan, bound=replace(plan.bound, bowls=plan.score.bowls + 1, gap_pct=0.0))
    assert "not settled" in proof(open_count)
    settled = replace(plan, bound=replace(plan.bound, bowls=plan.score.bowls, gap_pct=0.4))
    assert proof(settled) == "No plan can do better by more than 0.4 %."
    assert proof(replace(settled, bound=replace(settled.bound, gap_pct=0.0))) == "No plan can do better."


def test_a_long_list_of_limits_is_cut_short_and_says_so() -> None:
    bowl = plain_blank()[1].nests[0].bowls[0]
    few = tuple(f"crack c{i}" for i in range(MOST_LIMITS))
    assert what_limits(replace(bowl, binds=few)) == list(few)
    assert what_limits(replace(bowl, binds=(*few, "crack c98", "crack c99"))) == [*few, "2 more"]
