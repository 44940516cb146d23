"""What is asked of the planner, and what it answers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from photonest.model.shop import Shop
from photonest.model.values import (
    Extra,
    FieldError,
    Point3,
    Points,
    extra_fields,
    require_not_negative,
    require_points,
    require_positive,
)

StockKind = Literal["log", "slice", "blank"]
Side = Literal["photographed", "far"]
Objective = Literal["bowls", "capacity", "value"]
Towards = Literal["pith", "bark"]


@dataclass(frozen=True)
class Stock:
    """The piece of wood.

    Attributes
    ----------
    kind : {"log", "slice", "blank"}
        A log's bowls lie across it; a slice is end grain and a blank side grain, with the axis square to the face.
    thickness : float or None
        Of a slice or blank, in mm.
    length : float or None
        Of a log, in mm.
    rim : {"photographed", "far"}
        Which face of a slice or blank becomes the rim plane.
    through_pith : bool
        Whether bowls may hold the pith.
    far_outline : points or None
        The edge of the wood on the far face or end, under bark, in the face's frame, where it was measured; sides are
        taken as straight between.
    check_depth, far_check_depth : float or None
        How deep end checks reach into a log from the photographed and from the far end. Without the first, cracks go
        through the log unless their own depth is known, and ring shakes always do; without the second, the far end is
        taken to be checked as deep.
    rim_towards : {"pith", "bark"}
        Which way the rims of a log's bowls face.
    knots_lean : bool
        Whether bowls of a log or slice keep off all the wood that the branch of a knot may run in, however it leans.
    """

    kind: StockKind
    thickness: float | None = None
    length: float | None = None
    rim: Side = "photographed"
    through_pith: bool = False
    far_outline: Points | None = None
    check_depth: float | None = None
    far_check_depth: float | None = None
    rim_towards: Towards = "pith"
    knots_lean: bool = False
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        if self.kind == "log":
            if self.length is None:
                raise FieldError("length", "of the log is needed")
        elif self.thickness is None:
            raise FieldError("thickness", f"of the {self.kind} is needed")
        require_positive(thickness=self.thickness, length=self.length)
        require_not_negative(check_depth=self.check_depth, far_check_depth=self.far_check_depth)
        if self.far_outline is not None:
            require_points("far_outline", self.far_outline, 3)


@dataclass(frozen=True)
class Axis:
    """The lathe's axis: a point in the rim plane, a direction into the wood; z counts from the photographed face."""

    point: Point3
    direction: Point3
    extra: Extra = extra_fields()


@dataclass(frozen=True)
class Bowl:
    """A rough bowl in the meridian half-plane (rho from the axis, h below the rim plane; mm).

    Attributes
    ----------
    number : int
        1 is the outermost.
    wall_min, wall_required : float
        The thinnest place of the wall, and what the rules ask for.
    base_min : float
        On the axis, from the foot plane to the inside.
    clearance : float
        From the nearest defect, after twice the standard errors are taken off; 1000 when there is no defect.
    capacity_ml : float
        What it holds, filled to the rim.
    foot_diameter : float
        Of the flat it stands on.
    outer, inner : points (rho, h)
        From the rim to the axis.
    binds : tuple of str
        What keeps this bowl from being larger, in plain words.
    after_drying : mapping
        Sizes after drying, empty when no species is given.
    """

    number: int
    rim_diameter: float
    depth: float
    wall_min: float
    base_min: float
    clearance: float
    capacity_ml: float
    outer: Points
    inner: Points
    wall_required: float = 0.0
    foot_diameter: float = 0.0
    jaws: str = ""
    binds: tuple[str, ...] = ()
    after_drying: Extra = extra_fields()
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_positive(rim_diameter=self.rim_diameter, depth=self.depth)
        require_points("outer", self.outer, 2)
        require_points("inner", self.inner, 2)


@dataclass(frozen=True)
class Cut:
    """One swing of a cutter.

    Attributes
    ----------
    pivot : (rho, h)
        h is negative: the pivot stands in front of the rim plane; rho is the offset across the axis.
    radius : float
        Of the middle of the groove.
    entry_radius : float
        Where the middle of the groove meets the rim plane.
    axis_depth : float
        Where the middle of the groove meets the axis.
    start_rpm, top_rpm : float
        Spindle speed to start at and never to exceed.
    """

    number: int
    cutter: str
    radius: float
    kerf: float
    pivot: tuple[float, float]
    entry_radius: float
    axis_depth: float
    start_rpm: float
    top_rpm: float
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_positive(
            radius=self.radius,
            kerf=self.kerf,
            entry_radius=self.entry_radius,
            axis_depth=self.axis_depth,
            start_rpm=self.start_rpm,
            top_rpm=self.top_rpm,
        )


@dataclass(frozen=True)
class Nest:
    """The bowls and cuts of one blank, outermost first.

    Attributes
    ----------
    saw_diameter : float
        Of the circle to saw about the axis before the blank goes on the lathe, at least: the first bowl and the trueing
        allowance. 0 when not told.
    may_be_off, bowls_kept_off : float
        How far the axis may lie from where it is planned with every bowl as planned, and with as many bowls left, some
        of them smaller (mm).
    marking : tuple of str
        How to mark the wood, in plain words.
    """

    axis: Axis
    bowls: tuple[Bowl, ...]
    cuts: tuple[Cut, ...]
    saw_diameter: float = 0.0
    may_be_off: float = 0.0
    bowls_kept_off: float = 0.0
    marking: tuple[str, ...] = ()
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        if len(self.cuts) != len(self.bowls) - 1:
            raise FieldError("cuts", f"must be one fewer than the bowls, but there are {len(self.cuts)}")


@dataclass(frozen=True)
class Score:
    """How good a plan is."""

    objective: Objective
    bowls: int
    total_rim_diameter: float
    value: float
    extra: Extra = extra_fields()


@dataclass(frozen=True)
class Bound:
    """The most any plan could reach, proven, and how far this plan stays below it.

    Attributes
    ----------
    value : float
        No plan with as many bowls is worth more, by the objective (or with any number of them, where counts don't come
        first).
    gap_pct : float
        How far above this plan's worth that is; in bowls, where it is not settled that no plan has more of them.
    bowls : int
        No plan has more bowls; 0 when not told, as where counts don't come first.
    """

    value: float
    gap_pct: float
    bowls: int = 0
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_not_negative(gap_pct=self.gap_pct)


@dataclass(frozen=True)
class Alternative:
    """Another plan to choose from.

    Attributes
    ----------
    bowls : int
        How many.
    rim_diameters : tuple of float
        Of each, by nests one after another.
    axes : tuple of Axis
    note : str
        What sets it apart.
    loses : str
        What it is worth less than the plan, in words; empty where that isn't told.
    prefer : tuple of str
        What speaks for it, in words.
    asked : (wish, value) or None
        How to ask for it: by ``"keep-axis"``, ``"rip"`` or ``"cutters"``.
    """

    bowls: int
    rim_diameters: tuple[float, ...]
    axes: tuple[Axis, ...]
    note: str
    loses: str = ""
    prefer: tuple[str, ...] = ()
    asked: tuple[str, str] | None = None
    extra: Extra = extra_fields()


@dataclass(frozen=True)
class FaceFacts:
    """Which face a plan was made for."""

    file: str
    sha256: str
    extra: Extra = extra_fields()


@dataclass(frozen=True)
class Plan:
    """Everything needed to take the nest out of the stock.

    `alternatives` are the best plans of other numbers of bowls; `runners_up` differ from this plan by more than a
    detail: another axis, another rip, fewer tools. `reasons` tell in plain words what limits the plan, and what a
    little more wood or one defect less would bring.
    """

    face: FaceFacts
    stock: Stock
    shop: Shop
    nests: tuple[Nest, ...]
    score: Score
    bound: Bound
    warnings: tuple[str, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    runners_up: tuple[Alternative, ...] = ()
    reasons: tuple[str, ...] = ()
    extra: Extra = extra_fields()
