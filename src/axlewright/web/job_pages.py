"""One job: steps as a strip, one open, its form, its answers, its sheet."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Any

from fastapi import APIRouter, Query, Request
from fastapi.responses import HTMLResponse, Response

from axlewright.errors import InputError
from axlewright.job import FORMS, FieldError, JobView, enter, job_sheet_pdf, job_view, take_back
from axlewright.job.drawings import step_drawings
from axlewright.job.entering import cautions_of
from axlewright.job.header import CORRECTABLE, STATES, correct_header, history, set_state
from axlewright.job.labels import blank_sheet_pdf, set_label_data, spacer_label_data
from axlewright.job.pictures import PIECES, add_picture
from axlewright.job.shelf import take_for_job, to_take
from axlewright.job.signing import LEFT_WORDS, signature_note, stated, statement_for, steps_not_done
from axlewright.language import eager as _
from axlewright.records import not_done
from axlewright.steps.field import UNUSUAL
from axlewright.web.guard import is_loopback
from axlewright.web.page import (
    NOT_REFUSED,
    Form,
    Posted,
    Refused,
    go,
    person_of,
    shown_again,
    site_of,
    whole_number,
)

router = APIRouter()


def show_step(
    request: Request,
    view: JobView,
    key: str,
    *,
    refused: Refused = NOT_REFUSED,
    correcting: int | None = None,
) -> Response:
    """Draw the job page with one step open.

    Parameters
    ----------
    refused : Refused
        Its section is "entry" for the step's own form, else "sign", "waive" or "reopen".
    correcting : int, optional
        Entry that is corrected.
    """
    site = site_of(request)
    step = view.step(key)
    left = steps_not_done(view)
    entry = refused if refused.section == "entry" else NOT_REFUSED
    fill = dict(entry.typed) if entry.error else dict(step.fill)
    if correcting is not None and not entry.error:
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
        "show_unusual": entry.confirmable,
        "correcting": correcting,
        "cautions": cautions_of(key),
        "drawings": step_drawings(step, fill, person_of(request).system),
        "pieces": PIECES,
        "on_shelf": to_take(view, key),
        "instruments": site.store.instruments.list(),
        # What was typed for a step that has to wait stays on the page.
        "waiting": view.waits(key) and refused.error is None,
        "people": site.store.people.list(active_only=True),
        "conflict": refused.conflict,
        "closed": view.job.state in ("closed", "dropped"),
        "states": [one for one in STATES if one != view.job.state],
        "changes": history(view.entries),
        "at": _where_to_go_on(refused),
        "left": left,
        "left_words": LEFT_WORDS,
        "statement": statement_for(bool(left)),
        "signed_notes": {e.seq: signature_note(e.payload) for e in step.remarks if e.kind == "sign-off"},
    }
    return site.show(request, "job.html", values, refused=refused)


def _where_to_go_on(refused: Refused) -> str:
    """Return the field of a form with a PIN in which to go on typing; empty when none is meant."""
    wanted = {"sign": "statement", "reopen": "reopen", "entry": ""}.get(refused.section, "reason")
    if refused.error is None or refused.conflict or not wanted:
        return ""
    if refused.field:
        return refused.field
    return "pin" if refused.error.where == "PIN" else "" if refused.typed.get(wanted, "").strip() else wanted


def _view(request: Request, number: int) -> JobView:
    return job_view(site_of(request).store, number, person_of(request).system)


@router.get("/jobs/{number}", response_class=HTMLResponse)
def job(
    request: Request, number: int, step: str = "", correct: Annotated[int | None, Query()] = None
) -> Response:
    """Show a job, opened at the next step unless another is asked for."""
    view = _view(request, number)
    key = step if step in FORMS else (view.next.key or "close")
    return show_step(request, view, key, correcting=correct)


def _entry_again(request: Request, number: int, key: str, refused: Refused) -> Response:
    if key not in FORMS and refused.error is not None:
        raise refused.error
    typed = {name: value for name, value in refused.typed.items() if name not in ("supersedes", "head")}
    return show_step(
        request,
        _view(request, number),
        key,
        refused=replace(refused, typed=typed),
        correcting=whole_number(refused.typed.get("supersedes", "").strip(), 1),
    )


def _step_again(request: Request, number: int, refused: Refused) -> Response:
    """Show a form with a PIN again, at the step from which it was sent."""
    step = refused.typed.get("step", "").strip()
    if refused.section == "waive" and step not in FORMS and refused.error is not None:
        raise refused.error
    if step not in FORMS:
        step = "complaint" if refused.section in ("state", "header") else "close"
    return show_step(request, _view(request, number), step, refused=refused)


def _entry_named(form: Posted, name: str) -> int:
    seq = form.whole(name, 1)
    if seq is None:
        raise InputError(_("no reading named"), where=_("entry"), fix=_("use the button beside the reading"))
    return seq


@router.post("/jobs/{number}/steps/{key}")
@shown_again(_entry_again, "entry")
def enter_step(request: Request, number: int, key: str, form: Form) -> Response:
    """Enter a step; what was typed stays on the page when something is wrong."""
    person = person_of(request)
    outcome = enter(
        site_of(request).store,
        number,
        key,
        {name: value for name, value in form.but("supersedes", "head").items() if value.strip()},
        who=person.who,
        idempotency_key=form.key,
        system=person.system,
        expected_head=form.text("head") or None,
        supersedes=_entry_named(form, "supersedes") if form.text("supersedes") else None,
    )
    return go(f"/jobs/{number}?step={outcome.step}", "kept", "answer")


@router.post("/jobs/{number}/take-back")
def take_back_reading(request: Request, number: int, form: Form) -> Response:
    """Say that a reading no longer counts."""
    step = form.text("step")
    entry = take_back(
        site_of(request).store,
        number,
        _entry_named(form, "seq"),
        form.text("reason"),
        who=person_of(request).who,
        idempotency_key=form.key,
    )
    return go(f"/jobs/{number}?step={entry.step or step}", "back")


@router.post("/jobs/{number}/take-from-shelf")
def take_from_shelf(request: Request, number: int, form: Form) -> Response:
    """Take from the shelf what an answer named."""
    seq = _entry_named(form, "seq")
    entry = take_for_job(site_of(request).store, number, seq, who=person_of(request).who)
    return go(f"/jobs/{number}?step={entry.step}", "counted", "answer")


@router.post("/jobs/{number}/waive")
@shown_again(_step_again, "waive")
def waive(request: Request, number: int, form: Form) -> Response:
    """Leave a step out, with a reason."""
    site_of(request).store.waive(
        number,
        form.text("step"),
        form.text("reason"),
        who=form.text("who") or person_of(request).who,
        pin=form.text("pin"),
        idempotency_key=form.key,
    )
    return go(f"/jobs/{number}", "waived")


@router.post("/jobs/{number}/reopen")
@shown_again(_step_again, "reopen")
def reopen(request: Request, number: int, form: Form) -> Response:
    """Open a closed job again, with a reason."""
    step = form.text("step")
    site_of(request).store.reopen(
        number,
        form.text("reopen"),
        who=form.text("who") or person_of(request).who,
        pin=form.text("pin"),
        idempotency_key=form.key,
    )
    return go(f"/jobs/{number}?step={step if step in FORMS else 'close'}", "reopened")


def _here(form: Posted) -> str:
    step = form.text("step")
    return step if step in FORMS else "complaint"


@router.post("/jobs/{number}/state")
@shown_again(_step_again, "state")
def change_state(request: Request, number: int, form: Form) -> Response:
    """Stop a job, drop it or set it open again, with a reason."""
    store, who = site_of(request).store, person_of(request).who
    set_state(store, number, form.text("state"), form.text("reason"), who=who, idempotency_key=form.key)
    return go(f"/jobs/{number}?step={_here(form)}", "state")


@router.post("/jobs/{number}/header")
@shown_again(_step_again, "header")
def change_header(request: Request, number: int, form: Form) -> Response:
    """Correct the job's header, with a reason."""
    store, who = site_of(request).store, person_of(request).who
    fields = {name: form.text(name) for name in CORRECTABLE}
    correct_header(store, number, fields, form.text("reason"), who=who, idempotency_key=form.key)
    return go(f"/jobs/{number}?step={_here(form)}", "header")


def _refuse_silent_signing(form: Posted) -> None:
    """Refuse to sign steps that are not done without a tick and a reason."""
    if not form.text("despite"):
        raise FieldError(
            "despite",
            _("sign"),
            _("steps are not done, and it is not ticked that you sign all the same"),
            _("do them or leave them out with a reason, or tick it and give the reason"),
        )
    if not form.text("although"):
        raise FieldError(
            "although",
            _("sign"),
            _("no reason is given for signing although steps are not done"),
            _("say in a few words why"),
        )


@router.post("/jobs/{number}/sign")
@shown_again(_step_again, "sign")
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
        _refuse_silent_signing(form)
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
