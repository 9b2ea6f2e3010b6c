"""Speed over time, tyre circumference, and how far each may be wrong.

Only the ratio of speed to circumference, the wheel's turn rate, matters to the sound. Both carry a
relative standard deviation; together they are the prior of the tracker.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from axlewright.errors import InputError
from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.units import as_typed, parse_length, parse_speed, show_speed

FloatArray = NDArray[np.float64]
SpeedSource = Literal["typed", "dashboard", "satellite", "wheel sensor"]

SPEED_SIGMA: Final[dict[str, float]] = {
    "typed": 0.03,
    "dashboard": 0.03,
    "satellite": 0.008,
    "wheel sensor": 0.002,
}
"""Relative standard deviation by where the speed comes from; our judgement, no source."""
SPEED_CENTRE: Final[dict[str, float]] = {
    "typed": 0.0,
    "dashboard": -0.025,
    "satellite": 0.0,
    "wheel sensor": 0.0,
}
"""Expected relative error. A dashboard never reads low: UN R39 allows 0 to +10 % + 4 km/h, so the true
speed lies below what it shows; −2.5 % as the middle is our judgement."""
FASTEST_MPS: Final = 70.0
SLOWEST_MPS: Final = 1.0
SURE_GAP_S: Final = 10.0
SURE_REACH_S: Final = 4.0
WHEEL_RATE_RANGE_HZ: Final = (0.8, 32.0)
"""Turns a second that a road wheel can mean: from walking pace to about 150 mph on a small tyre."""
HARDEST_ACCELERATION_MPS2: Final = 12.0


@dataclass(frozen=True, slots=True)
class Tyre:
    """A tyre's rolling circumference.

    Parameters
    ----------
    circumference_m : float
        Distance per wheel turn [m].
    sigma : float
        Relative standard deviation of it.
    source : str
        How it is known.
    """

    circumference_m: float
    sigma: float
    source: str

    def __post_init__(self) -> None:
        if not 0.9 <= self.circumference_m <= 6.5:
            raise InputError(
                _("a rolling circumference of {circumference_m} m fits no road or farm tyre").format(
                    circumference_m=f"{Shown(self.circumference_m):.3g}"
                ),
                where=_("tyre"),
                fix=_("mark the tyre, roll one full turn and measure the way (for example 2.10 m)"),
            )


def tyre_from_rollout(text: str | float) -> Tyre:
    """Take a measured roll-out, for example ``"2.10 m"`` or ``"82.7 in"``; a bare number is metres."""
    circumference = parse_length(text, default_unit="m", where=_("tyre roll-out")) / 1000.0
    return Tyre(circumference, 0.005, _("measured roll-out"))


def tyre_from_revolutions_per_mile(revolutions: float) -> Tyre:
    """Take the maker's revolutions per mile (1 mi = 1609.344 m)."""
    if not 200 <= revolutions <= 1800:
        raise InputError(
            _("{revolutions} revolutions per mile fit no tyre").format(revolutions=f"{Shown(revolutions):g}"),
            where=_("tyre"),
            fix=_("a car tyre turns about 600 to 900 times"),
        )
    return Tyre(1609.344 / revolutions, 0.015, _("revolutions per mile"))


_METRIC: Final = re.compile(r"(?:P|LT)? ?(\d{3}) ?/ ?(\d{2,3}) ?(?:Z?R|-|B|D)? ?(\d{2}(?:\.5)?)\b", re.I)
_FLOTATION: Final = re.compile(r"(\d{2}(?:\.\d++)?) ?[x×] ?\d{1,2}(?:\.\d++)? ?(?:R|-)? ?\d{2}\b", re.I)


def tyre_from_size(text: str) -> Tyre:
    """Compute the rolling circumference from a size such as ``205/55 R16`` or ``31x10.5 R15``.

    The outer diameter is rim plus twice the section height; a loaded radial tyre rolls 3.05 diameters
    a turn instead of 3.14 (European tyre makers' design factor, from memory). Standard deviation 2 %.
    """
    clean = as_typed(text, where=_("tyre"))
    match = _METRIC.match(clean)
    if match:
        width, aspect, rim = float(match[1]), float(match[2]), float(match[3])
        diameter = rim * 25.4 + 2 * width * aspect / 100.0
    else:
        other = _FLOTATION.match(clean)
        if other is None:
            raise InputError(
                _("'{text}' is no tyre size that can be read").format(text=text),
                where=_("tyre"),
                fix=_("type it like 205/55 R16 or 31x10.5 R15, or measure the roll-out"),
            )
        diameter = float(other[1]) * 25.4
    return Tyre(3.05 * diameter / 1000.0, 0.02, f"size {text.strip()}")


@dataclass(frozen=True, slots=True)
class SpeedTrace:
    """Speed over time as it is believed before listening.

    Parameters
    ----------
    times_s : ndarray, shape (n,)
        Rising times from the start of the recording [s].
    speed_mps : ndarray, shape (n,)
        Speed at those times [m/s], linear between.
    source : str
        ``typed``, ``dashboard``, ``satellite`` or ``wheel sensor``.
    sigma : float
        Relative standard deviation of a slowly varying error.
    centre : float
        Expected relative error (true minus stated).
    constant : bool
        True when one number was typed for the whole recording.
    """

    times_s: FloatArray
    speed_mps: FloatArray
    source: SpeedSource = "typed"
    sigma: float = 0.03
    centre: float = 0.0
    constant: bool = False

    def at(self, times_s: FloatArray) -> FloatArray:
        """Return the believed speed [m/s] at `times_s`, held constant beyond the ends."""
        result: FloatArray = np.interp(times_s, self.times_s, self.speed_mps) * (1 + self.centre)
        return result

    def unknown_spans(self, duration_s: float) -> tuple[tuple[float, float], ...]:
        """Return the stretches so far from any mark that the speed between is anybody's guess.

        Between two marks no more than `SURE_GAP_S` apart the speed is taken as a straight line; else
        it is known for `SURE_REACH_S` on either side of a mark.
        """
        if self.constant:
            return ()
        ends = np.concatenate([[-SURE_REACH_S], self.times_s, [duration_s + SURE_REACH_S]])
        return tuple(
            (max(a + SURE_REACH_S, 0.0), min(b - SURE_REACH_S, duration_s))
            for a, b in pairwise(ends.tolist())
            if b - a > max(SURE_GAP_S, 2 * SURE_REACH_S)
        )


def make_trace(
    times_s: FloatArray | list[float],
    speed_mps: FloatArray | list[float],
    source: SpeedSource,
    *,
    constant: bool = False,
    where: str = "speed",
) -> SpeedTrace:
    """Check times and speeds and make a `SpeedTrace`.

    Raises
    ------
    InputError
        If times do not rise, a speed is impossible, or the vehicle would have to jump.
    """
    t = np.asarray(times_s, dtype=np.float64)
    v = np.asarray(speed_mps, dtype=np.float64)
    if t.size == 0 or t.size != v.size:
        raise InputError(
            _("there is no speed in it"), where=where, fix=_("give at least one time with a speed")
        )
    if not (np.all(np.isfinite(t)) and np.all(np.isfinite(v))):
        raise InputError(_("a time or a speed is no number"), where=where)
    if np.any(np.diff(t) <= 0):
        raise InputError(_("times must rise from line to line"), where=where, fix=_("sort the marks by time"))
    if v.min() < 0 or v.max() > FASTEST_MPS:
        worst = float(v.max() if v.max() > FASTEST_MPS else v.min())
        raise InputError(
            _("a speed of {speed} is not possible here").format(speed=show_speed(worst)),
            where=where,
            fix=_("check the unit: mph or km/h"),
        )
    if v.max() < SLOWEST_MPS:
        raise InputError(_("the vehicle does not move"), where=where, fix=_("record while driving"))
    if t.size > 1:
        hardest = float(np.max(np.abs(np.diff(v) / np.diff(t))))
        if hardest > HARDEST_ACCELERATION_MPS2:
            raise InputError(
                _("the speed jumps by {hardest} m/s each second, which no vehicle does").format(
                    hardest=f"{hardest:.0f}"
                ),
                where=where,
                fix=_("check times and units of the marks"),
            )
    return SpeedTrace(t, v, source, SPEED_SIGMA[source], SPEED_CENTRE[source], constant)


def constant_speed(text: str | float, source: SpeedSource = "typed") -> SpeedTrace:
    """One speed for the whole recording, for example ``"45 mph"``."""
    speed = parse_speed(text, where=_("speed"))
    return make_trace([0.0], [speed], source, constant=True, where=_("speed"))


def check_wheel_rate(trace: SpeedTrace, tyre: Tyre) -> None:
    """Refuse a speed that this tyre cannot mean.

    Raises
    ------
    InputError
        If the wheel would turn slower than walking pace or faster than any road wheel.
    """
    fastest = float(trace.speed_mps.max()) / tyre.circumference_m
    if not WHEEL_RATE_RANGE_HZ[0] <= fastest <= WHEEL_RATE_RANGE_HZ[1]:
        raise InputError(
            _(
                "{speed} on a tyre of {circumference_m} m means {fastest} wheel turns a "
                "second, which cannot be"
            ).format(
                speed=show_speed(float(trace.speed_mps.max())),
                circumference_m=f"{Shown(tyre.circumference_m):.2f}",
                fastest=f"{Shown(fastest):.1f}",
            ),
            where=_("speed"),
            fix=_("check the speed's unit and the roll-out"),
        )


def prior_sigma(trace: SpeedTrace, tyre: Tyre) -> float:
    """Return the relative standard deviation of the wheel's turn rate."""
    return math.hypot(trace.sigma, tyre.sigma)
