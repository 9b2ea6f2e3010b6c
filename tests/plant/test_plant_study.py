"""Tolerance studies: repeatable, monotone, the same in parts, and worth what rolling says."""

from __future__ import annotations

import pytest

from axlewright.errors import InputError
from axlewright.gearset import load_design
from axlewright.plant import SettingSpread, tolerance_study

DESIGN = load_design("TY-222")


def test_the_seed_fixes_the_answer_and_processes_do_not_change_it() -> None:
    alone = tolerance_study(DESIGN, count=41_000, seed=9)
    together = tolerance_study(DESIGN, count=41_000, seed=9, workers=2)
    assert alone == together
    other = tolerance_study(DESIGN, count=41_000, seed=10)
    assert other.outside != alone.outside
    assert other.share == pytest.approx(alone.share, abs=0.012)  # four standard deviations of a difference


def test_less_spread_puts_fewer_outside_and_none_puts_none() -> None:
    usual = tolerance_study(DESIGN, count=5000)
    small = tolerance_study(DESIGN, SettingSpread(0.005, 0.005, 0.005, 0.002, 0.01), count=5000)
    wide = tolerance_study(DESIGN, SettingSpread(0.1, 0.03, 0.025, 0.0143, 0.065), count=5000)
    assert small.share < 0.001
    assert small.share < usual.share < wide.share
    assert all(share <= usual.share + 0.02 for _name, share in usual.halved)


def test_a_gauge_that_reads_wrong_shows() -> None:
    right = tolerance_study(DESIGN, count=5000)
    wrong = tolerance_study(DESIGN, SettingSpread(pinion_mean_mm=0.127), count=5000)  # 0.005 in
    assert wrong.share > right.share + 0.2
    profile = {str(name): n for name, n in wrong.by_criterion}["drive, centred between top and root"]
    assert profile > 0.4 * wrong.count


def test_rolling_agrees_with_the_atlas() -> None:
    found = tolerance_study(DESIGN, count=1000)
    assert found.rolled == 120
    assert found.rolled_alike >= 114  # 95 %


def test_the_table_holds_what_is_needed_to_repeat_it() -> None:
    text = tolerance_study(DESIGN, count=1000, seed=5).csv_text()
    for line in ("seed,5", "drawn,1000", "spread lie,0.065", "design,TY-222"):
        assert line in text


@pytest.mark.parametrize("count", [10, 10**9])
def test_silly_sizes_are_refused(count: int) -> None:
    with pytest.raises(InputError):
        tolerance_study(DESIGN, count=count)


def test_a_negative_spread_is_refused() -> None:
    with pytest.raises(InputError, match="no spread"):
        SettingSpread(-0.1)
