"""Gauge methods, spacer series and bearing widths as printed."""

from __future__ import annotations

import pytest

from axlewright import setup
from axlewright.errors import InputError
from axlewright.units import Length

INCH = 25.4


def length(value_in: float, label: str = "length") -> Length:
    return Length(value_in * INCH, label=label)


@pytest.mark.parametrize(
    ("dial", "printed_in"),
    # TM 9-2320-280-34 ch 19, steps 23 to 31: dial 0 to 11 -> 0.100 to 0.111 in, 84 to 99 -> 0.084 to 0.099
    # in.
    [(0, 0.100), (11, 0.111), (84, 0.084), (99, 0.099)],
)
def test_direct_reading_gauge(dial: float, printed_in: float) -> None:
    assert setup.EXAMPLE_DIRECT_GAUGE.zero_mark_spacer(dial).value / INCH == pytest.approx(printed_in)


@pytest.mark.parametrize("dial", [11.5, 50, 83, 99.5, -1])
def test_direct_reading_gauge_refuses_what_has_no_spacer(dial: float) -> None:
    with pytest.raises(InputError, match="0 to 11, 84 to 99"):
        setup.EXAMPLE_DIRECT_GAUGE.zero_mark_spacer(dial)


def test_gauge_then_mark_as_the_manual_goes_on() -> None:
    # TM 9-2320-280-34 p 19-12: then minus adds and plus subtracts. The numbers of this line are worked here.
    result = setup.spacer_from_zero_mark(
        setup.EXAMPLE_DIRECT_GAUGE.zero_mark_spacer(95),
        setup.DepthMark(-3, "0.001 in", "plus_means_larger_mounting_distance"),
        place="under_head",
    )
    assert str(result.total) == "0.0950 + 0.0030 = 0.0980 in"


def test_series_of_pinion_spacers_and_side_shims() -> None:
    # TM 9-2320-280-34, TM 9-2320-387-24-2: 0.084 to 0.111 in by 0.0005 (2.13 to 2.82 mm), 55 sizes; TM
    # 9-2320-280-34 p 19-22: 0.077 to 0.117 in by 0.001 (1.95 to 2.97 mm), 41 sizes.
    for series, count, low_mm, high_mm in (
        (setup.PINION_SPACERS, 55, 2.13, 2.82),
        (setup.SIDE_SHIMS, 41, 1.95, 2.97),
    ):
        sizes = series.sizes_mm
        assert len(sizes) == count
        # The manual cuts 1.9558 off to 1.95.
        assert sizes[0] == pytest.approx(low_mm, abs=0.0061)
        assert sizes[-1] == pytest.approx(high_mm, abs=0.0051)


def test_gap_over_the_case() -> None:
    # TM 10-3930-643-34 p 16-29: gap = D - C/2. Printed as a rule; numbers invented.
    gap = setup.gap_over_case(length(4.250), length(8.400))
    assert gap.text() == "4.2500 − 4.2000 = 0.0500 in"
    back = setup.axis_to_nose_over_case(gap.as_quantity(), length(8.400))
    assert back.value / INCH == pytest.approx(4.250)


@pytest.mark.parametrize(("cap_in", "offset_in"), [(2.000, 0.0), (2.010, 0.005), (1.990, -0.005)])
def test_two_depth_bore(cap_in: float, offset_in: float) -> None:
    # Trade article: R3 = (R1 + R2)/2, axis offset from the parting face R3 - R1, may be negative. Numbers
    # invented.
    found = setup.carrier_from_parting_face(
        length(3.0, "face"), length(2.000, "casting"), length(cap_in, "cap")
    )
    assert found.value / INCH == pytest.approx(3.0 + offset_in)


def test_arbor_methods_agree_on_the_same_axle() -> None:
    # Geometry, no outside source: bore 4.0 in, arbor 3.9 in, axis to shoulder 5.5 in, block 3.0 in.
    block, bore, arbor = length(3.0, "block"), length(4.0, "bore"), length(3.9, "arbor")
    centred = setup.carrier_from_centred_arbor(length(5.5 - 3.0 - 1.95, "gap"), arbor, block)
    toward = setup.carrier_from_resting_arbor(
        length(5.5 - 3.0 - 2.0, "gap"), arbor, bore, block, arbor_rests="toward_pinion"
    )
    away = setup.carrier_from_resting_arbor(
        length(5.5 - 3.0 - 1.95 + 0.05, "gap"), arbor, bore, block, arbor_rests="away_from_pinion"
    )
    for found in (centred, toward, away):
        assert found.value / INCH == pytest.approx(5.5)


def test_arbor_lying_toward_the_pinion_does_not_carry_its_own_diameter() -> None:
    # Its surface is the bore's: the diameter cancels, and with it its uncertainty. Derived.
    bore = Length(100.0, label="bore")
    arbor = Length(99.0, 0.5, label="arbor")
    gap, block = Length(1.0, label="gap"), Length(50.0, label="block")
    found = setup.carrier_from_resting_arbor(gap, arbor, bore, block, arbor_rests="toward_pinion")
    assert found.standard_uncertainty == pytest.approx(0.0, abs=1e-15)
    other = setup.carrier_from_resting_arbor(gap, arbor, bore, block, arbor_rests="away_from_pinion")
    assert other.standard_uncertainty == pytest.approx(0.5)


def test_a_bearing_taken_from_the_catalogue_can_move_the_pinion_eight_thousandths() -> None:
    # ISO 492 normal class, bore 18 to 80 mm: +0.20/0 mm (0.008 in), as quoted in reference notes.
    width = setup.unmeasured_bearing_width(30.0, 40.0, "metric_normal")
    half = width.standard_uncertainty * 3.0**0.5
    assert width.value == pytest.approx(30.1)
    assert 2.0 * half == pytest.approx(0.20)
    assert round(2.0 * half / INCH, 3) == 0.008


def test_expansion_of_an_aluminium_carrier() -> None:
    # (23 - 11.5)e-6 x 100 mm x 60 K = 0.069 mm (derived).
    reading = Length(100.0, label="carrier")
    hot = setup.temperature_correction(
        reading, part_temperature_c=80.0, gauge_temperature_c=80.0, part=setup.EXPANSIONS["aluminium"]
    )
    assert hot.value == pytest.approx(-0.069, abs=5e-4)
    at_20 = setup.temperature_correction(reading, part_temperature_c=20.0, gauge_temperature_c=20.0)
    assert at_20.value == 0.0
