"""The steps that mostly write down what was found: complaint, as found, fits, final re-check, close."""

from __future__ import annotations

from axlewright.language import eager as _
from axlewright.setup import BacklashReadings, choose_limit, judge_backlash
from axlewright.steps.answers import Typed
from axlewright.steps.backlash import limit_used
from axlewright.steps.result import Reading, Result, numbers
from axlewright.steps.step import Context
from axlewright.steps.total import find_total
from axlewright.units import show_length, show_torque


def find_complaint(typed: Typed, known: Context) -> Result:
    """Write the complaint down; until the other sources are ruled out the step stays open."""
    found = Result()
    heard = typed.required("heard", _("say what the customer hears or feels"))
    when = typed.choice(
        "when", ("drive", "cruise", "float", "coast", "always", "unknown"), required=_("say when it is heard")
    )
    out = typed.choice("others_out", ("yes", "no"), required=_("answer yes or not yet"))
    found.readings += [
        Reading(_("heard or felt"), heard),
        Reading(_("when"), _("not known yet") if when == "unknown" else _(when)),
    ]
    for name, label in (
        ("speed", _("speed band")),
        ("pitch", _("pitch")),
        ("road", _("road test before opening")),
    ):
        if typed.given(name):
            found.readings.append(Reading(label, typed.text(name)))
    oil = typed.choice("oil", ("right", "low", "wrong", "unknown"))
    if oil:
        words = {
            "right": _("as it should be"),
            "low": _("low"),
            "wrong": _("wrong kind"),
            "unknown": _("not known yet"),
        }
        found.readings.append(Reading(_("oil"), words[oil]))
        if oil in ("low", "wrong"):
            found.notes.append(_("Put the oil right and listen again before anything is opened."))
    if out == "no":
        found.questions.append(_("Tyres, wheel bearings and driveline are not ruled out yet."))
    found.values |= {"heard": heard, "when": when, "others_ruled_out": out == "yes"}
    found.settle(_("tyres, wheel bearings and driveline are ruled out"))
    return found


def find_as_found(typed: Typed, known: Context) -> Result:
    """Keep what was found before anything moved; nothing is judged."""
    found = Result()
    backlash = typed.lengths("backlash", low=0.0, high=3.0)
    for index, value in enumerate(backlash):
        found.readings.append(
            Reading(
                _("backlash, place {index}").format(index=index + 1),
                show_length(value, typed.system),
                place="j",
            )
        )
    for name, label, place in (
        ("spacer", _("depth spacer that was in"), "S"),
        ("ring_side", _("side shim, ring gear side"), "R"),
        ("other_side", _("side shim, other side"), "O"),
        ("ring_runout", _("ring gear back face runout"), ""),
        ("end_play", _("pinion end play"), ""),
    ):
        value_mm = typed.length(name, low=0.0, high=20.0)
        found.read_length(label, value_mm, typed.system, place=place)
        if value_mm is not None:
            found.values[f"{name}_mm"] = value_mm
    turning = typed.torque("turning")
    if turning is not None:
        found.readings.append(Reading(_("torque to turn the pinion"), show_torque(turning, typed.system)))
    if typed.given("pattern"):
        found.readings.append(Reading(_("pattern as found"), typed.text("pattern")))
    if typed.ticked("tagged"):
        found.readings.append(Reading(_("shims and caps"), "tagged"))
    if not found.readings and not typed.given("note"):
        raise typed.error(
            "backlash", _("nothing typed"), _("type at least one reading, or a note on why there is none")
        )
    if backlash:
        found.values["backlash_mm"] = numbers(backlash)
    if not typed.ticked("tagged"):
        found.notes.append(_("Shims and caps not tagged yet: do it before they move."))
    found.settle(_("kept as found"))
    return found


def find_final(typed: Typed, known: Context) -> Result:
    """Prove the trial result once more with everything in place."""
    found = Result()
    values = typed.lengths("backlash", low=0.0, high=2.0, required=_("read it round the ring gear once more"))
    readings = BacklashReadings(values, stem="in_rotation")
    for index, value in enumerate(values):
        found.readings.append(
            Reading(
                _("backlash, place {index}").format(index=index + 1),
                show_length(value, typed.system),
                place="j",
            )
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
            _("Against the trial: {change} at the tightest place.").format(
                change=show_length(change, typed.system, signed=True)
            )
        )
    torque = typed.torque("torque", required=_("turn the pinion and read"))
    assert torque is not None  # required above
    found.readings.append(
        Reading(_("torque to turn the pinion, everything fitted"), show_torque(torque, typed.system))
    )
    find_total(found, typed, known, torque)
    pattern = typed.choice("pattern", ("same", "changed"), required=_("roll the pattern once more"))
    found.readings.append(Reading(_("pattern"), _("as accepted") if pattern == "same" else _("changed")))
    if pattern == "changed":
        found.questions.append(_("The pattern has changed: what moved? Back to the step that did."))
    found.values |= {"tightest_mm": readings.minimum_mm, "torque_nm": torque}
    found.settle(_("the trial result holds with everything in place"))
    return found


def find_close(typed: Typed, known: Context) -> Result:
    """Write the close-out down; the signature is a step of its own."""
    found = Result()
    road = typed.required("road", _("say what was heard, and at which speeds"))
    gone = typed.choice("gone", ("gone", "less", "same"), required=_("say how the complaint stands"))
    found.readings += [Reading(_("road test"), road), Reading(_("the complaint is"), _(gone))]
    for name, label in (("locks", _("locks and caps")), ("oil", _("oil in, no leak"))):
        found.readings.append(Reading(label, _("done") if typed.ticked(name) else _("not done")))
        if not typed.ticked(name):
            found.questions.append(_("{what}: not ticked yet.").format(what=label[:1].upper() + label[1:]))
    if gone != "gone":
        found.questions.append(_("The complaint is not gone: back to it with the new readings."))
    found.values |= {"complaint": gone}
    found.settle(_("closed out; sign the sheet"))
    return found


def find_pattern(typed: Typed, known: Context) -> Result:
    """Keep the decision on the pattern that was read."""
    found = Result()
    accepted = typed.choice("accepted", ("yes", "no"), required=_("look at the marks and say"))
    read = known.last_values("pattern")
    found.values |= {**read, "accepted": accepted == "yes"}
    reason = typed.text("reason")
    found.readings.append(
        Reading(
            _("the pattern is"), _("as it should be") if accepted == "yes" else _("not right"), note=reason
        )
    )
    if accepted == "no":
        found.verdict, found.why = "not ok", reason or _("the pattern is not right")
        return found
    if not read and not reason:
        raise typed.error(
            "reason",
            _("no pattern has been read on this job"),
            _("read photos or words first, or say why it is right"),
        )
    if not reason and _last_reading_verdict(known) == "not ok":
        raise typed.error(
            "reason",
            _("the last pattern that was read is not ok"),
            _("read it again, or say why it is right all the same"),
        )
    found.verdict, found.why = "ok", reason or _("the pattern is right")
    return found


def _last_reading_verdict(known: Context) -> str:
    """Return the verdict on the newest patterns that were read; empty when none were."""
    rounds = [e.seq for e in known.entries if e.step == "pattern" and "flanks" in e.payload]
    for entry in reversed(known.entries):
        if entry.kind == "result" and rounds and entry.payload.get("of") == rounds[-1]:
            return str(entry.payload.get("verdict", ""))
    return ""
