"""Depth marks on a gear set: how they are read, what they mean for the mounting distance and for the shim.

The same "+2" is used in the trade with both meanings and in three units, and a thicker shim moves the pinion
in or out depending on where it sits. None of the three is ever guessed.

With ``L`` = −1 for a spacer under the head or a shim behind the cup and +1 for shims at the cage flange,
``K`` = +1 if "+" means a larger mounting distance and −1 if it means a thicker spacer under the head, and
``u`` the unit::

    change of mounting distance = K · u · mark
    change of shim              = L · K · u · (new mark − old mark)

Derived from the geometry of the mounting and checked against printed examples of both conventions in
public-domain government manuals (see ``tests/published/test_setup_spacer_examples.py``).

A mark on a gear carries no unit and no meaning. The readings found in its text are for a person to confirm;
which one holds is in the set's own data. Ranges and habits of marking come from service literature: integers
are thousandths of an inch and decimals millimetres on some sets (TM 10-3930-660-34; TM 5-3810-306-34),
thousandths of a centimetre on others (TM 9-2320-366-34-4), hundredths or thousandths of a millimetre
elsewhere (civil service literature, maker withheld).
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import Final, Literal, get_args

from axlewright.errors import InputError
from axlewright.language import Number, Text, _, joined, n_
from axlewright.units import MM_PER_INCH, Length, as_typed, parse_length

MarkUnit = Literal["0.001 in", "0.01 mm", "0.001 mm"]
MarkMeaning = Literal["plus_means_larger_mounting_distance", "plus_means_thicker_spacer"]
ShimPlace = Literal["under_head", "behind_cup", "cage_flange"]

MARK_UNITS: Final[tuple[MarkUnit, ...]] = get_args(MarkUnit)
MARK_MEANINGS: Final[tuple[MarkMeaning, ...]] = get_args(MarkMeaning)
SHIM_PLACES: Final[tuple[ShimPlace, ...]] = get_args(ShimPlace)

UNIT_WORDS: Final[dict[MarkUnit, str]] = {
    "0.001 in": n_("thousandths of an inch (0.001 in)"),
    "0.01 mm": n_("hundredths of a millimetre (0.01 mm)"),
    "0.001 mm": n_("thousandths of a millimetre (0.001 mm)"),
}
MEANING_WORDS: Final[dict[MarkMeaning, str]] = {
    "plus_means_larger_mounting_distance": n_("plus: pinion sits farther out, thinner spacer under the head"),
    "plus_means_thicker_spacer": n_("plus: thicker spacer under the head, pinion farther in"),
}
PLACE_WORDS: Final[dict[ShimPlace, str]] = {
    "under_head": n_("spacer under the pinion head"),
    "behind_cup": n_("shim behind the head bearing's cup"),
    "cage_flange": n_("shims between pinion cage and carrier"),
}

UNIT_MM: Final[dict[MarkUnit, float]] = {"0.001 in": MM_PER_INCH / 1000.0, "0.01 mm": 0.01, "0.001 mm": 0.001}
"""Size of one unit of the mark [mm]."""

LARGEST_MARK_SEEN: Final[dict[MarkUnit, float]] = {"0.001 in": 10.0, "0.01 mm": 22.0, "0.001 mm": 20.0}
"""Largest marks found in service literature, in their own unit (government manuals TM 9-2320-280-34 and
TM 9-2320-366-34-4; civil service literature, maker withheld). A larger one is asked about, not refused."""


def unit_text(unit: MarkUnit) -> Text:
    """Return the unit of a mark, drawn with the decimal sign of the reader."""
    size, _space, name = unit.partition(" ")
    return joined(Number(float(size)), name)


def place_sign(place: ShimPlace | Literal[""]) -> int:
    """Return ``L``: +1 if a thicker shim moves the pinion out, −1 if it moves the pinion in.

    Raises
    ------
    InputError
        If the place is missing or unknown; it is never guessed.
    """
    if place not in SHIM_PLACES:
        what = (
            _("unknown place '{place}'").format(place=place)
            if place
            else _("where the depth shim sits is not known")
        )
        raise InputError(
            what,
            where=_("place of the shim"),
            fix=_(
                "say under_head (spacer between pinion head and bearing), behind_cup (shim "
                "behind the head bearing's cup) or cage_flange (shims between pinion cage "
                "and carrier)"
            ),
        )
    return 1 if place == "cage_flange" else -1


@dataclass(frozen=True, slots=True)
class DepthMark:
    """A depth mark with its unit and its meaning.

    Parameters
    ----------
    value : float
        The signed number on the gear, in `unit`.
    unit : {"0.001 in", "0.01 mm", "0.001 mm"}
        What one counts.
    meaning : {"plus_means_larger_mounting_distance", "plus_means_thicker_spacer"}
        The convention. "Thicker spacer" always speaks of a spacer under the head, that is of a smaller
        mounting distance, whatever the place of the shim in this axle.
    step : float
        Step to which marks are rounded, in `unit`. The mark is taken as uniform within ± half a step.

    Raises
    ------
    InputError
        If unit or meaning is missing or unknown, or the value not finite.
    """

    value: float
    unit: MarkUnit | Literal[""] = ""
    meaning: MarkMeaning | Literal[""] = ""
    step: float = 1.0

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise InputError(
                _("{value} is not a mark").format(value=self.value),
                where=_("depth mark"),
                fix=_("type a number such as +2"),
            )
        if self.unit not in MARK_UNITS:
            what = (
                _("unknown unit '{unit}'").format(unit=self.unit)
                if self.unit
                else _("the unit of the mark is not known")
            )
            raise InputError(
                what,
                where=_("depth mark"),
                fix=_("say which one the set's data uses: {mark_units}").format(
                    mark_units=", ".join(MARK_UNITS)
                ),
            )
        if self.meaning not in MARK_MEANINGS:
            what = (
                _("unknown meaning '{meaning}'").format(meaning=self.meaning)
                if self.meaning
                else _("what a plus mark means is not known")
            )
            raise InputError(
                what,
                where=_("depth mark"),
                fix=_(
                    "say plus_means_larger_mounting_distance (pinion sits farther out, thinner "
                    "spacer under the head) or plus_means_thicker_spacer (pinion sits farther "
                    "in, thicker spacer under the head)"
                ),
            )
        if not self.step >= 0.0:
            raise InputError(
                _("step {step}").format(step=self.step),
                where=_("depth mark"),
                fix=_("give the rounding step, usually 1"),
            )

    @property
    def _checked_unit(self) -> MarkUnit:
        assert self.unit != ""  # refused when it was made
        return self.unit

    @property
    def unit_mm(self) -> float:
        """Size of one unit [mm]."""
        return UNIT_MM[self._checked_unit]

    @property
    def convention_sign(self) -> int:
        """``K``: +1 if plus means a larger mounting distance, −1 if it means a thicker spacer."""
        return 1 if self.meaning == "plus_means_larger_mounting_distance" else -1

    @property
    def mounting_distance_deviation_mm(self) -> float:
        """How far out of nominal the pinion wants to sit [mm], positive out."""
        return self.convention_sign * self.unit_mm * self.value

    @property
    def standard_uncertainty_mm(self) -> float:
        """Standard uncertainty from rounding the mark [mm]: step/√12 (uniform within ± half a step)."""
        return self.step * self.unit_mm / math.sqrt(12.0)

    def shim_change_mm(self, place: ShimPlace | Literal[""]) -> float:
        """Return what the mark adds to the zero-mark shim at `place` [mm]."""
        return place_sign(place) * self.mounting_distance_deviation_mm

    def other_convention(self) -> DepthMark:
        """Return the same number read with the opposite meaning."""
        index = 1 - MARK_MEANINGS.index(self.meaning)
        return replace(self, meaning=MARK_MEANINGS[index])

    def deviation(self, label: Text = "") -> Length:
        """Return the mounting distance deviation as a length with its rounding uncertainty."""
        return Length(
            self.mounting_distance_deviation_mm,
            self.standard_uncertainty_mm,
            label=label or _("depth mark"),
            source=_("mark {mark}").format(mark=self.text()),
        )

    @property
    def number(self) -> Number:
        """The number alone, with its sign."""
        return Number(self.value, "+g")

    @property
    def convention(self) -> Text:
        """Unit and meaning of the number, in words."""
        words = (
            _("in units of {unit}, plus means a larger mounting distance")
            if self.convention_sign > 0
            else _("in units of {unit}, plus means a thicker spacer under the head")
        )
        return words.format(unit=unit_text(self._checked_unit))

    def text(self) -> Text:
        """Return the mark in words, unit and meaning included."""
        return joined(self.number, self.convention)

    def effect_text(self, place: ShimPlace | Literal[""]) -> Text:
        """Return what the mark does to the shim at `place`, as a sentence for the person to confirm."""
        change = self.shim_change_mm(place)
        assert place != ""  # place_sign refuses it
        if change == 0.0:
            sentence = _("{mark}: {place} stays as for a zero mark.")
        elif self.mounting_distance_deviation_mm > 0:
            sentence = (
                _("{mark}: {place} {by} thicker than for a zero mark, pinion farther out.")
                if change > 0
                else _("{mark}: {place} {by} thinner than for a zero mark, pinion farther out.")
            )
        else:
            sentence = (
                _("{mark}: {place} {by} thicker than for a zero mark, pinion farther in.")
                if change > 0
                else _("{mark}: {place} {by} thinner than for a zero mark, pinion farther in.")
            )
        return sentence.format(mark=self.text(), place=_(PLACE_WORDS[place]), by=Length(abs(change)))

    @classmethod
    def of_deviation(
        cls, mounting_distance_deviation_mm: float, unit: MarkUnit, meaning: MarkMeaning
    ) -> DepthMark:
        """Return the mark for a mounting distance found on a roll tester, rounded to a whole unit.

        Parameters
        ----------
        mounting_distance_deviation_mm : float
            Best mounting distance minus nominal [mm], positive out. Keep it unrounded in the record.
        unit, meaning
            How the shop marks its sets.
        """
        exact = cls(0.0, unit, meaning)
        value = mounting_distance_deviation_mm / (exact.convention_sign * exact.unit_mm)
        if not math.isfinite(value):
            raise InputError(
                joined(Number(mounting_distance_deviation_mm), "mm"),
                where=_("mounting distance"),
                fix=_("give a finite length"),
            )
        # Halves away from zero, so that the mark does not depend on the convention; + 0.0 clears a minus
        # zero.
        return replace(exact, value=math.copysign(math.floor(abs(value) + 0.5), value) + 0.0)

    @property
    def question(self) -> Text | None:
        """A question when the mark is larger than any seen in service literature, else nothing."""
        largest = LARGEST_MARK_SEEN[self._checked_unit]
        if abs(self.value) <= largest:
            return None
        return _(
            "A mark of {number} in units of {unit} is larger than usual (±{largest:g}). Is "
            "it a pair or part number, or in another unit?"
        ).format(number=self.number, unit=unit_text(self._checked_unit), largest=largest)


_NUMBER: Final = r"[+\-]? ?(?:\d++(?:\.\d*+)?|\.\d++)"
_DUAL: Final = re.compile(rf"m ?({_NUMBER}) ?\( ?({_NUMBER}) ?\)", re.IGNORECASE)
_SINGLE: Final = re.compile(rf"(?P<letters>[a-z]{{0,3}}) ?(?P<number>{_NUMBER})", re.IGNORECASE)
_WITH_UNIT: Final = re.compile(rf"[a-z]{{0,3}} ?({_NUMBER} ?[a-zµ\"]++)", re.IGNORECASE)
_INCHES: Final = ("in", "inch", "inches", "thou", "mil", "thousandth", "thousandths", '"')
_EXAMPLE: Final = n_("type what is stamped, for example +2, -3, +.03 or m+8 (+3)")

LEAST_MOUNTING_DISTANCE_MM: Final = 25.0
"""No axle's pinion sits nearer to the ring gear's axis; a larger number is a length, not a deviation."""


@dataclass(frozen=True, slots=True)
class MarkCandidate:
    """One way to read a typed mark.

    Parameters
    ----------
    value : float
        The signed number in `unit`.
    unit : {"0.001 in", "0.01 mm", "0.001 mm"}
        What one counts in this reading.
    likely : bool
        Whether such a mark is within the range seen in service literature.
    reason : Text
        Why this reading is offered.
    questions : tuple of Text
        What to look at before confirming.
    """

    value: float
    unit: MarkUnit
    likely: bool
    reason: Text
    questions: tuple[Text, ...] = ()

    @property
    def size_mm(self) -> float:
        """Signed size of the mark [mm], before any meaning is given to the sign."""
        return self.value * UNIT_MM[self.unit]

    def confirm(self, meaning: MarkMeaning) -> DepthMark:
        """Return the mark once a person has confirmed this reading and its meaning."""
        return DepthMark(self.value, self.unit, meaning)

    def text(self) -> Text:
        """Return the reading: its size and why it is offered."""
        return joined(Length(self.size_mm, signed=True), self.reason, between=": ")


def _candidate(value: float, unit: MarkUnit, reason: Text, questions: tuple[Text, ...] = ()) -> MarkCandidate:
    value = round(value, 6) + 0.0
    return MarkCandidate(value, unit, abs(value) <= LARGEST_MARK_SEEN[unit], reason, questions)


def _number(text: str) -> float:
    return float(text.replace(" ", ""))


def _of_explicit_length(text: str) -> tuple[MarkCandidate, ...]:
    mm = parse_length(text.replace(" ", ""), where=_("depth mark"))
    inch = text.lower().endswith(_INCHES)
    unit: MarkUnit = "0.001 in" if inch else ("0.01 mm" if abs(mm) >= 0.005 else "0.001 mm")
    found = _candidate(mm / UNIT_MM[unit], unit, _("unit typed with it"))
    if abs(mm) >= LEAST_MOUNTING_DISTANCE_MM:
        raise _outright(text)
    return (found,)


def _outright(text: str) -> InputError:
    return InputError(
        _("'{text}' is too large for a deviation and looks like an outright mounting distance").format(
            text=text
        ),
        where=_("depth mark"),
        fix=_("enter it as this set's mounting distance, with its unit"),
    )


def _of_dual(metric: float, inch: float) -> tuple[MarkCandidate, ...]:
    difference_mm = abs(metric * 0.01 - inch * UNIT_MM["0.001 in"])
    # Each number is rounded to its own unit: half a thousandth plus half a hundredth may part them.
    if difference_mm <= 0.5 * UNIT_MM["0.001 in"] + 0.5 * 0.01 + 1e-9:
        return (
            _candidate(
                metric, "0.01 mm", _("metric number of a mark stamped in both units, both numbers agree")
            ),
            _candidate(
                inch, "0.001 in", _("inch number of a mark stamped in both units, both numbers agree")
            ),
        )
    asked = (_("The two numbers do not say the same. Read the stamp again."),)
    return (
        _candidate(
            metric,
            "0.01 mm",
            _("metric number of a mark stamped in both units, the two numbers disagree"),
            asked,
        ),
        _candidate(
            inch,
            "0.001 in",
            _("inch number of a mark stamped in both units, the two numbers disagree"),
            asked,
        ),
    )


def parse_mark(text: str) -> tuple[MarkCandidate, ...]:
    """Return the ways in which a typed mark can be read, the likeliest first.

    Parameters
    ----------
    text : str
        What is stamped: ``"+2"``, ``"−3"``, ``"+.03"``, ``"PC +4"``, ``"m+8 (+3)"``, or with a unit,
        ``"-0.005 cm"``. A comma is a decimal sign.

    Returns
    -------
    tuple of MarkCandidate
        At least one. Neither unit nor meaning is settled by this; `MarkCandidate.confirm` needs a person.

    Raises
    ------
    InputError
        If the text is no mark, is an outright mounting distance, or is too large in every unit.
    """
    clean = as_typed(text, where=_("depth mark")).replace("–", "-").replace(",", ".")
    dual = _DUAL.fullmatch(clean)
    if dual is not None:
        return _of_dual(_number(dual[1]), _number(dual[2]))
    single = _SINGLE.fullmatch(clean)
    if single is None:
        with_unit = _WITH_UNIT.fullmatch(clean)
        if with_unit is not None:
            return _of_explicit_length(with_unit[1])
        raise InputError(
            _("'{text}' is not a depth mark").format(text=text), where=_("depth mark"), fix=_(_EXAMPLE)
        )
    number = single["number"].replace(" ", "")
    value = float(number)
    questions: list[Text] = []
    if value != 0.0 and number[0] not in "+-":
        questions.append(_("No sign on it: it may be a pair or part number. Look for a signed number first."))
    if value == 0.0:
        questions.append(
            _("A zero from the making of the gear can look like a depth mark of 0. Is it the depth mark?")
        )
    asked = tuple(questions)
    found: list[MarkCandidate]
    if "." in number:
        if abs(value) >= 1.0:
            raise _outright(text)
        if abs(value) >= 0.005:
            in_mm = _candidate(value / 0.01, "0.01 mm", _("decimal read as millimetres"), asked)
        else:
            in_mm = _candidate(value / 0.001, "0.001 mm", _("decimal read as millimetres"), asked)
        found = [in_mm, _candidate(value / 0.001, "0.001 in", _("decimal read as inches"), asked)]
    else:
        units: tuple[MarkUnit, ...] = (
            ("0.01 mm", "0.001 mm") if single["letters"].lower() == "m" else MARK_UNITS
        )
        found = [
            _candidate(value, unit, _("read as {unit}").format(unit=_(UNIT_WORDS[unit])), asked)
            for unit in units
        ]
    if not any(c.likely for c in found):
        raise InputError(
            _("'{text}' is larger than any depth mark in any unit").format(text=text),
            where=_("depth mark"),
            fix=_("look for another number: pair, part and forging numbers look alike"),
        )
    return tuple(sorted(found, key=lambda c: not c.likely))
