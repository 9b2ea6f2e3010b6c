"""Batch: charts and capability, matching and what to order, studies."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from axlewright.errors import AxlewrightError, InputError
from axlewright.job import FieldError, batch, find_design
from axlewright.language import eager as _
from axlewright.setup.marks import PLACE_WORDS
from axlewright.steps.answers import in_field
from axlewright.units import MM_PER_INCH, parse_length, parse_number
from axlewright.web.batch_parts import csv_file, named_design, page_values, plain_length, with_error
from axlewright.web.page import Form, Person, person_of, site_of

if TYPE_CHECKING:
    from axlewright.job.batch_matching import MatchAnswer

router = APIRouter()

STUDY_MOST = 200_000


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
    from axlewright.job import batch_answers as answers
    from axlewright.plant import drawing

    site, person = site_of(request), person_of(request)
    names = list(dict.fromkeys(r.design for r in batch.all_rolls(site.store)))
    chosen = design or (names[0] if names else "")
    typed = {"design": chosen, "what": what, "subgroup": subgroup, "low": low, "high": high}
    values = page_values(
        request, typed=typed, names=names, series=answers.SERIES, answer=None, unit="", scale=1.0
    )
    error = None
    if names:
        try:
            length = what in answers.LENGTHS
            inch = person.system == "inch"
            scale = (1000.0 / MM_PER_INCH if inch else 1.0) if length else 1.0
            unit = ("0.001 in" if inch else "mm") if length else "µrad"
            limits = [
                _limit(text, field, label, length, person)
                for text, field, label in (
                    (low, "low", _("Lower limit")),
                    (high, "high", _("Upper limit")),
                )
            ]
            found = answers.chart_answer(
                answers.set_views(site.store, named_design(request, chosen)),
                what,
                subgroup=int(subgroup) if subgroup.isdecimal() and len(subgroup) < 3 else 1,
                low=limits[0],
                high=limits[1],
            )
            names_of = found.chart.labels
            values.update(
                answer=found,
                unit=unit,
                scale=scale,
                places=drawing.places_of(unit),
                panels=[
                    (
                        drawing.panel_svg(p, names_of, unit, scale),
                        drawing.panel_text(p, names_of, unit, scale),
                    )
                    for p in (found.chart.place, found.chart.spread)
                ],
                histogram=drawing.histogram_svg(found.values, unit, scale, low=limits[0], high=limits[1]),
            )
        except AxlewrightError as problem:
            error = problem
    return site.show(request, "batch_charts.html", with_error(values, error), status=422 if error else 200)


def _limit(text: str, field: str, label: str, length: bool, person: Person) -> float | None:
    if not text.strip():
        return None
    if length:
        unit = "in" if person.system == "inch" else "mm"
        return in_field(field, label, lambda: parse_length(text, default_unit=unit))
    return in_field(field, label, lambda: parse_number(text, fix=_("type one like 60")))


# --- matching ----------------------------------------------------------------------------------------


@router.get("/batch/match", response_class=HTMLResponse)
def matching(request: Request, design: str = "") -> Response:
    """Show the form of the matching with what was typed last."""
    store = site_of(request).store
    names = list(dict.fromkeys(r.design for r in batch.all_rolls(store)))
    chosen = named_design(request, design) or (names[0] if names else "")
    return _matching(request, batch.matching_fields(store, chosen) or {"design": chosen})


def _matching(
    request: Request,
    typed: dict[str, str],
    *,
    error: AxlewrightError | None = None,
    answer: MatchAnswer | None = None,
) -> Response:
    values = page_values(request, typed=typed, places=PLACE_WORDS, answer=answer)
    return site_of(request).show(
        request, "batch_match.html", with_error(values, error), status=422 if error else 200
    )


@router.post("/batch/match")
def match_now(request: Request, form: Form) -> Response:
    """Match carriers, sets and spacers as typed."""
    from axlewright.job.batch_matching import match_answer

    store, person = site_of(request).store, person_of(request)
    typed = {
        name: form.text(name)
        for name in ("design", "place", "carriers", "spacers", "sets", "coming", "step", "service")
    }
    try:
        answer = match_answer(store, typed, person.system)
    except AxlewrightError as error:
        return _matching(request, typed, error=error)
    batch.put_matching_fields(store, typed, who=person.who)
    return _matching(request, typed, answer=answer)


# --- studies -----------------------------------------------------------------------------------------

_STUDY_LENGTHS = ("pinion_out_mm", "ring_away_mm", "offset_error_mm", "pinion_mean_mm")


@router.get("/batch/study", response_class=HTMLResponse)
def study(request: Request) -> Response:
    """Show the form of the tolerance study, and its answer when a design is named."""
    typed = dict(request.query_params)
    error, result = None, None
    if typed.get("design"):
        try:
            result = _study(request, typed)
        except AxlewrightError as problem:
            error = problem
    values = page_values(
        request, typed=typed, result=result, query=urlencode(typed), usual=_usual_spreads(request)
    )
    return site_of(request).show(
        request, "batch_study.html", with_error(values, error), status=422 if error else 200
    )


@router.get("/batch/study.csv")
def study_csv(request: Request) -> Response:
    """Give the answer of a study as a table."""
    return csv_file(_study(request, dict(request.query_params)).csv_text(), "tolerance-study.csv")


def _usual_spreads(request: Request) -> dict[str, str]:
    from axlewright.plant import SettingSpread

    one, system = SettingSpread(), person_of(request).system
    out = {name: plain_length(getattr(one, name), system).lstrip("+") for name in _STUDY_LENGTHS}
    return out | {"shaft_angle_error_deg": f"{one.shaft_angle_error_deg:g}", "lie": f"{one.lie:g}"}


def _study(request: Request, typed: dict[str, str]) -> Any:
    from axlewright.plant import SettingSpread, tolerance_study

    design = find_design(site_of(request).store, typed.get("design", ""))
    unit = "in" if person_of(request).system == "inch" else "mm"
    spread: dict[str, float] = {}
    for name in (*_STUDY_LENGTHS, "shaft_angle_error_deg", "lie"):
        text = typed.get(name, "").strip()
        if not text:
            continue
        with_unit = name in _STUDY_LENGTHS
        spread[name] = in_field(
            name,
            name,
            lambda t=text, length=with_unit: (  # type: ignore[misc]
                parse_length(t, default_unit=unit) if length else parse_number(t, fix=_("type one like 0.01"))
            ),
        )
    numbers: dict[str, int] = {}
    for name, default in (("count", 40_000), ("seed", 1)):
        text = typed.get(name, "").strip() or str(default)
        if not (text.isascii() and text.isdecimal() and len(text) < 9):
            raise FieldError(
                name, name, _("'{text}' is no whole number").format(text=text[:20]), _("type one like 40000")
            )
        numbers[name] = int(text)
    if numbers["count"] > STUDY_MOST:
        raise InputError(
            _("{count} settings are too many for the page").format(count=numbers["count"]),
            where=_("study"),
            fix=_("use the command for more than {most}").format(most=STUDY_MOST),
        )
    return tolerance_study(design, SettingSpread(**spread), count=numbers["count"], seed=numbers["seed"])
