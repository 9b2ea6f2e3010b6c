"""The printed sheet of a job: from what the page shows to paper."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from axlewright.job.entering import cautions_of
from axlewright.job.signing import signature_note
from axlewright.job.view import JobView, Round, StepView, job_view
from axlewright.language import Text, _, joined, n_, zoned_time
from axlewright.steps.result import Result
from axlewright.units import MM_PER_INCH, Length, System, using_system

if TYPE_CHECKING:
    from axlewright.records import Deciding, Entry, JobStore
    from axlewright.sheets import JobSheetData, Photo, ReadingBlock, RoundPlot, Signature, StepBlock
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
SIGNED: Final = n_("signed")
"""A signature of one whose part is not known."""
DISCLAIMER: Final = n_(
    "The maker's service data, local rules and licensed practice come before anything printed here."
)
FIT_POINTS: Final = 73
_RUNOUT: Final = (
    ("face_readings", n_("Runout of the ring gear's back face")),
    ("flange_readings", n_("Runout of the case flange")),
    ("turned_readings", n_("Runout of the back face, ring gear turned on its flange")),
)


def _reading_block(one: Round) -> ReadingBlock:
    from axlewright.sheets import ReadingBlock

    return ReadingBlock(
        readings=one.readings,
        who=one.who,
        when=zoned_time(one.at),
        instrument=one.instrument_text,
        entry=one.seq,
    )


def _remark(entry: Entry) -> Text:
    """Return what was remarked, with who and when; empty where it is said beside what was taken back."""
    said = entry.said("text", "reason")
    if entry.supersedes is not None or not said:
        return ""
    who = joined(_(entry.kind), entry.who, zoned_time(entry.at), between=", ")
    return joined(who, said, between=": ")


def _block(step: StepView, decided: Text) -> StepBlock:
    from axlewright.sheets import StepBlock, Struck

    notes = [decided]
    notes += [joined(one.who, one.note, between=": ") for one in reversed(step.rounds) if one.note]
    found = Result() if step.latest is None or step.latest.result is None else step.latest.result
    notes += found.notes
    if step.status.state != "ok":  # else an accepted pattern settled them
        notes += [_("Question: {question}").format(question=q) for q in found.questions]
    notes += [_remark(entry) for entry in step.remarks]
    notes += [_("Tag: {what}").format(what=one.what) for one in step.pictures if not one.file]
    return StepBlock(
        title=_(step.status.step.title),
        verdict=_WORDS[step.status.state],
        why=step.status.why,
        rounds=[_reading_block(one) for one in reversed(step.rounds)],
        struck=[Struck(values=one.values, fate=one.fate) for one in step.struck],
        begun=bool(step.rounds or step.remarks or step.pictures or step.struck),
        sums=[
            {"label": one.label, "text": str(one), "result": one.result, "sure": one.sure, "note": one.note}
            for one in found.sums
        ],
        limits=found.limits,
        notes=[note for note in notes if note],
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
    from axlewright.job.pattern_shown import sheet_parts
    from axlewright.sheets import JobSheetData

    view = job_view(store, number)
    parts = sheet_parts(store, view)
    backlash = backlash_plot(view.step("backlash"), system)
    decided = decided_words(view.decides)
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
        state=joined(_(job.state), view.state_reason, between=": ")
        if job.state in ("stopped", "dropped")
        else _(job.state),
        people=tuple(dict.fromkeys(e.who for e in view.entries if e.who)),
        steps=_each_caution_once(_block(step, decided if step.key == "depth" else "") for step in view.steps),
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
            caption=_("{what} ({who}, {when})").format(what=one.what, who=one.who, when=zoned_time(one.at)),
            alt=one.what,
        )
        for one in view.pictures
        if one.file
    )


def _later(view: JobView, signed: Entry) -> Text:
    """Say how much was written after a signature; closing the job belongs to the signature."""
    later = [e for e in view.entries if e.seq > signed.seq and e.kind not in ("state", "sign-off")]
    if not later:
        return ""
    return _("Since then {count} entries were added to the record.").format(count=len(later))


def _opened_again(view: JobView, signed: Entry) -> list[Text]:
    """Say when and why the job was opened again after a signature and before the next one."""
    said: list[Text] = []
    for entry in view.entries:
        if entry.seq > signed.seq and entry.kind == "sign-off":
            break
        if entry.seq > signed.seq and entry.kind == "state" and entry.payload.get("state") == "open":
            said.append(
                _("Opened again by {who}, {when}: {reason}").format(
                    who=entry.who, when=zoned_time(entry.at), reason=entry.said("reason")
                )
            )
    return said


def _signatures(view: JobView) -> tuple[Signature, ...]:
    from axlewright.sheets import Signature

    out = [
        Signature(
            role=_(str(e.payload.get("role", SIGNED))),
            name=e.who,
            when=zoned_time(e.at),
            statement=joined(e.said("statement"), _later(view, e)),
            note=joined(signature_note(e.payload), *_opened_again(view, e)),
        )
        for e in view.entries
        if e.kind == "sign-off"
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


def decided_words(decides: Deciding) -> Text:
    """Say which spacer is wanted, what decided on it, and what the sum gave; empty while nothing tells."""
    if decides.spacer_mm is None:
        return ""
    spacer = Length(decides.spacer_mm)
    if decides.pinion == "sum":
        return _("Spacer {spacer}: decided by the depth sum.").format(spacer=spacer)
    accepted = decides.pinion == "accepted"
    if decides.sum_mm is None:
        words = (
            _("Spacer {spacer}: decided by the accepted contact pattern.")
            if accepted
            else _("Spacer {spacer}: decided by the contact pattern.")
        )
        return words.format(spacer=spacer)
    words = (
        _("Spacer {spacer}: decided by the accepted contact pattern; the sum gave {sum}.")
        if accepted
        else _("Spacer {spacer}: decided by the contact pattern; the sum gave {sum}.")
    )
    return words.format(spacer=spacer, sum=Length(decides.sum_mm))


def _per(system: System) -> tuple[float, str]:
    return (MM_PER_INCH, "in") if system == "inch" else (1.0, "mm")


def _angles(count: int) -> tuple[float, ...]:
    return tuple(360.0 * i / count for i in range(count))


def _values(step: StepView) -> Mapping[str, Any]:
    values: Mapping[str, Any] = {}
    if step.latest is not None and step.latest.result:
        values = step.latest.result.values
    return values


def backlash_plot(step: StepView, system: System) -> RoundPlot | None:
    """Return the newest backlash readings as a plot round the ring gear, or None when there are too few.

    The limits they were held against are drawn, the tightest place is ringed.
    """
    from axlewright.sheets import RoundPlot

    found = _values(step)
    values = found.get("readings_mm", ())
    if len(values) < 3 or step.latest is None:
        return None
    per, unit = _per(system)
    tightest = min(range(len(values)), key=lambda i: values[i])
    low, high = found.get("limit_mm") or (None, None)
    words = (
        _(
            "Read by {who}, {when}, at {count} even places. Ringed: the tightest, {least} at {angle}°; "
            "spread {spread}."
        )
        if low is None and high is None
        else _(
            "Read by {who}, {when}, at {count} even places. Ringed: the tightest, {least} at {angle}°; "
            "spread {spread}. Dashed: the limits for the tightest place."
        )
    )
    return RoundPlot(
        title=_("Backlash round the ring gear"),
        unit=unit,
        angles_deg=_angles(len(values)),
        values=tuple(round(v / per, 5) for v in values),
        limit=None if high is None else round(high / per, 5),
        lower_limit=None if low is None else round(low / per, 5),
        ringed=tightest,
        caption=words.format(
            who=step.latest.who,
            when=zoned_time(step.latest.at),
            count=len(values),
            least=Length(values[tightest]),
            angle=round(360.0 * tightest / len(values)),
            spread=Length(max(values) - min(values)),
        ),
    )


def runout_plots(step: StepView, system: System) -> tuple[RoundPlot, ...]:
    """Return the newest runout readings as plots, each with its first and second harmonic."""
    from axlewright.setup import fit_runout
    from axlewright.sheets import RoundPlot

    per, unit = _per(system)
    plots = []
    for name, title in _RUNOUT:
        readings: Sequence[float] = _values(step).get(f"{name}_mm", ())
        if len(readings) < 4:
            continue
        fit = fit_runout(readings)
        angles = tuple(360.0 * i / (FIT_POINTS - 1) for i in range(FIT_POINTS))
        plots.append(
            RoundPlot(
                title=_(title),
                unit=unit,
                angles_deg=_angles(len(readings)),
                values=tuple(round(v / per, 5) for v in readings),
                fit_angles_deg=angles,
                fit_values=tuple(round(fit.value_mm(a) / per, 6) for a in angles),
                caption=_("Line: tilt and saddle fitted to the readings. {words}").format(words=fit.text()),
            )
        )
    return tuple(plots)
