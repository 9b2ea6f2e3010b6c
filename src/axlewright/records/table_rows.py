"""Rows of a table as JSON lines: written into a backup, read back with every value checked."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from datetime import date, datetime
from typing import Any

import sqlalchemy as sa

from axlewright.errors import RecordError
from axlewright.language import eager as _
from axlewright.records.archive import Archive
from axlewright.records.chain import canonical_json, read_time, write_time
from axlewright.records.models import Moment


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
    again = {"where": archive.where, "fix": _("make the backup again")}
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
