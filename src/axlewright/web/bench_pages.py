"""The bench: open jobs with their next step, and starting one."""

from __future__ import annotations

import re

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from axlewright.job import design_names, find_design
from axlewright.job.designs import START_FIELDS, start_typed_job
from axlewright.web.page import NOT_REFUSED, Form, Refused, go, person_of, shown_again, site_of

router = APIRouter()


@router.get("/", response_class=HTMLResponse)
def bench(request: Request, q: str = "") -> Response:
    """Show the jobs."""
    store, text = site_of(request).store, q.strip()[:80]
    jobs = store.search(text, limit=40) if text else store.list_jobs(limit=40)
    return site_of(request).show(
        request,
        "bench.html",
        {
            "open_jobs": [j for j in jobs if j.state in ("open", "stopped")],
            "other_jobs": [j for j in jobs if j.state not in ("open", "stopped")],
            "coming": store.next_steps([j.number for j in jobs]),
            "q": text,
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
