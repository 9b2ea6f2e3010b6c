"""Repeated readings: spread, uncertainty, questions, and what to read once more."""

from __future__ import annotations

import math
import statistics

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from axlewright import setup
from axlewright.errors import InputError

MICROMETER = setup.Instrument("depth micrometer", resolution_mm=0.01, calibration_expanded_mm=0.004)
IDEAL = setup.Instrument("ideal")


def readings(*values: float, label: str = "carrier", **more: float) -> setup.RepeatedReadings:
    return setup.RepeatedReadings(label, tuple(values), MICROMETER, **more)


@given(st.lists(st.floats(100.0, 101.0), min_size=2, max_size=12))
def test_mean_and_deviation_against_the_standard_library(values: list[float]) -> None:
    found = readings(*values)
    assert found.mean_mm == pytest.approx(statistics.fmean(values))
    assert found.standard_deviation_mm == pytest.approx(statistics.stdev(values), abs=1e-12)
    assert found.type_b_uncertainty_mm == pytest.approx(math.hypot(0.01 / math.sqrt(12.0), 0.002))
    assert found.standard_uncertainty_mm >= found.type_b_uncertainty_mm


def test_few_readings_cover_what_they_claim() -> None:
    # Of 4000 sets of three readings 95 % of the intervals must hold the true length; 1.96 would hold 81 %.
    rng = np.random.default_rng(20)
    hits = plain = 0
    for row in rng.normal(50.0, 0.02, size=(4000, 3)):
        found = setup.RepeatedReadings("simulated", tuple(row), IDEAL)
        hits += abs(found.mean_mm - 50.0) <= found.expanded_uncertainty_mm
        plain += abs(found.mean_mm - 50.0) <= 1.96 * found.standard_uncertainty_mm
    assert hits / 4000 == pytest.approx(0.95, abs=0.012)
    assert plain / 4000 < 0.85


def test_one_reading_says_that_its_spread_is_not_known() -> None:
    alone = readings(110.0)
    assert not alone.spread_known
    assert any("one reading only" in note for note in alone.notes)
    known = readings(110.0, known_spread_mm=0.02)
    assert known.spread_known
    assert known.type_a_uncertainty_mm == pytest.approx(0.02)


def test_earlier_spread_is_pooled_by_degrees_of_freedom() -> None:
    found = readings(110.00, 110.02, known_spread_mm=0.03, known_spread_degrees_of_freedom=9.0)
    pooled = math.sqrt((1.0 * 0.02**2 / 2.0 + 9.0 * 0.03**2) / 10.0)
    assert found.pooled_deviation == pytest.approx((pooled, 10.0))


def test_missing_calibration_is_told() -> None:
    assert any("calibration" in n for n in setup.RepeatedReadings("bore", (1.0, 1.1), IDEAL).notes)


def test_a_reading_that_stands_out_is_asked_about_and_still_counts() -> None:
    values = (110.00, 110.01, 110.00, 110.01, 110.25)
    found = readings(*values)
    question = setup.outlier_question(found)
    assert question is not None
    assert question.index == 4
    assert "reading 5" in question.text()
    assert found.mean_mm == pytest.approx(statistics.fmean(values))


def test_scatter_of_the_usual_size_is_not_asked_about() -> None:
    assert setup.outlier_question(readings(110.00, 110.02, 109.99, 110.01, 110.03)) is None
    # All equal but one step of the instrument.
    assert setup.outlier_question(readings(110.00, 110.00, 110.00, 110.00, 110.01)) is None


def test_false_questions_are_about_as_rare_as_stated() -> None:
    rng = np.random.default_rng(5)
    asked = sum(
        setup.outlier_question(setup.RepeatedReadings("simulated", tuple(row), IDEAL)) is not None
        for row in rng.normal(50.0, 0.02, size=(2000, 6))
    )
    assert asked / 2000 == pytest.approx(0.05, abs=0.015)


def result_of(*parts: setup.RepeatedReadings) -> setup.WrittenSum:
    return setup.WrittenSum("result", tuple(setup.Term(p.quantity) for p in parts))


def test_the_scattered_reading_is_the_one_to_repeat() -> None:
    wild = readings(110.00, 110.08, 109.95, label="carrier")
    calm = readings(31.00, 31.00, 31.01, label="bearing")
    best = setup.most_useful_reading(result_of(wild, calm), [wild, calm])
    assert best is not None
    assert best.label == "carrier"
    assert best.gain_mm > 0.0


def test_a_single_reading_comes_first() -> None:
    wild = readings(110.00, 110.08, 109.95, label="carrier")
    alone = readings(31.00, label="bearing")
    best = setup.most_useful_reading(result_of(wild, alone), [wild, alone])
    assert best is not None
    assert best.label == "bearing"


def test_expected_gain_is_what_comes_on_average() -> None:
    # A reading added at the same scatter: the forecast is the exact half-width for an unchanged deviation.
    four = readings(110.00, 110.02, 109.98, 110.00, label="carrier")
    best = setup.most_useful_reading(result_of(four), [four])
    assert best is not None
    s = four.standard_deviation_mm
    u_a, u_b = s / math.sqrt(5.0), four.type_b_uncertainty_mm
    freedom = setup.effective_degrees_of_freedom([(u_a, 4.0), (u_b, math.inf)])
    assert best.expanded_after_mm == pytest.approx(setup.coverage_factor(freedom) * math.hypot(u_a, u_b))


def test_nothing_helps_where_the_instrument_limits() -> None:
    flat = readings(110.0, 110.0, 110.0)
    assert setup.most_useful_reading(result_of(flat), [flat]) is None


@pytest.mark.parametrize("bad", [(), (math.nan,), (1.0, math.inf)])
def test_readings_that_are_none_are_refused(bad: tuple[float, ...]) -> None:
    with pytest.raises(InputError):
        setup.RepeatedReadings("carrier", bad, MICROMETER)


@pytest.mark.parametrize(
    "bad",
    [{"resolution_mm": -1.0}, {"calibration_expanded_mm": math.nan}, {"calibration_coverage_factor": 0.0}],
)
def test_instruments_that_cannot_be_are_refused(bad: dict[str, float]) -> None:
    with pytest.raises(InputError):
        setup.Instrument("dial gauge", **bad)


@given(st.lists(st.tuples(st.floats(0.001, 1.0), st.floats(1.0, 100.0)), min_size=1, max_size=6))
def test_effective_degrees_of_freedom_lie_between_the_least_and_the_sum(
    parts: list[tuple[float, float]],
) -> None:
    # GUM G.4.1 note: never more than the sum of all.
    found = setup.effective_degrees_of_freedom(parts)
    assert min(v for _, v in parts) * (1 - 1e-9) <= found <= sum(v for _, v in parts) * (1 + 1e-9)


def test_coverage_of_no_probability_is_refused() -> None:
    with pytest.raises(InputError):
        setup.coverage_factor(5.0, 1.0)


@pytest.mark.parametrize(
    ("digit_mm", "off_mm", "asked"),
    [
        (0.00254, 0.00254, False),  # 1.2490, 1.2491, 1.2490 in: one unit of the last place
        (0.00254, 0.0127, False),  # half a thousandth, as many dials read
        (0.00254, 0.0254, True),  # a whole thousandth, as much as the depth may be off
        (0.01, 0.01, False),
        (0.01, 0.05, True),
        (0.0, 0.00254, True),  # nothing known of the step
    ],
)
def test_one_unit_of_the_last_place_is_no_outlier(digit_mm: float, off_mm: float, asked: bool) -> None:
    values = (31.75, 31.75 + off_mm, 31.75)
    readings = setup.RepeatedReadings("width", values, setup.Instrument("dial"), last_digit_mm=digit_mm)
    assert (setup.outlier_question(readings) is not None) is asked
    # A step that is given counts, the last digit no more.
    known = setup.Instrument("dial", resolution_mm=0.0001)
    fine = setup.RepeatedReadings("width", values, known, last_digit_mm=digit_mm)
    assert setup.outlier_question(fine) is not None
