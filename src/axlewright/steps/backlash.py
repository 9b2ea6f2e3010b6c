"""Backlash round the ring gear: spread, limits, and the move that brings it to its target."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Literal

from axlewright.errors import AxlewrightError
from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.records.deciding import deciding
from axlewright.setup import (
    START_FACTOR,
    BacklashReadings,
    LearnedFactor,
    Limit,
    RingMove,
    Term,
    WrittenSum,
    choose_limit,
    fit_runout,
    judge_backlash,
    learn_backlash_factor,
    link_runout_to_backlash,
    notches_for_move,
    ring_move_for_backlash,
)
from axlewright.steps.answers import Typed
from axlewright.steps.gauges import instrument_of
from axlewright.steps.result import Reading, Result, numbers, plain_sum
from axlewright.steps.side_bearings import find_side_preload, shims_to_fit, tell_shims_read
from axlewright.steps.step import Context
from axlewright.units import Length, System, show_length

BACKLASH_BAND_MM = (0.0, 2.0)
"""Plausible backlash (common practice, no source); more is asked about."""


def _stem(typed: Typed) -> Literal["", "in_rotation", "square_to_tooth"]:
    chosen = typed.choice("stem", ("in_rotation", "square_to_tooth"))
    if chosen == "in_rotation":
        return "in_rotation"
    return "square_to_tooth" if chosen == "square_to_tooth" else ""


def _band(typed: Typed, known: Context) -> Limit:
    axle = typed.choice(
        "axle", ("light", "truck", "heavy_tandem", "earthmover"), required=_("it chooses the default limit")
    )
    default = choose_limit({"light": "backlash_light_axle"}.get(axle, f"backlash_{axle}"))
    low = typed.length("limit_low", low=0.0, high=2.0)
    high = typed.length("limit_high", low=0.0, high=2.0)
    if low is None and high is None:
        return default
    source = typed.text("limit_source") or _("service data typed in by {who}").format(who=known.who)
    try:
        return Limit(default.name, low, high, "mm", source)
    except AxlewrightError as error:
        raise typed.error("limit_low", error.what, error.fix) from error


def limit_used(payload: Mapping[str, Any], known: Context) -> Limit:
    """Return the backlash limit that an earlier reading was held against."""
    typed = Typed(payload.get("typed", {}), {}, payload.get("system", "inch"))
    return _band(typed, known)


def _spread(typed: Typed, known: Context) -> Limit | None:
    high = typed.length("limit_spread", low=0.0, high=1.0)
    if high is None:
        return None
    source = typed.text("limit_source") or _("service data typed in by {who}").format(who=known.who)
    return Limit(_("spread of backlash around the ring gear"), None, high, "mm", source)


def _factor(
    typed: Typed, known: Context, found: Result, readings: BacklashReadings
) -> tuple[float | LearnedFactor, str]:
    """Return the backlash per move: learned on this axle, else from the design, else a start value."""
    moved = typed.length("moved", low=-3.0, high=3.0)
    if moved is not None:
        found.values["moved_mm"] = moved
    before = [v for v in known.all_values("backlash") if v.get("tightest_mm") is not None]
    if moved and before and not _depth_entered_since(known):
        try:
            learned = learn_backlash_factor(
                float(before[-1]["tightest_mm"]),
                readings.minimum_mm,
                moved,
                reading_uncertainty_mm=readings.expanded_uncertainty_mm / 2.0,
            )
        except AxlewrightError as error:
            found.questions.append(str(error))
        else:
            found.notes.append(
                _("Learned on this axle: backlash changed {value} times the ring gear's move.").format(
                    value=f"{Shown(learned.value):.2f}"
                )
            )
            if learned.standard_uncertainty >= 0.0025:
                found.notes.append(
                    _(
                        "That is ± {unsure:.2f} from the indicator's step and certificate; read at one tooth."
                    ).format(unsure=Shown(1.96 * learned.standard_uncertainty))
                )
            found.values["factor_learned"] = learned.value
            found.values["factor_learned_uncertainty"] = learned.standard_uncertainty
            return learned, learned.source
    for values in reversed(before):
        if values.get("factor_learned"):
            return (
                LearnedFactor(
                    float(values["factor_learned"]),
                    float(values.get("factor_learned_uncertainty") or 0.0),
                    _("learned from two readings on this axle"),
                ),
                "",
            )
    if known.design is not None:
        from axlewright.contact import backlash_per_move

        rolled, _per_pinion = backlash_per_move(known.design)
        k = rolled.square_to_tooth if readings.stem == "square_to_tooth" else rolled.computed
        if readings.heel_radius_mm is not None:
            k *= readings.heel_radius_mm / (known.design.ring_outer_diameter_mm / 2.0)
        return k, _("computed from design {name}; learn it from the next reading").format(
            name=known.design.name
        )
    return START_FACTOR, _("start value, learn it from the next reading")


def _depth_entered_since(known: Context) -> bool:
    """Whether depth was entered after backlash: another spacer changes the backlash too."""
    last = next((e.step for e in reversed(known.entries) if e.step in ("depth", "backlash")), "")
    return last == "depth"


def _heel_radius(typed: Typed, known: Context, found: Result) -> float | None:
    """Return the radius at which was read [mm], asked about when it lies off the ring gear."""
    radius = typed.length("heel_radius", low=20.0, high=600.0)
    if radius is None:
        return None
    found.read_length(_("radius at which the indicator stood"), radius, typed.system)
    found.values["heel_radius_mm"] = radius
    if known.design is not None:
        outer = known.design.ring_outer_diameter_mm / 2.0
        inner = outer - known.design.face_width_mm
        if not 0.98 * inner <= radius <= 1.02 * outer:
            found.questions.append(
                _(
                    "The teeth of this ring gear lie between radius {low} and {high}: where did it stand?"
                ).format(low=show_length(inner, typed.system), high=show_length(outer, typed.system))
            )
    return radius


def _target(typed: Typed, known: Context, band: Limit) -> float:
    """Return the backlash wanted [mm]: typed, else etched on the set, else the middle of the limit."""
    target = typed.length("target", low=0.0, high=2.0)
    if target is not None:
        return target
    etched = known.last_values("identity").get("etched_backlash_mm")
    return float(etched) if etched is not None else band.middle


def _first_shims(typed: Typed, known: Context) -> Result:
    """Work out the first shims from those found at no backlash and no preload."""
    found = Result()
    target = _target(typed, known, _band(typed, known))
    nothing = BacklashReadings((0.0,), stem=_stem(typed))
    factor, source = _factor(typed, known, found, nothing)
    move = ring_move_for_backlash(nothing, target, factor=factor, factor_source=source)
    _tell_move(found, typed, known, move)
    find_side_preload(found, typed, known)
    found.values |= {"target_mm": target, "factor": move.factor, "stage": "zero"}
    found.questions.append(
        _("Set it so, then read backlash at four to eight places and enter the step again.")
    )
    found.settle("")
    return found


def find_backlash(typed: Typed, known: Context) -> Result:
    """Judge spread and tightest place, and say how to move the ring gear."""
    if typed.choice("stage", ("read", "zero")) == "zero":
        return _first_shims(typed, known)
    found = Result()
    instrument = instrument_of(typed, known)
    values = typed.lengths(
        "readings",
        low=BACKLASH_BAND_MM[0],
        high=BACKLASH_BAND_MM[1],
        required=_("read at four to eight places once round"),
    )
    try:
        readings = BacklashReadings(
            values,
            2.0 * (instrument.resolution_uncertainty_mm**2 + instrument.calibration_uncertainty_mm**2) ** 0.5,
            _stem(typed),
            _heel_radius(typed, known, found),
        )
    except AxlewrightError as error:
        raise typed.error("readings", error.what, error.fix) from error
    band = _band(typed, known)
    if readings.stem:
        stood = _("in line with rotation") if readings.stem == "in_rotation" else _("square to the tooth")
        found.readings.append(Reading(_("the indicator's stem stood"), stood))
        found.values["stem"] = readings.stem
    step = 360.0 / len(values)
    for index, value in enumerate(values):
        note = _("tightest") if index == readings.tightest_index else ""
        found.readings.append(
            Reading(
                _("backlash at {index}°").format(index=f"{index * step:.0f}"),
                show_length(value, typed.system),
                place="j",
                note=note,
            )
        )
    verdict = judge_backlash(readings, band, spread=_spread(typed, known))
    for one in verdict.verdicts:
        found.judged(one)
    found.notes += list(readings.notes)
    found.sums.append(plain_sum(_("spread round the ring gear"), (readings.maximum_mm, -readings.minimum_mm)))
    etched = known.last_values("identity").get("etched_backlash_mm")
    target = _target(typed, known, band)
    factor, source = _factor(typed, known, found, readings)
    move = ring_move_for_backlash(readings, target, factor=factor, factor_source=source)
    found.values |= {
        "readings_mm": numbers(values),
        "limit_mm": [band.low, band.high],
        "tightest_mm": readings.minimum_mm,
        "spread_mm": readings.spread_mm,
        "mean_mm": readings.mean_mm,
        "target_mm": target,
        "ring_away_mm": move.ring_away_mm,
        "factor": move.factor,
    }
    if verdict.spread.kind == "outside":
        found.notes.append(
            _(
                "The spread comes from runout: moving the ring gear does not cure it. Look "
                "at flange, bearings, dirt under the gear; re-index it high to low."
            )
        )
    _link_to_runout(found, known, readings, move.factor, typed.system)
    find_side_preload(found, typed, known)
    by_pattern = deciding(known.entries, "backlash").ring != "sum"
    waits = _waits_for(known, readings)
    if waits:
        found.notes.insert(0, waits)
        found.values["ring_move_waits"] = True
        tell_shims_read(found, typed)
    elif verdict.at_tightest.kind == "inside" and by_pattern:
        found.notes.insert(
            0, _("Inside; no move needed: the contact pattern decided where the ring gear sits.")
        )
        found.values |= {"ring_away_mm": 0.0, "decided_by": "pattern"}
        tell_shims_read(found, typed)
    elif verdict.at_tightest.kind == "inside" and not typed.given("target") and etched is None:
        found.notes.insert(0, _inside_words(move, typed.system))
        tell_shims_read(found, typed)
    else:
        _tell_move(found, typed, known, move)
    found.settle(
        _("{minimum_mm} at the tightest place").format(
            minimum_mm=show_length(readings.minimum_mm, typed.system)
        )
    )
    return found


def _inside_words(move: RingMove, system: System) -> str:
    if abs(move.ring_away_mm) < 0.005:
        return _("Inside; no move needed.")
    words = (
        _(
            "Inside; no move needed. Remark: the middle of the range would be {by} away from the "
            "pinion; a reason to move only if the gear has to be moved anyway."
        )
        if move.ring_away_mm > 0
        else _(
            "Inside; no move needed. Remark: the middle of the range would be {by} toward the "
            "pinion; a reason to move only if the gear has to be moved anyway."
        )
    )
    return words.format(by=show_length(abs(move.ring_away_mm), system))


def _depth_change_due(known: Context) -> tuple[str, float | None]:
    """Return why the pinion is still to be moved and by how much out [mm]; empty when it is not.

    The newer of depth and pattern counts: a pattern read before the last change of depth says nothing
    on how the pinion sits now.
    """
    for entry in reversed(known.entries):
        if entry.kind != "result" or entry.step not in ("depth", "pattern"):
            continue
        if entry.payload.get("verdict") != "not ok":
            if entry.step == "pattern" and entry.payload.get("verdict") != "ok":
                continue
            return "", None
        values = entry.payload.get("values", {})
        if entry.step == "depth":
            left = values.get("pinion_left_out_mm")
            return _("the pinion depth is not right"), None if left is None else -float(left)
        move = values.get("pinion_move_mm")
        if move == 0.0:
            return "", None  # the ring gear alone is to be moved
        return _("the pattern is not right"), None if move is None else float(move)
    return "", None


def _waits_for(known: Context, readings: BacklashReadings) -> str:
    """Say why the ring gear is not to be moved yet; empty when it may be."""
    why, pinion_out = _depth_change_due(known)
    if not why:
        return ""
    if not pinion_out:
        return _(
            "Not yet: {why}. Put that right before the ring gear is moved for backlash; enter the depth step "
            "again once the spacer is changed, then read backlash again."
        ).format(why=why)
    if known.design is None:
        return _(
            "Not yet: {why}, and the depth change moves backlash too (by how much is not known without a "
            "design); enter the depth step again once the spacer is changed, then read backlash again."
        ).format(why=why)
    from axlewright.contact import backlash_per_move

    _per_ring, per_pinion = backlash_per_move(known.design)
    square = readings.stem == "square_to_tooth"
    per = per_pinion.square_to_tooth if square else per_pinion.computed
    after = readings.minimum_mm + per * pinion_out
    words = (
        _(
            "Not yet: {why}, and the depth change moves backlash too: moving the pinion {by} out brings the "
            "tightest place to about {value}; enter the depth step again once the spacer is changed, then "
            "read backlash again."
        )
        if pinion_out > 0
        else _(
            "Not yet: {why}, and the depth change moves backlash too: moving the pinion {by} in brings the "
            "tightest place to about {value}; enter the depth step again once the spacer is changed, then "
            "read backlash again."
        )
    )
    return words.format(
        why=why,
        by=show_length(abs(pinion_out), known.system),
        value=show_length(max(0.0, after), known.system),
    )


def _move_sum(move: RingMove) -> WrittenSum:
    return WrittenSum(
        _("ring gear move for the target, plus is away from the pinion"),
        (
            Term(Length(move.target_mm, signed=True), 1.0, move.factor),
            Term(Length(move.now_mm), -1.0, move.factor),
        ),
        _("Backlash per move: {factor_source}.").format(factor_source=move.factor_source),
    )


def _tell_move(found: Result, typed: Typed, known: Context, move: RingMove) -> None:
    found.sums.append(_move_sum(move))
    if abs(move.ring_away_mm) < 0.005:
        found.notes.append(_("The backlash is at its target; nothing to move."))
        return
    pitch, notches = typed.length("thread_pitch", low=0.3, high=6.0), typed.count("notches", low=4, high=200)
    if pitch is not None and notches is not None:
        turn = notches_for_move(move.ring_away_mm, pitch, notches)
        found.notes.append(turn.text())
        found.values["notches"] = turn.notches
        return
    if (pitch is None) != (notches is None):
        missing = "thread_pitch" if pitch is None else "notches"
        raise typed.error(
            missing, _("nothing typed"), _("give both the thread pitch and the notches, or neither")
        )
    if not shims_to_fit(found, typed, known, move.ring_away_mm):
        found.notes.append(move.text(typed.system))


def _link_to_runout(
    found: Result, known: Context, readings: BacklashReadings, factor: float, system: System
) -> None:
    """Say whether the back face's runout explains how backlash varies, where both were read alike."""
    fits = known.last_values("fits")
    values = fits.get("face_readings_mm", ())
    if len(values) < 4 or len(readings.readings_mm) < 4 or fits.get("turned_readings_mm"):
        return
    link = link_runout_to_backlash(fit_runout(values), fit_runout(readings.readings_mm), factor)
    if link.measured_spread_mm < 0.01:
        return
    found.notes.append(
        _("If both were read from the same marked place and in the same direction: {link}").format(
            link=link.text(system)
        )
    )
