"""Pinion preload: running torque from wrench or cord and scale, the next step toward a crushed sleeve."""

from __future__ import annotations

from axlewright.bench.found import Found, Known, ShownReading
from axlewright.bench.typed import Typed
from axlewright.errors import AxlewrightError
from axlewright.setup import (
    Limit,
    NutReading,
    choose_limit,
    doubt_preload_unit,
    judge,
    next_sleeve_step,
    torque_of_cord,
    wrench_uncertainty_nm,
)
from axlewright.units import show_length, show_torque


def torque_limit(typed: Typed, known: Known, key: str) -> Limit:
    """Return the limit typed from service data, else the default of this program."""
    low, high = typed.torque("limit_low"), typed.torque("limit_high")
    default = choose_limit(key)
    if low is None and high is None:
        return default
    source = typed.text("limit_source") or f"service data typed in by {known.who}"
    try:
        return Limit(default.name, low, high, "N·m", source)
    except AxlewrightError as error:
        raise typed.error("limit_low", error.what, error.fix) from error


def find_preload(typed: Typed, known: Known) -> Found:
    """Judge the running torque and say the next step."""
    found = Found()
    bearings = typed.choice("bearings", ("new", "used"), required="new and used have different limits")
    kind = typed.choice("kind", ("sleeve", "spacer"), required="say what sets the preload")
    seal = typed.torque("seal") or 0.0
    read, uncertainty, how = _torque(typed, found)
    own = read - seal
    if own < 0.0:
        raise typed.error("seal", "the seal's drag is more than the whole torque", "read both again")
    found.readings.append(
        ShownReading("bearings", f"{bearings}, {'crushed sleeve' if kind == 'sleeve' else 'rigid spacer'}")
    )
    found.readings.append(ShownReading("running torque", show_torque(read, typed.system), note=how))
    if seal:
        found.readings.append(ShownReading("of that the seal", show_torque(seal, typed.system)))
        found.notes.append(
            f"{show_torque(read, typed.system)} less the seal's {show_torque(seal, typed.system)} "
            f"= {show_torque(own, typed.system)} at the bearings."
        )
    limit = torque_limit(typed, known, f"pinion_preload_{bearings}" + ("_sleeve" if kind == "sleeve" else ""))
    found.values |= {"torque_nm": own, "seal_nm": seal, "kind": kind, "bearings": bearings}
    doubts = doubt_preload_unit(own)
    found.questions += [doubt.text(typed.system) for doubt in doubts]
    nut = typed.number("nut")
    if kind == "sleeve":
        _sleeve(found, typed, known, limit, own, nut, uncertainty)
    else:
        found.judged(judge(own, limit, expanded_uncertainty=1.96 * uncertainty))
        if found.limits[-1].verdict == "not ok":
            found.notes.append(
                "Another preload spacer: between the cones a thinner one gives more, between the cups less."
            )
    found.settle(f"{show_torque(own, typed.system)} is inside")
    return found


def _torque(typed: Typed, found: Found) -> tuple[float, float, str]:
    direct = typed.torque("torque")
    if direct is not None:
        return direct, wrench_uncertainty_nm(direct), "torque wrench"
    force, radius = typed.force("force"), typed.length("radius", low=5.0, high=500.0)
    if force is None or radius is None:
        raise typed.error(
            "torque", "nothing typed", "type the torque, or the pull on the cord and its radius"
        )
    cord = torque_of_cord(force, radius)
    found.notes.append(
        f"{force:.1f} N × {show_length(radius, typed.system)} = {show_torque(cord.value_nm, typed.system)}"
    )
    return cord.value_nm, 0.0, "cord and scale, its own error not known"


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
    advice = next_sleeve_step([*steps, now], limit, expanded_uncertainty_nm=1.96 * uncertainty)
    found.judged(advice.verdict)
    found.notes.append(advice.text(typed.system))
    if advice.state == "stop" and found.limits[-1].verdict == "ask":
        # Inside the band: what is tightened cannot be undone, so the guard band does not ask for more.
        one = found.limits[-1]
        found.limits[-1] = type(one)(one.name, one.value, one.read, one.source, one.origin, "ok")
