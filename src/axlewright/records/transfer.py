"""Carry a job from one store to another: JSON and files in a zip, documented in docs/records.md.

Nothing in the file is believed: sizes, hashes and the chain of the job are checked before a line is
written.
"""

from __future__ import annotations

import json
from datetime import date
from pathlib import Path
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from sqlalchemy import select
from sqlalchemy.orm import Session

from axlewright import __version__
from axlewright.errors import ConflictError, RecordError
from axlewright.language import _
from axlewright.records import journal
from axlewright.records.archive import Archive, open_archive, write_archive
from axlewright.records.chain import first_link, read_time, sha256_hex, write_time
from axlewright.records.database import insert_once
from axlewright.records.models import FileRow, JobRow
from axlewright.records.store import JobStore
from axlewright.records.types import JOB_STATES, Entry, EntryKind, Job, JobState

KIND: Final = "axlewright job"
VERSION: Final = 1
MAX_TOTAL_BYTES: Final = 1024 * 1024 * 1024

_Hash = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
_Time = Annotated[str, Field(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z$")]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class JobEntryFile(_Strict):
    """One entry as it stands in ``job.json``."""

    seq: Annotated[int, Field(ge=1)]
    kind: EntryKind
    step: Annotated[str, Field(max_length=32)]
    payload: dict[str, Any]
    who: Annotated[str, Field(max_length=80)]
    at: _Time
    instrument: Annotated[str, Field(max_length=80)]
    calibrated_on: date | None
    files: tuple[_Hash, ...]
    idempotency_key: Annotated[str, Field(max_length=200)]
    supersedes: int | None
    previous: _Hash
    hash: _Hash


class JobFile(_Strict):
    """The content of ``job.json``; its JSON Schema is printed by `job_file_schema`."""

    version: Literal[1]
    uid: Annotated[str, Field(pattern=r"^[0-9a-f]{32}$")]
    created_at: _Time
    state: JobState
    head: _Hash
    designs: Annotated[dict[_Hash, str], Field(description="design texts by their SHA-256")]
    files: Annotated[dict[_Hash, str], Field(description="file endings by SHA-256")]
    entries: tuple[JobEntryFile, ...]


def job_file_schema() -> dict[str, Any]:
    """Return the JSON Schema of ``job.json``."""
    return JobFile.model_json_schema()


def export_job(store: JobStore, number: int, path: Path, *, overwrite: bool = False) -> Path:
    """Write a job with its files to one zip file.

    Raises
    ------
    RecordError
        The job's chain does not hold, a file is missing, or the zip cannot be written.
    """
    report = store.verify(number)
    if not report.holds:
        raise RecordError(
            _("the record does not hold: {why}").format(why=report.why),
            where=_("job {number}").format(number=number),
        )
    job = store.get_job(number)
    entries = store.entries(number)
    shas = sorted({sha256 for entry in entries for sha256 in entry.files})
    stored = [store.files.find(sha256) for sha256 in shas]
    content = {
        "version": VERSION,
        "uid": job.uid,
        "created_at": write_time(job.created_at),
        "state": job.state,
        "head": entries[-1].hash,
        "designs": _designs(store, entries),
        "files": {one.sha256: one.suffix for one in stored},
        "entries": [
            {name: value for name, value in entry.content().items() if name != "job"}
            | {"previous": entry.previous, "hash": entry.hash}
            for entry in entries
        ],
    }
    text = json.dumps(content, ensure_ascii=False, sort_keys=True, indent=1)
    members = [("job.json", text.encode("utf-8"))]
    members += [(f"files/{one.sha256}{one.suffix}", store.read_file(one.sha256)) for one in stored]
    facts = {"job": job.uid, "axlewright": __version__}
    write_archive(path, KIND, VERSION, facts, members, overwrite=overwrite)
    return path


def _designs(store: JobStore, entries: list[Entry]) -> dict[str, str]:
    wanted = {entry.payload["design_sha256"] for entry in entries if entry.kind == "header"}
    with store.sessions.reading() as session:
        return {sha256: journal.design_text(session, sha256) for sha256 in sorted(wanted)}


def import_job(store: JobStore, source: Path | bytes, *, max_total_bytes: int = MAX_TOTAL_BYTES) -> Job:
    """Bring in a job written by `export_job` and return it as it is here.

    A job that is here already gains the entries it lacks; one that is here with more is left as it is.

    Parameters
    ----------
    source : Path or bytes
        The zip file.
    max_total_bytes : int
        Refuse what would unpack to more.

    Raises
    ------
    ConflictError
        Both sides went on separately; nothing is written.
    RecordError
        The file is damaged, was changed, or is too large.
    """
    with open_archive(source, KIND, VERSION) as archive:
        total = sum(one["size"] for one in archive.manifest["members"])
        if total > max_total_bytes:
            raise RecordError(
                _("the job would unpack to {total} MB").format(total=total >> 20),
                where=archive.where,
                fix=_("at most {max_total_bytes} MB are taken").format(max_total_bytes=max_total_bytes >> 20),
            )
        content = _content(archive)
        entries = _checked_entries(content, archive.where)
        expected = {f"files/{sha256}{suffix}" for sha256, suffix in content.files.items()}
        if expected | {"job.json"} != set(archive.names()):
            raise RecordError(_("files of the job are missing or too many"), where=archive.where)
        for sha256, suffix in content.files.items():
            data = archive.read(f"files/{sha256}{suffix}")
            if sha256_hex(data) != sha256:
                raise RecordError(_("a file of the job was changed"), where=archive.where)
            store.store_file(data, suffix)
    with store.sessions.writing() as session:
        return _write(session, content, entries)


def _content(archive: Archive) -> JobFile:
    try:
        return JobFile.model_validate_json(archive.read("job.json"))
    except ValidationError as problem:
        first = problem.errors(include_url=False)[0]
        place = ".".join(str(part) for part in first["loc"])
        raise RecordError(
            _("job.json is not as it should be at {value} ({lower})").format(
                value=place or "its beginning", lower=first["msg"].lower()
            ),
            where=archive.where,
            fix=_("export the job again"),
        ) from None


def _checked_entries(content: JobFile, where: str) -> list[Entry]:
    previous = first_link(content.uid)
    entries = []
    state = "open"
    for place, one in enumerate(content.entries, start=1):
        values = one.model_dump() | {"at": read_time(one.at), "job_uid": content.uid}
        entry = Entry(**values)
        if entry.seq != place or entry.previous != previous or entry.computed_hash() != entry.hash:
            raise RecordError(
                _("entry {place} was changed after it was written").format(place=place), where=where
            )
        if set(entry.files) - set(content.files):
            raise RecordError(_("a file of entry {place} is missing").format(place=place), where=where)
        if entry.kind == "header":
            fields = {name: entry.payload.get(name) for name in journal.HEADER_FIELDS}
            if not all(isinstance(v, str) and "\0" not in v for v in fields.values()):
                raise RecordError(_("entry {place} is no header").format(place=place), where=where)
            if fields["design_sha256"] not in content.designs:
                raise RecordError(
                    _("the design of entry {place} is missing").format(place=place), where=where
                )
        elif entry.kind == "state":
            state = str(entry.payload.get("state"))
            if state not in JOB_STATES:
                raise RecordError(_("entry {place} sets no known state").format(place=place), where=where)
        for text in (entry.step, entry.who, entry.instrument, entry.idempotency_key):
            if "\0" in text:
                raise RecordError(
                    _("entry {place} holds characters that are no text").format(place=place), where=where
                )
        previous = entry.hash
        entries.append(entry)
    if (
        not entries
        or entries[0].kind != "header"
        or (content.head, content.state, content.created_at)
        != (
            previous,
            state,
            content.entries[0].at,
        )
    ):
        raise RecordError(_("the job's own lines do not fit its entries"), where=where)
    for sha256, text in content.designs.items():
        if sha256_hex(text.encode("utf-8")) != sha256 or "\0" in text:
            raise RecordError(_("a design text was changed"), where=where)
    return entries


def _write(session: Session, content: JobFile, entries: list[Entry]) -> Job:
    for sha256 in content.files:
        if session.get(FileRow, sha256) is None:
            raise RecordError(
                _("a file of the job was lost on the way"), where=_("import"), fix=_("import it again")
            )
    for text in content.designs.values():
        journal.keep_design_text(session, text)
    row = session.scalar(select(JobRow).where(JobRow.uid == content.uid).with_for_update())
    if row is None:
        header = {name: entries[0].payload[name] for name in journal.HEADER_FIELDS}
        row = JobRow(
            uid=content.uid,
            **header,
            state="open",
            head=first_link(content.uid),
            entry_count=0,
            search_text="",
            created_at=read_time(content.created_at),
            changed_at=read_time(content.created_at),
        )
        insert_once(session, row)
        session.flush()
    here = journal.entries_of(session, row)
    common = min(len(here), len(entries))
    if [entry.hash for entry in here[:common]] != [entry.hash for entry in entries[:common]]:
        raise ConflictError(
            _("this job went on here and there separately"),
            where=_("job {number}").format(number=row.number),
            fix=_("look at both sheets and enter by hand what is missing; nothing was written"),
        )
    for entry in entries[common:]:
        journal.place(session, row, entry)
    return journal.job_of(row)
