"""Back up everything to one file and bring it back, on either database.

The file is a zip: ``tables/NAME/00000.jsonl`` hold the rows of each table as JSON lines, ``files/`` the
photos and recordings, ``manifest.json`` the sizes and hashes of all. It carries over from SQLite to
PostgreSQL and back.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final

import sqlalchemy as sa
from sqlalchemy.orm import Session

from axlewright import __version__
from axlewright.errors import RecordError
from axlewright.language import eager as _
from axlewright.records import journal
from axlewright.records.archive import open_archive, write_archive
from axlewright.records.chain import sha256_hex, utc_now, write_time
from axlewright.records.database import HEAD_REVISION
from axlewright.records.files import SHA256
from axlewright.records.models import Base, DesignTextRow, FileRow, JobRow, PersonRow
from axlewright.records.older import all_rows
from axlewright.records.people import PIN_HASH
from axlewright.records.store import JobStore
from axlewright.records.table_rows import row_line
from axlewright.records.types import ROLES

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
