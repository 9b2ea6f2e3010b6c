"""The rolling view: both flanks follow the settings; any state is a link."""

from __future__ import annotations

from urllib.parse import parse_qsl

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from axlewright.job import design_names, find_design
from axlewright.language import eager as _
from axlewright.web.page import person_of, site_of
from axlewright.web.rolling_state import CONTROLS, WAYS, State, rolled, state_of, state_of_form
from axlewright.web.teeth_model import teeth_model

router = APIRouter()


@router.get("/rolling", response_class=HTMLResponse)
def rolling(request: Request) -> Response:
    """Show the rolling view at the state in the address; ``beside`` holds a second state to compare with."""
    site, system = site_of(request), person_of(request).system
    names = design_names(site.store)
    query = dict(request.query_params)
    state = state_of_form(query, names, system)
    beside_text = query.get("beside", "")
    beside = state_of(dict(parse_qsl(beside_text)), names) if beside_text else None
    ready = site.warmth.ready
    values = {
        "state": state,
        "designs": names,
        "controls": CONTROLS,
        "ready": ready,
        "now": rolled(state, find_design(site.store, state.design), system) if ready else None,
        "beside": beside,
        "beside_text": beside_text,
        "tags": (_("after the change"), _("before (as believed now)"))
        if query.get("of") == "advice"
        else (_("now"), _("beside")),
        "ways": WAYS,
        "trouble": site.warmth.trouble,
        "other": rolled(beside, find_design(site.store, beside.design), system) if beside and ready else None,
        "link_beside": state.query(beside=state.query()),
        "link_alone": state.query(),
        "link_right": State(state.design).query(),
    }
    return site.show(request, "rolling.html", values)


@router.get("/api/roll")
def roll(request: Request) -> JSONResponse:
    """Roll both flanks at the state in the query (mm, N·m, degrees); drawings and figures."""
    site = site_of(request)
    names = design_names(site.store)
    state = state_of(dict(request.query_params), names)
    return JSONResponse(rolled(state, find_design(site.store, state.design), person_of(request).system))


@router.get("/api/teeth")
def teeth(request: Request, design: str) -> JSONResponse:
    """Return the tooth surfaces of a design for the 3-D view."""
    model = teeth_model(find_design(site_of(request).store, design))
    return JSONResponse(model, headers={"cache-control": "private, max-age=3600"})
