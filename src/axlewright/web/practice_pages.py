"""Practice: an axle with a hidden fault; measure, change, roll again; at the end the truth."""

from __future__ import annotations

import secrets
from typing import TYPE_CHECKING, Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from axlewright.errors import AxlewrightError, InputError
from axlewright.job import design_names, find_design
from axlewright.job.practice import (
    class_list,
    complaint,
    played_attempt,
    practice_attempt,
    practise,
    show_hours,
    show_outcome,
    show_review,
    start_practice,
)
from axlewright.language import eager as _
from axlewright.units import parse_length, show_length
from axlewright.web.page import Form, go, person_of, site_of
from axlewright.web.pictures import rows, tooth

if TYPE_CHECKING:
    from axlewright.training import Played

router = APIRouter()


@router.get("/practice", response_class=HTMLResponse)
def practice(request: Request) -> Response:
    """Offer exercises and list attempts."""
    return _list(request)


def _list(request: Request, error: AxlewrightError | None = None, typed: Any = None) -> Response:
    from axlewright.training import LARGEST_NUMBER, LEVEL_WORDS

    site = site_of(request)
    lines = [
        {
            "key": line.kept.key,
            "name": line.kept.attempt.name,
            "who": line.kept.attempt.who,
            "hours": show_hours(line.hours + (line.review.comeback_hours if line.review else 0.0)),
            "right": None if line.review is None else line.review.right,
            "share": "" if line.review is None else f"{100 * line.review.share:.0f} %",
            "press_offs": line.press_offs,
            "asked": line.asked,
        }
        for line in class_list(site.store)
    ]
    values = {
        "designs": design_names(site.store),
        "levels": LEVEL_WORDS,
        "largest": LARGEST_NUMBER,
        "lines": lines,
        "error": error,
        "typed": typed or {},
    }
    return site.show(request, "practice.html", values, status=422 if error else 200)


@router.post("/practice")
def start(request: Request, form: Form) -> Response:
    """Begin an exercise; without a number one is drawn."""
    from axlewright.training import LARGEST_NUMBER, ExerciseName

    site, person = site_of(request), person_of(request)
    try:
        text = form.text("number")
        number = form.whole("number") if text else 1 + secrets.randbelow(LARGEST_NUMBER)
        if number is None:
            raise InputError(
                _("'{text}' is not the number of an exercise").format(text=text[:20]),
                where=_("number"),
                fix=_("type a whole number or leave it empty"),
            )
        design = find_design(site.store, form.text("design"))
        name = ExerciseName(design.name, form.whole("level") or 0, number)
        kept = start_practice(site.store, name, person.who)
    except AxlewrightError as error:
        return _list(request, error, form.fields)
    return go(f"/practice/{kept.key}")


def _exercise(
    request: Request, key: str, error: AxlewrightError | None = None, typed: Any = None
) -> Response:
    from axlewright.training import ACTIONS

    site, system = site_of(request), person_of(request).system
    kept = practice_attempt(site.store, key)
    played = played_attempt(site.store, kept.attempt)
    tapered = played.axle.design.tooth_form == "face-milled"
    sides = {"drive": _("Drive side: {words}"), "coast": _("Coast side: {words}")}
    outcomes = []
    for k in reversed(range(len(played.outcomes))):
        one = show_outcome(played, k)
        teeth = {
            flank: tooth(
                measured=rows(p.mask), tapered=tapered, label=sides[flank].format(words=p.describe())
            )
            for flank, p in one.patterns.items()
        }
        outcomes.append({"one": one, "teeth": teeth})
    pinned = (
        next((o for o in outcomes[1:] if o["teeth"]), None) if outcomes and not outcomes[0]["teeth"] else None
    )
    rolled = max((k for k, o in enumerate(played.outcomes) if o.action.kind == "roll"), default=None)
    changes = [k for k, o in enumerate(played.outcomes) if o.action.kind in ("shim", "press", "seat")]
    chosen = ("seat", "ask")
    values = {
        "key_of": key,
        "kept": kept,
        "played": played,
        "complaint": complaint(played),
        "outcomes": outcomes,
        "pinned": pinned,
        "pinned_stale": rolled is not None and bool(changes) and changes[-1] > rolled,
        "end_teeth": _end_teeth(played, sides) if kept.attempt.over else {},
        "spacer_words": show_length(played.spacer_mm, system),
        "clock": show_hours(played.hours),
        "look": {k: a for k, a in ACTIONS.items() if not a.amount and not a.ends and k not in chosen},
        "change": {k: a for k, a in ACTIONS.items() if a.amount or k == "seat"},
        "ends": {k: a for k, a in ACTIONS.items() if a.ends},
        "asking": ACTIONS["ask"],
        "show_hours": show_hours,
        "over": kept.attempt.over,
        "review": show_review(played) if kept.attempt.over else None,
        "error": error,
        "typed": typed or {},
    }
    return site.show(request, "exercise.html", values, status=422 if error else 200)


def _end_teeth(played: Played, sides: dict[str, str]) -> dict[str, str]:
    """Draw the true patterns at the end over those at the set's best place."""
    from axlewright.training import best_settings, show_axle

    axle = played.axle
    now = show_axle(axle, played.settings).patterns
    best = show_axle(axle, best_settings(axle, played.settings)).patterns
    return {
        flank: tooth(
            measured=rows(p.mask),
            computed=rows(best[flank].mask) if flank in best else None,
            tapered=axle.design.tooth_form == "face-milled",
            label=sides[flank].format(words=p.describe()),
        )
        for flank, p in now.items()
    }


@router.get("/practice/{key}", response_class=HTMLResponse)
def exercise(request: Request, key: str) -> Response:
    """Show an exercise as it stands."""
    return _exercise(request, key)


@router.post("/practice/{key}")
def act(request: Request, key: str, form: Form) -> Response:
    """Do one thing to the axle."""
    from axlewright.training import ACTIONS, Action

    site, system = site_of(request), person_of(request).system
    kind = form.text("kind")
    try:
        if kind not in ACTIONS:
            raise InputError(
                _("nothing was chosen"), where=_("what to do"), fix=_("press one of the buttons")
            )
        amount = 0.0
        if ACTIONS[kind].amount:
            text = form.text(f"amount_{kind}")
            if not text:
                raise InputError(
                    _("how far is missing"),
                    where=_(ACTIONS[kind].label),
                    fix=_("type a length such as 4 thou"),
                )
            unit = "in" if system == "inch" else "mm"
            amount = parse_length(text, default_unit=unit, where=_(ACTIONS[kind].label))
        practise(site.store, key, Action(kind, round(amount, 5)), form.whole("seen"))  # type: ignore[arg-type]
    except InputError as error:
        return _exercise(request, key, error, form.fields)
    return go(f"/practice/{key}", anchor="latest")
