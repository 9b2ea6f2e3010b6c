"""Fits and runout: judged, split into flange and gear, and where to put high to low."""

from __future__ import annotations

from axlewright.errors import AxlewrightError
from axlewright.language import eager as _
from axlewright.setup import (
    Limit,
    RunoutFit,
    Separated,
    best_index,
    choose_limit,
    fit_runout,
    judge,
    separate_by_reindexing,
)
from axlewright.steps.answers import Typed
from axlewright.steps.gauges import instrument_of
from axlewright.steps.result import Reading, Result, numbers
from axlewright.steps.step import Context
from axlewright.units import show_length

DIAL_BAND_MM = (-3.0, 3.0)
"""Plausible dial readings round a gear (common practice, no source); more is asked about."""


def _limit(typed: Typed, known: Context, name: str, default: Limit) -> Limit:
    high = typed.length(name, low=0.0, high=2.0)
    if high is None:
        return default
    source = typed.text("limit_source") or _("service data typed in by {who}").format(who=known.who)
    return Limit(default.name, None, high, "mm", source)


def _round(typed: Typed, found: Result, name: str, label: str) -> RunoutFit | None:
    """Return the fit of readings round the gear, written down with their places; None when none was typed."""
    values = typed.lengths(name, low=DIAL_BAND_MM[0], high=DIAL_BAND_MM[1])
    if not values:
        return None
    try:
        fit = fit_runout(values)
    except AxlewrightError as error:
        raise typed.error(name, error.what, error.fix) from error
    step = 360.0 / len(values)
    for index, value in enumerate(values):
        found.readings.append(
            Reading(
                _("{what} at {angle:.0f}°").format(what=label, angle=index * step),
                show_length(value, typed.system, signed=True),
            )
        )
    found.notes.append(f"{label}: {fit.text(typed.system)}")
    found.values[f"{name}_mm"] = numbers(values)
    found.values[f"{name}_fit"] = {
        "mean_mm": fit.mean_mm,
        "first_mm": [fit.first_mm.real, fit.first_mm.imag],
        "second_mm": [fit.second_mm.real, fit.second_mm.imag],
    }
    return fit


def find_fits(typed: Typed, known: Context) -> Result:
    """Judge runout and seating, tell flange from gear, and say where to bolt the gear."""
    found = Result()
    instrument = instrument_of(typed, known)
    found.readings.append(
        Reading(_("bearing journals and bores"), typed.required("bearings", _("say what was found")))
    )
    flange_fit = _round(typed, found, "flange_readings", _("case flange"))
    face_fit = _round(typed, found, "face_readings", _("back face"))
    turned_fit = _round(typed, found, "turned_readings", _("back face, gear turned"))
    heavy = typed.choice("axle", ("light", "heavy")) == "heavy"
    flange_limit = _limit(typed, known, "limit_flange", choose_limit("flange_runout"))
    face_limit = _limit(
        typed,
        known,
        "limit_face",
        choose_limit("ring_face_runout_heavy" if heavy else "ring_face_runout"),
    )
    # A total indicator reading is a difference of two readings.
    half = 2.0 * 2.0**0.5 * instrument.resolution_uncertainty_mm
    for name, fit, limit in (
        ("flange_runout", flange_fit, flange_limit),
        ("ring_face_runout", face_fit, face_limit),
        ("seating_gap", None, choose_limit("ring_seating_gap")),
        ("companion_runout", None, choose_limit("companion_flange_runout")),
    ):
        value = typed.length(name, low=0.0, high=2.0)
        if value is None and fit is None:
            continue
        if value is None:
            assert fit is not None  # one of both is there
            value = fit.tir_mm
        found.read_length(_(str(limit.name)), value, typed.system)
        found.judged(judge(value, limit, expanded_uncertainty=half))
        found.values[f"{name}_mm"] = value
    apart = _apart(typed, found, flange_fit, face_fit, turned_fit)
    if apart is not None:
        _high_to_low(typed, found, apart)
    _say_whose(found)
    if not found.limits:
        found.notes.append(_("No runout was read: a wandering pattern later may come from here."))
    found.settle(_("fits and runout written down") if not found.limits else _("runout inside"))
    return found


def _apart(
    typed: Typed,
    found: Result,
    flange: RunoutFit | None,
    face: RunoutFit | None,
    turned: RunoutFit | None,
) -> Separated | None:
    """Return flange and gear apart: by turning the gear on its flange, else by reading the bare flange."""
    if turned is not None:
        if face is None:
            raise typed.error(
                "face_readings", _("nothing typed"), _("read the back face before the gear is turned as well")
            )
        holes = typed.count("turned_holes", low=1, high=60, required=_("say how far the gear was turned"))
        bolts = typed.count("bolts", low=2, high=60, required=_("count the bolts of the ring gear"))
        assert holes is not None  # required
        assert bolts is not None  # required
        try:
            apart = separate_by_reindexing(face, turned, 360.0 * holes / bolts)
        except AxlewrightError as error:
            raise typed.error("turned_holes", error.what, error.fix) from error
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


def _high_to_low(typed: Typed, found: Result, apart: Separated) -> None:
    shown = (apart.flange_tir_mm, apart.gear_tir_mm, 2.0 * 1.96 * apart.standard_uncertainty_mm)
    flange, gear, unsure = (show_length(value, typed.system) for value in shown)
    found.notes.append(
        _(
            "Tilt apart: flange {flange}, ring gear {gear}, each ± {unsure} from the scatter of the readings."
        ).format(flange=flange, gear=gear, unsure=unsure)
    )
    found.values |= {"flange_tilt_mm": apart.flange_tir_mm, "gear_tilt_mm": apart.gear_tir_mm}
    bolts = typed.count("bolts", low=2, high=60)
    if bolts is None:
        found.notes.append(
            _("Count the ring gear's bolts to be told which hole puts its high to the flange's low.")
        )
        return
    advice = best_index(apart, bolts)
    turned = found.values.get("bolted_holes", 0)
    gain = advice.tir_before_mm - advice.tir_after_mm
    found.values |= {"best_holes": advice.holes, "best_tilt_mm": advice.tir_after_mm}
    if gain <= 2.0 * 1.96 * apart.standard_uncertainty_mm:
        found.notes.append(
            _("Turning the gear on its flange gains less than these readings can tell: leave it.")
        )
        return
    found.notes.append(advice.text(typed.system))
    if turned:
        more = (advice.holes - turned) % bolts
        found.notes.append(
            _("It is bolted on {turned} holes further now: from here that is {more} holes on.").format(
                turned=turned, more=more
            )
            if more
            else _("As it is bolted now it sits best.")
        )


def _say_whose(found: Result) -> None:
    """Say whether flange or gear runs out, as the order of looking goes (civil service literature)."""
    verdicts: dict[str, str] = {str(one.name): one.verdict for one in found.limits}
    flange = verdicts.get(_(str(choose_limit("flange_runout").name)))
    faces = [
        verdicts.get(_(str(choose_limit(key).name))) for key in ("ring_face_runout", "ring_face_runout_heavy")
    ]
    if flange == "not ok":
        found.notes.append(_("The flange runs out: bearings first, then the case."))
    elif flange == "ok" and "not ok" in faces:
        found.notes.append(
            _("The flange is inside, the gear on it is not: burrs, dirt, uneven bolts, then the gear.")
        )
