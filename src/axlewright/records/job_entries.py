"""What can be done with the entries of a job: add, leave a step out, sign, read, check."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from axlewright.errors import RecordError
from axlewright.language import eager as _
from axlewright.language import eager_plural as plural
from axlewright.records import journal
from axlewright.records import steps as order
from axlewright.records.chain import sha256_hex
from axlewright.records.files import Files
from axlewright.records.models import DesignTextRow
from axlewright.records.people import People
from axlewright.records.session import Sessions, plain_text
from axlewright.records.types import ENTRY_KINDS, ChainReport, Entry, EntryKind

_OWN_KINDS = ("header", "state", "sign-off")


def _before_key(entries: Sequence[Entry], key: str) -> Sequence[Entry]:
    """Return the entries before the one with this key; all when the key is new or empty."""
    for place, entry in enumerate(entries):
        if key and entry.idempotency_key == key:
            return entries[:place]
    return entries


def _not_done(entries: Sequence[Entry], although: str) -> dict[str, Any]:
    """Return what a signature says about the steps that are not done; nothing when all are.

    Raises
    ------
    RecordError
        The job is stopped, or there are such steps and no reason.
    """
    stopping = order.stopped_by(entries)
    if stopping is not None:
        raise RecordError(
            _("the job is stopped: {why}").format(why=stopping.why),
            where=stopping.step.title,
            fix=_("answer it first, or let a lead leave the step out with a reason"),
        )
    left = order.not_done(entries)
    if not left:
        return {}
    if not although:
        raise RecordError(
            plural(
                "{count} step is not done: {steps}", "{count} steps are not done: {steps}", len(left)
            ).format(count=len(left), steps=", ".join(one.step.title for one in left)),
            where=_("sign"),
            fix=_("do what is left, or give the reason why it is signed although it is not done"),
        )
    kept = [{"step": one.step.key, "state": one.state} for one in left]
    return {"although": although, "not_done": kept}


class JobEntries:
    """The entries of all jobs; `axlewright.records.JobStore` adds the jobs themselves.

    Parameters
    ----------
    sessions : Sessions
    folder : Path
        Folder of photos and recordings.
    """

    def __init__(self, sessions: Sessions, folder: Path) -> None:
        self.sessions = sessions
        self.folder = folder
        self.people = People(sessions)
        self.files = Files(sessions, folder)

    def add_entry(
        self,
        number: int,
        kind: EntryKind,
        step: str,
        payload: Mapping[str, Any],
        *,
        who: str,
        at: datetime | None = None,
        instrument: str = "",
        files: Sequence[str] = (),
        idempotency_key: str = "",
        supersedes: int | None = None,
        expected_head: str | None = None,
    ) -> Entry:
        """Append one entry to a job.

        Parameters
        ----------
        number : int
            The job.
        kind : str
            reading, photo, recording, result, advice, decision, waiver or note. A sign-off needs a PIN, see
            `sign_off`; so does a waiver as soon as people are entered, see `waive`.
        step : str
            Key of the step, or empty.
        payload : mapping
            Anything JSON can hold. Keys the store itself looks at: ``verdict`` of a result ("ok", "not ok",
            "ask"), ``why``, ``done`` of a decision, ``reason`` of a waiver, and for searching ``text``,
            ``note``, ``remark``.
        who : str
            Who entered it.
        at : datetime, optional
            When it was read, with time zone; now by default.
        instrument : str
            Its name; the date of its last calibration is copied from the list of instruments.
        files : sequence of str
            SHA-256 of files stored before.
        idempotency_key : str
            Sending the same entry again with the same key returns the first one and writes nothing.
        supersedes : int, optional
            The `seq` of the entry of the same step that no longer counts.
        expected_head : str, optional
            `Job.head` as the caller last saw it; leave it out to append whatever others wrote.

        Raises
        ------
        JobConflictError
            With `expected_head`: somebody wrote meanwhile; the error holds their entries. With a key that was
            used for something else: it holds that entry.
        RecordError
            Unknown job, step, kind or file; a payload that is no JSON.
        """
        if kind not in ENTRY_KINDS or kind in _OWN_KINDS:
            known = ", ".join(name for name in ENTRY_KINDS if name not in _OWN_KINDS)
            raise RecordError(
                _("'{kind}' is no kind of entry to add").format(kind=kind),
                where=_("kind"),
                fix=_("use {known}").format(known=known),
            )
        if kind == "waiver" and self.people.any_known():
            raise RecordError(
                _("a step is left out with a PIN here"), where=_("waiver"), fix=_("use waive with the PIN")
            )
        return self._append(
            number,
            kind,
            step,
            payload,
            who=who,
            at=at,
            instrument=instrument,
            files=files,
            idempotency_key=idempotency_key,
            supersedes=supersedes,
            expected_head=expected_head,
        )

    def _append(
        self,
        number: int,
        kind: EntryKind,
        step: str,
        payload: Mapping[str, Any],
        *,
        who: str,
        instrument: str = "",
        idempotency_key: str = "",
        **rest: Any,
    ) -> Entry:
        if step:
            order.step(step)
        elif kind == "waiver":
            raise RecordError(
                _("a waiver needs its step"), where=_("step"), fix=_("name the step that is left out")
            )
        person = plain_text(who, "who", required=True, longest=80)
        tool = plain_text(instrument, "instrument", longest=80)
        key = plain_text(idempotency_key, _("idempotency key"), longest=200)
        more = {"who": person, "instrument": tool, "idempotency_key": key, **rest}
        with self.sessions.writing() as session:
            row = journal.job_row(session, number, lock=True)
            return journal.append(session, row, kind=kind, step=step, payload=payload, **more)

    def waive(
        self, number: int, step: str, reason: str, *, who: str, pin: str = "", idempotency_key: str = ""
    ) -> Entry:
        """Leave a step out, with a reason.

        As soon as people are entered, only one with the right to waive may, with the PIN. The key is that
        of `add_entry`.
        """
        if self.people.any_known():
            who = self.people.require(who, pin, "waive").name
        payload = {"reason": reason.strip()}
        return self._append(number, "waiver", step, payload, who=who, idempotency_key=idempotency_key)

    def sign_off(
        self,
        number: int,
        *,
        who: str,
        pin: str,
        statement: str,
        step: str = "close",
        head: str | None = None,
        close: bool = False,
        although: str = "",
        idempotency_key: str = "",
    ) -> Entry:
        """Sign a step, with the PIN; the entry names role and the head that was signed.

        A signature that closes the job or stands for its last step covers all steps. Those that are not done
        are kept with it under ``not_done``, each with its ``step`` and ``state``, beside ``although``.

        Parameters
        ----------
        head : str
            `Job.head` the person saw: nobody signs what they have not seen, so it is required. A
            `JobConflictError` is raised when somebody wrote since.
        close : bool
            Close the job with the signature, both or neither.
        although : str
            Why it is signed although steps are not done; required then.
        idempotency_key : str
            Signing again with the same key returns the first signature and writes nothing.
        """
        if not head:
            raise RecordError(
                _("a signature needs the state of the job that was seen"),
                where=_("head"),
                fix=_("open the job, look at it and sign it from there"),
            )
        order.step(step)
        person = self.people.require(who, pin, "sign")
        payload: dict[str, Any] = {
            "statement": plain_text(statement, "statement", required=True),
            "role": person.role,
            "signed_head": head,
        }
        key = plain_text(idempotency_key, _("idempotency key"), longest=200)
        with self.sessions.writing() as session:
            row = journal.job_row(session, number, lock=True)
            before = row.entry_count
            if close or step == "close":
                entries = journal.entries_of(session, row)
                seen = _before_key(entries, key)
                if row.head == head or len(seen) < len(entries):  # else appending says what came meanwhile
                    payload |= _not_done(seen, plain_text(although, _("reason")))
            entry = journal.append(
                session,
                row,
                kind="sign-off",
                step=step,
                payload=payload,
                who=person.name,
                idempotency_key=key,
                expected_head=head,
            )
            if close and row.entry_count > before and row.state != "closed":
                state = {"state": "closed", "reason": ""}
                journal.append(session, row, kind="state", step="", payload=state, who=person.name)
            return entry

    def reopen(
        self, number: int, reason: str, *, who: str, pin: str = "", idempotency_key: str = ""
    ) -> Entry:
        """Open a closed job again, with a reason; its signatures stay in the record.

        As soon as people are entered, only one with the right to sign may, with the PIN. The key is that of
        `add_entry`.
        """
        if self.people.any_known():
            who = self.people.require(who, pin, "sign").name
        payload = {"state": "open", "reason": plain_text(reason, _("reason"))}
        if not payload["reason"]:
            raise RecordError(
                _("a job is opened again with a reason only"),
                where=_("reason"),
                fix=_("say in a few words why"),
            )
        person = plain_text(who, "who", required=True, longest=80)
        key = plain_text(idempotency_key, _("idempotency key"), longest=200)
        with self.sessions.writing() as session:
            row = journal.job_row(session, number, lock=True)
            entries = journal.entries_of(session, row)
            if row.state != "closed" and len(_before_key(entries, key)) == len(entries):
                raise RecordError(
                    _("the job is not closed"), where=f"job {number}", fix=_("enter what is to be entered")
                )
            return journal.append(
                session, row, kind="state", step="", payload=payload, who=person, idempotency_key=key
            )

    def store_file(self, data: bytes, suffix: str) -> str:
        """Keep a photo or recording beside the database and return its SHA-256; the same content once."""
        return self.files.store(data, suffix).sha256

    def read_file(self, sha256: str) -> bytes:
        """Return the bytes of a stored file after checking them against the hash."""
        return self.files.read(sha256)

    def entries(
        self, number: int, *, step: str | None = None, kind: EntryKind | None = None, after: int = 0
    ) -> list[Entry]:
        """Return the entries of a job, oldest first, superseded ones included."""
        with self.sessions.reading() as session:
            found = journal.entries_of(session, journal.job_row(session, number), after=after)
        return [
            entry
            for entry in found
            if (step is None or entry.step == step) and (kind is None or entry.kind == kind)
        ]

    def current(self, number: int, step: str, *, kind: EntryKind | None = None) -> list[Entry]:
        """Return the entries of a step that count: those no other entry supersedes."""
        order.step(step)
        counted = order.standing(self.entries(number))
        return [entry for entry in counted if entry.step == step and (kind is None or entry.kind == kind)]

    def steps(self, number: int) -> list[order.StepStatus]:
        """Say how each step of the job stands."""
        return order.step_statuses(self.entries(number))

    def next_step(self, number: int) -> order.NextStep:
        """Return the next thing to do, why, and what it costs."""
        return order.next_step(self.entries(number))

    def next_steps(self, numbers: Sequence[int]) -> dict[int, order.NextStep]:
        """Return the next thing to do of several jobs at once, for lists."""
        with self.sessions.reading() as session:
            return {
                number: order.next_step(entries)
                for number, entries in journal.entries_of_many(session, numbers).items()
            }

    def verify(self, number: int) -> ChainReport:
        """Check that nothing in the job was changed after it was written, and say where if it was."""
        with self.sessions.reading() as session:
            row = journal.job_row(session, number)
            text = session.get(DesignTextRow, row.design_sha256)
            found = sha256_hex(text.text.encode("utf-8")) if text is not None else None
            return journal.check_chain(row, journal.entries_of(session, row), found)
