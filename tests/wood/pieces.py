"""Drying pieces made up: a plate that dries by diffusion inside and holds moisture up at its surface, too.

J. Crank, The Mathematics of Diffusion (2nd ed. 1975), section 4.3.6: with beta tan beta = L the share of the water
still to go is the sum of 2 L^2 exp(-beta^2 T) / (beta^2 (beta^2 + L^2 + L)). From memory; checked by its value 1 at
T = 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq

from photonest.wood.weighings import Weighing

FIRST = date(2031, 1, 1)
Array = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Piece:
    """A made-up piece: moistures in percent, its dry weight in grams, its late time constant in days, Crank's L."""

    start: float = 70.0
    end: float = 11.0
    dry: float = 1200.0
    tau: float = 40.0
    surface: float = 3.0

    def weight(self, days: Array) -> Array:
        """Return the weight in grams on each day."""
        water = self.end + (self.start - self.end) * to_go(self.surface, days / self.tau)
        return self.dry * (1 + water / 100)

    def ready(self) -> float:
        """Return the day on which 1 % of the final weight is left to lose."""
        days = np.linspace(0, 25 * self.tau, 20001)
        final = self.dry * (1 + self.end / 100)
        return float(days[np.argmax(self.weight(days) - final < 0.01 * final)])

    def weighings(self, until: float, step: int, rng: np.random.Generator | None = None) -> tuple[Weighing, ...]:
        """Return what a scale that shows whole grams says every `step` days, with an error of 1 g where asked."""
        days = np.arange(0, until + 1, step, dtype=np.float64)
        noise = rng.normal(0, 1, len(days)) if rng is not None else np.zeros(len(days))
        values = np.round(self.weight(days) + noise)
        return tuple(Weighing(FIRST + timedelta(days=int(d)), float(w)) for d, w in zip(days, values, strict=True))


def to_go(surface: float, x: Array, terms: int = 12) -> Array:
    """Return the share of the water still to go, x counting so that it falls as exp(-x) late."""

    def crossing(v: float) -> float:
        return float(v * np.sin(v) - surface * np.cos(v))

    beta = np.array([brentq(crossing, k * np.pi + 1e-9, (k + 0.5) * np.pi) for k in range(terms)])
    share = 2 * surface**2 / (beta**2 * (beta**2 + surface**2 + surface))
    left: Array = (share * np.exp(-np.multiply.outer(x, (beta / beta[0]) ** 2))).sum(axis=-1)
    return left


def any_piece(rng: np.random.Generator) -> Piece:
    """Return a random piece, from drying held up at the surface to drying held up inside."""
    return Piece(
        start=rng.uniform(45, 100),
        end=rng.uniform(8, 14),
        dry=rng.uniform(300, 3000),
        tau=rng.uniform(15, 90),
        surface=10 ** rng.uniform(-1, 1.7),
    )
