"""A job to enter steps of: by the library, on the page, from the command line."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

sys.path += [str(Path(__file__).parents[1] / room) for room in ("web", "sheets")]

from web_visitor import Visitor, served

from axlewright.job import start_job
from axlewright.records import Job, JobStore, open_store
from axlewright.web import create_app


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """The folder of the records."""
    return tmp_path / "records"


@pytest.fixture
def store(home: Path) -> Iterator[JobStore]:
    with open_store(home) as opened:
        yield opened


@pytest.fixture
def job(store: JobStore) -> Job:
    return start_job(store, design_name="TY-222", vehicle="milk lorry, rear", complaint="whines", who="b")


@pytest.fixture
def visitor(home: Path, job: Job) -> Iterator[Visitor]:
    """Somebody at the page of the same records."""
    with (
        served(create_app(home)) as base,
        httpx.Client(base_url=base, follow_redirects=True, timeout=600, verify=False) as client,
    ):
        yield Visitor(client)
