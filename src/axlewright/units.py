"""Read what people type and show both systems.

Inside the program lengths are millimetres, angles degrees at the edges and radians inside, torques
newton metres. This module is the only place that converts. A comma is accepted as decimal sign; what is
shown has the decimal sign of the chosen language and begins with the chosen system.

References
----------
NIST Special Publication 811 (2008), Appendix B: 1 in = 25.4 mm exactly; 1 lbf = 4.448 221 615 260 5 N;
1 mi = 1609.344 m.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any, ClassVar, Final, Literal, Self

from axlewright.errors import InputError
from axlewright.language import Drawn, Text, _, decimal_sign, keeps_as, n_, read_kept

MM_PER_INCH: Final = 25.4
NEWTON_PER_POUND_FORCE: Final = 4.4482216152605
NM_PER_LBF_IN: Final = NEWTON_PER_POUND_FORCE * MM_PER_INCH / 1000.0
NM_PER_LBF_FT: Final = 12.0 * NM_PER_LBF_IN
NM_PER_KGF_CM: Final = 0.0980665
MPS_PER_MPH: Final = 1609.344 / 3600.0

System = Literal["inch", "metric"]

_chosen: ContextVar[System] = ContextVar("axlewright_system", default="inch")


def chosen_system() -> System:
    """Tell the system that is shown first now."""
    return _chosen.get()


@contextmanager
def using_system(system: str) -> Iterator[None]:
    """Show one system first inside the block; anything but "metric" means inches."""
    token = _chosen.set("metric" if system == "metric" else "inch")
    try:
        yield
    finally:
        _chosen.reset(token)


_LENGTH: Final[dict[str, float]] = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "µm": 1e-3,
    "um": 1e-3,
    "micron": 1e-3,
    "microns": 1e-3,
    "in": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "inches": MM_PER_INCH,
    '"': MM_PER_INCH,
    "ft": 12 * MM_PER_INCH,
    "thou": MM_PER_INCH / 1000.0,
    "mil": MM_PER_INCH / 1000.0,
    "thousandth": MM_PER_INCH / 1000.0,
    "thousandths": MM_PER_INCH / 1000.0,
}
_TORQUE: Final[dict[str, float]] = {
    "nm": 1.0,
    "n·m": 1.0,
    "n*m": 1.0,
    "n.m": 1.0,
    "ncm": 0.01,
    "n·cm": 0.01,
    "lb-in": NM_PER_LBF_IN,
    "lbin": NM_PER_LBF_IN,
    "lbf-in": NM_PER_LBF_IN,
    "lbf·in": NM_PER_LBF_IN,
    "in-lb": NM_PER_LBF_IN,
    "inlb": NM_PER_LBF_IN,
    "lb-ft": NM_PER_LBF_FT,
    "lbft": NM_PER_LBF_FT,
    "lbf-ft": NM_PER_LBF_FT,
    "lbf·ft": NM_PER_LBF_FT,
    "ft-lb": NM_PER_LBF_FT,
    "ftlb": NM_PER_LBF_FT,
    "kgf-cm": NM_PER_KGF_CM,
    "kgf·cm": NM_PER_KGF_CM,
    "kgfcm": NM_PER_KGF_CM,
}
_ANGLE: Final[dict[str, float]] = {
    "deg": 1.0,
    "°": 1.0,
    "degree": 1.0,
    "degrees": 1.0,
    "mrad": math.degrees(1e-3),
    "rad": math.degrees(1.0),
    "'": 1.0 / 60.0,
    "arcmin": 1.0 / 60.0,
}
_SPEED: Final[dict[str, float]] = {
    "mph": MPS_PER_MPH,
    "km/h": 1 / 3.6,
    "kmh": 1 / 3.6,
    "kph": 1 / 3.6,
    "m/s": 1.0,
}
_FORCE: Final[dict[str, float]] = {
    "n": 1.0,
    "kn": 1000.0,
    "lb": NEWTON_PER_POUND_FORCE,
    "lbf": NEWTON_PER_POUND_FORCE,
    "kgf": 9.80665,
}

LONGEST_QUANTITY: Final = 200
LONGEST_LIST: Final = 4_000
LONGEST_TEXT: Final = 400
LONGEST_NOTE: Final = 8_000
"""Most characters of one quantity, of several readings or words in one field, and of a note: far more than
anybody types, few enough to be read at once and printed (common practice, no source)."""

# Possessive throughout: what a part has taken it never gives back, so that reading takes one pass.
_NUMBER: Final = re.compile(
    r"([+\-]?) ?(?:(\d++) (\d++)/(\d++)|(\d++)/(\d++)|"
    r"((?:\d++(?:[.,]\d*+)?|[.,]\d++)(?:[eE][+\-]?\d++)?)) ?(.*+)"
)


def as_typed(text: str, *, where: Text = "", longest: int = LONGEST_QUANTITY) -> str:
    """Return a typed text with one plain space for each gap, none outside, and "-" for the sign "−".

    Every parser begins here, so that none meets a text too long for it or a space it does not know.

    Parameters
    ----------
    text : str
        What was typed; spaces of any width, tabs and new lines count as gaps.
    where : Text
        Name of the field, used in the message.
    longest : int
        Most characters taken, counted before anything is left out.

    Raises
    ------
    InputError
        When it is too long, or holds halves of characters, which cannot be shown or kept.
    """
    check_text(text, where=where, longest=longest)
    return " ".join(text.replace("−", "-").split())


def check_text(text: str, *, where: Text = "", longest: int) -> None:
    """Refuse a text that is too long or cannot be written; see `as_typed`."""
    if len(text) > longest:
        raise InputError(
            _("{count} characters are too many").format(count=len(text)),
            where=where,
            fix=_("shorten it to {longest}").format(longest=longest),
        )
    if not text.isascii() and any("\ud800" <= letter <= "\udfff" for letter in text):
        raise InputError(
            _("there are damaged characters in it"), where=where, fix=_("type it again instead of pasting")
        )


def parse_number(text: str, *, where: Text = "", fix: Text = "") -> float:
    """Read a plain number, finite and without a unit; point or comma.

    Parameters
    ----------
    text : str
        ``"12.5"``, ``"−0,3"``, ``"1e-3"``.
    where : Text
        Name of the field, used in the message.
    fix : Text
        What would be right.

    Raises
    ------
    InputError
        If it is anything else.
    """
    found = _NUMBER.fullmatch(as_typed(text, where=where))
    value = math.nan
    if found is not None and found[7] is not None and not found[8]:
        value = float(found[1] + found[7].replace(",", "."))
    if not math.isfinite(value):
        raise InputError(
            _("'{text}' is not a number").format(text=text),
            where=where,
            fix=fix or _("type a number such as 12.5"),
        )
    return value


def _split(text: str, where: Text, example: Text) -> tuple[float, str]:
    match = _NUMBER.fullmatch(as_typed(text, where=where))
    if match is None:
        raise InputError(
            _("'{text}' is not a number").format(text=text),
            where=where,
            fix=_("type for example {example}").format(example=example),
        )
    sign, whole, num, den, num2, den2, decimal, unit = match.groups()
    if decimal is not None:
        value = float(decimal.replace(",", "."))
    else:
        denominator = int(den or den2)
        if denominator == 0:
            raise InputError(
                _("'{text}' divides by zero").format(text=text),
                where=where,
                fix=_("type for example {example}").format(example=example),
            )
        value = int(whole or 0) + int(num or num2) / denominator
    return (-value if sign == "-" else value), unit.lower()


def _finite(value: float, text: str, where: Text, example: Text) -> float:
    if not math.isfinite(value):
        raise InputError(
            _("'{text}' is not a finite number").format(text=text),
            where=where,
            fix=_("type for example {example}").format(example=example),
        )
    return value


def _parse(
    text: str | float, table: dict[str, float], default_unit: str, where: Text, kind: str, example: Text
) -> float:
    if isinstance(text, (int, float)):
        try:
            value = float(text) * table[default_unit]
        except OverflowError:  # a whole number of hundreds of digits
            value = math.inf
        return _finite(value, f"{value}", where, example)
    value, unit = _split(text, where, example)
    if unit == "":
        if default_unit == "":
            raise InputError(
                _("'{text}' has no unit").format(text=text),
                where=where,
                fix=_("add one, for example {example}").format(example=example),
            )
        unit = default_unit
    if unit not in table:
        known = ", ".join(sorted({u for u in table if u.isascii() and u.isprintable()}))
        raise InputError(
            _("unknown {kind} unit '{unit}' in '{text}'").format(kind=_(kind), unit=unit, text=text),
            where=where,
            fix=_("known units are {known}").format(known=known),
        )
    return _finite(value * table[unit], text, where, example)


def parse_length(text: str | float, *, default_unit: str = "", where: Text = "length") -> float:
    """Read a length and return millimetres.

    Parameters
    ----------
    text : str or float
        ``"0.002 in"``, ``"5 thou"``, ``"0,05 mm"``, ``"1 3/8 in"``, ``"4.3125"``. A bare number takes
        `default_unit`.
    default_unit : str
        Unit of a bare number; empty means that a unit is required.
    where : Text
        Name of the field, used in the message.

    Returns
    -------
    float
        Length [mm], sign kept.

    Raises
    ------
    InputError
        If the text is no number, the unit is unknown, or it is missing and there is no default.
    """
    return _parse(text, _LENGTH, default_unit, where, n_("length"), _("0.002 in or 0.05 mm"))


def parse_torque(text: str | float, *, default_unit: str = "", where: Text = "torque") -> float:
    """Read a torque and return newton metres; see `parse_length`."""
    return _parse(text, _TORQUE, default_unit, where, n_("torque"), _("20 lb-in or 2.3 Nm"))


def parse_angle(text: str | float, *, default_unit: str = "deg", where: Text = "angle") -> float:
    """Read an angle and return degrees; see `parse_length`."""
    return _parse(text, _ANGLE, default_unit, where, n_("angle"), _("0.05 deg or 0.9 mrad"))


def parse_speed(text: str | float, *, default_unit: str = "", where: Text = "speed") -> float:
    """Read a speed and return metres per second; see `parse_length`."""
    return _parse(text, _SPEED, default_unit, where, n_("speed"), _("45 mph or 70 km/h"))


def parse_force(text: str | float, *, default_unit: str = "", where: Text = "force") -> float:
    """Read a force and return newtons; see `parse_length`."""
    return _parse(text, _FORCE, default_unit, where, n_("force"), _("7.5 lbf or 33 N"))


def show_number(value: float, places: int, *, signed: bool = False) -> str:
    """Show a number to so many decimal places with the minus sign "−"; what rounds to zero has no sign.

    The decimal sign is that of the chosen language.

    Parameters
    ----------
    value : float
    places : int
        Decimal places.
    signed : bool
        Whether numbers above zero have a plus sign.
    """
    text = f"{value:{'+' if signed else ''}.{places}f}"
    if text.strip("+-0.") == "":
        text = text.lstrip("+-")
    return text.replace("-", "−").replace(".", decimal_sign())


@dataclass(frozen=True, slots=True)
class Quantity(Drawn):
    """A measured quantity: its value, how well it is known, what it is and where it comes from.

    It draws itself with the reader's unit first. Use the kinds below, such as ``Length(0.127)``.

    Parameters
    ----------
    value : float
        Best estimate in the kind's base unit (mm, N·m, N, m/s, °C, °).
    standard_uncertainty : float
        One standard uncertainty in the same unit, ≥ 0.
    degrees_of_freedom : float
        Degrees of freedom behind the uncertainty; infinity when it is taken as exactly known.
    label : Text
        What it is, in the trade's words: "axis to housing shoulder".
    source : Text
        Where the number comes from: an instrument, a stamped mark, a manual, who typed it in.
    signed : bool
        Whether it is shown with a plus sign above zero.

    Raises
    ------
    InputError
        If the value is not finite, the uncertainty negative, or the degrees of freedom not above zero.
    """

    KEY: ClassVar[str] = "quantity"
    INCH: ClassVar[tuple[str, float, int]] = ("", 1.0, 3)
    METRIC: ClassVar[tuple[str, float, int]] = ("", 1.0, 3)
    """Unit, base units in one of it, and decimal places shown."""

    value: float
    standard_uncertainty: float = 0.0
    degrees_of_freedom: float = math.inf
    label: Text = ""
    source: Text = ""
    signed: bool = False

    def __post_init__(self) -> None:
        where = self.label or _("quantity")
        if not math.isfinite(self.value):
            raise InputError(
                _("{value} is not a number").format(value=self.value),
                where=where,
                fix=_("type a finite number"),
            )
        if not (math.isfinite(self.standard_uncertainty) and self.standard_uncertainty >= 0.0):
            raise InputError(
                _("{value} is not an uncertainty").format(value=self.standard_uncertainty),
                where=where,
                fix=_("give zero or a positive value"),
            )
        if not self.degrees_of_freedom > 0.0:
            raise InputError(
                _("{value} degrees of freedom").format(value=self.degrees_of_freedom),
                where=where,
                fix=_("give a number above 0"),
            )

    def shown_in(self, system: System, *, unit: bool = True, places: int = 0) -> str:
        """Show it in one system alone, to the usual number of places or more."""
        name, per, usual = self.INCH if system == "inch" else self.METRIC
        number = show_number(self.value / per, max(usual, places), signed=self.signed)
        return f"{number} {name}" if unit and name else number

    def show(self, system: System | None = None) -> str:
        """Show it in `system` first (the chosen one where none is given), the other in brackets."""
        first: System = system or chosen_system()
        if self.INCH == self.METRIC:
            return self.shown_in(first)
        return f"{self.shown_in(first)} ({self.shown_in('metric' if first == 'inch' else 'inch')})"

    def __str__(self) -> str:
        return self.show()

    def shows_as_zero(self, system: System | None = None) -> bool:
        """Whether it is shown as zero: then it has no direction worth telling."""
        per, places = (self.INCH if (system or chosen_system()) == "inch" else self.METRIC)[1:]
        return round(self.value / per, places) == 0.0

    def to_json(self) -> dict[str, Any]:
        """Return it as plain data; zero and empty parts are left out."""
        out: dict[str, Any] = {self.KEY: self.value}
        if self.standard_uncertainty:
            out["standard_uncertainty"] = self.standard_uncertainty
        if math.isfinite(self.degrees_of_freedom):
            out["degrees_of_freedom"] = self.degrees_of_freedom
        for name in ("label", "source"):
            text = getattr(self, name)
            if text:
                out[name] = text.to_json() if isinstance(text, Drawn) else text
        if self.signed:
            out["signed"] = True
        return out

    @classmethod
    def from_json(cls, kept: Mapping[str, Any]) -> Self:
        """Return what `to_json` gave."""
        return cls(
            float(kept[cls.KEY]),
            float(kept.get("standard_uncertainty", 0.0)),
            float(kept.get("degrees_of_freedom", math.inf)),
            read_kept(kept.get("label", "")),
            read_kept(kept.get("source", "")),
            bool(kept.get("signed", False)),
        )


class Length(Quantity):
    """A length [mm]."""

    __slots__ = ()
    KEY = "length_mm"
    INCH = ("in", MM_PER_INCH, 4)
    METRIC = ("mm", 1.0, 3)

    @property
    def mm(self) -> float:
        """The length [mm]."""
        return self.value

    @property
    def inches(self) -> float:
        """The length [in]."""
        return self.value / MM_PER_INCH

    @property
    def thou(self) -> float:
        """The length [0.001 in]."""
        return self.inches * 1000.0


class Torque(Quantity):
    """A torque [N·m]."""

    __slots__ = ()
    KEY = "torque_nm"
    INCH = ("lb-in", NM_PER_LBF_IN, 1)
    METRIC = ("N·m", 1.0, 2)

    @property
    def nm(self) -> float:
        """The torque [N·m]."""
        return self.value


class Force(Quantity):
    """A force [N]."""

    __slots__ = ()
    KEY = "force_n"
    INCH = ("lbf", NEWTON_PER_POUND_FORCE, 2)
    METRIC = ("N", 1.0, 1)


class Speed(Quantity):
    """A speed [m/s]."""

    __slots__ = ()
    KEY = "speed_mps"
    INCH = ("mph", MPS_PER_MPH, 0)
    METRIC = ("km/h", 1.0 / 3.6, 0)


class Angle(Quantity):
    """An angle [°]."""

    __slots__ = ()
    KEY = "angle_deg"
    INCH = METRIC = ("°", 1.0, 3)


class Temperature(Quantity):
    """A temperature [°C]."""

    __slots__ = ()
    KEY = "temperature_c"
    METRIC = ("°C", 1.0, 1)

    def shown_in(self, system: System, *, unit: bool = True, places: int = 0) -> str:
        """Show it in °F or °C."""
        value, name = (self.value * 1.8 + 32.0, "°F") if system == "inch" else (self.value, "°C")
        number = show_number(value, max(1, places), signed=self.signed)
        return f"{number} {name}" if unit else number


for _kind in (Length, Torque, Force, Speed, Angle, Temperature):
    keeps_as(_kind.KEY, _kind.from_json)


@dataclass(frozen=True, slots=True)
class Lengths(Drawn):
    """Several lengths [mm], shown one after the other in the chosen system alone."""

    mm: tuple[float, ...]

    def __str__(self) -> str:
        return ", ".join(Length(one).shown_in(chosen_system()) for one in self.mm)

    def to_json(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {"lengths_mm": list(self.mm)}


keeps_as("lengths_mm", lambda kept: Lengths(tuple(float(one) for one in kept["lengths_mm"])))


def show_length(mm: float, system: System | None = None, *, signed: bool = False) -> str:
    """Show a length [mm] in both systems; see `Quantity.show`."""
    return Length(mm, signed=signed).show(system)


def shows_as_zero(mm: float, system: System | None = None) -> bool:
    """Whether a length [mm] is shown as zero in `system`: then it has no direction worth telling."""
    return Length(mm).shows_as_zero(system)


def show_speed(mps: float) -> str:
    """Show a speed [m/s] as mph and km/h, the chosen system first."""
    return Speed(mps).show()
