"""Where records can be kept, for tests."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from axlewright.records import JobStore, open_store


@dataclass(frozen=True)
class Place:
    """A place where records can be kept: a folder and, for PostgreSQL, an address."""

    folder: Path
    database: str | None

    def open(self) -> JobStore:
        return open_store(self.folder, database=self.database)
