"""The workshop: its cutters, jaws, lathe and rules. The defaults are common practice, to be changed by the user."""

from __future__ import annotations

from dataclasses import dataclass

from photonest.model.values import (
    Extra,
    FieldError,
    extra_fields,
    require_finite,
    require_not_negative,
    require_positive,
)


@dataclass(frozen=True)
class Range:
    """A closed interval."""

    low: float
    high: float

    def __post_init__(self) -> None:
        require_finite(low=self.low, high=self.high)
        if self.low > self.high:
            raise FieldError("low", f"must not be more than high, but {self.low:g} > {self.high:g}")

    def holds(self, value: float, slack: float = 0.0) -> bool:
        """Return whether the value lies in the interval, give or take `slack`."""
        return self.low - slack <= value <= self.high + slack


@dataclass(frozen=True)
class Cutter:
    """A blade of fixed arc radius: its middle line has `radius`, the slot it leaves is `kerf` wide (mm)."""

    name: str
    radius: float
    kerf: float
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_positive(radius=self.radius, kerf=self.kerf)
        if self.kerf >= self.radius:
            raise FieldError("kerf", f"must be less than the radius {self.radius:g}, but is {self.kerf:g}")


@dataclass(frozen=True)
class Jaws:
    """A set of chuck jaws and the diameters it holds; at `round_at` it grips all round (mm)."""

    name: str
    diameter: Range
    round_at: float | None = None
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_positive(low=self.diameter.low)
        if self.round_at is not None and not self.diameter.holds(self.round_at):
            raise FieldError("round_at", f"must lie within the jaws' range, but is {self.round_at:g}")


@dataclass(frozen=True)
class Price:
    """What a bowl of a rim diameter (mm) brings, in any currency."""

    diameter: float
    price: float
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_positive(diameter=self.diameter)
        require_not_negative(price=self.price)


@dataclass(frozen=True)
class Shop:
    """Every figure a plan rests on (mm, degrees, revolutions per minute).

    Attributes
    ----------
    clearance : float
        Least distance from a wall or groove to a defect, before the standard errors are added.
    trueing : float
        Taken off the radius of the stock to make it round.
    wall_min, wall_share : float
        Least rough wall, and the rough wall as a share of the bowl's own rim diameter.
    tenon : float
        Depth of the tenon, added to the wall at the base.
    foot_share : float
        The foot's diameter as a share of the rim diameter, before the jaws limit it.
    screws : float or None
        How deep the screws of a faceplate on the first bowl's foot reach in; None when there are none.
    min_rim, min_depth : float
        Rim diameter and depth at which a bowl is worth having.
    max_slope : float
        Greatest slope of a groove at the axis.
    stand_off, offset : Range
        The rig's travel: pivot in front of the rim plane, pivot across the axis.
    swing : float
        Largest diameter the lathe swings.
    finished_wall : float
        Least wall of a bowl after it is turned again.
    saw_kerf, pith_slab : float
        Slot of the saw that rips a log; nothing of a bowl comes nearer to the pith than `pith_slab`.
    top_rim_speed, coring_rpm_max, start_share : float
        Rim speed never exceeded in m/s; spindle speed never exceeded while coring; the share of the
        top speed to start at.
    """

    clearance: float = 5.0
    trueing: float = 3.0
    wall_min: float = 12.0
    wall_share: float = 0.10
    tenon: float = 6.0
    foot_share: float = 0.28
    jaws: tuple[Jaws, ...] = (
        Jaws("small", Range(40.0, 60.0)),
        Jaws("medium", Range(60.0, 90.0)),
        Jaws("large", Range(90.0, 130.0)),
    )
    screws: float | None = None
    min_rim: float = 120.0
    min_depth: float = 40.0
    max_slope: float = 10.0
    cutters: tuple[Cutter, ...] = (
        Cutter("R110", 110.0, 8.0),
        Cutter("R150", 150.0, 8.0),
        Cutter("R200", 200.0, 8.0),
    )
    stand_off: Range = Range(0.0, 200.0)
    offset: Range = Range(-15.0, 15.0)
    swing: float = 400.0
    finished_wall: float = 8.0
    saw_kerf: float = 8.0
    pith_slab: float = 10.0
    top_rim_speed: float = 8.0
    coring_rpm_max: float = 600.0
    start_share: float = 0.65
    prices: tuple[Price, ...] = ()
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_positive(
            wall_min=self.wall_min,
            min_rim=self.min_rim,
            min_depth=self.min_depth,
            swing=self.swing,
            finished_wall=self.finished_wall,
            top_rim_speed=self.top_rim_speed,
            coring_rpm_max=self.coring_rpm_max,
        )
        require_not_negative(
            clearance=self.clearance,
            trueing=self.trueing,
            tenon=self.tenon,
            screws=self.screws,
            saw_kerf=self.saw_kerf,
            pith_slab=self.pith_slab,
        )
        for name, value, high in (
            ("wall_share", self.wall_share, 0.5),
            ("foot_share", self.foot_share, 1.0),
            ("start_share", self.start_share, 1.0),
        ):
            if not 0 < value <= high:
                raise FieldError(name, f"must be more than 0 and at most {high:g}, but is {value:g}")
        if not 0 <= self.max_slope < 90:
            raise FieldError("max_slope", f"must be at least 0 and less than 90 degrees, but is {self.max_slope:g}")
        if self.stand_off.low < 0:
            raise FieldError("stand_off", "must not be negative: the pivot stands in front of the wood")
        if not self.cutters:
            raise FieldError("cutters", "needs at least one cutter")
        if not self.jaws:
            raise FieldError("jaws", "needs at least one set of jaws")
        for less, more in zip(self.prices, self.prices[1:], strict=False):
            if more.diameter <= less.diameter or more.price < less.price:
                told = f"{more.diameter:g} mm at {more.price:g} follows {less.diameter:g} mm at {less.price:g}"
                raise FieldError("prices", f"must rise with the diameter, but {told}")
