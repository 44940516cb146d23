"""Checking a catalogue: is every file there, is every hash right, is the database whole."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from photonest.catalogue.entries import Wanted
from photonest.catalogue.store import Catalogue


@dataclass(frozen=True)
class Findings:
    """What a check found; `damage` is empty when all is well.

    Attributes
    ----------
    entries : int
        How many were looked at.
    damage : tuple of str
        What is missing or changed, one text each.
    orphans : tuple of Path
        Files no entry names: left by an add that was cut off. They do no harm.
    cleaned : int
        How many of those were removed.
    """

    entries: int
    damage: tuple[str, ...]
    orphans: tuple[Path, ...]
    cleaned: int = 0


def check_catalogue(
    catalogue: Catalogue, *, clean: bool = False, progress: Callable[[str], None] = lambda _: None
) -> Findings:
    """Return whether everything a catalogue names is there and right.

    Parameters
    ----------
    catalogue : Catalogue
    clean : bool
        Whether to remove orphans an hour old or older.
    progress : callable
        Told each entry's code.
    """
    damage = list(catalogue.integrity())
    every = [*catalogue.find(), *catalogue.find(Wanted(withdrawn=True))]
    for entry in every:
        progress(entry.code)
        trouble = catalogue.photos.trouble(entry.photo_sha256, entry.photo_file)
        if trouble is not None:
            damage.append(f"{entry.code}: {trouble}")
    known = {entry.photo_sha256 for entry in every}
    orphans = tuple(catalogue.photos.orphans(known))
    return Findings(len(every), tuple(damage), orphans, sum(map(_removed, orphans)) if clean else 0)


def _removed(path: Path) -> bool:
    """Remove a file and tell whether that was allowed."""
    try:
        path.unlink(missing_ok=True)
    except OSError:
        return False
    return True
