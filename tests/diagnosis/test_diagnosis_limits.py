"""What cannot be built, cannot be known, or was believed wrongly: is it said, and kept out of the advice?"""

from __future__ import annotations

from dataclasses import replace

import pytest

from axlewright.contact import Settings
from axlewright.contact.atlas import atlas_of
from axlewright.diagnosis import Earlier, Evidence, Goal, Priors, diagnose
from axlewright.diagnosis.advice import LEAST_SPACER_MM, shims_allow, spacer_out_of_reach
from axlewright.diagnosis.priors import depth_components
from axlewright.errors import InputError
from axlewright.pattern import pattern_from_words
from axlewright.units import show_length

TOO_FAR_IN = Settings(pinion_out_mm=-0.14)


def test_no_spacer_thinner_than_any_is_advised(seen):
    """A thin spacer under the head cannot become thinner than nothing: the change stops, and that is said."""
    evidence = replace(seen("TY-222", TOO_FAR_IN), spacer_now_mm=0.10)
    found = diagnose(evidence)
    assert found.cure["pinion_move_mm"].mean > 0.10, "the pinion would have to come farther out than it can"
    for advice in found.advice:
        assert advice.spacer_to_fit_mm is None or advice.spacer_to_fit_mm >= LEAST_SPACER_MM - 1e-9
    assert any("thin enough" in note for note in found.notes)
    roomy = diagnose(replace(evidence, spacer_now_mm=1.5))
    assert not any("thin enough" in note for note in roomy.notes)


def test_a_cage_with_hardly_a_shim_stops_the_other_way(seen):
    """Under a cage flange taking shims out moves the pinion in (TM 9-2320-273-34)."""
    evidence = replace(seen("TY-222", Settings(pinion_out_mm=0.14)), spacer_now_mm=0.10, place="cage_flange")
    found = diagnose(evidence)
    assert all((a.spacer_to_fit_mm or 1.0) >= LEAST_SPACER_MM - 1e-9 for a in found.advice)
    assert any("thin enough" in note for note in found.notes)


def test_a_shelf_that_does_not_reach_is_said(seen):
    shelf = [2.45, 2.47, 2.49]
    evidence = replace(seen("TY-222", Settings(pinion_out_mm=0.14)), spacer_now_mm=2.47)
    found = diagnose(evidence, spacer_stock=shelf)
    assert min(a.spacer_to_fit_mm for a in found.advice if a.spacer_to_fit_mm) >= min(shelf)
    assert any("on the shelf go from" in note for note in found.notes)
    assert spacer_out_of_reach(-0.02, "under_head", 2.47, shelf, 0.0127) == ""
    assert spacer_out_of_reach(-0.5, "under_head", None, shelf, 0.0127) == "", "nothing to count from"


def test_no_backlash_is_a_target_like_any_other(seen):
    right = seen("TY-222", Settings())
    none = diagnose(replace(right, backlash_target_mm=0.0)).cure["ring_move_mm"].mean
    nominal = diagnose(right).cure["ring_move_mm"].mean
    assert none < nominal - 0.03, "a target of zero asks for the ring gear to come closer"


@pytest.mark.parametrize("step", [{"shim_step_mm": 0.0}, {"spacer_step_mm": -0.01}])
def test_steps_that_cannot_be_are_refused(seen, step):
    with pytest.raises(InputError, match="cannot be built") as caught:
        diagnose(seen("TY-222", Settings()), **step)
    assert next(iter(step)) in str(caught.value)


def test_an_unread_backlash_is_asked_for_and_hardly_pulls(seen):
    evidence = seen("TY-222", Settings(ring_away_mm=0.10))
    unread = diagnose(replace(evidence, backlash_mm=None))
    assert any("backlash was not read" in note for note in unread.notes)
    assert not any("backlash was not read" in note for note in diagnose(evidence).notes)
    assert unread.cure["ring_move_mm"].sd > 1.2 * diagnose(evidence).cure["ring_move_mm"].sd


def test_beyond_what_was_computed_a_second_change_is_announced(seen):
    far = 1.3 * float(atlas_of(seen("TY-176B", Settings()).design).half_range[0])
    found = diagnose(seen("TY-176B", Settings(pinion_out_mm=far)))
    assert any("edge of what was computed" in note and "second change" in note for note in found.notes)
    assert found.advice[0].pinion_move_mm < -0.15 or found.advice[0].cost_class in ("L0", "L4")
    near = diagnose(seen("TY-176B", Settings(pinion_out_mm=0.05)))
    assert not any("edge of what was computed" in note for note in near.notes)


def test_a_pattern_off_the_edge_is_said_to_be_known_less_well(seen):
    far, near = seen("TY-222", Settings(pinion_out_mm=0.25)), seen("TY-222", Settings(pinion_out_mm=0.1))
    assert abs(far.drive.center[1]) > 0.45 > abs(near.drive.center[1])
    found = diagnose(far)
    assert any("runs off the edge" in note for note in found.notes)
    assert not any("runs off the edge" in note for note in diagnose(near).notes)
    assert found.cure["pinion_move_mm"].sd > 1.2 * diagnose(near).cure["pinion_move_mm"].sd


@pytest.mark.parametrize(("unit", "real"), [("0.001 in", 0.01), ("0.01 mm", 0.0254)])
def test_a_mark_in_the_wrong_unit_is_heard(seen, unit, real):
    """+8 taken as thousandths of an inch where hundredths of a millimetre were meant, and the reverse.

    1 in = 25.4 mm exactly (NIST SP 811), so the two differ by 8 × 0.0154 mm.
    """
    taken = {"0.001 in": 0.0254, "0.01 mm": 0.01}[unit]
    error = 8 * (taken - real)
    evidence = seen("TY-222", Settings(pinion_out_mm=error), mark_mm=8 * taken)
    found = diagnose(replace(evidence, mark_unit=unit))
    share = found.components["the mark was taken in the wrong unit"]
    weight = {c.name: c.weight for c in depth_components(Priors(), 8 * taken, unit)}
    assert share > 2.0 * weight["the mark was taken in the wrong unit"]
    assert "the mark was taken in the wrong unit" not in diagnose(evidence).components


def test_components_always_add_up():
    for mark in (None, 0.0, 0.05, -0.1):
        for unit in (None, "0.001 in", "0.01 mm", "inches of something"):
            assert sum(c.weight for c in depth_components(Priors(), mark, unit)) == pytest.approx(1.0)


def test_what_is_believed_beforehand_holds_for_the_first_look(seen):
    """Hardly readable patterns and a pinion moved 0.3 mm in since: it is believed to lie 0.3 mm in."""
    right = seen("TY-222", Settings())
    rough = {"drive_center_sd": (3.0, 3.0), "coast_center_sd": (3.0, 3.0)}
    blind = replace(right, **rough, backlash_mm=None)
    told = replace(blind, history=(Earlier(right.drive, None, pinion_moved_since_mm=-0.3),))
    alone, moved = diagnose(blind).cause["pinion_out_mm"], diagnose(told).cause["pinion_out_mm"]
    assert alone.mean == pytest.approx(0.0, abs=0.02)
    assert moved.mean == pytest.approx(-0.3, abs=0.03)
    assert moved.sd == pytest.approx(alone.sd, rel=0.15)


def test_both_side_shims_to_fit_are_named_and_their_total_stays(seen):
    """Moving the ring gear away thins the ring gear's side: 0.250 and 0.265 in become 0.240 and 0.275 in for
    0.010 in (government manual TM 9-2320-289-34 p. 6-19)."""
    evidence = replace(seen("TY-222", Settings(ring_away_mm=-0.12)), side_shims_mm=(6.350, 6.731))
    first = diagnose(evidence).advice[0]
    assert first.shim_move_mm == pytest.approx(0.12, abs=0.05)
    assert first.side_shims_to_fit_mm is not None
    ring, other = first.side_shims_to_fit_mm
    assert ring == pytest.approx(6.350 - first.shim_move_mm)
    assert ring + other == pytest.approx(6.350 + 6.731)
    assert "Side shims then:" in first.text
    assert first.to_json()["side_shims_to_fit_mm"] == [round(ring, 4), round(other, 4)]
    assert diagnose(replace(evidence, side_shims_mm=None)).advice[0].side_shims_to_fit_mm is None


def test_no_side_shim_thinner_than_any_is_advised(seen):
    evidence = replace(seen("TY-222", Settings(ring_away_mm=-0.254)), side_shims_mm=(0.15, 6.731))
    for advice in diagnose(evidence).advice:
        assert advice.shim_move_mm <= 0.10 + 1e-9
        assert min(advice.side_shims_to_fit_mm or (1.0,)) >= LEAST_SPACER_MM - 1e-9
    assert shims_allow(-0.30, 0.0254, (6.0, 0.20)) == pytest.approx(-5 * 0.0254)
    assert shims_allow(-0.30, 0.0254, None) == pytest.approx(-12 * 0.0254)
    with pytest.raises(InputError, match="no side shim"):
        replace(evidence, side_shims_mm=(0.0, 1.0))


def test_an_axle_that_pulls_on_the_coast_flank_is_brought_right_there(seen):
    """What is wanted of the flanks changes places; the coast flank decides and is asked for first."""
    goal = Goal.for_axle("coast")
    assert goal.deciding_flank == "coast"
    assert Goal.for_axle("drive") == Goal()
    assert (goal.center[2:], goal.accept[2:]) == (Goal().center[:2], Goal().accept[:2])
    with pytest.raises(InputError, match="unknown flank"):
        Goal.for_axle("front")
    alone = diagnose(seen("TY-222", TOO_FAR_IN, flanks="drive"), goal=goal)
    assert alone.advice[0].look_again
    assert str(alone.advice[0].text).startswith("Photograph the coast flank")
    both = seen("TY-222", Settings(pinion_out_mm=0.1, offset_error_mm=0.06))
    usual, turned = diagnose(both), diagnose(both, goal=goal)
    assert turned.cause == usual.cause, "the cause is the same whatever flank pulls"
    assert turned.cure["pinion_move_mm"].mean != pytest.approx(usual.cure["pinion_move_mm"].mean, abs=1e-4)


def test_a_rough_reading_does_not_advise_to_leave_what_is_likely_wrong(seen):
    """Words alone leave the chance of being right below one in two: photos come first, nothing is pressed."""
    design = seen("TY-222", Settings()).design
    rough = diagnose(Evidence(design, pattern_from_words("low", "drive")))
    assert rough.advice[1].chance_last_teardown < 0.5
    assert rough.advice[0].look_again
    assert str(rough.advice[0].text).startswith("Photograph both flanks and read the backlash")
    right = diagnose(seen("TY-222", Settings()))
    assert not right.advice[0].look_again


def test_the_tightest_place_is_what_is_held_to_the_target(seen):
    """Read 0.05 mm tighter at one place: the ring gear goes farther away by that over the factor."""
    evidence = seen("TY-222", Settings(pinion_out_mm=0.1), backlash_target_mm=0.18)
    mean = diagnose(evidence)
    tight = diagnose(replace(evidence, backlash_tightest_mm=evidence.backlash_mm - 0.05))
    moved = tight.cure["ring_move_mm"].mean - mean.cure["ring_move_mm"].mean
    assert 0.03 < moved < 0.08, "0.05 mm over a factor of 0.9, the patterns pulling back a little"
    assert tight.cause["ring_away_mm"].mean == pytest.approx(mean.cause["ring_away_mm"].mean), "not the cause"
    best = tight.advice[0]
    assert best.expected_tightest_mm == pytest.approx(best.expected_backlash_mm - 0.05)
    assert best.expected_tightest_mm == pytest.approx(0.18, abs=0.025)
    assert any("at its tightest place" in note for note in tight.notes)
    assert mean.advice[0].expected_tightest_mm is None
    assert not any("tightest" in note for note in mean.notes)


def test_the_figures_of_the_pinion_are_told_apart(seen):
    evidence = seen("TY-222", Settings(pinion_out_mm=0.12), spacer_now_mm=1.5)
    step = diagnose(evidence)
    shelf = diagnose(evidence, spacer_stock=(1.5, 1.6, 1.7))
    for found, how in ((step, "in steps of 0.0005 in"), (shelf, "with the spacers on the shelf")):
        for mm in (
            found.cause["pinion_out_mm"].mean,
            found.cure["pinion_move_mm"].mean,
            found.advice[0].pinion_move_mm,
        ):
            assert show_length(mm, signed=True) in found.figures
        assert how in found.figures
        assert found.to_json()["figures"] == found.figures
    assert shelf.advice[0].pinion_move_mm == pytest.approx(-0.1)
    stays = diagnose(seen("TY-222", Settings()))
    assert "the first advice does not move it" in stays.figures
