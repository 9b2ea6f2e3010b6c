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


class Typed:
    """The fields of one step as typed.

    Parameters
    ----------
    fields : mapping of str to str
        Field name to text; missing fields count as empty.
    labels : mapping of str to str
        Field name to the label on the page, used in messages.
    system : {"inch", "metric"}
        Unit system of numbers typed without a unit.
    """

    def __init__(self, fields: Mapping[str, str], labels: Mapping[str, Text], system: System) -> None:
        self.fields = {name: str(value) for name, value in fields.items()}
        self.labels = labels
        self.system: System = system

    def text(self, name: str, *, longest: int = LONGEST_NOTE) -> str:
        """Return the text of a field without outer spaces; empty when nothing was typed."""
        text = self.fields.get(name, "").strip()
        in_field(name, self.labels.get(name, name), lambda: check_text(text, longest=longest))
        return text

    def given(self, name: str) -> bool:
        """Whether anything was typed."""
        return bool(self.text(name))

    def ticked(self, name: str) -> bool:
        """Whether a box is ticked."""
        return self.text(name).lower() in ("1", "yes", "on", "true")

    def yes(self, name: str) -> bool:
        """Return whether a box is ticked; anything but yes and no is refused."""
        text = self.text(name).lower()
        if text not in ("1", "yes", "on", "true", "0", "no", "off", "false"):
            raise self.error(
                name,
                _("'{text}' is neither yes nor no").format(text=self.text(name)),
                _("tick it or leave it; typed: yes or no"),
            )
        return text in ("1", "yes", "on", "true")

    def error(self, name: str, what: Text, fix: Text = "", *, confirmable: bool = False) -> FieldError:
        """Return a complaint about a field, ready to raise."""
        return FieldError(name, self.labels.get(name, name), what, fix, confirmable=confirmable)

    def required(self, name: str, fix: Text) -> str:
        """Return the text of a field that has to be filled in; with an empty `fix` it may be empty."""
        text = self.text(name)
        if not text and fix:
            raise self.error(name, _("nothing typed"), fix)
        return text

    def choice(self, name: str, allowed: Sequence[str], *, required: Text = "") -> str:
        """Return the chosen key.

        Parameters
        ----------
        required : str
            What to do when nothing is chosen; empty allows that and returns an empty text.
        """
        value = self.text(name)
        if not value:
            if required:
                raise self.error(name, _("nothing chosen"), required)
            return ""
        if value not in allowed:
            raise self.error(
                name,
                _("unknown choice '{value}'").format(value=value),
                _("use one of {allowed}").format(allowed=", ".join(allowed)),
            )
        return value

    def _usual(self, name: str, shown: Text, value: float, low: float, high: float, band: Text) -> float:
        if not (low <= value <= high) and not self.ticked(REALLY):
            raise self.error(
                name,
                _("{shown} is unusual here, {band}").format(shown=shown, band=band),
                _("check number and unit, or tick 'the numbers are really so'"),
                confirmable=True,
            )
        return value

    def _band(self, low: float, high: float) -> Text:
        if self.system == "inch":
            return _("usual are {low} to {high} in").format(
                low=f"{Shown(low / 25.4):.4g}", high=f"{Shown(high / 25.4):.4g}"
            )
        return _("usual are {low} to {high} mm").format(low=f"{Shown(low):.4g}", high=f"{Shown(high):.4g}")

    def _read(self, name: str, parse: Callable[..., Value], text: str, **more: str) -> Value:
        """Return a value read from a text; what is wrong with it is said at the field."""
        return in_field(name, self.labels.get(name, name), lambda: parse(text, **more))

    @property
    def length_unit(self) -> str:
        """Unit of a bare length."""
        return "in" if self.system == "inch" else "mm"

    @property
    def torque_unit(self) -> str:
        """Unit of a bare torque."""
        return "lb-in" if self.system == "inch" else "nm"

    def length(
        self, name: str, *, low: float = -math.inf, high: float = math.inf, required: Text = ""
    ) -> float | None:
        """Return a length [mm], or None when nothing was typed and nothing is required.

        Parameters
        ----------
        low, high : float
            Usual band [mm]; outside it the value is asked about.
        required : str
            What to type; empty allows an empty field.
        """
        if not self.required(name, required):
            return None
        text = self._printed(name, "length")
        value = self._read(name, parse_length, text, default_unit=self.length_unit)
        return self._usual(name, f"'{text}'", value, low, high, self._band(low, high))

    def lengths(
        self, name: str, *, low: float = -math.inf, high: float = math.inf, required: Text = ""
    ) -> tuple[float, ...]:
        """Return several lengths [mm] typed into one field; see `length`."""
        text = self.required(name, required)
        if not text:
            return ()
        try:
            parts = split_readings(text)
        except AxlewrightError as error:
            raise FieldError.of(name, self.labels.get(name, name), error) from error
        out = []
        for (number, unit), reading in zip(parts, typed_readings(text), strict=True):
            one = f"{number} {unit}".strip()
            value = self._read(name, parse_length, one, default_unit=self.length_unit)
            shown: Text = f"'{one}'"
            if unit and not reading.unit:
                shown = _("'{number}', counted in {unit} as at the end,").format(number=number, unit=unit)
            out.append(self._usual(name, shown, value, low, high, self._band(low, high)))
        return tuple(out)

    def last_digit_mm(self, name: str) -> float:
        """Return what the finest last digit of several lengths is worth [mm]; 0 where there is none."""
        finest = 0.0
        for number, unit in split_readings(self.text(name)):
            whole, point, part = number.replace(",", ".").partition(".")
            if "/" in whole:
                continue
            worth = parse_length(
                f"{10.0 ** -len(part) if point else 1.0:.9f}", default_unit=unit or self.length_unit
            )
            finest = worth if finest == 0.0 else min(finest, worth)
        return finest

    def torque(self, name: str, *, required: Text = "") -> float | None:
        """Return a torque [N·m], or None; see `length`."""
        if not self.required(name, required):
            return None
        text = self._printed(name, "torque")
        value = self._read(name, parse_torque, text, default_unit=self.torque_unit)
        return self._usual(
            name, f"'{text}'", value, *TORQUE_BAND_NM, _("a drag torque is 0 or more, and small")
        )

    def force(self, name: str, *, required: Text = "") -> float | None:
        """Return a force [N], or None; see `length`."""
        text = self.required(name, required)
        if not text:
            return None
        unit = "lbf" if self.system == "inch" else "n"
        value = self._read(name, parse_force, text, default_unit=unit)
        return self._usual(
            name, f"'{text}'", value, *FORCE_BAND_N, _("a pull on a cord is 0 or more, and small")
        )

    def _printed(self, name: str, kind: PairKind) -> str:
        """Return a value's text; of one printed in two units the first, when both say the same."""
        text = self.text(name)
        pair = printed_pair(text)
        if pair is None:
            return text
        from axlewright.setup import printed_pair_question

        first, second = pair
        try:
            question = printed_pair_question(first, second, kind)
        except AxlewrightError as error:
            raise FieldError.of(name, self.labels.get(name, name), error) from error
        if question is not None and not self.ticked(REALLY):
            raise self.error(
                name,
                question,
                _("type the right one, or tick 'the numbers are really so'"),
                confirmable=True,
            )
        return first

    def temperature(self, name: str) -> float | None:
        """Return a temperature [°C], or None; a bare number is °F for inches and °C for millimetres."""
        text = self.text(name)
        if not text:
            return None
        found = _TEMPERATURE.fullmatch(self._read(name, as_typed, text))
        if found is None:
            raise self.error(
                name, _("'{text}' is no temperature").format(text=text), _("type for example 20 C or 68 F")
            )
        value = float(found[1].replace(",", ".").replace(" ", ""))
        scale = found[2].upper() or ("F" if self.system == "inch" else "C")
        return (value - 32.0) / 1.8 if scale == "F" else value

    def number(self, name: str, *, required: Text = "") -> float | None:
        """Return a plain number, or None; see `length`."""
        text = self.required(name, required)
        if not text:
            return None
        return self._read(name, parse_number, text)

    def count(self, name: str, *, low: int = 0, high: int = 10_000, required: Text = "") -> int | None:
        """Return a whole number, or None; see `length`."""
        value = self.number(name, required=required)
        if value is None:
            return None
        if value != int(value) or not low <= value <= high:
            raise self.error(
                name,
                _("'{text}' is not a count").format(text=self.text(name)),
                _("type a whole number from {low} to {high}").format(low=low, high=high),
            )
        return int(value)


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
        self._reader = Typed(self.typed, {n: _(f.label) for n, f in self.fields.items()}, system)
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
        reader, name = self._reader, one.name
        low, high = one.usual or (-math.inf, math.inf)
        if one.kind in ("text", "long text"):
            return reader.text(name, longest=LONGEST_TEXT if one.kind == "text" else LONGEST_NOTE)
        if one.kind == "choice":
            return reader.choice(name, [choice.key for choice in one.choices])
        if one.kind == "yes":
            return reader.yes(name)
        if one.kind == "length":
            return reader.length(name, low=low, high=high)
        if one.kind == "lengths":
            return reader.lengths(name, low=low, high=high)
        if one.kind == "torque":
            return reader.torque(name)
        if one.kind == "force":
            return reader.force(name)
        if one.kind == "temperature":
            return reader.temperature(name)
        if one.kind == "other" and one.read is not None:
            own, text = one.read, self.typed[name]
            return in_field(name, _(one.label), lambda: own(text, self.system))
        if one.kind == "count":
            low, high = one.usual or (0, 10_000)
            return reader.count(name, low=int(low), high=int(high))
        return reader.number(name)

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
        self._value(name, "lengths")
        return self._reader.last_digit_mm(name)

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
