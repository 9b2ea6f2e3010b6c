"""Rows of a backup in today's form, whatever revision of the tables it was made with.

A backup of an older revision is put into a throw-away database with the tables of that time, which is then
migrated like any other database, so that there is one way from the old form to the new one.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa

from axlewright.errors import RecordError
from axlewright.language import eager as _
from axlewright.records.archive import Archive
from axlewright.records.database import HEAD_REVISION, MIGRATING, alembic_config, known_revisions
from axlewright.records.models import Base
from axlewright.records.table_rows import table_rows

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
