"""Stores to test on: SQLite in a folder, and a PostgreSQL server of the tests' own."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from pathlib import Path

import pytest
from postgresql_server import running_server, server_programs
from record_places import Place

from axlewright.records import JobStore

MUST_NOT_SKIP = "AXLEWRIGHT_TESTS_MUST_NOT_SKIP"


@pytest.fixture(scope="session")
def postgresql_address() -> Iterator[str]:
    """Give the address of a running server; without one skip, or fail where skipping is not allowed."""
    programs = server_programs()
    if programs is None:
        reason = "PostgreSQL is not installed"
        if os.environ.get(MUST_NOT_SKIP):
            pytest.fail(f"{reason}, and {MUST_NOT_SKIP} is set")
        pytest.skip(reason)
    with running_server(programs) as address:
        yield address


@pytest.fixture
def postgresql_database(postgresql_address: str) -> Iterator[str]:
    """Give the address of a new, empty database."""
    import psycopg

    name = f"t{uuid.uuid4().hex}"
    with psycopg.connect(postgresql_address, autocommit=True) as connection:
        connection.execute(f'CREATE DATABASE "{name}"')
    yield postgresql_address.rpartition("/")[0] + f"/{name}"
    with psycopg.connect(postgresql_address, autocommit=True) as connection:
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
