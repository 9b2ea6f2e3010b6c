"""One job: steps as a strip, one open, its form, its answers, its sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, Response

from axlewright.errors import AxlewrightError, InputError
from axlewright.job import FORMS, FieldError, JobView, enter, job_sheet_pdf, job_view, take_back
from axlewright.job.entering import cautions_of
from axlewright.job.header import CORRECTABLE, STATES, correct_header, history, set_state
from axlewright.job.labels import blank_sheet_pdf, set_label_data, spacer_label_data
from axlewright.job.pictures import PIECES, add_picture
from axlewright.job.shelf import take_for_job, to_take
from axlewright.job.signing import LEFT_WORDS, signature_note, stated, statement_for, steps_not_done
from axlewright.job.step_drawings import step_drawings
from axlewright.language import eager as _
from axlewright.records import Entry, JobConflictError, not_done
from axlewright.steps.field import UNUSUAL
from axlewright.web.guard import is_loopback
from axlewright.web.page import Form, go, person_of, site_of

router = APIRouter()


@dataclass(frozen=True, slots=True)
class Mend:
    """A form with a PIN that could not be taken and is shown again.

    Attributes
    ----------
    form : str
        "sign", "waive", "reopen", "header", "state", or empty for none.
    at : str
        Where to go on typing; empty when no field is meant.
    typed : mapping of str to str
        All but the PIN.
    others : sequence of Entry
        What others wrote meanwhile.
    """

    form: str = ""
    error: AxlewrightError | None = None
    at: str = ""
    typed: Mapping[str, str] = field(default_factory=dict)
    others: Sequence[Entry] = ()


def show_step(
    request: Request,
    view: JobView,
    key: str,
    *,
    typed: Mapping[str, str] | None = None,
    error: AxlewrightError | None = None,
    correcting: int | None = None,
    status: int = 200,
    conflict: JobConflictError | None = None,
    mend: Mend | None = None,
) -> Response:
    """Draw the job page with one step open."""
    site = site_of(request)
    step = view.step(key)
    people = site.store.people.list(active_only=True)
    left = steps_not_done(view)
    fill = dict(typed) if typed is not None else dict(step.fill)
    if correcting is not None and typed is None:
        for one in step.rounds:
            if one.seq == correcting:
                # What is in the axle now stays filled in, whichever reading is corrected.
                fill = dict(one.typed) | {n: step.fill[n] for n in ("fitted",) if step.fill.get(n)}
    values: dict[str, Any] = {
        "view": view,
        "job": view.job,
        "step": step,
        "form": FORMS[key],
        "fill": fill,
        "filled": {name for name, value in fill.items() if value},
        "unusual": UNUSUAL,
        "show_unusual": isinstance(error, FieldError) and error.confirmable,
        "error": error,
        "error_field": error.field if isinstance(error, FieldError) else "",
        "correcting": correcting,
        "cautions": cautions_of(key),
        "drawings": step_drawings(step, fill, person_of(request).system),
        "pieces": PIECES,
        "on_shelf": to_take(view, key),
        "instruments": site.store.instruments.list(),
        # What was typed for a step that has to wait stays on the page.
        "waiting": view.waits(key) and typed is None and mend is None,
        "people": people,
        "conflict": conflict,
        "closed": view.job.state in ("closed", "dropped"),
        "states": [one for one in STATES if one != view.job.state],
        "changes": history(view.entries),
        "mend": mend or Mend(),
        "left": left,
        "left_words": LEFT_WORDS,
        "statement": statement_for(bool(left)),
        "signed_notes": {e.seq: signature_note(e.payload) for e in step.remarks if e.kind == "sign-off"},
    }
    return site.show(request, "job.html", values, status=status)


@router.get("/jobs/{number}", response_class=HTMLResponse)
def job(
    request: Request, number: int, step: str = "", correct: Annotated[int | None, Query()] = None
) -> Response:
    """Show a job, opened at the next step unless another is asked for."""
    view = job_view(site_of(request).store, number, person_of(request).system)
    key = step if step in FORMS else (view.next.key or "close")
    return show_step(request, view, key, correcting=correct)


@router.post("/jobs/{number}/steps/{key}")
def enter_step(request: Request, number: int, key: str, form: Form) -> Response:
    """Enter a step; what was typed stays on the page when something is wrong."""
    store = site_of(request).store
    person = person_of(request)
    fields = form.but("supersedes", "head")
    correcting = form.whole("supersedes", 1)
    if form.text("supersedes") and correcting is None:
        raise InputError(_("no reading named"), where=_("entry"), fix=_("use the button beside the reading"))
    try:
        outcome = enter(
            store,
            number,
            key,
            {name: value for name, value in fields.items() if value.strip()},
            who=person.who,
            idempotency_key=form.key,
            system=person.system,
            expected_head=form.text("head") or None,
            supersedes=correcting,
        )
    except JobConflictError as error:
        view = job_view(store, number, person.system)
        return show_step(
            request, view, key, typed=fields, error=error, correcting=correcting, status=409, conflict=error
        )
    except AxlewrightError as error:
        if key not in FORMS:
            raise
        view = job_view(store, number, person.system)
        return show_step(request, view, key, typed=fields, error=error, correcting=correcting, status=422)
    return go(f"/jobs/{number}?step={outcome.step}", "kept", "answer")


@router.post("/jobs/{number}/take-back")
def take_back_reading(request: Request, number: int, form: Form) -> Response:
    """Say that a reading no longer counts."""
    seq = form.whole("seq", 1)
    if seq is None:
        raise InputError(_("no reading named"), where=_("entry"), fix=_("use the button beside the reading"))
    step = form.text("step")
    entry = take_back(
        site_of(request).store,
        number,
        seq,
        form.text("reason"),
        who=person_of(request).who,
        idempotency_key=form.key,
    )
    return go(f"/jobs/{number}?step={entry.step or step}", "back")


@router.post("/jobs/{number}/take-from-shelf")
def take_from_shelf(request: Request, number: int, form: Form) -> Response:
    """Take from the shelf what an answer named."""
    seq = form.whole("seq", 1)
    if seq is None:
        raise InputError(_("no reading named"), where=_("entry"), fix=_("use the button beside the reading"))
    entry = take_for_job(site_of(request).store, number, seq, who=person_of(request).who)
    return go(f"/jobs/{number}?step={entry.step}", "counted", "answer")


def _mend(
    request: Request, number: int, form: Form, name: str, key: str, error: AxlewrightError, at: str = ""
) -> Response:
    """Show a form with a PIN again: what was wrong, and all that was typed but the PIN."""
    view = job_view(site_of(request).store, number, person_of(request).system)
    kept = ("who", "reason", "reopen", "although", "statement", "despite", "state", *CORRECTABLE)
    typed = {one: form.text(one) for one in kept}
    wanted = {"sign": "statement", "reopen": "reopen"}.get(name, "reason")
    if not at:
        conflict = isinstance(error, JobConflictError)
        at = "" if conflict else "pin" if error.where == "PIN" else wanted if not typed[wanted] else ""
    others = error.others if isinstance(error, JobConflictError) else ()
    mend = Mend(name, error, at, typed, others)
    return show_step(request, view, key, status=409 if others else 422, mend=mend)


@router.post("/jobs/{number}/waive")
def waive(request: Request, number: int, form: Form) -> Response:
    """Leave a step out, with a reason."""
    step = form.text("step")
    try:
        site_of(request).store.waive(
            number,
            step,
            form.text("reason"),
            who=form.text("who") or person_of(request).who,
            pin=form.text("pin"),
            idempotency_key=form.key,
        )
    except AxlewrightError as error:
        if step not in FORMS:
            raise
        return _mend(request, number, form, "waive", step, error)
    return go(f"/jobs/{number}", "waived")


@router.post("/jobs/{number}/reopen")
def reopen(request: Request, number: int, form: Form) -> Response:
    """Open a closed job again, with a reason."""
    step = form.text("step")
    step = step if step in FORMS else "close"
    try:
        site_of(request).store.reopen(
            number,
            form.text("reopen"),
            who=form.text("who") or person_of(request).who,
            pin=form.text("pin"),
            idempotency_key=form.key,
        )
    except AxlewrightError as error:
        return _mend(request, number, form, "reopen", step, error)
    return go(f"/jobs/{number}?step={step}", "reopened")


@router.post("/jobs/{number}/state")
def change_state(request: Request, number: int, form: Form) -> Response:
    """Stop a job, drop it or set it open again, with a reason."""
    step = form.text("step")
    step = step if step in FORMS else "complaint"
    store, who = site_of(request).store, person_of(request).who
    try:
        set_state(store, number, form.text("state"), form.text("reason"), who=who, idempotency_key=form.key)
    except AxlewrightError as error:
        return _mend(request, number, form, "state", step, error)
    return go(f"/jobs/{number}?step={step}", "state")


@router.post("/jobs/{number}/header")
def change_header(request: Request, number: int, form: Form) -> Response:
    """Correct the job's header, with a reason."""
    step = form.text("step")
    step = step if step in FORMS else "complaint"
    store, who = site_of(request).store, person_of(request).who
    fields = {name: form.text(name) for name in CORRECTABLE}
    try:
        correct_header(store, number, fields, form.text("reason"), who=who, idempotency_key=form.key)
    except AxlewrightError as error:
        return _mend(request, number, form, "header", step, error)
    return go(f"/jobs/{number}?step={step}", "header")


def _refuse_silent_signing(form: Form) -> tuple[str, InputError] | None:
    """Return the field and what is missing where steps that are not done are to be signed."""
    if not form.text("despite"):
        return "despite", InputError(
            _("steps are not done, and it is not ticked that you sign all the same"),
            where=_("sign"),
            fix=_("do them or leave them out with a reason, or tick it and give the reason"),
        )
    if not form.text("although"):
        return "although", InputError(
            _("no reason is given for signing although steps are not done"),
            where=_("sign"),
            fix=_("say in a few words why"),
        )
    return None


@router.post("/jobs/{number}/sign")
def sign(request: Request, number: int, form: Form) -> Response:
    """Sign the job off and close it; steps that are not done need a tick and a reason."""
    store = site_of(request).store
    if not form.text("head"):
        raise InputError(
            _("it is not known which state of the job was seen"),
            where=_("sign"),
            fix=_("open the step 'close' again and sign there"),
        )
    left = bool(not_done(store.entries(number)))
    if left:
        missing = _refuse_silent_signing(form)
        if missing is not None:
            return _mend(request, number, form, "sign", "close", missing[1], missing[0])
    try:
        store.sign_off(
            number,
            who=form.text("who"),
            pin=form.text("pin"),
            statement=stated(form.text("statement"), left),
            head=form.text("head"),
            close=True,
            although=form.text("although") if form.text("despite") else "",
            idempotency_key=form.key,
        )
    except AxlewrightError as error:
        return _mend(request, number, form, "sign", "close", error)
    return go(f"/jobs/{number}?step=close", "signed")


@router.post("/jobs/{number}/pictures")
def keep_picture(request: Request, number: int, form: Form) -> Response:
    """Keep photographs or a tag of a piece."""
    step = form.text("step")
    photos: tuple[bytes | None, ...] = tuple(one.data for one in form.files.get("photo", ())) or (None,)
    for place, photo in enumerate(photos):
        add_picture(
            site_of(request).store,
            number,
            step,
            piece=form.text("piece"),
            photo=photo,
            tag=form.text("tag"),
            caption=form.text("caption"),
            who=person_of(request).who,
            idempotency_key=f"{form.key}-{place}" if form.key else "",
        )
    return go(f"/jobs/{number}?step={step}", "photos", "pictures")


def _pdf(data: bytes, name: str) -> Response:
    return Response(
        data,
        media_type="application/pdf",
        headers={"content-disposition": f'inline; filename="{name}.pdf"'},
    )


@router.get("/jobs/{number}/label.pdf")
def job_label(request: Request, number: int) -> Response:
    """Return the label of the job's set."""
    from axlewright.sheets import set_label

    data = set_label_data(site_of(request).store, number, person_of(request).system)
    return _pdf(set_label(data), f"set-label-{number}")


@router.get("/shelf/{item}/label.pdf")
def shelf_label(request: Request, item: int) -> Response:
    """Return the label of a piece on the shelf."""
    from axlewright.sheets import spacer_label

    return _pdf(spacer_label(spacer_label_data(site_of(request).store, item)), f"spacer-label-{item}")


@router.get("/bench-sheet.pdf")
def blank(request: Request, job: Annotated[int | None, Query()] = None) -> Response:
    """Return the blank bench sheet for paper days, with what is known of a job on it."""
    site, person = site_of(request), person_of(request)
    data = blank_sheet_pdf(
        site.store, job, shop=person.shop, paper="us-letter" if person.system == "inch" else "a4"
    )
    return _pdf(data, "bench-sheet")


@router.get("/jobs/{number}/sheet.pdf")
def sheet(request: Request, number: int) -> Response:
    """Return the printed sheet."""
    site, person = site_of(request), person_of(request)
    link = "" if is_loopback(request) else str(request.url_for("job", number=str(number)))
    data = job_sheet_pdf(
        site.store,
        number,
        system=person.system,
        shop=person.shop,
        link=link,
        paper="us-letter" if person.system == "inch" else "a4",
    )
    return _pdf(data, f"job-{number}")


@router.get("/files/{sha256}")
def stored_file(request: Request, sha256: str) -> Response:
    """Return a stored photo or recording; the name is its hash, so it never changes."""
    store = site_of(request).store
    found = store.files.find(sha256)
    kinds = {".jpg": "image/jpeg", ".jpeg": "image/jpeg", ".png": "image/png", ".wav": "audio/wav"}
    return Response(
        store.read_file(sha256),
        media_type=kinds.get(found.suffix.lower(), "application/octet-stream"),
        headers={"cache-control": "private, max-age=31536000, immutable"},
    )
