from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from photonest.cracks.patch_judge import Network, likelihoods, shipped

NETWORK = shipped()
COUNT = len(NETWORK.low)


def by_hand(net: Network, cues: list[float]) -> float:
    """The same sum written out for one patch."""
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
    said = likelihoods(NETWORK, [cues])[0]
    assert 0 <= said <= 1
    assert said == pytest.approx(by_hand(NETWORK, cues), abs=1e-9)
