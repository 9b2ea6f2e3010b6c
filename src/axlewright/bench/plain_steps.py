"""The steps that mostly write down what was found: complaint, as found, fits, final re-check, close."""

from __future__ import annotations

from axlewright.bench.backlash import limit_used
from axlewright.bench.found import Found, Known, ShownReading, numbers
from axlewright.bench.preload import find_total
from axlewright.bench.typed import Typed
from axlewright.language import _
from axlewright.setup import BacklashReadings, choose_limit, judge_backlash
from axlewright.units import show_length, show_torque


def find_complaint(typed: Typed, known: Known) -> Found:
    """Write the complaint down; until the other sources are ruled out the step stays open."""
    found = Found()
    heard = typed.required("heard", "say what the customer hears or feels")
    when = typed.choice(
        "when", ("drive", "cruise", "float", "coast", "always", "unknown"), required="say when it is heard"
    )
    out = typed.choice("others_out", ("yes", "no"), required="answer yes or not yet")
    found.readings += [
        ShownReading("heard or felt", heard),
        ShownReading("when", when.replace("unknown", "not known yet")),
    ]
    for name, label in (
        ("speed", "speed band"),
        ("pitch", _("pitch")),
        ("road", _("road test before opening")),
    ):
        if typed.given(name):
            found.readings.append(ShownReading(label, typed.text(name)))
    oil = typed.choice("oil", ("right", "low", "wrong", "unknown"))
    if oil:
        words = {
            "right": _("right"),
            "low": _("low"),
            "wrong": _("wrong kind"),
            "unknown": _("not known yet"),
        }
        found.readings.append(ShownReading(_("oil"), words[oil]))
        if oil in ("low", "wrong"):
            found.notes.append(_("Put the oil right and listen again before anything is opened."))
    if out == "no":
        found.questions.append("Tyres, wheel bearings and driveline are not ruled out yet.")
    found.values |= {"heard": heard, "when": when, "others_ruled_out": out == "yes"}
    found.settle("tyres, wheel bearings and driveline are ruled out")
    return found


def find_as_found(typed: Typed, known: Known) -> Found:
    """Keep what was found before anything moved; nothing is judged."""
    found = Found()
    backlash = typed.lengths("backlash", low=0.0, high=3.0)
    for index, value in enumerate(backlash):
        found.readings.append(
            ShownReading(f"backlash, place {index + 1}", show_length(value, typed.system), place="j")
        )
    for name, label, place in (
        ("spacer", "depth spacer that was in", "S"),
        ("ring_side", "side shim, ring gear side", "R"),
        ("other_side", "side shim, other side", "O"),
        ("ring_runout", "ring gear back face runout", ""),
        ("end_play", _("pinion end play"), ""),
    ):
        value_mm = typed.length(name, low=0.0, high=20.0)
        found.read_length(label, value_mm, typed.system, place=place)
        if value_mm is not None:
            found.values[f"{name}_mm"] = value_mm
    turning = typed.torque("turning")
    if turning is not None:
        found.readings.append(ShownReading("torque to turn the pinion", show_torque(turning, typed.system)))
    if typed.given("pattern"):
        found.readings.append(ShownReading(_("pattern as found"), typed.text("pattern")))
    if typed.ticked("tagged"):
        found.readings.append(ShownReading("shims and caps", "tagged"))
    if not found.readings and not typed.given("note"):
        raise typed.error(
            "backlash", "nothing typed", "type at least one reading, or a note on why there is none"
        )
    if backlash:
        found.values["backlash_mm"] = numbers(backlash)
    if not typed.ticked("tagged"):
        found.notes.append("Shims and caps not tagged yet: do it before they move.")
    found.settle("kept as found")
    return found


def find_final(typed: Typed, known: Known) -> Found:
    """Prove the trial result once more with everything in place."""
    found = Found()
    values = typed.lengths("backlash", low=0.0, high=2.0, required="read it round the ring gear once more")
    readings = BacklashReadings(values, stem="in_rotation")
    for index, value in enumerate(values):
        found.readings.append(
            ShownReading(f"backlash, place {index + 1}", show_length(value, typed.system), place="j")
        )
    before = known.last_values("backlash")
    band = choose_limit("backlash_light_axle")
    for entry in reversed(known.entries):
        if entry.step == "backlash" and entry.kind == "reading":
            band = limit_used(entry.payload, known)
            break
    for verdict in judge_backlash(readings, band).verdicts:
        found.judged(verdict)
    if before.get("tightest_mm") is not None:
        change = readings.minimum_mm - float(before["tightest_mm"])
        found.notes.append(
            f"Against the trial: {show_length(change, typed.system, signed=True)} at the tightest place."
        )
    torque = typed.torque("torque", required="turn the pinion and read")
    assert torque is not None  # required above
    found.readings.append(
        ShownReading("torque to turn the pinion, everything fitted", show_torque(torque, typed.system))
    )
    find_total(found, typed, known, torque)
    pattern = typed.choice("pattern", ("same", "changed"), required="roll the pattern once more")
    found.readings.append(ShownReading("pattern", "as accepted" if pattern == "same" else "changed"))
    if pattern == "changed":
        found.questions.append("The pattern has changed: what moved? Back to the step that did.")
    found.values |= {"tightest_mm": readings.minimum_mm, "torque_nm": torque}
    found.settle("the trial result holds with everything in place")
    return found


def find_close(typed: Typed, known: Known) -> Found:
    """Write the close-out down; the signature is a step of its own."""
    found = Found()
    road = typed.required("road", "say what was heard, and at which speeds")
    gone = typed.choice("gone", ("gone", "less", "same"), required="say how the complaint stands")
    found.readings += [ShownReading("road test", road), ShownReading("the complaint is", gone)]
    for name, label in (("locks", "locks and caps"), ("oil", "oil in, no leak")):
        found.readings.append(ShownReading(label, "done" if typed.ticked(name) else "not done"))
        if not typed.ticked(name):
            found.questions.append(f"{label.capitalize()}: not ticked yet.")
    if gone != "gone":
        found.questions.append("The complaint is not gone: back to it with the new readings.")
    found.values |= {"complaint": gone}
    found.settle("closed out; sign the sheet")
    return found


def find_pattern(typed: Typed, known: Known) -> Found:
    """Keep the decision on the pattern that was read."""
    found = Found()
    accepted = typed.choice("accepted", ("yes", "no"), required="look at the marks and say")
    read = known.last_values("pattern")
    found.values |= {**read, "accepted": accepted == "yes"}
    reason = typed.text("reason")
    found.readings.append(
        ShownReading("the pattern is", "right" if accepted == "yes" else "not right", note=reason)
    )
    if accepted == "no":
        found.verdict, found.why = "not ok", reason or "the pattern is not right"
        return found
    if not read and not reason:
        raise typed.error(
            "reason",
            "no pattern has been read on this job",
            "read photos or words first, or say why it is right",
        )
    found.verdict, found.why = "ok", reason or "the pattern is right"
    return found
