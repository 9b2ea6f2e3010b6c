"""Back up everything to one file and bring it back, on either database.

The file is a zip: ``tables/NAME/00000.jsonl`` hold the rows of each table as JSON lines, ``files/`` the
photos and recordings, ``manifest.json`` the sizes and hashes of all. It carries over from SQLite to
PostgreSQL and back.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.orm import Session

from axlewright import __version__
from axlewright.errors import RecordError
from axlewright.records.archive import Archive, open_archive, write_archive
from axlewright.records.chain import canonical_json, read_time, utc_now, write_time
from axlewright.records.database import HEAD_REVISION
from axlewright.records.files import SHA256
from axlewright.records.models import Base, FileRow, JobRow, Moment
from axlewright.records.store import JobStore

KIND: Final = "axlewright backup"
VERSION: Final = 1
_ROWS: Final = 5_000


def backup(store: JobStore, path: Path, *, overwrite: bool = False) -> Path:
    """Write everything the store holds to one file, as it was at one moment.

    Parameters
    ----------
    store : JobStore
    path : Path
        File to write; its folder must exist.
    overwrite : bool
        Replace a file that is there.
    """
    facts = {"made_at": write_time(utc_now()), "revision": HEAD_REVISION, "axlewright": __version__}
    with store.sessions.reading() as session:
        if session.get_bind().dialect.name == "postgresql":
            session.connection(execution_options={"isolation_level": "REPEATABLE READ"})
        members = _members(store, session)
        write_archive(path, KIND, VERSION, facts, members, overwrite=overwrite)
    return path


def _members(store: JobStore, session: Session) -> Iterator[tuple[str, bytes]]:
    stored: list[tuple[str, str]] = []
    for table in Base.metadata.sorted_tables:
        query = sa.select(table).order_by(*table.primary_key.columns)
        rows = session.execute(query, execution_options={"yield_per": _ROWS})
        for part, chunk in enumerate(rows.partitions(_ROWS)):
            lines = [
                canonical_json({key: _plain(value) for key, value in row._mapping.items()}) for row in chunk
            ]
            yield f"tables/{table.name}/{part:05d}.jsonl", "\n".join(lines).encode("utf-8")
            if table.name == "files":
                stored += [(row.sha256, row.suffix) for row in chunk]
    for sha256, suffix in stored:
        yield f"files/{sha256}{suffix}", store.read_file(sha256)


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return write_time(value)
    if isinstance(value, date):
        return value.isoformat()
    return value


def restore(store: JobStore, path: Path, *, overwrite: bool = False) -> int:
    """Bring a backup into the store and return the number of jobs.

    It happens as a whole or not at all: a damaged file changes nothing.

    Parameters
    ----------
    overwrite : bool
        Throw away what the store holds; otherwise a store that holds anything is an error.

    Raises
    ------
    RecordError
        The store is not empty, or the file is no whole backup.
    """
    with open_archive(path, KIND, VERSION) as archive:
        if archive.manifest.get("revision") != HEAD_REVISION:
            raise RecordError(
                f"the backup has tables {archive.manifest.get('revision')}, this axlewright {HEAD_REVISION}",
                where=str(path),
                fix="restore it with the axlewright that made it, then update",
            )
        known = tuple(f"tables/{table.name}/" for table in Base.metadata.sorted_tables)
        for name in archive.names():
            if not name.startswith((*known, "files/")):
                raise RecordError(
                    f"'{name}' is no part of a backup", where=str(path), fix="choose another file"
                )
        for name in archive.names("files/"):
            sha256, dot, suffix = name.removeprefix("files/").partition(".")
            data = archive.read(name)
            if not SHA256.fullmatch(sha256) or store.files.write(data, dot + suffix).sha256 != sha256:
                raise RecordError(f"'{name}' is not what its name says", where=str(path))
        with store.sessions.writing() as session:
            _empty(session, store.place, overwrite=overwrite)
            for table in Base.metadata.sorted_tables:
                for name in archive.names(f"tables/{table.name}/"):
                    if lines := _rows(archive, name, table):
                        session.execute(sa.insert(table), lines)
            _set_counters(session)
            listed = {
                f"files/{row.sha256}{row.suffix}" for row in session.execute(sa.select(FileRow.__table__))
            }
            if listed != set(archive.names("files/")):
                raise RecordError("photos or recordings are missing", where=str(path), fix="make it again")
            return session.scalar(sa.select(sa.func.count()).select_from(JobRow)) or 0


def _empty(session: Session, place: str, *, overwrite: bool) -> None:
    tables = list(reversed(Base.metadata.sorted_tables))
    if session.get_bind().dialect.name == "postgresql":  # nobody may write in between
        session.execute(sa.text(f"LOCK TABLE {', '.join(t.name for t in tables)} IN EXCLUSIVE MODE"))
    for table in tables:
        if session.scalar(sa.select(sa.func.count()).select_from(table)) and not overwrite:
            raise RecordError(
                "the records here would be overwritten",
                where=place,
                fix="restore into an empty folder, or say that they may be overwritten",
            )
    for table in tables:
        session.execute(sa.delete(table))


def _rows(archive: Archive, name: str, table: sa.Table) -> Sequence[dict[str, Any]]:
    readers: dict[str, Callable[[str], Any]] = {}
    for column in table.columns:
        if isinstance(column.type, Moment):
            readers[column.name] = read_time
        elif isinstance(column.type, sa.Date):
            readers[column.name] = date.fromisoformat
    names = {column.name for column in table.columns}
    rows = []
    for line in archive.read(name).decode("utf-8").split("\n"):
        row = json.loads(line) if line else None
        if row is None:
            continue
        if set(row) != names:
            raise RecordError(f"'{name}' has other columns", where=archive.where, fix="make the backup again")
        for key, read in readers.items():
            row[key] = None if row[key] is None else read(row[key])
        rows.append(row)
    return rows


def _set_counters(session: Session) -> None:
    """Let PostgreSQL go on counting after the restored numbers; SQLite does so by itself."""
    if session.get_bind().dialect.name != "postgresql":
        return
    for table in Base.metadata.sorted_tables:
        key = next(iter(table.primary_key.columns))
        if isinstance(key.type, sa.Integer):
            session.execute(
                sa.text(
                    f"SELECT setval(pg_get_serial_sequence('{table.name}', '{key.name}'), "
                    f"coalesce((SELECT max({key.name}) FROM {table.name}), 0) + 1, false)"
                )
            )
