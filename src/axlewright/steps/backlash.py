"""Backlash round the ring gear and its side bearings: spread, limits, the move to the target, the preload."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final, Literal

from axlewright.errors import AxlewrightError
from axlewright.language import Number, Text, _, joined, n_
from axlewright.records.deciding import deciding
from axlewright.setup import (
    START_FACTOR,
    START_SOURCE,
    BacklashReadings,
    LearnedFactor,
    Limit,
    RingMove,
    SideShims,
    StemDirection,
    StockItem,
    Term,
    WrittenSum,
    best_pack,
    cap_spread,
    choose_limit,
    fit_runout,
    judge,
    judge_backlash,
    learn_backlash_factor,
    link_runout_to_backlash,
    notches_for_move,
    ring_move_for_backlash,
)
from axlewright.steps.answers import Answers
from axlewright.steps.field import (
    LIMIT_FIELDS,
    LIMITS,
    NOTE,
    OTHER_SIDE,
    RESOLUTION,
    RING_SIDE,
    WITH,
    Choice,
    Field,
)
from axlewright.steps.gauges import instrument_of
from axlewright.steps.limits import typed_limit
from axlewright.steps.result import Result, numbers, plain_sum
from axlewright.steps.step import Context, StepForm
from axlewright.units import Length, Torque

BACKLASH_BAND_MM: Final = (0.0, 2.0)
SHIM_BAND_MM: Final = (0.1, 20.0)
CAPS_BAND_MM: Final = (30.0, 1500.0)
"""Plausible backlash, side shims, size over both caps (common practice, no source); others are asked."""
MOST_SIDE_LEAVES: Final = 3
NO_MOVE_MM: Final = 0.005
"""A smaller move of the ring gear is not worth making (common practice, no source)."""

SHIMS: Final = n_("Side shims or adjusters")
PRELOAD: Final = n_("Side preload")


def judge_backlash_step(answers: Answers, context: Context) -> Result:
    """Judge spread and tightest place, and say how to move the ring gear."""
    if answers.choice("stage") == "zero":
        return _first_shims(answers, context)
    answers.need("readings", "axle")
    readings = _readings(answers, context)
    found = Result(readings=answers.readings({"readings": {readings.tightest_index: _("tightest")}}))
    _say_where_it_stood(found, answers, context, readings)
    band = _band(answers, context)
    verdict = judge_backlash(readings, band, spread=_spread(answers, context))
    for one in verdict.verdicts:
        found.judged(one)
    found.notes += list(readings.notes)
    found.sums.append(plain_sum(_("spread round the ring gear"), (readings.maximum_mm, -readings.minimum_mm)))
    move = _move(found, answers, context, readings, band)
    found.values |= {
        "readings_mm": numbers(readings.readings_mm),
        "limit_mm": [band.low, band.high],
        "tightest_mm": readings.minimum_mm,
        "spread_mm": readings.spread_mm,
        "mean_mm": readings.mean_mm,
        "target_mm": move.target_mm,
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
    _link_to_runout(found, context, readings, move.factor)
    _judge_side_preload(found, answers)
    now = _shims_read(found, answers)
    waits = _waits_for(context, readings)
    inside = verdict.at_tightest.kind == "inside"
    if waits:
        found.notes.insert(0, waits)
        found.values["ring_move_waits"] = True
    elif inside and deciding(context.entries, "backlash").ring != "sum":
        found.notes.insert(
            0, _("Inside; no move needed: the contact pattern decided where the ring gear sits.")
        )
        found.values |= {"ring_away_mm": 0.0, "decided_by": "pattern"}
    elif inside and not answers.given("target") and _etched(context) is None:
        found.notes.insert(0, _inside(move))
    else:
        _tell_move(found, answers, context, move, now)
    found.settle(_("{minimum_mm} at the tightest place").format(minimum_mm=Length(readings.minimum_mm)))
    return found


def _first_shims(answers: Answers, context: Context) -> Result:
    """Work out the first shims from those found at no backlash and no preload."""
    answers.need("axle")
    found = Result(readings=answers.readings())
    nothing = BacklashReadings((0.0,), stem=_stem(answers))
    move = _move(found, answers, context, nothing, _band(answers, context))
    _tell_move(found, answers, context, move, _shims_read(found, answers))
    _judge_side_preload(found, answers)
    found.values |= {"target_mm": move.target_mm, "factor": move.factor, "stage": "zero"}
    found.questions.append(
        _("Set it so, then read backlash at four to eight places and enter the step again.")
    )
    found.settle("")
    return found


# What was read, and what it is held against


def _stem(answers: Answers) -> StemDirection | Literal[""]:
    stem = answers.choice("stem")
    if stem == "in_rotation":
        return "in_rotation"
    return "square_to_tooth" if stem == "square_to_tooth" else ""


def _readings(answers: Answers, context: Context) -> BacklashReadings:
    instrument = instrument_of(answers, context)
    try:
        return BacklashReadings(
            answers.lengths("readings"),
            2.0 * (instrument.resolution_uncertainty_mm**2 + instrument.calibration_uncertainty_mm**2) ** 0.5,
            _stem(answers),
            answers.length("heel_radius"),
        )
    except AxlewrightError as error:
        raise answers.error("readings", error.what, error.fix) from error


def _say_where_it_stood(
    found: Result, answers: Answers, context: Context, readings: BacklashReadings
) -> None:
    """Keep how the indicator stood; ask where it lies off the ring gear."""
    if readings.stem:
        found.values["stem"] = readings.stem
    radius = readings.heel_radius_mm
    if radius is None:
        return
    found.values["heel_radius_mm"] = radius
    if context.design is None:
        return
    outer = context.design.ring_outer_diameter_mm / 2.0
    inner = outer - context.design.face_width_mm
    if not 0.98 * inner <= radius <= 1.02 * outer:
        found.questions.append(
            _("The teeth of this ring gear lie between radius {low} and {high}: where did it stand?").format(
                low=Length(inner), high=Length(outer)
            )
        )


def _band(answers: Answers, context: Context) -> Limit:
    axle = answers.choice("axle")
    default = choose_limit("backlash_light_axle" if axle == "light" else f"backlash_{axle}")
    return typed_limit(answers, context, default.name) or default


def limit_used(payload: Mapping[str, Any], context: Context) -> Limit:
    """Return the backlash limit that an earlier reading was held against."""
    typed = payload.get("typed", {})
    return _band(Answers(BACKLASH.fields, typed, payload.get("system", "inch"), kept=True), context)


def _spread(answers: Answers, context: Context) -> Limit | None:
    return typed_limit(answers, context, choose_limit("backlash_spread").name, low="", high="limit_spread")


# The move of the ring gear


def _etched(context: Context) -> float | None:
    """Return the backlash etched on the set [mm]."""
    etched = context.last_values("identity").get("etched_backlash_mm")
    return None if etched is None else float(etched)


def _move(
    found: Result, answers: Answers, context: Context, readings: BacklashReadings, band: Limit
) -> RingMove:
    """Return the move to the backlash wanted: typed, else etched on the set, else the middle of the limit."""
    target = answers.length("target")
    if target is None:
        target = _etched(context)
    factor, source = _factor(found, answers, context, readings)
    return ring_move_for_backlash(
        readings, band.middle if target is None else target, factor=factor, factor_source=source
    )


def _factor(
    found: Result, answers: Answers, context: Context, readings: BacklashReadings
) -> tuple[float | LearnedFactor, Text]:
    """Return the backlash per move: learned on this axle, else from the design, else a start value."""
    moved = answers.length("moved")
    if moved is not None:
        found.values["moved_mm"] = moved
    before = [v for v in context.all_values("backlash") if v.get("tightest_mm") is not None]
    if moved and before and not _depth_entered_since(context):
        learned = _learn(found, float(before[-1]["tightest_mm"]), moved, readings)
        if learned is not None:
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
    if context.design is None:
        return START_FACTOR, _(START_SOURCE)
    from axlewright.contact import backlash_per_move

    rolled, _per_pinion = backlash_per_move(context.design)
    k = rolled.square_to_tooth if readings.stem == "square_to_tooth" else rolled.computed
    if readings.heel_radius_mm is not None:
        k *= readings.heel_radius_mm / (context.design.ring_outer_diameter_mm / 2.0)
    return k, _("computed from design {name}; learn it from the next reading").format(
        name=context.design.name
    )


def _learn(
    found: Result, before_mm: float, moved_mm: float, readings: BacklashReadings
) -> LearnedFactor | None:
    """Learn the backlash per move from the reading before; None where it is not plausible."""
    try:
        learned = learn_backlash_factor(
            before_mm,
            readings.minimum_mm,
            moved_mm,
            reading_uncertainty_mm=readings.expanded_uncertainty_mm / 2.0,
        )
    except AxlewrightError as error:
        found.questions.append(error.text)
        return None
    found.notes.append(
        _("Learned on this axle: backlash changed {value} times the ring gear's move.").format(
            value=Number(learned.value, ".2f")
        )
    )
    if learned.standard_uncertainty >= 0.0025:
        found.notes.append(
            _("That is ± {unsure} from the indicator's step and certificate; read at one tooth.").format(
                unsure=Number(1.96 * learned.standard_uncertainty, ".2f")
            )
        )
    found.values["factor_learned"] = learned.value
    found.values["factor_learned_uncertainty"] = learned.standard_uncertainty
    return learned


def _depth_entered_since(context: Context) -> bool:
    """Whether depth was entered after backlash: another spacer changes the backlash too."""
    last = next((e.step for e in reversed(context.entries) if e.step in ("depth", "backlash")), "")
    return last == "depth"


def _inside(move: RingMove) -> Text:
    if abs(move.ring_away_mm) < NO_MOVE_MM:
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
    return words.format(by=Length(abs(move.ring_away_mm)))


def _depth_change_due(context: Context) -> tuple[Text, float | None]:
    """Return why the pinion is still to be moved and by how much out [mm]; empty when it is not.

    The newer of depth and pattern counts: a pattern read before the last change of depth says nothing
    on how the pinion sits now.
    """
    for entry in reversed(context.entries):
        if entry.kind != "result" or entry.step not in ("depth", "pattern"):
            continue
        if entry.payload.get("verdict") != "not ok":
            if entry.step == "pattern" and entry.payload.get("verdict") != "ok":
                continue
            return "", None
        values = entry.payload.get("values", {})
        if entry.step == "depth":
            left = values.get("pinion_left_out_mm")
            return _("Not yet: the pinion depth is not right."), None if left is None else -float(left)
        move = values.get("pinion_move_mm")
        if move == 0.0:
            return "", None  # the ring gear alone is to be moved
        return _("Not yet: the pattern is not right."), None if move is None else float(move)
    return "", None


def _waits_for(context: Context, readings: BacklashReadings) -> Text:
    """Say why the ring gear is not to be moved yet; empty when it may be."""
    why, pinion_out = _depth_change_due(context)
    if not why:
        return ""
    again = _("Enter the depth step again once the spacer is changed, then read backlash again.")
    if not pinion_out:
        return joined(why, _("Put that right before the ring gear is moved for backlash."), again)
    if context.design is None:
        return joined(
            why,
            _("The depth change moves backlash too; by how much is not known without a design."),
            again,
        )
    from axlewright.contact import backlash_per_move

    _per_ring, per_pinion = backlash_per_move(context.design)
    square = readings.stem == "square_to_tooth"
    per = per_pinion.square_to_tooth if square else per_pinion.computed
    after = readings.minimum_mm + per * pinion_out
    words = (
        _(
            "The depth change moves backlash too: moving the pinion {by} out brings the tightest place "
            "to about {value}."
        )
        if pinion_out > 0
        else _(
            "The depth change moves backlash too: moving the pinion {by} in brings the tightest place "
            "to about {value}."
        )
    )
    return joined(why, words.format(by=Length(abs(pinion_out)), value=Length(max(0.0, after))), again)


def _tell_move(
    found: Result, answers: Answers, context: Context, move: RingMove, now: SideShims | None
) -> None:
    """Say the move as a sum and in what it is made with: notches of adjusters, both shims, or as it is."""
    found.sums.append(
        WrittenSum(
            _("ring gear move for the target, plus is away from the pinion"),
            (
                Term(Length(move.target_mm, signed=True), 1.0, move.factor),
                Term(Length(move.now_mm), -1.0, move.factor),
            ),
            _("Backlash per move: {factor_source}.").format(factor_source=move.factor_source),
        )
    )
    if abs(move.ring_away_mm) < NO_MOVE_MM:
        found.notes.append(_("The backlash is at its target; nothing to move."))
        return
    pitch, notches = answers.length("thread_pitch"), answers.count("notches")
    if pitch is not None and notches is not None:
        turn = notches_for_move(move.ring_away_mm, pitch, notches)
        found.notes.append(turn.text())
        found.values["notches"] = turn.notches
    elif pitch is not None or notches is not None:
        raise answers.error(
            "thread_pitch" if pitch is None else "notches",
            _("nothing typed"),
            _("give both the thread pitch and the notches, or neither"),
        )
    elif now is not None:
        _shims_to_fit(found, answers, context, now, move.ring_away_mm)
    else:
        found.notes.append(move.text())


def _link_to_runout(found: Result, context: Context, readings: BacklashReadings, factor: float) -> None:
    """Say whether the back face's runout explains how backlash varies, where both were read alike."""
    fits = context.last_values("fits")
    values = fits.get("face_readings_mm", ())
    if len(values) < 4 or len(readings.readings_mm) < 4 or fits.get("turned_readings_mm"):
        return
    link = link_runout_to_backlash(fit_runout(values), fit_runout(readings.readings_mm), factor)
    if link.measured_spread_mm < 0.01:
        return
    found.notes.append(
        joined(
            link.text(),
            _("That holds if both were read from the same marked place and in the same direction."),
        )
    )


# Side bearings: the shims to fit with their total kept, what is on the shelf, the preload


def _shims_read(found: Result, answers: Answers) -> SideShims | None:
    """Return both side shims when both were typed."""
    ring, other = answers.length("ring_side"), answers.length("other_side")
    if ring is None or other is None:
        return None
    found.values |= {"ring_side_mm": ring, "other_side_mm": other}
    try:
        return SideShims(ring, other)
    except AxlewrightError as error:
        raise answers.error("ring_side", error.what, error.fix) from error


def _shims_to_fit(
    found: Result, answers: Answers, context: Context, now: SideShims, ring_away_mm: float
) -> None:
    """Work out both side shims for a move of the ring gear.

    The move changes them equal and opposite, so that their total and the preload stay; preload is added on
    each side where that was asked for.
    """
    each = answers.length("each_side") or 0.0
    try:
        new = now.moved(ring_away_mm).preloaded(each)
    except AxlewrightError as error:
        raise answers.error("ring_side", error.what, error.fix) from error
    more = (each,) if each else ()
    found.sums.append(
        plain_sum(_("side shim to fit, ring gear side"), (now.ring_side_mm, -ring_away_mm, *more))
    )
    found.sums.append(plain_sum(_("side shim to fit, other side"), (now.other_side_mm, ring_away_mm, *more)))
    if each:
        found.notes.append(
            _("Total {before} becomes {after}: the difference is the preload, both sides together.").format(
                before=Length(now.total_mm), after=Length(new.total_mm)
            )
        )
    else:
        found.notes.append(
            _("Total stays {total_mm}, and with it the side bearings' preload.").format(
                total_mm=Length(now.total_mm)
            )
        )
    if answers.choice("sides") == "cones":
        found.notes.append(_("Shims behind the cones: both side bearings are pulled for every change."))
    found.values |= {"ring_side_new_mm": new.ring_side_mm, "other_side_new_mm": new.other_side_mm}
    _from_shelf(found, context, new)


def _without(shelf: list[StockItem], taken: StockItem) -> list[StockItem]:
    """Return the shelf with one piece less."""
    out = list(shelf)
    for index, item in enumerate(out):
        if replace(item, count=1) == taken and item.count > 0:
            out[index] = replace(item, count=item.count - 1)
            break
    return out


def _from_shelf(found: Result, context: Context, wanted: SideShims) -> None:
    """Name the shims on the shelf that come nearest, and what they leave over in place and preload."""
    if not context.side_shims:
        return
    picked = []
    left = list(context.side_shims)
    for want in (wanted.ring_side_mm, wanted.other_side_mm):
        try:
            choice = best_pack(want, left, place="under_head", most_leaves=MOST_SIDE_LEAVES)
        except AxlewrightError:
            found.notes.append(_("The side shims on the shelf do not reach: order both sizes."))
            return
        picked.append(choice)
        for piece in choice.items:  # what one side takes is not there for the other
            left = _without(left, piece)
    ring, other = picked
    shifted = (other.remainder_mm - ring.remainder_mm) / 2.0
    found.notes.append(
        _(
            "From the shelf: ring gear side {ring}, other side {other}. They leave the ring gear {away} away "
            "from its place and change the total by {total}."
        ).format(
            ring=ring.names,
            other=other.names,
            away=Length(shifted, signed=True),
            total=Length(ring.remainder_mm + other.remainder_mm, signed=True),
        )
    )
    found.values |= {"shelf_ring_side_mm": ring.thickness_mm, "shelf_other_side_mm": other.thickness_mm}
    limit = choose_limit("depth_remainder")
    if judge(ring.remainder_mm, limit).kind != "inside" or judge(other.remainder_mm, limit).kind != "inside":
        found.notes.append(
            _("Order {ring} for the ring gear side and {other} for the other side.").format(
                ring=Length(wanted.ring_side_mm), other=Length(wanted.other_side_mm)
            )
        )


def _judge_side_preload(found: Result, answers: Answers) -> None:
    """Judge the side bearings' preload: end play, rise of torque, spread of the caps."""
    play = answers.length("end_play")
    if play is not None and play > 0.0:
        found.questions.append(
            _(
                "{play} end play: the side bearings carry no preload yet. Take it out, then read again."
            ).format(play=Length(play))
        )
    rise = answers.torque("rise")
    if rise is not None:
        found.judged(judge(rise, choose_limit("side_preload_rise")))
        found.values["rise_nm"] = rise
        found.notes.append(_("Side bearings add {rise} at the pinion.").format(rise=Torque(rise)))
    free, loaded = answers.length("caps_free"), answers.length("caps_loaded")
    if free is None and loaded is None:
        return
    if free is None or loaded is None:
        raise answers.error(
            "caps_free" if free is None else "caps_loaded",
            _("nothing typed"),
            _("measure over both caps without preload and with it"),
        )
    spread = cap_spread(
        Length(loaded, label=answers.short("caps_loaded")), Length(free, label=answers.short("caps_free"))
    )
    found.sums.append(plain_sum(_("spread over the bearing caps"), (loaded, -free)))
    found.judged(judge(spread.value, choose_limit("cap_spread")))
    found.values["cap_spread_mm"] = spread.value


BACKLASH: Final = StepForm(
    "backlash",
    n_("Indicator at the heel, pinion held. Read at four to eight even places once round."),
    (
        Field(
            "stage",
            n_("You are at"),
            "choice",
            n_("With nothing chosen it counts as read."),
            choices=(
                Choice("read", n_("backlash is read")),
                Choice("zero", n_("first shims, found at no backlash and no preload")),
            ),
            default="read",
            short=n_("stage"),
        ),
        Field(
            "readings",
            n_("Backlash round the ring gear"),
            "lengths",
            n_("In order round the gear, separated by spaces or new lines."),
            place="j",
            only="stage:read",
            around=True,
            missing=n_("read at four to eight places once round"),
            usual=BACKLASH_BAND_MM,
            short=n_("backlash"),
        ),
        Field(
            "stem",
            n_("The indicator's stem stood"),
            "choice",
            choices=(
                Choice("in_rotation", n_("in line with rotation")),
                Choice("square_to_tooth", n_("square to the tooth")),
            ),
            sticky=True,
            short=n_("the indicator's stem stood"),
        ),
        Field(
            "axle",
            n_("Kind of axle"),
            "choice",
            n_("Chooses the default limit where you have no service data."),
            choices=(
                Choice("light", n_("light axle")),
                Choice("truck", n_("medium or heavy truck")),
                Choice("heavy_tandem", n_("heavy tandem")),
                Choice("earthmover", n_("earthmover")),
            ),
            sticky=True,
            missing=n_("it chooses the default limit"),
            short=n_("kind of axle"),
        ),
        Field(
            "target",
            n_("Backlash wanted at the tightest place"),
            "length",
            n_("Empty takes the middle."),
            sticky=True,
            usual=BACKLASH_BAND_MM,
            short=n_("backlash wanted at the tightest place"),
        ),
        Field(
            "heel_radius",
            n_("Radius at which the indicator stands"),
            "length",
            n_("At the heel. Empty takes the ring gear's outer radius."),
            sticky=True,
            only="stage:read",
            usual=(20.0, 600.0),
            short=n_("radius at which the indicator stood"),
        ),
        Field(
            "sides",
            n_("The side bearings are set by"),
            "choice",
            choices=(
                Choice("cups", n_("shims outboard of the cups")),
                Choice("cones", n_("shims behind the cones")),
                Choice("adjusters", n_("threaded adjusters")),
            ),
            sticky=True,
            group=SHIMS,
            short=n_("the side bearings are set by"),
        ),
        replace(RING_SIDE, group=SHIMS, only="sides:cups,cones", usual=SHIM_BAND_MM),
        replace(OTHER_SIDE, group=SHIMS, only="sides:cups,cones", usual=SHIM_BAND_MM),
        Field(
            "each_side",
            n_("Preload: add on each side"),
            "length",
            n_("From the axle's service data. Leave empty when the preload is in already."),
            group=SHIMS,
            only="sides:cups,cones",
            usual=(0.0, 1.0),
            short=n_("preload, added on each side"),
        ),
        Field(
            "thread_pitch",
            n_("Adjuster: thread pitch"),
            "length",
            n_("Leave empty with shims."),
            sticky=True,
            group=SHIMS,
            only="sides:adjusters",
            usual=(0.3, 6.0),
            short=n_("adjuster's thread pitch"),
        ),
        Field(
            "notches",
            n_("Adjuster: notches once round"),
            "count",
            sticky=True,
            group=SHIMS,
            only="sides:adjusters",
            usual=(4, 200),
            short=n_("adjuster's notches once round"),
        ),
        Field(
            "moved",
            n_("Ring gear moved since the last reading"),
            "length",
            n_("Plus is away from the pinion. Teaches this axle's own backlash per move."),
            group=SHIMS,
            signed=True,
            only="stage:read",
            usual=(-3.0, 3.0),
            short=n_("ring gear moved since the last reading"),
        ),
        Field(
            "end_play",
            n_("End play of the case"),
            "length",
            n_("0 before preload is added."),
            group=PRELOAD,
            usual=(0.0, 3.0),
            short=n_("end play of the case"),
        ),
        Field(
            "rise",
            n_("Torque at the pinion more than the pinion alone"),
            "torque",
            n_("Read with the ring gear in."),
            group=PRELOAD,
            short=n_("torque at the pinion more than the pinion alone"),
        ),
        Field(
            "caps_free",
            n_("Over both caps, no preload"),
            "length",
            group=PRELOAD,
            usual=CAPS_BAND_MM,
            short=n_("over both caps, free"),
        ),
        Field(
            "caps_loaded",
            n_("Over both caps, preloaded"),
            "length",
            group=PRELOAD,
            usual=CAPS_BAND_MM,
            short=n_("over both caps, preloaded"),
        ),
        Field(
            "limit_low",
            n_("Least"),
            "length",
            sticky=True,
            group=LIMITS,
            usual=BACKLASH_BAND_MM,
            listed=False,
        ),
        Field(
            "limit_high",
            n_("Largest"),
            "length",
            sticky=True,
            group=LIMITS,
            usual=BACKLASH_BAND_MM,
            listed=False,
        ),
        Field(
            "limit_spread",
            n_("Largest spread round the gear"),
            "length",
            sticky=True,
            group=LIMITS,
            usual=(0.0, 1.0),
            listed=False,
        ),
        *LIMIT_FIELDS,
        WITH,
        RESOLUTION,
        NOTE,
    ),
    n_("Judge it"),
    rule=judge_backlash_step,
)
