"""The bench: open jobs with their next step, and starting one."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from axlewright.errors import AxlewrightError
from axlewright.job import design_names, find_design, start_job
from axlewright.language import Text
from axlewright.language import eager as _
from axlewright.web.page import Form, go, person_of, site_of

router = APIRouter()


@dataclass(frozen=True, slots=True)
class JobLine:
    """One job on the bench with what comes next."""

    number: int
    vehicle: str
    complaint: str
    design: str
    set_number: str
    state: str
    next_key: str
    next_title: Text
    next_cost: Text
    left: int
    changed: datetime
    stopped: bool


def _lines(request: Request, text: str) -> list[JobLine]:
    store = site_of(request).store
    jobs = store.search(text, limit=40) if text else store.list_jobs(limit=40)
    out = []
    coming = store.next_steps([job.number for job in jobs])
    for job in jobs:
        following = coming[job.number]
        out.append(
            JobLine(
                job.number,
                job.vehicle,
                job.complaint,
                job.design_name,
                job.set_number,
                job.state,
                following.key,
                following.title,
                following.cost,
                following.left,
                job.changed_at,
                following.stops,
            )
        )
    return out


@router.get("/", response_class=HTMLResponse)
def bench(request: Request, q: str = "") -> Response:
    """Show the jobs."""
    lines = _lines(request, q.strip()[:80])
    return site_of(request).show(
        request,
        "bench.html",
        {
            "open_jobs": [j for j in lines if j.state in ("open", "stopped")],
            "other_jobs": [j for j in lines if j.state not in ("open", "stopped")],
            "q": q.strip()[:80],
        },
    )


def _start_page(request: Request, typed: dict[str, str], error: str = "", status: int = 200) -> Response:
    site = site_of(request)
    return site.show(
        request,
        "start.html",
        {
            "designs": [find_design(site.store, n) for n in design_names(site.store)],
            "typed": typed,
            "error": error,
        },
        status=status,
    )


@router.get("/jobs/new", response_class=HTMLResponse)
def new_job(request: Request) -> Response:
    """Show the form that starts a job."""
    return _start_page(request, {})


@router.post("/jobs/new")
def start(request: Request, form: Form) -> Response:
    """Start a job."""
    site = site_of(request)
    try:
        if not form.text("vehicle"):
            return _start_page(
                request, dict(form.fields), _("Vehicle: nothing typed; say what stands on the lift."), 422
            )
        if not form.text("design"):
            return _start_page(
                request,
                dict(form.fields),
                _("Gear set design: nothing chosen; choose the one that stands on the bench."),
                422,
            )
        job = start_job(
            site.store,
            design_name=form.text("design"),
            vehicle=form.text("vehicle"),
            complaint=form.text("complaint"),
            set_number=form.text("set_number"),
            reference=form.text("reference"),
            who=person_of(request).who,
            uid=form.key if re.fullmatch(r"[0-9a-f]{32}", form.key) else "",
        )
    except AxlewrightError as error:
        return _start_page(request, dict(form.fields), str(error), 422)
    return go(f"/jobs/{job.number}", "started")


@router.get("/api/ready")
def ready(request: Request) -> JSONResponse:
    """Say whether the rolling kernels are compiled."""
    warmth = site_of(request).warmth
    return JSONResponse({"ready": warmth.ready, "trouble": warmth.trouble})
