"""Read what was typed into the fields of a step: comma or point, units, several readings in one field.

`Answers` reads every field of a step by its declaration before the rule sees any of it. Every complaint names
the field, so that the page can show it there; the text typed is never changed.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, TypeVar

from axlewright.errors import AxlewrightError, InputError
from axlewright.language import Number, Shown, Text, _
from axlewright.steps.field import UNUSUAL, Field
from axlewright.steps.result import Reading
from axlewright.units import (
    LONGEST_LIST,
    LONGEST_NOTE,
    LONGEST_TEXT,
    Force,
    Length,
    Quantity,
    System,
    Temperature,
    Torque,
    as_typed,
    check_text,
    parse_force,
    parse_length,
    parse_number,
    parse_torque,
)

if TYPE_CHECKING:
    from axlewright.setup import PairKind

Value = TypeVar("Value")
Note = Text | Mapping[int, Text]
"""What is added to the reading of a field; for several readings also by their place in the field, from 0."""

REALLY: Final = "really"
"""Field that confirms that unusual values were meant."""

_YES: Final = ("1", "yes", "on", "true")
_NO: Final = ("0", "no", "off", "false")

TORQUE_BAND_NM: Final = (0.0, 100.0)
FORCE_BAND_N: Final = (0.0, 1000.0)
"""Drag torques and pulls on a cord beyond these are asked about (common practice, no source)."""

_TEMPERATURE: Final = re.compile(r"([+\-]? ?\d++(?:[.,]\d++)?) ?(?:° ?|deg ?)?([CcFf]?)")

_TOKEN: Final = re.compile(
    r"([+\-]? ?(?:\d++(?: \d++/\d++|/\d++|[.,]\d*+)?|[.,]\d++)) ?([a-zA-Zµ°\"·*]++(?:/[a-z]++)?)?"
)


class FieldError(InputError):
    """Something in one field of a step is wrong.

    Attributes
    ----------
    field : str
        Name of the field.
    confirmable : bool
        Whether the box `REALLY` lets the value through.
    """

    def __init__(
        self, field: str, label: Text, what: Text, fix: Text = "", *, confirmable: bool = False
    ) -> None:
        super().__init__(what, where=label, fix=fix)
        self.field = field
        self.label = label
        self.confirmable = confirmable

    @classmethod
    def of(cls, field: str, label: Text, error: AxlewrightError) -> FieldError:
        """Return the same complaint, tied to a field."""
        return cls(field, label, error.what, error.fix)


def in_field(name: str, label: Text, work: Callable[[], Value]) -> Value:
    """Do something; what goes wrong with it is said at the field."""
    try:
        return work()
    except FieldError:
        raise
    except AxlewrightError as error:
        raise FieldError.of(name, label, error) from error


@dataclass(frozen=True, slots=True)
class TypedReading:
    """One of several readings as typed: number, its own unit (empty for none), whether they touch."""

    number: str
    unit: str
    glued: bool = False


def typed_readings(text: str) -> tuple[TypedReading, ...]:
    """Tell several readings in one text apart, each with only the unit that stands at it.

    Raises
    ------
    InputError
        When something between the numbers is no reading.
    """
    clean = as_typed(re.sub(r",(?=\s|$)", " ", text).replace(";", " "), longest=LONGEST_LIST)
    found: list[TypedReading] = []
    position = 0
    for match in _TOKEN.finditer(clean):
        gap = clean[position : match.start()].strip()
        if gap:
            raise InputError(
                _("'{gap}' is no reading").format(gap=gap[:40]),
                fix=_("separate readings by spaces or new lines"),
            )
        number = match[1].replace(" ", "") if "/" not in match[1] else match[1]
        found.append(TypedReading(number, match[2] or "", bool(match[2]) and match.end(1) == match.start(2)))
        position = match.end()
    rest = clean[position:].strip()
    if rest:
        raise InputError(
            _("'{rest}' is no reading").format(rest=rest[:40]),
            fix=_("separate readings by spaces or new lines"),
        )
    return tuple(found)


def printed_pair(text: str) -> tuple[str, str] | None:
    """Part a value printed in both units, "17 lb-in (1.9 N·m)" or "8 lb-in = 0.9 N·m"; None for any other."""
    first, _opened, second = text[:-1].partition("(") if text.endswith(")") else text.partition("=")
    return (first.strip(), second.strip()) if first.strip() and second.strip() else None


def one_or_all(reading: TypedReading, count: int) -> InputError:
    """Return the question whether a unit counts for its own reading alone or for all."""
    return InputError(
        _("the {unit} after {number} may count for that one alone or for all {count}").format(
            unit=reading.unit, number=reading.number, count=count
        ),
        fix=_("type the unit at each"),
    )


def split_readings(text: str) -> tuple[tuple[str, str], ...]:
    """Split several readings into (number, unit) pairs.

    Readings are separated by spaces, line breaks, semicolons, or a comma followed by a space. A unit that
    stands once, at the end, counts for the readings without one.

    Parameters
    ----------
    text : str
        ``"4.3125 4.3120 4,3130"`` or ``"0.006 0.007 in"``.

    Raises
    ------
    InputError
        When something between the numbers is no reading, or when it cannot be told for which readings a unit
        is meant.
    """
    found = typed_readings(text)
    with_unit = [one for one in found if one.unit]
    if len({one.unit.lower() for one in with_unit}) == 1 and len(with_unit) < len(found):
        if not found[-1].unit:
            raise one_or_all(with_unit[-1], len(found))
        return tuple((one.number, found[-1].unit) for one in found)
    return tuple((one.number, one.unit) for one in found)


class Answers:
    """What was typed into the fields of a step, every one of them read.

    Parameters
    ----------
    fields : sequence of Field
        All fields of the step.
    typed : mapping of str to str
        Field name to text; missing fields count as empty.
    system : {"inch", "metric"}
        Unit system of numbers typed without a unit.
    kept : bool
        Whether this stands in a record already: then nothing is asked, refused or missing, and what cannot
        be read counts as empty.

    Raises
    ------
    InputError
        A field that is not of this step; a `FieldError` where a text is not of its field's kind, lies
        outside the usual band without being confirmed, or belongs to another way than the one chosen.
    """

    def __init__(
        self, fields: Sequence[Field], typed: Mapping[str, str], system: System, *, kept: bool = False
    ) -> None:
        self.fields: Mapping[str, Field] = {one.name: one for one in (*fields, UNUSUAL)}
        self.system: System = system
        self.kept = kept
        self.typed = {name: str(value).strip() for name, value in typed.items() if str(value).strip()}
        unknown = sorted(set(typed) - set(self.fields))
        if unknown and not kept:
            raise InputError(
                _("unknown field '{unknown}'").format(unknown=unknown[0]),
                fix=_("the fields are {labels}").format(labels=", ".join(self.fields)),
            )
        self._values: dict[str, Any] = {}
        chosen = {name: self.typed.get(name, "") or one.default for name, one in self.fields.items()}
        for name, one in self.fields.items():
            if name not in self.typed:
                continue
            if kept:
                with suppress(InputError):
                    self._values[name] = self._read(one)
                continue
            if not one.belongs(chosen):
                raise self.error(
                    name,
                    _("this does not belong to what was chosen"),
                    _("empty it, or choose the answer it belongs to"),
                )
            self._values[name] = self._read(one)

    def _read(self, one: Field) -> Any:
        """Return what was typed into a field, as its kind wants it."""
        text = self.typed[one.name]
        if one.kind == "other" and one.read is not None:
            return self._parsed(one, one.read, text, self.system)
        self._parsed(one, check_text, text, longest=LONGEST_TEXT if one.kind == "text" else LONGEST_NOTE)
        if one.kind in ("text", "long text"):
            return text
        if one.kind == "choice":
            return self._read_choice(one, text)
        if one.kind == "yes":
            return self._read_yes(one, text)
        if one.kind == "lengths":
            return self._read_lengths(one, text)
        if one.kind == "length":
            return self._read_length(one, self._printed(one, "length"))
        if one.kind == "torque":
            text = self._printed(one, "torque")
            value = self._parsed(one, parse_torque, text, default_unit=self._unit(one))
            band = _("a drag torque is 0 or more, and small")
            return self._usual(one, f"'{text}'", value, TORQUE_BAND_NM, band)
        if one.kind == "force":
            value = self._parsed(one, parse_force, text, default_unit=self._unit(one))
            band = _("a pull on a cord is 0 or more, and small")
            return self._usual(one, f"'{text}'", value, FORCE_BAND_N, band)
        if one.kind == "temperature":
            return self._read_temperature(one, text)
        number = self._parsed(one, parse_number, text)
        return self._whole(one, number) if one.kind == "count" else number

    def _read_choice(self, one: Field, text: str) -> str:
        keys = [choice.key for choice in one.choices]
        if text not in keys:
            raise self.error(
                one.name,
                _("unknown choice '{value}'").format(value=text),
                _("use one of {allowed}").format(allowed=", ".join(keys)),
            )
        return text

    def _read_yes(self, one: Field, text: str) -> bool:
        if text.lower() not in (*_YES, *_NO):
            raise self.error(
                one.name,
                _("'{text}' is neither yes nor no").format(text=text),
                _("tick it or leave it; typed: yes or no"),
            )
        return text.lower() in _YES

    def _read_length(self, one: Field, text: str, shown: Text = "") -> float:
        value = self._parsed(one, parse_length, text, default_unit=self._unit(one))
        low, high = usual = one.usual or (-math.inf, math.inf)
        if self.system == "inch":
            low, high = low / 25.4, high / 25.4
            band = _("usual are {low} to {high} in")
        else:
            band = _("usual are {low} to {high} mm")
        band = band.format(low=f"{Shown(low):.4g}", high=f"{Shown(high):.4g}")
        return self._usual(one, shown or f"'{text}'", value, usual, band)

    def _read_lengths(self, one: Field, text: str) -> tuple[float, ...]:
        out = []
        parts = self._parsed(one, split_readings, text)
        for (number, unit), reading in zip(parts, typed_readings(text), strict=True):
            shown: Text = ""
            if unit and not reading.unit:
                shown = _("'{number}', counted in {unit} as at the end,").format(number=number, unit=unit)
            out.append(self._read_length(one, f"{number} {unit}".strip(), shown))
        return tuple(out)

    def _read_temperature(self, one: Field, text: str) -> float:
        found = _TEMPERATURE.fullmatch(self._parsed(one, as_typed, text))
        if found is None:
            raise self.error(
                one.name,
                _("'{text}' is no temperature").format(text=text),
                _("type for example 20 C or 68 F"),
            )
        value = float(found[1].replace(",", ".").replace(" ", ""))
        scale = found[2].upper() or ("F" if self.system == "inch" else "C")
        return (value - 32.0) / 1.8 if scale == "F" else value

    def _whole(self, one: Field, value: float) -> int:
        low, high = one.usual or (0, 10_000)
        if value != int(value) or not low <= value <= high:
            raise self.error(
                one.name,
                _("'{text}' is not a count").format(text=self.typed[one.name]),
                _("type a whole number from {low} to {high}").format(low=int(low), high=int(high)),
            )
        return int(value)

    def _printed(self, one: Field, kind: PairKind) -> str:
        """Return a value's text; of one printed in two units the first, when both say the same."""
        text = self.typed[one.name]
        pair = printed_pair(text)
        if pair is None:
            return text
        from axlewright.setup import printed_pair_question

        question = self._parsed(one, printed_pair_question, *pair, kind)
        if question is not None and not self._really:
            raise self.error(
                one.name,
                question,
                _("type the right one, or tick 'the numbers are really so'"),
                confirmable=True,
            )
        return pair[0]

    def _usual(self, one: Field, shown: Text, value: float, usual: tuple[float, float], band: Text) -> float:
        """Return a value; one outside the usual band only when that was confirmed."""
        low, high = usual
        if not low <= value <= high and not self._really:
            raise self.error(
                one.name,
                _("{shown} is unusual here, {band}").format(shown=shown, band=band),
                _("check number and unit, or tick 'the numbers are really so'"),
                confirmable=True,
            )
        return value

    def _parsed(self, one: Field, parse: Callable[..., Value], *what: Any, **more: Any) -> Value:
        """Return what a text says; what is wrong with it is said at the field."""
        return in_field(one.name, _(one.label), lambda: parse(*what, **more))

    def _unit(self, one: Field) -> str:
        """Return the unit of a bare number, as the parsers know it."""
        return one.unit(self.system).lower()

    @property
    def _really(self) -> bool:
        """Whether unusual values were confirmed."""
        return self.typed.get(REALLY, "").lower() in _YES

    def _value(self, name: str, *kinds: str) -> Any:
        one = self.fields[name]
        if one.kind not in kinds:
            raise ValueError(f"field '{name}' is of kind {one.kind}, not {' or '.join(kinds)}")
        return self._values.get(name)

    def error(self, name: str, what: Text, fix: Text = "", *, confirmable: bool = False) -> FieldError:
        """Return a complaint about a field, ready to raise."""
        return FieldError(name, self.label(name), what, fix, confirmable=confirmable)

    def label(self, name: str) -> Text:
        """Return what a field is called on the page."""
        return _(self.fields[name].label)

    def short(self, name: str) -> Text:
        """Return what a field is called among the readings."""
        return _(self.fields[name].short or self.fields[name].label)

    def given(self, name: str) -> bool:
        """Whether anything was typed into a field."""
        return self.fields[name].name in self._values

    def need(self, *names: str) -> None:
        """Refuse empty fields, in this order, each in the words of its declaration."""
        for name in names:
            if not self.given(name) and not self.kept:
                one = self.fields[name]
                what = _("nothing chosen") if one.kind == "choice" else _("nothing typed")
                raise self.error(name, what, _(one.missing))

    def text(self, name: str) -> str:
        """Return a text, or what was typed into a field of any kind; empty where nothing was."""
        return self.typed.get(self.fields[name].name, "")

    def ticked(self, name: str) -> bool:
        """Whether a box is ticked."""
        return bool(self._value(name, "yes"))

    def choice(self, name: str) -> str:
        """Return the answer chosen, else the default; empty where neither is."""
        return str(self._value(name, "choice") or self.fields[name].default)

    def length(self, name: str) -> float | None:
        """Return a length [mm], or None."""
        value: float | None = self._value(name, "length")
        return value

    def lengths(self, name: str) -> tuple[float, ...]:
        """Return several lengths [mm] in the order typed."""
        return tuple(self._value(name, "lengths") or ())

    def last_digit_mm(self, name: str) -> float:
        """Return what the finest last digit of several lengths is worth [mm]; 0 where there is none."""
        if not self._value(name, "lengths"):
            return 0.0
        finest = 0.0
        for number, unit in split_readings(self.text(name)):
            whole, point, part = number.replace(",", ".").partition(".")
            if "/" in whole:
                continue
            worth = parse_length(
                f"{10.0 ** -len(part) if point else 1.0:.9f}",
                default_unit=unit or self._unit(self.fields[name]),
            )
            finest = worth if finest == 0.0 else min(finest, worth)
        return finest

    def torque(self, name: str) -> float | None:
        """Return a torque [N·m], or None."""
        value: float | None = self._value(name, "torque")
        return value

    def force(self, name: str) -> float | None:
        """Return a force [N], or None."""
        value: float | None = self._value(name, "force")
        return value

    def temperature(self, name: str) -> float | None:
        """Return a temperature [°C], or None."""
        value: float | None = self._value(name, "temperature")
        return value

    def number(self, name: str) -> float | None:
        """Return a plain number, or None."""
        value: float | None = self._value(name, "number")
        return value

    def count(self, name: str) -> int | None:
        """Return a whole number, or None."""
        value: int | None = self._value(name, "count")
        return value

    def other(self, name: str) -> Any:
        """Return what a field's own reader made of it, or None."""
        return self._value(name, "other")

    def reading(self, name: str, *, note: Note = "") -> list[Reading]:
        """Return what was answered in one field as readings, as record and sheet show it."""
        one = self.fields[name]
        if not self.given(name) or (one.kind == "yes" and not self.ticked(name)):
            return []
        label = self.short(name)
        value = self._values[name]
        if one.kind == "lengths":
            notes = note if isinstance(note, Mapping) else dict.fromkeys(range(len(value)), note)
            return [
                Reading(
                    self._place(one, index, len(value)),
                    Length(length, signed=one.signed),
                    place=one.place,
                    note=notes.get(index, ""),
                )
                for index, length in enumerate(value)
            ]
        shown: Text
        if one.kind == "choice":
            choice = next(c for c in one.choices if c.key == value)
            shown = _(choice.short or choice.label)
        elif one.kind == "yes":
            shown = _("yes")
        elif one.kind in _KINDS:
            shown = _KINDS[one.kind](value, signed=one.signed)
        elif one.kind in ("number", "count"):
            shown = Number(float(value), "g")
        else:
            shown = self.text(name)
        return [Reading(label, shown, place=one.place, note="" if isinstance(note, Mapping) else note)]

    def _place(self, one: Field, index: int, count: int) -> Text:
        """Return the name of one of several readings: by its angle round the gear, else by its number."""
        label = self.short(one.name)
        if one.around:
            return _("{what} at {angle}°").format(what=label, angle=Number(360.0 * index / count, ".0f"))
        return _("{what}, reading {index}").format(what=label, index=index + 1) if count > 1 else label

    def readings(self, notes: Mapping[str, Note] | None = None) -> list[Reading]:
        """Return everything that was answered, in the order of the fields.

        Parameters
        ----------
        notes : mapping of str to Note, optional
            By field: what to add to its line.
        """
        out: list[Reading] = []
        for name, one in self.fields.items():
            if one.listed:
                out += self.reading(name, note=(notes or {}).get(name, ""))
        return out


def answered(fields: Sequence[Field], typed: Mapping[str, str], system: System) -> Answers:
    """Read the declared fields of a form that is no step; what else a page sends along is not looked at."""
    return Answers(fields, {one.name: typed.get(one.name, "") for one in fields}, system)


_KINDS: Final[Mapping[str, Callable[..., Quantity]]] = {
    "length": Length,
    "torque": Torque,
    "force": Force,
    "temperature": Temperature,
}
