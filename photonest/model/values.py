"""The small values everything is made of, and the checks they share.

Lengths are millimetres and angles degrees wherever a name does not say otherwise. Points are ``(x, y)`` with x to
the right and y down, as the photo shows it; pixel coordinates mean pixel centres, the first one at (0, 0).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import field
from typing import Any

Point = tuple[float, float]
Point3 = tuple[float, float, float]
Points = tuple[Point, ...]
Matrix3 = tuple[tuple[float, float, float], tuple[float, float, float], tuple[float, float, float]]


def extra_fields() -> Any:
    """Return the dataclass field that keeps what a file holds and this version does not know."""
    return field(default_factory=dict, hash=False, repr=False)


Extra = Mapping[str, Any]


class FieldError(ValueError):
    """A value of a record is out of its range; names the field."""

    def __init__(self, name: str, problem: str) -> None:
        super().__init__(f"{name} {problem}")
        self.name = name
        self.problem = problem


def require_finite(**values: float | None) -> None:
    """Raise FieldError unless every value given is a finite number (None passes)."""
    for name, value in values.items():
        if value is not None and not math.isfinite(value):
            raise FieldError(name, f"must be a finite number, not {value}")


def require_positive(**values: float | None) -> None:
    """Raise FieldError unless every value given is finite and above zero (None passes)."""
    require_finite(**values)
    for name, value in values.items():
        if value is not None and value <= 0:
            raise FieldError(name, f"must be more than 0, not {value:g}")


def require_not_negative(**values: float | None) -> None:
    """Raise FieldError unless every value given is finite and not below zero (None passes)."""
    require_finite(**values)
    for name, value in values.items():
        if value is not None and value < 0:
            raise FieldError(name, f"must not be negative, but is {value:g}")


def require_points(name: str, points: Points, least: int) -> None:
    """Raise FieldError unless there are `least` points or more, all finite."""
    if len(points) < least:
        raise FieldError(name, f"needs at least {least} points, but has {len(points)}")
    for index, point in enumerate(points):
        if not all(map(math.isfinite, point)):
            raise FieldError(f"{name}[{index}]", f"must be finite, not {list(point)}")
