"""Canonical JSON, the hash chain of a job, and times written so that they sort.

The chain makes a later change visible, it does not prevent one: whoever can write to the database can
also rewrite the whole chain. The printed sheet carries the last link, so that paper and record can be
compared.

References
----------
FIPS 180-4 (2015), Secure Hash Standard: SHA-256.
RFC 8785 (2020), JSON Canonicalization Scheme: the idea of one spelling per value. The spelling here is
Python's: keys sorted by code point, no spaces, shortest round-trip floats, UTF-8, no NaN or infinity.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from axlewright.errors import RecordError
from axlewright.language import Text, _

MAX_PAYLOAD_BYTES = 1_000_000
"""Longer payloads belong into a file stored by its hash."""


def canonical_json(value: Any, *, where: Text = "payload") -> str:
    """Write `value` as JSON in its one spelling.

    Parameters
    ----------
    value : JSON value
        Objects with text keys, lists, text, finite numbers, booleans, None.
    where : Text
        Name used in the message.

    Raises
    ------
    RecordError
        When the value cannot be written as JSON, or its text is not valid Unicode.
    """
    try:
        text = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
        text.encode("utf-8")
    except (TypeError, ValueError, RecursionError) as problem:
        raise RecordError(
            _("this cannot be written as JSON ({problem})").format(problem=str(problem)),
            where=where,
            fix=_("use text, finite numbers, lists, true, false and objects with text keys"),
        ) from None
    return text


def sha256_hex(data: bytes) -> str:
    """Return the SHA-256 of `data` as 64 hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def first_link(job_uid: str) -> str:
    """Return what the first entry of a job hangs on: the hash of the job's own identifier."""
    return sha256_hex(f"axlewright job {job_uid}".encode())


def entry_hash(previous: str, content: Mapping[str, Any]) -> str:
    """Return the hash of one entry: SHA-256 of the previous hash and the canonical JSON of its content.

    Parameters
    ----------
    previous : str
        Hash of the entry before, or `first_link`.
    content : mapping
        Everything the entry says, see `axlewright.records.types.Entry.content`.
    """
    return sha256_hex((previous + canonical_json(content, where=_("entry"))).encode("utf-8"))


def utc_now() -> datetime:
    """Return the present time in UTC with microseconds."""
    return datetime.now(UTC)


def write_time(moment: datetime) -> str:
    """Write a moment as UTC with microseconds; such texts sort as the moments do.

    Examples
    --------
    >>> write_time(datetime(2026, 3, 1, 8, 5, tzinfo=UTC))
    '2026-03-01T08:05:00.000000Z'
    """
    if moment.tzinfo is None:
        raise RecordError(
            _("the time {moment} has no time zone").format(moment=moment.isoformat()),
            where=_("time"),
            fix=_("give a time with its zone, such as UTC"),
        )
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def read_time(text: str) -> datetime:
    """Read a time written by `write_time`."""
    try:
        return datetime.strptime(text, "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=UTC)
    except ValueError:
        raise RecordError(
            _("'{text}' is not a time").format(text=text),
            where=_("time"),
            fix=_("it should look like 2026-03-01T08:05:00.000000Z"),
        ) from None
