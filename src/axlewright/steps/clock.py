"""Times as people read them: kept in UTC, shown in the local time of the machine that shows them."""

from __future__ import annotations

from datetime import datetime


def local_time(at: datetime) -> str:
    """Return a moment as local date and time to the minute.

    Parameters
    ----------
    at : datetime
        With time zone, as every time in the records.
    """
    return f"{at.astimezone():%Y-%m-%d %H:%M}"


def zoned_time(at: datetime) -> str:
    """Return a moment as `local_time` with the zone's offset from UTC, for paper that travels."""
    here = at.astimezone()
    offset = here.strftime("%z")
    return f"{here:%Y-%m-%d %H:%M} UTC" + (
        "" if offset in ("+0000", "-0000") else f"{offset[:3]}:{offset[3:]}"
    )
