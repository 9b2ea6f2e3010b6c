"""Pinion preload: running torque from wrench or cord and scale, the next step toward a crushed sleeve."""

from __future__ import annotations

import math

from axlewright.bench.found import Found, Known, ShownReading, ShownSum
from axlewright.bench.typed import REALLY, Typed
from axlewright.errors import AxlewrightError
from axlewright.language import Shown, _
from axlewright.setup import (
    SETUP_BEARING_ALLOWANCE_MM,
    Limit,
    NutReading,
    SpacerBetween,
    Torque,
    TorqueUnit,
    TotalTorque,
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
from axlewright.units import System, show_length, show_torque


def torque_limit(typed: Typed, known: Known, key: str) -> Limit:
    """Return the limit typed from service data, else the default of this program."""
    low, high = typed.torque("limit_low"), typed.torque("limit_high")
    default = choose_limit(key)
    if low is None and high is None:
        return default
    source = typed.text("limit_source") or _("service data typed in by {who}").format(who=known.who)
    try:
        return Limit(default.name, low, high, "N·m", source)
    except AxlewrightError as error:
        raise typed.error("limit_low", error.what, error.fix) from error


def find_preload(typed: Typed, known: Known) -> Found:
    """Judge the running torque and say the next step."""
    found = Found()
    bearings = typed.choice("bearings", ("new", "used"), required=_("new and used have different limits"))
    kind = typed.choice("kind", ("sleeve", "spacer"), required=_("say what sets the preload"))
    seal = typed.torque("seal") or 0.0
    read, uncertainty, how = _torque(typed, found)
    own = read - seal
    if own < 0.0:
        raise typed.error("seal", _("the seal's drag is more than the whole torque"), _("read both again"))
    found.readings.append(
        ShownReading(
            _("bearings"),
            _("{bearings}, crushed sleeve").format(bearings=_(bearings))
            if kind == "sleeve"
            else _("{bearings}, rigid spacer").format(bearings=_(bearings)),
        )
    )
    found.readings.append(ShownReading(_("running torque"), show_torque(read, typed.system), note=how))
    if seal:
        found.readings.append(ShownReading(_("of that the seal"), show_torque(seal, typed.system)))
        found.notes.append(
            _("{read} less the seal's {seal} = {own} at the bearings.").format(
                read=show_torque(read, typed.system),
                seal=show_torque(seal, typed.system),
                own=show_torque(own, typed.system),
            )
        )
    limit = torque_limit(typed, known, f"pinion_preload_{bearings}" + ("_sleeve" if kind == "sleeve" else ""))
    found.values |= {"torque_nm": own, "seal_nm": seal, "kind": kind, "bearings": bearings}
    doubts = [doubt.text(typed.system) for doubt in doubt_preload_unit(own, _unit(typed))]
    if preload_is_too_large(own) and not typed.ticked(REALLY):
        # Nothing is kept of a slip of the unit: a preload too large would condemn a good sleeve.
        raise typed.error(
            "torque" if typed.given("torque") else "force",
            _("{own} is far beyond any pinion preload").format(own=show_torque(own, typed.system)),
            " ".join([*doubts, _("Check number and unit, or tick 'the numbers are really so'.")]),
            confirmable=True,
        )
    found.questions += doubts
    nut = typed.number("nut")
    if kind == "sleeve":
        _sleeve(found, typed, known, limit, own, nut, uncertainty)
    else:
        found.judged(judge(own, limit, expanded_uncertainty=1.96 * uncertainty))
        _rigid(found, typed, known, limit, own)
    found.settle(_("{own} is inside").format(own=show_torque(own, typed.system)))
    return found


def _unit(typed: Typed) -> TorqueUnit | None:
    """Return the unit the torque was typed in; None for one worked out from a cord, or another."""
    text = "".join(typed.text("torque").lower().split())
    if not text:
        return None
    letters = text.lstrip("+-−0123456789.,") or typed.torque_unit
    if "ft" in letters:
        return "lb-ft"
    if "in" in letters:
        return "lb-in"
    return "N·m" if letters in ("nm", "n·m", "n*m", "n.m") else None


def _torque(typed: Typed, found: Found) -> tuple[float, float, str]:
    direct = typed.torque("torque")
    if direct is not None:
        return direct, wrench_uncertainty_nm(direct), _("torque wrench")
    force, radius = typed.force("force"), typed.length("radius", low=5.0, high=500.0)
    if force is None or radius is None:
        raise typed.error(
            "torque", _("nothing typed"), _("type the torque, or the pull on the cord and its radius")
        )
    cord = torque_of_cord(force, radius)
    found.notes.append(
        f"{Shown(force):.1f} N × {show_length(radius, typed.system)} = "
        + show_torque(cord.value_nm, typed.system)
    )
    return cord.value_nm, 0.0, _("cord and scale, its own error not known")


def _sleeve(
    found: Found, typed: Typed, known: Known, limit: Limit, own: float, nut: float | None, uncertainty: float
) -> None:
    earlier = [
        NutReading(float(v["nut_deg"]), float(v["torque_nm"]))
        for v in known.all_values("preload")
        if v.get("nut_deg") is not None
    ]
    # The present reading may correct an earlier one at the same nut angle; only those before it count.
    steps = [e for e in earlier if nut is None or e.nut_deg < nut]
    now = NutReading(nut if nut is not None else (steps[-1].nut_deg if steps else 0.0), own)
    found.values["nut_deg"] = nut
    if nut is not None:
        found.readings.append(ShownReading(_("nut turned"), f"{Shown(nut):g}°"))
    advice = next_sleeve_step([*steps, now], limit, expanded_uncertainty_nm=1.96 * uncertainty)
    found.judged(advice.verdict)
    found.notes.append(advice.text(typed.system))
    found.values |= {
        "limit_nm": [limit.low, limit.high],
        "stop_line_nm": advice.stop_line_nm,
        "next_step_deg": advice.next_step_deg,
        "expected_nm": advice.expected_nm,
    }
    if advice.state == "stop" and found.limits[-1].verdict == "ask":
        # Inside the band: what is tightened cannot be undone, so the guard band does not ask for more.
        one = found.limits[-1]
        found.limits[-1] = type(one)(one.name, one.value, one.read, one.source, one.origin, "ok")


def _rigid(found: Found, typed: Typed, known: Known, limit: Limit, own: float) -> None:
    """Say which rigid preload spacer to try next; from two trials on this axle its thickness."""
    outside = found.limits[-1].verdict == "not ok"
    chosen = typed.choice("between", ("cones", "cups"))
    fitted = typed.length("spacer", low=0.2, high=80.0)
    found.read_length(_("preload spacer that is in"), fitted, typed.system, place="P")
    found.values |= {"preload_spacer_mm": fitted, "between": chosen}
    if typed.ticked("setup_bearings"):
        found.notes.append(
            _(
                "Slip-fit bearings: one manual fits a preload spacer {more} thicker than the trial's, "
                "because pressed cones grow, and tests every time (TM 5-4210-220-34)."
            ).format(more=show_length(SETUP_BEARING_ALLOWANCE_MM, typed.system))
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
    for before in reversed(known.all_values("preload")):
        first = before.get("preload_spacer_mm")
        if first is None or before.get("between") != between or abs(float(first) - fitted) < 1e-6:
            continue
        try:
            thickness = preload_spacer(
                float(first), float(before["torque_nm"]), fitted, own, limit.middle, between=between
            )
        except AxlewrightError as error:
            found.questions.append(str(error))
            return
        found.values["preload_spacer_next_mm"] = thickness
        found.notes.append(
            _(
                "From both trials: try {size} next. A start, no promise: drag does not grow in proportion."
            ).format(size=show_length(thickness, typed.system))
        )
        return
    found.notes.append(_("After a second spacer the next one is worked out from both trials."))


def find_total(found: Found, typed: Typed, known: Known, total_nm: float) -> None:
    """Hold the torque with everything fitted against what pinion, seal and side bearings add up to.

    The side bearings' drag counts at the pinion divided by the ratio.
    """
    found.questions += [doubt.text(typed.system) for doubt in doubt_preload_unit(total_nm)]
    seal, side = typed.torque("seal"), typed.torque("side_torque")
    if seal is not None:
        found.readings.append(ShownReading(_("of that the seal"), show_torque(seal, typed.system)))
    if side is not None:
        found.readings.append(ShownReading(_("torque to turn the case"), show_torque(side, typed.system)))
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
        Torque(_("pinion"), float(pinion), wrench_uncertainty_nm(float(pinion))),
        Torque(_("seal"), seal or 0.0, wrench_uncertainty_nm(seal or 0.0)),
        Torque(_("side bearings"), side, wrench_uncertainty_nm(side)),
        known.design.ring_teeth / known.design.pinion_teeth,
    )
    found.sums.append(torque_sum(_("pinion + seal + side bearings / ratio"), expected))
    off = total_nm - expected.value_nm
    unsure = 1.96 * math.hypot(expected.standard_uncertainty_nm, wrench_uncertainty_nm(total_nm))
    found.values["expected_torque_nm"] = expected.value_nm
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


def torque_sum(name: str, total: TotalTorque) -> ShownSum:
    """Return the total at the pinion as a written sum in both systems."""
    systems: tuple[System, System] = ("inch", "metric")
    half = 1.96 * total.standard_uncertainty_nm
    return ShownSum(
        name,
        {s: total.text(s) for s in systems},
        {s: show_torque(total.value_nm, s) for s in systems},
        {s: f"± {show_torque(half, s)}, 95 %" for s in systems},
    )
