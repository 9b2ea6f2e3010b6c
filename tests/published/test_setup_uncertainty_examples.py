"""Uncertainty examples of the GUM (JCGM 100:2008), each with how its numbers were come by."""

from __future__ import annotations

import math

import pytest

from axlewright import setup
from axlewright.units import Length

EXACT = setup.Instrument("ideal")


@pytest.mark.parametrize(
    ("readings", "mean", "standard_uncertainty"),
    [
        # GUM H.2, table H.2, simultaneous measurement of resistance and reactance: voltage [V], current [mA]
        # and phase [rad]. Readings and results read in the documentation of GTC 1.5.1 (Measurement Standards
        # Laboratory of New Zealand), which reprints the example.
        ((5.007, 4.994, 5.005, 4.990, 4.999), 4.999, 0.0032093613071761),
        ((19.663, 19.639, 19.640, 19.685, 19.678), 19.661, 0.009471008394041335),
        ((1.0456, 1.0438, 1.0468, 1.0428, 1.0433), 1.04446, 0.0007520638270785),
    ],
)
def test_repeated_readings_after_gum_h2(
    readings: tuple[float, ...], mean: float, standard_uncertainty: float
) -> None:
    found = setup.RepeatedReadings("H.2", readings, EXACT)
    assert found.mean_mm == pytest.approx(mean, rel=1e-12)
    assert found.standard_uncertainty_mm == pytest.approx(standard_uncertainty, rel=1e-9)
    assert found.degrees_of_freedom == pytest.approx(4.0)


def test_end_gauge_after_gum_h1() -> None:
    # GUM H.1, calibration of a 50 mm end gauge. Input figures and results are from memory, not re-read; that
    # they hang together (32 nm, 16.7 degrees of freedom, 93 nm) speaks for them. Lengths here in nm.
    difference = setup.WrittenSum(
        "difference of the gauges",
        (
            # Pooled standard deviation 13 nm from 25 readings (24 degrees of freedom), mean of five.
            setup.Term(Length(215.0, 13.0 / math.sqrt(5.0), 24.0, label="readings")),
            # Certificate of the comparator: 10 nm at 95 % with 5 degrees of freedom, factor 2.57.
            setup.Term(Length(0.0, 10.0 / 2.57, 5.0, label="comparator, random")),
            # 20 nm at three standard uncertainties, known to 25 %: 8 degrees of freedom.
            setup.Term(Length(0.0, 20.0 / 3.0, 8.0, label="comparator, systematic")),
        ),
    )
    assert difference.standard_uncertainty == pytest.approx(9.7, abs=0.05)
    assert difference.degrees_of_freedom == pytest.approx(25.6, abs=0.2)
    expansion = 11.5e-6
    length = setup.WrittenSum(
        "end gauge minus 50 mm",
        (
            setup.Term(Length(623.0, 25.0, 18.0, label="standard")),
            setup.Term(difference.as_quantity()),
            # 50 mm times -0.1 degC times 0.58e-6 /degC; 50 mm times 11.5e-6 /degC times 0.029 degC.
            setup.Term(Length(0.0, 50e6 * 0.1 * 0.58e-6, 50.0, label="difference of expansion")),
            setup.Term(Length(0.0, 50e6 * expansion * 0.029, 2.0, label="difference of temperature")),
        ),
    )
    assert length.value == pytest.approx(838.0)
    assert length.standard_uncertainty == pytest.approx(32.0, abs=0.5)
    assert length.degrees_of_freedom == pytest.approx(16.7, abs=0.7)
    # The guide cuts the degrees of freedom off to 16 and takes t for 99 %: 2.92, expanded uncertainty 93 nm.
    k = setup.coverage_factor(16.0, 0.99)
    assert k == pytest.approx(2.92, abs=0.005)
    assert k * length.standard_uncertainty == pytest.approx(93.0, abs=1.0)


def test_effective_degrees_of_freedom_after_gum_g4() -> None:
    # GUM G.4.1 example: 10, 5 and 15 readings, relative uncertainties 0.25, 0.57, 0.82 %: combined 1.03 %,
    # 19.0 degrees of freedom, t for 95 % 2.09, expanded 2.2 %. From memory; the arithmetic closes.
    shares = [(0.25, 9.0), (0.57, 4.0), (0.82, 14.0)]
    assert setup.effective_degrees_of_freedom(shares) == pytest.approx(19.0, abs=0.1)
    assert setup.coverage_factor(19.0) == pytest.approx(2.09, abs=0.005)
    terms = tuple(setup.Term(Length(0.0, u, freedom, label=f"input {u}")) for u, freedom in shares)
    combined = setup.WrittenSum("relative uncertainty [%]", terms)
    assert combined.standard_uncertainty == pytest.approx(1.03, abs=0.005)
    assert combined.degrees_of_freedom == pytest.approx(19.0, abs=0.1)
    assert combined.expanded_uncertainty == pytest.approx(2.2, abs=0.05)


def test_scatter_of_a_caliper() -> None:
    # Five readings of one part from a trade article, source withheld, not re-read (from memory); mean 2.8128
    # in and s 0.0019 in (0.049 mm) recomputed.
    inches = (2.810, 2.814, 2.812, 2.813, 2.815)
    found = setup.RepeatedReadings("caliper", tuple(25.4 * x for x in inches), EXACT)
    assert found.mean_mm / 25.4 == pytest.approx(2.8128, abs=5e-5)
    assert found.standard_deviation_mm / 25.4 == pytest.approx(0.0019, abs=5e-5)
    assert found.standard_deviation_mm == pytest.approx(0.049, abs=5e-4)


@pytest.mark.parametrize(
    ("count", "critical"),
    # Table of Grubbs' test, two-sided 5 %, as in common statistics texts (from memory): 1.155, 1.715, 2.020,
    # 2.290.
    [(3, 1.155), (5, 1.715), (7, 2.020), (10, 2.290)],
)
def test_critical_values_of_grubbs(count: int, critical: float) -> None:
    assert setup.grubbs_critical_value(count) == pytest.approx(critical, abs=0.0011)
