"""The pattern of a job: photos with corners, or words; what was read, why, and what to change."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from axlewright.errors import AxlewrightError, InputError
from axlewright.job import FieldError, JobView, job_view
from axlewright.job.pattern import answer_advice, correct_outline, enter_patterns
from axlewright.job.pattern_shown import State as Believed
from axlewright.job.pattern_shown import (
    advice_shown,
    cause_bars,
    compared_shown,
    cure_bars,
    newest_read,
    ways_shown,
)
from axlewright.job.photos import (
    EDGES,
    FLANKS,
    Correction,
    FlankLook,
    FlankName,
    ToothLook,
    add_photo,
    check_mask,
    compound_of,
    edges_of,
)
from axlewright.language import eager as _
from axlewright.language import n_
from axlewright.units import parse_number
from axlewright.web.page import Form, Posted, go, person_of, site_of
from axlewright.web.pattern_flanks import flanks_shown
from axlewright.web.rolling_state import State

router = APIRouter()

CORNERS: Final = (
    (n_("toe, top"), n_("where the top edge meets the toe end")),
    (n_("heel, top"), n_("where the top edge meets the heel end")),
    (n_("heel, root"), n_("where the root meets the heel end")),
    (n_("toe, root"), n_("where the root meets the toe end")),
)


def _link(view: JobView, before: Believed, after: Believed) -> str:
    def state(s: Believed) -> State:
        return State(view.job.design_name, pinion=s.pinion, ring=s.ring, offset=s.offset, angle=s.angle)

    return "/rolling?" + state(after).query(beside=state(before).query(), of="advice")


def _page(
    request: Request,
    number: int,
    *,
    typed: dict[str, str] | None = None,
    error: AxlewrightError | None = None,
    status: int = 200,
) -> Response:
    site = site_of(request)
    view = job_view(site.store, number)
    last = newest_read(view)
    answers = {
        e.payload.get("advice"): e for e in view.entries if e.kind == "decision" and "advice" in e.payload
    }
    newest_advice = None
    for entry in view.entries:
        if entry.kind == "advice" and last is not None and entry.payload.get("of") == last.seq:
            newest_advice = entry
    told = {} if last is None else dict(last.told)
    shown = advice_shown(told)
    questions = [] if last is None or last.result is None else list(last.result.questions)
    offered = bool(told.get("values", {}).get("offered")) and len(shown) > 1
    if offered:  # the advice itself says it
        questions = [q for q in questions if q != told.get("why")]
    came_words, came = compared_shown(told)
    standing = view.step("pattern").status
    values = {
        "view": view,
        "job": view.job,
        "flanks": flanks_shown(site.store, view, typed),
        "corners": CORNERS,
        "edges": EDGES,
        "error": error,
        "error_field": error.field if isinstance(error, FieldError) else "",
        "compound": (typed or {}).get("compound", "auto"),
        "last": last,
        "told": told,
        "stale": standing.why if last is not None and standing.state == "again" else "",
        "causes": cause_bars(told),
        "cures": cure_bars(told),
        "ways": ways_shown(told),
        "came": came,
        "came_words": came_words,
        "advice": [(a, _link(view, a.before, a.after)) for a in shown],
        "questions": questions,
        "offered": offered,
        "newest_advice": newest_advice,
        "answer": answers.get(newest_advice.seq) if newest_advice is not None else None,
    }
    return site.show(request, "pattern.html", values, status=status)


@router.get("/jobs/{number}/pattern", response_class=HTMLResponse)
def pattern(request: Request, number: int) -> Response:
    """Show photos, readings, causes and advice."""
    return _page(request, number)


@router.post("/jobs/{number}/pattern/photos")
def photos(request: Request, number: int, form: Form) -> Response:
    """Keep photos of one or both flanks, or of several teeth of a flank."""
    store, who = site_of(request).store, person_of(request).who
    added = 0
    try:
        for flank in FLANKS:
            for upload in form.files.get(flank, ())[-1:]:
                add_photo(store, number, flank, upload.data, who=who, idempotency_key=f"{form.key}:{flank}")
                added += 1
            uploads = form.files.get(f"{flank}_teeth", ())
            teeth = _tooth_numbers(form.text(f"{flank}_numbers"), len(uploads), flank) if uploads else []
            for tooth_number, upload in zip(teeth, uploads, strict=True):
                key = f"{form.key}:{flank}:{tooth_number}"
                add_photo(store, number, flank, upload.data, who=who, tooth=tooth_number, idempotency_key=key)
                added += 1
    except AxlewrightError as error:
        return _page(request, number, error=error, status=422)
    if not added:
        return _page(
            request,
            number,
            error=FieldError(
                "drive", _("photos"), _("no photo chosen"), _("choose or take one for each flank")
            ),
            status=422,
        )
    return go(f"/jobs/{number}/pattern", "photos", "mark")


def _tooth_numbers(text: str, count: int, flank: str) -> list[int]:
    """Read the numbers of the teeth photographed, in the order of the photos."""
    words = text.replace(",", " ").replace(";", " ").split()
    good = all(w.isascii() and w.isdecimal() and len(w) < 4 for w in words)
    if not good or len(words) != count or len(set(words)) != count:
        raise FieldError(
            f"{flank}_numbers",
            _("{flank} side, tooth numbers").format(flank=flank),
            _("{given} different numbers are needed for {count} photos").format(given=count, count=count),
            _("count the teeth from any one, such as 1 11 21 31"),
        )
    return [int(w) for w in words]


def _corners(form: Posted, start: str, flank: str) -> str:
    """Return the four corners of a photo as typed; empty when none was given.

    Raises
    ------
    FieldError
        When only some are given.
    """
    corners = [form.text(f"{start}_corner{i}") for i in range(4)]
    if not any(corners):
        return ""
    names = ", ".join(_(name) for (name, _where), c in zip(CORNERS, corners, strict=True) if not c)
    if names:
        raise FieldError(
            f"{flank}_corners",
            _("{flank} photo").format(flank=flank),
            _("not tapped yet: {corners}").format(corners=names),
            _("tap all four corners"),
        )
    return " ".join(c.replace(" ", "") for c in corners)


def _look(form: Posted, flank: FlankName) -> FlankLook:
    teeth = []
    for text in form.text(f"{flank}_teeth").split():
        start = f"{flank}_t{text}"
        corners = _corners(form, start, flank)
        if corners and text.isdecimal() and len(text) < 4:
            teeth.append(ToothLook(int(text), form.text(f"{start}_photo"), corners))
    if teeth:
        return FlankLook(teeth=tuple(teeth))
    corners = _corners(form, flank, flank)
    photo = form.text(f"{flank}_photo")
    words = form.text(f"{flank}_words")
    sketch = _sketch(form.text(f"{flank}_sketch"), flank)
    if sketch and not corners and not words:
        return FlankLook(sketch=sketch)
    if photo and corners:
        return FlankLook(photo_file=photo, corners=corners, words=words)
    return FlankLook(words=words)


def _sketch(text: str, flank: str) -> tuple[tuple[float, float], ...]:
    """Read a drawn outline: pairs "lengthwise,profile" from −1 to +1."""
    points = []
    for pair in text.split()[:2000]:
        x, _comma, y = pair.partition(",")
        try:
            points.append((parse_number(x), parse_number(y)))
        except InputError:
            raise FieldError(
                f"{flank}_sketch",
                _("{flank} sketch").format(flank=flank),
                _("'{pair}' is no place on the tooth").format(pair=pair),
                _("draw it once more"),
            ) from None
    return tuple(points)


@router.post("/jobs/{number}/pattern/read")
def read(request: Request, number: int, form: Form) -> Response:
    """Read the marks and find what to change."""
    person = person_of(request)
    try:
        outcome = enter_patterns(
            site_of(request).store,
            number,
            {flank: _look(form, flank) for flank in FLANKS},
            compound=compound_of(form.text("compound")),
            who=person.who,
            idempotency_key=form.key,
            system=person.system,
        )
    except AxlewrightError as error:
        return _page(request, number, typed=dict(form.fields), error=error, status=422)
    return go(f"/jobs/{number}/pattern", f"read-{outcome.verdict.replace(' ', '-')}", "answer")


@router.post("/jobs/{number}/pattern/outline")
def outline(request: Request, number: int, form: Form) -> Response:
    """Correct the outline of a flank: as drawn, and with its edges nudged."""
    person = person_of(request)
    flank: FlankName = "coast" if form.text("flank") == "coast" else "drive"
    where = _("{flank} outline").format(flank=_(flank))
    try:
        drawn = form.text("mask")
        mask = check_mask(drawn, where) if drawn else ()
        toe, heel, root, top = edges_of([form.text(f"{e}_edge") for e in EDGES], where)
        outcome = correct_outline(
            site_of(request).store,
            number,
            form.whole("seq", 1) or 0,
            {flank: Correction(mask, toe, heel, root, top)},
            who=person.who,
            idempotency_key=form.key,
            system=person.system,
        )
    except AxlewrightError as error:
        return _page(request, number, error=error, status=422)
    return go(f"/jobs/{number}/pattern", f"read-{outcome.verdict.replace(' ', '-')}", "answer")


@router.post("/jobs/{number}/pattern/advice")
def advice(request: Request, number: int, form: Form) -> Response:
    """Write down whether the advice was followed."""
    try:
        answer_advice(
            site_of(request).store,
            number,
            form.whole("seq", 1) or 0,
            form.text("taken") == "yes",
            form.text("reason"),
            who=person_of(request).who,
            idempotency_key=form.key,
        )
    except AxlewrightError as error:
        return _page(request, number, error=error, status=422)
    return go(f"/jobs/{number}/pattern", "written", "answer")
