"""Append entries to a job, read them back, and check the chain; all on an open session."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any, cast

from sqlalchemy import select
from sqlalchemy.orm import Session

from axlewright.errors import MissingError, RecordError
from axlewright.language import Text, _, encode, joined, n_, plural
from axlewright.records.chain import MAX_PAYLOAD_BYTES, canonical_json, first_link, sha256_hex, utc_now
from axlewright.records.database import insert_once
from axlewright.records.models import DesignTextRow, EntryRow, FileRow, InstrumentRow, JobRow
from axlewright.records.types import (
    JOB_STATES,
    VERDICTS,
    ChainReport,
    Entry,
    EntryKind,
    Job,
    JobConflictError,
    JobState,
)

HEADER_WORDS = {
    "design_name": n_("design"),
    "design_sha256": n_("design text"),
    "vehicle": n_("vehicle"),
    "complaint": n_("complaint"),
    "set_number": n_("set number"),
    "reference": n_("shop order"),
}
HEADER_FIELDS = tuple(HEADER_WORDS)
_FOUND_IN_SEARCH = ("text", "note", "reason", "remark")


def folded(text: str) -> str:
    """Return the text without accents and case, for searching.

    Examples
    --------
    >>> folded("Kübel-LKW Ørsted")
    'kubel-lkw ørsted'
    """
    split = unicodedata.normalize("NFKD", text.replace("\0", " "))
    return "".join(sign for sign in split if not unicodedata.combining(sign)).casefold()


def job_of(row: JobRow) -> Job:
    """Return the plain record of a row."""
    return Job(
        number=row.number,
        uid=row.uid,
        design_name=row.design_name,
        vehicle=row.vehicle,
        complaint=row.complaint,
        set_number=row.set_number,
        reference=row.reference,
        state=cast(JobState, row.state),
        head=row.head,
        entry_count=row.entry_count,
        created_at=row.created_at,
        changed_at=row.changed_at,
    )


def entry_of(row: EntryRow, job_uid: str) -> Entry:
    """Return the plain record of a row."""
    return Entry(
        job_uid=job_uid,
        seq=row.seq,
        kind=cast(EntryKind, row.kind),
        step=row.step,
        payload=json.loads(row.payload),
        who=row.who,
        at=row.at,
        instrument=row.instrument,
        calibrated_on=row.calibrated_on,
        files=tuple(json.loads(row.files)),
        idempotency_key=row.idempotency_key or "",
        supersedes=row.supersedes,
        previous=row.previous,
        hash=row.hash,
    )


def row_of(entry: Entry, job_number: int) -> EntryRow:
    """Return the row of a finished entry."""
    return EntryRow(
        job_number=job_number,
        seq=entry.seq,
        kind=entry.kind,
        step=entry.step,
        payload=canonical_json(dict(entry.payload)),
        who=entry.who,
        at=entry.at,
        instrument=entry.instrument,
        calibrated_on=entry.calibrated_on,
        files=canonical_json(list(entry.files)),
        idempotency_key=entry.idempotency_key or None,
        supersedes=entry.supersedes,
        previous=entry.previous,
        hash=entry.hash,
    )


def job_row(session: Session, number: int, *, lock: bool = False) -> JobRow:
    """Return the row of a job, held against other writers when `lock` is set."""
    query = select(JobRow).where(JobRow.number == number)
    row = session.scalar(query.with_for_update() if lock else query) if 0 < number < 2**31 else None
    if row is None:
        raise MissingError(
            _("there is no job {number}").format(number=number),
            where=_("job"),
            fix=_("look it up in the list of jobs or search for it"),
        )
    return row


def entries_of(session: Session, row: JobRow, *, after: int = 0) -> list[Entry]:
    """Return the entries of a job, oldest first."""
    query = select(EntryRow).where(EntryRow.job_number == row.number, EntryRow.seq > after)
    return [entry_of(found, row.uid) for found in session.scalars(query.order_by(EntryRow.seq))]


def entries_of_many(session: Session, numbers: Sequence[int]) -> dict[int, list[Entry]]:
    """Return the entries of several jobs by job number, oldest first; unknown numbers are left out."""
    query = select(EntryRow, JobRow.uid).join(JobRow, JobRow.number == EntryRow.job_number)
    query = query.where(JobRow.number.in_(numbers)).order_by(EntryRow.job_number, EntryRow.seq)
    found: dict[int, list[Entry]] = {}
    for row, uid in session.execute(query):
        found.setdefault(row.job_number, []).append(entry_of(row, uid))
    return found


def keep_design_text(session: Session, text: str) -> str:
    """Keep the text of a design file once per content and return its hash."""
    key = sha256_hex(text.encode("utf-8"))
    if session.get(DesignTextRow, key) is None:
        insert_once(session, DesignTextRow(sha256=key, text=text))
    return key


def design_text(session: Session, sha256: str) -> str:
    """Return a kept design text after checking it against its hash."""
    row = session.get(DesignTextRow, sha256)
    if row is None or sha256_hex(row.text.encode("utf-8")) != sha256:
        raise RecordError(
            _("a design text kept with the job was lost or changed"),
            where=_("design"),
            fix=_("restore a backup"),
        )
    return row.text


def _checked_payload(kind: str, step: str, payload: Mapping[str, Any]) -> str:
    text = canonical_json(encode(payload))
    if len(text) > MAX_PAYLOAD_BYTES:
        raise RecordError(
            _("this entry is {count} characters long").format(count=len(text)),
            where=f"{step or kind}",
            fix=_("store the data as a file and name its hash"),
        )
    if kind == "result" and payload.get("verdict", "ok") not in VERDICTS:
        raise RecordError(
            _("'{verdict}' is no verdict").format(verdict=payload["verdict"]),
            where=step,
            fix=_("use {verdicts}").format(verdicts=", ".join(VERDICTS)),
        )
    if kind == "waiver" and not str(payload.get("reason", "")).strip():
        raise RecordError(
            _("a step is waived with a reason only"),
            where=_("{step} reason").format(step=step),
            fix=_("say in a few words why"),
        )
    return text


def _same(first: Entry, kind: str, step: str, payload: str, files: Sequence[str]) -> bool:
    return (
        first.kind == kind
        and first.step == step
        and canonical_json(dict(first.payload)) == payload
        and first.files == tuple(files)
    )


def append(
    session: Session,
    row: JobRow,
    *,
    kind: EntryKind,
    step: str,
    payload: Mapping[str, Any],
    who: str,
    at: datetime | None = None,
    instrument: str = "",
    files: Sequence[str] = (),
    idempotency_key: str = "",
    supersedes: int | None = None,
    expected_head: str | None = None,
) -> Entry:
    """Append one entry to a job whose row is locked; see `JobStore.add_entry`."""
    text = _checked_payload(kind, step, payload)
    if idempotency_key:
        query = select(EntryRow).where(
            EntryRow.job_number == row.number, EntryRow.idempotency_key == idempotency_key
        )
        found = session.scalar(query)
        if found is not None:
            first = entry_of(found, row.uid)
            if _same(first, kind, step, text, files):
                return first
            raise JobConflictError(
                _("the key '{idempotency_key}' was used already for something else").format(
                    idempotency_key=idempotency_key
                ),
                others=(first,),
                head=row.head,
                where=_("job {number}").format(number=row.number),
                fix=_("send the new entry with a key of its own"),
            )
    if row.state == "closed" and kind not in ("header", "state", "sign-off"):
        raise RecordError(
            _("the job is closed, and what is entered now would stand outside its signature"),
            where=_("job {number}").format(number=row.number),
            fix=_("open the job again first, with a reason"),
        )
    if row.state == "dropped" and kind not in ("header", "state"):
        raise RecordError(
            _("the job was dropped"),
            where=_("job {number}").format(number=row.number),
            fix=_("set it open again first, with a reason"),
        )
    if expected_head is not None and expected_head != row.head:
        raise _conflict(session, row, expected_head)
    if supersedes is not None:
        _check_superseded(session, row, supersedes, step)
    for sha256 in files:
        if session.get(FileRow, sha256) is None:
            raise RecordError(
                _("there is no file {sha256}…").format(sha256=sha256[:12]),
                where=_("job {number}").format(number=row.number),
                fix=_("store the file first"),
            )
    tool = session.get(InstrumentRow, instrument) if instrument else None
    entry = Entry(
        job_uid=row.uid,
        seq=row.entry_count + 1,
        kind=kind,
        step=step,
        payload=json.loads(text),
        who=who,
        at=at or utc_now(),
        instrument=instrument,
        calibrated_on=tool.calibrated_on if tool else None,
        files=tuple(files),
        idempotency_key=idempotency_key,
        supersedes=supersedes,
        previous=row.head,
    )
    return place(session, row, entry)


def place(session: Session, row: JobRow, entry: Entry) -> Entry:
    """Seal an entry, write it and bring the job's own line up to date."""
    sealed = replace(entry, hash=entry.computed_hash())
    session.add(row_of(sealed, row.number))
    row.head = sealed.hash
    row.entry_count = sealed.seq
    row.changed_at = max(sealed.at, row.changed_at)
    if sealed.kind == "header":
        for name in HEADER_FIELDS:
            setattr(row, name, sealed.payload[name])
        words = [str(sealed.payload[name]) for name in HEADER_FIELDS if name != "design_sha256"]
        row.search_text = f"{row.search_text} {folded(' '.join(words))}".strip()
    elif sealed.kind == "state":
        row.state = sealed.payload["state"]
    remarks = " ".join(remark for name in _FOUND_IN_SEARCH if (remark := str(sealed.said(name))))
    if remarks:
        row.search_text = f"{row.search_text} {folded(remarks)}"
    session.flush()
    return sealed


def _conflict(session: Session, row: JobRow, expected_head: str) -> RecordError:
    known = session.scalar(
        select(EntryRow.seq).where(EntryRow.job_number == row.number, EntryRow.hash == expected_head)
    )
    if known is None:
        return RecordError(
            _("the expected head is none of this job's"),
            where=_("job {number}").format(number=row.number),
            fix=_("read the job again"),
        )
    others = tuple(entries_of(session, row, after=known))
    names = ", ".join(sorted({entry.who for entry in others}))
    count = plural("{count} entry", "{count} entries", len(others)).format(count=len(others))
    return JobConflictError(
        _("{names} added {count} meanwhile").format(names=names, count=count),
        others=others,
        head=row.head,
        where=_("job {number}").format(number=row.number),
        fix=_("look at them, then add yours after them or leave it out"),
    )


def _check_superseded(session: Session, row: JobRow, seq: int, step: str) -> None:
    old = session.scalar(select(EntryRow).where(EntryRow.job_number == row.number, EntryRow.seq == seq))
    where = f"job {row.number}"
    if old is None:
        raise RecordError(
            _("there is no entry {seq} to supersede").format(seq=seq),
            where=where,
            fix=_("read the job again"),
        )
    if old.kind in ("header", "state"):
        raise RecordError(
            _("entry {seq} is the job's own {kind}").format(seq=seq, kind=old.kind),
            where=where,
            fix=_("amend the job or set its state instead"),
        )
    if old.step != step:
        raise RecordError(
            _("entry {seq} belongs to the step '{step}'").format(seq=seq, step=old.step),
            where=where,
            fix=_("supersede within one step"),
        )
    taken = session.scalar(
        select(EntryRow.seq).where(EntryRow.job_number == row.number, EntryRow.supersedes == seq)
    )
    if taken is not None:
        raise RecordError(
            _("entry {seq} was superseded already by entry {taken}").format(seq=seq, taken=taken),
            where=where,
            fix=_("supersede {taken} instead").format(taken=taken),
        )


def check_chain(row: JobRow, entries: Sequence[Entry], design_text_hash: str | None) -> ChainReport:
    """Check the chain of a job and that the job's own line agrees with it.

    Parameters
    ----------
    design_text_hash : str or None
        Hash of the design text as it is stored now; None when it is missing.
    """
    previous = first_link(row.uid)
    fields: dict[str, Any] = {}
    state = "open"
    for place_in_chain, entry in enumerate(entries, start=1):
        why: Text = ""
        if entry.seq != place_in_chain:
            why = _("entry {place_in_chain} is missing").format(place_in_chain=place_in_chain)
        elif entry.previous != previous:
            why = _("entry {seq} does not hang on the one before it").format(seq=entry.seq)
        elif entry.computed_hash() != entry.hash:
            why = _("entry {seq} was changed after it was written").format(seq=entry.seq)
        elif entry.kind == "sign-off" and entry.payload.get("signed_head") != previous:
            why = _("entry {seq} signs something else than what stands before it").format(seq=entry.seq)
        if why:
            return ChainReport(False, place_in_chain - 1, place_in_chain, why)
        previous = entry.hash
        if entry.kind == "header":
            fields = {name: entry.payload.get(name) for name in HEADER_FIELDS}
        elif entry.kind == "state":
            state = str(entry.payload.get("state"))
    count = len(entries)
    if row.head != previous or row.entry_count != count:
        return ChainReport(
            False, count, count + 1, _("entries after number {count} are missing").format(count=count)
        )
    changed = [_(HEADER_WORDS[name]) for name in HEADER_FIELDS if getattr(row, name) != fields.get(name)]
    if row.state != state or state not in JOB_STATES:
        changed.append(_("state"))
    if entries and row.created_at != entries[0].at:
        changed.append(_("date"))
    if design_text_hash != row.design_sha256:
        changed.append(_("design text"))
    if changed:
        return ChainReport(
            False,
            count,
            0,
            _("{changed} of the job changed outside its entries").format(
                changed=joined(*changed, between=", ")
            ),
        )
    return ChainReport(True, count, None, _("all {count} entries hold").format(count=count))
