"""Running torque: measured with a wrench or a cord and scale, added up at the pinion, units doubted.

Torque in N·m. Read while running, not at breakaway: breakaway reads high (TM 10-3930-660-34;
TM 5-4210-233-14&P-1).

References
----------
ISO 6789-1:2017, hand torque tools: permitted deviation ±4 % above 10 N·m, ±6 % up to it (figures as quoted in
civil service literature, standard not at hand).
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

from axlewright.errors import InputError
from axlewright.language import Number, Text, _, n_
from axlewright.setup.limits import DEFAULT_LIMITS, judge
from axlewright.setup.measured import Term, WrittenSum
from axlewright.units import (
    NM_PER_KGF_CM,
    NM_PER_LBF_IN,
    Torque,
    as_typed,
    parse_force,
    parse_length,
    parse_torque,
)


def wrench_uncertainty_nm(reading_nm: float, resolution_nm: float = 0.0) -> float:
    """Return the standard uncertainty of a torque wrench reading [N·m].

    Permitted deviation of the tool taken as uniform, together with its resolution.

    Parameters
    ----------
    reading_nm : float
        The reading [N·m].
    resolution_nm : float
        Smallest step read [N·m].
    """
    deviation = (0.06 if reading_nm <= 10.0 else 0.04) * abs(reading_nm)
    return math.hypot(deviation / math.sqrt(3.0), resolution_nm / math.sqrt(12.0))


def torque_of_cord(
    force_n: float,
    radius_mm: float,
    *,
    force_uncertainty_n: float = 0.0,
    radius_uncertainty_mm: float = 0.0,
    label: Text = "pinion bearings",
) -> Torque:
    """Return the running torque from a cord wound round a flange and pulled with a scale, ``T = F·R``.

    Parameters
    ----------
    force_n : float
        Pull while it turns slowly and steadily [N].
    radius_mm : float
        Radius at which the cord runs off, its own half thickness included [mm].
    force_uncertainty_n, radius_uncertainty_mm : float
        Standard uncertainties.
    label : str
        What is turned.
    """
    if not (math.isfinite(force_n) and force_n >= 0.0):
        raise InputError(f"{force_n} N", where=_("pull on the cord"), fix=_("type the pull while it turns"))
    if not (math.isfinite(radius_mm) and radius_mm > 0.0):
        raise InputError(
            _("{radius_mm} mm").format(radius_mm=radius_mm),
            where=_("cord radius"),
            fix=_("measure where the cord runs off"),
        )
    u = math.hypot(force_uncertainty_n * radius_mm, force_n * radius_uncertainty_mm) / 1000.0
    return Torque(force_n * radius_mm / 1000.0, u, label=label, source=_("cord and scale"))


def total_at_pinion(pinion: Torque, seal: Torque, side: Torque, ratio: float) -> WrittenSum:
    """Return the total running torque at the pinion; side drag counts less by the ratio (statics).

    Parameters
    ----------
    pinion, seal, side : Torque
        Pinion bearings, seal, and side bearings as measured at the case.
    ratio : float
        Ring gear teeth over pinion teeth.

    Raises
    ------
    InputError
        If the ratio is not above zero, or a drag torque is below zero.
    """
    if not (math.isfinite(ratio) and ratio > 0.0):
        raise InputError(
            _("ratio {ratio}").format(ratio=ratio),
            where=_("axle ratio"),
            fix=_("give ring gear teeth over pinion teeth"),
        )
    for torque in (pinion, seal, side):
        if torque.nm < 0.0:
            raise InputError(
                f"{torque.nm} N·m", where=torque.label, fix=_("a drag torque is zero or positive")
            )
    return WrittenSum(
        _("pinion + seal + side bearings / ratio"), (Term(pinion), Term(seal), Term(side, divisor=ratio))
    )


@dataclass(frozen=True, slots=True)
class UnitSuspicion:
    """A unit that may have been meant.

    Parameters
    ----------
    meant : Text
        What the number would be in.
    value_nm : float
        The torque it would then be [N·m].
    """

    meant: Text
    value_nm: float

    def text(self) -> Text:
        """Return the question."""
        return _("Was it in {meant}? That would be {value_nm}.").format(
            meant=self.meant, value_nm=Torque(self.value_nm)
        )


TorqueUnit = Literal["lb-in", "lb-ft", "N·m"]

_SLIPS: Final[tuple[tuple[str, TorqueUnit, float], ...]] = (
    (n_("lb-in, not lb-ft"), "lb-ft", 1.0 / 12.0),
    (n_("N·cm, not N·m"), "N·m", 0.01),
    (n_("lb-in, not N·m"), "N·m", NM_PER_LBF_IN),
    (n_("kgf·cm, not N·m"), "N·m", NM_PER_KGF_CM),
    (n_("N·m, not lb-in"), "lb-in", 1.0 / NM_PER_LBF_IN),
    (n_("kgf·cm, not lb-in"), "lb-in", NM_PER_KGF_CM / NM_PER_LBF_IN),
    (n_("lb-ft, not lb-in"), "lb-in", 12.0),
)


def preload_is_too_large(value_nm: float) -> bool:
    """Whether a pinion preload lies above the plausible band of 3 to 60 lb-in."""
    high = DEFAULT_LIMITS["pinion_preload_plausible"].high
    return high is not None and value_nm > high * (1.0 + 1e-9)


def doubt_preload_unit(value_nm: float, unit: TorqueUnit | None = None) -> tuple[UnitSuspicion, ...]:
    """Return which units may have been meant when a pinion preload is not plausible; empty when it is.

    Parameters
    ----------
    value_nm : float
        The preload as understood so far [N·m].
    unit : {"lb-in", "lb-ft", "N·m"}, optional
        The unit it was typed in: slips of other units are left out. Without it all are named.

    Returns
    -------
    tuple of UnitSuspicion
        Slips of the unit that would bring it into the plausible band of 3 to 60 lb-in.
    """
    band = DEFAULT_LIMITS["pinion_preload_plausible"]
    if judge(value_nm, band).kind == "inside":
        return ()
    return tuple(
        UnitSuspicion(_(meant), value_nm * factor)
        for meant, typed_in, factor in _SLIPS
        if unit in (None, typed_in) and judge(value_nm * factor, band).kind == "inside"
    )


PairKind = Literal["length", "torque", "force"]

_READERS: Final[dict[str, Callable[[str], float]]] = {
    "length": parse_length,
    "torque": parse_torque,
    "force": parse_force,
}


def _last_digit(text: str) -> float:
    """Return the last printed digit's worth, in the text's own unit."""
    number = re.match(r"[+\-]? ?\d*+[.,]?(\d*+)", as_typed(text))
    decimals = 0 if number is None else len(number[1])
    return 10.0**-decimals


def printed_pair_question(first: str, second: str, kind: PairKind) -> Text | None:
    """Return a question when a value printed in two units does not agree with itself.

    Parameters
    ----------
    first, second : str
        The same value in two units, ``"0.002 in"`` and ``"0.057 mm"``; the second is held to be worked out
        from the first.
    kind : {"length", "torque", "force"}
        What it is.

    Returns
    -------
    Text or None
        ``None`` when both agree within the last printed digit of the second.
    """
    read = _READERS[kind]
    a, b = read(first), read(second)
    unit_b = read(re.sub(r"^[+\-]? ?[\d.,]++", "1", as_typed(second)))
    # Some texts cut the last digit off and do not round it: a whole digit is allowed.
    slack = _last_digit(second) * abs(unit_b)
    if abs(a - b) <= slack * (1.0 + 1e-9):
        return None
    if min(a, b) <= 0.0:
        return _("'{first}' and '{second}' are not the same. Which one is right?").format(
            first=first, second=second
        )
    return _("'{first}' and '{second}' are not the same, {a} times apart. Which one is right?").format(
        first=first, second=second, a=Number(max(a, b) / min(a, b), ".3g")
    )
