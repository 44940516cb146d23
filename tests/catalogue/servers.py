"""A real PostgreSQL server for tests: the one that PHOTONEST_TEST_POSTGRES names, or one started for this session."""

from __future__ import annotations

import contextlib
import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest


@contextlib.contextmanager
def postgres() -> Iterator[str]:
    """Give the URL of a running server's maintenance database; skip where there is none."""
    pytest.importorskip("psycopg")
    named = os.environ.get("PHOTONEST_TEST_POSTGRES")
    if named:
        yield named
        return
    programs = _programs()
    if programs is None:
        pytest.skip("no PostgreSQL server is installed")
    # The server refuses to run as root; Debian's package makes a user for it.
    user = "postgres" if os.geteuid() == 0 else None
    with tempfile.TemporaryDirectory(prefix="pg") as folder:
        if user is not None:
            shutil.chown(folder, user)

        def run(program: str, *words: str) -> None:
            log = Path(folder) / "log"
            command = [str(programs / program), "-D", f"{folder}/data", *words]
            done = subprocess.run(
                command, user=user, cwd=folder, capture_output=True, text=True, check=False, timeout=60
            )
            if done.returncode:
                pytest.skip(
                    f"PostgreSQL can't be started: {done.stderr[-300:]} {log.read_text() if log.exists() else ''}"
                )

        run("initdb", "-U", "yard", "--auth=trust", "--encoding=UTF8", "--no-sync", "--locale=C.UTF-8")
        run("pg_ctl", "-l", f"{folder}/log", "-o", f"-k {folder} -c listen_addresses= -c fsync=off", "-w", "start")
        try:
            yield f"postgresql://yard@/postgres?host={folder}"
        finally:
            run("pg_ctl", "-m", "immediate", "stop")


def _programs() -> Path | None:
    """Return the folder of the server's programs: newest of Debian's, or the one on the PATH."""
    debian = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: int(path.parent.name.split(".")[0]))
    found = shutil.which("initdb")
    if debian:
        return debian[-1]
    return Path(found).resolve().parent if found else None


@contextlib.contextmanager
def database_on(server: str, name: str) -> Iterator[str]:
    """Give the URL of a new, empty database on a server, and drop it at the end."""
    import sqlalchemy as sa

    url = sa.make_url(server).set(drivername="postgresql+psycopg")
    engine = sa.create_engine(url, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.exec_driver_sql(f'CREATE DATABASE "{name}"')
    try:
        yield url.set(drivername="postgresql", database=name).render_as_string(hide_password=False)
    finally:
        with engine.connect() as connection:
            connection.exec_driver_sql(f'DROP DATABASE "{name}" WITH (FORCE)')
        engine.dispose()
