"""Fits and runout: judged, split into flange and gear, and where to put high to low."""

from __future__ import annotations

from typing import Final

from axlewright.errors import AxlewrightError
from axlewright.language import _, joined, n_, plural
from axlewright.setup import (
    RunoutFit,
    Separated,
    best_index,
    choose_limit,
    fit_runout,
    judge,
    separate_by_reindexing,
)
from axlewright.steps.answers import Answers
from axlewright.steps.field import LIMIT_FIELDS, LIMITS, NOTE, RESOLUTION, WITH, Choice, Field
from axlewright.steps.gauges import instrument_of
from axlewright.steps.limits import typed_limit
from axlewright.steps.result import Result, VerdictWord, numbers
from axlewright.steps.step import Context, StepForm
from axlewright.units import Length

DIAL_BAND_MM: Final = (-3.0, 3.0)
RUNOUT_BAND_MM: Final = (0.0, 2.0)
"""Plausible dial readings round a gear, and runout (common practice, no source); more is asked about."""

WHERE_FROM: Final = n_("Where the runout comes from")


def judge_fits(answers: Answers, context: Context) -> Result:
    """Judge runout and seating, tell flange from gear, and say where to bolt the gear."""
    answers.need("bearings")
    found = Result(readings=answers.readings())
    flange, face, turned = (
        _fit(answers, found, name) for name in ("flange_readings", "face_readings", "turned_readings")
    )
    verdicts = _judge_runout(answers, context, found, flange, face)
    apart = _apart(answers, found, flange, face, turned)
    if apart is not None:
        _high_to_low(answers, found, apart)
    _say_whose(found, verdicts)
    if not found.limits:
        found.notes.append(_("No runout was read: a wandering pattern later may come from here."))
    found.settle(_("fits and runout written down") if not found.limits else _("runout inside"))
    return found


def _fit(answers: Answers, found: Result, name: str) -> RunoutFit | None:
    """Return the fit of readings round the gear; None when none were typed."""
    values = answers.lengths(name)
    if not values:
        return None
    try:
        fit = fit_runout(values)
    except AxlewrightError as error:
        raise answers.error(name, error.what, error.fix) from error
    found.notes.append(joined(answers.short(name), fit.text(), between=": "))
    found.values[f"{name}_mm"] = numbers(values)
    found.values[f"{name}_fit"] = {
        "mean_mm": fit.mean_mm,
        "first_mm": [fit.first_mm.real, fit.first_mm.imag],
        "second_mm": [fit.second_mm.real, fit.second_mm.imag],
    }
    return fit


def _judge_runout(
    answers: Answers, context: Context, found: Result, flange: RunoutFit | None, face: RunoutFit | None
) -> dict[str, VerdictWord]:
    """Judge what was read or follows from the readings; return the verdicts by field."""
    heavy = answers.choice("axle") == "heavy"
    # A total indicator reading is a difference of two readings.
    half = 2.0 * 2.0**0.5 * instrument_of(answers, context).resolution_uncertainty_mm
    verdicts: dict[str, VerdictWord] = {}
    for name, fit, own, key in (
        ("flange_runout", flange, "limit_flange", "flange_runout"),
        ("ring_face_runout", face, "limit_face", "ring_face_runout_heavy" if heavy else "ring_face_runout"),
        ("seating_gap", None, "", "ring_seating_gap"),
        ("companion_runout", None, "", "companion_flange_runout"),
    ):
        value = answers.length(name)
        if value is None:
            if fit is None:
                continue
            value = fit.tir_mm
        default = choose_limit(key)
        limit = (typed_limit(answers, context, default.name, low="", high=own) if own else None) or default
        found.judged(judge(value, limit, expanded_uncertainty=half))
        found.values[f"{name}_mm"] = value
        verdicts[name] = found.limits[-1].verdict
    return verdicts


def _apart(
    answers: Answers,
    found: Result,
    flange: RunoutFit | None,
    face: RunoutFit | None,
    turned: RunoutFit | None,
) -> Separated | None:
    """Return flange and gear apart: by turning the gear on its flange, else by reading the bare flange."""
    if turned is not None:
        if face is None:
            raise answers.error(
                "face_readings", _("nothing typed"), _("read the back face before the gear is turned as well")
            )
        holes, bolts = answers.count("turned_holes"), answers.count("bolts")
        if holes is None:
            raise answers.error("turned_holes", _("nothing typed"), _("say how far the gear was turned"))
        if bolts is None:
            raise answers.error("bolts", _("nothing typed"), _("count the bolts of the ring gear"))
        try:
            apart = separate_by_reindexing(face, turned, 360.0 * holes / bolts)
        except AxlewrightError as error:
            raise answers.error("turned_holes", error.what, error.fix) from error
        found.values["bolted_holes"] = holes
        return apart
    if flange is None or face is None:
        return None
    return Separated(
        flange.first_mm,
        face.first_mm - flange.first_mm,
        flange.second_mm,
        face.second_mm - flange.second_mm,
        (face.amplitude_uncertainty_mm**2 + flange.amplitude_uncertainty_mm**2) ** 0.5,
    )


def _high_to_low(answers: Answers, found: Result, apart: Separated) -> None:
    unsure = 2.0 * 1.96 * apart.standard_uncertainty_mm
    found.notes.append(
        _(
            "Tilt apart: flange {flange}, ring gear {gear}, each ± {unsure} from the scatter of the readings."
        ).format(flange=Length(apart.flange_tir_mm), gear=Length(apart.gear_tir_mm), unsure=Length(unsure))
    )
    found.values |= {"flange_tilt_mm": apart.flange_tir_mm, "gear_tilt_mm": apart.gear_tir_mm}
    bolts = answers.count("bolts")
    if bolts is None:
        found.notes.append(
            _("Count the ring gear's bolts to be told which hole puts its high to the flange's low.")
        )
        return
    advice = best_index(apart, bolts)
    found.values |= {"best_holes": advice.holes, "best_tilt_mm": advice.tir_after_mm}
    if advice.tir_before_mm - advice.tir_after_mm <= unsure:
        found.notes.append(
            _("Turning the gear on its flange gains less than these readings can tell: leave it.")
        )
        return
    found.notes.append(advice.text())
    turned = found.values.get("bolted_holes", 0)
    if not turned:
        return
    more = (advice.holes - turned) % bolts
    if not more:
        found.notes.append(_("As it is bolted now it sits best."))
        return
    found.notes.append(
        plural(
            "It is bolted on by {turned} now: from here that is {more} hole on.",
            "It is bolted on by {turned} now: from here that is {more} holes on.",
            more,
        ).format(turned=turned, more=more)
    )


def _say_whose(found: Result, verdicts: dict[str, VerdictWord]) -> None:
    """Say whether flange or gear runs out, as the order of looking goes (civil service literature)."""
    flange, face = verdicts.get("flange_runout"), verdicts.get("ring_face_runout")
    if flange == "not ok":
        found.notes.append(_("The flange runs out: bearings first, then the case."))
    elif flange == "ok" and face == "not ok":
        found.notes.append(
            _("The flange is inside, the gear on it is not: burrs, dirt, uneven bolts, then the gear.")
        )


FITS: Final = StepForm(
    "fits",
    n_("What runs out here comes back as changing backlash and a wandering pattern."),
    (
        Field(
            "bearings",
            n_("Bearing journals and bores"),
            "text",
            n_("What was found."),
            missing=n_("say what was found"),
            short=n_("bearing journals and bores"),
        ),
        Field(
            "flange_runout",
            n_("Case flange runout, ring gear off"),
            "length",
            n_("Total indicator reading."),
            usual=RUNOUT_BAND_MM,
            short=n_("case flange runout, ring gear off"),
        ),
        Field(
            "ring_face_runout",
            n_("Ring gear back face runout"),
            "length",
            n_("Total indicator reading."),
            usual=RUNOUT_BAND_MM,
            short=n_("ring gear back face runout"),
        ),
        Field(
            "seating_gap",
            n_("Feeler that enters between ring gear and flange"),
            "length",
            n_("0 when none does, at four places."),
            usual=RUNOUT_BAND_MM,
            short=n_("gap between ring gear and flange"),
        ),
        Field(
            "companion_runout",
            n_("Companion flange runout"),
            "length",
            n_("Total indicator reading."),
            usual=RUNOUT_BAND_MM,
            short=n_("companion flange runout"),
        ),
        Field(
            "face_readings",
            n_("Ring gear's back face, round the gear"),
            "lengths",
            n_("In order from the marked place, eight or more even places, signs as the dial shows."),
            group=WHERE_FROM,
            signed=True,
            around=True,
            usual=DIAL_BAND_MM,
            short=n_("back face"),
        ),
        Field(
            "flange_readings",
            n_("The same on the case flange, ring gear off"),
            "lengths",
            n_("From the same place and in the same order."),
            group=WHERE_FROM,
            signed=True,
            around=True,
            usual=DIAL_BAND_MM,
            short=n_("case flange"),
        ),
        Field(
            "turned_readings",
            n_("Back face again, ring gear bolted on turned"),
            "lengths",
            n_(
                "From the same place of the case. "
                "Tells flange and gear apart without taking the gear off again."
            ),
            group=WHERE_FROM,
            signed=True,
            around=True,
            usual=DIAL_BAND_MM,
            short=n_("back face, gear turned"),
        ),
        Field(
            "turned_holes",
            n_("Turned by how many bolt holes"),
            "count",
            n_("In the order in which the readings go round; a quarter turn tells most."),
            group=WHERE_FROM,
            usual=(1, 60),
            short=n_("gear turned by bolt holes"),
        ),
        Field(
            "bolts",
            n_("Bolts of the ring gear"),
            "count",
            n_("Evenly spaced."),
            sticky=True,
            group=WHERE_FROM,
            usual=(2, 60),
            short=n_("bolts of the ring gear"),
        ),
        Field(
            "axle",
            n_("Kind of axle"),
            "choice",
            n_("Chooses the default limit of the back face where you have no service data."),
            choices=(Choice("light", n_("light to medium")), Choice("heavy", n_("heavy"))),
            sticky=True,
            group=LIMITS,
            short=n_("kind of axle"),
        ),
        Field(
            "limit_flange",
            n_("Largest flange runout"),
            "length",
            sticky=True,
            group=LIMITS,
            usual=RUNOUT_BAND_MM,
            listed=False,
        ),
        Field(
            "limit_face",
            n_("Largest back face runout"),
            "length",
            sticky=True,
            group=LIMITS,
            usual=RUNOUT_BAND_MM,
            listed=False,
        ),
        *LIMIT_FIELDS,
        WITH,
        RESOLUTION,
        NOTE,
    ),
    n_("Judge it"),
    rule=judge_fits,
)
