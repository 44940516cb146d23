"""The nest planner: the half-plane, the arcs, the search, and the independent check."""

from __future__ import annotations

from photonest.nest.check import Violation, check_plan
from photonest.nest.circle import largest_clear_circle
from photonest.nest.planner import plan_nest
from photonest.nest.precheck import Meeting, Precheck, check_before_coring, rim_centre

__all__ = [
    "Meeting",
    "Precheck",
    "Violation",
    "check_before_coring",
    "check_plan",
    "largest_clear_circle",
    "plan_nest",
    "rim_centre",
]
