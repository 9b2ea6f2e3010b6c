"""The rolling view: both flanks follow the settings; any state is a link."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response

from axlewright.errors import AxlewrightError
from axlewright.job import design_names, find_design
from axlewright.job.photos import mask_lines
from axlewright.job.rolling import (
    CONTROLS,
    WAYS,
    State,
    backlash_words,
    roll_both,
    state_of,
    state_of_form,
    teeth_model,
)
from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.units import System
from axlewright.web.page import person_of, site_of
from axlewright.web.pictures import bars, curve, rows, tooth

if TYPE_CHECKING:
    from axlewright.contact import Rolling
    from axlewright.gearset import GearSetDesign

router = APIRouter()


def rolled(state: State, design: GearSetDesign, system: System) -> dict[str, Any]:
    """Roll both flanks and draw them.

    Returns
    -------
    dict
        words, ms, backlash, and for each flank svg, motion, harmonics, words, load, error.
    """
    begin = time.perf_counter()
    rollings = roll_both(state, design)
    backlash = backlash_words(state, design, system)
    rolled_ms = (time.perf_counter() - begin) * 1000.0
    tapered = design.tooth_form == "face-milled"
    return {
        "words": state.words(system),
        "query": state.query(),
        "backlash": backlash,
        "flanks": {
            flank: {"error": str(one)} if isinstance(one, AxlewrightError) else _flank(flank, one, tapered)
            for flank, one in rollings.items()
        },
        "ms": round(rolled_ms, 1),
        "total_ms": round((time.perf_counter() - begin) * 1000.0, 1),
    }


def _flank(flank: str, one: Rolling, tapered: bool) -> dict[str, Any]:
    words = str(one.pattern.describe())
    harmonics = [float(v) for v in one.harmonics_urad(6)]
    pp = one.motion_error_pp_urad
    return {
        "error": "",
        "words": words,
        "svg": tooth(
            computed=None if one.pattern.empty else rows(one.pattern.mask),
            tapered=tapered,
            label=(
                _("drive side of the ring gear tooth: {words}")
                if flank == "drive"
                else _("coast side of the ring gear tooth: {words}")
            ).format(words=words),
        ),
        "motion": curve(
            [float(v) for v in one.motion_error_urad],
            label=(
                _("Motion error of the drive side over two pitches, {size} microradians peak to peak")
                if flank == "drive"
                else _("Motion error of the coast side over two pitches, {size} microradians peak to peak")
            ).format(size=f"{Shown(pp):.1f}"),
        ),
        "harmonics": bars(
            harmonics,
            label=_("Mesh harmonics in microradians: {values}").format(
                values=", ".join(f"{i}× {Shown(v):.1f}" for i, v in enumerate(harmonics, 1))
            ),
            largest=max(20.0, *harmonics),
        ),
        "load": _("under load") if one.torque_nm > 0 else _("without load"),
        "pp": round(pp, 1),
        "mask": mask_lines(one.pattern.mask),
        "summary": one.summary(),
    }


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
