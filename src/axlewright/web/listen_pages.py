"""Listen: which parts fit a recording, passes before and after, and the sound of a setting."""

from __future__ import annotations

import base64
from dataclasses import replace
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl, urlencode

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from axlewright.errors import AxlewrightError, InputError
from axlewright.job import FieldError, design_names, find_design
from axlewright.job.listening import COMPARE_FIELDS, LISTEN_FIELDS, Heard, Passes, compare_passes, hear
from axlewright.job.made_sounds import (
    BESIDE,
    LEARN_FIELDS,
    MADE_FIELDS,
    NOW,
    Pair,
    Wish,
    learn_from_recording,
    make_pair,
    wish_of,
)
from axlewright.language import eager as _
from axlewright.web.page import Form, person_of, site_of
from axlewright.web.rolling_state import CONTROLS, State, state_of, state_of_form

if TYPE_CHECKING:
    from axlewright.contact import Settings

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
        "fields": {one.name: one for one in LISTEN_FIELDS},
        "picture": "" if heard is None else _shown(heard.picture),
        "evidence": "" if heard is None else _shown(heard.evidence),
        "level": "" if heard is None else _shown(heard.level),
        "source_name": _source_name,
    }
    return site.show(request, "listen.html", values, status=422 if error else 200)


def _source_name(name: str) -> str:
    from axlewright.sound.sources import source_name

    return source_name(name)


def _shown(picture: bytes) -> str:
    return base64.b64encode(picture).decode()


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
            raise FieldError(
                "file", _("recording"), _("no file chosen"), _("record on the phone and choose the file")
            )
        heard = hear(
            site_of(request).store,
            files[0].data,
            files[0].name,
            form.fields,
            person_of(request).system,
            who=person_of(request).who,
            idempotency_key=form.key,
        )
    except AxlewrightError as error:
        return _page(request, typed=typed, error=error)
    return _page(request, typed=typed, heard=heard)


def _compare_page(
    request: Request,
    *,
    typed: dict[str, str] | None = None,
    error: AxlewrightError | None = None,
    passes: Passes | None = None,
) -> Response:
    site = site_of(request)
    values: dict[str, Any] = {
        "designs": design_names(site.store),
        "typed": typed or {},
        "error": error,
        "error_field": error.field if isinstance(error, FieldError) else "",
        "passes": passes,
        "fields": {one.name: one for one in COMPARE_FIELDS},
        "pictures": () if passes is None else (_shown(passes.picture), _shown(passes.spectra)),
    }
    return site.show(request, "listen_compare.html", values, status=422 if error else 200)


@router.get("/listen/compare", response_class=HTMLResponse)
def compare(request: Request) -> Response:
    """Show the form for passes before and after."""
    return _compare_page(request)


@router.post("/listen/compare")
def compare_recordings(request: Request, form: Form) -> Response:
    """Compare uploaded passes."""
    typed = dict(form.fields)
    try:
        passes = compare_passes(
            site_of(request).store,
            [(f.data, f.name) for f in form.files.get("before", ())],
            [(f.data, f.name) for f in form.files.get("after", ())],
            form.fields,
            person_of(request).system,
        )
    except AxlewrightError as error:
        return _compare_page(request, typed=typed, error=error)
    return _compare_page(request, typed=typed, passes=passes)


def _settings(state: State) -> Settings:
    from axlewright.contact import Settings

    return Settings(state.pinion, state.ring, state.offset, state.angle)


def _asked(request: Request) -> tuple[State, State, Wish]:
    """Read the state, the one beside it and the wish from the address."""
    query = dict(request.query_params)
    names = design_names(site_of(request).store)
    now = state_of_form(query, names, person_of(request).system)
    beside = state_of(dict(parse_qsl(query.get("beside", ""))), names)
    wish = wish_of(query, now.way, now.torque, person_of(request).system)
    return now, replace(beside, design=now.design), wish


def _query(now: State, beside: State, wish: Wish, **more: str) -> str:
    """Return the address of a made sound, so that a link always means the same."""
    kept = {"speed": wish.speed, "tyre": wish.tyre, "ratio": f"{wish.ratio_db:g}", **more}
    if wish.path:
        kept["path"] = wish.path
    if wish.same_level:
        kept["same"] = "1"
    for name in ("pinion_runout", "ring_runout"):
        if percent := getattr(wish, name):
            kept[name] = f"{percent:g}"
    return now.query(beside=beside.query()) + "&" + urlencode(kept)


@router.get("/listen/made", response_class=HTMLResponse)
def made(request: Request) -> Response:
    """Make the sound of a state and of the one beside it, to be played one after the other."""
    error: AxlewrightError | None = None
    pair: Pair | None = None
    site = site_of(request)
    names = design_names(site.store)
    now, beside, query = State(names[0]), State(names[0]), request.query_params
    wish = Wish(speed=query.get("speed") or Wish().speed, tyre=query.get("tyre") or Wish().tyre)
    try:
        now, beside, wish = _asked(request)
        if _settings(now) != _settings(beside):
            pair = make_pair(find_design(site.store, now.design), _settings(now), _settings(beside), wish)
    except AxlewrightError as problem:
        error = problem
    return _made_page(request, now, beside, wish, pair, error)


def _made_page(
    request: Request,
    now: State,
    beside: State,
    wish: Wish,
    pair: Pair | None,
    error: AxlewrightError | None,
) -> Response:
    site, system = site_of(request), person_of(request).system
    values: dict[str, Any] = {
        "designs": design_names(site.store),
        "controls": [c for c in CONTROLS if not c.teaching],
        "state": now,
        "beside": beside,
        "beside_text": beside.query(),
        "words": (now.words(system), beside.words(system)),
        "wish": wish,
        "fields": MADE_FIELDS,
        "marks": LEARN_FIELDS[0],
        "pair": pair,
        "sound": {
            which: "/listen/made.wav?" + _query(now, beside, wish, which=which) for which in (NOW, BESIDE)
        },
        "level_link": "/listen/made?" + _query(now, beside, replace(wish, same_level=not wish.same_level)),
        "rolling_link": "/rolling?" + now.query(beside=beside.query()),
        "learn_link": "/listen/made?" + _query(now, beside, wish),
        "forget_link": "/listen/made?" + _query(now, beside, replace(wish, path="")),
        "error": error,
        "error_field": error.field if isinstance(error, FieldError) else "",
    }
    return site.show(request, "listen_made.html", values, status=422 if error else 200)


@router.get("/listen/made.wav")
def made_wav(request: Request, which: str = NOW) -> Response:
    """Return one of the two sounds as a WAV file."""
    now, beside, wish = _asked(request)
    design = find_design(site_of(request).store, now.design)
    pair = make_pair(design, _settings(now), _settings(beside), wish)
    if which not in pair.wav:
        raise InputError(_("there is no such sound"), where=which, fix=_("open it from its page"))
    return _piece(request, pair.wav[which])


def _piece(request: Request, data: bytes) -> Response:
    """Return the part of a sound a player asks for, so that it can be moved through."""
    headers = {"accept-ranges": "bytes", "cache-control": "private, max-age=600"}
    unit, _equals, span = request.headers.get("range", "").partition("=")
    first, dash, last = span.partition("-")
    digits = first.isdecimal() and (not last or last.isdecimal()) and len(span) < 40
    if unit != "bytes" or not dash or not digits:
        return Response(data, media_type="audio/wav", headers=headers)
    begin, end = int(first), min(int(last) if last else len(data) - 1, len(data) - 1)
    if begin > end:
        return Response(status_code=416, headers={"content-range": f"bytes */{len(data)}"})
    headers["content-range"] = f"bytes {begin}-{end}/{len(data)}"
    return Response(data[begin : end + 1], 206, media_type="audio/wav", headers=headers)


@router.post("/listen/made")
def learn(request: Request, form: Form) -> Response:
    """Learn the way from mesh to ear from a recording of the setting beside, and show the sounds with it."""
    now, beside, wish = _asked(request)
    files = form.files.get("file", ())
    try:
        if not files:
            raise FieldError(
                "file", _("recording"), _("no file chosen"), _("choose the recording made before the change")
            )
        design = find_design(site_of(request).store, now.design)
        path, ratio = learn_from_recording(
            design, _settings(beside), wish, files[0].data, files[0].name, form.fields
        )
    except AxlewrightError as error:
        return _made_page(request, now, beside, wish, None, error)
    return RedirectResponse(
        "/listen/made?" + _query(now, beside, replace(wish, path=path, ratio_db=ratio)), status_code=303
    )
