"""Repeated readings of one length: mean, spread and uncertainty after the GUM.

References
----------
JCGM 100:2008 (GUM): 4.2 (type A evaluation), 4.3.7 (rectangular distribution for a stated error limit),
F.2.2.1 (resolution of a digital indication: step/√12), G.4 (effective degrees of freedom).
F. E. Grubbs, Sample criteria for testing outlying observations, Annals of Mathematical Statistics 21
(1950) 27-58: the test behind the outlier question.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from axlewright.errors import InputError
from axlewright.language import Text, _
from axlewright.setup.measured import (
    WrittenSum,
    coverage_factor,
    effective_degrees_of_freedom,
)
from axlewright.units import Length

OUTLIER_SIGNIFICANCE: Final = 0.05
"""Chance of asking about a reading although nothing is wrong (customary level, no source)."""


@dataclass(frozen=True, slots=True)
class Instrument:
    """What a reading was taken with.

    Parameters
    ----------
    name : Text
        "depth micrometer", "dial gauge".
    resolution_mm : float
        Smallest step that is read [mm], ≥ 0.
    calibration_expanded_mm : float
        Expanded uncertainty from the calibration certificate [mm], ≥ 0.
    calibration_coverage_factor : float
        The k that the certificate states for it.
    error_limit_mm : float
        Largest error the instrument may have (± limit) where no certificate corrects it [mm], ≥ 0.
    calibrated_on : str
        Date of the last calibration, ISO 8601, empty when unknown.
    """

    name: Text
    resolution_mm: float = 0.0
    calibration_expanded_mm: float = 0.0
    calibration_coverage_factor: float = 2.0
    error_limit_mm: float = 0.0
    calibrated_on: str = ""

    def __post_init__(self) -> None:
        for value, what in (
            (self.resolution_mm, _("resolution {value} mm")),
            (self.calibration_expanded_mm, _("calibration uncertainty {value} mm")),
            (self.error_limit_mm, _("error limit {value} mm")),
        ):
            if not (math.isfinite(value) and value >= 0.0):
                raise InputError(
                    what.format(value=value), where=self.name, fix=_("give zero or a positive length")
                )
        if not self.calibration_coverage_factor > 0.0:
            raise InputError(
                _("coverage factor {calibration_coverage_factor}").format(
                    calibration_coverage_factor=self.calibration_coverage_factor
                ),
                where=self.name,
                fix=_("take k from the certificate, usually 2"),
            )

    @property
    def resolution_uncertainty_mm(self) -> float:
        """Standard uncertainty from the step [mm]: step/√12, GUM F.2.2.1."""
        return self.resolution_mm / math.sqrt(12.0)

    @property
    def calibration_uncertainty_mm(self) -> float:
        """Standard uncertainty from certificate and error limit [mm], GUM 4.3.3 and 4.3.7."""
        return math.hypot(
            self.calibration_expanded_mm / self.calibration_coverage_factor,
            self.error_limit_mm / math.sqrt(3.0),
        )


FINE_DIGIT_MM: Final = 0.003  # a finer last digit is finer than most scales: 0.0001 in is, 0.01 mm is not


@dataclass(frozen=True, slots=True)
class RepeatedReadings:
    """Readings of one length taken several times.

    Parameters
    ----------
    label : Text
        What was read.
    readings_mm : tuple of float
        The readings [mm], at least one.
    instrument : Instrument
        What they were taken with; its resolution and calibration are the type B parts.
    known_spread_mm : float, optional
        Standard deviation of a single reading known from earlier work with the same instrument and person
        [mm]. Pooled with the spread seen here.
    known_spread_degrees_of_freedom : float
        Degrees of freedom of `known_spread_mm`.
    last_digit_mm : float
        Worth of the last digit typed [mm], 0 when not known; see `outlier_question`. In no uncertainty.

    Notes
    -----
    With one reading and no known spread the repeatability cannot be judged: `spread_known` is false, the
    uncertainty holds the instrument alone and `notes` says so. Nothing is made up in its place.
    """

    label: Text
    readings_mm: tuple[float, ...]
    instrument: Instrument
    known_spread_mm: float | None = None
    known_spread_degrees_of_freedom: float = math.inf
    last_digit_mm: float = 0.0

    def __post_init__(self) -> None:
        if not self.readings_mm:
            raise InputError(_("no reading"), where=self.label, fix=_("type at least one, five are better"))
        for value in self.readings_mm:
            if not math.isfinite(value):
                raise InputError(
                    _("{value} is not a reading").format(value=value),
                    where=self.label,
                    fix=_("type a finite number"),
                )
        if self.known_spread_mm is not None and not self.known_spread_mm >= 0.0:
            raise InputError(
                _("known spread {known_spread_mm} mm").format(known_spread_mm=self.known_spread_mm),
                where=self.label,
                fix=_("give a positive length"),
            )

    @property
    def count(self) -> int:
        """How many readings."""
        return len(self.readings_mm)

    @property
    def mean_mm(self) -> float:
        """Arithmetic mean [mm]."""
        return math.fsum(self.readings_mm) / self.count

    @property
    def spread_mm(self) -> float:
        """Largest minus smallest reading [mm]."""
        return max(self.readings_mm) - min(self.readings_mm)

    @property
    def standard_deviation_mm(self) -> float:
        """Experimental standard deviation of one reading [mm], GUM equation (4); 0 with one reading."""
        return statistics.stdev(self.readings_mm) if self.count > 1 else 0.0

    @property
    def spread_known(self) -> bool:
        """Whether the repeatability is known at all."""
        return self.count > 1 or self.known_spread_mm is not None

    @property
    def pooled_deviation(self) -> tuple[float, float]:
        """Standard deviation of one reading [mm] and its degrees of freedom, earlier knowledge included.

        Pooled by degrees of freedom (GUM H.3.6 note); a `known_spread_mm` with infinite degrees of freedom
        is taken as it is.
        """
        own = float(self.count - 1)
        if self.known_spread_mm is None:
            return self.standard_deviation_mm, own
        earlier = self.known_spread_degrees_of_freedom
        if math.isinf(earlier):
            return self.known_spread_mm, math.inf
        total = own + earlier
        squares = own * self.standard_deviation_mm**2 + earlier * self.known_spread_mm**2
        return math.sqrt(squares / total), total

    @property
    def type_a_uncertainty_mm(self) -> float:
        """Standard uncertainty of the mean from the scatter [mm], GUM equation (5)."""
        return self.pooled_deviation[0] / math.sqrt(self.count)

    @property
    def type_b_uncertainty_mm(self) -> float:
        """Standard uncertainty from resolution and calibration [mm]; does not shrink with more readings."""
        return math.hypot(
            self.instrument.resolution_uncertainty_mm, self.instrument.calibration_uncertainty_mm
        )

    @property
    def standard_uncertainty_mm(self) -> float:
        """Combined standard uncertainty of the mean [mm]."""
        return math.hypot(self.type_a_uncertainty_mm, self.type_b_uncertainty_mm)

    @property
    def degrees_of_freedom(self) -> float:
        """Effective degrees of freedom of `standard_uncertainty_mm`."""
        return effective_degrees_of_freedom(
            [
                (self.type_a_uncertainty_mm, self.pooled_deviation[1]),
                (self.type_b_uncertainty_mm, math.inf),
            ]
        )

    @property
    def expanded_uncertainty_mm(self) -> float:
        """Half-width of the 95 % interval of the mean [mm]."""
        u = self.standard_uncertainty_mm
        return 0.0 if u == 0.0 else coverage_factor(self.degrees_of_freedom) * u

    @property
    def quantity(self) -> Length:
        """The mean as a `Length`, for a `WrittenSum`."""
        times = (
            _("{instrument}, one reading")
            if self.count == 1
            else _("{instrument}, mean of {count} readings").format(count=self.count)
        )
        return Length(
            self.mean_mm,
            self.standard_uncertainty_mm,
            self.degrees_of_freedom,
            label=self.label,
            source=times.format(instrument=self.instrument.name),
        )

    @property
    def notes(self) -> tuple[Text, ...]:
        """What a careful person would say about these readings, as sentences; see also `outlier_question`."""
        found: list[Text] = []
        if not self.spread_known:
            words = _(
                "{label}: one reading only, how well it repeats is not known; read it again at least twice."
            )
            found.append(words.format(label=self.label))
        if self.instrument.calibration_uncertainty_mm == 0.0:
            words = _(
                "{label}: no calibration uncertainty given for the {name}; "
                "its own error is not in the result."
            )
            found.append(words.format(label=self.label, name=self.instrument.name))
        return tuple(found)


@dataclass(frozen=True, slots=True)
class OutlierQuestion:
    """A reading that stands out; it is asked about and never dropped by the program.

    Parameters
    ----------
    label : Text
        What was read.
    index : int
        Place of the reading in the list, from 0.
    reading_mm, mean_of_others_mm : float
        The reading and the mean of all the others [mm].
    statistic, critical_value : float
        Grubbs' statistic and the value it exceeds.
    """

    label: Text
    index: int
    reading_mm: float
    mean_of_others_mm: float
    statistic: float
    critical_value: float

    def text(self) -> Text:
        """Return the question."""
        off = Length(self.reading_mm - self.mean_of_others_mm, signed=True)
        return _(
            "{label}: reading {index} lies {off} from the others. Was it misread or "
            "mistyped? Read it again; it still counts until someone says otherwise."
        ).format(label=self.label, index=self.index + 1, off=off)


def grubbs_critical_value(count: int, significance: float = OUTLIER_SIGNIFICANCE) -> float:
    """Return the two-sided critical value of Grubbs' test.

    Parameters
    ----------
    count : int
        Number of readings, ≥ 3.
    significance : float
        Chance of a false question.

    References
    ----------
    NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.5.17.1 (formula, from memory).
    """
    from scipy import special  # here, so that the page starts without it

    t = float(special.stdtrit(count - 2, 1.0 - significance / (2.0 * count)))
    return (count - 1) / math.sqrt(count) * math.sqrt(t**2 / (count - 2 + t**2))


def outlier_question(readings: RepeatedReadings) -> OutlierQuestion | None:
    """Return a question about the reading that stands out most, or nothing.

    A reading within two instrument steps of the others' mean is never asked about: readings that fall on
    one or two neighbouring marks have no scatter to judge by. Where the step was not given, two of the last
    digit typed stand in for it, or five of 0.0001 in or finer: half thousandths are read to four places.
    """
    values, n = readings.readings_mm, readings.count
    if n < 3:
        return None
    mean, s = readings.mean_mm, readings.standard_deviation_mm
    index = max(range(n), key=lambda i: abs(values[i] - mean))
    others = (math.fsum(values) - values[index]) / (n - 1)
    step = readings.instrument.resolution_mm
    digit = readings.last_digit_mm
    slack = 2.0 * step if step > 0.0 else digit * (5.0 if digit < FINE_DIGIT_MM else 2.0)
    if s == 0.0 or abs(values[index] - others) <= slack * (1.0 + 1e-6):
        return None
    statistic, critical = abs(values[index] - mean) / s, grubbs_critical_value(n)
    # All equal but one gives exactly the largest possible value, (n−1)/√n: rounding must not hide it.
    if statistic < critical * (1.0 - 1e-9):
        return None
    return OutlierQuestion(readings.label, index, values[index], others, statistic, critical)


@dataclass(frozen=True, slots=True)
class NextReading:
    """The single extra reading that would help most.

    Parameters
    ----------
    label : Text
        What to read once more.
    expanded_before_mm, expanded_after_mm : float
        Half-width of the 95 % interval of the result now and as expected with one more reading [mm].
    """

    label: Text
    expanded_before_mm: float
    expanded_after_mm: float

    @property
    def gain_mm(self) -> float:
        """How much narrower the half-width is expected to become [mm]."""
        return self.expanded_before_mm - self.expanded_after_mm


def most_useful_reading(result: WrittenSum, readings: Sequence[RepeatedReadings]) -> NextReading | None:
    """Return which repeated reading, taken once more, would narrow a result most.

    Parameters
    ----------
    result : WrittenSum
        The sum that the readings feed; a term belongs to the readings with the same label.
    readings : sequence of RepeatedReadings
        The readings behind the sum.

    Returns
    -------
    NextReading or None
        The best one; ``None`` when no further reading would help (the instrument itself limits).

    Notes
    -----
    One more reading is expected to leave the standard deviation as it is and to add one degree of freedom.
    A single reading without known spread comes first whatever the numbers say, because its scatter is not
    in the result at all.
    """
    by_label = {r.label: r for r in readings}
    before = result.expanded_uncertainty
    unknown = [t for t in result.terms if t.label in by_label and not by_label[t.label].spread_known]
    if unknown:
        worst = max(unknown, key=lambda t: t.standard_uncertainty)
        return NextReading(worst.label, before, before)
    best: NextReading | None = None
    for chosen in result.terms:
        if chosen.label not in by_label:
            continue
        shares = []
        for term in result.terms:
            u, v = term.standard_uncertainty, term.quantity.degrees_of_freedom
            if term.label == chosen.label:
                r = by_label[term.label]
                deviation, own = r.pooled_deviation
                type_a = deviation / math.sqrt(r.count + 1)
                u = abs(term.factor) * math.hypot(type_a, r.type_b_uncertainty_mm)
                v = effective_degrees_of_freedom([(type_a, own + 1.0), (r.type_b_uncertainty_mm, math.inf)])
            shares.append((u, v))
        u_all = math.hypot(*(u for u, _value in shares))
        after = coverage_factor(effective_degrees_of_freedom(shares)) * u_all if u_all > 0.0 else 0.0
        if after < before and (best is None or after < best.expanded_after_mm):
            best = NextReading(chosen.label, before, after)
    return best
