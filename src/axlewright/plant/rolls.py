"""One reading on the roll tester: a set, a position, and what was found there.

Lengths mm, motion error µrad of the ring gear peak to peak, sound levels dB against any fixed reference,
places on the flank −1 … +1 (see `axlewright.contact.ContactPattern`).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any, Final, Literal

from axlewright.errors import InputError
from axlewright.language import Number, Text, _, n_

Kind = Literal["text", "length", "motion error", "sound level", "place"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column of the roll-test log.

    Attributes
    ----------
    name : str
        Name in files; a length's name ends in its unit.
    label : str
        Name on the page.
    kind : str
        What it holds.
    low, high : float
        Smallest and largest value taken, in the unit of the field; outside them it is a slip of the pen.
    also : tuple of str
        Other headings that are understood, small letters, without unit.
    needed : bool
    """

    name: str
    label: str
    kind: Kind = "text"
    low: float = -math.inf
    high: float = math.inf
    also: tuple[str, ...] = ()
    needed: bool = False

    def taken(self, value: float, text: str = "", where: Text = "") -> float:
        """Return a value, or refuse it, as typed or as it is, when it is out of the column's range."""
        if not self.low <= value <= self.high:
            raise InputError(
                _("{value} is out of range").format(value=text[:40] or Number(value, "g")),
                where=where,
                fix=_("a value from {low} to {high} is taken; look at number and unit").format(
                    low=Number(self.low, "g"), high=Number(self.high, "g")
                ),
            )
        return value


COLUMNS: Final[tuple[Column, ...]] = (
    Column("set_number", n_("Set number"), also=("set", "pair", "pair number", "set no"), needed=True),
    Column("design", n_("Design"), also=("gear set", "gear set design", "type"), needed=True),
    Column(
        "pinion_out_mm", n_("Pinion out"), "length", -2.0, 2.0,
        ("pinion out", "pinion depth", "position", "depth"), needed=True,
    ),
    Column(
        "ring_away_mm", n_("Ring gear away"), "length", -2.0, 2.0, ("ring away", "ring gear away", "ring"),
    ),
    Column("backlash_mm", n_("Backlash"), "length", 0.0, 3.0, ("backlash", "lash")),
    Column(
        "drive_motion_error_urad", n_("Motion error, drive"), "motion error", 0.0, 2000.0,
        ("drive motion error", "motion error drive", "drive transmission error"),
    ),
    Column(
        "coast_motion_error_urad", n_("Motion error, coast"), "motion error", 0.0, 2000.0,
        ("coast motion error", "motion error coast", "coast transmission error"),
    ),
    Column(
        "drive_sound_db", n_("Sound, drive"), "sound level", -100.0, 150.0,
        ("drive sound", "sound drive", "drive noise", "noise drive"),
    ),
    Column(
        "coast_sound_db", n_("Sound, coast"), "sound level", -100.0, 150.0,
        ("coast sound", "sound coast", "coast noise", "noise coast"),
    ),
    Column(
        "drive_lengthwise", n_("Pattern centre, drive, lengthwise"), "place", -1.0, 1.0,
        ("drive centre lengthwise", "drive center lengthwise"),
    ),
    Column(
        "drive_profile", n_("Pattern centre, drive, profile"), "place", -1.0, 1.0,
        ("drive centre profile", "drive center profile"),
    ),
    Column(
        "coast_lengthwise", n_("Pattern centre, coast, lengthwise"), "place", -1.0, 1.0,
        ("coast centre lengthwise", "coast center lengthwise"),
    ),
    Column(
        "coast_profile", n_("Pattern centre, coast, profile"), "place", -1.0, 1.0,
        ("coast centre profile", "coast center profile"),
    ),
    Column("operator", n_("Operator"), also=("who", "tester")),
    Column("at", n_("Time"), also=("time", "date", "date and time", "when")),
    Column("note", n_("Note"), also=("remark", "remarks", "notes")),
)  # fmt: skip
"""The columns of a log, in their order in files."""
COLUMN: Final[Mapping[str, Column]] = {column.name: column for column in COLUMNS}

FIGURES: Final = (
    "drive_motion_error_urad",
    "coast_motion_error_urad",
    "drive_sound_db",
    "coast_sound_db",
    "drive_profile",
    "coast_profile",
)
"""At least one of these has to be there: a position without a figure says nothing."""


@dataclass(frozen=True, slots=True)
class Roll:
    """One reading on the roll tester; see `COLUMNS` for the meaning of each field.

    Attributes
    ----------
    pinion_out_mm : float
        Where the pinion sat against its nominal mounting distance [mm], positive away from the ring gear's
        axis.
    ring_away_mm : float or None
        Where the ring gear sat [mm], positive toward more backlash.
    """

    set_number: str
    design: str
    pinion_out_mm: float
    ring_away_mm: float | None = None
    backlash_mm: float | None = None
    drive_motion_error_urad: float | None = None
    coast_motion_error_urad: float | None = None
    drive_sound_db: float | None = None
    coast_sound_db: float | None = None
    drive_lengthwise: float | None = None
    drive_profile: float | None = None
    coast_lengthwise: float | None = None
    coast_profile: float | None = None
    operator: str = ""
    at: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        for column in COLUMNS:
            value = getattr(self, column.name)
            if column.kind == "text":
                continue
            if value is None:
                if column.needed:
                    raise InputError(
                        _("nothing typed"),
                        where=_(column.label),
                        fix=_("type where the pinion sat, with its unit"),
                    )
                continue
            column.taken(value, where=_(column.label))
        for column in COLUMNS[:2]:
            if not getattr(self, column.name).strip():
                raise InputError(_("nothing typed"), where=_(column.label), fix=_("type what is on the set"))
        if all(getattr(self, name) is None for name in FIGURES):
            raise InputError(
                _("a position without any figure"),
                where=_("Motion error, drive"),
                fix=_("type a motion error, a sound level or a pattern centre of at least one flank"),
            )

    def content(self) -> tuple[Any, ...]:
        """Return everything the reading says, to know the same reading again."""
        return tuple(getattr(self, field.name) for field in fields(self))

    def plain(self) -> dict[str, Any]:
        """Return the fields that hold something, as JSON values."""
        return {key: value for key, value in asdict(self).items() if value not in (None, "")}

    @classmethod
    def of(cls, values: Mapping[str, Any]) -> Roll:
        """Return the reading of plain fields; unknown ones are left out."""
        names = {field.name for field in fields(cls)}
        return cls(**{key: value for key, value in values.items() if key in names})


def by_set(rolls: list[Roll]) -> dict[tuple[str, str], list[Roll]]:
    """Put the readings of each set together, sets in the order of their first reading.

    Returns
    -------
    dict
        From (design, set number) to its readings, oldest first.
    """
    out: dict[tuple[str, str], list[Roll]] = {}
    for roll in rolls:
        out.setdefault((roll.design, roll.set_number), []).append(roll)
    return out
