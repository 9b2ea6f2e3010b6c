"""A job's header and state: corrected, stopped, dropped, opened again, each with a reason in the record."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Final, get_args

from axlewright.errors import InputError
from axlewright.language import Text, _, joined, n_

if TYPE_CHECKING:
    from axlewright.records import Entry, Job, JobStore

CORRECTABLE: Final = ("vehicle", "complaint", "set_number", "reference")
"""What of a header can be corrected: the design stays what the job was started on."""
STATES: Final = (n_("open"), n_("stopped"), n_("dropped"))
"""States set by hand; a job is closed by its signature."""


@dataclass(frozen=True, slots=True)
class Change:
    """A change of header or state; `what` names it, with the old and the new words."""

    who: str
    at: datetime
    what: Text
    reason: Text


def history(entries: Iterable[Entry]) -> tuple[Change, ...]:
    """Return how header and state of a job were changed, oldest first.

    Parameters
    ----------
    entries : iterable of Entry
        All entries of the job, oldest first.
    """
    from axlewright.records.journal import HEADER_WORDS

    out = []
    before: Mapping[str, object] = {}
    for entry in entries:
        what: Text = ""
        if entry.kind == "state":
            what = _("State: {state}").format(state=_(str(entry.payload.get("state", ""))))
        elif entry.kind == "header" and before:
            what = joined(
                *(
                    _became(_(word), str(before.get(name) or ""), str(entry.payload.get(name) or ""))
                    for name, word in HEADER_WORDS.items()
                    if name != "design_sha256" and before.get(name) != entry.payload.get(name)
                ),
                between="; ",
            )
        if entry.kind == "header":
            before = entry.payload
        if what:
            out.append(Change(entry.who, entry.at, what, entry.said("reason")))
    return tuple(out)


def _became(field: Text, old: str, new: str) -> Text:
    if not old:
        return _("{field}: now “{new}”, before it was empty").format(field=field, new=new)
    if not new:
        return _("{field}: emptied, before it was “{old}”").format(field=field, old=old)
    return _("{field}: “{old}” became “{new}”").format(field=field, old=old, new=new)


def _with_reason(reason: str) -> str:
    if not reason.strip():
        raise InputError(_("no reason given"), where=_("reason"), fix=_("say in a few words why"))
    return reason


def set_state(
    store: JobStore, number: int, state: str, reason: str, *, who: str, idempotency_key: str = ""
) -> Job:
    """Stop, drop or open a job, with a reason; it stands in the record and on the page.

    Raises
    ------
    InputError
        No such state, no reason, or the job is closed: then `JobStore.reopen` opens it.
    """
    from axlewright.records import JobState

    wanted: JobState | None = next((one for one in get_args(JobState) if one == state), None)
    if wanted is None or state not in STATES:
        raise InputError(
            _("'{state}' is no state").format(state=state),
            where=_("state"),
            fix=_("use {job_states}").format(job_states=", ".join(STATES)),
        )
    job = store.get_job(number)
    _refuse_closed(job)
    if job.state == state and not idempotency_key:
        raise InputError(_("the job is {state} already").format(state=_(state)), where=_("state"))
    return store.set_state(
        number, wanted, who=who, reason=_with_reason(reason), idempotency_key=idempotency_key
    )


def correct_header(
    store: JobStore,
    number: int,
    fields: Mapping[str, str],
    reason: str,
    *,
    who: str,
    idempotency_key: str = "",
) -> Job:
    """Correct vehicle, complaint, set number or shop order; what stood there stays in the record.

    Parameters
    ----------
    fields : mapping of str to str
        By the names of `CORRECTABLE`; one that is left out stays as it is.

    Raises
    ------
    InputError
        Nothing differs, no reason is given, or the job is closed.
    """
    from axlewright.records import HeaderChange

    job = store.get_job(number)
    _refuse_closed(job)
    reason = _with_reason(reason)
    given = {name: fields[name].strip() for name in CORRECTABLE if name in fields}
    if not idempotency_key and all(getattr(job, name) == value for name, value in given.items()):
        raise InputError(_("nothing is different"), where=_("job"), fix=_("change what is wrong"))
    return store.amend_job(
        number, HeaderChange(**given), who=who, reason=reason, idempotency_key=idempotency_key
    )


def _refuse_closed(job: Job) -> None:
    if job.state == "closed":
        raise InputError(
            _("the job is closed, and what is entered now would stand outside its signature"),
            where=_("job {number}").format(number=job.number),
            fix=_("open the job again first, with a reason"),
        )
