"""A store and a job to work on."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from axlewright.job import start_job
from axlewright.records import Job, JobStore, open_store

EXAMPLES = Path(__file__).parents[2] / "examples"
TESTS = Path(__file__).parents[1]
# A job is read on paper and on the page too.
sys.path[:0] = [str(TESTS / "sheets"), str(TESTS / "web")]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[JobStore]:
    with open_store(tmp_path / "records") as opened:
        yield opened


@pytest.fixture
def job(store: JobStore) -> Job:
    return start_job(
        store,
        design_name="TY-222",
        vehicle="milk lorry, rear",
        complaint="whines on drive at 45 mph",
        who="bench one",
    )


@pytest.fixture
def photos() -> Path:
    return EXAMPLES / "photos"
