"""Pinion preload: running torque from wrench or cord and scale, the next step toward a crushed sleeve."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Final

from axlewright.errors import AxlewrightError
from axlewright.language import Text, _, joined, n_
from axlewright.setup import (
    SETUP_BEARING_ALLOWANCE_MM,
    Limit,
    NutReading,
    SpacerBetween,
    TorqueUnit,
    choose_limit,
    doubt_preload_unit,
    judge,
    next_sleeve_step,
    preload_is_too_large,
    preload_spacer,
    torque_of_cord,
    total_at_pinion,
    wrench_uncertainty_nm,
)
from axlewright.steps.answers import Answers
from axlewright.steps.field import LIMIT_FIELDS, LIMITS, NOTE, UNUSUAL, Choice, Field
from axlewright.steps.limits import typed_limit
from axlewright.steps.result import Result
from axlewright.steps.step import Context, StepForm
from axlewright.units import Force, Length, Torque

CORD: Final = n_("Cord and scale instead of a wrench")
RIGID: Final = n_("Rigid spacer")


def judge_preload(answers: Answers, context: Context) -> Result:
    """Judge the running torque and say the next step."""
    answers.need("bearings", "kind")
    bearings, kind = answers.choice("bearings"), answers.choice("kind")
    seal = answers.torque("seal") or 0.0
    found = Result()
    read, uncertainty, how = _torque(answers, found)
    own = read - seal
    if own < 0.0:
        raise answers.error("seal", _("the seal's drag is more than the whole torque"), _("read both again"))
    found.readings = answers.readings({"torque": how})
    if seal:
        found.notes.append(
            _("{read} less the seal's {seal} = {own} at the bearings.").format(
                read=Torque(read), seal=Torque(seal), own=Torque(own)
            )
        )
    default = choose_limit(f"pinion_preload_{bearings}" + ("_sleeve" if kind == "sleeve" else ""))
    limit = typed_limit(answers, context, default.name) or default
    found.values |= {"torque_nm": own, "seal_nm": seal, "kind": kind, "bearings": bearings}
    doubts = [doubt.text() for doubt in doubt_preload_unit(own, _unit(answers))]
    if preload_is_too_large(own) and not answers.ticked(UNUSUAL.name):
        # Nothing is kept of a slip of the unit: a preload too large would condemn a good sleeve.
        raise answers.error(
            "torque" if answers.given("torque") else "force",
            _("{own} is far beyond any pinion preload").format(own=Torque(own)),
            joined(*doubts, _("Check number and unit, or tick 'the numbers are really so'.")),
            confirmable=True,
        )
    found.questions += doubts
    if kind == "sleeve":
        _sleeve(found, answers, context, limit, own, uncertainty)
    else:
        found.judged(judge(own, limit, expanded_uncertainty=1.96 * uncertainty))
        _rigid(found, answers, context, limit, own)
    found.settle(_("{own} is inside").format(own=Torque(own)))
    return found


def _unit(answers: Answers) -> TorqueUnit | None:
    """Return the unit the torque was typed in; None for one worked out from a cord, or another."""
    text = answers.text("torque").lower().replace(" ", "")
    if not text:
        return None
    letters = text.lstrip("+-−0123456789.,") or ("lb-in" if answers.system == "inch" else "nm")
    if "ft" in letters:
        return "lb-ft"
    if "in" in letters:
        return "lb-in"
    return "N·m" if letters in ("nm", "n·m", "n*m", "n.m") else None


def _torque(answers: Answers, found: Result) -> tuple[float, float, Text]:
    """Return the torque read [N·m], its standard uncertainty [N·m] and how it was read."""
    direct = answers.torque("torque")
    if direct is not None:
        return direct, wrench_uncertainty_nm(direct), _("torque wrench")
    force, radius = answers.force("force"), answers.length("radius")
    if force is None or radius is None:
        raise answers.error(
            "torque", _("nothing typed"), _("type the torque, or the pull on the cord and its radius")
        )
    cord = torque_of_cord(force, radius)
    found.notes.append(
        _("{force} × {radius} = {torque}").format(
            force=Force(force), radius=Length(radius), torque=Torque(cord.nm)
        )
    )
    return cord.nm, 0.0, _("cord and scale, its own error not known")


def _sleeve(
    found: Result, answers: Answers, context: Context, limit: Limit, own: float, uncertainty: float
) -> None:
    nut = answers.number("nut")
    earlier = [
        NutReading(float(v["nut_deg"]), float(v["torque_nm"]))
        for v in context.all_values("preload")
        if v.get("nut_deg") is not None
    ]
    # The present reading may correct an earlier one at the same nut angle; only those before it count.
    steps = [e for e in earlier if nut is None or e.nut_deg < nut]
    now = NutReading(nut if nut is not None else (steps[-1].nut_deg if steps else 0.0), own)
    advice = next_sleeve_step([*steps, now], limit, expanded_uncertainty_nm=1.96 * uncertainty)
    found.judged(advice.verdict)
    found.notes.append(advice.text())
    found.values |= {
        "nut_deg": nut,
        "limit_nm": [limit.low, limit.high],
        "stop_line_nm": advice.stop_line_nm,
        "next_step_deg": advice.next_step_deg,
        "expected_nm": advice.expected_nm,
    }
    if advice.state == "stop" and found.limits[-1].verdict == "ask":
        # Inside the band: what is tightened cannot be undone, so the guard band does not ask for more.
        found.limits[-1] = replace(found.limits[-1], verdict="ok")


def _rigid(found: Result, answers: Answers, context: Context, limit: Limit, own: float) -> None:
    """Say which rigid preload spacer to try next; from two trials on this axle its thickness."""
    outside = found.limits[-1].verdict == "not ok"
    chosen, fitted = answers.choice("between"), answers.length("spacer")
    found.values |= {"preload_spacer_mm": fitted, "between": chosen}
    if answers.ticked("setup_bearings"):
        found.notes.append(
            _(
                "Slip-fit bearings: one manual fits a preload spacer {more} thicker than the trial's, "
                "because pressed cones grow, and tests every time (TM 5-4210-220-34)."
            ).format(more=Length(SETUP_BEARING_ALLOWANCE_MM))
        )
    if not outside:
        return
    if not chosen:
        found.notes.append(
            _("Another preload spacer: between the cones a thinner one gives more, between the cups less.")
        )
        return
    between: SpacerBetween = "cones" if chosen == "cones" else "cups"
    low = own < limit.middle
    thinner = (between == "cones") == low
    found.notes.append(
        _("The preload is too {state}: another spacer, {way}.").format(
            state=_("low") if low else _("high"), way=_("thinner") if thinner else _("thicker")
        )
    )
    if fitted is None:
        return
    for before in reversed(context.all_values("preload")):
        first = before.get("preload_spacer_mm")
        if first is None or before.get("between") != between or abs(float(first) - fitted) < 1e-6:
            continue
        try:
            thickness = preload_spacer(
                float(first), float(before["torque_nm"]), fitted, own, limit.middle, between=between
            )
        except AxlewrightError as error:
            found.questions.append(error.text)
            return
        found.values["preload_spacer_next_mm"] = thickness
        found.notes.append(
            _(
                "From both trials: try {size} next. A start, no promise: drag does not grow in proportion."
            ).format(size=Length(thickness))
        )
        return
    found.notes.append(_("After a second spacer the next one is worked out from both trials."))


def hold_total(found: Result, answers: Answers, context: Context, total_nm: float) -> None:
    """Hold the torque with everything fitted against what pinion, seal and side bearings add up to.

    The side bearings' drag counts at the pinion divided by the ratio.
    """
    found.questions += [doubt.text() for doubt in doubt_preload_unit(total_nm)]
    seal, side = answers.torque("seal"), answers.torque("side_torque")
    limit = typed_limit(answers, context, _("torque at the pinion, everything fitted"))
    if limit is not None:
        found.judged(judge(total_nm, limit, expanded_uncertainty=1.96 * wrench_uncertainty_nm(total_nm)))
    pinion = context.last_values("preload").get("torque_nm")
    if pinion is None:
        return
    rise = total_nm - float(pinion)
    found.notes.append(_("Side bearings and seal add {rise} to the pinion's own.").format(rise=Torque(rise)))
    if rise < 0.0:
        found.questions.append(_("The total is less than the pinion alone had. Has the preload been lost?"))
    if side is None or context.design is None:
        return
    expected = total_at_pinion(
        Torque(float(pinion), wrench_uncertainty_nm(float(pinion)), label=_("pinion")),
        Torque(seal or 0.0, wrench_uncertainty_nm(seal or 0.0), label=_("seal")),
        Torque(side, wrench_uncertainty_nm(side), label=_("side bearings")),
        context.design.ring_teeth / context.design.pinion_teeth,
    )
    found.sums.append(expected)
    off = total_nm - expected.value
    unsure = 1.96 * math.hypot(expected.standard_uncertainty, wrench_uncertainty_nm(total_nm))
    found.values["expected_torque_nm"] = expected.value
    if abs(off) > unsure:
        found.notes.append(
            _(
                "Read {total}, that is {off} from the sum and more than the wrenches explain (± {unsure})."
            ).format(total=Torque(total_nm), off=Torque(off), unsure=Torque(unsure))
        )


PRELOAD: Final = StepForm(
    "preload",
    n_("Read the torque while the pinion turns slowly, not at breakaway. Ring gear out."),
    (
        Field(
            "bearings",
            n_("Pinion bearings"),
            "choice",
            choices=(Choice("new", n_("new")), Choice("used", n_("used"))),
            missing=n_("new and used have different limits"),
            sticky=True,
        ),
        Field(
            "kind",
            n_("What sets the preload"),
            "choice",
            choices=(Choice("sleeve", n_("crushed sleeve")), Choice("spacer", n_("rigid spacer or shims"))),
            missing=n_("say what sets the preload"),
            sticky=True,
        ),
        Field(
            "torque",
            n_("Running torque"),
            "torque",
            n_("From the wrench. Or fill in the cord and scale below."),
        ),
        Field("seal", n_("Of that, the seal's drag"), "torque", n_("0 when no seal is in."), sticky=True),
        Field("force", n_("Pull on the cord"), "force", group=CORD),
        Field(
            "radius",
            n_("Radius where the cord runs off"),
            "length",
            sticky=True,
            group=CORD,
            usual=(5.0, 500.0),
        ),
        Field(
            "nut",
            n_("Nut turned since the bearings began to drag, degrees"),
            "number",
            n_("Gives the next step. Only ever more: a crushed sleeve is never backed off."),
            group=n_("Crushed sleeve"),
            only="kind:sleeve",
        ),
        Field(
            "between",
            n_("The preload spacer sits between the two"),
            "choice",
            n_("Between cones a thinner one gives more preload, between cups less."),
            choices=(Choice("cones", n_("cones")), Choice("cups", n_("cups"))),
            sticky=True,
            group=RIGID,
            only="kind:spacer",
        ),
        Field(
            "spacer",
            n_("Preload spacer that is in, measured"),
            "length",
            n_("With two trials on this axle the next one is worked out."),
            place="P",
            group=RIGID,
            only="kind:spacer",
            usual=(0.2, 80.0),
        ),
        Field(
            "setup_bearings",
            n_("Slip-fit set-up bearings are on"),
            "yes",
            n_("Pressed cones grow: the final spacer differs."),
            group=RIGID,
            only="kind:spacer",
        ),
        Field("limit_low", n_("Least"), "torque", sticky=True, group=LIMITS, listed=False),
        Field("limit_high", n_("Largest"), "torque", sticky=True, group=LIMITS, listed=False),
        *LIMIT_FIELDS,
        NOTE,
    ),
    n_("Judge it"),
    rule=judge_preload,
)
