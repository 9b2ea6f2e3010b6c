"""Help: how a job goes, and the words with patterns rolled by the engine."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from axlewright.language import chosen, n_
from axlewright.language import eager as _
from axlewright.web.page import site_of
from axlewright.web.pictures import rows, tooth

router = APIRouter()

SHOWN: Final = (
    (n_("As designed"), 0.0, 0.0),
    (n_("Pinion too far out"), 0.127, 0.0),
    (n_("Pinion too far in"), -0.127, 0.0),
    (n_("Ring gear too far away"), 0.0, 0.127),
    (n_("Ring gear too close"), 0.0, -0.1),
)


@lru_cache(maxsize=8)
def glossary_pictures(language: str) -> tuple[tuple[str, str, str, str, str], ...]:
    """Roll TY-222 at a few settings: title, drive drawing and words, coast drawing and words.

    Parameters
    ----------
    language : str
        The one chosen now; the words under the pictures are kept for each.
    """
    assert language == chosen()
    import axlewright as aw

    design = aw.load_design("TY-222")
    out = []
    for title, pinion, ring in SHOWN:
        pair = []
        for flank in ("drive", "coast"):
            pattern = aw.roll(design, flank, pinion_out_mm=pinion, ring_away_mm=ring).pattern
            words = str(pattern.describe())
            label = (
                _("{title}, drive side: {words}") if flank == "drive" else _("{title}, coast side: {words}")
            ).format(title=_(title), words=words)
            pair += [tooth(computed=None if pattern.empty else rows(pattern.mask), label=label), words]
        out.append((title, pair[0], pair[1], pair[2], pair[3]))
    return tuple(out)


@router.get("/help", response_class=HTMLResponse)
def help_page(request: Request) -> Response:
    """Show help."""
    site = site_of(request)
    ready = site.warmth.ready
    return site.show(
        request,
        "help.html",
        {
            "pictures": glossary_pictures(chosen()) if ready else (),
            "ready": ready,
            "trouble": site.warmth.trouble,
        },
    )
