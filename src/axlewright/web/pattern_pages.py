"""The pattern of a job: photos with corners, or words; what was read, why, and what to change."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from axlewright.bench import FieldError, JobView, design_of_job, job_view
from axlewright.bench.kept_masks import mask_rows
from axlewright.bench.pattern_sheet import CAUSE_NAMES, cause_texts, newest_read
from axlewright.bench.patterns import (
    FLANKS,
    FlankLook,
    FlankName,
    add_photo,
    answer_advice,
    enter_patterns,
    newest_photos,
)
from axlewright.errors import AxlewrightError
from axlewright.units import System, show_length
from axlewright.web.page import Form, Posted, go, person_of, site_of
from axlewright.web.pictures import tooth
from axlewright.web.rolling_state import State

router = APIRouter()

CORNERS = (
    ("toe, top", "where the top edge meets the toe end"),
    ("heel, top", "where the top edge meets the heel end"),
    ("heel, root", "where the root meets the heel end"),
    ("toe, root", "where the root meets the toe end"),
)


@dataclass(slots=True)
class FlankShown:
    """One flank on the page: its photo to mark, and what was read last."""

    name: str
    photo: str = ""
    width: int = 0
    height: int = 0
    corners: list[str] = field(default_factory=lambda: ["", "", "", ""])
    words: str = ""
    sketch: str = ""
    measured_svg: str = ""
    after_svg: str = ""
    unrolled: str = ""
    read: dict[str, Any] = field(default_factory=dict)


def words_can_be_read() -> bool:
    """Whether the pattern room reads words."""
    import axlewright.pattern as room

    return hasattr(room, "pattern_from_words")


def _flanks(request: Request, view: JobView, typed: dict[str, str] | None) -> list[FlankShown]:
    store = site_of(request).store
    photos = newest_photos(view.entries)
    last = newest_read(view)
    design = design_of_job(store, view.job)
    tapered = design is None or design.tooth_form == "face-milled"
    out = []
    for name in FLANKS:
        shown = FlankShown(name)
        photo = photos.get(name)
        if photo is not None:
            shown.photo = photo.files[0]
            shown.width, shown.height = int(photo.payload["width"]), int(photo.payload["height"])
        if last is not None:
            kept = last.payload["flanks"].get(name)
            after = last.result.get("expected", {}).get(name)
            if kept is not None:
                shown.read = kept["summary"]
                shown.unrolled = kept.get("unrolled", "")
                mask = mask_rows(kept["mask"])
                shown.measured_svg = tooth(
                    measured=mask, tapered=tapered, label=f"{name} side, measured: {kept['summary']['words']}"
                )
                if not shown.photo:
                    shown.photo = kept.get("photo", "")
            if after is not None:
                shown.after_svg = tooth(
                    computed=mask_rows(after),
                    ghost=None if kept is None else mask_rows(kept["mask"]),
                    tapered=tapered,
                    label=f"{name} side, computed after the change",
                )
            corners = last.typed.get(f"{name}_corners", "").split()
            if len(corners) == 4 and (kept is None or kept.get("photo") == shown.photo):
                shown.corners = corners
            shown.words = last.typed.get(f"{name}_words", "")
        if typed is not None:
            shown.corners = [typed.get(f"{name}_corner{i}", "") for i in range(4)]
            shown.words = typed.get(f"{name}_words", "")
            shown.sketch = typed.get(f"{name}_sketch", "")
        out.append(shown)
    return out


@dataclass(frozen=True, slots=True)
class AdviceShown:
    """An advice as the page shows it."""

    text: str
    cost: str
    chance: float
    backlash: str
    link: str


def _advice(view: JobView, system: System) -> list[AdviceShown]:
    last = newest_read(view)
    if last is None:
        return []
    told = last.result.get("diagnosis", {})
    cause = {k: float(v["mean"]) for k, v in told.get("cause", {}).items()}
    out = []
    first = last.result.get("values", {})
    for place, one in enumerate(told.get("advice", ())[:3]):
        of_sum = place == 0 and "spacer_of_sum_mm" in first
        move = float(first["pinion_move_mm"] if of_sum else one["pinion_move_mm"])
        after = State(
            view.job.design_name,
            pinion=cause.get("pinion_out_mm", 0.0) + move,
            ring=cause.get("ring_away_mm", 0.0) + float(one["shim_move_mm"]),
            offset=cause.get("offset_error_mm", 0.0),
            angle=cause.get("shaft_angle_error_deg", 0.0),
        )
        before = State(
            view.job.design_name,
            pinion=cause.get("pinion_out_mm", 0.0),
            ring=cause.get("ring_away_mm", 0.0),
            offset=cause.get("offset_error_mm", 0.0),
            angle=cause.get("shaft_angle_error_deg", 0.0),
        )
        backlash = one.get("expected_backlash_mm")
        out.append(
            AdviceShown(
                str(first["first_step"]) if of_sum else one["text"],
                one["cost_words"],
                float(one["chance_last_teardown"]),
                "" if backlash is None else show_length(float(backlash), system),
                "/rolling?" + after.query(beside=before.query(), of="advice"),
            )
        )
    return out


def _page(
    request: Request,
    number: int,
    *,
    typed: dict[str, str] | None = None,
    error: AxlewrightError | None = None,
    status: int = 200,
) -> Response:
    site, system = site_of(request), person_of(request).system
    view = job_view(site.store, number)
    last = newest_read(view)
    answers = {
        e.payload.get("advice"): e for e in view.entries if e.kind == "decision" and "advice" in e.payload
    }
    newest_advice = None
    for entry in view.entries:
        if entry.kind == "advice" and last is not None and entry.payload.get("of") == last.seq:
            newest_advice = entry
    told = {} if last is None else dict(last.result)
    values = {
        "view": view,
        "job": view.job,
        "flanks": _flanks(request, view, typed),
        "corners": CORNERS,
        "error": error,
        "error_field": error.field if isinstance(error, FieldError) else "",
        "words_ready": words_can_be_read(),
        "compound": (typed or {}).get("compound", "auto"),
        "last": last,
        "told": told,
        "causes": _bars(told, system),
        "cause_rows": cause_texts(told, system),
        "advice": _advice(view, system),
        "newest_advice": newest_advice,
        "answer": answers.get(newest_advice.seq) if newest_advice is not None else None,
    }
    return site.show(request, "pattern.html", values, status=status)


@dataclass(frozen=True, slots=True)
class Bar:
    """One cause drawn as a bar about zero: places in percent of the width."""

    name: str
    text: str
    left: float
    wide: float
    at: float


def _bars(told: dict[str, Any], system: System) -> list[Bar]:
    kept = told.get("diagnosis", {}).get("cause", {})
    rows = {key: kept[key] for key in CAUSE_NAMES if key in kept}
    texts = cause_texts(told, system)
    reach = 1e-9
    for key, spread in rows.items():
        if key.endswith("_mm"):
            reach = max(reach, abs(spread["mean"]) + 2.0 * spread["sd"])
    out = []
    for (key, spread), (name, value, sure) in zip(rows.items(), texts, strict=True):
        scale = reach if key.endswith("_mm") else max(1e-9, abs(spread["mean"]) + 2.0 * spread["sd"], 0.1)
        low = 50.0 + 50.0 * (spread["mean"] - 2.0 * spread["sd"]) / scale
        high = 50.0 + 50.0 * (spread["mean"] + 2.0 * spread["sd"]) / scale
        low, high = max(0.0, low), min(100.0, high)
        at = 50.0 + 50.0 * spread["mean"] / scale
        out.append(Bar(name, f"{value} {sure}", low, max(0.5, high - low), at))
    return out


@router.get("/jobs/{number}/pattern", response_class=HTMLResponse)
def pattern(request: Request, number: int) -> Response:
    """Show photos, readings, causes and advice."""
    return _page(request, number)


@router.post("/jobs/{number}/pattern/photos")
def photos(request: Request, number: int, form: Form) -> Response:
    """Keep photos of one or both flanks."""
    store, who = site_of(request).store, person_of(request).who
    added = 0
    try:
        for flank in FLANKS:
            for upload in form.files.get(flank, ())[-1:]:
                add_photo(store, number, flank, upload.data, who=who, idempotency_key=f"{form.key}:{flank}")
                added += 1
    except AxlewrightError as error:
        return _page(request, number, error=error, status=422)
    if not added:
        return _page(
            request,
            number,
            error=FieldError("drive", "photos", "no photo chosen", "choose or take one for each flank"),
            status=422,
        )
    return go(f"/jobs/{number}/pattern", "photos", "mark")


def _look(form: Posted, flank: FlankName) -> FlankLook:
    corners = [form.text(f"{flank}_corner{i}") for i in range(4)]
    given = [c for c in corners if c]
    photo = form.text(f"{flank}_photo")
    words = form.text(f"{flank}_words")
    sketch = _sketch(form.text(f"{flank}_sketch"), flank)
    if sketch and not given and not words:
        return FlankLook(sketch=sketch)
    if photo and (given or not words):
        names = ", ".join(name for (name, _), c in zip(CORNERS, corners, strict=True) if not c)
        if given and names:
            raise FieldError(
                f"{flank}_corners", f"{flank} photo", f"not tapped yet: {names}", "tap all four corners"
            )
        if given:
            return FlankLook(
                photo_file=photo, corners=" ".join(c.replace(" ", "") for c in corners), words=words
            )
    return FlankLook(words=words)


def _sketch(text: str, flank: str) -> tuple[tuple[float, float], ...]:
    """Read a drawn outline: pairs "lengthwise,profile" from −1 to +1."""
    points = []
    for pair in text.split()[:2000]:
        x, _, y = pair.partition(",")
        try:
            points.append((float(x), float(y)))
        except ValueError:
            raise FieldError(
                f"{flank}_sketch",
                f"{flank} sketch",
                f"'{pair}' is no place on the tooth",
                "draw it once more",
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
            compound=_compound(form.text("compound")),
            who=person.who,
            idempotency_key=form.key,
            system=person.system,
        )
    except AxlewrightError as error:
        return _page(request, number, typed=dict(form.fields), error=error, status=422)
    return go(f"/jobs/{number}/pattern", f"read-{outcome.verdict.replace(' ', '-')}", "answer")


def _compound(text: str) -> Literal["auto", "rubbed", "print"]:
    if text == "rubbed":
        return "rubbed"
    return "print" if text == "print" else "auto"


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
