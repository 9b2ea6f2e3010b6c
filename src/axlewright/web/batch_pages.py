"""Batch: the roll-test log, best positions and marks, labels; charts, matching and what to order, studies."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from axlewright.errors import AxlewrightError
from axlewright.job import batch, design_names, find_design
from axlewright.job.matching import MATCH_FIELDS, match_answer, matching_fields, put_matching_fields
from axlewright.language import eager as _
from axlewright.setup.cautions import cautions_for
from axlewright.steps.answers import answered
from axlewright.units import MM_PER_INCH, System, show_length
from axlewright.web.page import (
    NOT_REFUSED,
    Form,
    Refused,
    go,
    person_of,
    shown_again,
    site_of,
    whole_number,
)

if TYPE_CHECKING:
    from axlewright.job.matching import MatchAnswer

router = APIRouter()

SHOWN = 40
LABELS = 400


def _values(request: Request, **more: Any) -> dict[str, Any]:
    """Return what every page of the batch shows, and more."""
    site = site_of(request)
    system = person_of(request).system
    return {
        "designs": design_names(site.store),
        "show": lambda mm: _together(show_length(mm, system, signed=True)),
        "size": lambda mm: _together(show_length(mm, system)),
        "cautions": [caution.text for caution in cautions_for("roll_test")],
        **more,
    }


def _together(text: str) -> str:
    """Let a number stay with its unit on one line."""
    return text.replace(" in", "\u00a0in").replace(" mm", "\u00a0mm")


def _named(request: Request, design: str) -> str:
    """Return the design as it is spelled in the list, or an empty text for all."""
    return find_design(site_of(request).store, design).name if design else ""


def _plain(mm: float | None, system: System) -> str:
    if mm is None:
        return ""
    return f"{mm / MM_PER_INCH:+.4f}" if system == "inch" else f"{mm:+.3f}"


def _csv(text: str, name: str) -> Response:
    return Response(
        text.encode(),
        media_type="text/csv; charset=utf-8",
        headers={"content-disposition": f'attachment; filename="{name}"'},
    )


# --- the log ------------------------------------------------------------------------------------------


@router.get("/batch", response_class=HTMLResponse)
def sets(request: Request, design: str = "", only: str = "", start: str = "") -> Response:
    """Show the sets of the log, some at a time."""
    return _sets(request, design=design, only=only, start=whole_number(start, 0, 999_999) or 0)


def _sets(
    request: Request,
    *,
    design: str = "",
    only: str = "",
    start: int = 0,
    refused: Refused = NOT_REFUSED,
    read: Any = None,
) -> Response:
    site, person = site_of(request), person_of(request)
    views = batch.set_views(site.store, _named(request, design))
    wanted = [v for v in views if only != "undecided" or not v.decided]
    ways = batch.practice(site.store)
    values = _values(
        request,
        views=wanted[start : start + SHOWN],
        newer=max(0, start - SHOWN) if start else None,
        older=start + SHOWN if start + SHOWN < len(wanted) else None,
        count=len(views),
        decided=sum(v.decided for v in views),
        asked=sum(bool(v.question) for v in views),
        readings=len(batch.all_rolls(site.store)),
        sheets=list(reversed([s for s in batch.sheets(site.store) if s.kind == batch.ROLLS]))[:20],
        ways=ways,
        mark=batch.mark_text,
        usual=batch.usual_positions(person.system, ways),
        rows=range(batch.ROWS),
        set_fields=batch.SET_FIELDS,
        row_fields=batch.row_fields("error"),
        ways_fields=batch.WAYS_FIELDS,
        kind=batch.KIND,
        design=design,
        only=only,
        read=read,
    )
    status = 422 if read and read.problems else 0
    return site.show(request, "batch.html", values, refused=refused, status=status)


@router.post("/batch/import")
@shown_again(_sets, "import")
def import_log(request: Request, form: Form) -> Response:
    """Read a log file; nothing is kept while a row cannot be read."""
    file = form.file("file", _("Log file"), _("save the log from the spreadsheet as CSV"))
    read = batch.import_log(
        site_of(request).store,
        file.data,
        name=file.name,
        who=person_of(request).who,
        key=form.key,
    )
    return _sets(request, refused=Refused(section="import"), read=read)


@router.post("/batch/readings")
@shown_again(_sets, "typed")
def typed_readings(request: Request, form: Form) -> Response:
    """Keep what was typed at the roll tester and show the set."""
    person = person_of(request)
    last = batch.keep_typed(site_of(request).store, form.fields, person.system, who=person.who, key=form.key)
    return go(_set_address(last.design, last.set_number), "kept", "answer")


def _set_address(design: str, number: str) -> str:
    return "/batch/set?" + urlencode({"design": design, "number": number})


@router.post("/batch/practice")
@shown_again(_sets, "ways")
def keep_practice(request: Request, form: Form) -> Response:
    """Keep the shop's ways."""
    site, person = site_of(request), person_of(request)
    ways = batch.practice_of(form.fields, batch.practice(site.store), person.system)
    batch.put_practice(site.store, ways, who=person.who)
    return go("/batch", "kept")


@router.post("/batch/demo")
@shown_again(_sets, "import")
def demo(request: Request, form: Form) -> Response:
    """Fill an empty log with that of the invented shop."""
    batch.fill_with_demo(site_of(request).store, who=person_of(request).who, key=form.key)
    return go("/batch", "kept")


@router.post("/batch/back")
@shown_again(_sets, "sheets")
def back(request: Request, form: Form) -> Response:
    """Take an import or typed set back."""
    batch.take_back(site_of(request).store, form.text("sheet"), who=person_of(request).who)
    return go("/batch", "back")


@router.get("/batch/set", response_class=HTMLResponse)
def one_set(request: Request, number: str, design: str = "") -> Response:
    """Show one set: readings, curves, best position, mark."""
    from axlewright.plant.drawing import position_svg

    site, person = site_of(request), person_of(request)
    view = batch.set_view(site.store, _named(request, design), number)
    ways = batch.practice(site.store)
    picture = "" if view.best is None else position_svg(view.best)
    following = None if view.best is None else view.best.next_position_mm
    values = _values(
        request,
        view=view,
        ways=ways,
        mark=batch.mark_text(view),
        picture=picture,
        answer="" if view.best is None else view.best.text(),
        following=_plain(following, person.system),
        kind=batch.KIND,
        row_fields=batch.row_fields("error"),
        held=batch.held_by(view.rolls),
    )
    return site.show(request, "batch_set.html", values)


@router.get("/batch/labels.pdf")
def labels(request: Request, design: str = "", number: str = "") -> Response:
    """Print the labels of one set, or of all decided ones, as one PDF."""
    store = site_of(request).store
    name = _named(request, design)
    views = [batch.set_view(store, name, number)] if number else batch.set_views(store, name)[:LABELS]
    data = batch.labels_pdf(store, views)
    return Response(
        data,
        media_type="application/pdf",
        headers={"content-disposition": 'inline; filename="set-labels.pdf"'},
    )


@router.get("/batch/log.csv")
def log_csv(request: Request, design: str = "") -> Response:
    """Give all readings as a file of the kind that can be read in again."""
    from axlewright.plant import write_log

    text = write_log(batch.all_rolls(site_of(request).store, _named(request, design)))
    return _csv(text, "roll-test-log.csv")


# --- charts ------------------------------------------------------------------------------------------


@router.get("/batch/charts", response_class=HTMLResponse)
def charts(
    request: Request,
    design: str = "",
    what: str = "best",
    subgroup: str = "1",
    low: str = "",
    high: str = "",
) -> Response:
    """Show control charts and the capability of one figure."""
    names = list(dict.fromkeys(r.design for r in batch.all_rolls(site_of(request).store)))
    chosen = design or (names[0] if names else "")
    typed = {"design": chosen, "what": what, "subgroup": subgroup, "low": low, "high": high}
    values = _values(request, names=names, series=batch.SERIES, answer=None, unit="", scale=1.0)
    refused = Refused(typed=typed)
    try:
        if names:
            values |= _charted(request, typed)
    except AxlewrightError as error:
        refused = Refused(error, typed)
    return site_of(request).show(request, "batch_charts.html", values, refused=refused)


def _charted(request: Request, typed: Mapping[str, str]) -> dict[str, Any]:
    """Return the answer, the charts and the histogram of what was asked."""
    from axlewright.plant import drawing

    site, person = site_of(request), person_of(request)
    length = typed["what"] in batch.LENGTHS
    inch = person.system == "inch"
    scale = (1000.0 / MM_PER_INCH if inch else 1.0) if length else 1.0
    unit = ("0.001 in" if inch else "mm") if length else "µrad"
    told = answered(batch.chart_fields(typed["what"]), typed, person.system)
    read = told.length if length else told.number
    low, high = read("low"), read("high")
    found = batch.chart_answer(
        batch.set_views(site.store, _named(request, typed["design"])),
        typed["what"],
        subgroup=told.count("subgroup") or 1,
        low=low,
        high=high,
    )
    labels = found.chart.labels
    return {
        "answer": found,
        "unit": unit,
        "scale": scale,
        "places": drawing.places_of(unit),
        "panels": [
            (drawing.panel_svg(p, labels, unit, scale), drawing.panel_text(p, labels, unit, scale))
            for p in (found.chart.place, found.chart.spread)
        ],
        "histogram": drawing.histogram_svg(found.values, unit, scale, low=low, high=high),
    }


# --- matching ----------------------------------------------------------------------------------------


@router.get("/batch/match", response_class=HTMLResponse)
def matching(request: Request, design: str = "") -> Response:
    """Show the form of the matching with what was typed last."""
    store = site_of(request).store
    names = list(dict.fromkeys(r.design for r in batch.all_rolls(store)))
    chosen = _named(request, design) or (names[0] if names else "")
    typed = matching_fields(store, chosen) or {"design": chosen}
    return _matching(request, Refused(typed=typed))


def _matching(
    request: Request, refused: Refused = NOT_REFUSED, answer: MatchAnswer | None = None
) -> Response:
    values = _values(request, fields={one.name: one for one in MATCH_FIELDS}, answer=answer)
    return site_of(request).show(request, "batch_match.html", values, refused=refused)


@router.post("/batch/match")
@shown_again(_matching)
def match_now(request: Request, form: Form) -> Response:
    """Match carriers, sets and spacers as typed."""
    store, person = site_of(request).store, person_of(request)
    typed = {one.name: form.text(one.name) for one in MATCH_FIELDS}
    answer = match_answer(store, typed, person.system)
    put_matching_fields(store, typed, who=person.who)
    return _matching(request, Refused(typed=typed), answer)


# --- studies -----------------------------------------------------------------------------------------


@router.get("/batch/study", response_class=HTMLResponse)
def study(request: Request) -> Response:
    """Show the form of the tolerance study, and its answer when a design is named."""
    typed = dict(request.query_params)
    result, refused = None, Refused(typed=typed)
    try:
        if typed.get("design"):
            result = batch.study(site_of(request).store, typed, person_of(request).system)
    except AxlewrightError as error:
        refused = Refused(error, typed)
    values = _values(
        request,
        result=result,
        query=urlencode(typed),
        usual=_usual_spreads(request),
        fields=batch.STUDY_FIELDS,
    )
    return site_of(request).show(request, "batch_study.html", values, refused=refused)


@router.get("/batch/study.csv")
def study_csv(request: Request) -> Response:
    """Give the answer of a study as a table."""
    typed = dict(request.query_params)
    result = batch.study(site_of(request).store, typed, person_of(request).system)
    return _csv(result.csv_text(), "tolerance-study.csv")


def _usual_spreads(request: Request) -> dict[str, str]:
    from axlewright.plant import SettingSpread

    usual, system = SettingSpread(), person_of(request).system
    out = {"count": "40000", "seed": "1"}
    for one in batch.SPREADS:
        value = getattr(usual, one.name)
        out[one.name] = _plain(value, system).lstrip("+") if one.kind == "length" else f"{value:g}"
    return out
