"""A job as pages and paper show it: each step with its readings, sums, limits and where it stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TYPE_CHECKING, Any, Final

from axlewright.job.pictures import Picture, pictures_of
from axlewright.language import Shown, Text, _, decode, joined, n_, zoned_time
from axlewright.steps.fitted import last_fitted
from axlewright.steps.forms import FORMS
from axlewright.steps.result import Reading, Result, kept_readings
from axlewright.steps.step import StepForm
from axlewright.units import MM_PER_INCH, System

if TYPE_CHECKING:
    from axlewright.records import Deciding, Entry, Job, JobStore, NextStep, StepStatus

STATE_WORDS: Final[Mapping[str, str]] = {
    "open": n_("open"),
    "begun": n_("begun"),
    "ask": n_("question"),
    "not ok": n_("not ok"),
    "again": n_("again"),
    "ok": n_("done"),
    "waived": n_("waived"),
}
"""What a step's state is called on the page; the word stands beside the sign, colour is never alone."""

JOB_STATE_WORDS: Final = (n_("open"), n_("stopped"), n_("closed"), n_("dropped"))

STATE_SIGNS: Final[Mapping[str, str]] = {
    "open": "○",
    "begun": "◐",
    "ask": "?",
    "not ok": "✕",
    "again": "↻",
    "ok": "✓",
    "waived": "–",
}


@dataclass(frozen=True, slots=True)
class Round:
    """One entering of a step: what was read and what it gave.

    Attributes
    ----------
    seq : int
        Of the reading.
    result : Result or None
        What it gave.
    told : mapping
        Everything the result's entry holds besides; empty when there is none.
    """

    seq: int
    who: str
    at: datetime
    instrument: str
    readings: tuple[Reading, ...]
    note: str
    typed: Mapping[str, str]
    system: System
    result: Result | None
    told: Mapping[str, Any]
    files: tuple[str, ...] = ()
    payload: Mapping[str, Any] = field(default_factory=dict)
    calibrated_on: date | None = None

    @property
    def instrument_text(self) -> Text:
        """Instrument with the date of its calibration when it was read."""
        if self.calibrated_on is None:
            return self.instrument
        return _("{name}, calibrated {day}").format(name=self.instrument, day=self.calibrated_on)


@dataclass(frozen=True, slots=True)
class Superseded:
    """A reading that no longer counts: who replaced it or took it back, when and why.

    Attributes
    ----------
    seq, who, at : int, str, datetime
        Of the reading.
    by : Entry
        What replaced it or took it back.
    """

    seq: int
    who: str
    at: datetime
    readings: tuple[Reading, ...]
    by: Entry

    @property
    def corrected(self) -> bool:
        """Whether another reading took its place; else it was taken back."""
        return self.by.kind == "reading"

    @property
    def values(self) -> Text:
        """What was read, in one line."""
        return joined(*(joined(one.name, one.value, one.unit) for one in self.readings), between="; ")

    @property
    def fate(self) -> Text:
        """Who replaced it or took it back, when and why."""
        words = (
            _("Entry {seq} by {who}, {when}: replaced by entry {by_seq}, {by_who}, {by_when}.")
            if self.corrected
            else _("Entry {seq} by {who}, {when}: taken back by {by_who}, {by_when} (entry {by_seq}).")
        ).format(
            seq=self.seq,
            who=self.who,
            when=zoned_time(self.at),
            by_seq=self.by.seq,
            by_who=self.by.who,
            by_when=zoned_time(self.by.at),
        )
        # In older records the reason of a reading taken back stands only in the note's sentence.
        reason = self.by.said("note") if self.corrected else self.by.said("reason", "text")
        return joined(words, _("Reason: {reason}").format(reason=reason or _("no reason given")))


@dataclass(frozen=True, slots=True)
class StepView:
    """One step as it is shown.

    Attributes
    ----------
    rounds : tuple of Round
        Those that count, newest first.
    struck : tuple of Superseded
        Readings that no longer count, oldest first.
    fill : mapping of str to str
        What the form is filled with.
    remarks : tuple of Entry
        Waivers, notes, decisions and sign-offs.
    pictures : tuple of Picture
        Photographs and tags of pieces.
    """

    status: StepStatus
    form: StepForm
    rounds: tuple[Round, ...]
    struck: tuple[Superseded, ...]
    fill: Mapping[str, str]
    remarks: tuple[Entry, ...]
    pictures: tuple[Picture, ...] = ()

    @property
    def key(self) -> str:
        """Key of the step."""
        return self.status.step.key

    @property
    def word(self) -> str:
        """State in words."""
        return STATE_WORDS[self.status.state]

    @property
    def sign(self) -> str:
        """State as a sign."""
        return STATE_SIGNS[self.status.state]

    @property
    def latest(self) -> Round | None:
        """The newest round that counts."""
        return self.rounds[0] if self.rounds else None


@dataclass(frozen=True, slots=True)
class JobView:
    """A job as it is shown.

    Attributes
    ----------
    decides : Deciding
        Which evidence decides where the gears belong.
    stopping : StepStatus or None
        The step that stops the job until it is answered.
    """

    job: Job
    steps: tuple[StepView, ...]
    next: NextStep
    entries: tuple[Entry, ...]
    decides: Deciding
    stopping: StepStatus | None = None

    @property
    def pictures(self) -> tuple[Picture, ...]:
        """Photographs and tags of all steps, in the order of the steps."""
        return tuple(one for step in self.steps for one in step.pictures)

    @property
    def state_reason(self) -> Text:
        """Why the job is in the state it is in, as written when it was set."""
        return next((e.said("reason") for e in reversed(self.entries) if e.kind == "state"), "")

    @property
    def signed(self) -> bool:
        """Whether anybody signed it."""
        return any(entry.kind == "sign-off" for entry in self.entries)

    def waits(self, key: str) -> bool:
        """Whether a step has to wait because the job is stopped."""
        from axlewright.records import waits_behind

        return self.stopping is not None and waits_behind(key, self.stopping)

    def step(self, key: str) -> StepView:
        """Return one step."""
        return next(s for s in self.steps if s.key == key)


def _round(entry: Entry, results: Mapping[int, Entry]) -> Round:
    result = results.get(entry.seq)
    payload = entry.payload
    system: System = "metric" if payload.get("system") == "metric" else "inch"
    return Round(
        entry.seq,
        entry.who,
        entry.at,
        entry.instrument,
        kept_readings(payload),
        str(payload.get("note", "")),
        payload.get("typed", {}),
        system,
        None if result is None else Result.of_payload(result.payload),
        {} if result is None else decode(result.payload),
        entry.files,
        payload,
        entry.calibrated_on,
    )


def job_view(store: JobStore, number: int, system: System = "metric") -> JobView:
    """Gather a job for showing; `system` is that of the mounting distance filled in."""
    from axlewright.records import deciding, standing, stopped_by
    from axlewright.records.steps import next_step, step_statuses

    job = store.get_job(number)
    entries = store.entries(number)
    counted = standing(entries)
    gone = {e.supersedes: e for e in entries if e.supersedes is not None}
    results: dict[int, Entry] = {}
    for entry in counted:
        if entry.kind == "result" and isinstance(entry.payload.get("of"), int):
            results[entry.payload["of"]] = entry
    mounting = _design_fill(store, job, system)
    steps = []
    for status in step_statuses(entries):
        key = status.step.key
        own = [e for e in counted if e.step == key]
        readings = [e for e in own if e.kind == "reading"]
        rounds = tuple(_round(e, results) for e in reversed(readings))
        struck = tuple(
            Superseded(e.seq, e.who, e.at, kept_readings(e.payload), gone[e.seq])
            for e in entries
            if e.step == key and e.kind == "reading" and e.seq in gone
        )
        form = FORMS[key]
        fill = {f.name: f.default for f in form.fields if f.default}
        if key == "depth":
            fill |= mounting | _mark_fill(counted)
        for one in reversed(rounds):
            if "typed" in one.payload:
                fill |= {
                    f.name: one.typed.get(f.name, "")
                    for f in form.fields
                    if f.sticky and one.typed.get(f.name)
                }
        if key == "depth":
            last = last_fitted(entries)
            fill["fitted"] = last.typed if last is not None and last.counts else ""
        remarks = tuple(e for e in own if e.kind in ("waiver", "note", "decision", "sign-off", "recording"))
        pictures = tuple(pictures_of(own, key))
        steps.append(StepView(status, form, rounds, struck, fill, remarks, pictures))
    return JobView(
        job, tuple(steps), next_step(entries), tuple(entries), deciding(counted), stopped_by(entries)
    )


def _design_fill(store: JobStore, job: Job, system: System) -> dict[str, str]:
    from axlewright.job.designs import design_of_job

    design = design_of_job(store, job)
    if design is None or design.mounting_distance_mm is None:
        return {}
    mm = design.mounting_distance_mm
    shown = f"{Shown(mm / MM_PER_INCH):.5g} in" if system == "inch" else f"{Shown(mm):g} mm"
    return {"mounting_distance": shown, "mounting_distance_of": "design"}


def _mark_fill(counted: list[Entry]) -> dict[str, str]:
    for entry in reversed(counted):
        if entry.step == "identity" and entry.kind == "result":
            values = entry.payload.get("values", {})
            if "mark" in values:
                return {
                    "mark": str(values.get("mark_text", "")),
                    "mark_unit": str(values["mark_unit"]),
                    "mark_meaning": str(values["mark_meaning"]),
                }
    return {}
