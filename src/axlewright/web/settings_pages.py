"""Settings: name and units, spacers on the shelf, people, instruments."""

from __future__ import annotations

import re
from datetime import date
from typing import Any, Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from axlewright.errors import InputError
from axlewright.job import design_names, put_on_shelf
from axlewright.job.shelf import STOCK_FIELDS, shelf_sizes
from axlewright.language import eager as _
from axlewright.language import languages, n_, own_name
from axlewright.records import Instrument
from axlewright.records.types import ROLES
from axlewright.steps.answers import REALLY
from axlewright.steps.field import UNUSUAL, Choice, Field
from axlewright.units import show_length
from axlewright.web.guard import LANGUAGE_COOKIE, SYSTEM_COOKIE
from axlewright.web.page import (
    NOT_REFUSED,
    SHOP_COOKIE,
    WHO_COOKIE,
    Form,
    Refused,
    go,
    keep,
    person_of,
    shown_again,
    site_of,
)

router = APIRouter()

ME_FIELDS: Final = (
    Field("who", n_("Your name or bench"), "text", n_("Stands beside every reading you enter.")),
    Field(
        "system",
        n_("Numbers without a unit are"),
        "choice",
        n_("Both are always shown. Any field also takes the other one with its unit, such as 0.05 mm."),
        (Choice("inch", n_("inches and lb-in")), Choice("metric", n_("millimetres and N·m"))),
    ),
    Field("shop", n_("Name of the shop"), "text", n_("On top of printed sheets.")),
)
PERSON_FIELDS: Final = (
    Field("name", n_("Name"), "text", needed=True),
    Field("by", n_("Entered by (admin)"), "text"),
)
INSTRUMENT_FIELDS: Final = (
    Field(
        "name",
        n_("Instrument"),
        "text",
        n_("As you name it at a step, such as: depth micrometer 2."),
        needed=True,
    ),
    Field("kind", n_("Kind"), "text"),
    Field("resolution", n_("Smallest step"), "text"),
    Field("calibrated_on", n_("Calibrated on"), "text", n_("As 2026-03-31.")),
    Field("due_on", n_("Due on"), "text"),
)
MOST_SHOWN = 40
"""Sizes just put on the shelf that are shown once more."""


def _put(request: Request) -> list[float]:
    """Return the thicknesses [mm] just put on the shelf, from the address; what is no number is left out."""
    out = []
    for text in request.query_params.get("put", "")[:400].split(",")[:MOST_SHOWN]:
        if re.fullmatch(r"\d{1,3}\.\d{1,6}", text):
            out.append(float(text))
    return out


def _page(request: Request, refused: Refused = NOT_REFUSED) -> Response:
    site = site_of(request)
    values: dict[str, Any] = {
        "stock": sorted(site.store.stock.list(), key=lambda i: (i.kind, i.thickness_mm)),
        "me": ME_FIELDS,
        "stock_fields": STOCK_FIELDS,
        "person_fields": PERSON_FIELDS,
        "instrument_fields": INSTRUMENT_FIELDS,
        "designs": design_names(site.store),
        "people": site.store.people.list(),
        "roles": ROLES,
        "instruments": site.store.instruments.list(),
        "overdue": {i.name for i in site.store.instruments.overdue(date.today())},
        "place": site.store.place,
        "languages": [(code, own_name(code)) for code in languages()],
        "just_put": [show_length(size, person_of(request).system) for size in _put(request)],
        "unusual": UNUSUAL,
        "show_unusual": refused.section == "shelf" and refused.confirmable,
    }
    return site.show(request, "settings.html", values, refused=refused)


@router.get("/settings", response_class=HTMLResponse)
def settings(request: Request) -> Response:
    """Show all settings."""
    return _page(request)


@router.post("/settings/me")
def me(request: Request, form: Form) -> Response:
    """Keep name, units and shop in this browser."""
    answer = go("/settings", "me")
    keep(answer, WHO_COOKIE, form.text("who")[:60])
    keep(answer, SYSTEM_COOKIE, "metric" if form.text("system") == "metric" else "inch")
    if form.text("language") in languages():
        keep(answer, LANGUAGE_COOKIE, form.text("language"))
    keep(answer, SHOP_COOKIE, form.text("shop")[:80])
    return answer


@router.post("/settings/stock")
@shown_again(_page, "shelf")
def stock(request: Request, form: Form) -> Response:
    """Put spacers or shims on the shelf."""
    person = person_of(request)
    count = form.whole("count", 1, 9999) if form.text("count") else 1
    if count is None:
        raise InputError(
            _("'{text}' is not a count").format(text=form.text("count")[:20]),
            where=_("how many of each"),
            fix=_("type a whole number from 1 to 9999"),
        )
    put_on_shelf(
        site_of(request).store,
        form.text("kind"),
        form.text("thickness"),
        count=count,
        part=form.text("part"),
        design_name=form.text("design"),
        who=person.who,
        system=person.system,
        really=bool(form.text(REALLY)),
    )
    # What was understood is shown once more, so that a slip of the unit is seen.
    understood = shelf_sizes(
        form.text("kind"), form.text("thickness"), system=person.system, really=bool(form.text(REALLY))
    )
    sizes = ",".join(f"{size:.4f}" for size in understood[:MOST_SHOWN])
    return go(f"/settings?put={sizes}", "shelf", "shelf")


@router.post("/settings/stock/move")
@shown_again(_page, "shelf")
def move_stock(request: Request, form: Form) -> Response:
    """Take from the shelf or put back."""
    item, change = form.whole("item", 1), form.whole("change", -9999, 9999)
    if item is None or change is None:
        raise InputError(_("no such piece"), where=_("shelf"), fix=_("use the buttons beside the piece"))
    site_of(request).store.stock.move(item, change, who=person_of(request).who)
    return go("/settings", "counted", "shelf")


@router.post("/settings/people")
@shown_again(_page, "people")
def people(request: Request, form: Form) -> Response:
    """Enter a person; once somebody is known, only an admin may."""
    store = site_of(request).store
    if store.people.any_known():
        store.people.require(form.text("by"), form.text("by_pin"), "people")
    store.people.add(form.text("name"), _role(form.text("role")), form.text("pin"))
    return go("/settings", "person", "people")


def _role(text: str) -> Any:
    if text not in ROLES:
        raise InputError(
            _("unknown role '{role}'").format(role=text),
            where=_("role"),
            fix=_("use one of {roles}").format(roles=", ".join(_(role) for role in ROLES)),
        )
    return text


@router.post("/settings/instruments")
@shown_again(_page, "instruments")
def instruments(request: Request, form: Form) -> Response:
    """Enter or change an instrument."""
    site_of(request).store.instruments.put(
        Instrument(
            form.text("name"),
            form.text("kind"),
            form.text("resolution"),
            _day(form.text("calibrated_on"), _("calibrated on")),
            _day(form.text("due_on"), _("due on")),
        )
    )
    return go("/settings", "instrument", "instruments")


def _day(text: str, where: str) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise InputError(
            _("'{text}' is no date").format(text=text), where=where, fix=_("write it as 2026-03-31")
        ) from error
