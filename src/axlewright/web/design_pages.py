"""Designs: the list, one with what was estimated, and adding the shop's own."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, PlainTextResponse, Response

from axlewright.job import design_names, find_design, put_design
from axlewright.job.designs import DESIGN_FIELDS, is_own, put_typed_design
from axlewright.language import eager as _
from axlewright.web.page import NOT_REFUSED, Form, Refused, go, person_of, shown_again, site_of

router = APIRouter()


def _list(request: Request, refused: Refused = NOT_REFUSED) -> Response:
    site = site_of(request)
    rows = [(find_design(site.store, name), is_own(site.store, name)) for name in design_names(site.store)]
    return site.show(request, "designs.html", {"rows": rows, "fields": DESIGN_FIELDS}, refused=refused)


@router.get("/designs", response_class=HTMLResponse)
def designs(request: Request) -> Response:
    """List the designs."""
    return _list(request)


@router.post("/designs")
@shown_again(_list)
def upload(request: Request, form: Form) -> Response:
    """Keep an uploaded design file after checking it."""
    file = form.file("file", _("design file"), _("choose a .toml file"))
    design = put_design(site_of(request).store, file.data)
    return go(f"/designs/{design.name}", "design")


@router.post("/designs/typed")
@shown_again(_list, "typed")
def typed(request: Request, form: Form) -> Response:
    """Keep a design made of the few numbers that are typed; all else is estimated and says so."""
    design = put_typed_design(site_of(request).store, form.fields, person_of(request).system)
    return go(f"/designs/{design.name}", "design")


@router.get("/designs/{name}", response_class=HTMLResponse)
def one(request: Request, name: str) -> Response:
    """Show a design, its estimates marked."""
    site = site_of(request)
    design = find_design(site.store, name)
    rules = {e.field: e.rule for e in design.estimates}
    fields = [(key, value, rules.get(key, "")) for key, value in design.fields().items()]
    return site.show(
        request, "design.html", {"design": design, "fields": fields, "own": is_own(site.store, design.name)}
    )


@router.get("/designs/{name}/file.toml")
def file(request: Request, name: str) -> Response:
    """Return a design as a file, estimates marked by comments."""
    from axlewright.gearset import design_to_toml

    design = find_design(site_of(request).store, name)
    return PlainTextResponse(
        design_to_toml(design),
        headers={"content-disposition": f'attachment; filename="{design.name}.toml"'},
    )
