"""Final re-check: the trial result proved once more with everything in place."""

from __future__ import annotations

from typing import Final

from axlewright.errors import AxlewrightError
from axlewright.language import _, n_
from axlewright.setup import BacklashReadings, Limit, choose_limit, judge_backlash
from axlewright.steps.answers import Answers
from axlewright.steps.backlash import BACKLASH_BAND_MM, limit_used
from axlewright.steps.field import LIMIT_FIELDS, LIMITS, NOTE, Choice, Field
from axlewright.steps.preload import hold_total
from axlewright.steps.result import Result
from axlewright.steps.step import Context, StepForm
from axlewright.units import Length


def judge_final(answers: Answers, context: Context) -> Result:
    """Prove the trial result once more with everything in place."""
    answers.need("backlash", "torque", "pattern")
    found = Result(readings=answers.readings())
    try:
        readings = BacklashReadings(answers.lengths("backlash"), stem="in_rotation")
    except AxlewrightError as error:
        raise answers.error("backlash", error.what, error.fix) from error
    for verdict in judge_backlash(readings, _band(context)).verdicts:
        found.judged(verdict)
    before = context.last_values("backlash").get("tightest_mm")
    if before is not None:
        found.notes.append(
            _("Against the trial: {change} at the tightest place.").format(
                change=Length(readings.minimum_mm - float(before), signed=True)
            )
        )
    torque = answers.torque("torque") or 0.0
    hold_total(found, answers, context, torque)
    if answers.choice("pattern") == "changed":
        found.questions.append(_("The pattern has changed: what moved? Back to the step that did."))
    found.values |= {"tightest_mm": readings.minimum_mm, "torque_nm": torque}
    found.settle(_("the trial result holds with everything in place"))
    return found


def _band(context: Context) -> Limit:
    """Return the limit that the trial's backlash was held against, else the default of a light axle."""
    for entry in reversed(context.entries):
        if entry.step == "backlash" and entry.kind == "reading":
            return limit_used(entry.payload, context)
    return choose_limit("backlash_light_axle")


FINAL: Final = StepForm(
    "final",
    n_("Pressed bearings grow and set-up bearings differ: prove the trial result with everything in place."),
    (
        Field(
            "backlash",
            n_("Backlash round the ring gear"),
            "lengths",
            place="j",
            missing=n_("read it round the ring gear once more"),
            usual=BACKLASH_BAND_MM,
            short=n_("backlash"),
        ),
        Field(
            "torque",
            n_("Torque to turn the pinion, everything fitted"),
            "torque",
            missing=n_("turn the pinion and read"),
            short=n_("torque to turn the pinion, everything fitted"),
        ),
        Field(
            "seal",
            n_("Of that, the seal's drag"),
            "torque",
            n_("Read as the nut took up; 0 without a seal."),
            short=n_("of that the seal"),
        ),
        Field(
            "side_torque",
            n_("Torque to turn the case in its side bearings"),
            "torque",
            n_("Pinion out. It counts at the pinion divided by the ratio."),
            short=n_("torque to turn the case"),
        ),
        Field("limit_low", n_("Least, everything fitted"), "torque", group=LIMITS, listed=False),
        Field("limit_high", n_("Largest, everything fitted"), "torque", group=LIMITS, listed=False),
        *LIMIT_FIELDS,
        Field(
            "pattern",
            n_("The pattern once more"),
            "choice",
            choices=(
                Choice("same", n_("as accepted")),
                Choice("changed", n_("it has changed"), n_("changed")),
            ),
            missing=n_("roll the pattern once more"),
            short=n_("pattern"),
        ),
        NOTE,
    ),
    n_("Judge it"),
    rule=judge_final,
)
