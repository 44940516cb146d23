"""Catalogues as plain files: a folder anyone can read, a backup in one file, and taking either in again.

The folder holds ``catalogue.json`` (everything, histories included), ``entries.csv`` for a spreadsheet, ``index.html``
for a browser, and the photos, thumbnails and face files under their entries' codes. A backup is that folder as one ZIP.
"""

from __future__ import annotations

import csv
import dataclasses
import hashlib
import html
import io
import json
import os
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path, PurePosixPath
from typing import Any

from photonest.catalogue.codes import check_code
from photonest.catalogue.entries import Entry, Happening, Wanted
from photonest.catalogue.history import replayed
from photonest.catalogue.store import Catalogue
from photonest.model import CatalogueError, DocumentError, OutputError, dump_json, face_to_document, write_whole

FORMAT = "photonest-catalogue"
VERSION = 1
Reader = Callable[[str], bytes]
Writer = Callable[[str, bytes], None]


@dataclasses.dataclass(frozen=True)
class TakenIn:
    """What taking in did: codes new here, codes whose photo was known, and codes that had to change (old, new)."""

    new: tuple[str, ...]
    known: tuple[str, ...]
    renamed: tuple[tuple[str, str], ...]


def to_csv(entries: list[Entry]) -> str:
    """Return a table of entries as CSV (RFC 4180) with a heading."""
    out = io.StringIO(newline="")
    table = csv.DictWriter(out, [field.name for field in dataclasses.fields(Entry)])
    table.writeheader()
    table.writerows(dataclasses.asdict(entry) for entry in entries)
    return out.getvalue()


def to_document(catalogue: Catalogue) -> dict[str, Any]:
    """Return everything a catalogue holds but the photos themselves."""
    every = sorted([*catalogue.find(), *catalogue.find(Wanted(withdrawn=True))], key=lambda entry: entry.code)
    return {"format": FORMAT, "version": VERSION, "entries": [_entry(catalogue, entry) for entry in every]}


def _entry(catalogue: Catalogue, entry: Entry) -> dict[str, Any]:
    suffix = PurePosixPath(entry.photo_file).suffix.lower()
    return {
        "code": entry.code,
        "photo": {
            "file": entry.photo_file,
            "sha256": entry.photo_sha256,
            "path": f"photos/{entry.code}{suffix}",
            "thumbnail": f"thumbnails/{entry.code}.jpg",
        },
        "now": _plain(dataclasses.asdict(entry)),
        "history": [_plain(vars(happened)) for happened in catalogue.history(entry.code)],
    }


def _plain(facts: Any) -> dict[str, Any]:
    return {key: value.isoformat() if isinstance(value, date) else value for key, value in facts.items()}


def write_out(catalogue: Catalogue, write: Writer, progress: Callable[[str], None] = lambda _: None) -> int:
    """Write a catalogue as files, photo by photo, and return how many entries it has.

    Raises
    ------
    CatalogueError
        If a photo is missing or changed: what is written out must be whole.
    """
    document = to_document(catalogue)
    listed = catalogue.find()
    for record in document["entries"]:
        progress(record["code"])
        photo = record["photo"]
        trouble = catalogue.photos.trouble(photo["sha256"], photo["file"])
        if trouble is not None:
            raise CatalogueError(f"{record['code']}: {trouble}.", "Put it right first: 'photonest catalogue check'.")
        write(photo["path"], catalogue.photos.photo(photo["sha256"], photo["file"]).read_bytes())
        write(photo["thumbnail"], catalogue.photos.thumbnail(photo["sha256"]).read_bytes())
        face = face_to_document(catalogue.face(record["code"]))
        write(f"faces/{record['code']}.json", dump_json(face).encode())
    write("entries.csv", to_csv(listed).encode())
    write("index.html", _page(listed).encode())
    write("catalogue.json", dump_json(document).encode())  # last: a folder cut off has none, and is not taken in
    return len(document["entries"])


def export_folder(catalogue: Catalogue, folder: Path, progress: Callable[[str], None] = lambda _: None) -> int:
    """Write a catalogue as a folder of plain files; the folder must be new or empty."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise OutputError(f"{folder} is there already.", "Give a new folder.")

    def write(name: str, content: bytes) -> None:
        path = folder / name
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise OutputError(f"{path.parent} can't be made: {error.strerror}.", "Give another folder.") from error
        write_whole(path, content)

    return write_out(catalogue, write, progress)


def back_up(catalogue: Catalogue, file: Path, progress: Callable[[str], None] = lambda _: None) -> int:
    """Write a catalogue as one ZIP file; what was there before is replaced only when the new one is whole."""
    temporary: str | None = None
    try:
        descriptor, temporary = tempfile.mkstemp(dir=file.parent, prefix=f".{file.name}.")
        with os.fdopen(descriptor, "wb") as raw:
            with zipfile.ZipFile(raw, "w", zipfile.ZIP_DEFLATED) as archive:
                count = write_out(catalogue, archive.writestr, progress)
            raw.flush()
            os.fsync(raw.fileno())
        Path(temporary).replace(file)
        temporary = None
    except OSError as error:
        raise OutputError(f"{file} can't be written: {error.strerror}.", "Make room, or give another file.") from error
    finally:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)
    return count


@contextmanager
def opened(source: Path) -> Iterator[Reader]:
    """Give a function that reads files of an exported folder or a backup."""
    if source.is_dir():
        root = source.resolve()

        def read(name: str) -> bytes:
            path = (root / name).resolve()
            if not path.is_relative_to(root):
                raise CatalogueError(f"{source.name} names a file outside itself: {name}.")
            try:
                return path.read_bytes()
            except OSError as error:
                raise CatalogueError(f"{path} can't be read: {error.strerror}.", "Is the folder whole?") from error

        yield read
        return
    try:
        with zipfile.ZipFile(source) as archive:

            def read_member(name: str) -> bytes:
                try:
                    return archive.read(name)
                except (KeyError, zipfile.BadZipFile) as error:
                    raise CatalogueError(f"{source.name} is damaged: {error}.", "Use another backup.") from error

            yield read_member
    except (OSError, zipfile.BadZipFile) as error:
        raise CatalogueError(
            f"{source} is neither an exported folder nor a backup: {error}.", "Give one that photonest wrote."
        ) from error


def take_in(catalogue: Catalogue, source: Path, progress: Callable[[str], None] = lambda _: None) -> TakenIn:
    """Take every entry of an exported folder or a backup into a catalogue; those whose photo is known stay as they are.

    Raises
    ------
    CatalogueError
        If the source is something else, newer, or damaged; entries taken in before the damage stay.
    """
    new: list[str] = []
    known: list[str] = []
    renamed: list[tuple[str, str]] = []
    for piece in _pieces(source):
        progress(piece.code)
        entry, fresh = catalogue.take_in(piece.code, piece.file, piece.history, piece.photo, piece.thumbnail)
        (new if fresh else known).append(entry.code)
        if fresh and entry.code != piece.code:
            renamed.append((piece.code, entry.code))
    return TakenIn(tuple(new), tuple(known), tuple(renamed))


def check_source(source: Path) -> None:
    """Raise CatalogueError if something is no exported folder and no backup, or its list can't be read."""
    with opened(source) as read:
        _records(read, source.name)


def look_through(source: Path, progress: Callable[[str], None] = lambda _: None) -> int:
    """Return how many pieces an exported folder or a backup holds, each of them read to its end.

    Raises
    ------
    CatalogueError
        If it is something else, newer, or damaged anywhere: nothing need be begun with it.
    """
    count = 0
    for piece in _pieces(source):
        progress(piece.code)
        count += 1
    return count


@dataclasses.dataclass(frozen=True)
class _Piece:
    """An entry as it was written out; `file` is its photo's name."""

    code: str
    file: str
    history: list[Happening]
    photo: bytes
    thumbnail: bytes


def _pieces(source: Path) -> Iterator[_Piece]:
    """Yield every entry of an exported folder or a backup; raise CatalogueError at the first that is damaged."""
    with opened(source) as read:
        for record in _records(read, source.name):
            code, photo = str(record["code"]), record["photo"]
            content = read(photo["path"])
            if hashlib.sha256(content).hexdigest() != photo["sha256"]:
                raise CatalogueError(f"{code}: the photo {photo['path']} is not what it was.", "Use another backup.")
            history = [_happening(fields) for fields in record["history"]]
            check_code(code)
            try:
                replayed(history)
            except (DocumentError, KeyError) as error:
                raise CatalogueError(f"{code}: its history can't be read: {error}.", "Use another backup.") from error
            yield _Piece(code, str(photo["file"]), history, content, read(photo["thumbnail"]))


def _records(read: Reader, name: str) -> list[dict[str, Any]]:
    try:
        document = json.loads(read("catalogue.json"))
        if document["format"] != FORMAT:
            raise CatalogueError(f"{name} is no catalogue (its format is {document['format']!r}).")
        if document["version"] > VERSION:
            raise CatalogueError(f"{name} was written by a newer photonest.", "Update photonest.")
        records: list[dict[str, Any]] = document["entries"]
        for record in records:
            _ = (
                record["code"],
                record["history"],
                [record["photo"][key] for key in ("path", "sha256", "file", "thumbnail")],
            )
    except (ValueError, KeyError, TypeError) as error:
        raise CatalogueError(
            f"The catalogue.json of {name} can't be read: {error!r}.", "Use another backup."
        ) from error
    return records


def _happening(fields: dict[str, Any]) -> Happening:
    try:
        undone = fields["undone_at"]
        return Happening(
            fields["kind"],
            date.fromisoformat(fields["day"]),
            datetime.fromisoformat(fields["recorded_at"]),
            dict(fields["facts"]),
            None if undone is None else datetime.fromisoformat(undone),
        )
    except (KeyError, TypeError, ValueError) as error:
        raise CatalogueError(f"A history can't be read: {error!r}.", "Use another backup.") from error


def _page(entries: list[Entry]) -> str:
    """Return a page for any browser: a row an entry, with its picture."""
    heads = ("", "code", "species", "size", "state", "place", "weight", "added", "note")
    rows = "\n".join(f"<tr>{''.join(f'<td>{cell}</td>' for cell in _cells(entry))}</tr>" for entry in entries)
    return (
        '<!DOCTYPE html>\n<html lang="en"><meta charset="utf-8"><title>Catalogue</title>\n'
        "<style>body{font:16px sans-serif}td,th{padding:4px 10px;text-align:left}img{max-height:120px}</style>\n"
        f"<table><tr>{''.join(f'<th>{head}</th>' for head in heads)}</tr>\n{rows}\n</table></html>\n"
    )


def _cells(entry: Entry) -> tuple[str, ...]:
    suffix = PurePosixPath(entry.photo_file).suffix.lower()
    photo = html.escape(f"photos/{entry.code}{suffix}", quote=True)
    size = f"{entry.min_diameter:.0f} to {entry.max_diameter:.0f} mm"
    weight = "" if entry.weight is None else f"{entry.weight:.0f} g on {entry.weight_day}"
    state = f"{entry.state} since {entry.state_day}"
    words = (entry.code, entry.species or "", size, state, entry.place or "", weight, entry.added_day, entry.note or "")
    picture = f'<a href="{photo}"><img src="thumbnails/{entry.code}.jpg" alt="{entry.code}"></a>'
    return (picture, *(html.escape(str(word)) for word in words))
