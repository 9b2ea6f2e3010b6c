"""Set identity: pair numbers, counts against the design, the depth mark with its meaning and unit."""

from __future__ import annotations

import math
from itertools import starmap
from typing import TYPE_CHECKING, Final, cast

from axlewright.language import Text, _, joined, n_
from axlewright.setup import MEANING_WORDS, UNIT_WORDS, DepthMark, parse_mark, unit_text
from axlewright.steps.answers import Answers, in_field
from axlewright.steps.field import NOTE, UNKNOWN, Choice, Field
from axlewright.steps.result import Reading, Result
from axlewright.steps.step import Context, StepForm
from axlewright.units import Length

if TYPE_CHECKING:
    from axlewright.gearset import GearSetDesign
    from axlewright.setup import MarkMeaning

MARK: Final = n_("Depth mark")
MORE: Final = n_("More on the set")

MARK_UNIT_CHOICES: Final = tuple(starmap(Choice, UNIT_WORDS.items()))
MARK_MEANING_CHOICES: Final = tuple(starmap(Choice, MEANING_WORDS.items()))

ASK_UNIT: Final = n_("look in the set's data and choose the unit; the same mark is used in three")
ASK_MEANING: Final = n_("look in the set's data and choose what plus means; both meanings are in use")

THICKNESS_DIFFERS_MM: Final = 0.5
"""Ring gears that differ by more are of different kinds (common practice, no source)."""


def mark_of(answers: Answers, name: str = "mark") -> DepthMark | None:
    """Return the mark with its unit and meaning as chosen, or None when none was typed.

    Parameters
    ----------
    name : str
        Field of the mark; its unit and meaning are ``name_unit`` and ``name_meaning``.

    Raises
    ------
    FieldError
        When the mark is no mark, or unit or meaning are missing.
    """
    text = answers.text(name)
    if not text:
        return None
    unit_field, meaning_field = f"{name}_unit", f"{name}_meaning"
    candidates = in_field(name, answers.label(name), lambda: parse_mark(text))
    unit, meaning = answers.choice(unit_field), answers.choice(meaning_field)
    if unit in ("", UNKNOWN.key):
        raise answers.error(unit_field, _("the unit of the mark is not known"), _(ASK_UNIT))
    if meaning in ("", UNKNOWN.key):
        raise answers.error(meaning_field, _("what a plus mark means is not known"), _(ASK_MEANING))
    for candidate in candidates:
        if candidate.unit == unit:
            return candidate.confirm(cast("MarkMeaning", meaning))
    units = dict.fromkeys(candidate.unit for candidate in candidates)
    raise answers.error(
        unit_field,
        _("'{text}' cannot be in units of {unit}").format(text=text, unit=unit),
        _("it reads as {offered}").format(offered=joined(*map(unit_text, units), between=" / ")),
    )


def mark_values(mark: DepthMark) -> dict[str, object]:
    """Return a mark as it is kept in the record."""
    return {
        "mark": mark.value,
        "mark_unit": mark.unit,
        "mark_meaning": mark.meaning,
        "mark_mm": mark.mounting_distance_deviation_mm,
    }


def mark_reading(mark: DepthMark, *, place: str = "") -> Reading:
    """Return a mark as a reading: the number, with unit and meaning as its note."""
    return Reading(_("depth mark"), mark.number, place=place, note=mark.convention)


def judge_identity(answers: Answers, context: Context) -> Result:
    """Check the pair and settle the mark."""
    answers.need("pinion_number", "ring_number")
    found = Result(readings=answers.readings())
    pinion, ring = answers.text("pinion_number"), answers.text("ring_number")
    found.values |= {"pinion_number": pinion, "ring_number": ring}
    bad: list[Text] = []
    if pinion.casefold().replace(" ", "") != ring.casefold().replace(" ", ""):
        bad.append(_("pinion {pinion} and ring gear {ring} are not a pair").format(pinion=pinion, ring=ring))
    if context.design is not None:
        bad += _against_design(answers, context.design, context.job.design_name)
    _settle_mark(answers, found)
    bad += _marks_of_both(answers)
    if context.design is not None:
        _timing(found, answers.choice("timing"), context.design)
    for name in ("condition", "drives_on", "tooth_form"):  # patterns are judged by these
        if answers.choice(name) not in ("", UNKNOWN.key):
            found.values[name] = answers.choice(name)
    _thickness(answers, found)
    etched = answers.length("etched_backlash")
    if etched is not None:
        found.values["etched_backlash_mm"] = etched
    if bad:
        found.verdict = "not ok"
        found.why = _("{problems}. Stop and answer: a pair that does not match is not used").format(
            problems=joined(*bad, between="; ")
        )
    else:
        found.settle(_("the numbers match"))
    return found


def _against_design(answers: Answers, design: GearSetDesign, name: str) -> list[Text]:
    """Return where the set differs from its design: tooth counts, hand, tooth depth."""
    bad: list[Text] = []
    for count, wanted, words in (
        (
            answers.count("pinion_teeth"),
            design.pinion_teeth,
            _("{count} pinion teeth, but design {design} has {wanted}"),
        ),
        (
            answers.count("ring_teeth"),
            design.ring_teeth,
            _("{count} ring gear teeth, but design {design} has {wanted}"),
        ),
    ):
        if count is not None and count != wanted:
            bad.append(words.format(count=count, design=name, wanted=wanted))
    hand, form = answers.choice("hand"), answers.choice("tooth_form")
    if hand not in ("", UNKNOWN.key, design.hand):
        bad.append(
            (
                _("left-hand pinion, but design {design} is right-hand")
                if hand == "left"
                else _("right-hand pinion, but design {design} is left-hand")
            ).format(design=name)
        )
    if form not in ("", UNKNOWN.key, design.tooth_form):
        bad.append(
            _("the teeth look {seen}, but design {name} is {wanted}").format(
                seen=_(form), name=name, wanted=_(design.tooth_form)
            )
        )
    return bad


def _timing(found: Result, timing: str, design: GearSetDesign) -> None:
    """Say whether timing marks are to be expected: where both tooth counts share a factor."""
    if not timing:
        return
    counts = f"{design.pinion_teeth}/{design.ring_teeth}"
    if math.gcd(design.pinion_teeth, design.ring_teeth) == 1:
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


def _settle_mark(answers: Answers, found: Result) -> None:
    """Keep the mark with its unit and meaning, or ask for what is still open."""
    text = answers.text("mark")
    if not text:
        found.notes.append(_("No depth mark: depth is measured or compared, and the pattern decides."))
        return
    unit, meaning = answers.choice("mark_unit"), answers.choice("mark_meaning")
    if not unit:
        raise answers.error(
            "mark_unit",
            _("'{text}' has no unit").format(text=text),
            _(
                "look in the set's data and choose the unit, the same mark is used in three; "
                "or choose 'not known yet'"
            ),
        )
    if not meaning:
        raise answers.error(
            "mark_meaning",
            _("'{text}' has two meanings").format(text=text),
            _(
                "look in the set's data and choose what plus means, both meanings are in use; "
                "or choose 'not known yet'"
            ),
        )
    found.values["mark_text"] = text
    if UNKNOWN.key in (unit, meaning):
        _open_mark(answers, found, text, unit)
        return
    mark = mark_of(answers)
    assert mark is not None  # a text was typed
    found.readings.append(mark_reading(mark))
    found.values |= mark_values(mark)
    by = mark.mounting_distance_deviation_mm
    if not mark.value:
        found.notes.append(_("Mark 0: the pinion sits at the design's mounting distance."))
    elif by > 0:
        found.notes.append(
            _("Against a mark of 0 this pinion wants to sit {by} farther out.").format(by=Length(by))
        )
    else:
        found.notes.append(
            _("Against a mark of 0 this pinion wants to sit {by} farther in.").format(by=Length(-by))
        )
    found.notes += next(c.questions for c in parse_mark(text) if c.unit == mark.unit)
    if mark.question is not None:
        found.questions.append(mark.question)


def _open_mark(answers: Answers, found: Result, text: str, unit: str) -> None:
    """Say how a mark may be read whose unit or meaning is still to be found."""
    candidates = in_field("mark", answers.label("mark"), lambda: parse_mark(text))
    found.readings.append(Reading(_("depth mark"), text, note=_("unit or meaning not known yet")))
    found.notes += [candidate.text() for candidate in candidates if candidate.likely]
    if unit == UNKNOWN.key:
        words = _(
            "The unit of the mark {text} is not known: find it in the set's data before a spacer is chosen."
        )
    else:
        found.values["mark_unit"] = unit
        words = _(
            "The meaning of the mark {text} is not known: find it in the set's data "
            "before a spacer is chosen."
        )
    found.questions.append(words.format(text=text))


def _marks_of_both(answers: Answers) -> list[Text]:
    """Hold the mark on the ring gear against the one on the pinion."""
    ring, pinion = answers.text("ring_mark"), answers.text("mark")
    if not ring:
        return []
    plain = [one.replace("−", "-").replace(" ", "").lstrip("+") for one in (ring, pinion)]
    if plain[0] == plain[1]:
        return []
    if not plain[1]:
        return [_("the ring gear is marked {mark}, the pinion is not").format(mark=ring)]
    return [_("the ring gear is marked {ring}, the pinion {pinion}").format(ring=ring, pinion=pinion)]


def _thickness(answers: Answers, found: Result) -> None:
    """Ask about a ring gear of another thickness than the one that came out."""
    now, before = answers.length("ring_thickness"), answers.length("ring_thickness_before")
    if now is None or before is None or abs(now - before) <= THICKNESS_DIFFERS_MM:
        return
    words = (
        _(
            "The ring gear is {by} thicker than the one that came out: is it the right gear for this case? "
            "With the wrong one no shim reaches the backlash."
        )
        if now > before
        else _(
            "The ring gear is {by} thinner than the one that came out: is it the right gear for this case? "
            "With the wrong one no shim reaches the backlash."
        )
    )
    found.questions.append(words.format(by=Length(abs(now - before))))


IDENTITY: Final = StepForm(
    "identity",
    n_("Read the numbers on pinion and ring gear. A pair that does not match cannot be set up."),
    (
        Field(
            "pinion_number",
            n_("Pair number on the pinion"),
            "text",
            missing=n_("read the pair number on the pinion's nose or shaft"),
            short=n_("pair number, pinion"),
        ),
        Field(
            "ring_number",
            n_("Pair number on the ring gear"),
            "text",
            missing=n_("read the pair number on the ring gear's face or rim"),
            short=n_("pair number, ring gear"),
        ),
        Field(
            "pinion_teeth",
            n_("Pinion teeth, counted"),
            "count",
            usual=(3, 200),
            short=n_("pinion teeth"),
        ),
        Field(
            "ring_teeth",
            n_("Ring gear teeth, counted"),
            "count",
            usual=(3, 200),
            short=n_("ring gear teeth"),
        ),
        Field(
            "hand",
            n_("Hand of the pinion"),
            "choice",
            choices=(Choice("left", n_("left")), Choice("right", n_("right")), UNKNOWN),
            short=n_("hand of the pinion"),
        ),
        Field(
            "mark",
            n_("Depth mark as stamped on the pinion"),
            "text",
            n_("With its sign, such as +2. Empty when there is none."),
            group=MARK,
            listed=False,
        ),
        Field(
            "ring_mark",
            n_("Depth mark on the ring gear"),
            "text",
            n_("Where it is marked there as well: both must say the same."),
            group=MARK,
            short=n_("depth mark on the ring gear"),
        ),
        Field(
            "mark_unit",
            n_("One unit of the mark is"),
            "choice",
            n_("In the set's own data. The same +2 is used in three units."),
            choices=(*MARK_UNIT_CHOICES, UNKNOWN),
            group=MARK,
            listed=False,
        ),
        Field(
            "mark_meaning",
            n_("Plus means"),
            "choice",
            n_("In the set's own data. Both meanings are in use and neither is guessed."),
            choices=(*MARK_MEANING_CHOICES, UNKNOWN),
            group=MARK,
            listed=False,
        ),
        Field(
            "timing",
            n_("Timing marks"),
            "choice",
            choices=(
                Choice("none", n_("none")),
                Choice("matched", n_("there, and matched")),
                Choice("there", n_("there")),
            ),
            group=MORE,
            short=n_("timing marks"),
        ),
        Field(
            "condition",
            n_("The set is"),
            "choice",
            n_("A used set is held against its own wear trace. With nothing chosen it counts as new."),
            choices=(Choice("new", n_("new")), Choice("used", n_("used"))),
            group=MORE,
            short=n_("the set is"),
        ),
        Field(
            "drives_on",
            n_("The flank that pulls going forward"),
            "choice",
            n_("Many front axles pull on the coast flank: it then decides. With nothing chosen it is drive."),
            choices=(
                Choice("drive", n_("drive, the ring gear's convex flank"), n_("drive flank")),
                Choice("coast", n_("coast, the ring gear's concave flank"), n_("coast flank")),
            ),
            group=MORE,
            short=n_("pulls going forward"),
        ),
        Field(
            "tooth_form",
            n_("Tooth depth from toe to heel"),
            "choice",
            n_("It decides which way a move carries the pattern along the tooth."),
            choices=(
                Choice("face-milled", n_("deeper at the heel (face-milled)"), n_("face-milled")),
                Choice("face-hobbed", n_("the same all along (face-hobbed)"), n_("face-hobbed")),
                UNKNOWN,
            ),
            group=MORE,
            short=n_("tooth depth"),
        ),
        Field(
            "ring_thickness",
            n_("Ring gear thickness"),
            "length",
            group=MORE,
            usual=(3.0, 200.0),
            short=n_("ring gear thickness"),
        ),
        Field(
            "ring_thickness_before",
            n_("Thickness of the ring gear that came out"),
            "length",
            n_("A thick or thin gear in the wrong case cannot be brought to its backlash with any shim."),
            group=MORE,
            usual=(3.0, 200.0),
            short=n_("thickness of the ring gear that came out"),
        ),
        Field(
            "etched_backlash",
            n_("Backlash etched on the set"),
            "length",
            n_("It wins over every table."),
            group=MORE,
            usual=(0.02, 1.5),
            short=n_("backlash etched on the set"),
        ),
        NOTE,
    ),
    n_("Check the pair"),
    rule=judge_identity,
)
