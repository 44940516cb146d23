"""What the catalogue's commands share: where it lies, days, states, a progress bar."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator
from datetime import date, datetime
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from photonest.catalogue.store import Catalogue


class State(StrEnum):
    """How far a piece has come; the words of `photonest.catalogue.entries.STATES`."""

    FRESH = "fresh"
    SEALED = "sealed"
    BLANK = "blank"
    ROUGH = "rough"
    DRYING = "drying"
    DRY = "dry"
    FINISHED = "finished"
    SOLD = "sold"
    SCRAPPED = "scrapped"


Where = Annotated[
    str | None,
    typer.Option(
        "--catalogue",
        metavar="FILE|URL",
        envvar="PHOTONEST_CATALOGUE",
        help="The catalogue: a SQLite file, or postgresql://NAME@HOST/DATABASE.",
    ),
]
Photos = Annotated[
    Path | None,
    typer.Option(
        "--photos",
        metavar="FOLDER",
        envvar="PHOTONEST_PHOTOS",
        help="Folder of the photos; by default beside the catalogue's file.",
    ),
]
Code = Annotated[str, typer.Argument(metavar="CODE", help="The code of the piece, as its label shows it.")]
Species = Annotated[str | None, typer.Option(metavar="NAME", help="The wood.")]
Place = Annotated[str | None, typer.Option(metavar="PLACE", help="Where it lies.")]


def _not_none(jobs: int) -> int:
    if jobs == 0:
        raise typer.BadParameter("it must be 1 or more, or -1.")
    return jobs


Jobs = Annotated[
    int, typer.Option(metavar="N", callback=_not_none, help="How many photos or pieces at once; -1: one a core.")
]


def day_option(*names: str, help: str = "The day it happened; today if not given.") -> Any:
    """Return an option that takes a day as YYYY-MM-DD."""
    return typer.Option(*(names or ("--day",)), formats=["%Y-%m-%d"], metavar="YYYY-MM-DD", help=help)


def day_of(moment: datetime | None) -> date | None:
    """Return the day an option gives."""
    return None if moment is None else moment.date()


def past_day_of(moment: datetime | None) -> date | None:
    """Return the day an option gives; raise BadParameter for one that has not come yet."""
    day = day_of(moment)
    if day is not None and day > date.today():
        raise typer.BadParameter(f"{day} has not come yet.", param_hint="--day")
    return day


@contextlib.contextmanager
def opened(where: str | None, photos: Path | None, *, make: bool = False) -> Iterator[Catalogue]:
    """Give the catalogue asked for, or the usual one."""
    from photonest.catalogue.store import Catalogue
    from photonest.model import CatalogueError

    if where is None:
        from platformdirs import user_data_path

        folder = user_data_path("photonest", ensure_exists=make)
        where = str(folder / "catalogue.sqlite")
        if not make and not folder.exists():
            raise CatalogueError("There is no catalogue yet.", "Begin one with: photonest catalogue add PHOTO.")
    with Catalogue(where, photos, make=make) as catalogue:
        yield catalogue


@contextlib.contextmanager
def progress_bar(what: str, total: int) -> Iterator[Callable[[str], None]]:
    """Give a function that counts up a bar, on stderr and only when that is a terminal."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn(what),
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        TextColumn("{task.fields[at]}"),
    )
    with Progress(*columns, console=Console(stderr=True)) as bar:
        task = bar.add_task(what, total=total, at="")
        yield lambda at: bar.update(task, advance=1, at=at)
