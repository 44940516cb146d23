"""Weights of a drying piece over time: reading and checking them, and the workshop's plain test for 'dry'."""

from __future__ import annotations

import csv
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from photonest.model import MoistureError

RISE_SHARE = 0.005
"""Rise that the weather may bring, as a share of the weight: half a point of moisture."""
UNCHANGED_SHARE = 0.005
UNCHANGED_DAYS = 60
UNCHANGED_LEAST = 3


@dataclass(frozen=True)
class Weighing:
    """What a piece weighed on a day, in grams."""

    day: date
    weight: float


def check_weighings(weighings: Sequence[Weighing], scale_error: float = 1.0) -> tuple[Weighing, ...]:
    """Return the weighings; raise MoistureError where they can't be those of a drying piece.

    Parameters
    ----------
    weighings : sequence of Weighing
        In order of their days.
    scale_error : float
        Standard error of the scale in grams.

    Raises
    ------
    MoistureError
        If there are none, a weight is not above 0, days are out of order, or a weight rises by more than the weather
        brings.
    """
    if not weighings:
        raise MoistureError("There are no weighings.", "Give a day and a weight, such as 2031-04-02,1850.")
    for weighing in weighings:
        if not (math.isfinite(weighing.weight) and weighing.weight > 0):
            raise MoistureError(f"The weight of {weighing.day} must be more than 0 g, not {weighing.weight:g}.")
    for before, after in itertools.pairwise(weighings):
        if after.day <= before.day:
            problem = "twice" if after.day == before.day else f"after {before.day}"
            raise MoistureError(f"{after.day} comes {problem}.", "Put the weighings in order, one a day.")
        allowed = max(3 * scale_error, RISE_SHARE * before.weight)
        if after.weight > before.weight + allowed:
            raise MoistureError(
                f"The weight rises from {before.weight:g} g on {before.day} to {after.weight:g} g on {after.day}.",
                "A drying piece gets lighter: check both figures; if it got wet again, begin anew from there.",
            )
    return tuple(weighings)


def read_weighings(text: str) -> tuple[Weighing, ...]:
    r"""Return the weighings that a text gives line by line as ``YYYY-MM-DD,grams``; a header line is passed over.

    Notes may follow in further columns.

    Raises
    ------
    MoistureError
        If a line is something else; says which.

    Examples
    --------
    >>> read_weighings("day,weight\n2031-04-02,1850")
    (Weighing(day=datetime.date(2031, 4, 2), weight=1850.0),)
    """
    found: list[Weighing] = []
    rows = csv.reader(line for line in text.splitlines() if not line.lstrip().startswith("#"))
    filled = [row for row in rows if any(cell.strip() for cell in row)]
    for number, row in enumerate(filled, 1):
        try:
            day, weight, *notes = (cell.strip() for cell in row)
            if any(note.isdigit() for note in notes):  # a weight with its thousands set off: 1,850
                raise ValueError
            found.append(Weighing(date.fromisoformat(day), float(weight)))
        except ValueError as error:
            if number == 1 and not any(character.isdigit() for character in "".join(row)):
                continue  # a header
            raise MoistureError(
                f"Weighing {number} is {','.join(row)!r}, which is not a day and a weight.",
                "Write the year first and grams: 2031-04-02,1850.",
            ) from error
    return tuple(found)


def unchanged(weighings: Sequence[Weighing], scale_error: float = 1.0) -> bool:
    """Return whether the last weighings agree: common practice's sign that a piece is dry.

    At least three weighings over at least 60 days, all within half a percent of the last. Common practice, no source:
    weigh monthly until nothing changes for about three months.
    """
    last = weighings[-1]
    allowed = max(3 * scale_error, UNCHANGED_SHARE * last.weight)
    agreeing = list(itertools.takewhile(lambda w: abs(w.weight - last.weight) <= allowed, reversed(weighings)))
    return len(agreeing) >= UNCHANGED_LEAST and (last.day - agreeing[-1].day).days >= UNCHANGED_DAYS
