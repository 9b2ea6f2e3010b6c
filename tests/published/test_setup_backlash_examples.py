"""Side shims and backlash as printed."""

from __future__ import annotations

import math

import pytest

from axlewright import setup

INCH = 25.4


def test_side_shims_from_zero_lash_to_preload() -> None:
    # TM 9-2320-289-34 p 6-19: measured 0.250 and 0.265 in (6.350, 6.731 mm) at zero lash and zero preload;
    # the gear moved away 0.010: 0.240 / 0.275 (6.096 / 6.985 mm); 0.004 added each side: 0.244 / 0.279 (6.198
    # / 7.087).
    start = setup.SideShims(0.250 * INCH, 0.265 * INCH)
    assert start.total_mm / INCH == pytest.approx(0.515)
    moved = start.moved(0.010 * INCH)
    assert (moved.ring_side_mm, moved.other_side_mm) == pytest.approx((6.096, 6.985), abs=5e-4)
    assert moved.total_mm == pytest.approx(start.total_mm)
    final = moved.preloaded(0.004 * INCH)
    assert (final.ring_side_mm, final.other_side_mm) == pytest.approx((6.198, 7.087), abs=5e-4)
    assert final.total_mm / INCH == pytest.approx(0.523)


def test_high_backlash_asks_for_a_thicker_ring_side() -> None:
    # TM 9-2320-289-34 p 6-21/22: equal and opposite, total unchanged, high lash -> thicker ring side.
    move = setup.ring_move_for_backlash([0.012 * INCH, 0.013 * INCH], 0.007 * INCH)
    assert move.ring_side_change_mm > 0.0
    assert move.ring_side_change_mm == -move.other_side_change_mm


@pytest.mark.parametrize(
    ("drive", "coast", "spiral", "pitch", "low", "high"),
    # Worked once more from the same closed form by another hand (derived, not published): the ranges of k.
    [
        (19.0, 19.0, 30.0, 70.0, 0.74, 0.76),
        (20.0, 20.0, 35.0, 75.0, 0.85, 0.87),
        (16.0, 16.0, 30.0, 70.0, 0.62, 0.63),
        (20.0, 20.0, 0.0, 70.0, 0.68, 0.69),
    ],
)
def test_backlash_per_ring_move_lies_in_its_range(
    drive: float, coast: float, spiral: float, pitch: float, low: float, high: float
) -> None:
    assert low <= setup.backlash_per_ring_move(pitch, spiral, drive, coast) <= high


def test_straight_bevel_special_case() -> None:
    # Textbook form 2 tan(alpha) sin(delta), from memory.
    k = setup.backlash_per_ring_move(72.0, 0.0, 20.0, 20.0)
    assert k == pytest.approx(2.0 * math.tan(math.radians(20.0)) * math.sin(math.radians(72.0)))


def test_stem_square_to_the_tooth_reads_less() -> None:
    # cos 35 cos 20 = 0.77 (derived).
    angles = (72.0, 35.0, 20.0, 20.0)
    ratio = setup.backlash_per_ring_move(*angles, stem="square_to_tooth") / setup.backlash_per_ring_move(
        *angles
    )
    assert ratio == pytest.approx(0.77, abs=0.005)


@pytest.mark.parametrize(
    ("away_in", "backlash_in"),
    # Printed rules, civil service literature, maker withheld: 0.002 -> 0.001 in; 0.010 -> 0.007 in: common
    # practice, no source; TM 9-2320-289-34 p 6-19: 0.010 in from tight mesh lands in 0.005 to 0.008 in.
    [(0.002, 0.001), (0.010, 0.007), (0.010, 0.005), (0.010, 0.008)],
)
def test_printed_rules_of_thumb_are_believed(away_in: float, backlash_in: float) -> None:
    learned = setup.learn_backlash_factor(0.003 * INCH, (0.003 + backlash_in) * INCH, away_in * INCH)
    assert learned.value == pytest.approx(backlash_in / away_in)


def test_heel_runout_and_backlash_spread_limits_agree() -> None:
    # 0.003 in face runout x 0.7 = 0.002 in (derived from two printed limits, TM 9-2320-289-34 ch 6).
    runout, spread = (setup.DEFAULT_LIMITS[k].high for k in ("ring_face_runout", "backlash_spread"))
    assert runout is not None
    assert spread is not None
    assert round(runout * setup.START_FACTOR / INCH, 3) == round(spread / INCH, 3)


def test_notch_travel() -> None:
    # 12 threads per inch, 24 notches -> 0.0035 in (derived; the numbers are from memory).
    assert setup.notch_travel_mm(INCH / 12.0, 24) / INCH == pytest.approx(0.0035, abs=5e-5)
