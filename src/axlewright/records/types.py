"""What the store hands out: plain frozen records, independent of the database."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Final, Literal, get_args

from axlewright.errors import ConflictError
from axlewright.language import Text, n_, read_kept
from axlewright.records.chain import entry_hash, write_time

JobState = Literal["open", "stopped", "closed", "dropped"]
"""open: being worked on; stopped: waits for an answer or a part; closed: signed; dropped: given up."""

EntryKind = Literal[
    "header", "state", "reading", "photo", "recording", "result", "advice", "decision", "waiver", "sign-off",
    "note",
]  # fmt: skip
"""What an entry is. Only the store itself writes header, state and sign-off."""

Verdict = Literal["ok", "not ok", "ask"]
"""Payload key ``verdict`` of a result: within the limit, outside it, or undecided until asked."""

Role = Literal["technician", "lead", "instructor", "admin"]

JOB_STATES: Final[tuple[str, ...]] = get_args(JobState)
ENTRY_KINDS: Final[tuple[str, ...]] = (
    n_("header"), n_("state"), n_("reading"), n_("photo"), n_("recording"), n_("result"), n_("advice"),
    n_("decision"), n_("waiver"), n_("sign-off"), n_("note"),
)  # fmt: skip
VERDICTS: Final[tuple[str, ...]] = get_args(Verdict)
ROLES: Final[tuple[str, ...]] = get_args(Role)


@dataclass(frozen=True)
class Job:
    """One job as it stands now.

    Attributes
    ----------
    number : int
        Counts up in this store, never used twice.
    uid : str
        The same in every store the job is carried to.
    reference : str
        The shop's own order number, if any.
    head : str
        Hash of the last entry; pass it as ``expected_head`` to notice what others wrote meanwhile.
    entry_count : int
        Number of entries, the header included.
    """

    number: int
    uid: str
    design_name: str
    vehicle: str
    complaint: str
    set_number: str
    reference: str
    state: JobState
    head: str
    entry_count: int
    created_at: datetime
    changed_at: datetime


@dataclass(frozen=True)
class Entry:
    """One line of a job, never edited.

    Attributes
    ----------
    seq : int
        Place in the job, from 1 without gaps.
    step : str
        Key of the step it belongs to, or empty.
    payload : mapping
        What was read, computed or decided.
    who : str
        Person who entered it.
    at : datetime
        UTC, microseconds.
    instrument, calibrated_on
        Instrument and the date of its last calibration when the entry was made.
    files : tuple of str
        SHA-256 of the files that belong to it.
    supersedes : int or None
        The `seq` of the entry that no longer counts.
    """

    job_uid: str
    seq: int
    kind: EntryKind
    step: str
    payload: Mapping[str, Any]
    who: str
    at: datetime
    instrument: str = ""
    calibrated_on: date | None = None
    files: tuple[str, ...] = ()
    idempotency_key: str = ""
    supersedes: int | None = None
    previous: str = ""
    hash: str = ""

    def said(self, *keys: str) -> Text:
        """Return what it says under the first of these keys of its payload that says anything."""
        for key in keys:
            text = read_kept(self.payload.get(key) or "")
            if isinstance(text, str):
                text = text.strip()
            if text:
                return text
        return ""

    def content(self) -> dict[str, Any]:
        """Return everything the hash covers, as JSON values."""
        return {
            "job": self.job_uid,
            "seq": self.seq,
            "kind": self.kind,
            "step": self.step,
            "payload": dict(self.payload),
            "who": self.who,
            "at": write_time(self.at),
            "instrument": self.instrument,
            "calibrated_on": self.calibrated_on.isoformat() if self.calibrated_on else None,
            "files": list(self.files),
            "idempotency_key": self.idempotency_key,
            "supersedes": self.supersedes,
        }

    def computed_hash(self) -> str:
        """Return the hash this entry should have, from what it says and the hash before it."""
        return entry_hash(self.previous, self.content())


@dataclass(frozen=True)
class ChainReport:
    """Answer of ``verify``: whether the chain of a job holds, and where it breaks if not.

    Attributes
    ----------
    holds : bool
    checked : int
        Entries that were checked and hold.
    broken_at : int or None
        The `seq` of the first entry that does not fit; 0 when the job's own line does not fit its entries.
    why : Text
        One sentence.
    """

    holds: bool
    checked: int
    broken_at: int | None = None
    why: Text = ""


@dataclass(frozen=True)
class Person:
    """Somebody who works here; `note` says what was done otherwise than asked, see `People.add`."""

    name: str
    role: Role
    active: bool = True
    note: Text = field(default="", compare=False)


@dataclass(frozen=True)
class Instrument:
    """A measuring instrument; ``calibrated_on`` is copied into every reading made with it.

    Attributes
    ----------
    resolution, uncertainty : str
        Smallest step it shows, and the expanded uncertainty (k = 2) of its certificate, each with its unit,
        such as "0.0005 in"; empty when not known.
    """

    name: str
    kind: str = ""
    resolution: str = ""
    calibrated_on: date | None = None
    due_on: date | None = None
    uncertainty: str = ""


@dataclass(frozen=True)
class StockItem:
    """Spacers or shims of one thickness on the shelf.

    Attributes
    ----------
    thickness_mm : float
        Measured thickness; `nominal_mm` is what the part says it is.
    """

    id: int
    kind: str
    thickness_mm: float
    nominal_mm: float | None = None
    count: int = 0
    part: str = ""
    place: str = ""
    design_name: str = ""


@dataclass(frozen=True)
class StockMove:
    """Pieces taken (below 0) or put on the shelf, by whom, when, for which job."""

    change: int
    who: str
    at: datetime
    job_number: int | None = None


@dataclass(frozen=True)
class StoredFile:
    """A file kept by its content hash."""

    sha256: str
    suffix: str
    size: int


@dataclass(frozen=True)
class HeaderChange:
    """What a header entry may change; None leaves the value as it is."""

    design_name: str | None = None
    vehicle: str | None = None
    complaint: str | None = None
    set_number: str | None = None
    reference: str | None = None
    design_text: str | None = field(default=None, repr=False)


class JobConflictError(ConflictError):
    """Somebody else wrote to the job since it was read; holds what they wrote.

    Attributes
    ----------
    others : tuple of Entry
        Their entries, oldest first.
    head : str
        The present head: pass it as ``expected_head`` to add yours after theirs.
    """

    def __init__(
        self, what: Text, *, others: tuple[Entry, ...], head: str, where: Text = "", fix: Text = ""
    ) -> None:
        super().__init__(what, where=where, fix=fix)
        self.others = others
        self.head = head
