"""Stores to test on: SQLite in a folder, and a PostgreSQL server of the tests' own."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import tempfile
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
from record_places import Place

from axlewright.records import JobStore

MUST_NOT_SKIP = "AXLEWRIGHT_TESTS_MUST_NOT_SKIP"


def _server_programs() -> Path | None:
    on_path = shutil.which("initdb")
    if on_path:
        return Path(on_path).parent
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"), key=lambda one: int(one.parts[-3]))
    return found[-1].parent if found else None


def _missing(reason: str) -> None:
    if os.environ.get(MUST_NOT_SKIP):
        pytest.fail(f"{reason}, and {MUST_NOT_SKIP} is set")
    pytest.skip(reason)


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[str]:
    """Start a PostgreSQL server in a temporary folder and give the address of its first database."""
    programs = _server_programs()
    if programs is None:
        _missing("PostgreSQL is not installed")
    assert programs is not None
    folder = Path(tempfile.mkdtemp(prefix="axlewright-pg-"))
    before: list[str] = []
    if hasattr(os, "geteuid") and os.geteuid() == 0:  # the server refuses to run as root
        shutil.chown(folder, "postgres")
        before = ["setpriv", "--reuid=postgres", "--regid=postgres", "--clear-groups"]
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    data = folder / "data"

    def run(*command: str) -> None:
        done = subprocess.run([*before, *command], capture_output=True, text=True, cwd=folder, timeout=120)
        assert done.returncode == 0, done.stdout + done.stderr

    options = f"-c listen_addresses=127.0.0.1 -c port={port} -c unix_socket_directories= -c fsync=off"
    log = folder / "log"
    try:
        run(str(programs / "initdb"), "-D", str(data), "-U", "bench", "-A", "trust", "-E", "UTF8")
        run(str(programs / "pg_ctl"), "-D", str(data), "-o", options, "-l", str(log), "-w", "start")
        try:
            yield f"postgresql://bench@127.0.0.1:{port}/postgres"
        finally:
            run(str(programs / "pg_ctl"), "-D", str(data), "-m", "immediate", "-w", "stop")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture
def postgresql_database(postgresql_server: str) -> Iterator[str]:
    """Give the address of a new, empty database."""
    import psycopg

    name = f"t{uuid.uuid4().hex}"
    with psycopg.connect(postgresql_server, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
    yield postgresql_server.rpartition("/")[0] + f"/{name}"
    with psycopg.connect(postgresql_server, autocommit=True) as connection:
        connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Place:
    """Give an empty place on each of the two databases."""
    if request.param == "sqlite":
        return Place(tmp_path / "records", None)
    return Place(tmp_path / "records", request.getfixturevalue("postgresql_database"))


@pytest.fixture
def store(place: Place) -> Iterator[JobStore]:
    """Give an empty store on each of the two databases."""
    with place.open() as opened:
        yield opened
