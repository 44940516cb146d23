"""Each test of the store runs on a SQLite file and on a real PostgreSQL server."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from photonest.catalogue.store import Catalogue
from tests.catalogue.servers import database_on, postgres

Opener = Callable[[], Catalogue]


@pytest.fixture(scope="session")
def server() -> Iterator[str]:
    with postgres() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def opener(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Opener]:
    """Give a function that opens one and the same catalogue, as another program would."""
    opened: list[Catalogue] = []

    def open_at(where: str) -> Opener:
        def open_it() -> Catalogue:
            opened.append(Catalogue(where, tmp_path / "photos", make=True))
            return opened[-1]

        return open_it

    try:
        if request.param == "sqlite":
            yield open_at(str(tmp_path / "yard.sqlite"))
        else:
            with database_on(request.getfixturevalue("server"), f"yard_{uuid.uuid4().hex}") as url:
                yield open_at(url)
                for catalogue in opened:
                    catalogue.close()
    finally:
        for catalogue in opened:
            catalogue.close()


@pytest.fixture
def catalogue(opener: Opener) -> Catalogue:
    return opener()
