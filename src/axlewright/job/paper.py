"""From the record to the printed sheet."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any, Final

from axlewright.job.decided import decided_words
from axlewright.job.drawings import backlash_plot, runout_plots
from axlewright.job.entering import cautions_of
from axlewright.job.signing import signature_note
from axlewright.job.superseded import superseded_readings
from axlewright.job.view import JobView, Round, StepView, job_view
from axlewright.language import eager as _
from axlewright.language import n_
from axlewright.steps import result as steps
from axlewright.steps.clock import zoned_time
from axlewright.units import System, using_system

if TYPE_CHECKING:
    from axlewright.records import Entry, JobStore
    from axlewright.setup import WrittenSum
    from axlewright.sheets import (
        JobSheetData,
        Limit,
        Photo,
        Reading,
        StepBlock,
        Struck,
        Sum,
    )
    from axlewright.sheets.data import Paper, VerdictWord

_WORDS: Final[dict[str, VerdictWord]] = {
    "open": "open",
    "begun": "open",
    "ask": "ask",
    "not ok": "not ok",
    "again": "again",
    "ok": "ok",
    "waived": "waived",
}
STATES: Final = (n_("open"), n_("stopped"), n_("closed"), n_("dropped"))
"""Of a job."""
SIGNED: Final = n_("signed")
"""A signature of one whose part is not known."""
DISCLAIMER: Final = n_(
    "The maker's service data, local rules and licensed practice come before anything printed here."
)


def _reading(one: steps.Reading, around: Round) -> Reading:
    from axlewright.sheets import Reading

    return Reading(
        name=str(one.name),
        value=str(one.value),
        unit=one.unit,
        instrument=around.instrument_text,
        who=around.who,
        when=zoned_time(around.at),
        note=str(one.note),
        entry=around.seq,
    )


def _sum(one: WrittenSum | steps.OldSum) -> Sum:
    from axlewright.sheets import Sum

    return Sum(
        name=str(one.label),
        text=str(one),
        result=str(one.result),
        uncertainty=str(one.sure),
        note=str(one.note),
    )


def _limit(one: steps.JudgedLimit) -> Limit:
    from axlewright.sheets import Limit

    return Limit(
        name=str(one.name),
        value=str(one.allowed),
        source=str(one.source),
        origin=one.origin,
        read=str(one.read),
        verdict=one.verdict,
    )


def _struck(view: JobView, key: str) -> tuple[Struck, ...]:
    """Return the readings of a step that no longer count."""
    from axlewright.sheets import Struck

    return tuple(
        Struck(values=one.values[:8000], fate=one.fate[:8000])
        for one in superseded_readings(view.entries, key)
    )


def _block(step: StepView, struck: tuple[Struck, ...], decided: str = "") -> StepBlock:
    from axlewright.sheets import StepBlock

    readings: list[Reading] = []
    sums: list[Sum] = []
    limits: list[Limit] = []
    notes = [decided] if decided else []
    latest = step.latest
    for one in reversed(step.rounds):
        readings += [_reading(r, one) for r in one.readings]
        if one.note:
            notes.append(f"{one.who}: {one.note}")
    if latest is not None and latest.result:
        sums = [_sum(one) for one in latest.result.sums]
        limits = [_limit(one) for one in latest.result.limits]
        notes += [str(note) for note in latest.result.notes]
        if step.status.state != "ok":  # else an accepted pattern settled them
            notes += [_("Question: {question}").format(question=q) for q in latest.result.questions]
    for remark in step.remarks:
        if remark.supersedes is not None:
            continue  # said beside what was taken back
        text = str(remark.payload.get("text") or remark.payload.get("reason") or "")
        if text:
            notes.append(f"{_(remark.kind)}, {remark.who}, {zoned_time(remark.at)}: {text}")
    notes += [_("Tag: {what}").format(what=one.what) for one in step.pictures if not one.file]
    return StepBlock(
        title=_(step.status.step.title),
        verdict=_WORDS[step.status.state],
        why=str(step.status.why),
        readings=tuple(readings),
        struck=struck,
        begun=bool(step.rounds or step.remarks or step.pictures or struck),
        sums=tuple(sums),
        limits=tuple(limits),
        notes=tuple(notes),
        cautions=cautions_of(step.key) if step.rounds else (),
    )


def _each_caution_once(blocks: Iterable[StepBlock]) -> tuple[StepBlock, ...]:
    """Return the steps with every caution at the first of them that needs it."""
    said: set[str] = set()
    out = []
    for block in blocks:
        left = tuple(c for c in block.cautions if c not in said)
        said.update(left)
        out.append(block.model_copy(update={"cautions": left}))
    return tuple(out)


def sheet_data(
    store: JobStore,
    number: int,
    *,
    system: System = "inch",
    shop: str = "",
    link: str = "",
    paper: Paper = "a4",
) -> JobSheetData:
    """Return everything on the job's sheet.

    Parameters
    ----------
    store : JobStore
    number : int
    system : {"inch", "metric"}
        System of the sums; lengths are shown in both.
    shop : str
        Name of the shop on top.
    link : str
        Address of the job, printed as a code; empty for none.
    """
    with using_system(system):
        return _sheet_data(store, number, system, shop, link, paper)


def _sheet_data(
    store: JobStore, number: int, system: System, shop: str, link: str, paper: Paper
) -> JobSheetData:
    from axlewright.job.pattern_sheet import sheet_parts
    from axlewright.sheets import JobSheetData

    view = job_view(store, number)
    parts = sheet_parts(store, view, system)
    backlash = backlash_plot(view.step("backlash"), system)
    decided = {"depth": decided_words(view.decides, system)}
    job = view.job
    return JobSheetData(
        shop=shop,
        number=str(job.number),
        reference=job.reference,
        set_number=job.set_number,
        design=job.design_name,
        vehicle=job.vehicle,
        complaint=job.complaint,
        opened=zoned_time(job.created_at),
        state=_(job.state),
        people=tuple(dict.fromkeys(e.who for e in view.entries if e.who)),
        steps=_each_caution_once(
            _block(step, _struck(view, step.key), decided.get(step.key, "")) for step in view.steps
        ),
        patterns=parts.patterns,
        plots=(*runout_plots(view.step("fits"), system), *(() if backlash is None else (backlash,))),
        causes=parts.causes,
        cause_note=parts.cause_note,
        advice=parts.advice,
        photos=(*_photos(store, view), *parts.photos),
        cautions=(_(DISCLAIMER),),
        signatures=_signatures(view),
        link=link,
        fingerprint=job.head,
        paper=paper,
    )


def _photos(store: JobStore, view: JobView) -> tuple[Photo, ...]:
    """Return the photographs of shims, caps and other pieces, each with its tag, who and when."""
    from axlewright.sheets import Photo

    return tuple(
        Photo(
            jpeg=store.read_file(one.file),
            caption=f"{one.what} ({one.who}, {zoned_time(one.at)})",
            alt=one.what,
        )
        for one in view.pictures
        if one.file
    )


def _later(view: JobView, signed: Entry) -> str:
    """Say how much was written after a signature; closing the job belongs to the signature."""
    later = [e for e in view.entries if e.seq > signed.seq and e.kind not in ("state", "sign-off")]
    if not later:
        return ""
    return " " + _("Since then {count} entries were added to the record.").format(count=len(later))


def _opened_again(view: JobView, signed: Entry) -> str:
    """Say when and why the job was opened again after a signature and before the next one."""
    said = []
    for entry in view.entries:
        if entry.seq > signed.seq and entry.kind == "sign-off":
            break
        if entry.seq > signed.seq and entry.kind == "state" and entry.payload.get("state") == "open":
            said.append(
                _("Opened again by {who}, {when}: {reason}").format(
                    who=entry.who, when=zoned_time(entry.at), reason=entry.payload.get("reason", "")
                )
            )
    return " ".join(said)


def _signatures(view: JobView) -> tuple[Any, ...]:
    from axlewright.sheets import Signature

    signed = [e for e in view.entries if e.kind == "sign-off"]
    out = [
        Signature(
            role=_(str(e.payload.get("role", SIGNED))),
            name=e.who,
            when=zoned_time(e.at),
            statement=str(e.payload.get("statement", "")) + _later(view, e),
            note=" ".join(filter(None, (signature_note(e.payload), _opened_again(view, e)))),
        )
        for e in signed
    ]
    return tuple(out) if out else (Signature(role=_("technician")), Signature(role=_("checked by")))


def job_sheet_pdf(
    store: JobStore,
    number: int,
    *,
    system: System = "inch",
    shop: str = "",
    link: str = "",
    paper: Paper = "a4",
) -> bytes:
    """Return the job's sheet as a PDF; see `sheet_data`."""
    from axlewright.sheets import job_sheet

    return job_sheet(sheet_data(store, number, system=system, shop=shop, link=link, paper=paper))
