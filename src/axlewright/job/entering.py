"""Enter a step: what was typed is read, worked out, judged and kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Any

from axlewright.errors import AxlewrightError, InputError
from axlewright.language import Text, _, encode
from axlewright.steps.forms import FORMS
from axlewright.steps.result import Result, keep_readings, kept_readings
from axlewright.units import LONGEST_NOTE, System, check_text, using_system

if TYPE_CHECKING:
    from axlewright.records import Entry, JobStore
    from axlewright.steps.step import Context, StepForm


@dataclass(slots=True)
class Outcome(Result):
    """What entering a step gave, and where it was kept.

    Attributes
    ----------
    entries : tuple of Entry
        What was written, the reading first.
    """

    step: str = ""
    entries: tuple[Entry, ...] = ()

    @property
    def cautions(self) -> tuple[Text, ...]:
        """Short cautions of the step."""
        return cautions_of(self.step)

    def to_json(self) -> dict[str, Any]:
        """Return the outcome as plain data: every text with its values and as shown now."""
        return {
            "step": self.step,
            **self.payload(),
            "cautions": encode(self.cautions),
            "entries": [e.seq for e in self.entries],
        }


def form_of(step: str) -> StepForm:
    """Return the form of a step.

    Raises
    ------
    InputError
        There is no such step.
    """
    if step not in FORMS:
        raise InputError(
            _("there is no step '{step}'").format(step=step),
            where=_("step"),
            fix=_("use one of {forms}").format(forms=", ".join(FORMS)),
        )
    return FORMS[step]


def cautions_of(step: str) -> tuple[Text, ...]:
    """Return the short cautions of a step."""
    from axlewright.records.steps import step as step_of
    from axlewright.setup import cautions_for

    return tuple(c.text for c in cautions_for(step_of(step).cautions))


def known_of(
    store: JobStore, number: int, *, who: str, system: System, step: str = "pattern", instrument: str = ""
) -> Context:
    """Gather what is already known of a job before a step is entered.

    Parameters
    ----------
    step : str
        The step to be entered.
    instrument : str
        Name of the instrument used.

    Raises
    ------
    InputError
        The job is stopped and this step has to wait.
    """
    from axlewright.job.designs import design_of_job
    from axlewright.job.shelf import PINION_LEAF, SIDE_SHIM, spacers
    from axlewright.records import standing, stopped_by, waits_behind
    from axlewright.steps.fitted import last_fitted
    from axlewright.steps.step import Context

    job = store.get_job(number)
    entries = store.entries(number)
    stopping = stopped_by(entries)
    if stopping is not None and waits_behind(step, stopping):
        raise InputError(
            _("the job is stopped: {why}").format(why=stopping.why),
            where=_(stopping.step.title),
            fix=_("answer it there first, or let a lead leave that step out with a reason"),
        )
    return Context(
        job,
        design_of_job(store, job),
        tuple(standing(entries)),
        spacers(store, job.design_name),
        who,
        system,
        spacers(store, job.design_name, PINION_LEAF),
        spacers(store, job.design_name, SIDE_SHIM),
        store.instruments.find(instrument) if instrument.strip() else None,
        last_fitted(entries),
    )


def work_out(
    store: JobStore, number: int, step: str, fields: Mapping[str, str], *, who: str, system: System = "inch"
) -> Result:
    """Work a step out without keeping anything.

    Raises
    ------
    InputError
        A `FieldError` when it is about one field.
    """
    from axlewright.steps.answers import Answers

    form = form_of(step)
    answers = Answers(form.fields, fields, system)
    known = known_of(
        store, number, who=who, system=system, step=step, instrument=fields.get("instrument", "")
    )
    found = form.rule(answers, known)
    _say_calibration(found, known)
    return found


def work_out_alone(
    step: str, fields: Mapping[str, str], *, system: System = "inch", shelf_mm: Sequence[float] = ()
) -> Result:
    """Work a step out that belongs to no job: nothing is known but what is typed.

    Parameters
    ----------
    shelf_mm : sequence of float
        Thickness of the spacers at hand [mm].
    """
    from axlewright.setup import StockItem
    from axlewright.steps.answers import Answers
    from axlewright.steps.step import Context

    shelf = tuple(StockItem(f"{k}", mm) for k, mm in enumerate(shelf_mm, start=1))
    form = form_of(step)
    return form.rule(Answers(form.fields, fields, system), Context.without_job(system, shelf=shelf))


def _say_calibration(found: Result, known: Context) -> None:
    tool = known.instrument
    if tool is None:
        return
    if tool.due_on is not None and tool.due_on < date.today():
        found.notes.append(
            _("{name}: its calibration was due on {day}. The readings stand with that remark.").format(
                name=tool.name, day=tool.due_on
            )
        )


def enter(
    store: JobStore,
    number: int,
    step: str,
    fields: Mapping[str, str],
    *,
    who: str,
    idempotency_key: str = "",
    system: System = "inch",
    expected_head: str | None = None,
    supersedes: int | None = None,
) -> Outcome:
    """Enter a step.

    Parameters
    ----------
    store : JobStore
    number : int
        Number of the job.
    step : str
        Key of the step.
    fields : mapping of str to str
        As typed, by the names of ``FORMS[step]``; missing ones count as empty.
    who : str
        Who enters it.
    idempotency_key : str
        The same key again writes nothing twice and gives the first outcome.
    system : {"inch", "metric"}
        Of numbers without a unit.
    expected_head : str, optional
        The job's head when the form was shown; when others wrote meanwhile, `JobConflictError` is raised.
    supersedes : int, optional
        `seq` of the reading that these fields correct; its result is superseded with it.

    Raises
    ------
    InputError
        Nothing is kept then. A `FieldError` names the field.
    """
    who = who.strip()
    if not who:
        raise InputError(_("nobody named"), where=_("who"), fix=_("say who enters it"))
    if (already := kept_outcome(store, number, idempotency_key)) is not None:
        return already
    try:
        found = work_out(store, number, step, fields, who=who, system=system)
    except InputError:
        raise
    except AxlewrightError as error:
        raise InputError(error.what, where=error.where or step, fix=error.fix) from error
    with using_system(system):  # the words as they are shown now
        kept, payload = keep_readings(found.readings), found.payload()
    typed = {name: value for name, value in fields.items() if value.strip()}
    reading = store.add_entry(
        number,
        "reading",
        step,
        {
            "typed": typed,
            "system": system,
            "readings": kept,
            "note": fields.get("note", "").strip(),
        },
        who=who,
        instrument=fields.get("instrument", "").strip(),
        idempotency_key=idempotency_key,
        expected_head=expected_head,
        supersedes=supersedes,
    )
    old_result = result_of(store, number, supersedes)
    result = store.add_entry(
        number,
        "result",
        step,
        {**payload, "of": reading.seq},
        who=who,
        idempotency_key=f"{idempotency_key}:result" if idempotency_key else "",
        supersedes=old_result,
    )
    return outcome_of(step, result.payload, (reading, result))


def result_of(store: JobStore, number: int, reading: int | None) -> int | None:
    """Return the `seq` of the result that belongs to a reading, or None."""
    if reading is None:
        return None
    gone = {e.supersedes for e in store.entries(number)}
    for entry in store.entries(number, kind="result"):
        if entry.payload.get("of") == reading and entry.seq not in gone:
            return entry.seq
    return None


def kept_outcome(store: JobStore, number: int, key: str) -> Outcome | None:
    """Return the outcome kept under this key, when there is one and reading and result are both there."""
    if not key:
        return None
    pair: dict[str, Entry] = {}
    for entry in store.entries(number):
        if entry.idempotency_key in (key, f"{key}:result", f"{key}:advice"):
            pair[entry.kind] = entry
    if "reading" in pair and "result" in pair:
        return outcome_of(pair["result"].step, pair["result"].payload, tuple(pair.values()))
    return None


def outcome_of(step: str, payload: Mapping[str, Any], entries: tuple[Entry, ...]) -> Outcome:
    """Return a kept result as an outcome."""
    found = Result.of_payload(payload, kept_readings(entries[0].payload) if entries else ())
    return Outcome(
        found.verdict,
        found.why,
        found.readings,
        found.sums,
        found.limits,
        found.notes,
        found.questions,
        found.values,
        step=step,
        entries=entries,
    )


def take_back(
    store: JobStore, number: int, seq: int, reason: str, *, who: str, idempotency_key: str = ""
) -> Entry:
    """Say that an entry no longer counts; it stays in the record.

    Parameters
    ----------
    seq : int
        Of the reading; its result is taken back with it.
    reason : str
        Why; required.
    """
    reason = reason.strip()
    check_text(reason, where=_("reason"), longest=LONGEST_NOTE)
    if not reason:
        raise InputError(_("no reason given"), where=_("reason"), fix=_("say why it no longer counts"))
    entries = {e.seq: e for e in store.entries(number)}
    if seq not in entries:
        raise InputError(
            _("there is no entry {seq}").format(seq=seq), where=_("entry"), fix=_("name one of this job")
        )
    step = entries[seq].step
    result = result_of(store, number, seq)
    note = store.add_entry(
        number,
        "note",
        step,
        {"text": _("taken back: {reason}").format(reason=reason), "reason": reason},
        who=who,
        supersedes=seq,
        idempotency_key=idempotency_key,
    )
    if result is not None:
        store.add_entry(
            number,
            "note",
            step,
            {"text": _("result taken back with reading {seq}").format(seq=seq)},
            who=who,
            supersedes=result,
            idempotency_key=f"{idempotency_key}:result" if idempotency_key else "",
        )
    return note
