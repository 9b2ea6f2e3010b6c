"""Stores to test on."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from axlewright.records import JobStore, open_store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[JobStore]:
    with open_store(tmp_path / "records") as opened:
        yield opened
