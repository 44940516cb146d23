"""How likely a patch is a knot, a hole or a bark inclusion, from its cues: a small network a kind.

It has one hidden layer; several are averaged. The weights are fitted by ``python -m tests.bench.train_defects`` and
shipped as plain arrays.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import DefectKind

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


def judged(networks: Mapping[DefectKind, Network], cues: ArrayLike) -> tuple[Vector, list[DefectKind]]:
    """Return for each patch how likely it is a defect, shape (n,), and which kind it would be."""
    kinds = list(networks)
    sure = np.stack([likelihoods(network, cues) for network in networks.values()], axis=1)
    likely = np.minimum(sure.sum(axis=1), 0.99)  # the kinds exclude each other
    return likely, [kinds[int(best)] for best in sure.argmax(axis=1)]


@functools.cache
def shipped() -> Mapping[DefectKind, Network]:
    """Return the networks of this package, one for each kind that is told."""
    parts: dict[Any, dict[str, Any]] = {}
    with np.load(FILE) as arrays:
        for name in arrays:
            kind, field = name.split(".")
            parts.setdefault(kind, {})[field] = arrays[name].astype(float)
    return {kind: Network(**fields) for kind, fields in parts.items()}


def save(networks: Mapping[DefectKind, Network], file: Path = FILE) -> None:
    """Write networks, in single precision."""
    arrays: dict[str, Any] = {
        f"{kind}.{name}": np.asarray(value, np.float32)
        for kind, network in networks.items()
        for name, value in asdict(network).items()
    }
    np.savez(file, **arrays)
