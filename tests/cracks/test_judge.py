from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from photonest.cracks.evidence import Evidence
from photonest.cracks.judge import FILE, likelihoods, save, shipped

COUNT = len(Evidence._fields)


def by_hand(cues: list[float]) -> float:
    """The same sum written out for one candidate."""
    net = shipped()
    x = [
        (min(max(c, lo), hi) - m) / s
        for c, lo, hi, m, s in zip(cues, net.low, net.high, net.mean, net.spread, strict=True)
    ]
    z = 0.0
    for first, bias, second, last in zip(net.first, net.bias, net.second, net.last, strict=True):
        hidden = [math.tanh(sum(x[k] * first[k, h] for k in range(COUNT)) + bias[h]) for h in range(len(bias))]
        z += sum(a * b for a, b in zip(hidden, second, strict=True)) + last
    return 1 / (1 + math.exp(-z / len(net.last)))


@given(st.lists(st.floats(-50, 50), min_size=COUNT, max_size=COUNT))
def test_likelihoods_are_probabilities_and_match_the_sum_by_hand(cues: list[float]) -> None:
    said = likelihoods(shipped(), [cues])[0]
    assert 0 <= said <= 1
    assert said == pytest.approx(by_hand(cues), abs=1e-9)


def test_the_shipped_network_fits_the_cues_and_is_small() -> None:
    net = shipped()
    assert net.first.shape[1] == len(net.low) == COUNT
    assert (net.low <= net.high).all()
    assert FILE.stat().st_size < 1_000_000


def test_a_network_survives_the_file(tmp_path: Path) -> None:
    file = tmp_path / "net.npz"
    save(shipped(), file)
    with np.load(file) as kept:
        assert {name: kept[name].tolist() for name in kept} == {
            name: np.asarray(value, np.float32).tolist() for name, value in vars(shipped()).items()
        }
