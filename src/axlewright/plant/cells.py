"""Read one cell of a log: a number with its unit, or a date."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Final

from axlewright.errors import InputError
from axlewright.language import eager as _
from axlewright.plant.rolls import Column
from axlewright.units import MM_PER_INCH, parse_length

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
_NUMBER: Final = re.compile(r"^([+\-−]?\s*(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+\-]?\d+)?)\s*(.*)$")
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
    found = _NUMBER.match(text.strip())
    if found is None:
        raise InputError(
            _("'{text}' is not a number").format(text=text[:40]), where=where, fix=_("type one like 0.05")
        )
    value = float(found[1].replace(" ", "").replace(",", ".").replace("−", "-"))
    unit = found[2].strip()
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
    clean = text.strip().removesuffix("Z")
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
