"""Designs: the list, one with what was estimated, and adding the shop's own."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, PlainTextResponse, Response

from axlewright.errors import InputError
from axlewright.job import design_names, find_design, put_design
from axlewright.job.designs import is_own, put_typed_design
from axlewright.language import eager as _
from axlewright.units import parse_length
from axlewright.web.page import NOT_REFUSED, Form, Posted, Refused, go, person_of, shown_again, site_of

router = APIRouter()


def _list(request: Request, refused: Refused = NOT_REFUSED) -> Response:
    site = site_of(request)
    rows = [(find_design(site.store, name), is_own(site.store, name)) for name in design_names(site.store)]
    return site.show(request, "designs.html", {"rows": rows}, refused=refused)


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


def _typed_fields(form: Posted, unit: str) -> dict[str, Any]:
    """Return what is known when a set lies on the bench: name, teeth, diameter, offset, tooth form."""
    fields: dict[str, Any] = {"name": form.text("name")}
    for key, label in (("pinion_teeth", _("Pinion teeth")), ("ring_teeth", _("Ring gear teeth"))):
        fields[key] = form.whole(key, 1, 999)
        if fields[key] is None:
            raise InputError(_("no number of teeth"), where=label, fix=_("count them and type the number"))
    lengths = (
        ("ring_outer_diameter_mm", "diameter", _("Ring gear diameter")),
        ("offset_mm", "offset", _("Offset between the axes")),
    )
    for key, name, label in lengths:
        text = form.text(name)
        if text or name == "diameter":
            fields[key] = round(parse_length(text, default_unit=unit, where=label), 4)
    if form.text("tooth_form") in ("face-milled", "face-hobbed"):
        fields["tooth_form"] = form.text("tooth_form")
    return fields


@router.post("/designs/typed")
@shown_again(_list)
def typed(request: Request, form: Form) -> Response:
    """Keep a design made of the few numbers that are typed; all else is estimated and says so."""
    unit = "in" if person_of(request).system == "inch" else "mm"
    design = put_typed_design(site_of(request).store, _typed_fields(form, unit))
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
