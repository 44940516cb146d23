"""The workshop's figures as functions of a bowl's rim radius: wall, foot, jaws, speed."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from photonest.model import Jaws, Shop

Real = NDArray[np.float64]
WallNeed = Callable[[float], float]
"""Wall in mm that drying asks for, from the rim radius in mm."""

ENVELOPE_STEP = 0.05
ENVELOPE_END = 2000.0


@dataclass(frozen=True)
class Rules:
    """What the workshop asks of a bowl, by its rim radius (mm).

    Attributes
    ----------
    shop : Shop
        The workshop.
    wall_need : callable or None
        A further wall requirement, such as drying's. It is asked at rim radii rounded up to 0.1 mm, so it should not
        fall as the radius grows.
    """

    shop: Shop
    wall_need: WallNeed | None = None

    def wall(self, rim: ArrayLike) -> Real:
        """Return the least wall: the set minimum, the share of the rim diameter, or what drying needs."""
        rim = np.asarray(rim, dtype=float)
        plain: Real = np.maximum(self.shop.wall_min, 2 * self.shop.wall_share * rim)
        if self.wall_need is None:
            return plain
        tenths = np.ceil(rim * 10 - 1e-6)
        asked = np.array([self._asked(float(tenth)) for tenth in tenths.ravel()]).reshape(rim.shape)
        both: Real = np.maximum(plain, asked)
        return both

    def base(self, rim: ArrayLike) -> Real:
        """Return the least base: the wall and the tenon."""
        return self.wall(rim) + self.shop.tenon

    @property
    def screw_reach(self) -> float:
        """How near to the foot no inside may come, for the screws of a faceplate that is fixed there; 0 without."""
        return 0.0 if self.shop.screws is None else self.shop.screws + self.shop.clearance

    def foot(self, rim: ArrayLike) -> Real:
        """Return the radius of the foot: the set share of the rim, in the nearest jaws."""
        rim = np.asarray(rim, dtype=float)
        feet, misses = zip(*(_foot_in(jaws, 2 * self.shop.foot_share * rim) for jaws in self.shop.jaws), strict=True)
        best = np.argmin(np.stack(misses), axis=0)
        chosen: Real = np.choose(best, np.stack(feet)) / 2
        return chosen

    def jaws(self, rim: float) -> Jaws:
        """Return the jaws that hold a bowl's foot."""
        asked = np.array([2 * self.shop.foot_share * rim])
        misses = [float(_foot_in(jaws, asked)[1][0]) for jaws in self.shop.jaws]
        return self.shop.jaws[int(np.argmin(misses))]

    def offsets(self, cutter_radius: float) -> tuple[float, float] | None:
        """Return the offsets a cutter may take: the rig's travel, and the slope of its groove at the axis."""
        most = cutter_radius * math.sin(math.radians(self.shop.max_slope))
        low, high = max(self.shop.offset.low, -most), min(self.shop.offset.high, most)
        return (low, high) if low <= high else None

    def speeds(self, rim_diameter: float) -> tuple[float, float]:
        """Return the spindle speed to start at and the one never to exceed, in whole revolutions per minute.

        The rim speed is pi D n, so n = 60 000 v / (pi D) with v in m/s and D in mm.
        """
        top = min(self.shop.coring_rpm_max, 60_000 * self.shop.top_rim_speed / (math.pi * rim_diameter))
        return max(1.0, math.floor(top * self.shop.start_share)), max(1.0, math.floor(top))

    def least_wall_from(self, rim: Real) -> Real:
        """Return a lower bound of the wall of every bowl of this rim radius or more."""
        return _look_up(self._wall_envelope, rim)

    def least_foot_from(self, rim: Real) -> Real:
        """Return a lower bound of the foot radius of every bowl of this rim radius or more."""
        return _look_up(self._foot_envelope, rim)

    def greatest_foot_to(self, rim: Real) -> Real:
        """Return an upper bound of the foot radius of every bowl of this rim radius or less."""
        return _look_up(self._foot_ceiling, rim + ENVELOPE_STEP)

    @functools.cached_property
    def _wall_envelope(self) -> Real:
        return np.minimum.accumulate(self.wall(_envelope_radii())[::-1])[::-1]

    @functools.cached_property
    def _foot_envelope(self) -> Real:
        return np.minimum.accumulate(self.foot(_envelope_radii())[::-1])[::-1]

    @functools.cached_property
    def _foot_ceiling(self) -> Real:
        return np.maximum.accumulate(self.foot(_envelope_radii()))

    @functools.cached_property
    def _memory(self) -> dict[float, float]:
        return {}

    def _asked(self, tenth: float) -> float:
        assert self.wall_need is not None
        if tenth not in self._memory:
            self._memory[tenth] = float(self.wall_need(tenth / 10))
        return self._memory[tenth]


def _foot_in(jaws: Jaws, asked: Real) -> tuple[Real, Real]:
    nearest = np.clip(asked, jaws.diameter.low, jaws.diameter.high)
    foot = nearest if jaws.round_at is None else np.full_like(nearest, jaws.round_at)
    return foot, np.abs(nearest - asked)


def _envelope_radii() -> Real:
    return np.arange(0.0, ENVELOPE_END + ENVELOPE_STEP, ENVELOPE_STEP)


def _look_up(envelope: Real, rim: Real) -> Real:
    index = np.floor(np.asarray(rim) / ENVELOPE_STEP).astype(int)
    values: Real = envelope[np.clip(index, 0, len(envelope) - 1)]
    return values
