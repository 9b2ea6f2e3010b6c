"""Limits as data: each with its source, each overridable by the person at the bench.

A verdict knows how well the reading is known: it says "inside" only when the whole 95 % interval is inside.

References
----------
ISO 14253-1:2017 and JCGM 106:2012 (decision rules with guard bands; principle, cited from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from axlewright.errors import InputError
from axlewright.language import Number, Text, _, joined
from axlewright.units import MM_PER_INCH, NM_PER_LBF_IN, Length, Torque


def told(text: Text) -> Text:
    """Return a name or source that stands in a table of the program as a message; others stay as they are."""
    return _(text) if isinstance(text, str) else text


LimitUnit = Literal["mm", "N·m", "deg", "1", "µm"]
VerdictKind = Literal["inside", "outside", "near the edge: measure again"]


@dataclass(frozen=True, slots=True)
class Limit:
    """A permitted band.

    Parameters
    ----------
    name : Text
        What is limited, in the trade's words.
    low, high : float or None
        Edges of the band in `unit`, both permitted; ``None`` leaves that side open.
    unit : {"mm", "N·m", "deg", "1", "µm"}
        Unit of the edges.
    source : Text
        Where the limit comes from: "service data typed in by …", "design file", a manual, "common practice,
        no source". Required: a limit without a source is no limit.
    is_default : bool
        True when it is a generic default of this program and not data for this axle.
    """

    name: Text
    low: float | None
    high: float | None
    unit: LimitUnit
    source: Text
    is_default: bool = False

    def __post_init__(self) -> None:
        if self.low is None and self.high is None:
            raise InputError(_("no edge given"), where=self.name, fix=_("give a least or a largest value"))
        for edge in (self.low, self.high):
            if edge is not None and not math.isfinite(edge):
                raise InputError(
                    _("{edge} is not a limit").format(edge=edge),
                    where=self.name,
                    fix=_("give a finite number"),
                )
        if self.low is not None and self.high is not None and self.low > self.high:
            raise InputError(
                _("least value {low} is above the largest {high} {unit}").format(
                    low=Number(self.low), high=Number(self.high), unit=self.unit
                ),
                where=self.name,
                fix=_("exchange them"),
            )
        if not str(self.source).strip():
            raise InputError(_("the limit has no source"), where=self.name, fix=_("say where it comes from"))

    @property
    def middle(self) -> float:
        """Middle of the band in `unit`; the one edge of a one-sided limit."""
        if self.low is None:
            assert self.high is not None  # one edge always exists
            return self.high
        return self.low if self.high is None else (self.low + self.high) / 2.0

    def shown(self, value: float) -> Text:
        """Return a value of this limit's kind, drawn with its unit."""
        if self.unit == "mm":
            return Length(value)
        if self.unit == "N·m":
            return Torque(value)
        number = Number(value, ".3g")
        return number if self.unit == "1" else joined(number, self.unit)

    @property
    def band(self) -> Text:
        """The band alone."""
        if self.low is None:
            return _("at most {show_value}").format(show_value=self.shown(self.middle))
        if self.high is None:
            return _("at least {show_value}").format(show_value=self.shown(self.middle))
        return _("{low} to {high}").format(low=self.shown(self.low), high=self.shown(self.high))

    def text(self) -> Text:
        """Return the band, its source, and that it is a default where it is one."""
        words = _("{name}: {band} (default, {source})") if self.is_default else _("{name}: {band} ({source})")
        return words.format(name=told(self.name), band=self.band, source=told(self.source))


@dataclass(frozen=True, slots=True)
class Verdict:
    """What a limit says of a value.

    Parameters
    ----------
    kind : {"inside", "outside", "near the edge: measure again"}
        The verdict.
    value, expanded_uncertainty : float
        The value and its 95 % half-width, in the limit's unit.
    limit : Limit
        The limit it was held against.
    margin : float
        Distance from the value to the nearest edge in the limit's unit, negative outside.
    """

    kind: VerdictKind
    value: float
    expanded_uncertainty: float
    limit: Limit
    margin: float

    def text(self) -> Text:
        """Return the verdict with value, uncertainty, limit and source."""
        value = self.limit.shown(self.value)
        if self.expanded_uncertainty:
            value = joined(value, "±", self.limit.shown(self.expanded_uncertainty))
        words = {
            "inside": _("{value} is inside. Limit: {limit}"),
            "outside": _("{value} is outside. Limit: {limit}"),
        }.get(self.kind, _("{value} is near the edge: measure again. Limit: {limit}"))
        return words.format(value=value, limit=self.limit.text())


def judge(value: float, limit: Limit, *, expanded_uncertainty: float = 0.0) -> Verdict:
    """Hold a value against a limit, with the uncertainty as guard band.

    Parameters
    ----------
    value : float
        The value, in the limit's unit.
    limit : Limit
        The permitted band.
    expanded_uncertainty : float
        Half-width of the value's 95 % interval, same unit, ≥ 0.

    Returns
    -------
    Verdict
        "inside" when the whole interval lies within the band, "outside" when all of it lies beyond one edge,
        otherwise "near the edge: measure again". Without uncertainty an edge itself is inside.
    """
    if not (math.isfinite(value) and math.isfinite(expanded_uncertainty) and expanded_uncertainty >= 0.0):
        raise InputError(
            _("{value} ± {expanded_uncertainty} is not a reading").format(
                value=value, expanded_uncertainty=expanded_uncertainty
            ),
            where=limit.name,
            fix=_("type a number"),
        )
    margins = []
    if limit.low is not None:
        margins.append(value - limit.low)
    if limit.high is not None:
        margins.append(limit.high - value)
    margin = min(margins)
    # Readings are typed in decimals and converted: the last bit of a float must not decide.
    slack = 1e-9 * max(1.0, abs(value))
    kind: VerdictKind
    if margin >= expanded_uncertainty - slack:
        kind = "inside"
    elif margin < -expanded_uncertainty - slack:
        kind = "outside"
    else:
        kind = "near the edge: measure again"
    return Verdict(kind, value, expanded_uncertainty, limit, margin)


def choose_limit(key: str, overrides: Mapping[str, Limit] | None = None) -> Limit:
    """Return the limit to use: the user's own where there is one, else the default.

    Parameters
    ----------
    key : str
        Key of `axlewright.setup.default_limits.DEFAULT_LIMITS`.
    overrides : mapping of str to Limit, optional
        Limits from service data or the design file, by the same keys.

    Raises
    ------
    InputError
        If neither knows the key, or an override has another unit than the default.
    """
    from axlewright.setup.default_limits import DEFAULT_LIMITS  # the table is made of this module's Limit

    default = DEFAULT_LIMITS.get(key)
    if overrides is not None and key in overrides:
        chosen = overrides[key]
        if default is not None and chosen.unit != default.unit:
            raise InputError(
                _("limit given in {unit}").format(unit=chosen.unit),
                where=chosen.name,
                fix=_("give it in {unit}").format(unit=default.unit),
            )
        return chosen
    if default is None:
        raise InputError(
            _("no default limit '{key}'").format(key=key),
            where=_("limits"),
            fix=_("type the limit from the axle's service data"),
        )
    return default


def inch_limit(
    name: str, low_in: float | None, high_in: float | None, source: str, *, is_default: bool = False
) -> Limit:
    """Return a length limit given in inches."""
    low = None if low_in is None else low_in * MM_PER_INCH
    high = None if high_in is None else high_in * MM_PER_INCH
    return Limit(name, low, high, "mm", source, is_default)


def lbf_in_limit(
    name: str, low_lbf_in: float | None, high_lbf_in: float | None, source: str, *, is_default: bool = False
) -> Limit:
    """Return a torque limit given in lb-in."""
    low = None if low_lbf_in is None else low_lbf_in * NM_PER_LBF_IN
    high = None if high_lbf_in is None else high_lbf_in * NM_PER_LBF_IN
    return Limit(name, low, high, "N·m", source, is_default)
