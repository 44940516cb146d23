"""How likely a candidate is a crack, from its cues: a logistic regression.

Its weights are fitted by ``python -m tests.bench.train_cracks`` and shipped as plain arrays.
"""

from __future__ import annotations

import functools
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Vector = NDArray[np.float64]
FILE = Path(__file__).with_name("judge.npz")


@dataclass(frozen=True, eq=False)
class Judge:
    """Weights for k cues.

    Attributes
    ----------
    low, high : ndarray, shape (k,)
        Cues are held between these: beyond them no example was seen.
    weight : ndarray, shape (k,)
        What each adds to the log odds, per unit.
    shift : float
        What is added besides.
    """

    low: Vector
    high: Vector
    weight: Vector
    shift: float


def likelihoods(judge: Judge, cues: ArrayLike) -> Vector:
    """Return the likelihood of each candidate, from cues of shape (n, k)."""
    odds = np.clip(np.asarray(cues, float), judge.low, judge.high) @ judge.weight + judge.shift
    return np.asarray(1 / (1 + np.exp(-odds)))


@functools.cache
def shipped() -> Judge:
    """Return the judge of this package."""
    with np.load(FILE) as arrays:
        low, high, weight, shift = (arrays[name].astype(float) for name in ("low", "high", "weight", "shift"))
    return Judge(low, high, weight, float(shift))


def save(judge: Judge, file: Path) -> None:
    """Write a judge, in single precision."""
    arrays: dict[str, Any] = {name: np.asarray(value, np.float32) for name, value in asdict(judge).items()}
    np.savez(file, **arrays)
