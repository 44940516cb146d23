"""How far a piece has dried, and when it will be ready, from its weights over time."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from photonest.wood.moisture import check_moisture, dry_weight, moisture_of
from photonest.wood.movement import Array
from photonest.wood.species import FIGURES, Species
from photonest.wood.weighings import Weighing, check_weighings, unchanged

READY_SHARE = 0.01
"""A piece is ready when it has no more than this share of its final weight left to lose: a point of moisture."""
MODEL_SHARE = 0.03
"""How far real drying strays from a smooth curve, as a share of the water still to go; judged, no source."""
GREEN_SCATTER = 0.2
"""One standard deviation of green moisture between trees, as a share of the species' mean; judged, no source."""
SAMPLE_ERROR = 3.0
"""Standard error in percent of a piece's moisture told by an off-cut of it, however well weighed; judged, no source."""
EQUILIBRIUM_ERROR = 1.0
"""Standard error in percent of an equilibrium moisture reckoned from one temperature and humidity: seasons change."""
LONGEST_DAYS = 3650
DRAWS = 2000
ALIKE = 16.0
"""Difference of misfit up to which the worse curve still counts for the interval. With it and MODEL_SHARE nine in ten
simulated pieces and more became ready within their interval when weighed for 1.5 time constants; after one, eight in
ten."""
EARLY = 1.5


@dataclass(frozen=True)
class StartMoisture:
    """Moisture at the first weighing in percent, and its standard error."""

    moisture_pct: float
    standard_error: float

    @classmethod
    def green(cls, species: Species) -> StartMoisture:
        """Return the mean green moisture of a species, with its scatter between trees."""
        mean = species.figure("green_moisture")
        return cls(mean, GREEN_SCATTER * mean)

    @classmethod
    def of_sample(cls, wet: float, dry: float, weighing_error: float = 1.0) -> StartMoisture:
        """Return the moisture of a piece by an off-cut, in grams as cut and ovendry (the method of EN 13183-1).

        Examples
        --------
        >>> StartMoisture.of_sample(85.0, 50.0, 0.1).moisture_pct
        70.0
        """
        moisture = moisture_of(wet, dry)
        weighed = 100 * math.hypot(1, wet / dry) * weighing_error / dry
        return cls(moisture, math.hypot(SAMPLE_ERROR, weighed))


@dataclass(frozen=True)
class Drying:
    """Where a piece stands.

    Attributes
    ----------
    moisture_now, moisture_error : float or None
        In percent, with its standard error: from the fitted end where the air is known, else from the start; None where
        neither is known.
    final_weight, time_constant : float or None
        Of the fitted approach: the weight it tends to in grams, and the days in which the water still to go falls to
        1 / e of itself, late in drying.
    ready : date or None
        When no more than a point of moisture is left to lose; None where the weights can't tell yet.
    ready_early, ready_late : date or None
        A 90 % interval; `ready_late` is None where it can't be told.
    unchanged : bool
        Common practice's sign: the last weighings agree.
    curve : tuple of (date, grams)
        The fitted approach, for a picture; empty without a fit.
    notes : tuple of str
        What the answer rests on.
    """

    moisture_now: float | None
    moisture_error: float | None
    final_weight: float | None
    time_constant: float | None
    ready: date | None
    ready_early: date | None
    ready_late: date | None
    unchanged: bool
    curve: tuple[tuple[date, float], ...]
    notes: tuple[str, ...]


def follow_drying(
    weighings: Sequence[Weighing],
    start: StartMoisture | None = None,
    equilibrium_pct: float | None = None,
    scale_error: float = 1.0,
) -> Drying:
    """Return how far a piece has dried and when it will be ready.

    Parameters
    ----------
    weighings : sequence of Weighing
        In order of their days.
    start : StartMoisture, optional
        Moisture at the first weighing.
    equilibrium_pct : float, optional
        Moisture that wood comes to where the piece lies (`equilibrium_moisture`).
    scale_error : float
        Standard error of the scale in grams.

    Raises
    ------
    MoistureError
        If the weighings or a moisture make no sense.

    Notes
    -----
    Two curves are fitted, and between them lie real pieces: drying held up at the surface (the water still to go falls
    exponentially) and drying held up inside (diffusion in a plate from an even start: Crank, The Mathematics of
    Diffusion, 1975). The better one gives the date; the interval takes in the other as far as it fits as well.
    """
    checked = check_weighings(weighings, scale_error)
    if start is not None:
        check_moisture(start.moisture_pct, "the moisture at the start")
    if equilibrium_pct is not None:
        check_moisture(equilibrium_pct, "the equilibrium moisture", FIGURES["fibre_saturation"][1])
    days = np.array([(w.day - checked[0].day).days for w in checked], dtype=np.float64)
    weights = np.array([w.weight for w in checked])
    prior = _final_weight(weights[0], start, equilibrium_pct)
    still = unchanged(checked, scale_error)
    fits = _fits(days, weights, prior, scale_error)
    best = fits[0] if fits else None
    moisture, error, notes = _moisture_now(weights, start, equilibrium_pct, best)
    early, ready, late = _ready(fits, days[-1])
    if best is None:
        notes.append("Too few weighings for a date: weigh again every few weeks.")
    elif ready is None:
        notes.append("The weights fall too evenly yet to say where they will end: weigh again in a few weeks.")
    elif prior is None:
        notes.append("Without a start moisture and the air of the place the date rests on the weights alone.")
    if best is not None and ready is not None and days[-1] < EARLY * best.tau:
        notes.append("These are early days: the date may yet move by more than its interval.")
    if still:
        notes.append("Unchanged over the last weighings: by common practice it is ready to turn again.")
    first = checked[0].day
    return Drying(
        moisture_now=moisture,
        moisture_error=error,
        final_weight=best.final if best and ready is not None else None,
        time_constant=best.tau if best and ready is not None else None,
        ready=_day(first, ready),
        ready_early=_day(first, early),
        ready_late=_day(first, late),
        unchanged=still,
        curve=best.curve(first, max(days[-1], ready)) if best and ready is not None else (),
        notes=tuple(notes),
    )


def _day(first: date, days: float | None) -> date | None:
    return None if days is None else first + timedelta(days=math.ceil(days))


def _final_weight(
    first: float, start: StartMoisture | None, equilibrium_pct: float | None
) -> tuple[float, float] | None:
    """Return the weight at equilibrium and its standard error, where both moistures are known."""
    if start is None or equilibrium_pct is None:
        return None
    final = dry_weight(first, start.moisture_pct) * (1 + equilibrium_pct / 100)
    spread = math.hypot(start.standard_error / (100 + start.moisture_pct), EQUILIBRIUM_ERROR / (100 + equilibrium_pct))
    return final, final * spread


def _moisture_now(
    weights: Array, start: StartMoisture | None, equilibrium_pct: float | None, fit: _Fit | None
) -> tuple[float | None, float | None, list[str]]:
    if equilibrium_pct is not None and fit is not None and fit.tells:
        ratio = float(weights[-1]) / fit.final
        error = ratio * math.hypot(EQUILIBRIUM_ERROR, 100 * fit.final_error / fit.final)
        note = "Moisture now rests on the fitted end being in equilibrium with the air."
        return (100 + equilibrium_pct) * ratio - 100, error, [note]
    if start is not None:
        now = 100 * (float(weights[-1]) / dry_weight(float(weights[0]), start.moisture_pct) - 1)
        error = (100 + now) / (100 + start.moisture_pct) * start.standard_error
        note = (
            f"Moisture now rests on {start.moisture_pct:.0f} % at the start (standard error "
            f"{start.standard_error:.0f})."
        )
        if now < 0:
            note = "The weight is below that of dry wood: the moisture at the start was higher than said."
        return max(now, 0.0), error, [note]
    return None, None, ["Moisture is not known without a start moisture: measure one, or name the species."]


# --- the fit --------------------------------------------------------------------------------------------------------


def _surface(x: Array) -> Array:
    """Return the share of the water still to go when the surface holds it up."""
    share: Array = np.exp(-x)
    return share


def _plate(x: Array) -> Array:
    """Return the share still to go when diffusion inside a plate holds it up; late it falls as exp(-x), too."""
    odd = 2 * np.arange(40) + 1
    share: Array = (8 / math.pi**2 * np.exp(-np.multiply.outer(x, odd**2)) / odd**2).sum(axis=-1)
    return share


@dataclass(frozen=True)
class _Fit:
    """A fitted approach ``final + amplitude shape(t / tau)``; `parameters` are logs of water left now, loss, tau."""

    shape: Callable[[Array], Array]
    last: float
    parameters: Array
    covariance: Array
    misfit: float

    @property
    def final(self) -> float:
        return self.last - math.exp(self.parameters[0])

    @property
    def final_error(self) -> float:
        return math.exp(self.parameters[0]) * math.sqrt(self.covariance[0, 0])

    @property
    def tau(self) -> float:
        return math.exp(self.parameters[2])

    @property
    def tells(self) -> bool:
        """Whether the end is known well enough to be worth saying: the water left to less than half the water lost."""
        error_left, error_loss, error_tau = np.sqrt(np.diag(self.covariance))
        left, loss = np.exp(self.parameters[:2])
        doubt = left * math.expm1(error_left)
        return bool(doubt < 0.5 * (loss - left) and max(error_loss, error_tau) < 1.0) and self.final > 0.3 * self.last

    def ready_days(self) -> tuple[float, float, float]:
        """Return the 5 %, 50 % and 95 % days at which READY_SHARE is left to lose."""
        draws = np.random.default_rng(7).multivariate_normal(self.parameters, self.covariance, DRAWS)
        draws = np.vstack([self.parameters, draws])
        final = np.maximum(self.last - np.exp(draws[:, 0]), 0.1 * self.last)
        share = np.clip(READY_SHARE * final / np.exp(draws[:, 1]), 1e-9, 1.0)
        grid = np.linspace(0, 25, 2001)
        days = np.exp(draws[:, 2]) * np.interp(share, self.shape(grid)[::-1], grid[::-1])
        low, high = np.quantile(days[1:], (0.05, 0.95))
        return min(float(low), float(days[0])), float(days[0]), max(float(high), float(days[0]))

    def curve(self, first: date, until: float) -> tuple[tuple[date, float], ...]:
        days = np.unique(np.linspace(0, math.ceil(until), 60).round())
        values = self.final + math.exp(self.parameters[1]) * self.shape(days / self.tau)
        return tuple((first + timedelta(days=int(d)), round(float(v), 1)) for d, v in zip(days, values, strict=True))


def _fits(days: Array, weights: Array, prior: tuple[float, float] | None, scale_error: float) -> list[_Fit]:
    """Return the fitted approaches, the better first; none where there are too few weighings."""
    if len(days) + (prior is not None) < 4 or weights[0] - weights[-1] < 3 * scale_error:
        return []
    fits = [_fit(shape, days, weights, prior, scale_error) for shape in (_surface, _plate)]
    return sorted(fits, key=lambda fit: fit.misfit)


def _fit(
    shape: Callable[[Array], Array],
    days: Array,
    weights: Array,
    prior: tuple[float, float] | None,
    scale_error: float,
) -> _Fit:
    from scipy.optimize import least_squares

    last, lost = float(weights[-1]), float(weights[0] - weights[-1])

    def residuals(p: Array) -> Array:
        left, loss, tau = np.exp(p)
        final = last - left
        going = loss * shape(days / tau)
        noise = np.hypot(scale_error, MODEL_SHARE * np.maximum(weights - final, 0))
        # The log of the noise keeps a fit from buying a smaller misfit with more water to go.
        terms = [(weights - final - going) / noise, np.sqrt(2 * np.log(noise / scale_error) + 1e-12)]
        if prior is not None:
            terms.append(np.array([(final - prior[0]) / prior[1]]))
        return np.concatenate(terms)

    bounds = (
        np.log([scale_error / 100, 0.3 * lost, 0.5]),
        np.log([0.9 * last, 20 * weights[0], LONGEST_DAYS]),
    )
    lefts = [last - prior[0]] if prior is not None else []
    begins = [
        np.log([left, lost + left, tau])
        for left in (*lefts, 0.3 * lost, 0.05 * lost, scale_error)
        for tau in (max(days[-1] / 2, 2.0), max(days[-1] / 8, 1.0))
        if left > scale_error / 100
    ]
    tried = (least_squares(residuals, np.clip(b, bounds[0] + 1e-6, bounds[1] - 1e-6), bounds=bounds) for b in begins)
    best = min(tried, key=lambda found: float(found.cost))
    information = best.jac.T @ best.jac
    covariance = np.linalg.inv(information + np.diag([1 / 9.0] * 3))  # no log is known worse than to a factor e^3
    return _Fit(shape, last, best.x, covariance, 2 * float(best.cost))


def _ready(fits: Sequence[_Fit], now: float) -> tuple[float | None, float | None, float | None]:
    """Return the early, likely and late days at which the piece is ready; None where the weights can't tell."""
    if not fits or not fits[0].tells:
        return None, None, None
    best = fits[0].ready_days()
    also = [fit.ready_days() for fit in fits[1:] if fit.misfit < fits[0].misfit + ALIKE]
    early = min(low for low, _, _ in (best, *also))
    late = max(high for _, _, high in (best, *also))
    return early, best[1], late if late < LONGEST_DAYS else None
