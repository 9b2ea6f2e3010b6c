"""The bench: open jobs with their next step, and starting one."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from axlewright.job import design_names, find_design
from axlewright.job.designs import START_FIELDS, start_typed_job
from axlewright.language import Text
from axlewright.web.page import NOT_REFUSED, Form, Refused, go, person_of, shown_again, site_of

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


@router.get("/jobs/new", response_class=HTMLResponse)
def new_job(request: Request) -> Response:
    """Show the form that starts a job."""
    return _start_page(request)


def _start_page(request: Request, refused: Refused = NOT_REFUSED) -> Response:
    site = site_of(request)
    designs = [find_design(site.store, name) for name in design_names(site.store)]
    return site.show(
        request,
        "start.html",
        {"designs": designs, "fields": {one.name: one for one in START_FIELDS}},
        refused=refused,
    )


@router.post("/jobs/new")
@shown_again(_start_page)
def start(request: Request, form: Form) -> Response:
    """Start a job."""
    person = person_of(request)
    uid = form.key if re.fullmatch(r"[0-9a-f]{32}", form.key) else ""
    job = start_typed_job(site_of(request).store, form.fields, person.system, who=person.who, uid=uid)
    return go(f"/jobs/{job.number}", "started")


@router.get("/api/ready")
def ready(request: Request) -> JSONResponse:
    """Say whether the rolling kernels are compiled."""
    warmth = site_of(request).warmth
    return JSONResponse({"ready": warmth.ready, "trouble": warmth.trouble})
