"""Backlash by diametral pitch: the standard table for bevel and hypoid gears.

References
----------
ANSI/AGMA 2005, backlash table as reprinted in civil service literature (standard not at hand; its last row is
misprinted there as "8.00-1.00" and is read as 8 to 10).
"""

from __future__ import annotations

import math
from typing import Final, Literal

from axlewright.errors import InputError
from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.setup.limits import Limit, inch_limit
from axlewright.units import MM_PER_INCH

AccuracyClass = Literal["higher", "lower"]

BACKLASH_BY_DIAMETRAL_PITCH: Final[
    tuple[tuple[float, float, tuple[float, float], tuple[float, float]], ...]
] = (
    (2.0, 2.5, (0.012, 0.016), (0.020, 0.030)),
    (2.5, 3.0, (0.010, 0.013), (0.015, 0.025)),
    (3.0, 3.5, (0.008, 0.011), (0.012, 0.022)),
    (3.5, 4.0, (0.007, 0.009), (0.010, 0.020)),
    (4.0, 5.0, (0.006, 0.008), (0.008, 0.016)),
    (5.0, 6.0, (0.005, 0.007), (0.006, 0.013)),
    (6.0, 8.0, (0.004, 0.006), (0.005, 0.010)),
    (8.0, 10.0, (0.003, 0.005), (0.004, 0.008)),
)
"""From and up to diametral pitch [1/in], backlash low and high [in] for quality 7 to 13, and for 3 to 6."""


def diametral_pitch_per_inch(ring_outer_diameter_mm: float, ring_teeth: int) -> float:
    """Return teeth per inch of outer pitch diameter [1/in]."""
    if not (math.isfinite(ring_outer_diameter_mm) and ring_outer_diameter_mm > 0.0):
        raise InputError(
            _("{ring_outer_diameter_mm} mm").format(ring_outer_diameter_mm=ring_outer_diameter_mm),
            where=_("ring gear diameter"),
            fix=_("give it in mm, above 0"),
        )
    if ring_teeth < 1:
        raise InputError(
            _("{ring_teeth} teeth").format(ring_teeth=ring_teeth),
            where=_("ring gear"),
            fix=_("count the teeth"),
        )
    return ring_teeth * MM_PER_INCH / ring_outer_diameter_mm


def backlash_limit_by_pitch(
    ring_outer_diameter_mm: float, ring_teeth: int, *, accuracy: AccuracyClass = "higher"
) -> Limit:
    """Return the standard backlash band for a ring gear, as a default limit.

    Parameters
    ----------
    ring_outer_diameter_mm : float
        Outer pitch diameter [mm].
    ring_teeth : int
        Teeth.
    accuracy : {"higher", "lower"}
        Quality 7 to 13 or 3 to 6.

    Returns
    -------
    Limit
        Backlash at the tightest place [mm]. A value stamped on the set or in the axle's data wins.

    Raises
    ------
    InputError
        If the pitch lies outside the table.
    """
    pitch = diametral_pitch_per_inch(ring_outer_diameter_mm, ring_teeth)
    for low, high, fine, coarse in BACKLASH_BY_DIAMETRAL_PITCH:
        if low <= pitch < high:
            band = fine if accuracy == "higher" else coarse
            return inch_limit(
                _("backlash, diametral pitch {low} to {high}, {accuracy} accuracy").format(
                    low=f"{Shown(low):g}", high=f"{Shown(high):g}", accuracy=accuracy
                ),
                *band,
                _("ANSI/AGMA 2005 table as reprinted in civil service literature"),
                is_default=True,
            )
    raise InputError(
        _("diametral pitch {pitch} lies outside the standard table of 2 to 10").format(
            pitch=f"{Shown(pitch):.2f}"
        ),
        where=_("backlash"),
        fix=_("type the backlash from the axle's service data"),
    )
