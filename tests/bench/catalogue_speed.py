"""Time of the database for list, find and show among many entries: python -m tests.bench.catalogue_speed [URL]."""

from __future__ import annotations

import argparse
import json
import statistics
import tempfile
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from photonest.catalogue.entries import STATES, Details, Wanted
from photonest.catalogue.history import effect, told
from photonest.catalogue.store import Catalogue
from photonest.catalogue.tables import entry as entries
from photonest.catalogue.tables import event as events
from photonest.catalogue.tables import face as faces
from photonest.model import face_to_document
from tests.catalogue.pieces import face_of, photo

WOODS = ("black walnut", "white ash", "sugar maple", "black cherry", "American beech")
ROUNDS = 15


def fill(catalogue: Catalogue, count: int) -> None:
    """Write many entries with ten weighings each straight into the tables."""
    states, now = tuple(STATES), datetime.now(UTC)
    rows, documents, happened = [], [], []
    columns: dict[str, Any] = {}
    for number in range(count):
        document = face_to_document(face_of(photo(number), f"piece-{number}.jpg", clear=40.0 + number % 160))
        details = Details("slice", 60.0 + number % 120, species=WOODS[number % 5], place=f"shelf {number % 40}")
        facts = {**told(details), "file": f"piece-{number}.jpg", "face": document}
        day = date(2031, 1, 1) + timedelta(days=number % 700)
        if not columns:
            columns = effect("added", facts, day)
            columns.pop("face")
        own = {
            "id": number + 1,
            "code": f"P{number}",
            "photo_sha256": document["photo"]["sha256"],
            "photo_file": facts["file"],
            "clear_diameter": 2.0 * (40 + number % 160),
            "state": states[number % len(states)],
            "species": details.species,
            "place": details.place,
            "added_day": day,
        }
        rows.append({**columns, **own})
        documents.append({"entry_id": number + 1, "document": json.dumps(document)})
        for kind, what in [("added", facts), *(("weighed", {"grams": 2000.0 - i}) for i in range(10))]:
            happened.append({"entry_id": number + 1, "kind": kind, "day": day, "recorded_at": now, "facts": what})
    with catalogue._engine.connect().execution_options(writing=True) as connection, connection.begin():
        connection.execute(entries.insert(), rows)
        connection.execute(faces.insert(), documents)
        connection.execute(events.insert(), happened)


def timed(call: Callable[[], object]) -> tuple[float, float]:
    """Return the median time of a call in ms: by the clock, and of this program's own processor time."""
    clock, own = [], []
    for _ in range(ROUNDS):
        begun, used = time.perf_counter(), time.process_time()
        call()
        clock.append(1000 * (time.perf_counter() - begun))
        own.append(1000 * (time.process_time() - used))
    return statistics.median(clock), statistics.median(own)


def main() -> None:
    """Print a table of times: what the user waits for, the making of entries included."""
    parser = argparse.ArgumentParser()
    parser.add_argument("url", nargs="?")
    parser.add_argument("--count", type=int, default=10_000)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        catalogue = Catalogue(given.url or str(Path(folder) / "yard.sqlite"), Path(folder), make=True)
        fill(catalogue, given.count)
        calls: dict[str, Callable[[], object]] = {
            "open": lambda: Catalogue(given.url or str(Path(folder) / "yard.sqlite"), Path(folder)).close(),
            "list all": catalogue.find,
            "list the newest 200, count all": lambda: (catalogue.find(Wanted(limit=200)), catalogue.count()),
            "find by species and state": lambda: catalogue.find(Wanted(species=["walnut"], states=["drying"])),
            "find by place": lambda: catalogue.find(Wanted(place="shelf 7")),
            "find what fits": lambda: catalogue.find(Wanted(fits=390)),
            "find by words": lambda: catalogue.find(Wanted(text="walnut shelf piece-77")),
            "show": lambda: (catalogue.entry("P777"), catalogue.face("P777"), catalogue.history("P777")),
            "weigh": lambda: catalogue.weigh("P777", 1500.0),
        }
        print(f"{given.count} entries, {11 * given.count} events   clock ms   processor ms   (medians)")
        for name, call in calls.items():
            clock, own = timed(call)
            print(f"{name:<36} {clock:>8.1f} {own:>14.1f}")
        catalogue.close()


if __name__ == "__main__":
    main()
