"""What patterns lead to: the diagnosis beside the measured sum, doubts before a press, and a verdict."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

from axlewright.job.pattern_doubts import doubts_before, runout_notes
from axlewright.job.pattern_looks import FlankName, ReadFlank
from axlewright.job.pattern_rounds import evidence_of, expected_and_came, learned_of, looks_here
from axlewright.job.setting_looks import Look, notes_of, photos_of, together
from axlewright.language import Shown, n_
from axlewright.language import eager as _
from axlewright.setup import WrittenSum
from axlewright.steps.result import Reading, Result, plain_sum
from axlewright.steps.step import Context, pinion_out_of_spacers
from axlewright.units import show_length

if TYPE_CHECKING:
    from axlewright.diagnosis import Advice, Diagnosis, Evidence, ExpectedVsCame, LearnedDesign
    from axlewright.gearset import GearSetDesign
    from axlewright.pattern import PatternReading
    from axlewright.records import JobStore

UNKNOWN_SPACER: Final = n_(
    "Type the spacer that was in when these patterns were rolled (depth step, 'Spacer that was fitted'): "
    "until then the change is only relative to that spacer."
)
PREFER_WITHIN_MM: Final = 0.005
"""A spacer change smaller than this is none (common practice, no source)."""


def judge(
    store: JobStore,
    known: Context,
    read: Mapping[FlankName, ReadFlank],
    now: Mapping[str, Any],
) -> tuple[Result, Diagnosis]:
    """Work out cause, cure and verdict.

    Parameters
    ----------
    read : mapping of "drive", "coast" to ReadFlank
    now : mapping
        As `pattern_rounds.context` gives it.
    """
    from axlewright.diagnosis import Goal, diagnose

    assert known.design is not None  # asked by the only caller
    newest = {flank: Look(one.reading, photos_of(one.kept), one.doubts) for flank, one in read.items()}
    looks = looks_here(known.entries, newest, now)
    evidence = evidence_of(known.design, known.entries, looks, now)
    shelf = [item.thickness_mm for item in known.shelf if item.count > 0]
    learned = learned_of(store, known)
    goal = Goal.for_axle(now.get("drives_on", "drive"))
    diagnosis = diagnose(
        evidence,
        spacer_stock=shelf or None,
        priors=None if learned is None else learned.priors,
        goal=goal,
    )
    came = expected_and_came(known.design, known.entries, evidence, now)
    case = _Case(known, read, looks, now, evidence, goal.deciding_flank, learned, came)
    if diagnosis.advice and diagnosis.advice[0].saves_hours is not None:
        without = replace(diagnosis, advice=diagnosis.advice[1:])
        if _by_sum(diagnosis, now)[1]:  # the measured depth sum says the same as the patterns: no offer
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
    looks: Mapping[Any, Sequence[Look]]
    now: Mapping[str, Any]
    evidence: Evidence
    deciding: FlankName
    learned: LearnedDesign | None
    came: ExpectedVsCame | None

    @property
    def standing(self) -> dict[FlankName, ReadFlank]:
        """All flanks that count, as all photos of this setting show them, with every doubt."""
        out: dict[FlankName, ReadFlank] = {}
        for flank, reading in together(self.looks).items():
            doubts = [d for look in self.looks[flank] for d in look.doubts]
            several = self.read[flank].several if flank in self.read else None
            out[flank] = ReadFlank(reading, {"doubts": list(dict.fromkeys(doubts))}, (), several)
        return out


def _found(case: _Case, diagnosis: Diagnosis) -> Result:
    """Return finding and verdict of a diagnosis, its first advice taken."""
    from axlewright.diagnosis import figures_words, show_chance

    known, now, learned, read = case.known, case.now, case.learned, case.read
    design = case.evidence.design
    readings = {flank: one.reading for flank, one in read.items()}
    standing = case.standing
    found = Result()
    _show_readings(found, readings)
    notes, contradictions = notes_of(case.looks, read)
    found.notes += notes
    found.values["acceptance"] = _acceptance({f: one.reading for f, one in standing.items()}, design, now)
    found.notes += runout_notes(read, design)
    depth = diagnosis.cause["pinion_out_mm"]
    found.notes.insert(0, diagnosis.words)
    found.notes.append(diagnosis.figures)
    if not now["place_known"]:
        found.notes.append(
            _(
                "Where the depth shim sits has not been entered: the advice takes a spacer under the pinion "
                "head."
            )
        )
    if learned is not None:
        found.notes.append(_("Used from finished jobs: {words}").format(words=learned.words))
        found.values["learned_from_jobs"] = learned.jobs
    came = case.came
    if came is not None:
        found.values["expected_came"] = came.to_json()
        found.notes.append(_("After the last change: {words}").format(words=came.words))
    found.values |= {
        "figures": diagnosis.figures,
        "cause_pinion_out_mm": depth.mean,
        "cause_pinion_out_sd_mm": depth.sd,
        "explained": diagnosis.explained,
        "fixable_by_shims": diagnosis.fixable_by_shims,
    }
    best = diagnosis.advice[0] if diagnosis.advice else None
    if best is None or not diagnosis.explained:
        found.verdict = "ask"
        found.why = _("no setting of this design explains these patterns: check design, flanks and pictures")
        found.questions.append(_("Do design, flank and picture belong together?"))
        return found
    if best.look_again:  # a look comes before every change
        found.verdict, found.why = "ask", _("What does the flank that decides show? It was not read.")
        if case.deciding in standing:
            found.why = (
                _("What does one more photo of the flank that decides show? It is worth its minutes.")
                if best.saves_hours is not None
                else _("What do photos of both flanks show? What was said is too rough to decide.")
            )
        found.questions = [found.why, *contradictions]
        _compare_with_sum(found, known, diagnosis, now)
        found.values |= {
            "first_step": best.text,
            "cost_words": best.cost_words,
            "offered": best.saves_hours is not None,
        }
        return found
    found.values |= {
        "spacer_to_fit_mm": best.spacer_to_fit_mm,
        "spacer_change_mm": best.spacer_change_mm,
        "shim_move_mm": best.shim_move_mm,
        "pinion_move_mm": best.pinion_move_mm,
        "first_step": best.text,
        "chance_last_teardown": best.chance_last_teardown,
        "cost_words": best.cost_words,
    }
    found.notes.append(
        _("Chance that this is the last teardown: {chance}. Costs: {cost}.").format(
            chance=show_chance(best.chance_last_teardown), cost=best.cost_words
        )
    )
    if now["spacer_now_mm"] is None and best.spacer_change_mm:
        found.questions.insert(0, _(UNKNOWN_SPACER))
    surprised = came is not None and not came.as_expected
    doubts = doubts_before(best, standing, diagnosis, surprised, case.deciding)
    doubts = [*contradictions, *doubts]
    found.questions += doubts
    wanted = _compare_with_sum(found, known, diagnosis, now)
    if best.pinion_move_mm == 0.0 and best.shim_move_mm == 0.0 and best.cost_class == "L0":
        found.verdict = "ask"
        found.why = _("nothing better than leaving it: look at the marks and say whether they are right")
        return found
    found.verdict = "not ok"
    if wanted is not None and best.spacer_change_mm:
        _prefer_sum(found, known, best, now, wanted)
    found.why = str(found.values["first_step"]).rstrip(".")
    if best.spacer_to_fit_mm is not None and now["spacer_now_mm"] is not None and best.spacer_change_mm:
        found.sums.append(
            _spacer_sum(
                float(now["spacer_now_mm"]),
                float(found.values["spacer_change_mm"]),
                float(found.values["spacer_to_fit_mm"]),
                "spacer_of_sum_mm" in found.values,
            )
        )
    if "spacer_of_sum_mm" in found.values:  # what is built is not the patterns' own choice then
        move, of_sum = float(found.values["pinion_move_mm"]), _("to the spacer of the measured depth sum")
        figures = figures_words(diagnosis.cause, diagnosis.cure, move, of_sum, known.system)
        found.notes[found.notes.index(diagnosis.figures)] = found.values["figures"] = figures
    if doubts:
        found.verdict, found.why = "ask", doubts[0]
    return found


def _show_readings(found: Result, readings: Mapping[FlankName, PatternReading]) -> None:
    for flank, read in readings.items():
        x, y = read.pattern.center
        sx, sy = read.center_sd
        found.readings.append(
            Reading(
                _("drive pattern") if flank == "drive" else _("coast pattern"),
                read.pattern.describe(),
                note=(
                    _("centre {x} ± {sx} lengthwise, {y} ± {sy} in profile; from {source}").format(
                        x=f"{Shown(x):+.2f}",
                        sx=f"{Shown(sx):.2f}",
                        y=f"{Shown(y):+.2f}",
                        sy=f"{Shown(sy):.2f}",
                        source=_(read.source),
                    )
                ).replace("-", "−"),
            )
        )
        found.notes += [
            (_("drive: {sentence}") if flank == "drive" else _("coast: {sentence}")).format(sentence=sentence)
            for sentence in read.quality
        ]


def _acceptance(
    readings: Mapping[FlankName, PatternReading], design: GearSetDesign, now: Mapping[str, Any]
) -> dict[str, list[dict[str, Any]]]:
    """Hold each flank against the acceptance criteria, as it is kept."""
    from axlewright.pattern import judge as judge_pattern

    return {
        flank: [
            one.to_json()
            for one in judge_pattern(
                reading,
                tooth_form=design.tooth_form,
                condition=now.get("condition", "new"),
                drives_on=now.get("drives_on", "drive"),
            )
        ]
        for flank, reading in readings.items()
    }


def _compare_with_sum(
    found: Result, known: Context, diagnosis: Diagnosis, now: Mapping[str, Any]
) -> float | None:
    """Hold the measured depth sum beside the patterns; return its spacer [mm] when they agree.

    They agree when the sum's spacer lies inside the 90 % interval of the patterns.
    """
    by_patterns, agree = _by_sum(diagnosis, now)
    if by_patterns is None:
        return None
    depth, by_sum = diagnosis.cause["pinion_out_mm"], float(now["depth_sum_mm"])
    text = _(
        "The sum says {sum}, the patterns say {patterns} ± {sd}: they agree (the sum lies inside the "
        "patterns' 90 % interval)."
    )
    if not agree and _measured_again(known):
        text = _(
            "The sum says {sum}, the patterns say {patterns} ± {sd}: they do not agree, measured again as "
            "well. The patterns decide."
        )
    elif not agree:
        text = _(
            "The sum says {sum}, the patterns say {patterns} ± {sd}: they do not agree. Measure again, and "
            "check mark, mounting distance and photos, before anything is pressed."
        )
        found.questions.append(
            _("Sum and patterns do not agree: measure the depth again before a bearing is pressed.")
        )
    found.notes.insert(
        1,
        text.format(
            sum=show_length(by_sum, known.system),
            patterns=show_length(by_patterns, known.system),
            sd=show_length(depth.sd, known.system),
        ),
    )
    found.values |= {
        "spacer_by_patterns_mm": by_patterns,
        "sum_agrees": agree,
        "sum_and_patterns": found.notes[1],
    }
    if not agree:
        return None
    return float(now["depth_shelf_mm"] or by_sum)


def _measured_again(known: Context) -> bool:
    """Whether depth was entered again after patterns and sum did not agree: it is not asked for twice."""
    asked = False
    for entry in known.entries:
        if entry.kind == "result" and entry.step == "pattern":
            asked = asked or entry.payload.get("values", {}).get("sum_agrees") is False
        elif asked and entry.kind == "result" and entry.step == "depth":
            return True
    return False


def _by_sum(diagnosis: Diagnosis, now: Mapping[str, Any]) -> tuple[float | None, bool]:
    """Return the spacer that the patterns ask for [mm] and whether the sum's lies inside their 90 % interval.

    None and False without a sum that decides still, or without the spacer fitted now.
    """
    if now.get("decided_by", "sum") != "sum":
        return None, False
    if now["depth_sum_mm"] is None or now["spacer_now_mm"] is None:
        return None, False
    depth = diagnosis.cause["pinion_out_mm"]
    out_per_spacer = pinion_out_of_spacers(0.0, 1.0, now["place"])
    present, by_sum = float(now["spacer_now_mm"]), float(now["depth_sum_mm"])
    low, high = sorted(present - p / out_per_spacer for p in (depth.p05, depth.p95))
    return present - depth.mean / out_per_spacer, low <= by_sum <= high


def _prefer_sum(found: Result, known: Context, best: Advice, now: Mapping[str, Any], wanted: float) -> None:
    """Take the measured sum's spacer in the first step: the patterns agree with it and are less sure."""
    from axlewright.diagnosis import side_shims_sentence

    present = float(now["spacer_now_mm"])
    move = pinion_out_of_spacers(present, wanted, now["place"])
    shown = show_length(wanted, known.system)
    if abs(wanted - present) < PREFER_WITHIN_MM or (move > 0) != (best.pinion_move_mm > 0):
        return  # the sum would leave it, or move it the other way: the patterns' own step stands
    step = _("Depth spacer: fit {spacer}, as the depth sum asks and the patterns agree.").format(spacer=shown)
    if best.shim_move_mm:
        then = (
            _(
                "Then move the ring gear {length} away from the pinion, side shims changed equally and "
                "oppositely."
            )
            if best.shim_move_mm > 0.0
            else _(
                "Then move the ring gear {length} closer to the pinion, side shims changed equally and "
                "oppositely."
            )
        )
        step += " " + then.format(length=show_length(abs(best.shim_move_mm), known.system))
        if best.side_shims_to_fit_mm is not None:
            step += " " + side_shims_sentence(best.side_shims_to_fit_mm)
    found.notes.append(_("From the patterns alone: {advice}").format(advice=best.text))
    found.values |= {
        "spacer_of_sum_mm": wanted,
        "spacer_to_fit_mm": wanted,
        "spacer_change_mm": wanted - present,
        "pinion_move_mm": move,
        "first_step": step,
        "patterns_alone": best.text,
    }


def _spacer_sum(now: float, change: float, fit: float, of_sum: bool) -> WrittenSum:
    note = _("Present spacer and the change that the patterns ask for.")
    if of_sum:
        note = _("Present spacer and the change to the depth sum's spacer; the patterns agree with it.")
    return plain_sum(_("spacer to fit"), (now, change), note)
