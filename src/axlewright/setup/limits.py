"""Limits as data: each with its source, each overridable by the person at the bench.

A verdict knows how well the reading is known: it says "inside" only when the whole 95 % interval is inside.

The generic defaults are examples from service literature for particular axles and stand in only where nobody
has typed the service data of the axle on the bench. Screens and sheets say so (`Limit.is_default`).

References
----------
ISO 14253-1:2017 and JCGM 106:2012 (decision rules with guard bands; principle, cited from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

from axlewright.errors import InputError
from axlewright.language import Number, Text, _, joined, n_
from axlewright.setup.sources import CIVIL, COMMON_PRACTICE, DERIVED, manual
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
        Key of `axlewright.setup.limits.DEFAULT_LIMITS`.
    overrides : mapping of str to Limit, optional
        Limits from service data or the design file, by the same keys.

    Raises
    ------
    InputError
        If neither knows the key, or an override has another unit than the default.
    """
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
    name: Text, low_in: float | None, high_in: float | None, source: Text, *, is_default: bool = False
) -> Limit:
    """Return a length limit given in inches."""
    low = None if low_in is None else low_in * MM_PER_INCH
    high = None if high_in is None else high_in * MM_PER_INCH
    return Limit(name, low, high, "mm", source, is_default)


def lbf_in_limit(
    name: Text, low_lbf_in: float | None, high_lbf_in: float | None, source: Text, *, is_default: bool = False
) -> Limit:
    """Return a torque limit given in lb-in."""
    low = None if low_lbf_in is None else low_lbf_in * NM_PER_LBF_IN
    high = None if high_lbf_in is None else high_lbf_in * NM_PER_LBF_IN
    return Limit(name, low, high, "N·m", source, is_default)


def _inch(name: Text, low: float | None, high: float | None, source: Text) -> Limit:
    return inch_limit(name, low, high, source, is_default=True)


def _lbf_in(name: Text, low: float | None, high: float | None, source: Text) -> Limit:
    return lbf_in_limit(name, low, high, source, is_default=True)


DEFAULT_LIMITS: Final[Mapping[str, Limit]] = MappingProxyType(
    {
        "backlash_light_axle": _inch(
            n_("backlash, light axle"), 0.005, 0.008, joined(manual("T2"), _(CIVIL), between="; ")
        ),
        "backlash_truck": _inch(n_("backlash, medium and heavy truck"), 0.005, 0.015, manual("T9")),
        "backlash_heavy_tandem": _inch(n_("backlash, heavy tandem, new"), 0.006, 0.016, manual("T10")),
        "backlash_earthmover": _inch(n_("backlash, earthmover"), 0.008, 0.017, manual("T19")),
        "backlash_any_tooth": _inch(n_("backlash at the tightest tooth"), 0.002, None, CIVIL),
        "backlash_spread": _inch(
            n_("spread of backlash around the ring gear"),
            None,
            0.002,
            joined(manual("T2"), _(CIVIL), between="; "),
        ),
        "backlash_per_shim": Limit(
            n_("backlash per ring gear move, plausible band"), 0.4, 1.0, "1", DERIVED, is_default=True
        ),
        "depth_remainder": _inch(n_("depth error left by the chosen spacer"), -0.001, 0.001, COMMON_PRACTICE),
        "pinion_preload_new": _lbf_in(
            n_("pinion bearing running torque, new bearings, no seal"), 5.0, 45.0, manual("T7", "T8", "T13")
        ),
        "pinion_preload_used": _lbf_in(
            n_("pinion bearing running torque, used bearings, no seal"), 10.0, 30.0, manual("T7", "T8", "T13")
        ),
        "pinion_preload_new_sleeve": _lbf_in(
            n_("pinion bearing running torque, new bearings, crushed sleeve, no seal"),
            17.0,
            25.0,
            manual("T4"),
        ),
        "pinion_preload_used_sleeve": _lbf_in(
            n_("pinion bearing running torque, used bearings, crushed sleeve, no seal"),
            10.0,
            15.0,
            manual("T4"),
        ),
        "pinion_preload_plausible": _lbf_in(n_("pinion running torque, plausible band"), 3.0, 60.0, DERIVED),
        "total_preload_new_with_seal": _lbf_in(
            n_(
                "running torque at the pinion with seal and ring gear, new bearings, where "
                "the pinion alone has 20 to 25 lb-in"
            ),
            35.0,
            40.0,
            CIVIL,
        ),
        "total_preload_used_with_seal": _lbf_in(
            n_(
                "running torque at the pinion with seal and ring gear, used bearings, where "
                "the pinion alone has 10 to 15 lb-in"
            ),
            20.0,
            25.0,
            CIVIL,
        ),
        "side_preload_rise": _lbf_in(n_("rise of pinion torque by the side bearings"), 7.0, 11.0, CIVIL),
        "flange_runout": _inch(n_("case flange runout, ring gear off"), None, 0.002, manual("T1")),
        "ring_face_runout": _inch(n_("ring gear back face runout"), None, 0.003, manual("T2")),
        "ring_face_runout_heavy": _inch(
            n_("ring gear back face runout, heavy axle"), None, 0.008, manual("T13", "T16")
        ),
        "cap_spread": _inch(n_("spread over the bearing caps"), 0.006, 0.013, manual("T22")),
        "companion_flange_runout": _inch(n_("companion flange runout"), None, 0.004, CIVIL),
        "ring_seating_gap": _inch(n_("gap between ring gear and flange"), None, 0.003, CIVIL),
        "carrier_spread": _inch(
            n_("spread of the carrier for fitting"),
            None,
            0.2 / 25.4,
            "Heisler, Advanced Vehicle Technology (attribution from memory)",
        ),
    }
)
"""Default limits by key."""
