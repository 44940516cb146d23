from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from photonest.cracks.evidence import Evidence
from photonest.cracks.judge import FILE, likelihoods, save, shipped
from tests.bench.fitting import logistic

COUNT = len(Evidence._fields)


@given(st.lists(st.floats(-50, 50), min_size=COUNT, max_size=COUNT))
def test_likelihoods_are_probabilities_and_match_the_sum_by_hand(cues: list[float]) -> None:
    own = shipped()
    held = [min(max(c, lo), hi) for c, lo, hi in zip(cues, own.low, own.high, strict=True)]
    by_hand = 1 / (1 + math.exp(-sum(a * b for a, b in zip(held, own.weight, strict=True)) - own.shift))
    said = likelihoods(own, [cues])[0]
    assert 0 <= said <= 1
    assert said == pytest.approx(by_hand, abs=1e-9)


def test_the_shipped_judge_fits_the_cues_and_trusts_the_network_and_what_stands_out() -> None:
    own = shipped()
    assert len(own.weight) == len(own.low) == COUNT
    assert (own.low <= own.high).all()
    said = Evidence(*own.weight)
    assert said.likely > 0 and said.clear > 0
    assert FILE.stat().st_size < 1_000_000


def test_a_judge_survives_the_file(tmp_path: Path) -> None:
    file = tmp_path / "judge.npz"
    save(shipped(), file)
    with np.load(file) as kept:
        assert {name: kept[name].tolist() for name in kept} == {
            name: np.asarray(value, np.float32).tolist() for name, value in vars(shipped()).items()
        }


def test_a_logistic_regression_finds_the_weights_that_examples_were_drawn_by() -> None:
    rng = np.random.default_rng(4)
    cues = rng.normal(0, [1.0, 5.0], (20_000, 2))
    true = rng.random(20_000) < 1 / (1 + np.exp(-(1.5 * cues[:, 0] - 0.2 * cues[:, 1] + 0.5)))
    found = logistic(cues, true.astype(float), np.ones(20_000), 0.0, 0.0)
    # their standard errors are at most 0.024, 0.005 and 0.02
    assert found.weight == pytest.approx([1.5, -0.2], abs=0.08)
    assert found.shift == pytest.approx(0.5, abs=0.07)
