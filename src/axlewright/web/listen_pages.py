"""Listen: a recording and a speed; which parts fit, what cannot be told apart, what to record next."""

from __future__ import annotations

import base64
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from axlewright.bench import FieldError, design_names
from axlewright.bench.hearing import Heard, hear
from axlewright.errors import AxlewrightError
from axlewright.web.page import Form, person_of, site_of

router = APIRouter()


def _page(
    request: Request,
    *,
    typed: dict[str, str] | None = None,
    error: AxlewrightError | None = None,
    heard: Heard | None = None,
) -> Response:
    site = site_of(request)
    values: dict[str, Any] = {
        "designs": design_names(site.store),
        "jobs": [j for j in site.store.list_jobs(limit=20) if j.state in ("open", "stopped")],
        "typed": typed or {},
        "error": error,
        "error_field": error.field if isinstance(error, FieldError) else "",
        "heard": heard,
        "picture": "" if heard is None else base64.b64encode(heard.picture).decode(),
    }
    return site.show(request, "listen.html", values, status=422 if error else 200)


@router.get("/listen", response_class=HTMLResponse)
def listen(request: Request, job: int = 0) -> Response:
    """Show the form."""
    typed = {"job": str(job)} if job else {}
    if job:
        typed["design"] = site_of(request).store.get_job(job).design_name
    return _page(request, typed=typed)


@router.post("/listen")
def hear_recording(request: Request, form: Form) -> Response:
    """Listen to an uploaded recording."""
    typed = dict(form.fields)
    files = form.files.get("file", ())
    try:
        if not files:
            raise FieldError("file", "recording", "no file chosen", "record on the phone and choose the file")
        heard = hear(
            site_of(request).store,
            files[0].data,
            files[0].name,
            design_name=form.text("design"),
            tyre=form.text("tyre"),
            speed=form.fields.get("speed", ""),
            job=form.whole("job", 1),
            who=person_of(request).who,
            idempotency_key=form.key,
        )
    except AxlewrightError as error:
        return _page(request, typed=typed, error=error)
    return _page(request, typed=typed, heard=heard)
