"""What events make of an entry: its columns follow from those that still hold."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from typing import Any

import sqlalchemy as sa

from photonest.catalogue.entries import EVENT_KINDS, Details, Happening
from photonest.catalogue.tables import entry as entries
from photonest.catalogue.tables import event as events
from photonest.catalogue.tables import face as faces
from photonest.model import CatalogueError, Face, dump_json, face_from_document, face_to_document

NOTHING: Mapping[str, Any] = {"weight": None, "weight_day": None, "withdrawn": True}


def told(details: Details) -> dict[str, Any]:
    """Return what a person told, as an event holds it."""
    return {
        "kind": details.kind,
        "thickness": details.thickness,
        "length": details.length,
        "species": details.species,
        "place": details.place,
        "state": details.state,
        "note": details.note,
    }


def effect(kind: str, facts: Mapping[str, Any], day: date) -> dict[str, Any]:
    """Return which columns of its entry an event sets.

    Examples
    --------
    >>> effect("moved", {"place": "loft"}, date(2031, 4, 2))
    {'place': 'loft'}
    """
    if kind == "added":
        said = {name: facts.get(name) for name in told(Details())}
        return {**said, **_measured(facts["face"]), "withdrawn": False, "state_day": day, "added_day": day}
    if kind == "measured":
        return _measured(facts["face"])
    if kind == "weighed":
        return {"weight": facts["grams"], "weight_day": day}
    if kind == "moved":
        return {"place": facts["place"]}
    if kind == "state":
        return {"state": facts["state"], "state_day": day}
    return dict(facts) if kind == "described" else {}


def _measured(document: Mapping[str, Any]) -> dict[str, Any]:
    face = face_from_document(dict(document))
    size = face.size
    return {
        "face": json.dumps(document, ensure_ascii=False),
        "max_diameter": size.max_diameter,
        "min_diameter": size.min_diameter,
        "round_diameter": 2 * size.inscribed_circle.radius,
        "clear_diameter": None if size.clear_circle is None else 2 * size.clear_circle.radius,
        "warnings": len(face.warnings),
    }


def record(connection: sa.Connection, key: int, kind: str, day: date, facts: Mapping[str, Any]) -> None:
    """Write an event down, and make its entry follow."""
    values = {"entry_id": key, "kind": kind, "day": day, "recorded_at": datetime.now(UTC), "facts": dict(facts)}
    connection.execute(events.insert().values(**values))
    _follow(connection, key)


def take_back(connection: sa.Connection, key: int) -> sa.RowMapping | None:
    """Mark the last event that still holds as undone, make its entry follow, and return it."""
    live = [row for row in history(connection, key) if row["undone_at"] is None]
    if not live:
        return None
    last = live[-1]
    connection.execute(events.update().where(events.c.id == last["id"]).values(undone_at=datetime.now(UTC)))
    _follow(connection, key)
    return last


def _follow(connection: sa.Connection, key: int) -> None:
    columns = replayed([happening(row) for row in history(connection, key)])
    document = columns.pop("face")
    connection.execute(entries.update().where(entries.c.id == key).values(**columns))
    connection.execute(faces.update().where(faces.c.entry_id == key).values(document=document))


def insert(connection: sa.Connection, code: str, sha256: str, file: str, happened: Sequence[Happening]) -> None:
    """Write a new entry with its history so far."""
    columns = replayed(happened)
    document = columns.pop("face")
    values = {"code": code, "photo_sha256": sha256, "photo_file": file, **columns}
    key = connection.execute(entries.insert().values(**values)).inserted_primary_key
    assert key is not None
    connection.execute(faces.insert().values(entry_id=key[0], document=document))
    written = [{**vars(event), "entry_id": key[0], "facts": dict(event.facts)} for event in happened]
    connection.execute(events.insert(), written)


def replayed(happened: Sequence[Happening]) -> dict[str, Any]:
    """Return the columns of an entry that went through a history.

    Raises
    ------
    CatalogueError
        If it does not begin with adding the entry, or an event is none of those known.
    """
    if not happened or happened[0].kind != "added":
        raise CatalogueError("A history must begin with adding the piece.")
    columns = {**effect("added", happened[0].facts, happened[0].day), **NOTHING}
    # What happened on a later day counts, though it may have been recorded before; adding comes before all.
    for event in sorted(happened, key=lambda event: (event.kind != "added", event.day)):
        if event.kind not in EVENT_KINDS:
            raise CatalogueError(f"{event.kind!r} is not something that happens to a piece.", "Update photonest.")
        if event.undone_at is None:
            columns |= effect(event.kind, event.facts, event.day)
    return columns


def history(connection: sa.Connection, key: int) -> Sequence[sa.RowMapping]:
    """Return all events of an entry in the order they were recorded."""
    return connection.execute(events.select().where(events.c.entry_id == key).order_by(events.c.id)).mappings().all()


def happening(row: sa.RowMapping) -> Happening:
    """Return an event as it is given out."""
    return Happening(row["kind"], row["day"], _aware(row["recorded_at"]), row["facts"], _aware(row["undone_at"]))


def _aware(moment: Any) -> Any:
    """Return a moment with its time zone: SQLite keeps none."""
    return moment.replace(tzinfo=UTC) if moment is not None and moment.tzinfo is None else moment


def face_hash(face: Face) -> str:
    """Return the SHA-256 of a face's file, as a plan names it."""
    return hashlib.sha256(dump_json(face_to_document(face)).encode()).hexdigest()
