"""How pieces and what happened to them read in a terminal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from photonest.catalogue.entries import Entry, Happening
    from photonest.model import Nest


def line_of(entry: Entry) -> str:
    """Return a piece in one line."""
    size = f"{entry.min_diameter:.0f}-{entry.max_diameter:.0f} mm"
    clear = "-" if entry.clear_diameter is None else f"{entry.clear_diameter:.0f}"
    weight = "-" if entry.weight is None else f"{entry.weight:.0f} g"
    place = " ".join((entry.place or "").split())
    return (
        f"{entry.code:<6} {entry.added_day}  {entry.kind:<5} {size:>12}  clear {clear:>4}  "
        f"{entry.state:<8} {weight:>8}  {entry.species or '-'}  {place}"
    ).rstrip()


def describe(happened: Happening) -> str:
    """Return something that happened to a piece in a few words."""
    words = _words(happened.kind, happened.facts)
    return f"{words} (taken back)" if happened.undone_at is not None else words


def _words(kind: str, facts: Mapping[str, Any]) -> str:
    match kind:
        case "added":
            return f"added from {facts['file']}"
        case "measured":
            return "its face replaced by the one of a plan"
        case "weighed":
            return f"weighed {facts['grams']:g} g"
        case "moved":
            return f"moved to {facts['place']}"
        case "state":
            return str(facts["state"])
        case "described":
            return ", ".join(f"{name} {short(name, value)}" for name, value in facts.items())
        case "planned":
            nests = ([bowl["rim_diameter"] for bowl in nest["bowls"]] for nest in facts["plan"]["nests"])
            return f"planned {'; '.join(sizes(rims) for rims in nests)}"
        case _:
            return f"came out: {sizes([bowl['rim'] for bowl in facts['bowls']])} {facts['note']}".rstrip()


def rims_of(nest: Nest) -> list[float]:
    """Return the rim diameters of a nest in mm."""
    return [round(bowl.rim_diameter, 1) for bowl in nest.bowls]


def sizes(rims: list[float]) -> str:
    """Return rim diameters in words."""
    return ", ".join(f"{rim:.0f}" for rim in rims) + " mm" if rims else "nothing"


def short(name: str, value: Any) -> str:
    """Return a value with its unit, without digits that mean nothing.

    >>> short("max_diameter", 414.6846), short("thickness", 90.0), short("weight", 1850.0), short("species", "elm")
    ('414.7 mm', '90 mm', '1850 g', 'elm')
    """
    if isinstance(value, float):
        return f"{round(value, 1):.15g} {'g' if name == 'weight' else 'mm'}"
    return str(value)
