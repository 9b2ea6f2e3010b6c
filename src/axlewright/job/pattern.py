"""Patterns of a job: entered, judged beside the measured sum, doubted before a press, answered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from axlewright.errors import AxlewrightError, InputError
from axlewright.job.entering import Outcome, kept_outcome, known_of, outcome_of, result_of
from axlewright.job.photos import (
    EDGES,
    FLANKS,
    Compound,
    Correction,
    FlankLook,
    FlankName,
    Look,
    ReadFlank,
    compound_of,
    doubt_guesses,
    kept_reading,
    mask_lines,
    naming_guesses,
    read_elsewhere,
    read_flank,
    refuse_mere_guesses,
    settled,
)
from axlewright.job.rounds import (
    Judged,
    Setting,
    earlier_rounds,
    expected_and_came,
    judge_looks,
    learned_of,
    looks_here,
    of_flank,
    read_rounds,
    said_of_looks,
    setting_of,
)
from axlewright.language import Number, Text, _, decode, encode, joined, n_
from axlewright.setup import WrittenSum
from axlewright.steps.answers import FieldError
from axlewright.steps.result import Reading, Result, keep_readings, plain_sum
from axlewright.steps.step import Context, pinion_out_of_spacers
from axlewright.units import Length, System, using_system

if TYPE_CHECKING:
    from axlewright.diagnosis import Advice, Diagnosis, ExpectedVsCame, LearnedDesign
    from axlewright.gearset import GearSetDesign
    from axlewright.pattern import PatternReading
    from axlewright.records import Entry, JobStore

UNKNOWN_SPACER: Final = n_(
    "Type the spacer that was in when these patterns were rolled (depth step, 'Spacer that was fitted'): "
    "until then the change is only relative to that spacer."
)
PREFER_WITHIN_MM: Final = 0.005
"""A spacer change smaller than this is none (common practice, no source)."""
GEARS_OUT: Final = ("L2", "L3")
TOO_ROUGH_TO_PRESS_SD: Final = 0.15
"""A profile place on drive known worse than this is too rough to press a bearing for: 0.15 is about 0.0025 in
of depth, half of what takes a pattern to the edge."""
SURE_OF_DIRECTION: Final = 0.9


# Entering


def _known(store: JobStore, number: int, who: str, system: System) -> Context:
    known = known_of(store, number, who=who, system=system)
    if known.design is None:
        raise InputError(
            _("design {name} is not known here").format(name=known.job.design_name),
            where=_("pattern"),
            fix=_("add its file under Designs"),
        )
    return known


def enter_patterns(
    store: JobStore,
    number: int,
    looks: Mapping[FlankName, FlankLook],
    *,
    compound: Compound = "auto",
    who: str,
    idempotency_key: str = "",
    system: System = "inch",
) -> Outcome:
    """Read the marks of one or both flanks, find cause and cure, and keep everything.

    Parameters
    ----------
    looks : mapping of "drive", "coast" to FlankLook
        Empty ones are left out; at least one is needed.
    compound : {"auto", "rubbed", "print"}
        Whether the compound was rubbed off or printed on.
    idempotency_key : str
        The same key again writes nothing twice.

    Raises
    ------
    InputError
        Nothing is entered then; a `FieldError` names flank and field.
    """
    if (already := kept_outcome(store, number, idempotency_key)) is not None:
        return already
    given: dict[FlankName, FlankLook] = {f: looks[f] for f in FLANKS if f in looks and not looks[f].empty}
    if not given:
        raise FieldError(
            "drive_words",
            _("pattern"),
            _("neither flank was read"),
            _("photograph the drive flank at least"),
        )
    known = _known(store, number, who, system)
    assert known.design is not None
    refuse_mere_guesses(known.entries, given)
    read: dict[FlankName, ReadFlank] = {}
    for flank, look in given.items():
        with naming_guesses(known.entries, look):
            read[flank] = read_flank(known.design, flank, look, compound, store)
    read = doubt_guesses(known.entries, given, settled(read, known.design))
    typed: dict[str, str] = {"compound": compound}
    for flank, look in given.items():
        typed |= _typed(flank, look)
    return _keep(store, known, read, typed, who=who, key=idempotency_key, system=system)


def enter_readings(
    store: JobStore,
    number: int,
    readings: Mapping[FlankName, PatternReading],
    *,
    who: str,
    idempotency_key: str = "",
    system: System = "inch",
) -> Outcome:
    """Keep patterns that were read elsewhere, find cause and cure.

    Parameters
    ----------
    readings : mapping of "drive", "coast" to PatternReading
    """
    if (already := kept_outcome(store, number, idempotency_key)) is not None:
        return already
    known = _known(store, number, who, system)
    read = {flank: read_elsewhere(reading) for flank, reading in readings.items()}
    return _keep(store, known, read, {}, who=who, key=idempotency_key, system=system)


def correct_outline(
    store: JobStore,
    number: int,
    seq: int,
    corrections: Mapping[FlankName, Correction],
    *,
    who: str,
    idempotency_key: str = "",
    system: System = "inch",
) -> Outcome:
    """Correct outlines that were found in photos; the reading is superseded by the corrected one.

    Parameters
    ----------
    seq : int
        Of the reading.
    corrections : mapping of "drive", "coast" to Correction
        Empty ones leave that flank as it was read.

    Raises
    ------
    InputError
        When the reading is not the newest one, a flank has no photo, or nothing is left of the mark.
    """
    if (already := kept_outcome(store, number, idempotency_key)) is not None:
        return already
    from axlewright.contact.marks import flank_name

    known = _known(store, number, who, system)
    assert known.design is not None
    rounds = read_rounds(known.entries)
    if not rounds or rounds[-1].seq != seq:
        raise InputError(
            _("this is not the newest reading of the patterns"),
            where=_("outline"),
            fix=_("load the page again and correct the newest one"),
        )
    if all(c.empty for c in corrections.values()):
        raise InputError(
            _("nothing was changed on the outline"),
            where=_("outline"),
            fix=_("draw on the tooth, or nudge an edge"),
        )
    old = rounds[-1].payload
    typed = dict(old.get("typed", {}))
    read: dict[FlankName, ReadFlank] = {}
    for flank in FLANKS:
        kept = decode(old["flanks"].get(flank))
        change = corrections.get(flank, Correction())
        if kept is None and not change.empty:
            raise FieldError(
                f"{flank}_outline",
                flank_name(flank),
                _("it was not read"),
                _("photograph it first"),
            )
        if kept is None:
            continue
        if change.empty:
            pictures = [kept[k] for k in ("photo", "unrolled") if kept.get(k)]
            pictures += [t[k] for t in kept.get("teeth", ()) for k in ("photo", "unrolled")]
            read[flank] = ReadFlank(kept_reading(kept, flank), kept, tuple(pictures))
            continue
        if not kept.get("photo"):
            raise FieldError(
                f"{flank}_outline",
                flank_name(flank),
                _("only an outline found in one photo can be corrected"),
                _("draw a sketch or words anew"),
            )
        if not change.mask:  # nudges go on from the outline as it stands, strokes bring it along
            change = replace(change, mask=tuple(kept["mask"]))
        look = FlankLook(
            photo_file=kept["photo"], corners=typed.get(f"{flank}_corners", ""), correction=change
        )
        one = read_flank(known.design, flank, look, compound_of(typed.get("compound", "")), store)
        read |= doubt_guesses(known.entries, {flank: look}, {flank: one})
        typed |= _typed(flank, look)
    # What the superseded round gave counts no more.
    gone = {seq} | {
        e.seq for e in known.entries if e.payload.get("of") == seq and e.kind in ("result", "advice")
    }
    known = replace(known, entries=tuple(e for e in known.entries if e.seq not in gone))
    return _keep(store, known, read, typed, who=who, key=idempotency_key, system=system, supersedes=seq)


def _typed(flank: FlankName, look: FlankLook) -> dict[str, str]:
    """Return what was typed, tapped or drawn for a flank, as it is kept."""
    out = {
        f"{flank}_corners": look.corners,
        f"{flank}_words": look.words,
        f"{flank}_sketch": " ".join(f"{x:.3f},{y:.3f}" for x, y in look.sketch),
        f"{flank}_teeth": " ".join(str(t.tooth) for t in look.teeth),
    }
    for edge in EDGES:
        nudge = getattr(look.correction, edge)
        out[f"{flank}_{edge}_edge"] = f"{100.0 * nudge:+.0f}" if nudge else ""
    return {k: v for k, v in out.items() if v}


def _keep(
    store: JobStore,
    known: Context,
    read: Mapping[FlankName, ReadFlank],
    typed: Mapping[str, str],
    *,
    who: str,
    key: str,
    system: System,
    supersedes: int | None = None,
) -> Outcome:
    """Judge what was read and write reading, result and advice."""
    number = known.job.number
    now = setting_of(known)
    found, diagnosis = judge(store, known, read, now)
    advice_gone = None
    if supersedes is not None:
        advice = [e for e in store.entries(number, kind="advice") if e.payload.get("of") == supersedes]
        advice_gone = advice[-1].seq if advice else None
    result_gone = result_of(store, number, supersedes)
    best = diagnosis.advice[0] if diagnosis.advice else None
    change = best
    if best is not None and best.saves_hours is not None and len(diagnosis.advice) > 1:
        change = diagnosis.advice[1]  # one more photo is offered: what comes after it is what is expected
    with using_system(system):  # the words as they are shown now
        reading = encode(
            {
                "typed": {k: v for k, v in typed.items() if v},
                "system": system,
                "readings": keep_readings(found.readings),
                "flanks": {flank: one.kept for flank, one in read.items()},
                "context": now.to_json(),
                "note": "",
            }
        )
        told = encode(
            {
                **found.payload(),
                "diagnosis": diagnosis.to_json(),
                "expected": {}
                if change is None
                else {k: mask_lines(v.mask) for k, v in change.expected.items()},
            }
        )
        first = None if best is None else encode(_as_first_step(best.to_json(), found.values))
    entry = store.add_entry(
        number,
        "reading",
        "pattern",
        reading,
        who=who,
        files=tuple(dict.fromkeys(sha for one in read.values() for sha in one.files)),
        idempotency_key=key,
        supersedes=supersedes,
    )
    result = store.add_entry(
        number,
        "result",
        "pattern",
        {**told, "of": entry.seq},
        who=who,
        idempotency_key=f"{key}:result" if key else "",
        supersedes=result_gone,
    )
    written = [entry, result]
    if first is not None:
        written.append(
            store.add_entry(
                number,
                "advice",
                "pattern",
                {**first, "of": entry.seq},
                who=who,
                idempotency_key=f"{key}:advice" if key else "",
                supersedes=advice_gone,
            )
        )
    return outcome_of("pattern", result.payload, tuple(written))


def _as_first_step(advice: Mapping[str, Any], values: Mapping[str, Any]) -> dict[str, Any]:
    """Return an advice as it is kept: the first step may be the measured sum's, its numbers are turned."""
    first = {k: values[k] for k in ("pinion_move_mm", "spacer_change_mm", "spacer_to_fit_mm") if k in values}
    return {**advice, **first, "text": values.get("first_step", advice["text"])}


# Judging


def judge(
    store: JobStore,
    known: Context,
    read: Mapping[FlankName, ReadFlank],
    now: Setting,
) -> tuple[Result, Diagnosis]:
    """Work out cause, cure and verdict, with all that the job and finished ones know."""
    assert known.design is not None  # asked by the only caller
    looks = looks_here(known.entries, {flank: one.look for flank, one in read.items()}, now)
    learned = learned_of(store, known)
    judged = judge_looks(
        known.design,
        looks,
        now,
        history=earlier_rounds(known.entries, now),
        spacer_stock=[item.thickness_mm for item in known.shelf if item.count > 0],
        priors=None if learned is None else learned.priors,
    )
    came = expected_and_came(known.design, known.entries, judged.evidence, now)
    case, diagnosis = _Case(known, read, looks, now, judged, learned, came), judged.diagnosis
    if diagnosis.advice and diagnosis.advice[0].saves_hours is not None:
        without = replace(diagnosis, advice=diagnosis.advice[1:])
        beside = _beside_sum(diagnosis, now, known)
        if beside is not None and beside.agrees:  # the measured depth sum says the same: no offer
            return _found(case, without), without
        found = _found(case, diagnosis)
        # All that is asked and summed up before the change stands ready for when the photo is not taken.
        found.values["without_photo"] = _found(case, without).payload()
        return found, diagnosis
    return _found(case, diagnosis), diagnosis


@dataclass(frozen=True, slots=True)
class _Case:
    """What is judged: the job as it is known, the flanks as read, and what counts with them."""

    known: Context
    read: Mapping[FlankName, ReadFlank]
    looks: Mapping[FlankName, Sequence[Look]]
    now: Setting
    judged: Judged
    learned: LearnedDesign | None
    came: ExpectedVsCame | None

    @property
    def standing(self) -> dict[FlankName, Look]:
        """What counts of each flank, all photos of this setting together, with every doubt."""
        return {
            flank: Look(
                reading, doubts=tuple(dict.fromkeys(d for look in self.looks[flank] for d in look.doubts))
            )
            for flank, reading in self.judged.readings.items()
        }


def _found(case: _Case, diagnosis: Diagnosis) -> Result:
    """Return finding and verdict of a diagnosis, its first advice taken."""
    from axlewright.diagnosis import show_chance

    now, came, judged = case.now, case.came, case.judged
    best = diagnosis.advice[0] if diagnosis.advice and diagnosis.explained else None
    beside = None if best is None else _beside_sum(diagnosis, now, case.known)
    of_sum = None if best is None or beside is None else _step_of_sum(best, beside, now)
    notes, contradictions = said_of_looks(case.looks, case.read)
    found = Result()
    found.values["acceptance"] = {
        flank: [one.to_json() for one in several] for flank, several in judged.verdicts.items()
    }
    found.notes.append(diagnosis.words)
    if beside is not None:
        found.notes.append(beside.words)
    for flank, one in case.read.items():
        found.readings.append(_shown(flank, one.reading))
        found.notes += [of_flank(flank, sentence) for sentence in one.reading.quality]
    found.notes += notes
    found.notes += runout_notes(case.read, judged.evidence.design)
    figures = diagnosis.figures if of_sum is None else of_sum.figures(diagnosis)
    found.notes.append(figures)
    if not now.place_known:
        found.notes.append(
            _(
                "Where the depth shim sits has not been entered: the advice takes a spacer under the pinion "
                "head."
            )
        )
    if case.learned is not None:
        found.notes.append(_("Used from finished jobs: {words}").format(words=case.learned.words))
        found.values["learned_from_jobs"] = case.learned.jobs
    if came is not None:
        found.values["expected_came"] = came.to_json()
        found.notes.append(_("After the last change: {words}").format(words=came.words))
    found.values |= {
        "figures": figures,
        "cause_pinion_out_mm": diagnosis.cause["pinion_out_mm"].mean,
        "cause_pinion_out_sd_mm": diagnosis.cause["pinion_out_mm"].sd,
        "explained": diagnosis.explained,
        "fixable_by_shims": diagnosis.fixable_by_shims,
    }
    if best is None:
        found.verdict = "ask"
        found.why = _("no setting of this design explains these patterns: check design, flanks and pictures")
        found.questions.append(_("Do design, flank and picture belong together?"))
        return found
    if beside is not None:
        found.values |= {
            "spacer_by_patterns_mm": beside.by_patterns_mm,
            "sum_agrees": beside.agrees,
            "sum_and_patterns": beside.words,
        }
    found.values |= {"first_step": best.text, "cost_words": best.cost_words}
    if best.look_again:  # a look comes before every change
        found.verdict, found.why = "ask", _("What does the flank that decides show? It was not read.")
        if judged.deciding in judged.readings:
            found.why = (
                _("What does one more photo of the flank that decides show? It is worth its minutes.")
                if best.saves_hours is not None
                else _("What do photos of both flanks show? What was said is too rough to decide.")
            )
        found.questions = [found.why, *contradictions, *(() if beside is None else beside.questions)]
        found.values["offered"] = best.saves_hours is not None
        return found
    found.values |= {
        "spacer_to_fit_mm": best.spacer_to_fit_mm,
        "spacer_change_mm": best.spacer_change_mm,
        "shim_move_mm": best.shim_move_mm,
        "pinion_move_mm": best.pinion_move_mm,
        "chance_last_teardown": best.chance_last_teardown,
    }
    found.notes.append(
        _("Chance that this is the last teardown: {chance}. Costs: {cost}.").format(
            chance=show_chance(best.chance_last_teardown), cost=best.cost_words
        )
    )
    if now.spacer_now_mm is None and best.spacer_change_mm:
        found.questions.append(_(UNKNOWN_SPACER))
    surprised = came is not None and not came.as_expected
    doubts = [*contradictions, *doubts_before(best, case.standing, diagnosis, surprised, judged.deciding)]
    found.questions += [*doubts, *(() if beside is None else beside.questions)]
    if best.pinion_move_mm == 0.0 and best.shim_move_mm == 0.0 and best.cost_class == "L0":
        found.verdict = "ask"
        found.why = _("nothing better than leaving it: look at the marks and say whether they are right")
        return found
    if of_sum is not None:
        found.notes.append(_("From the patterns alone: {advice}").format(advice=best.text))
        found.values |= {
            "spacer_of_sum_mm": of_sum.spacer_mm,
            "spacer_to_fit_mm": of_sum.spacer_mm,
            "spacer_change_mm": of_sum.change_mm,
            "pinion_move_mm": of_sum.pinion_move_mm,
            "first_step": of_sum.text,
            "patterns_alone": best.text,
        }
    if best.spacer_to_fit_mm is not None and now.spacer_now_mm is not None and best.spacer_change_mm:
        found.sums.append(_spacer_sum(now.spacer_now_mm, found.values, of_sum is not None))
    found.verdict, found.why = "not ok", found.values["first_step"]
    if doubts:
        found.verdict, found.why = "ask", doubts[0]
    return found


def _shown(flank: FlankName, read: PatternReading) -> Reading:
    """Return what was read of a flank as a line among the readings."""
    (x, y), (sx, sy) = read.pattern.center, read.center_sd
    return Reading(
        _("drive pattern") if flank == "drive" else _("coast pattern"),
        read.pattern.describe(),
        note=_("centre {x} ± {sx} lengthwise, {y} ± {sy} in profile; from {source}").format(
            x=Number(x, "+.2f"),
            sx=Number(sx, ".2f"),
            y=Number(y, "+.2f"),
            sy=Number(sy, ".2f"),
            source=_(read.source),
        ),
    )


@dataclass(frozen=True, slots=True)
class _BesideSum:
    """The measured depth sum beside the patterns.

    They agree when the sum's spacer lies inside the 90 % interval of the patterns.
    """

    by_patterns_mm: float
    by_sum_mm: float
    agrees: bool
    words: Text
    questions: tuple[Text, ...] = ()


def _beside_sum(diagnosis: Diagnosis, now: Setting, known: Context) -> _BesideSum | None:
    """Hold the sum beside the patterns; None without a sum that decides still, or without the spacer."""
    if now.decided_by != "sum" or now.depth_sum_mm is None or now.spacer_now_mm is None:
        return None
    depth = diagnosis.cause["pinion_out_mm"]
    out_per_spacer = pinion_out_of_spacers(0.0, 1.0, now.place)
    low, high = sorted(now.spacer_now_mm - p / out_per_spacer for p in (depth.p05, depth.p95))
    by_patterns, agrees = now.spacer_now_mm - depth.mean / out_per_spacer, low <= now.depth_sum_mm <= high
    questions: tuple[Text, ...] = ()
    if agrees:
        words = _(
            "The sum says {sum}, the patterns say {patterns} ± {sd}: they agree (the sum lies inside the "
            "patterns' 90 % interval)."
        )
    elif _measured_again(known):
        words = _(
            "The sum says {sum}, the patterns say {patterns} ± {sd}: they do not agree, measured again as "
            "well. The patterns decide."
        )
    else:
        words = _(
            "The sum says {sum}, the patterns say {patterns} ± {sd}: they do not agree. Measure again, and "
            "check mark, mounting distance and photos, before anything is pressed."
        )
        questions = (
            _("Sum and patterns do not agree: measure the depth again before a bearing is pressed."),
        )
    told = words.format(sum=Length(now.depth_sum_mm), patterns=Length(by_patterns), sd=Length(depth.sd))
    return _BesideSum(by_patterns, now.depth_sum_mm, agrees, told, questions)


def _measured_again(known: Context) -> bool:
    """Whether depth was entered again after patterns and sum did not agree: it is not asked for twice."""
    asked = False
    for entry in known.entries:
        if entry.kind == "result" and entry.step == "pattern":
            asked = asked or entry.payload.get("values", {}).get("sum_agrees") is False
        elif asked and entry.kind == "result" and entry.step == "depth":
            return True
    return False


@dataclass(frozen=True, slots=True)
class _StepOfSum:
    """The measured sum's spacer as the first step: the patterns agree with it and are less sure."""

    spacer_mm: float
    change_mm: float
    pinion_move_mm: float
    text: Text

    def figures(self, diagnosis: Diagnosis) -> Text:
        """Tell the figures of the pinion apart: what is built is not the patterns' own choice."""
        from axlewright.diagnosis import figures_words

        how = _("to the spacer of the measured depth sum")
        return figures_words(diagnosis.cause, diagnosis.cure, self.pinion_move_mm, how)


def _step_of_sum(best: Advice, beside: _BesideSum, now: Setting) -> _StepOfSum | None:
    """Take the measured sum's spacer in the first step; None where the patterns' own step stands."""
    from axlewright.diagnosis import ring_move_sentence, side_shims_sentence

    if not beside.agrees or best.look_again or not best.spacer_change_mm or now.spacer_now_mm is None:
        return None
    wanted = float(now.depth_shelf_mm or beside.by_sum_mm)
    move = pinion_out_of_spacers(now.spacer_now_mm, wanted, now.place)
    if abs(wanted - now.spacer_now_mm) < PREFER_WITHIN_MM or (move > 0) != (best.pinion_move_mm > 0):
        return None  # the sum would leave it, or move it the other way
    text: list[Text] = [
        _("Depth spacer: fit {spacer}, as the depth sum asks and the patterns agree.").format(
            spacer=Length(wanted)
        )
    ]
    if best.shim_move_mm:
        text.append(ring_move_sentence(best.shim_move_mm, then=True))
        if best.side_shims_to_fit_mm is not None:
            text.append(side_shims_sentence(best.side_shims_to_fit_mm))
    return _StepOfSum(wanted, wanted - now.spacer_now_mm, move, joined(*text))


def _spacer_sum(now_mm: float, values: Mapping[str, Any], of_sum: bool) -> WrittenSum:
    note = _("Present spacer and the change that the patterns ask for.")
    if of_sum:
        note = _("Present spacer and the change to the depth sum's spacer; the patterns agree with it.")
    return plain_sum(_("spacer to fit"), (now_mm, float(values["spacer_change_mm"])), note)


def runout_notes(read: Mapping[FlankName, ReadFlank], design: GearSetDesign) -> list[Text]:
    """Return what the wander of several teeth says of runout; empty when they do not wander."""
    several = {flank: one.several for flank, one in read.items() if one.several is not None}
    if not any(one.runout for one in several.values()):
        return []
    from axlewright.pattern import estimate_runout

    try:
        return list(estimate_runout(design, drive=several.get("drive"), coast=several.get("coast")).notes)
    except AxlewrightError as error:
        return [error.text]


def doubts_before(
    best: Advice,
    read: Mapping[FlankName, Look],
    diagnosis: Diagnosis,
    surprised: bool = False,
    deciding: FlankName = "drive",
) -> list[Text]:
    """Return what should be asked before gears come out for an advice; empty when nothing is doubtful.

    Parameters
    ----------
    read : mapping of "drive", "coast" to Look
        All photos of this setting counted together, with every doubt about them.
    surprised : bool
        Whether the last change brought something else than was expected of it.
    deciding : {"drive", "coast"}
        The flank that decides.
    """
    from axlewright.contact.marks import flank_name

    if best.cost_class not in GEARS_OUT:
        return []
    out: list[Text] = [
        _("Before anything is pressed, {flank}: {doubt}").format(flank=flank_name(flank), doubt=doubt)
        for flank, look in read.items()
        for doubt in look.doubts
    ]
    decides = read.get(deciding)
    if decides is not None and decides.reading.center_sd[1] > TOO_ROUGH_TO_PRESS_SD:
        out.append(
            _(
                "The {flank} is known only roughly: photograph it before a bearing is pressed for this."
            ).format(flank=flank_name(deciding))
        )
    moves = diagnosis.posterior.settings[:, 0]
    sure = max(float((moves > 0.0).mean()), float((moves < 0.0).mean()))
    cure = diagnosis.cure["pinion_move_mm"]
    if sure < SURE_OF_DIRECTION and cure.p05 < 0.0 < cure.p95:
        out.append(
            _(
                "Neither cause nor cure is sure of its direction: roll and read both flanks once more before "
                "a bearing is pressed."
            )
        )
    if surprised:
        out.append(
            _(
                "The last change did not bring what was expected of it: find out why before the next bearing "
                "is pressed."
            )
        )
    return list(dict.fromkeys(out))


# Answering


def answer_advice(
    store: JobStore, number: int, seq: int, taken: bool, reason: str, *, who: str, idempotency_key: str = ""
) -> Entry:
    """Write down whether an advice was followed.

    Where one more photo was offered and is not taken, the next advice stands in its place: the result is
    written anew with all that is asked and summed up before that change.

    Raises
    ------
    InputError
        Without a reason for not following, for an unknown advice, or when the offer was answered already.
    """
    if not taken and not reason.strip():
        raise InputError(_("no reason given"), where=_("advice"), fix=_("say why it is not followed"))
    entries = store.entries(number)
    advice = next((e for e in entries if e.seq == seq and e.kind == "advice"), None)
    if advice is None:
        raise InputError(
            _("this job has no advice {seq}").format(seq=seq),
            where=_("advice"),
            fix=_("use the buttons under the advice"),
        )
    offered = advice.payload.get("saves_hours") is not None
    before = next((e for e in entries if e.kind == "decision" and e.payload.get("advice") == seq), None)
    if offered and before is not None:
        return before  # answered already, in another window or by a button pressed twice
    answer = store.add_entry(
        number,
        "decision",
        "pattern",
        encode({"advice": seq, "taken": taken, "text": reason.strip() or _("advice followed")}),
        who=who,
        idempotency_key=idempotency_key,
    )
    if offered and not taken:
        _go_without(store, number, int(advice.payload["of"]), who, idempotency_key)
    return answer


def _go_without(store: JobStore, number: int, reading: int, who: str, key: str) -> None:
    """Put the next advice in place of the photo that was offered and not taken."""
    seq = result_of(store, number, reading)
    old = next((e for e in store.entries(number, kind="result") if e.seq == seq), None)
    if old is None or "without_photo" not in old.payload.get("values", {}):
        return
    told = dict(old.payload["diagnosis"])
    told["advice"] = told["advice"][1:]
    found = old.payload["values"]["without_photo"]
    store.add_entry(
        number,
        "result",
        "pattern",
        {**found, "of": reading, "diagnosis": told, "expected": old.payload.get("expected", {})},
        who=who,
        idempotency_key=f"{key}:result" if key else "",
        supersedes=old.seq,
    )
    if told["advice"]:
        store.add_entry(
            number,
            "advice",
            "pattern",
            {**_as_first_step(told["advice"][0], found["values"]), "of": reading},
            who=who,
            idempotency_key=f"{key}:advice" if key else "",
        )
