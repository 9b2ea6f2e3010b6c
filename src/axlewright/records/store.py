"""The store of jobs: write to it, ask it."""

from __future__ import annotations

import re
import uuid
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Self

from sqlalchemy import select

from axlewright.errors import RecordError
from axlewright.language import eager as _
from axlewright.records import journal
from axlewright.records.chain import first_link, utc_now
from axlewright.records.job_entries import JobEntries
from axlewright.records.models import JobRow
from axlewright.records.session import Sessions, plain_text
from axlewright.records.shelf import Instruments, Stock
from axlewright.records.types import JOB_STATES, HeaderChange, Job, JobState

UID = re.compile(r"[0-9a-f]{32}")


class JobStore(JobEntries):
    """Jobs with their entries; made by `axlewright.records.open_store`.

    Every method is one transaction: it happened as a whole or not at all. Safe to use from several
    threads, and from several programs on the same database.
    """

    def __init__(self, sessions: Sessions, folder: Path) -> None:
        super().__init__(sessions, folder)
        self.instruments = Instruments(sessions)
        self.stock = Stock(sessions)

    def __enter__(self) -> Self:
        """Return the store itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Close the store."""
        self.close()

    def close(self) -> None:
        """Close all connections."""
        self.sessions.engine.dispose()

    @property
    def place(self) -> str:
        """Where the records lie, without password."""
        return self.sessions.place

    # --- jobs -------------------------------------------------------------------------------------

    def new_job(
        self,
        *,
        design_name: str,
        design_text: str = "",
        vehicle: str = "",
        complaint: str = "",
        set_number: str = "",
        reference: str = "",
        who: str = "",
        at: datetime | None = None,
        uid: str = "",
    ) -> Job:
        """Start a job.

        Parameters
        ----------
        design_name : str
            Name of the gear-set design.
        design_text : str
            The full design file, kept with the job so that it can be computed again.
        vehicle, complaint, set_number, reference : str
            Free texts; `reference` is the shop's own order number.
        who : str
            Who starts it.
        at : datetime, optional
            When, with time zone; now by default.
        uid : str, optional
            32 hexadecimal digits chosen by the caller, as ``uuid.uuid4().hex`` gives: sending the same job
            again with them returns the first one and writes nothing.
        """
        header = {
            "design_name": plain_text(design_name, "design", required=True, longest=200),
            "vehicle": plain_text(vehicle, "vehicle"),
            "complaint": plain_text(complaint, "complaint"),
            "set_number": plain_text(set_number, _("set number"), longest=200),
            "reference": plain_text(reference, "reference", longest=200),
        }
        person = plain_text(who, "who", longest=80)
        moment = at or utc_now()
        uid = uid or uuid.uuid4().hex
        if not UID.fullmatch(uid):
            raise RecordError(
                _("'{uid}' is no job identifier").format(uid=uid),
                where=_("uid"),
                fix=_("give 32 hexadecimal digits"),
            )
        plain_text(design_text, _("design text"), longest=1_000_000)
        with self.sessions.writing() as session:
            first = session.scalar(select(JobRow).where(JobRow.uid == uid))
            if first is not None:
                return journal.job_of(first)
            row = JobRow(
                uid=uid,
                **header,
                design_sha256=journal.keep_design_text(session, design_text),
                state="open",
                head=first_link(uid),
                entry_count=0,
                search_text="",
                created_at=moment,
                changed_at=moment,
            )
            session.add(row)
            session.flush()
            payload = {name: getattr(row, name) for name in journal.HEADER_FIELDS}
            journal.append(session, row, kind="header", step="", payload=payload, who=person, at=moment)
            return journal.job_of(row)

    def get_job(self, number: int) -> Job:
        """Return the job with this number."""
        with self.sessions.reading() as session:
            return journal.job_of(journal.job_row(session, number))

    def job_by_uid(self, uid: str) -> Job:
        """Return the job with this identifier, which is the same in every store."""
        with self.sessions.reading() as session:
            row = session.scalar(select(JobRow).where(JobRow.uid == uid))
            if row is None:
                raise RecordError(_("there is no such job here"), where=_("job"), fix=_("import it first"))
            return journal.job_of(row)

    def design_text(self, number: int) -> str:
        """Return the design file kept with the job."""
        with self.sessions.reading() as session:
            return journal.design_text(session, journal.job_row(session, number).design_sha256)

    def list_jobs(self, *, state: JobState | None = None, limit: int = 100, offset: int = 0) -> list[Job]:
        """Return jobs, the last changed first."""
        return self.search("", state=state, limit=limit, offset=offset)

    def search(
        self,
        text: str = "",
        *,
        set_number: str = "",
        design: str = "",
        vehicle: str = "",
        state: JobState | None = None,
        limit: int = 50,
        offset: int = 0,
    ) -> list[Job]:
        """Find jobs, the last changed first; case and accents do not matter.

        Parameters
        ----------
        text : str
            Words that must all occur, in any order: in header, notes or reasons; a number also finds the
            job with that number.
        set_number, design, vehicle : str
            Must occur in that field of the header.
        """
        query = select(JobRow).order_by(JobRow.changed_at.desc(), JobRow.number.desc())
        for word in journal.folded(text).split():
            found = JobRow.search_text.contains(word, autoescape=True)
            number = word.lstrip("#")
            if number.isascii() and number.isdigit() and len(number) < 10:
                found = found | (JobRow.number == int(number))
            query = query.where(found)
        for column, wanted in (
            (JobRow.set_number, set_number),
            (JobRow.design_name, design),
            (JobRow.vehicle, vehicle),
        ):
            if wanted.strip():
                query = query.where(column.icontains(wanted.strip(), autoescape=True))
        if state is not None:
            query = query.where(JobRow.state == state)
        with self.sessions.reading() as session:
            rows = session.scalars(query.limit(limit).offset(offset))
            return [journal.job_of(row) for row in rows]

    def amend_job(self, number: int, change: HeaderChange, *, who: str) -> Job:
        """Change the header of a job; the old one stays in its entries."""
        with self.sessions.writing() as session:
            row = journal.job_row(session, number, lock=True)
            payload = {name: getattr(row, name) for name in journal.HEADER_FIELDS}
            for name in journal.HEADER_FIELDS:
                value = getattr(change, name, None)
                if value is not None:
                    required = name == "design_name"
                    payload[name] = plain_text(value, name.replace("_", " "), required=required)
            if change.design_text is not None:
                payload["design_sha256"] = journal.keep_design_text(session, change.design_text)
            person = plain_text(who, "who", longest=80)
            journal.append(session, row, kind="header", step="", payload=payload, who=person)
            return journal.job_of(row)

    def set_state(self, number: int, state: JobState, *, who: str, reason: str = "") -> Job:
        """Set the state of a job: open, stopped, closed or dropped."""
        if state not in JOB_STATES:
            raise RecordError(
                _("'{state}' is no state").format(state=state),
                where=_("state"),
                fix=_("use {job_states}").format(job_states=", ".join(JOB_STATES)),
            )
        payload = {"state": state, "reason": plain_text(reason, "reason")}
        with self.sessions.writing() as session:
            row = journal.job_row(session, number, lock=True)
            person = plain_text(who, "who", longest=80)
            journal.append(session, row, kind="state", step="", payload=payload, who=person)
            return journal.job_of(row)
