"""What people type about the vehicle and its speed, made into what the listener takes."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Final

from axlewright.errors import InputError
from axlewright.language import eager as _
from axlewright.sound.orders import AxleOrders, Bearing, BearingPlace, bearing_orders
from axlewright.sound.speed import SPEED_CENTRE, SPEED_SIGMA, SpeedSource, SpeedTrace, constant_speed
from axlewright.sound.speed_files import parse_marks, parse_table
from axlewright.units import as_typed, parse_number

PLACES: Final[dict[str, BearingPlace]] = {
    "wheel": "wheel",
    "pinion": "pinion",
    "side": "side",
    "carrier": "side",
}
_NUMBER: Final = re.compile(r"\d++(?:[.,]\d++)?")


def parse_bearing(text: str) -> Bearing:
    """Read a bearing: its place, number of rollers, their diameter, the pitch diameter, the contact angle.

    ``wheel:17:12:70`` or ``pinion, 17 rollers, 9.5 mm, 60 mm, 15°``; both diameters in the same unit.

    Raises
    ------
    InputError
        If it cannot be read or no such bearing can be.
    """
    clean = as_typed(text, where=_("bearing"))
    word = re.match(r"[a-z]++", clean.lower())
    numbers = [parse_number(found.replace(",", ".")) for found in _NUMBER.findall(clean)]
    if word is None or word[0] not in PLACES or len(numbers) not in (3, 4):
        raise InputError(
            _("'{text}' is no bearing").format(text=text),
            where=_("bearing"),
            fix=_("type for example wheel:17:12:70 or pinion:17:9.5:60:15"),
        )
    if numbers[0] != int(numbers[0]) or numbers[0] > 80:
        raise InputError(_("'{text}' is no number of rollers").format(text=numbers[0]), where=_("bearing"))
    angle = numbers[3] if len(numbers) == 4 else 0.0
    if angle >= 60.0:
        raise InputError(
            _("a contact angle of {angle}° fits no bearing of an axle").format(angle=angle),
            where=_("bearing"),
        )
    place = PLACES[word[0]]
    return Bearing(place, bearing_orders(int(numbers[0]), numbers[1], numbers[2], angle), f"{place} bearing")


def parse_bearings(text: str) -> tuple[Bearing, ...]:
    """Read bearings, one on a line."""
    return tuple(parse_bearing(line) for line in text.splitlines() if line.strip())


def parse_cylinders(text: str) -> int | None:
    """Read a number of cylinders, or nothing."""
    count = parse_number(as_typed(text, where=_("cylinders"))) if text.strip() else None
    if count is not None and count != int(count):
        raise InputError(_("'{text}' is no number of cylinders").format(text=text), where=_("cylinders"))
    return None if count is None else int(count)


def parse_gears(text: str) -> tuple[float, ...]:
    """Read gear ratios apart by blanks, or nothing."""
    parts = [part for part in re.split(r"[ ;/]", as_typed(text, where=_("gears"))) if part]
    return tuple(parse_number(part.rstrip(",")) for part in parts)


def told_axle(
    ring_teeth: int,
    pinion_teeth: int,
    *,
    bearings: tuple[str, ...] = (),
    cylinders: str = "",
    gears: str = "",
    tread_blocks: int | None = None,
    joint: bool = True,
) -> AxleOrders:
    """Put together what is told of the axle and of what turns with it.

    Parameters
    ----------
    bearings : tuple of str
        As `parse_bearing` reads them; empty ones are passed over.
    cylinders : str
        Number of cylinders, or nothing.
    gears : str
        Ratios apart by blanks, ``"4.1 2.3 1.5 1.0"``, or nothing.
    """
    return AxleOrders(
        ring_teeth,
        pinion_teeth,
        parse_bearings("\n".join(bearings)),
        tread_blocks,
        joint,
        parse_cylinders(cylinders),
        parse_gears(gears),
    )


def read_at(trace: SpeedTrace, source: str) -> SpeedTrace:
    """Return the trace as read at another place, with the doubt that belongs there."""
    known = _place(source)
    return replace(trace, source=known, sigma=SPEED_SIGMA[known], centre=SPEED_CENTRE[known])


def _place(source: str) -> SpeedSource:
    if source and source not in SPEED_SIGMA:
        raise InputError(
            _("'{source}' is no place a speed comes from").format(source=source),
            where=_("speed"),
            fix=_("use {speed_sigma}").format(speed_sigma=", ".join(SPEED_SIGMA)),
        )
    return source or "typed"  # type: ignore[return-value]


def told_speed(text: str, source: str = "") -> SpeedTrace:
    """Read a speed as typed or pasted: one speed, lines of marks, or a table with a header.

    Parameters
    ----------
    text : str
    source : str
        ``typed``, ``dashboard``, ``satellite`` or ``wheel sensor``; nothing means typed.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    known = _place(source)
    first = next((line for line in text.splitlines() if line.strip()), "").lower()
    if "time" in first and "speed" in first:
        return parse_table(text, source=known)
    if ":" in text or "\n" in text.strip():
        return parse_marks(text, source=known)
    return constant_speed(text.strip(), known)
