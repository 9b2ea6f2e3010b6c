"""How sets of a design differ, rolled for each design."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import axlewright as aw
from axlewright.contact.atlas import atlas_of
from axlewright.diagnosis import Priors, habits_of
from axlewright.diagnosis.habits import USUAL, edge_growth, roll_habits
from axlewright.errors import ContactError
from axlewright.gearset import EaseOffSpread

STILL = 1e-6
NOTHING = EaseOffSpread(*[STILL] * 7)


def test_an_ease_off_moved_along_the_tooth_moves_the_pattern_as_far() -> None:
    """A parabola of lengthwise crown keeps its shape when it is moved: the lie is the move."""
    design = aw.load_design("TY-222")
    moved = roll_habits(design, atlas_of(design), replace(NOTHING, center_lengthwise=0.065))
    still = roll_habits(design, atlas_of(design), NOTHING)
    for k in (0, 2):
        assert moved.lie_sd[k] == pytest.approx(0.065, rel=0.25), "96 sets: 7 % by chance, the rest the twist"
        assert still.lie_sd[k] <= 0.02
    assert np.all(still.unlike < 0.012), "what is left is the coarse rolling and the atlas' own error"


def test_crowns_that_stray_stretch_the_travel_in_proportion() -> None:
    """Twice the straying is about twice the stretch."""
    design = aw.load_design("TY-310")
    some, twice = (
        roll_habits(design, atlas_of(design), replace(NOTHING, lengthwise_crown=s, twist_mm=s / 50))
        for s in (0.15, 0.30)
    )
    assert some.stretch_sd[0] > 0.1
    assert twice.stretch_sd[0] / some.stretch_sd[0] == pytest.approx(2.0, rel=0.35)


def test_a_small_cutter_makes_sets_differ_more_in_how_far_they_move() -> None:
    """TY-310's place in profile hangs on the setting more than on the set's own centre."""
    bus, usual = habits_of(aw.load_design("TY-310")), habits_of(aw.load_design("TY-222"))
    assert bus.stretch_sd[1] > 1.3 * usual.stretch_sd[1]
    assert bus.lie_sd[1] < 0.8 * usual.lie_sd[1]


def test_a_design_whose_sets_seldom_make_marks_differs_as_usual(monkeypatch) -> None:
    from axlewright.diagnosis import habits

    def bare(*_args, **_more):
        raise ContactError("no mark")

    design = aw.load_design("TY-222")
    atlas = atlas_of(design)
    monkeypatch.setattr(habits, "roll_unloaded", bare)
    assert roll_habits(design, atlas, EaseOffSpread()) is USUAL


def test_what_a_shop_gives_stands_in_place_of_what_was_rolled() -> None:
    design = aw.load_design("TY-222")
    rolled, own = habits_of(design), Priors(lie_profile=0.2, unlike=0.03).habits(design)
    assert own.lie_sd[[1, 3]].tolist() == [0.2, 0.2]
    assert own.lie_sd[0] == rolled.lie_sd[0]
    assert own.stretch_sd.tolist() == rolled.stretch_sd.tolist()
    assert own.unlike.tolist() == [0.03] * 4
    with pytest.raises(ValueError, match="no spread"):
        EaseOffSpread(profile_crown=0.0)


def test_rolled_once_then_read(tmp_path, monkeypatch) -> None:
    from axlewright.diagnosis import habits

    monkeypatch.setenv("AXLEWRIGHT_HOME", str(tmp_path))
    design, spread = aw.load_design("TY-205H"), EaseOffSpread(profile_crown=0.24)
    first = habits_of(design, spread)
    habits._KEPT.clear()
    monkeypatch.setattr(habits, "roll_habits", lambda *_: pytest.fail("rolled again"))
    again = habits_of(design, spread)
    assert again.stretch_sd.tolist() == first.stretch_sd.tolist()
    next(tmp_path.rglob("habits-*.npy")).write_bytes(b"damaged")
    habits._KEPT.clear()
    monkeypatch.setattr(habits, "roll_habits", lambda *_: USUAL)
    assert habits_of(design, spread).lie_sd.tolist() == USUAL.lie_sd.tolist()
    habits._KEPT.clear()


def test_sets_differ_more_toward_the_edge() -> None:
    assert edge_growth(np.array([0.0, 0.46, -0.46])) == pytest.approx([1.0, 2.0, 2.0], abs=0.01)
