"""Back up everything to one file and bring it back, on either database.

The file is a zip: ``tables/NAME/00000.jsonl`` hold the rows of each table as JSON lines, ``files/`` the
photos and recordings, ``manifest.json`` the sizes and hashes of all. It carries over from SQLite to
PostgreSQL and back.

A backup of an older revision is put into a throw-away database with the tables of that time, which is then
migrated like any other database, so that there is one way from the old form to the new one.
"""

from __future__ import annotations

import json
import math
import tempfile
from collections.abc import Callable, Iterator, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.orm import Session

from axlewright import __version__
from axlewright.errors import RecordError
from axlewright.language import Text, _
from axlewright.records import journal
from axlewright.records.archive import Archive, open_archive, write_archive
from axlewright.records.chain import canonical_json, read_time, sha256_hex, utc_now, write_time
from axlewright.records.database import HEAD_REVISION, MIGRATING, alembic_config, known_revisions
from axlewright.records.files import SHA256
from axlewright.records.models import Base, DesignTextRow, FileRow, JobRow, Moment, PersonRow
from axlewright.records.people import PIN_HASH
from axlewright.records.store import JobStore
from axlewright.records.types import ROLES


def row_line(row: sa.Row[Any]) -> str:
    """Return one row as a JSON line."""
    return canonical_json({key: _plain(value) for key, value in row._mapping.items()})


def _plain(value: Any) -> Any:
    if isinstance(value, datetime):
        return write_time(value)
    if isinstance(value, date):
        return value.isoformat()
    return value


def table_rows(archive: Archive, name: str, table: sa.Table) -> Sequence[dict[str, Any]]:
    """Return the rows in one member of a backup, each value checked against its column.

    Parameters
    ----------
    archive : Archive
    name : str
        Name of the member.
    table : Table
        The table as it was in the backup's revision.

    Raises
    ------
    RecordError
        Other columns, or a value its column cannot hold.
    """
    readers: dict[str, Callable[[str], Any]] = {}
    for column in table.columns:
        if isinstance(column.type, Moment):
            readers[column.name] = read_time
        elif isinstance(column.type, sa.Date):
            readers[column.name] = date.fromisoformat
    names = {column.name for column in table.columns}
    again: dict[str, Text] = {"where": archive.where, "fix": _("make the backup again")}
    rows = []
    try:
        lines = archive.read(name).decode("utf-8").split("\n")
        for number, line in enumerate(lines, start=1):
            if not line:
                continue
            row = json.loads(line)
            if not isinstance(row, dict) or set(row) != names:
                raise RecordError(_("'{name}' has other columns").format(name=name), **again)
            for column in table.columns:
                if not _fits(column, row[column.name]):
                    raise RecordError(
                        _("'{name}' line {number} has no good {name2}").format(
                            name=name, number=number, name2=column.name
                        ),
                        **again,
                    )
            for key, read in readers.items():
                row[key] = None if row[key] is None else read(row[key])
            rows.append(row)
    except (ValueError, RecursionError) as problem:
        if isinstance(problem, RecordError) and problem.where == archive.where:
            raise
        raise RecordError(_("'{name}' cannot be read").format(name=name), **again) from None
    return rows


def _fits(column: sa.Column[Any], value: Any) -> bool:
    """Return whether the JSON value is one this column may hold; SQLite itself would take any."""
    if value is None:
        return bool(column.nullable) and not column.primary_key
    if isinstance(column.type, sa.Boolean):
        return isinstance(value, bool)
    if isinstance(column.type, sa.Integer):
        return isinstance(value, int) and not isinstance(value, bool) and abs(value) < 2**31
    if isinstance(column.type, sa.Float):
        return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)
    longest = getattr(column.type, "length", None)
    return isinstance(value, str) and "\0" not in value and (longest is None or len(value) <= longest)


_ROWS: Final = 5_000

Rows = Sequence[dict[str, Any]]


def all_rows(archive: Archive) -> Iterator[tuple[sa.Table, Rows]]:
    """Yield the rows of a backup by today's tables, in an order in which they can be inserted.

    Raises
    ------
    RecordError
        A newer axlewright made the backup, or a row in it is not as it should be.
    """
    made_with = archive.manifest.get("revision")
    if made_with == HEAD_REVISION:
        for table in Base.metadata.sorted_tables:
            for name in archive.names(f"tables/{table.name}/"):
                if rows := table_rows(archive, name, table):
                    yield table, rows
        return
    if not isinstance(made_with, str) or made_with not in known_revisions():
        raise RecordError(
            _("a newer axlewright made this backup (tables {theirs}, this one knows {ours})").format(
                theirs=str(made_with)[:40], ours=HEAD_REVISION
            ),
            where=archive.where,
            fix=_("update axlewright on this machine"),
        )
    with tempfile.TemporaryDirectory(prefix="axlewright-restore-") as folder:
        engine = sa.create_engine(f"sqlite:///{Path(folder) / 'older.sqlite3'}")
        try:
            with engine.begin() as connection:
                yield from _upgraded(archive, connection, made_with)
        finally:
            engine.dispose()


def _upgraded(archive: Archive, connection: sa.Connection, made_with: str) -> Iterator[tuple[sa.Table, Rows]]:
    from alembic import command

    config = alembic_config()
    config.attributes["connection"] = connection
    with MIGRATING:
        command.upgrade(config, made_with)
    then = sa.MetaData()
    then.reflect(connection)
    for table in then.sorted_tables:
        for name in archive.names(f"tables/{table.name}/"):
            if rows := table_rows(archive, name, table):
                connection.execute(sa.insert(table), rows)
    with MIGRATING:
        command.upgrade(config, "head")
    for table in Base.metadata.sorted_tables:
        found = connection.execute(sa.select(table), execution_options={"yield_per": _ROWS})
        for chunk in found.partitions(_ROWS):
            yield table, [dict(row._mapping) for row in chunk]


KIND: Final = "axlewright backup"
VERSION: Final = 1


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
            lines = "\n".join(row_line(row) for row in chunk)
            yield f"tables/{table.name}/{part:05d}.jsonl", lines.encode("utf-8")
            if table.name == "files":
                stored += [(row.sha256, row.suffix) for row in chunk]
    for sha256, suffix in stored:
        yield f"files/{sha256}{suffix}", store.read_file(sha256)


def restore(store: JobStore, path: Path, *, overwrite: bool = False) -> int:
    """Bring a backup into the store and return the number of jobs.

    It happens as a whole or not at all: a damaged file changes nothing. A backup made by an older
    axlewright is brought up to date on the way.

    Parameters
    ----------
    overwrite : bool
        Throw away what the store holds; otherwise a store that holds anything is an error.

    Raises
    ------
    RecordError
        The store is not empty, the file is no whole backup or made by a newer axlewright, or a job in it was
        changed.
    """
    with open_archive(path, KIND, VERSION) as archive:
        known = tuple(f"tables/{table.name}/" for table in Base.metadata.sorted_tables)
        for name in archive.names():
            if not name.startswith((*known, "files/")):
                raise RecordError(
                    _("'{name}' is no part of a backup").format(name=name),
                    where=str(path),
                    fix=_("choose another file"),
                )
        for name in archive.names("files/"):
            if not SHA256.fullmatch(name.removeprefix("files/").partition(".")[0]):
                raise RecordError(_("'{name}' is not what its name says").format(name=name), where=str(path))
        with store.sessions.writing() as session:
            _empty(session, store.place, overwrite=overwrite)
            for table, rows in all_rows(archive):
                session.execute(sa.insert(table), rows)
            _set_counters(session)
            listed = {
                f"files/{row.sha256}{row.suffix}" for row in session.execute(sa.select(FileRow.__table__))
            }
            if listed != set(archive.names("files/")):
                raise RecordError(
                    _("photos or recordings are missing"), where=str(path), fix=_("make it again")
                )
            _check_jobs(session, str(path))
            _check_people(session, str(path))
            for name in archive.names("files/"):  # only now: what is refused leaves no file behind
                sha256, dot, suffix = name.removeprefix("files/").partition(".")
                if store.files.write(archive.read(name), dot + suffix).sha256 != sha256:
                    raise RecordError(
                        _("'{name}' is not what its name says").format(name=name), where=str(path)
                    )
            return session.scalar(sa.select(sa.func.count()).select_from(JobRow)) or 0


def _check_jobs(session: Session, where: str) -> None:
    """Check the chain of every job; whoever rewrites a whole chain is not found this way."""
    fix = _("restore another backup")
    designs = set()
    for text in session.scalars(sa.select(DesignTextRow)):
        if sha256_hex(text.text.encode("utf-8")) != text.sha256:
            raise RecordError(_("a design text was changed"), where=where, fix=fix)
        designs.add(text.sha256)
    files = set(session.scalars(sa.select(FileRow.sha256)))
    for row in session.scalars(sa.select(JobRow).order_by(JobRow.number)).all():
        try:
            entries = journal.entries_of(session, row)
            found = row.design_sha256 if row.design_sha256 in designs else None
            report = journal.check_chain(row, entries, found)
            lost = {sha256 for entry in entries for sha256 in entry.files} - files
        except RecordError as problem:
            raise RecordError(
                _("job {number} cannot be read ({what})").format(number=row.number, what=problem.what),
                where=where,
                fix=fix,
            ) from None
        except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
            raise RecordError(
                _("job {number} cannot be read").format(number=row.number), where=where, fix=fix
            ) from None
        if not report.holds:
            raise RecordError(
                _("job {number} does not hold: {why}").format(number=row.number, why=report.why),
                where=where,
                fix=fix,
            )
        if lost:
            raise RecordError(
                _("a file of job {number} is missing").format(number=row.number), where=where, fix=fix
            )


def _check_people(session: Session, where: str) -> None:
    for row in session.scalars(sa.select(PersonRow)):
        if row.role not in ROLES or not PIN_HASH.fullmatch(row.pin_hash):
            raise RecordError(
                _("the person '{name}' is not as it should be").format(name=row.name),
                where=where,
                fix=_("restore another backup"),
            )


def _empty(session: Session, place: str, *, overwrite: bool) -> None:
    tables = list(reversed(Base.metadata.sorted_tables))
    if session.get_bind().dialect.name == "postgresql":  # nobody may write in between
        session.execute(sa.text(f"LOCK TABLE {', '.join(t.name for t in tables)} IN EXCLUSIVE MODE"))
    for table in tables:
        if session.scalar(sa.select(sa.func.count()).select_from(table)) and not overwrite:
            raise RecordError(
                _("the records here would be overwritten"),
                where=place,
                fix=_("restore into an empty folder, or say that they may be overwritten"),
            )
    for table in tables:
        session.execute(sa.delete(table))


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
