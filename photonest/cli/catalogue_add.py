"""``photonest catalogue add``: measure photos and enter them."""

from __future__ import annotations

import contextlib
import dataclasses
import json as json_module
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from photonest.cli.bundles import expanding
from photonest.cli.catalogue_common import Jobs, Photos, Place, Species, State, Where, opened, progress_bar
from photonest.cli.catalogue_words import line_of
from photonest.cli.common import AsJson, say, show
from photonest.cli.measuring import Measuring
from photonest.cli.piece import Kind, refuse_misplaced

if TYPE_CHECKING:
    from photonest.catalogue.batch import Batch


@expanding(measuring=Measuring)
def add(
    sources: Annotated[list[Path], typer.Argument(metavar="PHOTO|FOLDER ...", help="Photos, or folders of photos.")],
    measuring: Measuring,
    stock: Annotated[
        Kind, typer.Option(help="The piece: a log, an end-grain slice, or a side-grain blank.")
    ] = Kind.SLICE,
    thickness: Annotated[
        float | None, typer.Option(metavar="MM", help="Of a slice or blank, after its faces are flat.")
    ] = None,
    length: Annotated[float | None, typer.Option(metavar="MM", help="Of a log.")] = None,
    species: Species = None,
    place: Place = None,
    state: Annotated[State, typer.Option(help="How far it has come.")] = State.FRESH,
    note: Annotated[str | None, typer.Option(metavar="TEXT", help="Anything worth remembering.")] = None,
    code: Annotated[
        str | None, typer.Option(metavar="CODE", help="A code of your own, for one photo; else one is made.")
    ] = None,
    jobs: Jobs = -1,
    dask: Annotated[
        str | None,
        typer.Option(
            metavar="ADDRESS", help="A Dask scheduler whose workers measure; they must see the photos' folder."
        ),
    ] = None,
    where: Where = None,
    photos: Photos = None,
    json: AsJson = False,
) -> None:
    """Measure photos and enter them; photos already there are recognised, so that a run cut off can be run again."""
    refuse_misplaced(stock, {"thickness": thickness, "length": length})
    from photonest.catalogue.batch import add_photos
    from photonest.catalogue.entries import Details
    from photonest.model import CatalogueError

    paths = _photos(sources)
    if code is not None and len(paths) != 1:
        raise typer.BadParameter("a code can be given for one photo only.", param_hint="--code")
    details = Details(stock.value, thickness, length, species, place, state.value, note, code)
    chosen = measuring.choices()
    with (
        opened(where, photos, make=True) as catalogue,
        _workers(dask),
        progress_bar("measuring", len(paths)) as step,
    ):
        batch = add_photos(catalogue, paths, details, chosen, jobs=jobs, progress=lambda path: step(path.name))
    _report(batch, json)
    if batch.known and details != Details():
        say("Those already there stay as they were: tell more of them with catalogue describe, move or state.")
    if batch.failed:
        raise CatalogueError(
            f"{len(batch.failed)} of {len(paths)} photos could not be measured; what could is in the catalogue.",
            "See the list above; then run the same command again.",
        )


def _photos(sources: list[Path]) -> list[Path]:
    from photonest.catalogue.batch import photos_in
    from photonest.model import CatalogueError

    found: list[Path] = []
    for source in sources:
        if not source.exists():
            raise CatalogueError(f"{source} does not exist.", "Check the name.")
        found += photos_in(source) if source.is_dir() else [source]
    if not found:
        raise CatalogueError(
            f"There are no photos in {', '.join(map(str, sources))}.", "Give a folder of JPEG, PNG, TIFF, WebP or HEIC."
        )
    return found


@contextlib.contextmanager
def _workers(dask: str | None) -> Iterator[None]:
    """Let a Dask cluster do what runs side by side, where its address is given."""
    if dask is None:
        yield
        return
    from photonest.model import CatalogueError

    try:
        from distributed import Client
    except ImportError as error:
        raise CatalogueError("Dask is not installed.", "Install photonest[dask].") from error
    from joblib import parallel_config

    try:
        client = Client(dask, timeout=5)
    except (OSError, ValueError) as error:
        raise CatalogueError(f"No Dask scheduler answers at {dask}.", "Check the address.") from error
    with client, parallel_config(backend="dask"):
        yield


def _report(batch: Batch, json: bool) -> None:
    """Print what was added on stdout, and the list of what needs a look on stderr."""
    if json:
        document = {
            "added": [dataclasses.asdict(entry) for entry in batch.added],
            "known": [str(path) for path in batch.known],
            "failed": [{"file": str(failure.path), "reason": failure.reason} for failure in batch.failed],
            "warnings": batch.warnings,
        }
        show(json_module.dumps(document, indent=1, ensure_ascii=False, default=str))
    else:
        for entry in batch.added:
            show(f"{line_of(entry)}  from {' '.join(entry.photo_file.split())}")
    say(f"{len(batch.added)} added, {len(batch.known)} already there, {len(batch.failed)} not measured.")
    if batch.failed or batch.warnings:
        say("These need a look:")
    for failure in batch.failed:
        say(f"  {failure.path}: {failure.reason}")
    for code, warnings in sorted(batch.warnings.items()):
        for warning in warnings:
            say(f"  {code}: {warning}")
