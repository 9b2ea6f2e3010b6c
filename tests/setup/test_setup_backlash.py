"""Backlash readings, the ring gear move, and what it does to the shims and adjusters."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from axlewright import setup
from axlewright.errors import InputError

INCH = 25.4
BAND = setup.inch_limit("backlash", 0.005, 0.008, "service data typed in by bench one")


def around(*thousandths: float, **more: object) -> setup.BacklashReadings:
    return setup.BacklashReadings(tuple(t * INCH / 1000.0 for t in thousandths), **more)


def test_tightest_place_decides() -> None:
    readings = around(8.5, 7.0, 6.5, 7.5)
    assert readings.tightest_index == 2
    assert readings.tightest_angle_deg == pytest.approx(180.0)
    verdict = setup.judge_backlash(readings, BAND)
    # The loosest place is above the band, the tightest inside it: the band applies at the tightest.
    assert verdict.at_tightest.kind == "inside"
    assert verdict.at_tightest.value == pytest.approx(0.0065 * INCH)
    assert verdict.spread.kind == "inside"
    assert verdict.all_inside


def test_spread_beyond_its_limit() -> None:
    verdict = setup.judge_backlash(around(5.0, 7.0, 8.5, 6.0), BAND)
    assert verdict.spread.kind == "outside"
    assert not verdict.all_inside
    assert "default" in verdict.spread.text()


def test_uncertainty_makes_an_edge_doubtful() -> None:
    sure = setup.judge_backlash(around(5.1, 6.0, 6.0, 6.0), BAND)
    unsure = setup.judge_backlash(around(5.1, 6.0, 6.0, 6.0, expanded_uncertainty_mm=0.0005 * INCH), BAND)
    assert sure.at_tightest.kind == "inside"
    assert unsure.at_tightest.kind == "near the edge: measure again"


def test_spread_is_a_difference_of_two_readings() -> None:
    verdict = setup.judge_backlash(around(5.5, 6.0, 6.5, 6.0, expanded_uncertainty_mm=0.01), BAND)
    assert verdict.spread.expanded_uncertainty == pytest.approx(0.01 * math.sqrt(2.0))


def test_what_is_missing_in_the_readings_is_told() -> None:
    notes = around(6.0, 7.0).notes
    assert any("four places" in n for n in notes)
    assert any("Stem direction" in n for n in notes)
    assert around(6, 7, 6, 7, stem="in_rotation").notes == ()


@given(st.floats(0.02, 0.6), st.floats(0.02, 0.6), st.floats(0.4, 1.0))
def test_move_lands_on_the_target(now: float, target: float, k: float) -> None:
    move = setup.ring_move_for_backlash([now, now + 0.03], target, factor=k)
    assert now + k * move.ring_away_mm == pytest.approx(target)
    assert move.ring_side_change_mm + move.other_side_change_mm == pytest.approx(0.0)
    assert (move.ring_away_mm > 0) == (target > now)


def test_the_move_in_words() -> None:
    tighter = setup.ring_move_for_backlash([0.0100 * INCH], 0.0065 * INCH).text()
    assert "0.0050 in (0.127 mm) toward the pinion" in tighter
    assert "ring gear side that much thicker" in tighter
    looser = setup.ring_move_for_backlash([0.0030 * INCH], 0.0065 * INCH).text()
    assert "away from the pinion, ring gear side that much thinner" in looser
    assert "nothing to move" in setup.ring_move_for_backlash([0.1], 0.1).text()


@given(st.floats(0.4, 1.0), st.floats(0.05, 0.3), st.floats(0.05, 0.25))
def test_factor_is_learned_from_two_readings(k: float, before: float, away: float) -> None:
    learned = setup.learn_backlash_factor(before, before + k * away, away, reading_uncertainty_mm=0.003)
    assert learned.value == pytest.approx(k)
    assert learned.standard_uncertainty == pytest.approx(math.sqrt(2.0) * 0.003 / away)
    move = setup.ring_move_for_backlash([before], before + 0.05, factor=learned)
    assert "learned" in move.factor_source
    assert move.standard_uncertainty_mm > 0.0


@pytest.mark.parametrize(
    ("before", "after", "away"),
    [(0.20, 0.21, 0.10), (0.20, 0.35, 0.10), (0.20, 0.13, 0.10), (0.20, 0.20, 0.0), (0.0, 0.07, 0.10)],
)
def test_factors_that_cannot_be_are_refused(before: float, after: float, away: float) -> None:
    with pytest.raises(InputError, match="factor"):
        setup.learn_backlash_factor(before, after, away)


@given(
    st.floats(60.0, 80.0),
    st.floats(0.0, 40.0),
    st.floats(10.0, 25.0),
    st.floats(10.0, 25.0),
    st.floats(1.0, 1.3),
)
def test_factor_from_the_design(
    pitch: float, spiral: float, drive: float, coast: float, ratio: float
) -> None:
    k = setup.backlash_per_ring_move(pitch, spiral, drive, coast)
    assert setup.backlash_per_ring_move(pitch, -spiral, coast, drive) == pytest.approx(k)
    assert setup.backlash_per_ring_move(
        pitch, spiral, drive, coast, heel_radius_ratio=ratio
    ) == pytest.approx(k * ratio)
    assert setup.backlash_per_ring_move(pitch, spiral, drive, coast, stem="square_to_tooth") < k


@given(st.floats(60.0, 80.0), st.floats(0.0, 40.0), st.floats(10.0, 25.0), st.floats(10.0, 25.0))
def test_factor_against_the_tooth_normals(pitch: float, spiral: float, drive: float, coast: float) -> None:
    # The closed form once more as vectors: a flank with unit normal n and a shift of the gear by e along its
    # axis opens a normal gap n.e; turning the gear closes it at n.t per unit of pitch circle. Both flanks add
    # up.
    delta, beta = math.radians(pitch), math.radians(spiral)
    gap_as_turn = 0.0
    for alpha, side in ((math.radians(drive), 1.0), (math.radians(coast), -1.0)):
        # Frame: cone generatrix toward the heel, direction of rotation, outward normal of the pitch plane.
        normal = (
            -side * math.cos(alpha) * math.sin(beta),
            side * math.cos(alpha) * math.cos(beta),
            math.sin(alpha),
        )
        # The gear's axis, pointing away from the pinion, in that frame.
        axis = (-math.cos(delta), 0.0, -math.sin(delta))
        opened = -sum(n * e for n, e in zip(normal, axis, strict=True))
        gap_as_turn += opened / (normal[1] * side)
    assert setup.backlash_per_ring_move(pitch, spiral, drive, coast) == pytest.approx(gap_as_turn)


def test_pinion_moves_count_by_the_pinions_cone() -> None:
    # Derived: k of a pinion move is that of the ring gear by sin(delta1)/sin(delta2); 0.2 to 0.35 is usual.
    ring = setup.backlash_per_ring_move(70.0, 30.0, 20.0, 20.0)
    pinion = setup.backlash_per_pinion_move(18.0, 30.0, 20.0, 20.0)
    assert pinion / ring == pytest.approx(math.sin(math.radians(18.0)) / math.sin(math.radians(70.0)))
    assert 0.2 <= pinion <= 0.35


def test_backlash_from_the_companion_flange() -> None:
    # Kinematics: a turn of 360 degrees times the ratio would be the whole heel circle.
    whole = setup.backlash_of_flange_turn(360.0 * 41 / 11, 41 / 11, 111.0)
    assert whole == pytest.approx(2.0 * math.pi * 111.0)
    with pytest.raises(InputError):
        setup.backlash_of_flange_turn(-1.0, 3.7, 111.0)


@pytest.mark.parametrize(
    ("arguments", "more"),
    [
        ((0.0, 30.0, 20.0, 20.0), {}),
        ((70.0, 80.0, 20.0, 20.0), {}),
        ((70.0, 30.0, 0.0, 20.0), {}),
        ((70.0, 30.0, 20.0, 20.0), {"heel_radius_ratio": 5.0}),
        ((70.0, 30.0, 20.0, 20.0), {"stem": "sideways"}),
    ],
)
def test_angles_that_cannot_be_are_refused(arguments: tuple[float, ...], more: dict[str, object]) -> None:
    with pytest.raises(InputError):
        setup.backlash_per_ring_move(*arguments, **more)


@given(st.floats(1.0, 8.0), st.floats(1.0, 8.0), st.floats(-0.5, 0.5), st.floats(0.0, 0.2))
def test_side_shims_keep_their_total(ring: float, other: float, away: float, each: float) -> None:
    shims = setup.SideShims(ring, other)
    assert shims.moved(away).total_mm == pytest.approx(shims.total_mm)
    assert shims.moved(away).moved(-away).ring_side_mm == pytest.approx(ring)
    assert shims.preloaded(each).total_mm == pytest.approx(shims.total_mm + 2.0 * each)
    # Preload on both sides leaves the ring gear where it is: the difference of the sides stays.
    loaded = shims.preloaded(each)
    assert loaded.other_side_mm - loaded.ring_side_mm == pytest.approx(other - ring)


def test_a_shim_thinner_than_nothing_is_refused() -> None:
    with pytest.raises(InputError, match="side shims"):
        setup.SideShims(0.1, 2.0).moved(0.2)


@given(st.floats(-0.6, 0.6), st.floats(0.5, 3.0), st.integers(8, 40))
def test_notches_come_within_half_a_notch(away: float, pitch: float, notches: int) -> None:
    move = setup.notches_for_move(away, pitch, notches)
    assert abs(move.remainder_mm) <= 0.5 * pitch / notches * (1 + 1e-9)
    assert move.ring_away_mm + move.remainder_mm == pytest.approx(away)


def test_adjusters_end_by_tightening() -> None:
    away = setup.notches_for_move(0.2, 2.0, 20).text()
    toward = setup.notches_for_move(-0.2, 2.0, 20).text()
    assert str(away) == "Back the ring gear side off 2 notches, then tighten the other side 2 notches."
    assert str(toward) == "Back the other side off 2 notches, then tighten the ring gear side 2 notches."
    assert "leave" in setup.notches_for_move(0.01, 2.0, 20).text()


@pytest.mark.parametrize("bad", [(), (-0.1,), (math.nan,)])
def test_backlash_that_cannot_be_is_refused(bad: tuple[float, ...]) -> None:
    with pytest.raises(InputError, match="backlash"):
        setup.BacklashReadings(bad)


def test_pitch_outside_the_table_is_refused() -> None:
    with pytest.raises(InputError, match="outside the standard table"):
        setup.backlash_limit_by_pitch(1000.0, 30)
