"""Fit what judges cracks and other defects, and keep the examples they are fitted to."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from photonest.cracks.judge import Judge
from photonest.cracks.patch_judge import Network

Vector = NDArray[np.float64]


@dataclass(frozen=True)
class Fit:
    """How a network is fitted: hidden units, decay of the weights, most steps, and what is clipped at either end."""

    units: int
    decay: float
    steps: int
    outliers_pct: float


def logistic(cues: Vector, target: Vector, weight: Vector, decay: float, outliers_pct: float) -> Judge:
    """Return the logistic regression fitted to examples, shape (n, k), by targets and weights, shape (n,)."""
    from scipy.optimize import minimize

    low, high = np.percentile(cues, [outliers_pct, 100 - outliers_pct], axis=0)
    clipped = np.clip(cues, low, high)
    mean, spread = clipped.mean(axis=0), np.maximum(clipped.std(axis=0), 1e-6)
    inputs, share = (clipped - mean) / spread, weight / weight.sum()

    def loss(line: Vector) -> tuple[float, Vector]:
        z = inputs @ line[:-1] + line[-1]
        slope = share * (1 / (1 + np.exp(-z)) - target)
        value = float(share @ (np.logaddexp(0, z) - target * z)) + decay * float((line[:-1] ** 2).sum())
        return value, np.append(inputs.T @ slope + 2 * decay * line[:-1], slope.sum())

    line = minimize(loss, np.zeros(cues.shape[1] + 1), jac=True, method="L-BFGS-B").x
    own = line[:-1] / spread
    return Judge(low, high, own, float(line[-1] - own @ mean))


def network(cues: Vector, target: Vector, weight: Vector, members: int, fit: Fit) -> Network:
    """Return the mean of several networks fitted to examples, shape (n, k), by targets and weights, shape (n,)."""
    low, high = np.percentile(cues, [fit.outliers_pct, 100 - fit.outliers_pct], axis=0)
    clipped = np.clip(cues, low, high)
    mean, spread = clipped.mean(axis=0), np.maximum(clipped.std(axis=0), 1e-6)
    inputs = (clipped - mean) / spread
    fits = [_member(inputs, target, weight / weight.sum(), seed, fit) for seed in range(members)]
    first, bias, second, last = (np.array(part) for part in zip(*fits, strict=True))
    return Network(low, high, mean, spread, first, bias, second, last)


def _member(
    inputs: Vector, target: Vector, weight: Vector, seed: int, fit: Fit
) -> tuple[Vector, Vector, Vector, float]:
    """Fit one network by L-BFGS on the weighted cross entropy with weight decay."""
    from scipy.optimize import minimize

    rng = np.random.default_rng(seed)
    count, units, decay = inputs.shape[1], fit.units, fit.decay
    sizes = [count * units, units, units, 1]
    cuts = np.cumsum(sizes)[:-1]

    def loss(flat: Vector) -> tuple[float, Vector]:
        w1, b1, w2, b2 = np.split(flat, cuts)
        w1 = w1.reshape(count, units)
        hidden = np.tanh(inputs @ w1 + b1)
        z = hidden @ w2 + b2
        value = float(weight @ (np.logaddexp(0, z) - target * z)) + decay * float((w1**2).sum() + (w2**2).sum()) / 20
        slope = weight * (1 / (1 + np.exp(-z)) - target)
        back = slope[:, None] * w2 * (1 - hidden**2)
        grad_w1 = inputs.T @ back + decay * w1 / 10
        grad = [grad_w1.ravel(), back.sum(axis=0), hidden.T @ slope + decay * w2 / 10, [slope.sum()]]
        return value, np.concatenate(grad)

    start = rng.normal(0, 0.3, sum(sizes))
    best = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": fit.steps}).x
    w1, b1, w2, b2 = np.split(best, cuts)
    return w1.reshape(count, units), b1, w2, float(b2[0])


def kept(file: Path | None, gather: Callable[[], Mapping[str, Any]]) -> Mapping[str, Any]:
    """Return the arrays of a file, by name; gather them, and write the file, where there is none."""
    if file is not None and file.exists():
        return dict(np.load(file))
    arrays = gather()
    if file is not None:
        np.savez(file, **arrays)
    return arrays
