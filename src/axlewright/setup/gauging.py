"""Ways to measure pinion depth in the carrier, and what goes into the sum with them.

Every method gives a `WrittenSum`; `WrittenSum.as_quantity` turns it into the carrier reading of
`axlewright.setup.spacer_from_carrier`. The formulas are plain geometry, derived here, unless noted.

References
----------
ISO 1:2022, standard reference temperature 20 °C. JCGM 100:2008 (GUM) H.1: expansion of gauge block steel.
ISO 492 and ANSI/ABMA 19.2: width tolerances of tapered roller bearings (figures as quoted in reference notes,
the standards themselves not at hand).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, Literal

from axlewright.errors import InputError
from axlewright.language import Number, Text, _, joined, n_
from axlewright.setup.measured import Term, WrittenSum, minus, plus
from axlewright.setup.sources import manual
from axlewright.units import MM_PER_INCH, Length, Quantity

REFERENCE_TEMPERATURE_C: Final = 20.0
"""Temperature at which lengths are stated [°C], ISO 1."""

ArborRests = Literal["toward_pinion", "away_from_pinion"]

REST_WORDS: Final[Mapping[ArborRests, str]] = MappingProxyType(
    {"toward_pinion": n_("toward the pinion"), "away_from_pinion": n_("away from the pinion")}
)


def carrier_from_centred_arbor(gap: Length, arbor_diameter: Length, block_height: Length) -> WrittenSum:
    """Return axis to housing shoulder from an arbor held centred in the side bearing bores.

    Parameters
    ----------
    gap : Length
        Gap between arbor and gauge block.
    arbor_diameter : Length
        Diameter of the arbor; half of it counts.
    block_height : Length
        Height of the block, from the shoulder to the face that the gap is measured to.
    """
    return WrittenSum(
        _("axis to housing shoulder, centred arbor"),
        (plus(gap), plus(arbor_diameter, 0.5), plus(block_height)),
    )


def carrier_from_resting_arbor(
    gap: Length,
    arbor_diameter: Length,
    bore_diameter: Length,
    block_height: Length,
    *,
    arbor_rests: ArborRests,
) -> WrittenSum:
    """Return axis to housing shoulder from an arbor thinner than the bores, lying in them.

    Parameters
    ----------
    gap, arbor_diameter, block_height : Length
        As for `carrier_from_centred_arbor`.
    bore_diameter : Length
        Diameter of the side bearing bores.
    arbor_rests : {"toward_pinion", "away_from_pinion"}
        On which side of the bore the arbor lies. Toward the pinion, the axis is farther from the pinion than
        the arbor's centre by (bore radius − arbor radius), which is added.
    """
    if arbor_rests not in REST_WORDS:
        raise InputError(
            _("unknown side '{arbor_rests}'").format(arbor_rests=arbor_rests),
            where=_("arbor resting in the bore"),
            fix=_("say toward_pinion or away_from_pinion"),
        )
    if bore_diameter.mm < arbor_diameter.mm:
        raise InputError(
            _("the arbor is thicker than the bore"),
            where=_("arbor resting in the bore"),
            fix=_("check both diameters"),
        )
    side = 0.5 if arbor_rests == "toward_pinion" else -0.5
    return WrittenSum(
        _("axis to housing shoulder, arbor resting in the bore"),
        (
            plus(gap),
            # Arbor radius to its own centre, then from there to the bore's centre: ½d ± ½(D − d).
            plus(arbor_diameter, 0.5),
            Term(bore_diameter, side),
            Term(arbor_diameter, -side),
            plus(block_height),
        ),
    )


def carrier_from_parting_face(
    parting_face_to_shoulder: Length, casting_depth: Length, cap_depth: Length
) -> WrittenSum:
    """Return axis to housing shoulder from the parting face of the bearing caps (two-depth bore method).

    With bore depth ``R1`` in the casting and ``R2`` in the cap the bore radius is ``(R1 + R2)/2``; the axis
    lies ``(R2 − R1)/2`` beyond the parting face, away from the pinion; the offset may be negative. The method
    is common practice without a source; the sum is derived here.

    Parameters
    ----------
    parting_face_to_shoulder : Length
        From the parting face to the housing shoulder.
    casting_depth, cap_depth : Length
        Depth of the half bore in the casting and in the cap, from the parting face.
    """
    return WrittenSum(
        _("axis to housing shoulder, from the parting face"),
        (plus(parting_face_to_shoulder), plus(cap_depth, 0.5), minus(casting_depth, 0.5)),
    )


def axis_to_nose_over_case(gap: Length, case_diameter: Length) -> WrittenSum:
    """Return axis to pinion nose from the gap between the nose and the differential case."""
    return WrittenSum(_("axis to pinion nose, over the case"), (plus(gap), plus(case_diameter, 0.5)))


def gap_over_case(axis_to_nose: Length, case_diameter: Length) -> WrittenSum:
    """Return the gap to set with feelers between pinion nose and differential case, ``D − C/2``.

    TM 10-3930-643-34 p 16-29.
    """
    return WrittenSum(_("gap between pinion nose and case"), (plus(axis_to_nose), minus(case_diameter, 0.5)))


def checking_distance(mounting_distance: Length, head_length: Length) -> WrittenSum:
    """Return axis to pinion nose from the mounting distance and the head's length (locating face to nose)."""
    return WrittenSum(_("checking distance"), (plus(mounting_distance), minus(head_length)))


def mounting_distance_from_nose(axis_to_nose: Quantity, head_length: Length) -> WrittenSum:
    """Return the mounting distance from axis to pinion nose and the head's length."""
    return WrittenSum(_("mounting distance"), (plus(axis_to_nose), plus(head_length)))


@dataclass(frozen=True, slots=True)
class DialRange:
    """A stretch of a direct-reading gauge's dial and what to add to it.

    Parameters
    ----------
    low, high : float
        Dial divisions, both included.
    add_mm : float
        Length added to the reading [mm].
    """

    low: float
    high: float
    add_mm: float


@dataclass(frozen=True, slots=True)
class DirectGauge:
    """A gauge whose dial shows the spacer for a zero-marked pinion.

    Parameters
    ----------
    ranges : tuple of DialRange
        How dial divisions become thicknesses.
    division_mm : float
        One division [mm].
    source : Text
        Where the ranges come from.
    """

    ranges: tuple[DialRange, ...]
    division_mm: float
    source: Text

    def zero_mark_spacer(self, dial: float, *, standard_uncertainty_mm: float | None = None) -> Length:
        """Return the spacer for a pinion marked 0.

        Parameters
        ----------
        dial : float
            Peak reading, in divisions.
        standard_uncertainty_mm : float, optional
            Standard uncertainty of the reading [mm]; half a division either way, uniform, when left out.

        Raises
        ------
        InputError
            If the dial stands where no spacer belongs to it.
        """
        for part in self.ranges:
            if part.low <= dial <= part.high:
                u = (
                    self.division_mm / math.sqrt(12.0)
                    if standard_uncertainty_mm is None
                    else standard_uncertainty_mm
                )
                return Length(
                    part.add_mm + dial * self.division_mm,
                    u,
                    label=_("spacer for a zero mark"),
                    source=self.source,
                )
        good = (_("{low:g} to {high:g}").format(low=part.low, high=part.high) for part in self.ranges)
        raise InputError(
            _("the dial shows {dial:g}, where this gauge has no spacer").format(dial=dial),
            where=_("direct-reading gauge"),
            fix=_("set it up again; what it may read: {good}").format(good=joined(*good, between=", ")),
        )


EXAMPLE_DIRECT_GAUGE: Final = DirectGauge(
    (DialRange(0.0, 11.0, 0.100 * MM_PER_INCH), DialRange(84.0, 99.0, 0.0)),
    MM_PER_INCH / 1000.0,
    manual("T1"),
)
"""Printed example: dial 0 to 11 means 0.100 to 0.111 in, dial 84 to 99 means 0.084 to 0.099 in."""


@dataclass(frozen=True, slots=True)
class Expansion:
    """Thermal expansion of a material.

    Parameters
    ----------
    per_kelvin : float
        Linear expansion coefficient [1/K].
    standard_uncertainty : float
        Its standard uncertainty [1/K].
    source : Text
        Where the figure comes from.
    """

    per_kelvin: float
    standard_uncertainty: float
    source: Text


Material = Literal["cast_iron", "aluminium", "steel"]

MATERIAL_WORDS: Final[Mapping[Material, str]] = MappingProxyType(
    {"cast_iron": n_("cast iron"), "aluminium": n_("aluminium"), "steel": n_("steel")}
)

EXPANSIONS: Final[Mapping[Material, Expansion]] = MappingProxyType(
    {
        "cast_iron": Expansion(10.5e-6, 0.6e-6, _("textbook value, from memory")),
        "aluminium": Expansion(23.0e-6, 1.0e-6, _("textbook value, from memory")),
        "steel": Expansion(11.5e-6, 1.2e-6, _("GUM H.1 (from memory)")),
    }
)
"""Expansion by material."""


def temperature_correction(
    reading: Length,
    *,
    part_temperature_c: float,
    gauge_temperature_c: float,
    part: Expansion = EXPANSIONS["cast_iron"],
    gauge: Expansion = EXPANSIONS["steel"],
    temperature_uncertainty_k: float = 1.0,
) -> Length:
    """Return what to add to a reading so that it holds at 20 °C.

    ``L · (α_gauge·(t_gauge − 20) − α_part·(t_part − 20))``, first order (GUM H.1.2).

    Parameters
    ----------
    reading : Length
        What was read.
    part_temperature_c, gauge_temperature_c : float
        Temperatures of part and gauge [°C].
    part, gauge : Expansion
        What they are made of.
    temperature_uncertainty_k : float
        Standard uncertainty of either temperature [K].
    """
    for value, where in (
        (part_temperature_c, _("part temperature")),
        (gauge_temperature_c, _("gauge temperature")),
    ):
        if not -40.0 <= value <= 120.0:
            raise InputError(
                joined(Number(value), "°C"),
                where=where,
                fix=_("give the temperature in °C, between -40 and 120"),
            )
    length = abs(reading.mm)
    gauge_over = gauge_temperature_c - REFERENCE_TEMPERATURE_C
    part_over = part_temperature_c - REFERENCE_TEMPERATURE_C
    u = length * math.hypot(
        gauge.per_kelvin * temperature_uncertainty_k,
        part.per_kelvin * temperature_uncertainty_k,
        gauge_over * gauge.standard_uncertainty,
        part_over * part.standard_uncertainty,
    )
    value = length * (gauge.per_kelvin * gauge_over - part.per_kelvin * part_over)
    return Length(
        value,
        u,
        label=_("temperature of part and gauge"),
        source=joined(
            _("part {part:g} °C, gauge {gauge:g} °C").format(
                part=part_temperature_c, gauge=gauge_temperature_c
            ),
            part.source,
            gauge.source,
            between="; ",
        ),
    )


WidthClass = Literal["metric_normal", "metric_6X", "inch_4_2", "inch_3_0"]

WIDTH_CLASS_WORDS: Final[Mapping[WidthClass, str]] = MappingProxyType(
    {
        "metric_normal": n_("metric, normal"),
        "metric_6X": n_("metric, 6X"),
        "inch_4_2": n_("inch, 4 or 2"),
        "inch_3_0": n_("inch, 3 or 0"),
    }
)

_WIDTH_TOLERANCES: Final[Mapping[WidthClass, Sequence[tuple[float, float, float, float]]]] = MappingProxyType(
    {
        "metric_normal": ((18.0, 80.0, 0.0, 0.20), (80.0, 120.0, -0.20, 0.20)),
        "metric_6X": ((18.0, 80.0, 0.0, 0.10),),
        "inch_4_2": ((0.0, 101.6, 0.0, 0.203),),
        "inch_3_0": ((0.0, 101.6, -0.203, 0.203),),
    }
)
"""By class: bore above and up to [mm], width deviation low and high [mm]. Bore range of 6X not stated in the
notes at hand; that of the normal class is used."""


def unmeasured_bearing_width(nominal_mm: float, bore_mm: float, width_class: WidthClass) -> Length:
    """Return a bearing's width from its catalogue value alone, with the tolerance as uncertainty.

    Parameters
    ----------
    nominal_mm : float
        Assembled width in the catalogue [mm].
    bore_mm : float
        Bore of the cone [mm].
    width_class : {"metric_normal", "metric_6X", "inch_4_2", "inch_3_0"}
        Tolerance class.

    Returns
    -------
    Length
        Middle of the tolerance; uniform over it (GUM 4.3.7). Wide enough to show why the width is measured.
    """
    for above, up_to, low, high in _WIDTH_TOLERANCES.get(width_class, ()):
        if above < bore_mm <= up_to:
            return Length(
                nominal_mm + (low + high) / 2.0,
                (high - low) / math.sqrt(12.0),
                label=_("head bearing width, not measured"),
                source=_("catalogue width with the tolerance of ISO 492 or ANSI/ABMA 19.2"),
            )
    raise InputError(
        _("no width tolerance known for class '{width_class}' and bore {bore_mm:g} mm").format(
            width_class=width_class, bore_mm=bore_mm
        ),
        where=_("bearing width"),
        fix=_("measure the width, or use one of {width_tolerances} within its bore range").format(
            width_tolerances=", ".join(_WIDTH_TOLERANCES)
        ),
    )
