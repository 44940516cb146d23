"""What the catalogue answers: an entry, what happened to it, and the words for its state."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from photonest.model import CatalogueError, StockKind

STATES: Mapping[str, str] = {
    "fresh": "green wood as it came in",
    "sealed": "its ends are sealed against checking",
    "blank": "sawn to a round blank",
    "rough": "turned or cored to rough bowls",
    "drying": "put aside to dry",
    "dry": "ready to turn again",
    "finished": "its bowls are finished",
    "sold": "gone to somebody else",
    "scrapped": "not worth keeping, or broken",
}
"""Where a piece stands, in the order of the work; any may follow any."""

EVENT_KINDS = ("added", "measured", "weighed", "moved", "state", "described", "planned", "result")


@dataclass(frozen=True)
class Details:
    """What a person tells of a piece; None where nothing is told."""

    kind: StockKind = "slice"
    thickness: float | None = None
    length: float | None = None
    species: str | None = None
    place: str | None = None
    state: str = "fresh"
    note: str | None = None
    code: str | None = None


@dataclass(frozen=True)
class Entry:
    """A piece as the catalogue lists it; lengths in mm, weight in grams.

    Attributes
    ----------
    round_diameter, clear_diameter : float
        Of the largest circle in the wood, and of the largest one free of cracks and pith, where there is one.
    warnings : int
        How many the measurement gave.
    """

    code: str
    photo_sha256: str
    photo_file: str
    kind: StockKind
    thickness: float | None
    length: float | None
    max_diameter: float
    min_diameter: float
    round_diameter: float
    clear_diameter: float | None
    warnings: int
    species: str | None
    state: str
    state_day: date
    place: str | None
    weight: float | None
    weight_day: date | None
    note: str | None
    added_day: date
    withdrawn: bool


@dataclass(frozen=True)
class Happening:
    """Something that happened to a piece.

    Attributes
    ----------
    kind : str
        One of EVENT_KINDS.
    day : date
        When it happened; `recorded_at` is when it was written down.
    undone_at : datetime or None
        When it was taken back as a mistake.
    """

    kind: str
    day: date
    recorded_at: datetime
    facts: Mapping[str, Any]
    undone_at: datetime | None = None


@dataclass(frozen=True)
class Wanted:
    """What to look for; None and empty mean: anything.

    Attributes
    ----------
    fits : float or None
        Diameter in mm of a circle free of cracks and pith.
    text : str
        Words that the code, species, place, note and file name hold together.
    limit : int or None
        How many at most, the newest.
    """

    species: Sequence[str] = ()
    states: Sequence[str] = ()
    place: str | None = None
    fits: float | None = None
    since: date | None = None
    until: date | None = None
    text: str = ""
    withdrawn: bool = False
    codes: Sequence[str] = ()
    limit: int | None = None


def check_state(state: str) -> str:
    """Return a state; raise CatalogueError if it is none."""
    if state not in STATES:
        raise CatalogueError(f"{state!r} is not a state.", f"Use one of {', '.join(STATES)}.")
    return state
