"""Fit small networks."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Vector = NDArray[np.float64]


def member(
    inputs: Vector,
    target: Vector,
    weight: Vector,
    seed: int,
    units: int,
    decay: float,
    steps: int,
) -> tuple[Vector, Vector, Vector, float]:
    """Fit one network by L-BFGS on the weighted cross entropy with weight decay."""
    from scipy.optimize import minimize

    rng = np.random.default_rng(seed)
    count = inputs.shape[1]
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
    best = minimize(loss, start, jac=True, method="L-BFGS-B", options={"maxiter": steps}).x
    w1, b1, w2, b2 = np.split(best, cuts)
    return w1.reshape(count, units), b1, w2, float(b2[0])
