"""Spindle speeds from diameters: never above the workshop's limits, and what power is usual."""

from __future__ import annotations

import math

from photonest.model import Shop


def rim_speed(diameter: float, rpm: float) -> float:
    """Return the speed of the rim in m/s: ``pi D n / 60 000`` with D in mm and n in revolutions per minute.

    >>> round(rim_speed(350.0, 435.0), 2)
    7.97
    """
    return math.pi * diameter * rpm / 60_000


def turning_speeds(shop: Shop, diameter: float) -> tuple[int, int]:
    """Return the spindle speed to start at and the one never to exceed while a piece of this diameter is turned.

    The rim may move as fast as the workshop allows; coring has a limit of its own besides, which a cut's figures hold.

    >>> turning_speeds(Shop(), 350.0)
    (283, 436)
    """
    top = 60_000 * shop.top_rim_speed / (math.pi * diameter)
    return max(1, math.floor(top * shop.start_share)), max(1, math.floor(top))


def usual_power(diameter: float) -> str:
    """Return the motor power that is usual for coring a blank of this diameter.

    Common practice, no source; from memory.

    >>> usual_power(340.0)
    '1.1 to 1.5 kW'
    """
    if diameter <= 300:
        return "0.75 to 1.1 kW"
    return "1.1 to 1.5 kW" if diameter <= 400 else "2.2 kW or more"
