"""Running torque, crushed sleeve and rigid preload spacer."""

from __future__ import annotations

import math

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from axlewright import setup
from axlewright.errors import InputError
from axlewright.units import NM_PER_LBF_IN, Torque

UNITS = pint.UnitRegistry()
LIMIT = setup.lbf_in_limit("pinion running torque", 17.0, 25.0, "service data typed in by bench one")


def nut(degrees: float, lbf_in: float) -> setup.NutReading:
    return setup.NutReading(degrees, lbf_in * NM_PER_LBF_IN)


@given(st.floats(0.1, 100.0), st.floats(5.0, 200.0))
def test_cord_against_another_unit_library(pull_lbf: float, radius_mm: float) -> None:
    expected = (pull_lbf * UNITS.force_pound * radius_mm * UNITS.mm).to("newton * meter").magnitude
    force_n = (pull_lbf * UNITS.force_pound).to("newton").magnitude
    assert setup.torque_of_cord(force_n, radius_mm).nm == pytest.approx(expected)


def test_uncertainty_of_the_cord() -> None:
    # Relative parts add in squares: 10 % of pull and 5 % of radius make 11.2 % of torque.
    torque = setup.torque_of_cord(20.0, 80.0, force_uncertainty_n=2.0, radius_uncertainty_mm=4.0)
    assert torque.standard_uncertainty / torque.nm == pytest.approx(math.hypot(0.10, 0.05))


def test_wrench_deviation_is_larger_at_small_torque() -> None:
    # ISO 6789: 4 % above 10 N·m, 6 % up to it (as quoted in civil service literature).
    assert setup.wrench_uncertainty_nm(2.0) == pytest.approx(0.06 * 2.0 / math.sqrt(3.0))
    assert setup.wrench_uncertainty_nm(20.0) == pytest.approx(0.04 * 20.0 / math.sqrt(3.0))
    assert setup.wrench_uncertainty_nm(2.0, 0.1) > setup.wrench_uncertainty_nm(2.0)


def test_total_is_written_out() -> None:
    parts = [Torque(v * NM_PER_LBF_IN, label=n) for n, v in (("pinion", 20.0), ("seal", 3.0), ("side", 35.0))]
    total = setup.total_at_pinion(*parts, 41 / 11)
    assert total.text() == "20.0 + 3.0 + 35.0 / 3.73 = 32.4 lb-in"
    assert total.text("metric") == "2.26 + 0.34 + 3.95 / 3.73 = 3.66 N·m"


def test_uncertainty_of_the_total_counts_the_side_by_the_ratio() -> None:
    parts = [Torque(1.0, u, label=n) for n, u in (("pinion", 0.03), ("seal", 0.0), ("side", 0.16))]
    assert setup.total_at_pinion(*parts, 4.0).standard_uncertainty == pytest.approx(0.05)


def test_first_step_without_a_slope() -> None:
    advice = setup.next_sleeve_step([nut(0, 2)], LIMIT)
    assert (advice.state, advice.next_step_deg) == ("tighten", 5.0)
    assert advice.expected_nm is None
    assert "Never back the nut off" in advice.text()


def test_step_follows_the_slope() -> None:
    # 5 lb-in in 10 degrees; half the way from 7 to the middle 21 is 7 lb-in: 14 degrees, cut to 10.
    assert setup.next_sleeve_step([nut(0, 2), nut(10, 7)], LIMIT).next_step_deg == 10.0
    # 10 lb-in in 10 degrees; half the way from 12 to 21 is 4.5 lb-in: 4.5 degrees.
    advice = setup.next_sleeve_step([nut(0, 2), nut(10, 12)], LIMIT)
    assert advice.next_step_deg == pytest.approx(4.5)
    assert advice.expected_nm == pytest.approx(16.5 * NM_PER_LBF_IN)


@given(st.floats(0.5, 16.9), st.floats(0.05, 20.0), st.floats(0.0, 3.0))
def test_no_step_is_expected_to_pass_the_stop_line(last: float, slope: float, unsure: float) -> None:
    readings = [nut(0.0, last - slope * 1e-3), nut(1e-3, last)]
    advice = setup.next_sleeve_step(readings, LIMIT, expanded_uncertainty_nm=unsure * NM_PER_LBF_IN)
    assert advice.state == "tighten"
    assert 0.0 < advice.next_step_deg <= 10.0
    assert advice.expected_nm is not None
    assert advice.expected_nm <= advice.stop_line_nm * (1 + 1e-6)


def test_following_the_advice_ends_inside_on_a_stiffening_sleeve() -> None:
    # Invented sleeve: drag grows ever faster with the nut. The steps must reach the band and not pass it.
    readings = [nut(0.0, 1.0)]
    for _ in range(60):
        advice = setup.next_sleeve_step(readings, LIMIT)
        if advice.state != "tighten":
            break
        turned = readings[-1].nut_deg + advice.next_step_deg
        readings.append(nut(turned, 1.0 + 0.02 * turned + 0.0004 * turned**2))
    assert advice.state == "stop"
    assert advice.verdict.kind == "inside"


def test_inside_stops_even_when_it_is_not_sure() -> None:
    advice = setup.next_sleeve_step([nut(0, 18)], LIMIT, expanded_uncertainty_nm=2 * NM_PER_LBF_IN)
    assert advice.state == "stop"
    assert advice.verdict.kind == "near the edge: measure again"
    assert "do not tighten further" in advice.text()


def test_past_the_line_wants_a_new_sleeve() -> None:
    advice = setup.next_sleeve_step([nut(0, 12), nut(5, 27)], LIMIT)
    assert advice.state == "new sleeve"
    assert advice.next_step_deg == 0.0
    assert "new sleeve" in advice.text()
    assert "Never back the nut off" in advice.text()


def test_a_nut_turned_back_is_refused() -> None:
    with pytest.raises(InputError, match="turned back"):
        setup.next_sleeve_step([nut(10, 12), nut(5, 9)], LIMIT)


def test_sleeve_without_readings_or_limit_is_refused() -> None:
    with pytest.raises(InputError):
        setup.next_sleeve_step([], LIMIT)
    with pytest.raises(InputError):
        setup.next_sleeve_step([nut(0, 2)], setup.lbf_in_limit("torque", None, 25.0, "typed in"))
    with pytest.raises(InputError):
        setup.next_sleeve_step([nut(0, 2)], setup.inch_limit("length", 0.1, 0.2, "typed in"))


def test_place_of_the_preload_spacer_is_asked_for() -> None:
    # TM 9-2320-302-34 and TM 10-3930-660-34: thinner between the cones is more preload; TM 5-3805-255-14
    # prints the opposite, so the place must be said.
    assert setup.preload_change_sign("cones") == -1
    assert setup.preload_change_sign("cups") == 1
    with pytest.raises(InputError, match="cones or between the two cups"):
        setup.preload_change_sign("")


@given(st.floats(5.0, 15.0), st.floats(0.01, 0.2), st.floats(0.2, 2.0), st.floats(1.0, 4.0))
def test_rigid_spacer_by_two_trials(start: float, thinner: float, rise: float, target: float) -> None:
    found = setup.preload_spacer(start, 1.0, start - thinner, 1.0 + rise, target, between="cones")
    slope = -rise / thinner
    assert 1.0 + slope * (found - start) == pytest.approx(target)


def test_trials_that_contradict_the_place_are_refused() -> None:
    with pytest.raises(InputError, match="wrong way"):
        setup.preload_spacer(10.0, 1.0, 9.9, 2.0, 2.5, between="cups")
    with pytest.raises(InputError, match="same"):
        setup.preload_spacer(10.0, 1.0, 10.0, 2.0, 2.5, between="cones")


@pytest.mark.parametrize(("force", "radius"), [(-1.0, 50.0), (math.nan, 50.0), (10.0, 0.0), (10.0, math.inf)])
def test_cords_that_cannot_be_are_refused(force: float, radius: float) -> None:
    with pytest.raises(InputError):
        setup.torque_of_cord(force, radius)


def test_ratio_that_cannot_be_is_refused() -> None:
    drag = Torque(1.0, label="drag")
    with pytest.raises(InputError, match="ratio"):
        setup.total_at_pinion(drag, drag, drag, 0.0)
    with pytest.raises(InputError):
        setup.total_at_pinion(drag, Torque(-1.0, label="seal"), drag, 4.0)
