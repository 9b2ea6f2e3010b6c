"""Backlash: its limits by pitch, its change when a gear moves, and the move that brings it to its target.

The tightest place around the ring gear decides, and reading again after the move is the only proof.

References
----------
The change of transverse backlash with an axial move of the ring gear,
``Δj_t = ΔG · sin δ2 · (tan α_drive + tan α_coast) / cos β2``, follows from the tooth normals of both flanks
(derived in ``docs/setup.md``); for a straight bevel gear it is the familiar ``2 tan α sin δ``.

ANSI/AGMA 2005, backlash table as reprinted in civil service literature (standard not at hand; its last row is
misprinted there as "8.00-1.00" and is read as 8 to 10).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from axlewright.errors import InputError
from axlewright.language import Number, Text, _, n_
from axlewright.setup.limits import DEFAULT_LIMITS, Limit, Verdict, inch_limit, judge, told
from axlewright.units import MM_PER_INCH, Length

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
            name = (
                _("backlash, diametral pitch {low} to {high}, higher accuracy")
                if accuracy == "higher"
                else _("backlash, diametral pitch {low} to {high}, lower accuracy")
            )
            return inch_limit(
                name.format(low=Number(low), high=Number(high)),
                *band,
                _("ANSI/AGMA 2005 table as reprinted in civil service literature"),
                is_default=True,
            )
    raise InputError(
        _("diametral pitch {pitch} lies outside the standard table of 2 to 10").format(
            pitch=Number(pitch, ".2f")
        ),
        where=_("backlash"),
        fix=_("type the backlash from the axle's service data"),
    )


StemDirection = Literal["in_rotation", "square_to_tooth"]

START_SOURCE: Final = n_("start value, learn it from the next reading")
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
                fix=_("give an angle up to {high} deg").format(high=Number(high)),
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
    source : Text
        How it was found.
    """

    value: float
    standard_uncertainty: float
    source: Text


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
                k=Number(k, ".2f")
            ),
            where=_("backlash factor"),
            fix=_("check preload, shims and the indicator, then read both again"),
        )
    return LearnedFactor(k, u, _("learned from two readings on this axle"))


@dataclass(frozen=True, slots=True)
class BacklashReadings:
    """Backlash read at several places around the ring gear.

    Parameters
    ----------
    readings_mm : tuple of float
        Backlash at each place [mm], ≥ 0, in order around the gear, evenly spaced.
    expanded_uncertainty_mm : float
        95 % half-width of one reading [mm].
    stem : {"in_rotation", "square_to_tooth"} or ""
        How the indicator stood at the heel; empty when not recorded.
    heel_radius_mm : float or None
        Radius at which it was read [mm].
    """

    readings_mm: tuple[float, ...]
    expanded_uncertainty_mm: float = 0.0
    stem: StemDirection | Literal[""] = ""
    heel_radius_mm: float | None = None

    def __post_init__(self) -> None:
        if not self.readings_mm:
            raise InputError(
                _("no reading"), where=_("backlash"), fix=_("read at four places at least, eight are better")
            )
        for i, value in enumerate(self.readings_mm):
            if not (math.isfinite(value) and value >= 0.0):
                raise InputError(
                    _("reading {i} is {value} mm").format(i=i + 1, value=value),
                    where=_("backlash"),
                    fix=_("backlash is zero or positive"),
                )
        if self.stem not in ("", "in_rotation", "square_to_tooth"):
            raise InputError(
                _("unknown stem direction '{stem}'").format(stem=self.stem),
                where=_("backlash"),
                fix=_("in_rotation or square_to_tooth"),
            )

    @property
    def minimum_mm(self) -> float:
        """Backlash at the tightest place [mm]."""
        return min(self.readings_mm)

    @property
    def maximum_mm(self) -> float:
        """Backlash at the loosest place [mm]."""
        return max(self.readings_mm)

    @property
    def spread_mm(self) -> float:
        """Largest minus smallest [mm]."""
        return self.maximum_mm - self.minimum_mm

    @property
    def mean_mm(self) -> float:
        """Mean of the readings [mm]."""
        return math.fsum(self.readings_mm) / len(self.readings_mm)

    @property
    def tightest_index(self) -> int:
        """Place of the tightest reading in the list, from 0."""
        return self.readings_mm.index(self.minimum_mm)

    @property
    def tightest_angle_deg(self) -> float:
        """Angle of the tightest place from the first reading [deg], places evenly spaced."""
        return 360.0 * self.tightest_index / len(self.readings_mm)

    @property
    def notes(self) -> tuple[Text, ...]:
        """What is missing in these readings, as sentences."""
        found = []
        if len(self.readings_mm) < 4:
            found.append(_("Fewer than four places: the tightest tooth may not be among them."))
        if not self.stem:
            found.append(
                _("Stem direction not recorded: square to the tooth reads less than in line with rotation.")
            )
        return tuple(found)


@dataclass(frozen=True, slots=True)
class BacklashVerdict:
    """Backlash held against its limits.

    Parameters
    ----------
    readings : BacklashReadings
        What was read.
    at_tightest : Verdict
        The band, judged at the tightest place.
    spread : Verdict
        The spread around the gear.
    any_tooth : Verdict
        The absolute least backlash.
    """

    readings: BacklashReadings
    at_tightest: Verdict
    spread: Verdict
    any_tooth: Verdict

    @property
    def verdicts(self) -> tuple[Verdict, Verdict, Verdict]:
        """All three verdicts."""
        return self.at_tightest, self.spread, self.any_tooth

    @property
    def all_inside(self) -> bool:
        """Whether all three are inside."""
        return all(v.kind == "inside" for v in self.verdicts)


def judge_backlash(
    readings: BacklashReadings,
    band: Limit,
    *,
    spread: Limit | None = None,
    any_tooth: Limit | None = None,
) -> BacklashVerdict:
    """Hold backlash readings against their limits.

    Parameters
    ----------
    readings : BacklashReadings
        What was read.
    band : Limit
        Permitted backlash [mm]; applies at the tightest place (civil service literature, maker withheld).
        There is no default: it depends on the axle, and a value etched on the set wins.
    spread, any_tooth : Limit, optional
        Permitted spread and absolute least value [mm]; the defaults of this program where left out.

    Notes
    -----
    The spread is a difference of two readings: its 95 % half-width is √2 times that of one.
    """
    u = readings.expanded_uncertainty_mm
    return BacklashVerdict(
        readings,
        judge(readings.minimum_mm, band, expanded_uncertainty=u),
        judge(
            readings.spread_mm,
            spread or DEFAULT_LIMITS["backlash_spread"],
            expanded_uncertainty=math.sqrt(2.0) * u,
        ),
        judge(readings.minimum_mm, any_tooth or DEFAULT_LIMITS["backlash_any_tooth"], expanded_uncertainty=u),
    )


@dataclass(frozen=True, slots=True)
class RingMove:
    """A ring gear move for a backlash target.

    Parameters
    ----------
    now_mm, target_mm : float
        Backlash at the tightest place now and wanted [mm].
    factor : float
        Backlash per ring gear move used.
    factor_source : Text
        Where the factor comes from.
    standard_uncertainty_mm : float
        Standard uncertainty of the backlash to expect after the move [mm].
    """

    now_mm: float
    target_mm: float
    factor: float
    factor_source: Text
    standard_uncertainty_mm: float = 0.0

    @property
    def ring_away_mm(self) -> float:
        """The move [mm], positive away from the pinion (more backlash)."""
        return (self.target_mm - self.now_mm) / self.factor

    @property
    def ring_side_change_mm(self) -> float:
        """Change of the shim on the ring gear's back side [mm]: thicker pushes the gear toward the pinion."""
        return -self.ring_away_mm

    @property
    def other_side_change_mm(self) -> float:
        """Change of the shim on the other side [mm]: equal and opposite, so that the preload stays."""
        return self.ring_away_mm

    def text(self) -> Text:
        """Return the move as a sum and as what to do with the two shims."""
        move = Length(self.ring_away_mm, signed=True)
        if move.shows_as_zero():
            return _("The backlash is at its target; nothing to move.")
        words = (
            _(
                "({target} − {now}) / {factor} = {move}: move the ring gear {by} away from the pinion, "
                "ring gear side that much thinner, other side that much thicker. Factor: {factor_source}."
            )
            if self.ring_away_mm > 0
            else _(
                "({target} − {now}) / {factor} = {move}: move the ring gear {by} toward the pinion, "
                "other side that much thinner, ring gear side that much thicker. Factor: {factor_source}."
            )
        )
        return words.format(
            target=Length(self.target_mm),
            now=Length(self.now_mm),
            factor=Number(self.factor, ".2f"),
            move=move,
            by=Length(abs(self.ring_away_mm)),
            factor_source=told(self.factor_source),
        )


def ring_move_for_backlash(
    readings: BacklashReadings | Sequence[float],
    target_mm: float,
    *,
    factor: float | LearnedFactor = START_FACTOR,
    factor_source: Text = START_SOURCE,
) -> RingMove:
    """Return the ring gear move that brings the tightest place to its target.

    Parameters
    ----------
    readings : BacklashReadings or sequence of float
        What was read now [mm].
    target_mm : float
        Backlash wanted at the tightest place [mm], ≥ 0.
    factor : float or LearnedFactor
        Backlash per ring gear move ``k``; from `backlash_per_ring_move` or `learn_backlash_factor`.
    factor_source : Text
        Where `factor` comes from; a `LearnedFactor` brings its own.

    Notes
    -----
    The uncertainty to expect after the move is that of the present reading together with that of a learned
    factor over the move. Reading again after the move remains the only proof.
    """
    if not isinstance(readings, BacklashReadings):
        readings = BacklashReadings(tuple(readings))
    if not (math.isfinite(target_mm) and target_mm >= 0.0):
        raise InputError(
            _("target {target_mm} mm").format(target_mm=target_mm),
            where=_("backlash"),
            fix=_("give the backlash wanted, 0 or more"),
        )
    u_factor = 0.0
    if isinstance(factor, LearnedFactor):
        k, factor_source, u_factor = factor.value, factor.source, factor.standard_uncertainty
    else:
        k = factor
    if not 0.1 <= k <= 2.0:
        raise InputError(
            _("factor {k}").format(k=k),
            where=_("backlash"),
            fix=_("backlash per ring gear move is about 0.7"),
        )
    now = readings.minimum_mm
    u = math.hypot(readings.expanded_uncertainty_mm / 2.0, u_factor * (target_mm - now) / k)
    return RingMove(now, target_mm, k, factor_source, u)
