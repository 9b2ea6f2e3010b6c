"""Read a roll-test log from a text table as spreadsheets write it, and say what is wrong row by row.

Comma, semicolon or tab between cells, point or comma as decimal sign, the unit in the heading
(``pinion out [mm]``, ``pinion_out_in``) or in the cell (``0.05 mm``, ``+2 thou``). A unit is never guessed.
Either every row can be read, or nothing is taken.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

from axlewright.errors import AxlewrightError, InputError
from axlewright.language import Text, _
from axlewright.plant.rolls import COLUMNS, Column, Roll
from axlewright.units import LONGEST_QUANTITY, MM_PER_INCH, as_typed, parse_length

_LENGTH_UNITS: Final[dict[str, float]] = {
    "mm": 1.0,
    "0.01 mm": 0.01,
    "0.001 mm": 0.001,
    "µm": 0.001,
    "um": 0.001,
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "thou": MM_PER_INCH / 1000.0,
    "0.001 in": MM_PER_INCH / 1000.0,
}
# 1 arc second = pi/648000 rad.
_ANGLE_UNITS: Final[dict[str, float]] = {
    "µrad": 1.0,
    "urad": 1.0,
    "mrad": 1000.0,
    "arcsec": 4.84813681,
    '"': 4.84813681,
}
_LEVEL_UNITS: Final[dict[str, float]] = {"db": 1.0, "db(a)": 1.0}
UNITS: Final = {"length": _LENGTH_UNITS, "motion error": _ANGLE_UNITS, "sound level": _LEVEL_UNITS}
_NUMBER: Final = re.compile(r"([+\-]? ?(?:\d++(?:[.,]\d*+)?|[.,]\d++)(?:[eE][+\-]?\d++)?) ?(.*+)")
_DATES: Final = ("%Y-%m-%dT%H:%M:%S", "%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M", "%Y-%m-%d")


def read_number(text: str, column: Column, factor: float | None, where: str = "") -> float:
    """Read one cell and return the value in the unit of the field.

    Parameters
    ----------
    text : str
        Point or comma as decimal sign; a unit in the cell wins over the heading's.
    factor : float or None
        Size of the heading's unit; None when it has none.
    """
    found = _NUMBER.fullmatch(as_typed(text, where=where))
    if found is None:
        raise InputError(
            _("'{text}' is not a number").format(text=text[:40]), where=where, fix=_("type one like 0.05")
        )
    value = float(found[1].replace(" ", "").replace(",", "."))
    unit = found[2]
    if column.kind == "place":
        if unit == "%":
            return value / 100.0
        if unit:
            raise InputError(
                _("'{unit}' is no unit of a place on the flank").format(unit=unit),
                where=where,
                fix=_("type −1 at toe or root to +1 at heel or top"),
            )
        return value
    known = UNITS[column.kind]
    if unit:
        if column.kind == "length" and unit.casefold() not in known:
            return parse_length(text, where=where)
        size = known.get(unit.casefold().replace("μ", "µ"))
        if size is None:
            raise InputError(
                _("unknown unit '{unit}'").format(unit=unit),
                where=where,
                fix=_("use one of {units}").format(units=", ".join(known)),
            )
        return value * size
    if factor is None:
        if column.kind == "sound level":
            return value
        raise InputError(
            _("'{text}' has no unit").format(text=text[:40]),
            where=where,
            fix=_("write the unit into the heading, such as {example}").format(
                example="pinion out [mm]" if column.kind == "length" else "drive motion error [µrad]"
            ),
        )
    return value * factor


def read_moment(text: str, where: str = "") -> str:
    """Read a date with or without a time and return it as ISO 8601 writes it.

    Raises
    ------
    InputError
        For any other order of day and month, because 03/04 may be March or April.
    """
    clean = as_typed(text, where=where).removesuffix("Z")
    for form in _DATES:
        try:
            moment = datetime.strptime(clean, form)
        except ValueError:
            continue
        return moment.strftime("%Y-%m-%d" if form == "%Y-%m-%d" else "%Y-%m-%dT%H:%M:%S")
    raise InputError(
        _("'{text}' is not a date").format(text=text[:40]),
        where=where,
        fix=_("write it as 2026-03-31 or 2026-03-31 14:05"),
    )


LARGEST_FILE: Final = 8 * 1024 * 1024
MOST_ROWS: Final = 50_000


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong in one place of the file.

    Attributes
    ----------
    row : int
        Line of the table, the heading being 1.
    column : Text
        Heading as it stands in the file; empty for the whole row.
    what, fix : Text
    """

    row: int
    column: Text
    what: Text
    fix: Text

    def text(self) -> Text:
        """Return it as one sentence."""
        if self.column:
            return _("Row {row}, {column}: {what}; {fix}.").format(
                row=self.row, column=self.column, what=self.what, fix=self.fix
            )
        return _("Row {row}: {what}; {fix}.").format(row=self.row, what=self.what, fix=self.fix)


@dataclass(frozen=True, slots=True)
class ReadLog:
    """A log that was read.

    Attributes
    ----------
    rolls : tuple of Roll
        New readings; empty when there is any problem.
    problems : tuple of Problem
    repeated : tuple of int
        Rows left out because the very same reading is there already, in this file or before.
    unknown : tuple of str
        Headings nobody knows; these columns are passed over.
    """

    rolls: tuple[Roll, ...] = ()
    problems: tuple[Problem, ...] = ()
    repeated: tuple[int, ...] = ()
    unknown: tuple[str, ...] = ()


@dataclass(slots=True)
class _Heading:
    column: Column
    text: str
    factor: float | None = None
    unit: str = ""


@dataclass(slots=True)
class _Row:
    number: int
    values: dict[str, Any] = field(default_factory=dict)


def _text_of(data: bytes) -> str:
    if len(data) > LARGEST_FILE:
        raise InputError(
            _("the file is larger than {size} MB").format(size=LARGEST_FILE >> 20),
            where=_("log"),
            fix=_("split it"),
        )
    codes = ["utf-16"] if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ["utf-8-sig", "cp1252"]
    for code in codes:
        try:
            text = data.decode(code)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text
    raise InputError(
        _("this is no text table"), where=_("log"), fix=_("save it from the spreadsheet as CSV, UTF-8")
    )


def _delimiter(heading: str) -> str:
    counts = {mark: heading.count(mark) for mark in (";", "\t", ",")}
    best = max(counts, key=lambda mark: counts[mark])
    if counts[best] == 0:
        raise InputError(
            _("only one column was found"),
            where=_("log"),
            fix=_("separate the cells by semicolons, commas or tabs, headings in the first row"),
        )
    return best


def _plain(text: str) -> str:
    return " ".join(text.replace("_", " ").replace("-", " ").casefold().split())


def _parted(heading: str) -> tuple[str, str]:
    """Part a heading such as ``pinion out [mm]`` into name and unit; without brackets at its end, no unit."""
    if not heading.endswith(("]", ")")):
        return heading, ""
    body = heading[:-1]
    last = max(body.rfind("]"), body.rfind(")"))
    opened = [at for at in (body.find("[", last + 1), body.find("(", last + 1)) if at >= 0]
    if not opened:
        return heading, ""
    at = min(opened)
    return body[:at].rstrip(" _"), body[at + 1 :].strip()


def _heading(text: str) -> _Heading | None:
    name, unit = _parted(as_typed(text))
    plain = _plain(name)
    for column in COLUMNS:
        own = _plain(column.name)
        bare = own.rsplit(" ", 1)[0] if column.kind in UNITS else own
        if plain == own and column.kind in UNITS and not unit:
            return _Heading(column, text, 1.0)  # the unit is in the name of our own column
        if plain in (own, bare, *column.also):
            return _with_unit(column, text, unit)
        if column.kind in UNITS:
            start, _sep, last = plain.rpartition(" ")
            if start in (bare, *column.also) and last in UNITS[column.kind]:
                return _with_unit(column, text, last)
    return None


def _with_unit(column: Column, text: str, unit: str) -> _Heading:
    if not unit or column.kind not in UNITS:
        return _Heading(column, text)
    known = UNITS[column.kind]
    factor = known.get(" ".join(unit.casefold().replace("μ", "µ").replace(",", ".").split()))
    if factor is None:
        raise InputError(
            _("unknown unit '{unit}'").format(unit=unit),
            where=text,
            fix=_("use one of {units}").format(units=", ".join(known)),
        )
    return _Heading(column, text, factor, unit)


def _headings(cells: Sequence[str], problems: list[Problem]) -> tuple[list[_Heading | None], list[str]]:
    out: list[_Heading | None] = []
    unknown: list[str] = []
    seen: set[str] = set()
    for cell in cells:
        try:
            heading = _heading(cell)
        except AxlewrightError as error:
            problems.append(Problem(1, cell.strip()[:LONGEST_QUANTITY], error.what, error.fix))
            out.append(None)
            continue
        if heading is None:
            if cell.strip():
                unknown.append(cell.strip())
        elif heading.column.name in seen:
            problems.append(
                Problem(1, cell.strip(), _("this column is there twice"), _("leave one of them out"))
            )
            heading = None
        else:
            seen.add(heading.column.name)
        out.append(heading)
    for column in COLUMNS:
        if column.needed and column.name not in seen:
            problems.append(
                Problem(
                    1,
                    "",
                    _("there is no column '{name}'").format(name=_(column.label)),
                    _("add one with the heading {name}").format(name=column.name),
                )
            )
    return out, unknown


def read_log(
    data: bytes, *, designs: Collection[str] = (), known: Collection[Roll] = (), operator: str = ""
) -> ReadLog:
    """Read a log file.

    Parameters
    ----------
    data : bytes
        The file.
    designs : collection of str
        Names of designs there are; an unknown one is a problem. Empty takes any.
    known : collection of Roll
        Readings kept before; the same ones are noticed and left out.
    operator : str
        For rows that name none.

    Raises
    ------
    InputError
        When the file is no table at all.
    """
    text = _text_of(data).lstrip("\r\n ")
    if not text.strip():
        raise InputError(_("the file is empty"), where=_("log"), fix=_("choose another file"))
    delimiter = _delimiter(text.splitlines()[0])
    try:
        table = list(csv.reader(io.StringIO(text), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise InputError(
            _("the table cannot be taken apart ({reason})").format(reason=str(error)),
            where=_("log"),
            fix=_("look for a quotation mark without its partner"),
        ) from error
    if len(table) - 1 > MOST_ROWS:
        raise InputError(
            _("the file has {count} rows").format(count=len(table) - 1),
            where=_("log"),
            fix=_("split it; {most} fit").format(most=MOST_ROWS),
        )
    problems: list[Problem] = []
    headings, unknown = _headings(table[0], problems)
    names = {name.casefold(): name for name in designs}
    before = {roll.content() for roll in known}
    rolls: list[Roll] = []
    repeated: list[int] = []
    if not problems:
        for number, cells in enumerate(table[1:], start=2):
            if not any(cell.strip() for cell in cells):
                continue
            roll = _read_row(number, cells, headings, names, operator, problems, delimiter)
            if roll is None:
                continue
            if roll.content() in before:
                repeated.append(number)
            else:
                before.add(roll.content())
                rolls.append(roll)
        if not rolls and not repeated and not problems:
            problems.append(Problem(2, "", _("there is no row below the heading"), _("choose another file")))
    return ReadLog(() if problems else tuple(rolls), tuple(problems), tuple(repeated), tuple(unknown))


def _read_row(
    number: int,
    cells: Sequence[str],
    headings: Sequence[_Heading | None],
    names: dict[str, str],
    operator: str,
    problems: list[Problem],
    delimiter: str,
) -> Roll | None:
    if len(cells) > len(headings) and any(cell.strip() for cell in cells[len(headings) :]):
        fix = (
            _("decimal commas need semicolons between the cells")
            if delimiter == ","
            else _("look for a separator too many")
        )
        what = _("{found} cells under {expected} headings").format(found=len(cells), expected=len(headings))
        problems.append(Problem(number, "", what, fix))
        return None
    row = _Row(number, {"operator": operator})
    count = len(problems)
    for heading, cell in zip(headings, cells, strict=False):
        text = cell.strip()
        if heading is None or not text:
            continue
        try:
            row.values[heading.column.name] = _read_cell(heading, text, names)
        except AxlewrightError as error:
            problems.append(Problem(number, heading.text.strip(), error.what, error.fix))
    for column in COLUMNS:
        if column.needed and column.name not in row.values and len(problems) == count:
            problems.append(
                Problem(number, _(column.label), _("nothing stands here"), _("fill it in or remove the row"))
            )
    if len(problems) > count:
        return None
    try:
        return Roll.of(row.values)
    except AxlewrightError as error:
        problems.append(Problem(number, error.where, error.what, error.fix))
        return None


def _read_cell(heading: _Heading, text: str, names: dict[str, str]) -> Any:
    column = heading.column
    if column.name == "at":
        return read_moment(text)
    if column.name == "design" and names:
        design = names.get(text.casefold())
        if design is None:
            raise InputError(
                _("no design '{name}'").format(name=text[:40]),
                fix=_("use one of {names}, or add the design first").format(names=", ".join(names.values())),
            )
        return design
    if column.kind == "text":
        longest = 80 if column.name != "note" else 400
        if len(text) > longest:
            raise InputError(
                _("{count} characters").format(count=len(text)),
                fix=_("shorten it to {longest}").format(longest=longest),
            )
        return text
    return column.taken(read_number(text, column, heading.factor), text)


def write_log(rolls: Sequence[Roll]) -> str:
    """Write readings as a log file with our own headings, commas between cells."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([column.name for column in COLUMNS])
    for roll in rolls:
        cells = (getattr(roll, column.name) for column in COLUMNS)
        writer.writerow(["" if c is None else f"{c:.6g}" if isinstance(c, float) else c for c in cells])
    return out.getvalue()
