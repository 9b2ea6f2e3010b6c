"""Read a depth mark as it is typed or stamped, and give the readings it could have.

A mark on a gear carries no unit and no meaning. The readings found here are for a person to confirm; which
one holds is in the set's own data. Ranges and habits of marking come from service literature: integers are
thousandths of an inch and decimals millimetres on some sets (TM 10-3930-660-34; TM 5-3810-306-34),
thousandths of a centimetre on others (TM 9-2320-366-34-4), hundredths or thousandths of a millimetre
elsewhere (civil service literature, maker withheld).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from axlewright.errors import InputError
from axlewright.language import eager as _
from axlewright.language import n_
from axlewright.setup.marks import LARGEST_MARK_SEEN, MARK_UNITS, UNIT_MM, DepthMark, MarkMeaning, MarkUnit
from axlewright.units import parse_length, show_length

_NUMBER: Final = r"[+\-]?\s*(?:\d+(?:\.\d*)?|\.\d+)"
_DUAL: Final = re.compile(rf"^m\s*({_NUMBER})\s*\(\s*({_NUMBER})\s*\)$", re.IGNORECASE)
_SINGLE: Final = re.compile(rf"^(?P<letters>[a-z]{{0,3}})\s*(?P<number>{_NUMBER})$", re.IGNORECASE)
_WITH_UNIT: Final = re.compile(rf"^[a-z]{{0,3}}\s*({_NUMBER}\s*[a-zµ\"]+)$", re.IGNORECASE)
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
    reason : str
        Why this reading is offered.
    questions : tuple of str
        What to look at before confirming.
    """

    value: float
    unit: MarkUnit
    likely: bool
    reason: str
    questions: tuple[str, ...] = ()

    @property
    def size_mm(self) -> float:
        """Signed size of the mark [mm], before any meaning is given to the sign."""
        return self.value * UNIT_MM[self.unit]

    def confirm(self, meaning: MarkMeaning) -> DepthMark:
        """Return the mark once a person has confirmed this reading and its meaning."""
        return DepthMark(self.value, self.unit, meaning)

    def text(self) -> str:
        """Return the reading in both systems."""
        return f"{show_length(self.size_mm, signed=True)}: {self.reason}"


def _candidate(value: float, unit: MarkUnit, reason: str, questions: tuple[str, ...] = ()) -> MarkCandidate:
    value = round(value, 6) + 0.0
    return MarkCandidate(value, unit, abs(value) <= LARGEST_MARK_SEEN[unit], reason, questions)


def _number(text: str) -> float:
    return float(text.replace(" ", ""))


def _of_explicit_length(text: str) -> tuple[MarkCandidate, ...]:
    mm = parse_length(text.replace(" ", ""), where=_("depth mark"))
    inch = bool(re.search(r'(in|inch|inches|thou|mil|thousandths?|")$', text.strip(), re.IGNORECASE))
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
        questions: tuple[str, ...] = ()
        word = _("both numbers agree")
    else:
        questions = (_("The two numbers do not say the same. Read the stamp again."),)
        word = _("the two numbers disagree")
    return (
        _candidate(
            metric,
            "0.01 mm",
            _("metric number of a mark stamped in both units, {word}").format(word=word),
            questions,
        ),
        _candidate(
            inch,
            "0.001 in",
            _("inch number of a mark stamped in both units, {word}").format(word=word),
            questions,
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
    clean = text.strip().replace("−", "-").replace("–", "-").replace(",", ".")
    dual = _DUAL.match(clean)
    if dual is not None:
        return _of_dual(_number(dual[1]), _number(dual[2]))
    single = _SINGLE.match(clean)
    if single is None:
        with_unit = _WITH_UNIT.match(clean)
        if with_unit is not None:
            return _of_explicit_length(with_unit[1])
        raise InputError(
            _("'{text}' is not a depth mark").format(text=text), where=_("depth mark"), fix=_(_EXAMPLE)
        )
    number = single["number"].replace(" ", "")
    value = float(number)
    questions: list[str] = []
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
        names = {"0.001 in": _("thousandths of an inch"), "0.01 mm": _("hundredths of a millimetre")}
        units = ("0.01 mm", "0.001 mm") if single["letters"].lower() == "m" else MARK_UNITS
        found = [
            _candidate(
                value,
                unit,
                _("read as {get}").format(get=names.get(unit, "thousandths of a millimetre")),
                asked,
            )
            for unit in units
        ]
    if not any(c.likely for c in found):
        raise InputError(
            _("'{text}' is larger than any depth mark in any unit").format(text=text),
            where=_("depth mark"),
            fix=_("look for another number: pair, part and forging numbers look alike"),
        )
    return tuple(sorted(found, key=lambda c: not c.likely))
