"""The guided tour: a demo job in the person's own records, and one hint at a time on top of the pages."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, Final
from urllib.parse import parse_qsl, urlsplit

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from axlewright.errors import AxlewrightError, InputError
from axlewright.language import eager as _
from axlewright.language import n_
from axlewright.web.page import TOUR_COOKIE, Form, go, keep, person_of, site_of

router = APIRouter()

DESIGN: Final = "TY-222"
VEHICLE: Final = "milk lorry, rear axle (guided tour)"
COMPLAINT: Final = "whines on drive at 45 mph, quiet on coast"
WHO: Final = "guided tour"
SPACERS: Final = "0.0545 0.0585 0.0590 0.0595 0.0600"
DEPTH: Final[Mapping[str, str]] = MappingProxyType(
    {
        "place": "under_head",
        "carrier": "5.6230 5.6235 5.6225 5.6230 5.6230",
        "bearing": "1.2490",
        "mounting_distance": "4.3125",
        "mounting_distance_of": "design",
        "mark": "+2",
        "mark_unit": "0.001 in",
        "mark_meaning": "plus_means_larger_mounting_distance",
        "fitted": "0.0545",
    }
)
BACKLASH: Final[Mapping[str, str]] = MappingProxyType(
    {
        "readings": "0.0090 0.0090 0.0095 0.0100 0.0100 0.0095 0.0090 0.0085",
        "stem": "in_rotation",
        "axle": "light",
        "target": "0.0070",
    }
)
DRIVE_WORDS: Final = "high, toward heel, half the length"
COAST_WORDS: Final = "high, centred lengthwise, half the length"


@dataclass(frozen=True, slots=True)
class Hint:
    """One hint of the tour.

    Attributes
    ----------
    title, text : str
        Messages.
    path : str
        Where it is shown best; `{job}` is the tour's job.
    step : str
        Step of the job the tour can fill in, empty for none.
    fields : mapping of str to str
        What it fills in, in inches.
    before : str
        Message in place of the text while the step has no answer; empty for none.
    """

    title: str
    text: str
    path: str
    step: str = ""
    fields: Mapping[str, str] = field(default_factory=dict)
    before: str = ""


HINTS: Final = (
    Hint(
        n_("A lorry stands on the lift"),
        n_(
            "It whines on drive. The new set is marked +2, and somebody fitted the old spacer. This job "
            "is kept in your records like any other. The strip shows the steps; on any other step than "
            "the one that is due, a bar under the strip names it and leads there."
        ),
        "/jobs/{job}",
    ),
    Hint(
        n_("Pinion depth"),
        n_(
            "Type the five carrier readings, the bearing and the mark, or let the tour fill them in. Then "
            "look at the sum, the ± beside it, and what the other meaning of the mark would give."
        ),
        "/jobs/{job}?step=depth",
        "depth",
        DEPTH,
    ),
    Hint(
        n_("Backlash"),
        n_(
            "Eight readings round the ring gear: the tightest place says how far to move it, the spread "
            "says whether it runs true."
        ),
        "/jobs/{job}?step=backlash",
        "backlash",
        BACKLASH,
    ),
    Hint(
        n_("The pattern"),
        n_(
            "Photos are best. Without a camera at hand the marks can be told in words: drive is high and "
            "toward the heel, coast is high. Let the tour write that down, or draw it by finger."
        ),
        "/jobs/{job}/pattern",
        "pattern",
    ),
    Hint(
        n_("What to change"),
        n_(
            "Read what is off, how sure that is, what to change, what it costs, and the pattern to "
            "expect. Open the rolling view from there."
        ),
        "/jobs/{job}/pattern",
        "pattern",
        before=n_(
            "No pattern was read yet, so there is nothing to change. Let the tour write down the marks, and "
            "the answer stands here."
        ),
    ),
    Hint(
        n_("Turn it yourself"),
        n_(
            "This is the same set with the pinion 0.005 in too far out. Bring the pinion in with the "
            "buttons and watch both flanks."
        ),
        "/rolling?design=TY-222&pinion=0.127",
    ),
    Hint(
        n_("The sheet"),
        n_(
            "At the last step the job is signed and the sheet printed. What you typed is never "
            "overwritten. That was the tour; this job can stay or be signed off."
        ),
        "/jobs/{job}?step=close",
    ),
)


def tour_of(request: Request) -> dict[str, Any] | None:
    """Return the hint to show on a page: its number, words and links; None without a tour."""
    job, _sep, at = request.cookies.get(TOUR_COOKIE, "").partition(".")
    if not (job.isascii() and job.isdecimal() and at.isascii() and at.isdecimal() and len(job) < 10):
        return None
    number = int(at[:3])
    if number >= len(HINTS):
        return None
    hint = HINTS[number]
    path = hint.path.format(job=job)
    answered = bool(hint.step) and _answered(request, int(job), hint.step)
    return {
        "job": job,
        "at": number,
        "of": len(HINTS),
        "title": _(hint.title),
        "text": _(hint.before if hint.before and not answered else hint.text),
        "path": path,
        "here": _is_at(request, path),
        "step": "" if answered else hint.step,
    }


def _is_at(request: Request, path: str) -> bool:
    """Whether the page shown is the one a hint speaks of."""
    wanted = urlsplit(path)
    asked = [pair for pair in request.query_params.multi_items() if pair[0] != "said"]
    return request.url.path == wanted.path and asked == parse_qsl(wanted.query)


def _answered(request: Request, job: int, step: str) -> bool:
    """Whether a step of the tour's job has an answer."""
    try:
        return bool(site_of(request).store.current(job, step, kind="result"))
    except AxlewrightError:
        return False


@router.post("/tour")
def start(request: Request, form: Form) -> Response:
    """Make the tour's job and show the first hint."""
    from axlewright.job import put_on_shelf, spacers, start_job

    site = site_of(request)
    if not spacers(site.store, DESIGN):
        put_on_shelf(site.store, "pinion spacer", SPACERS, design_name=DESIGN, who=WHO, system="inch")
    job = start_job(site.store, design_name=DESIGN, vehicle=VEHICLE, complaint=COMPLAINT, who=WHO)
    return _to(job.number, 0)


def _to(job: int, at: int) -> RedirectResponse:
    if at >= len(HINTS):
        answer = RedirectResponse("/help", status_code=303)
        answer.delete_cookie(TOUR_COOKIE, path="/", samesite="strict", httponly=True)
        return answer
    answer = go(HINTS[at].path.format(job=job))
    keep(answer, TOUR_COOKIE, f"{job}.{at}")
    return answer


def _job_of(form: Any) -> int:
    job = form.whole("job", 1)
    if job is None:
        raise InputError(_("this tour has no job"), where=_("tour"), fix=_("start it again from Help"))
    return int(job)


@router.post("/tour/at")
def turn(request: Request, form: Form) -> Response:
    """Go to another hint; past the last one the tour ends."""
    at = form.whole("at", 0, 999)
    return _to(_job_of(form), len(HINTS) if at is None else at)


@router.post("/tour/fill")
def fill_in(request: Request, form: Form) -> Response:
    """Enter what the hint speaks of into the tour's own job."""
    store = site_of(request).store
    job, at = _job_of(form), form.whole("at", 0, len(HINTS) - 1) or 0
    hint = HINTS[at]
    if store.get_job(job).vehicle != VEHICLE:
        raise InputError(_("this is no job of the tour"), where=_("tour"), fix=_("start the tour from Help"))
    who = person_of(request).who
    if hint.step == "pattern":
        from axlewright.job.pattern import enter_patterns
        from axlewright.job.photos import FlankLook

        looks: Any = {"drive": FlankLook(words=DRIVE_WORDS), "coast": FlankLook(words=COAST_WORDS)}
        enter_patterns(store, job, looks, who=who, idempotency_key=form.key)
    elif hint.step:
        from axlewright.job import enter

        enter(store, job, hint.step, hint.fields, who=who, idempotency_key=form.key, system="inch")
    return go(hint.path.format(job=job), "kept", "answer")
