"""Species and their published figures, each with its source; the user's own file is merged in."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from photonest.model import SpeciesError

FIGURES = {
    "radial": (0.0, 30.0),
    "tangential": (0.0, 30.0),
    "volumetric": (0.0, 50.0),
    "longitudinal": (0.0, 5.0),
    "specific_gravity": (0.05, 1.4),
    "green_moisture": (5.0, 400.0),
    "heartwood_moisture": (5.0, 400.0),
    "sapwood_moisture": (5.0, 400.0),
    "fibre_saturation": (15.0, 45.0),
}
"""The figures a species may have, and the range in which each is believed."""

_OWN = "the user's own figure"


@dataclass(frozen=True)
class Figure:
    """A published value and where it was read."""

    value: float
    source: str


LONGITUDINAL = Figure(
    0.15, "normal wood shrinks 0.1 to 0.2 % along the grain, green to ovendry (Wood Handbook, FPL-GTR-190, chapter 4)"
)
FIBRE_SATURATION = Figure(
    30.0, "average of species; single pieces differ by several points (Wood Handbook, FPL-GTR-190, chapter 4)"
)


@dataclass(frozen=True)
class Species:
    """What is published about a species; None where nothing is.

    Attributes
    ----------
    radial, tangential, volumetric, longitudinal : Figure or None
        Shrinkage from green to ovendry, in percent of the green size.
    specific_gravity : Figure or None
        Basic: ovendry mass over green volume, water being 1.
    green_moisture, heartwood_moisture, sapwood_moisture : Figure or None
        Moisture of green wood in percent of the ovendry mass: mean, heartwood, sapwood.
    fibre_saturation : Figure
        Moisture below which wood shrinks, in percent.
    """

    name: str
    botanical: str
    other_names: tuple[str, ...] = ()
    radial: Figure | None = None
    tangential: Figure | None = None
    volumetric: Figure | None = None
    longitudinal: Figure = LONGITUDINAL
    specific_gravity: Figure | None = None
    green_moisture: Figure | None = None
    heartwood_moisture: Figure | None = None
    sapwood_moisture: Figure | None = None
    fibre_saturation: Figure = FIBRE_SATURATION

    @property
    def names(self) -> tuple[str, ...]:
        """Every name it goes by."""
        return (self.name, self.botanical, *self.other_names)

    def figure(self, name: str) -> float:
        """Return the value of a figure; raise SpeciesError where this species has none."""
        found: Figure | None = getattr(self, name)
        if found is None:
            raise SpeciesError(
                f"{self.name} has no figure for {name.replace('_', ' ')}.",
                f"Give one in your own species file ({name} = ...).",
            )
        return found.value

    def figures(self) -> dict[str, Figure]:
        """Return the figures it has, by name."""
        values = {f.name: getattr(self, f.name) for f in fields(self) if f.name in FIGURES}
        return {name: value for name, value in values.items() if value is not None}


def own_species_file() -> Path:
    """Return where the user's own species file is looked for."""
    from platformdirs import user_config_path

    return user_config_path("photonest") / "species.toml"


def load_species(own: Path | None = None) -> tuple[Species, ...]:
    """Return all species, by name; an entry of the user's own file takes the place of one of the same name.

    Parameters
    ----------
    own : Path, optional
        The user's own species file.

    Raises
    ------
    SpeciesError
        If that file can't be read or holds something else; names every wrong entry.
    """
    built_in = Path(__file__).with_name("species.toml")
    found = {_plain(species.name): species for species in _read(built_in, "")}
    if own is not None:
        found |= {_plain(species.name): species for species in _read(own, _OWN)}
    return tuple(sorted(found.values(), key=lambda species: _plain(species.name)))


def find_species(name: str, species: Iterable[Species]) -> Species:
    """Return the species of a common or botanical name; small and capital letters, blanks and hyphens don't matter.

    Raises
    ------
    SpeciesError
        If there is none; the hint names near ones.

    Examples
    --------
    >>> find_species("Hard Maple", load_species()).botanical
    'Acer saccharum'
    """
    known = tuple(species)
    wanted = _plain(name)
    for candidate in known:
        if wanted in map(_plain, candidate.names):
            return candidate
    near = [found.name for found in search_species(name, known)][:5]
    hint = f"Did you mean {' or '.join(near)}?" if near else "'photonest species' lists those known."
    raise SpeciesError(f"No species is named {name!r}.", hint)


def search_species(text: str, species: Iterable[Species]) -> tuple[Species, ...]:
    """Return the species one of whose names holds every word of a text; failing that, those spelled nearly so.

    Examples
    --------
    >>> [found.name for found in search_species("juglans", load_species())]
    ['black walnut', 'butternut']
    >>> [found.name for found in search_species("wallnut", load_species())][:1]
    ['black walnut']
    """
    known = tuple(species)
    words = _plain(text).split()
    holding = tuple(s for s in known if any(all(w in _plain(name) for w in words) for name in s.names))
    return holding or _near(_plain(text), known)


def _near(text: str, species: tuple[Species, ...]) -> tuple[Species, ...]:
    """Return the species with a name, or a word of one, spelled like the text, nearest first."""

    def likeness(candidate: Species) -> float:
        names = [_plain(name) for name in candidate.names]
        words = [word for name in names for word in name.split() if len(word) > 3]
        return max(difflib.SequenceMatcher(None, text, other).ratio() for other in (*names, *words))

    ranked = sorted(((likeness(s), s) for s in species), key=lambda pair: -pair[0])
    return tuple(candidate for ratio, candidate in ranked if ratio >= 0.72)


def _plain(name: str) -> str:
    return " ".join(name.casefold().replace("-", " ").replace(",", " ").split())


def _read(path: Path, default_source: str) -> tuple[Species, ...]:
    try:
        document = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise SpeciesError(f"{path} can't be read: {error.strerror}.", "Check the name and the folder.") from error
    except (UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise SpeciesError(f"{path.name} is not a TOML file: {error}.", "Correct the file.") from error
    entries = document.get("species", [])
    sources = document.get("sources", {})
    if not isinstance(entries, list) or not isinstance(sources, dict) or not entries:
        raise SpeciesError(f"{path.name} holds no species.", "Begin each one with the line [[species]].")
    problems: list[str] = []
    found = [_species(entry, sources, default_source, f"species {i}", problems) for i, entry in enumerate(entries, 1)]
    names = [_plain(species.name) for species in found]
    problems += [f"{name!r} is there twice" for name in sorted({n for n in names if names.count(n) > 1})]
    if problems:
        raise SpeciesError(f"{path.name}: {'; '.join(problems)}.", "Correct the file.")
    return tuple(found)


def _species(entry: Any, sources: Mapping[str, str], source: str, where: str, problems: list[str]) -> Species:
    if not isinstance(entry, dict):
        problems.append(f"{where} must be a table")
        return Species(where, "")
    name = entry.get("name")
    label = name if isinstance(name, str) and name.strip() else where
    if label == where:
        problems.append(f"{where} needs a name")
    known = {"name", "botanical", "other_names", *FIGURES}
    problems += [f"{label}: {key} is not known here" for key in entry if key not in known]
    others = entry.get("other_names", [])
    if not isinstance(entry.get("botanical", ""), str):
        problems.append(f"{label}: botanical must be text")
    if not (isinstance(others, list) and all(isinstance(other, str) for other in others)):
        problems.append(f"{label}: other_names must be a list of texts")
        others = []
    values: dict[str, Figure] = {}
    for key in FIGURES.keys() & entry.keys():
        try:
            values[key] = _figure(key, entry[key], sources, source)
        except ValueError as error:
            problems.append(f"{label}: {error}")
    return Species(label, str(entry.get("botanical", "")), tuple(others), **values)


def _figure(key: str, value: Any, sources: Mapping[str, str], source: str) -> Figure:
    if isinstance(value, dict):
        tag = value.get("source", "")
        value, source = value.get("value"), sources.get(tag, tag) or source
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise ValueError(f"{key} must be a number")
    low, high = FIGURES[key]
    if not low <= value <= high:
        raise ValueError(f"{key} must be between {low:g} and {high:g}, not {value:g}")
    return Figure(float(value), source)
