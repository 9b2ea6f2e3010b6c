"""Runout: harmonics found again, flange and gear told apart, link to backlash."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from axlewright import setup
from axlewright.errors import InputError

sizes = st.floats(0.005, 0.2)
angles = st.floats(0.0, 359.9)


def face(
    theta_deg: np.ndarray, tilt: float, high: float, saddle: float = 0.0, saddle_high: float = 0.0
) -> np.ndarray:
    """Reading of a dial on a tilted and saddled face [mm]."""
    first = tilt * np.cos(np.radians(theta_deg - high))
    return first + saddle * np.cos(2.0 * np.radians(theta_deg - saddle_high))


def nearest_turn(a: float, b: float, turn: float) -> float:
    return abs((a - b + turn / 2.0) % turn - turn / 2.0)


@given(sizes, angles, sizes, st.floats(0.0, 179.9), st.floats(-1.0, 1.0), st.integers(6, 24))
def test_harmonics_are_found_again(
    tilt: float, high: float, saddle: float, saddle_high: float, mean: float, count: int
) -> None:
    theta = np.arange(count) * 360.0 / count
    fit = setup.fit_runout(mean + face(theta, tilt, high, saddle, saddle_high))
    assert fit.mean_mm == pytest.approx(mean, abs=1e-9)
    assert fit.first_tir_mm == pytest.approx(2.0 * tilt)
    assert nearest_turn(fit.first_high_deg, high, 360.0) < 1e-5
    assert fit.saddle_tir_mm == pytest.approx(2.0 * saddle)
    assert nearest_turn(fit.saddle_high_deg, saddle_high, 180.0) < 1e-4
    assert fit.value_mm(77.0) == pytest.approx(
        mean + float(face(np.array([77.0]), tilt, high, saddle, saddle_high)[0])
    )


def test_uneven_angles_are_taken_as_they_are() -> None:
    theta = np.array([0.0, 30.0, 95.0, 160.0, 200.0, 250.0, 300.0, 340.0])
    fit = setup.fit_runout(face(theta, 0.04, 110.0, 0.01, 25.0), list(theta))
    assert fit.first_tir_mm == pytest.approx(0.08)
    assert fit.first_high_deg == pytest.approx(110.0)


def test_four_readings_give_the_tilt_alone() -> None:
    fit = setup.fit_runout(face(np.arange(4) * 90.0, 0.04, 110.0))
    assert fit.first_tir_mm == pytest.approx(0.08)
    assert fit.saddle_tir_mm == 0.0
    assert "saddle" not in fit.text()


def test_uncertainty_of_the_tilt_by_simulation() -> None:
    rng = np.random.default_rng(3)
    theta = np.arange(8) * 45.0
    found, stated = [], []
    for _ in range(3000):
        fit = setup.fit_runout(face(theta, 0.05, 30.0) + rng.normal(0.0, 0.004, 8))
        found.append(abs(fit.first_mm))
        stated.append(fit.amplitude_uncertainty_mm**2)
    assert math.sqrt(float(np.mean(stated))) == pytest.approx(float(np.std(found)), rel=0.06)


@given(sizes, angles, sizes, angles, st.sampled_from([90.0, 120.0, 180.0, 240.0]), st.floats(0.0, 0.05))
def test_flange_and_gear_are_told_apart(
    flange: float, flange_high: float, gear: float, gear_high: float, turned: float, saddle: float
) -> None:
    theta = np.arange(12) * 30.0
    before = face(theta, flange, flange_high, saddle, 20.0) + face(theta, gear, gear_high)
    after = face(theta, flange, flange_high, saddle, 20.0) + face(theta, gear, gear_high + turned)
    apart = setup.separate_by_reindexing(setup.fit_runout(before), setup.fit_runout(after), turned)
    assert apart.flange_tir_mm == pytest.approx(2.0 * flange, abs=1e-9)
    assert apart.gear_tir_mm == pytest.approx(2.0 * gear, abs=1e-9)
    assert nearest_turn(math.degrees(np.angle(apart.gear_first_mm)), gear_high, 360.0) < 1e-4
    if turned == 180.0:
        assert apart.flange_second_mm is None
    else:
        assert apart.flange_second_mm is not None
        assert 2.0 * abs(apart.flange_second_mm) == pytest.approx(2.0 * saddle, abs=1e-9)


def test_half_a_turn_is_half_sum_and_half_difference() -> None:
    # Reversal: flange = (A + B)/2, gear = (A - B)/2 for odd harmonics (derived; common practice).
    theta = np.arange(8) * 45.0
    a, b = face(theta, 0.05, 40.0), face(theta, 0.03, 250.0)
    apart = setup.separate_by_reindexing(setup.fit_runout(a), setup.fit_runout(b), 180.0)
    assert apart.flange_first_mm == pytest.approx(setup.fit_runout((a + b) / 2.0).first_mm)
    assert apart.gear_first_mm == pytest.approx(setup.fit_runout((a - b) / 2.0).first_mm)


@pytest.mark.parametrize("turned", [0.0, 360.0, 10.0, 350.0])
def test_too_small_a_turn_is_refused(turned: float) -> None:
    fit = setup.fit_runout([0.0, 0.1, 0.0, -0.1])
    with pytest.raises(InputError, match="does not tell"):
        setup.separate_by_reindexing(fit, fit, turned)


@given(sizes, angles, sizes, angles, st.integers(6, 16))
def test_high_to_low_is_the_best_hole(
    flange: float, flange_high: float, gear: float, gear_high: float, bolts: int
) -> None:
    theta = np.arange(12) * 30.0

    def tilt(turn_deg: float) -> float:
        both = face(theta, flange, flange_high) + face(theta, gear, gear_high + turn_deg)
        return setup.fit_runout(both).first_tir_mm

    before, after = (
        setup.fit_runout(face(theta, flange, flange_high) + face(theta, gear, gear_high + t))
        for t in (0, 180)
    )
    advice = setup.best_index(setup.separate_by_reindexing(before, after, 180.0), bolts)
    assert advice.tir_after_mm == pytest.approx(tilt(advice.turn_deg), abs=1e-8)
    assert advice.tir_after_mm <= min(tilt(360.0 * h / bolts) for h in range(bolts)) + 1e-8
    assert advice.tir_after_mm <= advice.tir_before_mm + 1e-8


def test_runout_that_explains_the_backlash_variation() -> None:
    theta = np.arange(8) * 45.0
    back = setup.fit_runout(face(theta, 0.038, 70.0))
    lash = setup.fit_runout(0.18 + 0.7 * face(theta, 0.038, 70.0))
    link = setup.link_runout_to_backlash(back, lash, 0.7)
    assert link.expected_spread_mm == pytest.approx(0.7 * 0.076)
    assert link.unexplained_mm == pytest.approx(0.0, abs=1e-9)
    assert "mend the runout" in link.text()


def test_backlash_variation_elsewhere_is_not_explained() -> None:
    theta = np.arange(8) * 45.0
    back = setup.fit_runout(face(theta, 0.038, 70.0))
    lash = setup.fit_runout(0.18 + 0.7 * face(theta, 0.038, 250.0))
    link = setup.link_runout_to_backlash(back, lash, 0.7)
    assert link.unexplained_mm == pytest.approx(2.0 * link.expected_spread_mm)
    assert "does not explain" in link.text()


@pytest.mark.parametrize("readings", [[], [0.1, 0.2, 0.3], [0.1, 0.2, 0.3, math.nan]])
def test_too_few_readings_are_refused(readings: list[float]) -> None:
    with pytest.raises(InputError, match="runout"):
        setup.fit_runout(readings)


def test_angles_that_do_not_fit_are_refused() -> None:
    with pytest.raises(InputError, match="one angle for each"):
        setup.fit_runout([0.0, 0.1, 0.0, 0.1], [0.0, 90.0])
    with pytest.raises(InputError, match="spread the readings"):
        setup.fit_runout([0.0, 0.1, 0.0, 0.1], [0.0, 1.0, 2.0, 3.0])
