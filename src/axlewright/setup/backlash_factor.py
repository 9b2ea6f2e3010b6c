"""How much backlash changes when a gear moves along its axis: from the design, or learned on the axle.

References
----------
The change of transverse backlash with an axial move of the ring gear,
``Δj_t = ΔG · sin δ2 · (tan α_drive + tan α_coast) / cos β2``, follows from the tooth normals of both flanks
(derived in ``docs/setup.md``); for a straight bevel gear it is the familiar ``2 tan α sin δ``.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal

from axlewright.errors import InputError
from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.setup.default_limits import DEFAULT_LIMITS
from axlewright.setup.limits import Limit, judge

StemDirection = Literal["in_rotation", "square_to_tooth"]

START_FACTOR: Final = 0.7
"""Backlash per ring gear move before anything is known: middle of the printed rules 0.5 to 0.8
(TM 9-2320-289-34 ch 6; civil service literature, maker withheld)."""


def backlash_per_ring_move(
    ring_pitch_angle_deg: float,
    ring_spiral_angle_deg: float,
    drive_pressure_angle_deg: float,
    coast_pressure_angle_deg: float,
    *,
    heel_radius_ratio: float = 1.0,
    stem: StemDirection = "in_rotation",
    heel_spiral_angle_deg: float | None = None,
) -> float:
    """Return how much the backlash grows when the ring gear moves away by one unit of length.

    Parameters
    ----------
    ring_pitch_angle_deg : float
        Pitch angle δ2 of the ring gear [deg], 0 < δ2 ≤ 90.
    ring_spiral_angle_deg : float
        Mean spiral angle β2 of the ring gear [deg].
    drive_pressure_angle_deg, coast_pressure_angle_deg : float
        Normal pressure angles of the two flanks [deg], each measured to the pitch plane's normal.
    heel_radius_ratio : float
        Radius at which the indicator stands over the mean pitch radius, usually 1.1 to 1.2; 1 gives the value
        at the pitch point.
    stem : {"in_rotation", "square_to_tooth"}
        How the indicator stands. Square to the tooth reads ``cos β · cos α`` times less, α the mean of both.
    heel_spiral_angle_deg : float, optional
        Spiral angle where the indicator stands [deg]; the mean one when left out.

    Returns
    -------
    float
        ``k = Δj/ΔG``, without unit.
    """
    for value, low, high, name in (
        (ring_pitch_angle_deg, 0.0, 90.0, _("ring gear pitch angle")),
        (drive_pressure_angle_deg, 0.0, 45.0, _("drive pressure angle")),
        (coast_pressure_angle_deg, 0.0, 45.0, _("coast pressure angle")),
        (abs(ring_spiral_angle_deg), -1.0, 65.0, _("ring gear spiral angle")),
    ):
        if not low < value <= high:
            raise InputError(
                _("{value} deg").format(value=value),
                where=name,
                fix=_("give an angle up to {high} deg").format(high=f"{Shown(high):g}"),
            )
    if not 0.5 <= heel_radius_ratio <= 2.0:
        raise InputError(
            f"{heel_radius_ratio}",
            where=_("heel radius ratio"),
            fix=_("give indicator radius over mean radius, about 1.15"),
        )
    beta = math.radians(ring_spiral_angle_deg)
    alpha_d, alpha_c = math.radians(drive_pressure_angle_deg), math.radians(coast_pressure_angle_deg)
    k = (
        math.sin(math.radians(ring_pitch_angle_deg))
        * (math.tan(alpha_d) + math.tan(alpha_c))
        / math.cos(beta)
    )
    k *= heel_radius_ratio
    if stem == "square_to_tooth":
        beta_there = beta if heel_spiral_angle_deg is None else math.radians(heel_spiral_angle_deg)
        k *= math.cos(beta_there) * math.cos((alpha_d + alpha_c) / 2.0)
    elif stem != "in_rotation":
        raise InputError(
            _("unknown stem direction '{stem}'").format(stem=stem),
            where=_("backlash"),
            fix=_("in_rotation or square_to_tooth"),
        )
    return k


def backlash_per_pinion_move(
    pinion_pitch_angle_deg: float,
    ring_spiral_angle_deg: float,
    drive_pressure_angle_deg: float,
    coast_pressure_angle_deg: float,
    *,
    heel_radius_ratio: float = 1.0,
    stem: StemDirection = "in_rotation",
    heel_spiral_angle_deg: float | None = None,
) -> float:
    """Return how much the backlash at the ring gear grows when the pinion moves out by one unit of length.

    The same sum as `backlash_per_ring_move` with the pinion pitch angle δ1: only the share of the move
    normal to the pitch plane opens both flanks, and the gap is read at the ring gear. First order at the
    pitch point with both flanks at one spiral angle: real sets roll to 1.2 to 1.7 times as much, so use
    `axlewright.contact.backlash_per_move` where a design is at hand.

    Parameters
    ----------
    pinion_pitch_angle_deg : float
        Pitch angle δ1 of the pinion [deg].
    ring_spiral_angle_deg, drive_pressure_angle_deg, coast_pressure_angle_deg
        As for `backlash_per_ring_move`.
    heel_radius_ratio, stem, heel_spiral_angle_deg
        As for `backlash_per_ring_move`.
    """
    return backlash_per_ring_move(
        pinion_pitch_angle_deg,
        ring_spiral_angle_deg,
        drive_pressure_angle_deg,
        coast_pressure_angle_deg,
        heel_radius_ratio=heel_radius_ratio,
        stem=stem,
        heel_spiral_angle_deg=heel_spiral_angle_deg,
    )


def backlash_of_flange_turn(turn_deg: float, ratio: float, heel_radius_mm: float) -> float:
    """Return the backlash at the heel [mm] from the free turn of the companion flange, ring gear held.

    ``j = turn · heel radius / ratio`` (kinematics). Spline play is in it, so it is a check and no setting.

    Parameters
    ----------
    turn_deg : float
        Free turn of the companion flange [deg], ≥ 0.
    ratio : float
        Ring gear teeth over pinion teeth.
    heel_radius_mm : float
        Radius of the ring gear's heel [mm].
    """
    if not (math.isfinite(turn_deg) and turn_deg >= 0.0):
        raise InputError(
            _("{turn_deg} deg").format(turn_deg=turn_deg),
            where=_("turn of the companion flange"),
            fix=_("give the free turn, 0 or more"),
        )
    if not (ratio > 0.0 and heel_radius_mm > 0.0):
        raise InputError(
            _("ratio {ratio}, heel radius {heel_radius_mm} mm").format(
                ratio=ratio, heel_radius_mm=heel_radius_mm
            ),
            where=_("backlash"),
            fix=_("both are above 0"),
        )
    return math.radians(turn_deg) * heel_radius_mm / ratio


@dataclass(frozen=True, slots=True)
class LearnedFactor:
    """Backlash per ring gear move, learned on this axle.

    Parameters
    ----------
    value : float
        ``k``, without unit.
    standard_uncertainty : float
        From the uncertainty of both backlash readings.
    source : str
        How it was found.
    """

    value: float
    standard_uncertainty: float
    source: str


def learn_backlash_factor(
    backlash_before_mm: float,
    backlash_after_mm: float,
    ring_away_mm: float,
    *,
    reading_uncertainty_mm: float = 0.0,
    plausible: Limit | None = None,
) -> LearnedFactor:
    """Learn the backlash per ring gear move from two readings at the same tooth.

    Parameters
    ----------
    backlash_before_mm, backlash_after_mm : float
        Backlash before and after the move [mm], same tooth and same stem.
    ring_away_mm : float
        The move between them [mm], positive away from the pinion.
    reading_uncertainty_mm : float
        Standard uncertainty of one backlash reading [mm].
    plausible : Limit, optional
        Band in which a factor is believed, 0.4 to 1.0 by default.

    Raises
    ------
    InputError
        If the gear was not moved, a reading shows zero backlash (part of the move is then not seen),
        or the factor lies outside the band.
    """
    if ring_away_mm == 0.0:
        raise InputError(
            _("the ring gear was not moved"), where=_("backlash factor"), fix=_("move it, then read again")
        )
    if min(backlash_before_mm, backlash_after_mm) <= 0.0:
        raise InputError(
            _("one of the readings is zero"),
            where=_("backlash factor"),
            fix=_("learn from two readings with free backlash"),
        )
    k = (backlash_after_mm - backlash_before_mm) / ring_away_mm
    u = math.sqrt(2.0) * reading_uncertainty_mm / abs(ring_away_mm)
    verdict = judge(k, plausible or DEFAULT_LIMITS["backlash_per_shim"])
    if verdict.kind == "outside":
        raise InputError(
            _("backlash changed {k} times the ring gear's move, which is not plausible").format(
                k=f"{Shown(k):.2f}"
            ),
            where=_("backlash factor"),
            fix=_("check preload, shims and the indicator, then read both again"),
        )
    return LearnedFactor(k, u, _("learned from two readings on this axle"))
