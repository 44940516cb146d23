"""The store: entries, their photos and their history."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import math
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy import exc

from photonest.catalogue.codes import check_code, codes_of
from photonest.catalogue.database import engine_for, prepare, reading, writing
from photonest.catalogue.entries import Details, Entry, Happening, Wanted, check_state
from photonest.catalogue.files import PhotoStore
from photonest.catalogue.history import (
    face_hash,
    happening,
    history,
    insert,
    record,
    replayed,
    take_back,
    told,
)
from photonest.catalogue.tables import entry as entries
from photonest.catalogue.tables import face as faces
from photonest.model import CatalogueError, Face, Plan, face_from_document, face_to_document, plan_to_document

_LISTED = [entries.c[field.name] for field in dataclasses.fields(Entry)]


class Catalogue:
    """A catalogue opened for use.

    Parameters
    ----------
    where : str
        Path of a SQLite file, or a database URL.
    photos : Path, optional
        Folder of the photos; by default beside the SQLite file, named after it.
    make : bool
        Whether to begin a new one where there is none.

    Raises
    ------
    CatalogueError
        If it can't be opened.
    """

    def __init__(self, where: str, photos: Path | None = None, *, make: bool = False) -> None:
        if photos is None:
            if "://" in where:
                raise CatalogueError("A database server needs a folder for the photos.", "Give it with --photos.")
            photos = Path(where).with_suffix(".photos")
        self._engine = engine_for(where)
        self.where = where if "://" not in where else self._engine.url.render_as_string(hide_password=True)
        self.photos = PhotoStore(photos)
        try:
            prepare(self._engine, self.where, make=make)
        except CatalogueError:
            self.close()
            raise

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def __enter__(self) -> Catalogue:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # --- adding -----------------------------------------------------------------------------------------------------

    def add(self, content: bytes, face: Face, thumbnail: bytes, details: Details, day: date | None = None) -> Entry:
        """Store a measured photo and return its entry; the entry already there if the photo is.

        Photo and thumbnail are safe on the disk before the entry is confirmed: killed at any moment, the catalogue
        holds the whole entry or nothing of it.

        Raises
        ------
        CatalogueError
            If the code asked for is taken, or the catalogue can't be written.
        """
        day = day or date.today()
        face = dataclasses.replace(face, photo=dataclasses.replace(face.photo, file=_printable(face.photo.file)))
        check_details(details)
        facts = {**told(details), "file": face.photo.file, "face": face_to_document(face)}
        there = self.by_photo(face.photo.sha256)
        if there is not None and not there.withdrawn:
            return there
        if details.code is not None and there is None:
            self._check_free(details.code)
        if hashlib.sha256(content).hexdigest() != face.photo.sha256:
            raise CatalogueError(f"The photo {face.photo.file} changed after it was measured.", "Add it again.")
        sha256 = self.photos.keep(content, face.photo.file, thumbnail)
        if there is not None:
            return self._happen(there.code, "added", facts, day)
        return self._insert(facts, sha256, day, [details.code] if details.code is not None else [*codes_of(sha256)])

    def _insert(self, facts: Mapping[str, Any], sha256: str, day: date, codes: Sequence[str]) -> Entry:
        """Write a new entry under the first free code."""
        added = Happening("added", day, datetime.now(UTC), facts)
        for code in codes:
            try:
                with writing(self._engine, self.where) as connection:
                    if connection.execute(sa.select(entries.c.id).where(_is(code))).first() is not None:
                        continue
                    insert(connection, code, sha256, facts["file"], [added])
                return self.entry(code)
            except CatalogueError as error:
                # Another program may have added the same photo, or taken the code, a moment ago.
                if not isinstance(error.__cause__, exc.IntegrityError):
                    raise
                there = self.by_photo(sha256)
                if there is not None:
                    return there
        raise _taken(codes[0])

    def take_in(
        self, code: str, file: str, happened: Sequence[Happening], content: bytes, thumbnail: bytes
    ) -> tuple[Entry, bool]:
        """Store an entry of another catalogue with its whole history, and return it and whether it is new here.

        Where its photo is known here, nothing changes; where its code is taken by another photo, it gets a new one.

        Raises
        ------
        CatalogueError
            If the history makes no sense.
        """
        sha256 = hashlib.sha256(content).hexdigest()
        there = self.by_photo(sha256)
        if there is not None:
            return there, False
        replayed(happened)  # before anything is written
        self.photos.keep(content, file, thumbnail)
        for free in [check_code(code), *codes_of(sha256)]:
            with writing(self._engine, self.where) as connection:
                if connection.execute(sa.select(entries.c.id).where(_is(free))).first() is not None:
                    continue
                insert(connection, free, sha256, file, happened)
            return self.entry(free), True
        raise _taken(code)

    def _check_free(self, code: str) -> None:
        with reading(self._engine, self.where) as connection:
            if connection.execute(sa.select(entries.c.id).where(_is(code))).first() is not None:
                raise _taken(code)

    # --- reading ----------------------------------------------------------------------------------------------------

    def by_photo(self, sha256: str) -> Entry | None:
        """Return the entry of a photo's hash, if there is one."""
        with reading(self._engine, self.where) as connection:
            row = connection.execute(sa.select(*_LISTED).where(entries.c.photo_sha256 == sha256)).first()
        return None if row is None else Entry(*row)

    def photo_hashes(self, *, withdrawn: bool = True) -> set[str]:
        """Return the hashes of all photos entered, those of withdrawn entries included or not."""
        query = sa.select(entries.c.photo_sha256)
        with reading(self._engine, self.where) as connection:
            return set(_column(connection, query if withdrawn else query.where(~entries.c.withdrawn)))

    def entry(self, code: str) -> Entry:
        """Return the entry of a code; small and capital letters don't matter."""
        with reading(self._engine, self.where) as connection:
            row = connection.execute(sa.select(*_LISTED).where(_is(code))).first()
        if row is None:
            raise self._unknown(code)
        return Entry(*row)

    def face(self, code: str) -> Face:
        """Return the measured face of an entry."""
        with reading(self._engine, self.where) as connection:
            query = sa.select(faces.c.document).join(entries, entries.c.id == faces.c.entry_id)
            text = connection.execute(query.where(_is(code))).scalar()
        if text is None:
            raise self._unknown(code)
        return face_from_document(json.loads(text), f"the face of {code}")

    def find(self, wanted: Wanted | None = None) -> list[Entry]:
        """Return the entries looked for, the newest first."""
        wanted = wanted or Wanted()
        query = sa.select(*_LISTED).where(*_conditions(wanted)).limit(wanted.limit)
        with reading(self._engine, self.where) as connection:
            rows = connection.execute(query.order_by(entries.c.added_day.desc(), entries.c.id.desc()))
            return [Entry(*row) for row in rows]

    def count(self, wanted: Wanted | None = None) -> int:
        """Return how many entries there are of those looked for, whatever their limit."""
        query = sa.select(sa.func.count()).select_from(entries).where(*_conditions(wanted or Wanted()))
        with reading(self._engine, self.where) as connection:
            return int(connection.execute(query).scalar_one())

    def history(self, code: str) -> list[Happening]:
        """Return everything that happened to an entry, in the order it was recorded, mistakes taken back included."""
        with reading(self._engine, self.where) as connection:
            return [happening(row) for row in history(connection, self._id(connection, code))]

    def integrity(self) -> list[str]:
        """Return what the database itself finds wrong with its file; a server looks after its own."""
        if self._engine.dialect.name != "sqlite":
            return []
        with reading(self._engine, self.where) as connection:
            rows = connection.exec_driver_sql("PRAGMA integrity_check").scalars().all()
            strays = connection.exec_driver_sql("PRAGMA foreign_key_check").all()
        found = [str(row) for row in rows if row != "ok"]
        return found + ([f"{len(strays)} events belong to no entry"] if strays else [])

    # --- what happens to a piece ------------------------------------------------------------------------------------

    def weigh(self, code: str, grams: float, day: date | None = None) -> Entry:
        """Record a weight."""
        if not (math.isfinite(grams) and grams > 0):
            raise CatalogueError(f"A weight must be more than 0 g, not {grams:g}.")
        return self._happen(code, "weighed", {"grams": grams}, day)

    def move(self, code: str, place: str, day: date | None = None) -> Entry:
        """Record where a piece now lies."""
        if not place.strip():
            raise CatalogueError("A place needs a name.")
        return self._happen(code, "moved", {"place": place}, day)

    def set_state(self, code: str, state: str, day: date | None = None) -> Entry:
        """Record how far a piece has come."""
        return self._happen(code, "state", {"state": check_state(state)}, day)

    def describe(self, code: str, facts: Mapping[str, Any], day: date | None = None) -> Entry:
        """Record a species, note, kind, thickness or length."""
        known = {"species", "note", "kind", "thickness", "length"}
        if not facts or not facts.keys() <= known:
            raise CatalogueError(
                "Nothing to record is given.", "Give --stock, --species, --note, --thickness or --length."
            )
        return self._happen(code, "described", facts, day)

    def attach_plan(self, code: str, plan: Plan, face: Face | None = None, day: date | None = None) -> Entry:
        """Record what was planned.

        Parameters
        ----------
        code : str
        plan : Plan
            For the stored face, or for the one given.
        face : Face, optional
            The same photo's face as it was corrected by hand; it takes the place of the stored one.
        day : date, optional

        Raises
        ------
        CatalogueError
            If the plan is for neither, or the face is of another photo.
        """
        stored, found = self.face(code), self.entry(code)
        if face is not None and face.photo.sha256 != found.photo_sha256:
            raise CatalogueError(f"That face is of another photo ({face.photo.file}) than {found.code}.")
        if face_hash(face or stored) != plan.face.sha256:
            raise CatalogueError(
                f"That plan was not made for {'the face given or beside it' if face else f'the face of {found.code}'}.",
                "Plan again if the face was changed since; else give the face file it was made for with --face.",
            )
        changed = face is not None and face_hash(face) != face_hash(stored)
        with writing(self._engine, self.where) as connection:
            key = self._id(connection, code)
            if face is not None and changed:
                record(connection, key, "measured", day or date.today(), {"face": face_to_document(face)})
            record(connection, key, "planned", day or date.today(), {"plan": plan_to_document(plan)})
        return self.entry(code)

    def record_result(
        self, code: str, bowls: Sequence[Mapping[str, float]], note: str = "", day: date | None = None
    ) -> Entry:
        """Record what came out: rim diameter and, where known, depth of each bowl in mm."""
        for bowl in bowls:
            if not all(math.isfinite(value) and value > 0 for value in bowl.values()):
                raise CatalogueError("A bowl's sizes must be more than 0.")
        return self._happen(code, "result", {"bowls": [dict(bowl) for bowl in bowls], "note": note}, day)

    def undo(self, code: str) -> Happening:
        """Take back the last thing recorded about an entry, and return it; undoing the adding withdraws the entry."""
        with writing(self._engine, self.where) as connection:
            last = take_back(connection, self._id(connection, code))
        if last is None:
            raise CatalogueError(f"There is nothing left to take back about {code}.")
        return happening(last)

    def _happen(self, code: str, kind: str, facts: Mapping[str, Any], day: date | None) -> Entry:
        _check_facts(facts)
        with writing(self._engine, self.where) as connection:
            record(connection, self._id(connection, code), kind, day or date.today(), facts)
        return self.entry(code)

    def _id(self, connection: sa.Connection, code: str) -> int:
        found = connection.execute(sa.select(entries.c.id).where(_is(code))).scalar()
        if found is None:
            raise self._unknown(code)
        return int(found)

    def _unknown(self, code: str) -> CatalogueError:
        return CatalogueError(f"No entry has the code {code!r}.", "'photonest catalogue list' shows the codes.")


def check_details(details: Details) -> None:
    """Raise CatalogueError for a code that can't go on a label, and for a value that no database keeps."""
    _check_facts(told(details))
    if details.code is not None:
        check_code(details.code)


def _conditions(wanted: Wanted) -> Iterator[sa.ColumnElement[bool]]:
    yield entries.c.withdrawn == wanted.withdrawn
    if wanted.codes:
        yield sa.func.upper(entries.c.code).in_([code.upper() for code in wanted.codes])
    if wanted.species:
        yield sa.or_(*(_holds(entries.c.species, name) for name in wanted.species))
    if wanted.states:
        yield entries.c.state.in_([check_state(state) for state in wanted.states])
    if wanted.place is not None:
        yield _holds(entries.c.place, wanted.place)
    if wanted.fits is not None:
        yield entries.c.clear_diameter >= wanted.fits
    if wanted.since is not None:
        yield entries.c.added_day >= wanted.since
    if wanted.until is not None:
        yield entries.c.added_day <= wanted.until
    searched = [entries.c.code, entries.c.species, entries.c.place, entries.c.note, entries.c.photo_file]
    for word in wanted.text.split():
        yield sa.or_(*(_holds(column, word) for column in searched))


def _holds(column: sa.Column[Any], text: str) -> sa.ColumnElement[bool]:
    return column.icontains(text, autoescape=True)


def _is(code: str) -> sa.ColumnElement[bool]:
    return entries.c.code == code.strip().upper()


def _column(connection: sa.Connection, query: sa.Select[Any]) -> Sequence[Any]:
    return connection.execute(query).scalars().all()


def _taken(code: str) -> CatalogueError:
    return CatalogueError(f"The code {code} is taken.", "Give another, or none: one will be made.")


def _printable(name: str) -> str:
    """Return a file's name with bytes that are no text replaced: neither JSON nor a database takes them."""
    return name.encode("utf-8", "replace").decode("utf-8")


def _check_facts(facts: Mapping[str, Any]) -> None:
    """Raise CatalogueError for a value no database can keep, or one that makes no sense."""
    for name, value in facts.items():
        if isinstance(value, str):
            if "\x00" in value or value.encode("utf-8", "ignore").decode("utf-8") != value:
                raise CatalogueError(f"The {name} holds characters that are no text.")
        elif isinstance(value, float) and not (math.isfinite(value) and value > 0):
            raise CatalogueError(f"The {name} must be more than 0, not {value:g}.")
    if facts.get("state") is not None:
        check_state(facts["state"])
