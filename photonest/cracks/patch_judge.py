"""How likely a patch is a knot, a hole, a bark inclusion or decay: a small network a kind, from the patch's cues.

The weights are fitted by ``python -m tests.bench.train_defects`` and shipped as plain arrays.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from photonest.cracks.judge import Network
from photonest.model import DefectKind

FILE = Path(__file__).with_name("patches.npz")


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
