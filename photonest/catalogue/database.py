"""Opening the database: one SQLite file by default, any server by its URL; its shape brought up to date on the way."""

from __future__ import annotations

import contextlib
import sqlite3
import unicodedata
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy import event as listen
from sqlalchemy import exc

from photonest.catalogue.tables import metadata
from photonest.model import CatalogueError

NEWEST = "0001"
WAIT_SECONDS = 60
_LOCK = 7_203_114  # any number: who changes the shape of a server's database holds it


def engine_for(where: str) -> sa.Engine:
    """Return the engine of a SQLite file's path or of a database URL."""
    if "://" not in where:
        return _sqlite(Path(where))
    try:
        url = sa.make_url(where)
    except exc.ArgumentError as error:
        raise CatalogueError(f"{where!r} is not a database's URL.", "Write postgresql://NAME@HOST/DATABASE.") from error
    if url.get_backend_name() == "sqlite":
        raise CatalogueError(f"{where!r} names a file by a URL.", "Give the SQLite file by its path alone.")
    if url.drivername in ("postgresql", "postgres"):
        url = url.set(drivername="postgresql+psycopg")
    try:
        return sa.create_engine(url)
    except (exc.NoSuchModuleError, ModuleNotFoundError) as error:
        ours = url.drivername.startswith("postgresql")
        raise CatalogueError(
            f"Databases of the kind {url.drivername} can't be used: {error}.",
            "Install photonest[postgres]." if ours else "Give a SQLite file, or postgresql://NAME@HOST/DATABASE.",
        ) from error


def _sqlite(path: Path) -> sa.Engine:
    if not path.parent.is_dir():
        raise CatalogueError(f"The folder {path.parent} does not exist.", "Make it, or give another file.")
    engine = sa.create_engine(sa.URL.create("sqlite", database=str(path)), connect_args={"timeout": WAIT_SECONDS})

    @listen.listens_for(engine, "connect")
    def set_up(connection: Any, _record: Any) -> None:
        # Python's own transaction handling would begin too late for two writers; SQLAlchemy begins instead.
        connection.isolation_level = None
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = FULL")
        connection.create_function("lower", 1, _lower, deterministic=True)

    @listen.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        writing = connection.get_execution_options().get("writing", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")

    return engine


def _lower(text: object) -> object:
    """Return a text in small letters, as SQLite itself can't do for other than English ones."""
    return unicodedata.normalize("NFC", text).lower() if isinstance(text, str) else text


@contextlib.contextmanager
def plain_errors(where: str) -> Iterator[None]:
    """Turn what a database says into a CatalogueError that tells what to do."""
    try:
        yield
    except (exc.SQLAlchemyError, sqlite3.Error) as error:
        cause = str(getattr(error, "orig", None) or error).strip()
        raise CatalogueError(f"The catalogue {where} can't be used: {cause}.", _advice(cause)) from error


def _advice(cause: str) -> str:
    advice = {
        "full": "Make room on the disk; nothing that was confirmed is lost.",
        "readonly": "Give yourself the right to write to the file and its folder.",
        "not a database": "Give the right file: this one was not made by photonest.",
        "malformed": "The file is damaged: restore the newest backup.",
        "locked": "Another program is writing to it: try again.",
        "unable to open": "Check the name and the folder.",
        "connection": "Check that the server runs and the URL is right.",
    }
    return next((text for sign, text in advice.items() if sign in cause), "")


@contextlib.contextmanager
def reading(engine: sa.Engine, where: str) -> Iterator[sa.Connection]:
    """Give a connection to read with."""
    with plain_errors(where), engine.connect() as connection, connection.begin():
        yield connection


@contextlib.contextmanager
def writing(engine: sa.Engine, where: str) -> Iterator[sa.Connection]:
    """Give a connection to write with: all or nothing is kept, and one writer waits for another."""
    with plain_errors(where), engine.connect().execution_options(writing=True) as connection, connection.begin():
        yield connection


def prepare(engine: sa.Engine, where: str, *, make: bool) -> None:
    """Bring the database to the newest shape.

    Raises
    ------
    CatalogueError
        If it was written by a newer photonest, holds something else, or is not there and should not be made.
    """
    if engine.dialect.name == "sqlite" and not make and not Path(str(engine.url.database)).exists():
        raise CatalogueError(f"There is no catalogue {where}.", "Begin one by adding a photo: catalogue add PHOTO.")
    with reading(engine, where) as connection:
        found = _version(connection, where)
    if found == NEWEST:
        return
    with writing(engine, where) as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(sa.select(sa.func.pg_advisory_xact_lock(_LOCK)))
        if _version(connection, where) != NEWEST:  # somebody else may have been faster
            _upgrade(connection)


def _version(connection: sa.Connection, where: str) -> str | None:
    names = set(sa.inspect(connection).get_table_names())
    if "alembic_version" not in names:
        if names:
            raise CatalogueError(
                f"The database {where} holds something else than a catalogue ({', '.join(sorted(names)[:3])} ...).",
                "Give another file or URL.",
            )
        return None
    version = connection.execute(sa.text("SELECT version_num FROM alembic_version")).scalar()
    if names & set(metadata.tables) and version is not None and version > NEWEST:
        raise CatalogueError(
            f"The catalogue {where} was written by a newer photonest (shape {version}; this one knows {NEWEST}).",
            "Update photonest.",
        )
    return None if version is None else str(version)


def _upgrade(connection: sa.Connection) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).with_name("migrations")).replace("%", "%%"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
