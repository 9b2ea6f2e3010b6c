"""Runout around the ring gear: harmonic fit, flange and gear told apart by re-indexing, link to backlash.

A dial on the ring gear's back face at angle θ reads ``mean + a1·cos(θ − φ1) + a2·cos(2(θ − φ2))``. The first
harmonic is a tilted face, the second a saddle (bolts, bent flange).

References
----------
Reversal: R. R. Donaldson, A simple method for separating spindle error from test ball roundness error, CIRP
Annals 21 (1972) 125-126 (cited from memory); here for one harmonic and any angle of re-indexing, derived in
``docs/setup.md``.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from axlewright.errors import InputError
from axlewright.language import Number, Text, _, plural
from axlewright.units import Length

LEAST_READINGS: Final = 4
LEAST_READINGS_FOR_SADDLE: Final = 6


@dataclass(frozen=True, slots=True)
class RunoutFit:
    """Harmonic fit of readings around a gear.

    Parameters
    ----------
    count : int
        Number of readings.
    mean_mm : float
        Mean reading [mm].
    first_mm, second_mm : complex
        First and second harmonic as ``a·exp(i·n·φ)`` [mm]: size and place of the high point.
    residual_mm : float
        Standard deviation of what the fit leaves [mm]; 0 when no reading is left over to judge by.
    degrees_of_freedom : int
        Readings minus fitted numbers.
    tir_mm : float
        Total indicator reading: largest minus smallest reading [mm].
    """

    count: int
    mean_mm: float
    first_mm: complex
    second_mm: complex
    residual_mm: float
    degrees_of_freedom: int
    tir_mm: float

    @property
    def first_tir_mm(self) -> float:
        """Indicator reading that the tilt alone would give [mm], twice its size."""
        return 2.0 * abs(self.first_mm)

    @property
    def first_high_deg(self) -> float:
        """Angle of the tilt's high point [deg], 0 to 360."""
        return math.degrees(cmath.phase(self.first_mm)) % 360.0

    @property
    def saddle_tir_mm(self) -> float:
        """Indicator reading that the saddle alone would give [mm]."""
        return 2.0 * abs(self.second_mm)

    @property
    def saddle_high_deg(self) -> float:
        """Angle of the saddle's first high point [deg], 0 to 180."""
        return (math.degrees(cmath.phase(self.second_mm)) / 2.0) % 180.0

    @property
    def amplitude_uncertainty_mm(self) -> float:
        """Standard uncertainty of either harmonic's size [mm], ``s·√(2/n)`` for even spacing."""
        return self.residual_mm * math.sqrt(2.0 / self.count)

    def value_mm(self, angle_deg: float) -> float:
        """Return the fitted reading at an angle [mm]."""
        turn = cmath.exp(-1j * math.radians(angle_deg))
        return self.mean_mm + (self.first_mm * turn).real + (self.second_mm * turn**2).real

    def text(self) -> Text:
        """Return the fit in words."""
        if self.count < LEAST_READINGS_FOR_SADDLE:
            words = _("Total {total}; tilt {tilt}, high at {at}°.")
        elif self.saddle_tir_mm <= 2.0 * 1.96 * self.amplitude_uncertainty_mm:
            words = _("Total {total}; tilt {tilt}, high at {at}°; no saddle beyond the scatter.")
        else:
            words = _(
                "Total {total}; tilt {tilt}, high at {at}°; saddle {saddle}, high at {saddle_at}°."
            ).format(saddle=Length(self.saddle_tir_mm), saddle_at=round(self.saddle_high_deg) % 180)
        return words.format(
            total=Length(self.tir_mm),
            tilt=Length(self.first_tir_mm),
            at=round(self.first_high_deg) % 360,
        )


def fit_runout(readings_mm: Sequence[float], angles_deg: Sequence[float] | None = None) -> RunoutFit:
    """Fit the first and second harmonic to readings around a gear by least squares.

    Parameters
    ----------
    readings_mm : sequence of float
        Readings [mm], at least four; the second harmonic is fitted from six on and is 0 below.
    angles_deg : sequence of float, optional
        Their angles [deg]; evenly spaced from 0 when left out.

    Raises
    ------
    InputError
        If there are too few readings or the angles do not tell the harmonics apart.
    """
    import numpy as np  # here, so that the page starts without it

    values = np.asarray(readings_mm, dtype=float)
    n = values.size
    if n < LEAST_READINGS or not np.all(np.isfinite(values)):
        raise InputError(
            _("{n} readings").format(n=n),
            where=_("runout"),
            fix=_("give at least {least_readings} numbers around the gear").format(
                least_readings=LEAST_READINGS
            ),
        )
    if angles_deg is None:
        theta = np.arange(n) * (2.0 * math.pi / n)
    else:
        theta = np.radians(np.asarray(angles_deg, dtype=float))
        if theta.size != n:
            raise InputError(
                _("{size} angles for {n} readings").format(size=theta.size, n=n),
                where=_("runout"),
                fix=_("give one angle for each reading"),
            )
    columns = [np.ones(n), np.cos(theta), np.sin(theta)]
    if n >= LEAST_READINGS_FOR_SADDLE:
        columns += [np.cos(2.0 * theta), np.sin(2.0 * theta)]
    matrix = np.stack(columns, axis=1)
    if np.linalg.cond(matrix) > 50.0:
        raise InputError(
            _("the angles lie too close together"),
            where=_("runout"),
            fix=_("spread the readings around the whole gear"),
        )
    solution = np.linalg.lstsq(matrix, values, rcond=None)[0]
    left = values - matrix @ solution
    freedom = n - len(columns)
    residual = math.sqrt(float(left @ left) / freedom) if freedom > 0 else 0.0
    second = complex(solution[3], solution[4]) if len(columns) == 5 else 0j
    return RunoutFit(
        count=n,
        mean_mm=float(solution[0]),
        first_mm=complex(solution[1], solution[2]),
        second_mm=second,
        residual_mm=residual,
        degrees_of_freedom=freedom,
        tir_mm=float(np.ptp(values)),
    )


@dataclass(frozen=True, slots=True)
class Separated:
    """Flange and gear told apart.

    Parameters
    ----------
    flange_first_mm, gear_first_mm : complex
        Tilt of the flange and of the gear alone, in the case's angle, gear as first bolted [mm].
    flange_second_mm, gear_second_mm : complex or None
        Saddle likewise; ``None`` where this re-indexing cannot tell them apart (180° cannot).
    standard_uncertainty_mm : float
        Standard uncertainty of either tilt's size from the residuals of both fits [mm].
    """

    flange_first_mm: complex
    gear_first_mm: complex
    flange_second_mm: complex | None
    gear_second_mm: complex | None
    standard_uncertainty_mm: float

    @property
    def flange_tir_mm(self) -> float:
        """Indicator reading of the flange's tilt alone [mm]."""
        return 2.0 * abs(self.flange_first_mm)

    @property
    def gear_tir_mm(self) -> float:
        """Indicator reading of the gear's tilt alone [mm]."""
        return 2.0 * abs(self.gear_first_mm)


def _split(first: complex, second: complex, turned: complex) -> tuple[complex, complex] | None:
    """Return (flange, gear) of one harmonic, the gear turned by ``arg(turned)``; none if singular."""
    if abs(1.0 - turned) < 0.3:
        return None
    gear = (first - second) / (1.0 - turned)
    return first - gear, gear


def separate_by_reindexing(as_found: RunoutFit, reindexed: RunoutFit, turned_deg: float) -> Separated:
    """Tell the flange's runout from the gear's, from two fits with the gear re-bolted in between.

    Both fits are read in the case's angle. ``A = F + G`` and ``B = F + G·exp(i·n·ψ)`` for harmonic ``n`` and
    the gear turned by ``ψ``; for 180° and the tilt this is ``F = (A + B)/2``, ``G = (A − B)/2``.

    Parameters
    ----------
    as_found, reindexed : RunoutFit
        Before and after.
    turned_deg : float
        Angle by which the gear was turned on its flange [deg], in the direction of increasing angle.

    Raises
    ------
    InputError
        If the turn is too near to a whole one to tell the tilt apart.
    """
    psi = math.radians(turned_deg)
    first = _split(as_found.first_mm, reindexed.first_mm, cmath.exp(1j * psi))
    if first is None:
        raise InputError(
            _("turning the gear by {turned_deg}° does not tell flange and gear apart").format(
                turned_deg=Number(turned_deg)
            ),
            where=_("ring gear turned on its flange"),
            fix=_("bolt it about half a turn round, 90° to 270°"),
        )
    saddle = _split(as_found.second_mm, reindexed.second_mm, cmath.exp(2j * psi))
    u = math.hypot(as_found.amplitude_uncertainty_mm, reindexed.amplitude_uncertainty_mm)
    return Separated(
        first[0],
        first[1],
        None if saddle is None else saddle[0],
        None if saddle is None else saddle[1],
        u / abs(1.0 - cmath.exp(1j * psi)),
    )


@dataclass(frozen=True, slots=True)
class IndexAdvice:
    """Where to bolt the gear so that its high meets the flange's low.

    Parameters
    ----------
    holes : int
        Bolt holes to turn the gear on from where it was first bolted, in the direction of increasing angle.
    turn_deg : float
        The same as an angle [deg].
    tir_before_mm, tir_after_mm : float
        Tilt as an indicator reading before and as expected after [mm].
    """

    holes: int
    turn_deg: float
    tir_before_mm: float
    tir_after_mm: float

    def text(self) -> Text:
        """Return what to do."""
        before = Length(self.tir_before_mm)
        if self.holes == 0:
            return _("Leave the gear as bolted: no other hole brings less than {least}.").format(least=before)
        return plural(
            "Turn the gear {holes} bolt hole ({turn}°) on its flange: tilt {before} becomes about {after}.",
            "Turn the gear {holes} bolt holes ({turn}°) on its flange: tilt {before} becomes about {after}.",
            self.holes,
        ).format(
            holes=self.holes,
            turn=Number(self.turn_deg, ".0f"),
            before=before,
            after=Length(self.tir_after_mm),
        )


def best_index(separated: Separated, bolt_count: int) -> IndexAdvice:
    """Return the bolt hole that puts the gear's high nearest to the flange's low.

    Parameters
    ----------
    separated : Separated
        Flange and gear told apart.
    bolt_count : int
        Evenly spaced ring gear bolts, ≥ 2.
    """
    if bolt_count < 2:
        raise InputError(
            _("{bolt_count} bolts").format(bolt_count=bolt_count),
            where=_("ring gear bolts"),
            fix=_("count the bolts of the ring gear"),
        )

    def tilt(holes: int) -> float:
        turn = cmath.exp(2j * math.pi * holes / bolt_count)
        return 2.0 * abs(separated.flange_first_mm + separated.gear_first_mm * turn)

    before = tilt(0)
    holes = min(range(bolt_count), key=lambda h: (round(tilt(h), 9), h))
    return IndexAdvice(holes, 360.0 * holes / bolt_count, before, tilt(holes))


@dataclass(frozen=True, slots=True)
class BacklashLink:
    """How far runout explains the variation of backlash.

    Parameters
    ----------
    expected_spread_mm : float
        Spread of backlash that the measured tilt would cause [mm].
    measured_spread_mm : float
        Spread of the first harmonic of the measured backlash [mm].
    unexplained_mm : float
        Spread of the first harmonic left when the runout's share is taken out, place included [mm].
    """

    expected_spread_mm: float
    measured_spread_mm: float
    unexplained_mm: float

    def text(self) -> Text:
        """Return what it means."""
        e, m = Length(self.expected_spread_mm), Length(self.measured_spread_mm)
        if self.unexplained_mm <= 0.5 * self.measured_spread_mm:
            return _(
                "Runout explains the backlash variation ({e} expected, {m} found): mend the runout."
            ).format(e=e, m=m)
        return _(
            "Runout does not explain the backlash variation ({e} expected, {m} found): "
            "look at teeth, burrs, bolts and pinion bearings; runout good but variation "
            "high means the set."
        ).format(e=e, m=m)


def link_runout_to_backlash(
    back_face: RunoutFit, backlash: RunoutFit, backlash_per_ring_move: float, *, radius_ratio: float = 1.0
) -> BacklashLink:
    """Hold the variation of backlash against the runout of the ring gear's back face.

    Parameters
    ----------
    back_face : RunoutFit
        Runout of the back face, positive away from the pinion, at the angle that is in mesh.
    backlash : RunoutFit
        Fit of the backlash readings at the same angles.
    backlash_per_ring_move : float
        ``k``; a place that runs away from the pinion has that much more backlash.
    radius_ratio : float
        Mean tooth radius over the radius of the dial: a tilt grows with the radius.
    """
    if not backlash_per_ring_move > 0.0:
        raise InputError(
            _("factor {backlash_per_ring_move}").format(backlash_per_ring_move=backlash_per_ring_move),
            where=_("backlash factor"),
            fix=_("backlash per ring gear move is about 0.7"),
        )
    expected = back_face.first_mm * backlash_per_ring_move * radius_ratio
    return BacklashLink(2.0 * abs(expected), backlash.first_tir_mm, 2.0 * abs(backlash.first_mm - expected))
