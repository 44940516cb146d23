"""Moisture of wood, and what follows from it: shrinkage, density, weights. Moisture is in % of the ovendry mass."""

from __future__ import annotations

from dataclasses import dataclass

from photonest.model import MoistureError
from photonest.wood.species import FIBRE_SATURATION, Species

MOISTURE_MAX = 400.0  # as green sapwood of the lightest woods
SCATTER = 0.15
"""One standard deviation of a single piece's shrinkage, as a share of it: the coefficients of variation of radial and
tangential shrinkage in the Wood Handbook (FPL-GTR-190, Table 5-6), 15 and 14 %, from memory."""


@dataclass(frozen=True)
class Shrink:
    """Free shrinkage of a piece as fractions of its green size: along the rays, along the rings, along the grain."""

    radial: float
    tangential: float
    longitudinal: float

    def __post_init__(self) -> None:
        for name in ("radial", "tangential", "longitudinal"):
            if not 0 <= getattr(self, name) < 0.5:
                raise MoistureError(f"{name} shrinkage must be a fraction from 0 to 0.5, not {getattr(self, name):g}.")

    def scaled(self, factor: float) -> Shrink:
        """Return the shrinkage of a piece that moves `factor` times as much."""
        return Shrink(self.radial * factor, self.tangential * factor, self.longitudinal * factor)


def check_moisture(moisture_pct: float, what: str = "moisture", most: float = MOISTURE_MAX) -> float:
    """Return a moisture; raise MoistureError if no wood can have it, or it is above `most`."""
    if not 0 <= moisture_pct <= most:
        raise MoistureError(
            f"{what} must be between 0 and {most:g} %, not {moisture_pct:g}.",
            "It is the water's weight in percent of the ovendry wood's weight.",
        )
    return moisture_pct


def equilibrium_moisture(temperature_c: float, humidity_pct: float) -> float:
    """Return the moisture that wood comes to in air of a temperature and relative humidity.

    Parameters
    ----------
    temperature_c : float
        From -20 to 100 degrees Celsius.
    humidity_pct : float
        Relative humidity, 0 to 100.

    Returns
    -------
    float
        In percent.

    Notes
    -----
    The Hailwood-Horrobin equation with Simpson's constants (Wood Handbook, FPL-GTR-190, Eq. 4-5).

    Examples
    --------
    >>> round(equilibrium_moisture(21.1, 65), 1)
    12.0
    """
    if not -20 <= temperature_c <= 100:
        raise MoistureError(f"The temperature must be between -20 and 100 °C, not {temperature_c:g}.")
    if not 0 <= humidity_pct <= 100:
        raise MoistureError(f"The relative humidity must be between 0 and 100 %, not {humidity_pct:g}.")
    t, h = temperature_c, humidity_pct / 100
    w = 349 + 1.29 * t + 0.0135 * t**2
    k = 0.805 + 0.000736 * t - 2.73e-6 * t**2
    k1 = 6.27 - 0.00938 * t - 3.03e-4 * t**2
    k2 = 1.91 + 0.0407 * t - 2.93e-4 * t**2
    kh = k * h
    one, two = k1 * kh, k1 * k2 * kh**2
    return 1800 / w * (kh / (1 - kh) + (one + 2 * two) / (1 + one + two))


def shrinkage_at(total_pct: float, moisture_pct: float, fibre_saturation: float = FIBRE_SATURATION.value) -> float:
    """Return the shrinkage from green to a moisture, in the unit of `total_pct`, the shrinkage from green to ovendry.

    It is proportional to the moisture lost below fibre saturation (Wood Handbook, FPL-GTR-282, Eq. 4-9).

    Examples
    --------
    >>> shrinkage_at(9.0, 15.0), shrinkage_at(9.0, 80.0)
    (4.5, 0.0)
    """
    check_moisture(moisture_pct)
    return total_pct * max(0.0, 1 - moisture_pct / fibre_saturation)


def shrink_of(species: Species, moisture_pct: float) -> Shrink:
    """Return the free shrinkage of green wood of a species that dries to a moisture.

    Raises
    ------
    SpeciesError
        If the species has no radial or tangential shrinkage.
    MoistureError
        If the moisture is impossible.
    """
    saturation = species.fibre_saturation.value
    radial, tangential, longitudinal = (
        shrinkage_at(species.figure(name), moisture_pct, saturation) / 100
        for name in ("radial", "tangential", "longitudinal")
    )
    return Shrink(radial, tangential, longitudinal)


def weight_at(weight: float, from_pct: float, to_pct: float) -> float:
    """Return what a weight becomes when the moisture changes, in the same unit.

    Examples
    --------
    >>> weight_at(1500.0, 50.0, 10.0)
    1100.0
    """
    return dry_weight(weight, from_pct) * (1 + check_moisture(to_pct) / 100)


def dry_weight(weight: float, moisture_pct: float) -> float:
    """Return the ovendry weight of wood of a weight and a moisture, in the same unit."""
    if not weight > 0:
        raise MoistureError(f"A weight must be more than 0, not {weight:g}.")
    return weight / (1 + check_moisture(moisture_pct) / 100)


def moisture_of(weight: float, ovendry: float) -> float:
    """Return the moisture of wood in percent from its weight and its ovendry weight, in any one unit."""
    if not 0 < ovendry <= weight:
        raise MoistureError(
            f"A weight of {weight:g} can't hold {ovendry:g} of dry wood.",
            "Check the weights, their unit, and the moisture at the start.",
        )
    return (weight / ovendry - 1) * 100


def green_density(species: Species, moisture_pct: float | None = None) -> float:
    """Return the density of green wood in kg/m3, at the species' mean green moisture unless one is given.

    1000 Gb (1 + M / 100) by the definition of the basic specific gravity Gb.
    """
    moisture = species.figure("green_moisture") if moisture_pct is None else check_moisture(moisture_pct)
    return 1000 * species.figure("specific_gravity") * (1 + moisture / 100)
