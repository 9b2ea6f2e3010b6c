"""Readings typed on the roll tester: one set, several positions, each a row of fields."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final

from axlewright.errors import AxlewrightError, InputError
from axlewright.job import batch
from axlewright.job.designs import find_design
from axlewright.language import Number, _, n_
from axlewright.plant import COLUMNS, Practice, Roll
from axlewright.plant.reading_log import read_number
from axlewright.steps.answers import FieldError, in_field
from axlewright.units import MM_PER_INCH, System, parse_length, parse_number

if TYPE_CHECKING:
    from axlewright.records import JobStore

ROWS: Final = 6
KINDS: Final[Mapping[str, str]] = {"error": n_("motion error, µrad"), "sound": n_("sound level, dB")}
_COLUMN: Final = {column.name: column for column in COLUMNS}


def usual_positions(system: System, ways: Practice) -> list[str]:
    """Return the positions a form offers: −4 to +4 marks in steps of two, in the person's unit."""
    divisor, digits = (MM_PER_INCH, 4) if system == "inch" else (1.0, 3)
    places = (n * ways.step_mm / divisor for n in (-4, -2, 0, 2, 4))
    return [f"{place:+.{digits}f}".rstrip("0") if place else "0" for place in places]


def rolls_of(fields: Mapping[str, str], store: JobStore, system: System, *, who: str) -> list[Roll]:
    """Return the readings of a typed form.

    Parameters
    ----------
    fields : mapping
        ``design``, ``number``, ``kind``, ``note`` and for each row n ``position-n``, ``drive-n``,
        ``coast-n``, ``backlash-n``. A row without figures is passed over.

    Raises
    ------
    FieldError
        With the name of the field.
    """
    number = fields.get("number", "").strip()
    if not number:
        raise FieldError("number", _("Set number"), _("nothing typed"), _("type what is on the set"))
    if len(number) > 40:
        raise FieldError("number", _("Set number"), _("more than 40 characters"), _("shorten it"))
    try:
        design = find_design(store, fields.get("design", "").strip()).name
    except AxlewrightError as error:
        raise FieldError.of("design", _("Design"), error) from error
    kind = fields.get("kind", "error")
    if kind not in KINDS:
        raise FieldError("kind", _("Figures"), _("nothing chosen"), _("choose what was read"))
    ending = "motion_error_urad" if kind == "error" else "sound_db"
    now = datetime.now().strftime("%Y-%m-%dT%H:%M:%S")
    out = []
    for n in range(ROWS):
        typed = {k: fields.get(f"{k}-{n}", "").strip() for k in ("position", "drive", "coast", "backlash")}
        if not (typed["drive"] or typed["coast"]):
            continue
        label = _("Position {n}").format(n=n + 1)
        if not typed["position"]:
            raise FieldError(
                f"position-{n}", label, _("nothing typed"), _("type where the pinion sat, such as +0.002 in")
            )
        values: dict[str, Any] = {
            "set_number": number,
            "design": design,
            "pinion_out_mm": _length(typed["position"], f"position-{n}", label, "pinion_out_mm", system),
            "operator": who,
            "at": now,
            "note": fields.get("note", "").strip()[:400],
        }
        for flank in ("drive", "coast"):
            if typed[flank]:
                name = f"{flank}_{ending}"
                values[name] = _figure(typed[flank], f"{flank}-{n}", label, name)
        if typed["backlash"]:
            values["backlash_mm"] = _length(typed["backlash"], f"backlash-{n}", label, "backlash_mm", system)
        out.append(Roll.of(values))
    if not out:
        raise FieldError(
            "drive-0", _("Position 1"), _("no figure typed"), _("type what was read, drive or coast")
        )
    return out


def _length(text: str, field: str, label: str, name: str, system: System) -> float:
    column = _COLUMN[name]
    try:
        value = parse_length(text, default_unit="in" if system == "inch" else "mm", where=label)
    except AxlewrightError as error:
        raise FieldError.of(field, label, error) from error
    return _ranged(value, text, field, label, column.low, column.high)


def _figure(text: str, field: str, label: str, name: str) -> float:
    column = _COLUMN[name]
    try:
        value = read_number(text, column, 1.0, label)
    except AxlewrightError as error:
        raise FieldError.of(field, label, error) from error
    return _ranged(value, text, field, label, column.low, column.high)


def _ranged(value: float, text: str, field: str, label: str, low: float, high: float) -> float:
    if not low <= value <= high:
        raise FieldError(
            field,
            label,
            _("{value} is out of range").format(value=text[:40]),
            _("a value from {low} to {high} is taken; look at number and unit").format(
                low=Number(low, "g"), high=Number(high, "g")
            ),
        )
    return value


def practice_of(fields: Mapping[str, str], before: Practice, system: System) -> Practice:
    """Return the shop's ways as typed; an empty field keeps what was there.

    Raises
    ------
    FieldError
    """
    source = fields.get("source", "").strip()[:200]
    changes: dict[str, object] = {}
    for name, label, factor in (
        ("drive_weight", _("Weight of the drive flank"), 0.01),
        ("reading_urad", _("Motion error read again"), 1.0),
        ("reading_db", _("Sound level read again"), 1.0),
    ):
        text = fields.get(name, "").strip().rstrip("%").strip()
        if text:
            number = in_field(name, label, lambda t=text: parse_number(t, fix=_("type one like 2.0")))  # type: ignore[misc]
            changes[name] = number * factor
    needed = fields.get("needed", "").strip()
    if needed:
        label = _("Decided within ±")
        try:
            changes["needed_mm"] = parse_length(
                needed, default_unit="in" if system == "inch" else "mm", where=label
            )
        except AxlewrightError as error:
            raise FieldError.of("needed", label, error) from error
    for name in ("mark_unit", "mark_meaning"):
        if fields.get(name):
            changes[name] = fields[name]
    try:
        ways = replace(before, **changes)  # type: ignore[arg-type]
        if source or ways != before:
            ways = replace(ways, source=source or before.source)
    except InputError as error:
        raise FieldError.of("mark_unit", error.where, error) from error
    return ways


def keep_typed(store: JobStore, fields: Mapping[str, str], system: System, *, who: str, key: str) -> Roll:
    """Keep the readings of a typed form and return the last of them."""
    rolls = rolls_of(fields, store, system, who=who)
    batch.add_rolls(store, rolls, who=who, source=_("typed"), key=key)
    return rolls[-1]
