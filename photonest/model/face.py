"""What is found on the face, in mm, and the record of how it was found."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from photonest.model.photo import Scale
from photonest.model.values import (
    Extra,
    FieldError,
    Point,
    Points,
    extra_fields,
    require_finite,
    require_not_negative,
    require_points,
    require_positive,
)

CrackKind = Literal["radial", "heart", "ring", "other"]
DefectKind = Literal["knot", "hole", "bark", "decay"]
Status = Literal["seen", "possible", "dismissed", "added"]
SetBy = Literal["photo", "person"]
Outcome = Literal["found", "not found", "failed", "refused", "not asked"]


@dataclass(frozen=True)
class NotFound:
    """A finder's answer when it sees nothing it could stand for. Falsy.

    Attributes
    ----------
    reason : str
        Why not.
    hint : str
        What the person can do.
    absent : bool
        Nothing of its kind was seen or told of: what other finders answer matters more.

    >>> bool(NotFound("no rings visible"))
    False
    """

    reason: str
    hint: str = ""
    absent: bool = False

    def __bool__(self) -> bool:
        return False


@dataclass(frozen=True)
class Attempt:
    """One finder asked, and what came of it."""

    stage: str
    finder: str
    version: str
    source: str
    outcome: Outcome
    reason: str = ""
    extra: Extra = extra_fields()


@dataclass(frozen=True)
class Outline:
    """The edge of the wood on the face.

    Attributes
    ----------
    points : points
        With bark where there is any; closed, the first point not repeated.
    under_bark : points or None
        The edge of the wood proper, where bark is told apart.
    standard_error : float
        Of the edge's position across itself, in mm, without the scale's error.
    cut_by_frame : bool
        Part of the piece lies outside the photo: sizes are then lower bounds.
    """

    points: Points
    under_bark: Points | None = None
    standard_error: float = 0.0
    cut_by_frame: bool = False
    set_by: SetBy = "photo"
    warnings: tuple[str, ...] = ()
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_points("points", self.points, 3)
        if self.under_bark is not None:
            require_points("under_bark", self.under_bark, 3)
        require_not_negative(standard_error=self.standard_error)

    @property
    def wood(self) -> Points:
        """The edge of the wood proper: under bark where known."""
        return self.under_bark if self.under_bark is not None else self.points


@dataclass(frozen=True)
class Pith:
    """The growth centre of the rings.

    Attributes
    ----------
    point : (x, y)
        In mm.
    standard_error : float
        In mm along each axis, without the scale's error.
    inside : bool
        Whether it lies in the piece.
    """

    point: Point
    standard_error: float
    inside: bool = True
    set_by: SetBy = "photo"
    warnings: tuple[str, ...] = ()
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_finite(x=self.point[0], y=self.point[1])
        require_not_negative(standard_error=self.standard_error)


@dataclass(frozen=True)
class Crack:
    """A separation of the wood seen on the face.

    Attributes
    ----------
    path : points
        Along the crack, from the end nearer the pith where a pith is known; margins at the tips included.
    width : float
        The widest opening, in mm.
    length : float
        Along the path, in mm.
    kind : {"radial", "heart", "ring", "other"}
        Across the rings, through the pith, along a ring, or neither.
    confidence : float
        Likelihood that it is real, 0 to 1.
    status : {"seen", "possible", "dismissed", "added"}
        A possible crack is avoided until a person dismisses it.
    depth : float or None
        How deep it reaches below the face, where somebody probed it; None means through the whole stock.
    standard_error : float
        Of its position across itself, in mm, without the scale's error.
    tip_margin : float
        How far the path was extended at each free end beyond what is seen, in mm.
    widths : tuple of float
        Opening at each point of the path, in mm; may be empty. See `openings`.
    """

    id: str
    path: Points
    width: float
    length: float
    kind: CrackKind
    confidence: float
    status: Status
    depth: float | None = None
    standard_error: float = 0.0
    tip_margin: float = 0.0
    widths: tuple[float, ...] = ()
    set_by: SetBy = "photo"
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_points("path", self.path, 2)
        require_not_negative(
            width=self.width,
            length=self.length,
            standard_error=self.standard_error,
            tip_margin=self.tip_margin,
        )
        require_positive(depth=self.depth)
        if not all(0 <= width < math.inf for width in self.widths):
            raise FieldError("widths", "must all be finite and not negative")
        if not 0 <= self.confidence <= 1:
            raise FieldError("confidence", f"must be between 0 and 1, not {self.confidence}")

    @property
    def openings(self) -> tuple[float, ...]:
        """Opening at each point of the path, in mm: the widest at all of them where none told is as wide as that.

        Then they are not told, or somebody found the crack wider, or its path longer, since.
        """
        told = len(self.widths) == len(self.path) and max(self.widths) >= self.width
        return self.widths if told else (self.width,) * len(self.path)


@dataclass(frozen=True)
class Defect:
    """Something other than a crack or the pith that a bowl's wall must not contain.

    Attributes
    ----------
    outline : points
        Its edge on the face.
    depth : float or None
        How deep it reaches; None means through the whole stock.
    """

    id: str
    kind: DefectKind
    outline: Points
    confidence: float
    status: Status
    depth: float | None = None
    standard_error: float = 0.0
    set_by: SetBy = "photo"
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_points("outline", self.outline, 3)
        require_not_negative(standard_error=self.standard_error)
        require_positive(depth=self.depth)
        if not 0 <= self.confidence <= 1:
            raise FieldError("confidence", f"must be between 0 and 1, not {self.confidence}")


@dataclass(frozen=True)
class Circle:
    """A circle on the face, in mm."""

    centre: Point
    radius: float
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_finite(x=self.centre[0], y=self.centre[1])
        require_not_negative(radius=self.radius)


@dataclass(frozen=True)
class Diameters:
    """Diameters and area inside an edge, in mm and mm2.

    Attributes
    ----------
    max_diameter, min_diameter : float
        Greatest and least distance between parallel tangents.
    mean_diameter : float
        Of the circle of the same area.
    """

    max_diameter: float
    min_diameter: float
    mean_diameter: float
    area: float
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_positive(
            max_diameter=self.max_diameter,
            min_diameter=self.min_diameter,
            mean_diameter=self.mean_diameter,
            area=self.area,
        )


@dataclass(frozen=True)
class Size:
    """The standard measures of the face; lengths in mm, area in mm2.

    Attributes
    ----------
    max_diameter, min_diameter, mean_diameter, area : float
        Of the outline, bark included; see `Diameters`.
    under_bark : Diameters or None
        The same of the wood proper, where bark is told apart.
    ovality_pct : float
        ``100 (max - min) / max`` (ISO 19474 gives the difference as a share of the largest diameter).
    pith_offset : float or None
        From the outline's centroid to the pith.
    eccentricity_pct : float or None
        The pith offset in percent of the mean diameter (the convention of EN 1310).
    inscribed_circle : Circle
        The largest circle in the wood, under bark where known.
    clear_circle : Circle or None
        The largest circle in the wood that holds no crack, no pith and no other defect.
    """

    max_diameter: float
    min_diameter: float
    mean_diameter: float
    ovality_pct: float
    pith_offset: float | None
    eccentricity_pct: float | None
    area: float
    inscribed_circle: Circle
    clear_circle: Circle | None
    under_bark: Diameters | None = None
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_positive(
            max_diameter=self.max_diameter,
            min_diameter=self.min_diameter,
            mean_diameter=self.mean_diameter,
            area=self.area,
        )
        require_not_negative(
            ovality_pct=self.ovality_pct,
            pith_offset=self.pith_offset,
            eccentricity_pct=self.eccentricity_pct,
        )


@dataclass(frozen=True)
class PhotoFacts:
    """Which photo a face was measured in."""

    file: str
    sha256: str
    width_px: int
    height_px: int
    extra: Extra = extra_fields()

    def __post_init__(self) -> None:
        require_positive(width_px=self.width_px, height_px=self.height_px)


@dataclass(frozen=True)
class Face:
    """The measured face; its origin is the centroid of the outline."""

    photo: PhotoFacts
    scale: Scale
    outline: Outline
    pith: Pith | None
    cracks: tuple[Crack, ...]
    size: Size
    defects: tuple[Defect, ...] = ()
    warnings: tuple[str, ...] = ()
    provenance: tuple[Attempt, ...] = ()
    extra: Extra = extra_fields()

    @property
    def place_error(self) -> float:
        """Standard error, due to the scale, of where a point lies from another, as a share of the way between them.

        Across a whole face the errors of a tilt cancel, which make one side read larger and the other smaller: a mean
        diameter is surer than the place of a single crack. So the farthest place of the rim tells, where it is known.
        """
        share, at_rim = self.scale.standard_error_pct / 100, self.scale.rim_error_mm or 0.0
        return max(share, at_rim / max(math.hypot(x, y) for x, y in self.outline.points))
