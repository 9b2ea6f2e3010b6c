"""Best positions: against curves whose least point is known, and against sets rolled by the engine."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from axlewright.errors import InputError
from axlewright.gearset import load_design
from axlewright.plant import (
    DesignCurve,
    Practice,
    Roll,
    SimulatedSet,
    best_position,
    design_curve,
    pattern_position,
    simulated_log,
)

INCH = Practice(mark_unit="0.001 in", mark_meaning="plus_means_larger_mounting_distance")
PLACES = (-0.1016, -0.0508, 0.0, 0.0508, 0.1016)


def parabola(least_mm: float, places: tuple[float, ...] = PLACES, **more: float) -> list[Roll]:
    return [
        Roll("1", "X", x, drive_motion_error_urad=30.0 * (1 + ((x - least_mm) / 0.08) ** 2), **more)  # type: ignore[arg-type]
        for x in places
    ]


@settings(max_examples=15)
@given(st.floats(-0.06, 0.06))
def test_the_least_point_of_a_parabola_is_found(least_mm: float) -> None:
    found = best_position(parabola(least_mm), None, INCH)
    assert found.best_mm == pytest.approx(least_mm, abs=0.004)
    assert found.interval_95_mm[0] <= least_mm <= found.interval_95_mm[1]


def test_the_mark_is_the_rounded_position_in_the_shops_convention() -> None:
    found = best_position(parabola(0.047), None, INCH)
    assert found.decided
    assert found.mark is not None
    assert found.mark.value == 2.0  # 0.047 mm = 1.85 thousandths of an inch
    other = Practice(mark_unit="0.01 mm", mark_meaning="plus_means_thicker_spacer")
    turned = best_position(parabola(0.047), None, other).mark
    assert turned is not None
    assert turned.value == -5.0  # 4.7 hundredths, pinion out, so a thinner spacer
    assert best_position(parabola(0.047), None, Practice()).mark is None


def test_two_positions_do_not_decide_and_the_next_one_is_named() -> None:
    found = best_position(parabola(0.02, (-0.0508, 0.0)), None, INCH)
    assert not found.decided
    assert found.mark is None
    assert found.next_position_mm is not None
    assert found.next_position_mm > 0.0, "a place the readings have not been at"
    assert "Run one more position" in found.text()


def test_the_advised_position_narrows_the_answer(curve: DesignCurve) -> None:
    def true(x: float) -> float:
        return float(curve.error_at("drive", np.array([x - 0.07]))[0])

    rolls = [Roll("1", "TY-222", x, drive_motion_error_urad=true(x)) for x in (-0.1016, -0.0508, -0.0254)]
    before = best_position(rolls, curve, INCH)
    assert not before.decided
    assert before.next_position_mm is not None
    advised = before.next_position_mm
    after = best_position(
        [*rolls, Roll("1", "TY-222", advised, drive_motion_error_urad=true(advised))], curve, INCH
    )
    again = best_position([*rolls, rolls[0]], curve, INCH)
    assert after.half_width_mm < 0.75 * again.half_width_mm, "more than reading an old place again does"


def test_a_least_point_outside_those_run_is_not_decided(curve: DesignCurve) -> None:
    rolls = [
        Roll("1", "TY-222", x, drive_motion_error_urad=float(curve.error_at("drive", np.array([x - 0.1]))[0]))
        for x in (-0.0508, 0.0, 0.0508)
    ]
    found = best_position(rolls, curve, INCH)
    assert not found.decided
    assert "outside" in found.why_not or "spread" in found.why_not
    assert found.best_mm == pytest.approx(0.1, abs=0.02)


def test_a_slip_is_asked_about_and_moves_the_answer_little(curve: DesignCurve) -> None:
    rolls = [
        Roll(
            "1", "TY-222", x, drive_motion_error_urad=float(curve.error_at("drive", np.array([x - 0.02]))[0])
        )
        for x in PLACES
    ]
    clean = best_position(rolls, curve, INCH)
    bad = Roll("1", "TY-222", PLACES[1], drive_motion_error_urad=3.0 * rolls[1].drive_motion_error_urad)  # type: ignore[operator]
    found = best_position([rolls[0], bad, *rolls[2:]], curve, INCH)
    assert found.doubtful == (bad,)
    assert found.best_mm == pytest.approx(clean.best_mm, abs=0.02)


def test_sound_levels_say_the_same_as_the_motion_errors_behind_them(curve: DesignCurve) -> None:
    """A level is 20 lg of the amplitude and an unknown constant."""
    errors = [float(curve.error_at("drive", np.array([x - 0.03]))[0]) for x in PLACES]
    loud = [
        Roll("1", "TY-222", x, drive_sound_db=47.0 + 20 * np.log10(e))
        for x, e in zip(PLACES, errors, strict=True)
    ]
    found = best_position(loud, curve, INCH)
    assert found.method == "sound"
    assert found.best_mm == pytest.approx(0.03, abs=0.01)


@pytest.mark.parametrize("weight", [0.0, 0.5, 1.0])
def test_the_weight_moves_the_answer_between_the_flanks(curve: DesignCurve, weight: float) -> None:
    rolls = [
        Roll(
            "1", "TY-222", x,
            drive_motion_error_urad=float(curve.error_at("drive", np.array([x - 0.05]))[0]),
            coast_motion_error_urad=float(curve.error_at("coast", np.array([x + 0.05]))[0]),
        )
        for x in PLACES
    ]  # fmt: skip
    least = curve.pinion_out_mm[np.argmin(curve.error_at("coast", curve.pinion_out_mm))]
    found = best_position(rolls, curve, Practice(drive_weight=weight))
    if weight == 1.0:
        assert found.best_mm == pytest.approx(0.05, abs=0.012)
    elif weight == 0.0:
        assert found.best_mm == pytest.approx(least - 0.05, abs=0.012)
    else:
        assert -0.05 < found.best_mm < 0.06


def test_rolled_sets_are_better_met_than_by_the_smallest_reading(
    curve: DesignCurve, made: list[SimulatedSet]
) -> None:
    """Twenty sets; benchmarks/batch.py does hundreds and counts the intervals."""
    truth = np.array([one.best_mm for one in made])
    found = [best_position(one.rolls, curve, INCH) for one in made]
    off = np.array([f.best_mm for f in found]) - truth
    naive = np.array([f.smallest_reading_mm for f in found]) - truth
    inside = [f.interval_95_mm[0] <= t <= f.interval_95_mm[1] for f, t in zip(found, truth, strict=True)]
    assert np.sqrt(np.mean(off**2)) < 0.7 * np.sqrt(np.mean(naive**2))
    # 20 sets at 95 %: 16 or fewer inside would come by chance in 1.6 % of cases (binomial).
    assert sum(inside) >= 16


def test_patterns_alone_lead_near_the_place_the_set_was_made_for(
    curve: DesignCurve, made: list[SimulatedSet]
) -> None:
    """How a set's pattern lies is worth 0.05 of a flank here, that is some hundredths of depth."""
    found = [pattern_position(one.rolls, curve) for one in made]
    wanted = np.array([one.member.deviation_mm for one in made])
    assert all(f is not None for f in found)
    off = np.array([f.best_mm for f in found if f is not None]) - wanted
    assert np.sqrt(np.mean(off**2)) < 0.05
    assert np.corrcoef(wanted, off + wanted)[0, 1] > 0.7


def test_the_kept_log_is_what_the_script_makes() -> None:
    """The demonstration is made by rolling: the first sets come out the same again."""
    from axlewright.job.batch import demo_files
    from axlewright.plant import read_log, write_log

    again = simulated_log([load_design("TY-222"), load_design("TY-310")], 3, seed=20260302)
    kept = read_log(demo_files()[0]).rolls
    text = write_log([roll for one in again for roll in one.rolls]).splitlines()
    assert write_log(kept).splitlines()[: len(text)] == text


def test_what_cannot_be_answered_is_refused() -> None:
    with pytest.raises(InputError, match="no motion error and no sound level"):
        best_position([Roll("1", "X", 0.0, drive_profile=0.1)])
    with pytest.raises(ValueError, match="2 sets"):
        best_position([*parabola(0.0), Roll("2", "X", 0.0, drive_motion_error_urad=30.0)])


def test_a_curve_with_the_ring_gear_left_alone_differs() -> None:
    design = load_design("TY-222")
    kept, still = design_curve(design), design_curve(design, "ring position")
    at = np.array([0.1])
    assert kept.center_at("drive", at)[0, 1] != pytest.approx(still.center_at("drive", at)[0, 1], abs=0.005)


def _rolled(curve: DesignCurve, coast: tuple[float, ...], least_mm: float = 0.02) -> list[Roll]:
    """Five positions after the design's own curves, the coast readings multiplied by `coast`."""
    at = np.array(PLACES) - least_mm
    drive, other = curve.error_at("drive", at), curve.error_at("coast", at)
    return [
        Roll("1", "TY-222", x, drive_motion_error_urad=float(d), coast_motion_error_urad=float(c) * k)
        for x, d, c, k in zip(PLACES, drive, other, coast, strict=True)
    ]


def test_a_set_is_undecided_when_many_readings_do_not_fit(curve: DesignCurve) -> None:
    one = best_position(_rolled(curve, (1.0, 2.5, 1.0, 1.0, 1.0)), curve, INCH)
    assert (len(one.doubtful), one.decided) == (1, True)
    many = best_position(_rolled(curve, (1.0, 2.5, 1.0, 2.5, 1.0)), curve, INCH)
    assert (len(many.doubtful), many.decided, many.mark) == (2, False, None)
    assert many.next_position_mm is None, "no one reading more mends that"
    assert str(many.text()) == "Not decided: 2 of 5 readings do not fit the curve, run the set again."


def test_a_flank_that_counts_needs_three_positions_that_fit(curve: DesignCurve) -> None:
    rolls = _rolled(curve, (1.0,) * 5)
    assert best_position(rolls, curve, INCH).decided
    few = [r if k < 2 else replace(r, coast_motion_error_urad=None) for k, r in enumerate(rolls)]
    found = best_position(few, curve, INCH)
    assert not found.decided
    assert str(found.why_not) == "only 2 of at least 3 positions fit on the coast flank"
    assert best_position(few, curve, replace(INCH, drive_weight=1.0)).decided, "coast does not count"


@pytest.mark.parametrize("side", [1, -1])
def test_a_best_position_at_the_edge_is_run_beyond_it(side: int) -> None:
    found = best_position(parabola(side * 0.095), None, replace(INCH, needed_mm=0.05))
    assert abs(found.best_mm) < PLACES[-1]
    assert not found.decided
    assert "at the edge" in found.why_not
    assert found.next_position_mm is not None
    assert side * found.next_position_mm > PLACES[-1]
