"""The catalogue as files: export, import, backup, restore, check."""

from __future__ import annotations

from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from photonest.cli.catalogue_common import Photos, Where, opened, progress_bar
from photonest.cli.common import Replace, refuse_to_overwrite, say, show


class ExportFormat(StrEnum):
    """What an export is written as."""

    FOLDER = "folder"
    CSV = "csv"
    JSON = "json"


def export(
    target: Annotated[
        Path | None, typer.Argument(metavar="TARGET", help="Folder or file to write; CSV and JSON else go to stdout.")
    ] = None,
    format: Annotated[ExportFormat, typer.Option("--format", help="A whole folder, or a table or document alone.")] = (
        ExportFormat.FOLDER
    ),
    replace: Replace = False,
    where: Where = None,
    photos: Photos = None,
) -> None:
    """Write the catalogue out: a folder that can be read without this program, or a table or document alone."""
    from photonest.catalogue.transfer import export_folder, to_csv, to_document
    from photonest.model import dump_json, write_whole

    if replace and format is ExportFormat.FOLDER:
        raise typer.BadParameter("a folder is never written over: give a new one.", param_hint="--replace")
    if target is not None and format is not ExportFormat.FOLDER:
        refuse_to_overwrite(target, replace=replace)
    with opened(where, photos) as catalogue:
        if format is ExportFormat.FOLDER:
            if target is None:
                raise typer.BadParameter("a folder needs a name.", param_hint="TARGET")
            with progress_bar("exporting", len(catalogue.photo_hashes())) as step:
                say(f"Wrote {export_folder(catalogue, target, step)} pieces to {target}.")
            return
        text = to_csv(catalogue.find()) if format is ExportFormat.CSV else dump_json(to_document(catalogue))
    if target is None:
        show(text.rstrip("\r\n"))
    else:
        write_whole(target, text.encode())
        say(f"Wrote {target}.")


def import_(
    source: Annotated[Path, typer.Argument(metavar="FOLDER|BACKUP", help="An exported folder, or a backup.")],
    where: Where = None,
    photos: Photos = None,
) -> None:
    """Take in the pieces of another catalogue; those whose photo is known stay as they are."""
    from photonest.catalogue.transfer import check_source, take_in

    check_source(source)  # before a catalogue is begun
    with opened(where, photos, make=True) as catalogue:
        taken = take_in(catalogue, source)
    for old, new in taken.renamed:
        show(f"{old} is now {new}: another piece has that code here")
    say(f"{len(taken.new)} new, {len(taken.known)} already there.")


def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE.zip", help="Where to write it.")],
    replace: Replace = False,
    where: Where = None,
    photos: Photos = None,
) -> None:
    """Write everything, photos included, into one file; with --replace the old one stays until the new one is whole."""
    from photonest.catalogue.transfer import back_up

    refuse_to_overwrite(file, replace=replace)
    with opened(where, photos) as catalogue, progress_bar("backing up", len(catalogue.photo_hashes())) as step:
        say(f"Wrote {back_up(catalogue, file, step)} pieces to {file}.")


def restore(
    file: Annotated[Path, typer.Argument(metavar="FILE.zip", help="A backup.")],
    where: Where = None,
    photos: Photos = None,
) -> None:
    """Bring a backup back into a new, empty catalogue; a damaged backup leaves no half of one."""
    from photonest.catalogue.transfer import look_through, take_in
    from photonest.model import CatalogueError, PhotonestError

    whole = look_through(file)  # all of it, before a catalogue is begun
    with opened(where, photos, make=True) as catalogue:
        if catalogue.photo_hashes():
            raise CatalogueError(
                f"The catalogue {catalogue.where} is not empty.", "Restore into a new one, or use catalogue import."
            )
        try:
            say(f"{len(take_in(catalogue, file).new)} pieces are back.")
        except PhotonestError as error:
            raise CatalogueError(
                f"{error.message} {len(catalogue.photo_hashes())} of {whole} pieces are back.",
                f"Mend that, and go on with: photonest catalogue import {file}",
            ) from error


def check(
    clean: Annotated[
        bool, typer.Option("--clean", help="Remove files that adds cut off left behind; they do no harm.")
    ] = False,
    where: Where = None,
    photos: Photos = None,
) -> None:
    """Check that every file is there, that every photo is what it was, and that the database is whole."""
    from photonest.catalogue.check import check_catalogue
    from photonest.model import CatalogueError

    with opened(where, photos) as catalogue, progress_bar("checking", len(catalogue.photo_hashes())) as step:
        found = check_catalogue(catalogue, clean=clean, progress=step)
    for text in found.damage:
        show(text)
    if found.cleaned:
        say(f"{found.cleaned} files removed.")
    if left := len(found.orphans) - found.cleaned:
        why = "could not be removed: see your rights" if clean else "are left of adds cut off; --clean removes them"
        say(f"{left} files {why}.")
    if found.damage:
        raise CatalogueError(
            f"{len(found.damage)} things are wrong with the catalogue.", "Restore the newest backup, and import it."
        )
    say(f"{found.entries} pieces, and all is well.")


COMMANDS: dict[str, Callable[..., Any]] = {
    "export": export,
    "import": import_,
    "backup": backup,
    "restore": restore,
    "check": check,
}
