"""How likely a patch is a defect, from its cues: a small network.

It has one hidden layer; several are averaged. The weights are fitted by ``python -m tests.bench.train_defects`` and
shipped as plain arrays.
"""

from __future__ import annotations

import functools
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Vector = NDArray[np.float64]
FILE = Path(__file__).with_name("patches.npz")


@dataclass(frozen=True, eq=False)
class Network:
    """Weights for k cues, m members, h hidden units.

    Attributes
    ----------
    low, high : ndarray, shape (k,)
        Cues are held between these: beyond them the network never saw anything.
    mean, spread : ndarray, shape (k,)
        Cues are brought to mean 0 and spread 1.
    first : ndarray, shape (m, k, h)
    bias : ndarray, shape (m, h)
    second : ndarray, shape (m, h)
    last : ndarray, shape (m,)
    """

    low: Vector
    high: Vector
    mean: Vector
    spread: Vector
    first: Vector
    bias: Vector
    second: Vector
    last: Vector


def likelihoods(network: Network, cues: ArrayLike) -> Vector:
    """Return the likelihood of each patch, from cues of shape (n, k)."""
    inputs = (np.clip(np.asarray(cues, float), network.low, network.high) - network.mean) / network.spread
    hidden = np.tanh(np.einsum("nk,mkh->mnh", inputs, network.first) + network.bias[:, None])
    z = np.einsum("mnh,mh->mn", hidden, network.second) + network.last[:, None]
    return np.asarray(1 / (1 + np.exp(-z.mean(axis=0))))


@functools.cache
def shipped() -> Network:
    """Return the network of this package."""
    with np.load(FILE) as arrays:
        return Network(**{name: arrays[name].astype(float) for name in arrays})


def save(network: Network, file: Path = FILE) -> None:
    """Write a network, in single precision."""
    arrays: dict[str, Any] = {name: np.asarray(value, np.float32) for name, value in asdict(network).items()}
    np.savez(file, **arrays)
