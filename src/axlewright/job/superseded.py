"""Readings that no longer count: shown struck out, with who replaced them or took them back, when and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from axlewright.language import eager as _
from axlewright.steps.clock import zoned_time
from axlewright.steps.result import Reading, kept_readings

if TYPE_CHECKING:
    from axlewright.records import Entry


@dataclass(frozen=True, slots=True)
class Superseded:
    """One reading that no longer counts.

    Attributes
    ----------
    seq : int
        Of the reading.
    by_seq, by_who, by_at : int, str, datetime
        The entry that replaced it or took it back.
    corrected : bool
        Whether another reading took its place; else it was taken back.
    reason : str
        As written; empty where none was given.
    """

    seq: int
    who: str
    at: datetime
    readings: tuple[Reading, ...]
    by_seq: int
    by_who: str
    by_at: datetime
    corrected: bool
    reason: str

    @property
    def values(self) -> str:
        """What was read, in one line."""
        parts = (f"{one.name} {one.value} {one.unit}".strip() for one in self.readings)
        return "; ".join(part for part in parts if part)

    @property
    def fate(self) -> str:
        """Who replaced it or took it back, when and why, as a sentence."""
        words = (
            _("Entry {seq} by {who}, {when}: replaced by entry {by_seq}, {by_who}, {by_when}.")
            if self.corrected
            else _("Entry {seq} by {who}, {when}: taken back by {by_who}, {by_when} (entry {by_seq}).")
        ).format(
            seq=self.seq,
            who=self.who,
            when=zoned_time(self.at),
            by_seq=self.by_seq,
            by_who=self.by_who,
            by_when=zoned_time(self.by_at),
        )
        why = _("Reason: {reason}").format(reason=self.reason or _("no reason given"))
        return f"{words} {why}"


def superseded_readings(entries: Sequence[Entry], step: str) -> tuple[Superseded, ...]:
    """Return the readings of a step that no longer count, oldest first.

    Parameters
    ----------
    entries : sequence of Entry
        All entries of a job.
    """
    replaced_by = {e.supersedes: e for e in entries if e.supersedes is not None}
    out = []
    for entry in entries:
        by = replaced_by.get(entry.seq)
        if by is None or entry.kind != "reading" or entry.step != step:
            continue
        corrected = by.kind == "reading"
        if corrected:
            reason = str(by.payload.get("note", ""))
        else:  # in older records the reason of a reading taken back stands only in the note's sentence
            reason = str(by.payload.get("reason") or by.payload.get("text", ""))
        out.append(
            Superseded(
                entry.seq,
                entry.who,
                entry.at,
                kept_readings(entry.payload),
                by.seq,
                by.who,
                by.at,
                corrected,
                reason.strip(),
            )
        )
    return tuple(out)
