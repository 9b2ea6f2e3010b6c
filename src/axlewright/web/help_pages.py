"""Help: how a job goes, and the words with patterns rolled by the engine."""

from __future__ import annotations

from functools import lru_cache

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from axlewright.errors import AxlewrightError
from axlewright.job.rolling import EXAMPLES, roll_both
from axlewright.language import chosen
from axlewright.language import eager as _
from axlewright.web.page import site_of
from axlewright.web.pictures import rows, tooth

router = APIRouter()


@lru_cache(maxsize=8)
def glossary_pictures(language: str) -> tuple[tuple[str, str, str, str, str], ...]:
    """Roll the examples: title, drive drawing and words, coast drawing and words.

    Parameters
    ----------
    language : str
        The one chosen now; the words under the pictures are kept for each.
    """
    assert language == chosen()
    from axlewright.gearset import load_design

    out = []
    for title, state in EXAMPLES:
        pair = []
        for flank, rolling in roll_both(state, load_design(state.design)).items():
            if isinstance(rolling, AxlewrightError):
                raise rolling
            pattern = rolling.pattern
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
