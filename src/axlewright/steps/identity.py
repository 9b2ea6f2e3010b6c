"""Set identity: pair numbers, counts against the design, the depth mark with its meaning and unit."""

from __future__ import annotations

import math
from typing import Final, get_args

from axlewright.errors import AxlewrightError
from axlewright.language import eager as _
from axlewright.language import n_
from axlewright.setup import MARK_MEANINGS, MARK_UNITS, DepthMark, MarkMeaning, MarkUnit, parse_mark
from axlewright.steps.answers import FieldError, Typed
from axlewright.steps.form_parts import UNKNOWN
from axlewright.steps.result import Reading, Result
from axlewright.steps.step import Context
from axlewright.units import show_length

ASK_UNIT = n_("look in the set's data and choose the unit; the same mark is used in three")
ASK_MEANING = n_("look in the set's data and choose what plus means; both meanings are in use")


def mark_of(typed: Typed, *, needed: bool = True, name: str = "mark") -> DepthMark | None:
    """Return the mark with its unit and meaning as chosen, or None when none was typed.

    Parameters
    ----------
    needed : bool
        Whether a mark without unit or meaning is refused; else it gives None as well.
    name : str
        Field of the mark; its unit and meaning are ``name_unit`` and ``name_meaning``.

    Raises
    ------
    FieldError
        When the mark is no mark, or unit or meaning are missing.
    """
    text = typed.text(name)
    if not text:
        return None
    unit_field, meaning_field = f"{name}_unit", f"{name}_meaning"
    label = typed.labels.get(name, name)
    try:
        candidates = parse_mark(text)
    except AxlewrightError as error:
        raise FieldError.of(name, label, error) from error
    open_answers = ("", UNKNOWN.key)
    unit, meaning = typed.text(unit_field), typed.text(meaning_field)
    if not needed and (unit in open_answers or meaning in open_answers):
        return None
    if unit in open_answers:
        raise typed.error(unit_field, _("the unit of the mark is not known"), _(ASK_UNIT))
    if meaning in open_answers:
        raise typed.error(meaning_field, _("what a plus mark means is not known"), _(ASK_MEANING))
    typed.choice(unit_field, MARK_UNITS)
    typed.choice(meaning_field, MARK_MEANINGS)
    chosen = [c for c in candidates if c.unit == unit]
    if not chosen:
        offered = " or ".join(dict.fromkeys(c.unit for c in candidates))
        raise typed.error(
            unit_field,
            _("'{text}' cannot be in units of {unit}").format(text=text, unit=unit),
            _("it reads as {offered}").format(offered=offered),
        )
    assert meaning in get_args(MarkMeaning)
    return chosen[0].confirm(_meaning(meaning))


def _meaning(text: str) -> MarkMeaning:
    for one in MARK_MEANINGS:
        if one == text:
            return one
    raise AssertionError(text)  # the choice was checked


def _unit(text: str) -> MarkUnit | None:
    for one in MARK_UNITS:
        if one == text:
            return one
    return None


def mark_values(mark: DepthMark) -> dict[str, object]:
    """Return a mark as it is kept in the record."""
    return {
        "mark": mark.value,
        "mark_unit": mark.unit,
        "mark_meaning": mark.meaning,
        "mark_mm": mark.mounting_distance_deviation_mm,
    }


def shown_mark(mark: DepthMark, *, place: str = "") -> Reading:
    """Return a mark as a reading: the number, with unit and meaning as its note."""
    number, _rest, rest = mark.text().partition(" ")
    return Reading(_("depth mark"), number, place=place, note=rest)


def find_identity(typed: Typed, known: Context) -> Result:
    """Check the pair and settle the mark."""
    found = Result()
    pinion = typed.required("pinion_number", _("read the pair number on the pinion's nose or shaft"))
    ring = typed.required("ring_number", _("read the pair number on the ring gear's face or rim"))
    found.readings += [
        Reading(_("pair number, pinion"), pinion),
        Reading(_("pair number, ring gear"), ring),
    ]
    bad: list[str] = []
    if pinion.casefold().replace(" ", "") != ring.casefold().replace(" ", ""):
        bad.append(_("pinion {pinion} and ring gear {ring} are not a pair").format(pinion=pinion, ring=ring))
    found.values |= {"pinion_number": pinion, "ring_number": ring}
    design = known.design
    teeth = (
        (
            "pinion_teeth",
            _("pinion teeth"),
            None if design is None else design.pinion_teeth,
            _("{count} pinion teeth, but design {design} has {wanted}"),
        ),
        (
            "ring_teeth",
            _("ring gear teeth"),
            None if design is None else design.ring_teeth,
            _("{count} ring gear teeth, but design {design} has {wanted}"),
        ),
    )
    for name, label, wanted, wrong in teeth:
        count = typed.count(name, low=3, high=200)
        if count is None:
            continue
        found.readings.append(Reading(label, str(count)))
        if wanted is not None and count != wanted:
            bad.append(wrong.format(count=count, design=known.job.design_name, wanted=wanted))
    hand = typed.choice("hand", ("left", "right", UNKNOWN.key))
    if hand in ("left", "right"):
        found.readings.append(Reading(_("hand of the pinion"), _(hand)))
        if design is not None and hand != design.hand:
            bad.append(
                (
                    _("left-hand pinion, but design {design} is right-hand")
                    if hand == "left"
                    else _("right-hand pinion, but design {design} is left-hand")
                ).format(design=known.job.design_name)
            )
    _settle_mark(typed, found)
    bad += _marks_of_both(typed, found)
    _use_of_set(typed, found)
    form = typed.choice("tooth_form", ("face-milled", "face-hobbed", UNKNOWN.key))
    if form in ("face-milled", "face-hobbed"):
        found.readings.append(Reading(_("tooth depth"), _(form)))
        found.values["tooth_form"] = form
        if design is not None and form != design.tooth_form:
            bad.append(
                _("the teeth look {seen}, but design {name} is {wanted}").format(
                    seen=_(form), name=known.job.design_name, wanted=_(design.tooth_form)
                )
            )
    timing = typed.choice("timing", ("none", "matched", "there"))
    if timing:
        words = {"none": _("none"), "matched": _("there, and matched"), "there": _("there")}
        found.readings.append(Reading(_("timing marks"), words[timing]))
    if design is not None and timing:
        _timing(found, timing, design.pinion_teeth, design.ring_teeth)
    _thickness(typed, found)
    etched = typed.length("etched_backlash", low=0.02, high=1.5)
    if etched is not None:
        found.read_length(_("backlash etched on the set"), etched, typed.system)
        found.values["etched_backlash_mm"] = etched
    if bad:
        found.verdict = "not ok"
        found.why = _("{problems}. Stop and answer: a pair that does not match is not used").format(
            problems="; ".join(bad)
        )
    else:
        found.settle(_("the numbers match"))
    return found


def _use_of_set(typed: Typed, found: Result) -> None:
    """Keep whether the set is used and which flank pulls: patterns are judged by both."""
    condition = typed.choice("condition", ("new", "used"))
    if condition:
        found.readings.append(Reading(_("the set is"), _(condition)))
        found.values["condition"] = condition
    pulls = typed.choice("drives_on", ("drive", "coast"))
    if pulls:
        shown = _("drive flank") if pulls == "drive" else _("coast flank")
        found.readings.append(Reading(_("pulls going forward"), shown))
        found.values["drives_on"] = pulls


def _marks_of_both(typed: Typed, found: Result) -> list[str]:
    """Hold the mark on the ring gear against the one on the pinion."""
    text = typed.text("ring_mark")
    if not text:
        return []
    found.readings.append(Reading(_("depth mark on the ring gear"), text))
    plain = [one.replace("−", "-").replace(" ", "").lstrip("+") for one in (text, typed.text("mark"))]
    if plain[0] == plain[1]:
        return []
    if not plain[1]:
        return [_("the ring gear is marked {mark}, the pinion is not").format(mark=text)]
    return [
        _("the ring gear is marked {ring}, the pinion {pinion}").format(ring=text, pinion=typed.text("mark"))
    ]


def _timing(found: Result, timing: str, pinion_teeth: int, ring_teeth: int) -> None:
    """Say whether timing marks are to be expected: where both tooth counts share a factor."""
    shared = math.gcd(pinion_teeth, ring_teeth)
    counts = f"{pinion_teeth}/{ring_teeth}"
    if shared == 1:
        found.notes.append(
            _("{counts}: every tooth meets every other, no timing marks needed.").format(counts=counts)
        )
    elif timing == "none":
        found.questions.append(
            _("{counts}: the same teeth always meet, such sets carry timing marks. Look again.").format(
                counts=counts
            )
        )
    elif timing == "there":
        found.notes.append(
            _("{counts}: match the timing marks when the ring gear goes in.").format(counts=counts)
        )


THICKNESS_DIFFERS_MM: Final = 0.5
"""Ring gears that differ by more are of different kinds (common practice, no source)."""


def _thickness(typed: Typed, found: Result) -> None:
    now = typed.length("ring_thickness", low=3, high=200)
    before = typed.length("ring_thickness_before", low=3, high=200)
    found.read_length(_("ring gear thickness"), now, typed.system)
    found.read_length(_("thickness of the ring gear that came out"), before, typed.system)
    if now is None or before is None or abs(now - before) <= THICKNESS_DIFFERS_MM:
        return
    found.questions.append(
        _(
            "The ring gear is {by} thicker than the one that came out: is it the right gear for this case? "
            "With the wrong one no shim reaches the backlash."
        ).format(by=show_length(now - before, typed.system))
        if now > before
        else _(
            "The ring gear is {by} thinner than the one that came out: is it the right gear for this case? "
            "With the wrong one no shim reaches the backlash."
        ).format(by=show_length(before - now, typed.system))
    )


def _settle_mark(typed: Typed, found: Result) -> None:
    text = typed.text("mark")
    if not text:
        found.notes.append(_("No depth mark: depth is measured or compared, and the pattern decides."))
        return
    open_answers = ("", UNKNOWN.key)
    if typed.text("mark_unit") == "":
        raise typed.error(
            "mark_unit",
            _("'{text}' has no unit").format(text=text),
            _(
                "look in the set's data and choose the unit, the same mark is used in three; "
                "or choose 'not known yet'"
            ),
        )
    if typed.text("mark_meaning") == "":
        raise typed.error(
            "mark_meaning",
            _("'{text}' has two meanings").format(text=text),
            _(
                "look in the set's data and choose what plus means, both meanings are in use; "
                "or choose 'not known yet'"
            ),
        )
    mark = mark_of(typed, needed=False)
    if mark is None:
        found.readings.append(Reading(_("depth mark"), text, note=_("unit or meaning not known yet")))
        candidates = [c for c in parse_mark(text) if c.likely]
        found.notes += [c.text() for c in candidates]
        found.questions.append(
            (
                _(
                    "The unit of the mark {text} is not known: find it in the set's data "
                    "before a spacer is chosen."
                )
                if typed.text("mark_unit") in open_answers
                else _(
                    "The meaning of the mark {text} is not known: find it in the set's data "
                    "before a spacer is chosen."
                )
            ).format(text=text)
        )
        unit = _unit(typed.text("mark_unit"))
        found.values["mark_text"] = text
        if unit is not None:
            found.values["mark_unit"] = unit
        return
    found.readings.append(shown_mark(mark))
    found.values |= {**mark_values(mark), "mark_text": text}
    found.notes.append(
        (
            _("Against a mark of 0 this pinion wants to sit {by} farther out.")
            if mark.mounting_distance_deviation_mm > 0
            else _("Against a mark of 0 this pinion wants to sit {by} farther in.")
        ).format(by=show_length(abs(mark.mounting_distance_deviation_mm), typed.system))
        if mark.value
        else _("Mark 0: the pinion sits at the design's mounting distance.")
    )
    chosen = [c for c in parse_mark(text) if c.unit == mark.unit]
    found.notes += list(chosen[0].questions)
    if mark.question is not None:
        found.questions.append(mark.question)
