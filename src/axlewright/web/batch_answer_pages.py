"""Batch: charts and capability, matching and what to order, studies."""

from __future__ import annotations

from typing import TYPE_CHECKING
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from axlewright.errors import AxlewrightError
from axlewright.job import batch
from axlewright.job.matching import MATCH_FIELDS, match_answer, matching_fields, put_matching_fields
from axlewright.steps.answers import answered
from axlewright.units import MM_PER_INCH
from axlewright.web.batch_parts import csv_file, named_design, page_values, plain_length, with_error
from axlewright.web.page import Form, person_of, site_of

if TYPE_CHECKING:
    from axlewright.job.matching import MatchAnswer

router = APIRouter()


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
    from axlewright.plant import drawing

    site, person = site_of(request), person_of(request)
    names = list(dict.fromkeys(r.design for r in batch.all_rolls(site.store)))
    chosen = design or (names[0] if names else "")
    typed = {"design": chosen, "what": what, "subgroup": subgroup, "low": low, "high": high}
    values = page_values(
        request, typed=typed, names=names, series=batch.SERIES, answer=None, unit="", scale=1.0
    )
    error = None
    if names:
        try:
            length = what in batch.LENGTHS
            inch = person.system == "inch"
            scale = (1000.0 / MM_PER_INCH if inch else 1.0) if length else 1.0
            unit = ("0.001 in" if inch else "mm") if length else "µrad"
            told = answered(batch.chart_fields(what), typed, person.system)
            read = told.length if length else told.number
            limits = [read("low"), read("high")]
            found = batch.chart_answer(
                batch.set_views(site.store, named_design(request, chosen)),
                what,
                subgroup=told.count("subgroup") or 1,
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


# --- matching ----------------------------------------------------------------------------------------


@router.get("/batch/match", response_class=HTMLResponse)
def matching(request: Request, design: str = "") -> Response:
    """Show the form of the matching with what was typed last."""
    store = site_of(request).store
    names = list(dict.fromkeys(r.design for r in batch.all_rolls(store)))
    chosen = named_design(request, design) or (names[0] if names else "")
    return _matching(request, matching_fields(store, chosen) or {"design": chosen})


def _matching(
    request: Request,
    typed: dict[str, str],
    *,
    error: AxlewrightError | None = None,
    answer: MatchAnswer | None = None,
) -> Response:
    values = page_values(request, typed=typed, fields={one.name: one for one in MATCH_FIELDS}, answer=answer)
    return site_of(request).show(
        request, "batch_match.html", with_error(values, error), status=422 if error else 200
    )


@router.post("/batch/match")
def match_now(request: Request, form: Form) -> Response:
    """Match carriers, sets and spacers as typed."""
    store, person = site_of(request).store, person_of(request)
    typed = {one.name: form.text(one.name) for one in MATCH_FIELDS}
    try:
        answer = match_answer(store, typed, person.system)
    except AxlewrightError as error:
        return _matching(request, typed, error=error)
    put_matching_fields(store, typed, who=person.who)
    return _matching(request, typed, answer=answer)


# --- studies -----------------------------------------------------------------------------------------


@router.get("/batch/study", response_class=HTMLResponse)
def study(request: Request) -> Response:
    """Show the form of the tolerance study, and its answer when a design is named."""
    typed = dict(request.query_params)
    error, result = None, None
    if typed.get("design"):
        try:
            result = batch.study(site_of(request).store, typed, person_of(request).system)
        except AxlewrightError as problem:
            error = problem
    values = page_values(
        request,
        typed=typed,
        result=result,
        query=urlencode(typed),
        usual=_usual_spreads(request),
        fields=batch.STUDY_FIELDS,
    )
    return site_of(request).show(
        request, "batch_study.html", with_error(values, error), status=422 if error else 200
    )


@router.get("/batch/study.csv")
def study_csv(request: Request) -> Response:
    """Give the answer of a study as a table."""
    typed = dict(request.query_params)
    result = batch.study(site_of(request).store, typed, person_of(request).system)
    return csv_file(result.csv_text(), "tolerance-study.csv")


def _usual_spreads(request: Request) -> dict[str, str]:
    from axlewright.plant import SettingSpread

    usual, system = SettingSpread(), person_of(request).system
    out = {"count": "40000", "seed": "1"}
    for one in batch.SPREADS:
        value = getattr(usual, one.name)
        out[one.name] = plain_length(value, system).lstrip("+") if one.kind == "length" else f"{value:g}"
    return out
