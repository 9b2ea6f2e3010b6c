"""Listen: which parts fit a recording, passes before and after, and the sound of a setting."""

from __future__ import annotations

import base64
from dataclasses import replace
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl, urlencode

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from axlewright.errors import AxlewrightError, InputError
from axlewright.job import design_names, find_design
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
from axlewright.job.rolling import CONTROLS, State, state_of, state_of_form
from axlewright.language import eager as _
from axlewright.web.page import NOT_REFUSED, Form, Refused, person_of, shown_again, site_of

if TYPE_CHECKING:
    from axlewright.contact import Settings

router = APIRouter()


def _page(request: Request, *, refused: Refused = NOT_REFUSED, heard: Heard | None = None) -> Response:
    site = site_of(request)
    values: dict[str, Any] = {
        "designs": design_names(site.store),
        "jobs": [j for j in site.store.list_jobs(limit=20) if j.state in ("open", "stopped")],
        "heard": heard,
        "fields": {one.name: one for one in LISTEN_FIELDS},
        "picture": "" if heard is None else _shown(heard.picture),
        "evidence": "" if heard is None else _shown(heard.evidence),
        "level": "" if heard is None else _shown(heard.level),
        "source_name": _source_name,
    }
    return site.show(request, "listen.html", values, refused=refused)


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
    return _page(request, refused=Refused(typed=typed))


@router.post("/listen")
@shown_again(_page)
def hear_recording(request: Request, form: Form) -> Response:
    """Listen to an uploaded recording."""
    person = person_of(request)
    file = form.file("file", _("recording"), _("record on the phone and choose the file"))
    heard = hear(
        site_of(request).store,
        file.data,
        file.name,
        form.fields,
        person.system,
        who=person.who,
        idempotency_key=form.key,
    )
    return _page(request, refused=Refused(typed=form.fields), heard=heard)


def _compare_page(
    request: Request, *, refused: Refused = NOT_REFUSED, passes: Passes | None = None
) -> Response:
    site = site_of(request)
    values: dict[str, Any] = {
        "designs": design_names(site.store),
        "passes": passes,
        "fields": {one.name: one for one in COMPARE_FIELDS},
        "pictures": () if passes is None else (_shown(passes.picture), _shown(passes.spectra)),
    }
    return site.show(request, "listen_compare.html", values, refused=refused)


@router.get("/listen/compare", response_class=HTMLResponse)
def compare(request: Request) -> Response:
    """Show the form for passes before and after."""
    return _compare_page(request)


@router.post("/listen/compare")
@shown_again(_compare_page)
def compare_recordings(request: Request, form: Form) -> Response:
    """Compare uploaded passes."""
    passes = compare_passes(
        site_of(request).store,
        [(f.data, f.name) for f in form.files.get("before", ())],
        [(f.data, f.name) for f in form.files.get("after", ())],
        form.fields,
        person_of(request).system,
    )
    return _compare_page(request, refused=Refused(typed=form.fields), passes=passes)


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
    try:
        now, beside, wish = _asked(request)
        different = _settings(now) != _settings(beside)
        design = find_design(site_of(request).store, now.design)
        pair = make_pair(design, _settings(now), _settings(beside), wish) if different else None
    except AxlewrightError as error:
        return _made_page(request, refused=Refused(error))
    return _made_page(request, pair=pair)


def _made_page(request: Request, *, refused: Refused = NOT_REFUSED, pair: Pair | None = None) -> Response:
    site, system = site_of(request), person_of(request).system
    try:
        now, beside, wish = _asked(request)
    except AxlewrightError:
        name, query = design_names(site.store)[0], request.query_params
        now, beside = State(name), State(name)
        wish = Wish(speed=query.get("speed") or Wish().speed, tyre=query.get("tyre") or Wish().tyre)
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
    }
    return site.show(request, "listen_made.html", values, refused=refused)


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
@shown_again(_made_page)
def learn(request: Request, form: Form) -> Response:
    """Learn the way from mesh to ear from a recording of the setting beside, and show the sounds with it."""
    now, beside, wish = _asked(request)
    file = form.file("file", _("recording"), _("choose the recording made before the change"))
    design = find_design(site_of(request).store, now.design)
    path, ratio = learn_from_recording(design, _settings(beside), wish, file.data, file.name, form.fields)
    return RedirectResponse(
        "/listen/made?" + _query(now, beside, replace(wish, path=path, ratio_db=ratio)), status_code=303
    )
