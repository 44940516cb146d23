"""Finds the finders: built-in ones and those of other packages, through the same door.

Listing never imports a plugin and never fails; loading one checks it against the contract of its stage and answers a
`LoadFailure` instead of raising. The order that ``auto`` walks is the priority, then the name: never the order of
installation.
"""

from __future__ import annotations

import contextlib
import dataclasses
import difflib
import importlib
import importlib.metadata
import inspect
import os
import sys
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from photonest.model import PluginError
from photonest.model.documents import structure
from photonest.spec import STAGES, Stage

BUILT_IN: Mapping[Stage, Mapping[str, tuple[int, str]]] = {
    "scale": {
        "by-hand": (0, "photonest.scale.by_hand:ByHand"),
        "two-points": (1, "photonest.scale.two_points:TwoPoints"),
        "known-diameter": (2, "photonest.scale.known_diameter:KnownDiameter"),
        "marker-sheet": (10, "photonest.scale.marker_sheet:MarkerSheet"),
        "markers": (15, "photonest.scale.markers:Markers"),
        "bar": (20, "photonest.scale.bar:Bar"),
        "ruler": (25, "photonest.scale.ruler:Ruler"),
        "card": (30, "photonest.scale.card:Card"),
        "paper": (40, "photonest.scale.paper:Paper"),
    },
    "outline": {
        "by-hand": (0, "photonest.outline.by_hand:ByHand"),
        "trained": (5, "photonest.outline.trained:TrainedOutline"),
        "edge": (10, "photonest.outline.edge:EdgeOutline"),
    },
    "pith": {
        "by-hand": (0, "photonest.pith.by_hand:ByHand"),
        "rings": (10, "photonest.pith.rings:RingPith"),
    },
    "cracks": {
        "by-hand": (0, "photonest.cracks.by_hand:ByHand"),
        "lines": (10, "photonest.cracks.finder:Lines"),
        "patches": (20, "photonest.cracks.patch_finder:Patches"),
    },
}
THIRD_PARTY_PRIORITY = 1000
_ARGUMENTS: Mapping[Stage, int] = {"scale": 2, "outline": 2, "pith": 3, "cracks": 4}


@dataclass(frozen=True)
class Listing:
    """A finder that is there to be loaded.

    Attributes
    ----------
    source : str
        ``"built in"``, or the package and version that brings it.
    target : str
        ``module:attribute``.
    priority : int or None
        None until a third-party finder is loaded.
    """

    stage: Stage
    name: str
    source: str
    target: str
    priority: int | None = None


@dataclass(frozen=True)
class Finder:
    """A finder that loaded and keeps the contract."""

    listing: Listing
    plugin: Any
    version: str
    priority: int

    @property
    def stage(self) -> Stage:
        """The stage it belongs to."""
        return self.listing.stage

    @property
    def name(self) -> str:
        """The name it is chosen by."""
        return self.listing.name

    def options(self, settings: Mapping[str, Any]) -> Any:
        """Return its options with some fields set; raise PluginError naming what doesn't fit."""
        cls = self.plugin.Options
        known = [field.name for field in dataclasses.fields(cls)]
        for name in settings:
            if name not in known:
                near = difflib.get_close_matches(name, known, n=1)
                hint = f"Did you mean {near[0]}?" if near else f"It has: {', '.join(known) or 'none'}."
                raise PluginError(f"The {self.stage} finder {self.name} has no option {name}.", hint)
        return structure(dict(settings), cls, f"options of {self.stage}.{self.name}")


@dataclass(frozen=True)
class LoadFailure:
    """A finder that is there but can't be used, and why."""

    listing: Listing
    reason: str


class Registry:
    """The finders that are there.

    Parameters
    ----------
    listings : iterable of Listing
        In any order; two of one stage and name are both kept, and the second is refused when loaded.
    """

    def __init__(self, listings: Iterable[Listing]) -> None:
        self._listings = tuple(sorted(listings, key=_order))

    @classmethod
    def installed(cls) -> Registry:
        """Return the registry of this installation: built-in finders and entry points."""
        return cls([*built_in_listings(), *entry_point_listings()])

    def listings(self, stage: Stage) -> tuple[Listing, ...]:
        """Return what is there for a stage, without importing any of it."""
        return tuple(listing for listing in self._listings if listing.stage == stage)

    def load(self, stage: Stage) -> tuple[tuple[Finder, ...], tuple[LoadFailure, ...]]:
        """Return the finders of a stage in the order ``auto`` walks, and those that can't be used."""
        finders: dict[str, Finder] = {}
        failures = []
        for listing in self.listings(stage):
            loaded = load_finder(listing)
            if isinstance(loaded, Finder) and listing.name in finders:
                first = finders[listing.name].listing.source
                loaded = LoadFailure(listing, f"the name {listing.name} is taken ({first})")
            if isinstance(loaded, Finder):
                finders[listing.name] = loaded
            else:
                failures.append(loaded)
        in_order = sorted(finders.values(), key=lambda finder: (finder.priority, finder.name))
        return tuple(in_order), tuple(failures)

    def named(self, stage: Stage, name: str) -> Finder:
        """Return one finder; raise PluginError if it isn't there or can't be used."""
        finders, failures = self.load(stage)
        for finder in finders:
            if finder.name == name:
                return finder
        for failure in failures:
            if failure.listing.name == name:
                raise PluginError(
                    f"The {stage} finder {name} ({failure.listing.source}) can't be used: {failure.reason}.",
                    "Update or remove it, or choose another finder.",
                )
        names = [finder.name for finder in finders]
        near = difflib.get_close_matches(name, names, n=1)
        hint = f"Did you mean {near[0]}?" if near else f"There are: {', '.join(['auto', *names])}."
        raise PluginError(f"There is no {stage} finder {name}.", hint)


def _order(listing: Listing) -> tuple[int, bool, str, str, str]:
    return (
        STAGES.index(listing.stage),
        listing.source != "built in",
        listing.name,
        listing.source,
        listing.target,
    )


def built_in_listings() -> list[Listing]:
    """Return the table of built-in finders as listings."""
    return [
        Listing(stage, name, "built in", target, priority)
        for stage, table in BUILT_IN.items()
        for name, (priority, target) in table.items()
    ]


def entry_point_listings() -> list[Listing]:
    """Return what other packages announce, without importing any of it."""
    listings = []
    for stage in STAGES:
        for point in importlib.metadata.entry_points(group=f"photonest.{stage}"):
            dist = point.dist
            source = f"{dist.name} {dist.version}" if dist else "unknown package"
            listings.append(Listing(stage, point.name, source, point.value))
    return listings


def load_finder(listing: Listing) -> Finder | LoadFailure:
    """Import a finder and check it against the contract of its stage."""
    try:
        with stdout_to_stderr():
            module, _, attribute = listing.target.partition(":")
            plugin = getattr(importlib.import_module(module), attribute)
            if isinstance(plugin, type):
                plugin = plugin()
            problem = _breach(listing, plugin)
    except (Exception, SystemExit) as error:  # whatever a plugin does while loading must not stop the others
        return LoadFailure(listing, f"{type(error).__name__}: {error}")
    if problem:
        return LoadFailure(listing, problem)
    priority = listing.priority if listing.priority is not None else getattr(plugin, "priority", THIRD_PARTY_PRIORITY)
    return Finder(listing, plugin, plugin.version, priority)


def _breach(listing: Listing, plugin: Any) -> str:
    if getattr(plugin, "name", None) != listing.name:
        return f"its name is {getattr(plugin, 'name', None)!r}, not {listing.name!r}"
    if not isinstance(getattr(plugin, "version", None), str) or not plugin.version:
        return "it has no version"
    priority = getattr(plugin, "priority", THIRD_PARTY_PRIORITY)
    if listing.source != "built in" and (not isinstance(priority, int) or priority < 100):
        return f"its priority is {priority!r}, not a whole number from 100"
    return _options_breach(getattr(plugin, "Options", None)) or _find_breach(listing.stage, plugin)


def _options_breach(options: Any) -> str:
    if not (isinstance(options, type) and dataclasses.is_dataclass(options)):
        return "it has no dataclass Options"
    if not options.__dataclass_params__.frozen:  # type: ignore[attr-defined]
        return "its Options are not frozen"
    try:
        options()
    except TypeError as error:
        return f"its Options lack a default: {error}"
    return ""


def _find_breach(stage: Stage, plugin: Any) -> str:
    find = getattr(plugin, "find", None)
    if not callable(find):
        return "it has no find"
    count = _ARGUMENTS[stage]
    try:
        inspect.signature(find).bind(*range(count))
    except (TypeError, ValueError):
        return f"its find does not take the {count} arguments of the {stage} stage"
    return ""


@contextlib.contextmanager
def stdout_to_stderr() -> Iterator[None]:
    """Send what is printed meanwhile to stderr, at the level of the process: stdout carries results alone."""
    if not sys.stdout:  # Python has none where the program was started with it closed
        yield
        return
    sys.stdout.flush()
    try:
        kept = os.dup(1)
    except OSError:  # no stdout to guard
        yield
        return
    try:
        with contextlib.redirect_stdout(sys.stderr):
            os.dup2(2, 1)
            yield
            sys.stdout.flush()
    finally:
        os.dup2(kept, 1)
        os.close(kept)
