"""The torque with everything fitted, held against its parts."""

from __future__ import annotations

import math

from axlewright.errors import AxlewrightError
from axlewright.language import eager as _
from axlewright.setup import (
    Limit,
    doubt_preload_unit,
    judge,
    total_at_pinion,
    wrench_uncertainty_nm,
)
from axlewright.steps.answers import Typed
from axlewright.steps.result import Reading, Result
from axlewright.steps.step import Context
from axlewright.units import Torque, show_torque


def find_total(found: Result, typed: Typed, known: Context, total_nm: float) -> None:
    """Hold the torque with everything fitted against what pinion, seal and side bearings add up to.

    The side bearings' drag counts at the pinion divided by the ratio.
    """
    found.questions += [doubt.text() for doubt in doubt_preload_unit(total_nm)]
    seal, side = typed.torque("seal"), typed.torque("side_torque")
    if seal is not None:
        found.readings.append(Reading(_("of that the seal"), show_torque(seal, typed.system)))
    if side is not None:
        found.readings.append(Reading(_("torque to turn the case"), show_torque(side, typed.system)))
    low, high = typed.torque("limit_low"), typed.torque("limit_high")
    if low is not None or high is not None:
        source = typed.text("limit_source") or _("service data typed in by {who}").format(who=known.who)
        try:
            limit = Limit(_("torque at the pinion, everything fitted"), low, high, "N·m", source)
        except AxlewrightError as error:
            raise typed.error("limit_low", error.what, error.fix) from error
        found.judged(judge(total_nm, limit, expanded_uncertainty=1.96 * wrench_uncertainty_nm(total_nm)))
    kept = known.last_values("preload")
    pinion = kept.get("torque_nm")
    if pinion is None:
        return
    rise = total_nm - float(pinion)
    found.notes.append(
        _("Side bearings and seal add {rise} to the pinion's own.").format(
            rise=show_torque(rise, typed.system)
        )
    )
    if rise < 0.0:
        found.questions.append(_("The total is less than the pinion alone had. Has the preload been lost?"))
    if side is None or known.design is None:
        return
    expected = total_at_pinion(
        Torque(float(pinion), wrench_uncertainty_nm(float(pinion)), label=_("pinion")),
        Torque(seal or 0.0, wrench_uncertainty_nm(seal or 0.0), label=_("seal")),
        Torque(side, wrench_uncertainty_nm(side), label=_("side bearings")),
        known.design.ring_teeth / known.design.pinion_teeth,
    )
    found.sums.append(expected)
    off = total_nm - expected.value
    unsure = 1.96 * math.hypot(expected.standard_uncertainty, wrench_uncertainty_nm(total_nm))
    found.values["expected_torque_nm"] = expected.value
    if abs(off) > unsure:
        found.notes.append(
            _(
                "Read {total}, that is {off} from the sum and more than the wrenches explain (± {unsure})."
            ).format(
                total=show_torque(total_nm, typed.system),
                off=show_torque(off, typed.system),
                unsure=show_torque(unsure, typed.system),
            )
        )
