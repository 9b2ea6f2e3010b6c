"""Batch: the roll-test log, best positions and marks, labels."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from axlewright.errors import AxlewrightError
from axlewright.job import FieldError, batch
from axlewright.language import eager as _
from axlewright.web.batch_parts import csv_file, named_design, page_values, plain_length, with_error
from axlewright.web.page import Form, go, person_of, site_of

router = APIRouter()

SHOWN = 40
LABELS = 400


@router.get("/batch", response_class=HTMLResponse)
def sets(request: Request, design: str = "", only: str = "", start: str = "") -> Response:
    """Show the sets of the log, some at a time."""
    first = int(start) if start.isascii() and start.isdecimal() and len(start) < 7 else 0
    return _sets(request, design=design, only=only, start=first)


def _sets(
    request: Request,
    *,
    design: str = "",
    only: str = "",
    start: int = 0,
    error: AxlewrightError | None = None,
    section: str = "",
    typed: dict[str, str] | None = None,
    read: Any = None,
) -> Response:
    site, person = site_of(request), person_of(request)
    views = batch.set_views(site.store, named_design(request, design))
    wanted = [v for v in views if only != "undecided" or not v.decided]
    ways = batch.practice(site.store)
    values = page_values(
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
        section=section,
        typed=typed or {},
        read=read,
    )
    bad = error is not None or bool(read and read.problems)
    return site.show(request, "batch.html", with_error(values, error), status=422 if bad else 200)


@router.post("/batch/import")
def import_log(request: Request, form: Form) -> Response:
    """Read a log file; nothing is kept while a row cannot be read."""
    files = form.files.get("file", ())
    try:
        if not files:
            raise FieldError(
                "file", _("Log file"), _("no file chosen"), _("save the log from the spreadsheet as CSV")
            )
        read = batch.import_log(
            site_of(request).store,
            files[0].data,
            name=files[0].name,
            who=person_of(request).who,
            key=form.key,
        )
    except AxlewrightError as error:
        return _sets(request, error=error, section="import")
    return _sets(request, section="import", read=read)


@router.post("/batch/readings")
def typed_readings(request: Request, form: Form) -> Response:
    """Keep what was typed at the roll tester and show the set."""
    person = person_of(request)
    try:
        last = batch.keep_typed(
            site_of(request).store, form.fields, person.system, who=person.who, key=form.key
        )
    except AxlewrightError as error:
        return _sets(request, error=error, section="typed", typed=dict(form.fields))
    return go(_set_address(last.design, last.set_number), "kept", "answer")


def _set_address(design: str, number: str) -> str:
    return "/batch/set?" + urlencode({"design": design, "number": number})


@router.post("/batch/practice")
def keep_practice(request: Request, form: Form) -> Response:
    """Keep the shop's ways."""
    site, person = site_of(request), person_of(request)
    try:
        ways = batch.practice_of(form.fields, batch.practice(site.store), person.system)
        batch.put_practice(site.store, ways, who=person.who)
    except AxlewrightError as error:
        return _sets(request, error=error, section="ways", typed=dict(form.fields))
    return go("/batch", "kept")


@router.post("/batch/demo")
def demo(request: Request, form: Form) -> Response:
    """Fill an empty log with that of the invented shop."""
    try:
        batch.fill_with_demo(site_of(request).store, who=person_of(request).who, key=form.key)
    except AxlewrightError as error:
        return _sets(request, error=error, section="import")
    return go("/batch", "kept")


@router.post("/batch/back")
def back(request: Request, form: Form) -> Response:
    """Take an import or typed set back."""
    try:
        batch.take_back(site_of(request).store, form.text("sheet"), who=person_of(request).who)
    except AxlewrightError as error:
        return _sets(request, error=error, section="sheets")
    return go("/batch", "back")


@router.get("/batch/set", response_class=HTMLResponse)
def one_set(request: Request, number: str, design: str = "") -> Response:
    """Show one set: readings, curves, best position, mark."""
    from axlewright.plant.drawing import position_svg

    site, person = site_of(request), person_of(request)
    view = batch.set_view(site.store, named_design(request, design), number)
    ways = batch.practice(site.store)
    picture = "" if view.best is None else position_svg(view.best)
    following = None if view.best is None else view.best.next_position_mm
    values = page_values(
        request,
        view=view,
        ways=ways,
        mark=batch.mark_text(view),
        picture=picture,
        answer="" if view.best is None else view.best.text(),
        following=plain_length(following, person.system),
        kind=batch.KIND,
        row_fields=batch.row_fields("error"),
        held=batch.held_by(view.rolls),
    )
    return site.show(request, "batch_set.html", values)


@router.get("/batch/labels.pdf")
def labels(request: Request, design: str = "", number: str = "") -> Response:
    """Print the labels of one set, or of all decided ones, as one PDF."""
    store = site_of(request).store
    name = named_design(request, design)
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

    text = write_log(batch.all_rolls(site_of(request).store, named_design(request, design)))
    return csv_file(text, "roll-test-log.csv")
