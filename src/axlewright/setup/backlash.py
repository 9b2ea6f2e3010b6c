"""Backlash around the ring gear, and the ring gear move that brings it to its target.

The tightest place decides, and reading again after the move is the only proof.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from axlewright.errors import InputError
from axlewright.language import Shown
from axlewright.language import eager as _
from axlewright.setup.backlash_factor import START_FACTOR, LearnedFactor, StemDirection
from axlewright.setup.default_limits import DEFAULT_LIMITS
from axlewright.setup.limits import Limit, Verdict, judge
from axlewright.units import System, show_length, shows_as_zero


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
    def notes(self) -> tuple[str, ...]:
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
    factor_source : str
        Where the factor comes from.
    standard_uncertainty_mm : float
        Standard uncertainty of the backlash to expect after the move [mm].
    """

    now_mm: float
    target_mm: float
    factor: float
    factor_source: str
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

    def text(self, system: System = "inch") -> str:
        """Return the move as a sum and as what to do with the two shims."""
        if shows_as_zero(self.ring_away_mm, system):
            return _("The backlash is at its target; nothing to move.")
        where = _("away from") if self.ring_away_mm > 0 else _("toward")
        thin, thick = (
            (_("ring gear side"), _("other side"))
            if self.ring_away_mm > 0
            else (_("other side"), _("ring gear side"))
        )
        by = show_length(abs(self.ring_away_mm), system)
        return _(
            "({target_mm} − {now_mm}) / {factor} = {ring_away_mm}: move the ring gear "
            "{by} {where} the pinion, {thin} that much thinner, {thick} that much "
            "thicker. Factor: {factor_source}."
        ).format(
            target_mm=show_length(self.target_mm, system),
            now_mm=show_length(self.now_mm, system),
            factor=f"{Shown(self.factor):.2f}",
            ring_away_mm=show_length(self.ring_away_mm, system, signed=True),
            by=by,
            where=where,
            thin=thin,
            thick=thick,
            factor_source=self.factor_source,
        )


def ring_move_for_backlash(
    readings: BacklashReadings | Sequence[float],
    target_mm: float,
    *,
    factor: float | LearnedFactor = START_FACTOR,
    factor_source: str = "start value 0.7, learn it from the next reading",
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
    factor_source : str
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
