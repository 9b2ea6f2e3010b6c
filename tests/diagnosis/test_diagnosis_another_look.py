"""What another photo is worth before it is taken."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from axlewright.contact import Settings
from axlewright.contact.atlas import atlas_of
from axlewright.diagnosis import COST_HOURS, Evidence, Goal, Priors, diagnose
from axlewright.diagnosis.advice import COMEBACK_HOURS
from axlewright.diagnosis.another_look import LookWorth, worth_of_another_photo
from axlewright.diagnosis.cause import infer
from axlewright.diagnosis.cure import accepted, best_moves, patterns_after


def worth(evidence: Evidence, seed: int = 0, goal: Goal | None = None) -> LookWorth:
    goal = Goal() if goal is None else goal
    atlas = atlas_of(evidence.design)
    posterior = infer(evidence, atlas, Priors(), 0)
    target = evidence.design.backlash_nominal_mm
    seen = evidence.seen("drive")
    assert seen is not None
    return worth_of_another_photo(
        posterior, atlas, goal=goal, target_mm=target, moves=best_moves(posterior, atlas, target, goal),
        place=evidence.place, profile_sd=seen.profile_sd, seed=seed,
    )  # fmt: skip


@pytest.mark.parametrize("out_mm", [0.0, 0.03, 0.13])
def test_it_saves_more_the_worse_the_first_was_read(seen, out_mm):
    """A look never costs hours by what it tells, and it raises the chance on average."""
    evidence = seen("TY-222", Settings(pinion_out_mm=out_mm))
    well, badly = (worth(replace(evidence, drive_center_sd=(sd, sd))) for sd in (0.01, 0.07))
    assert well.hours_saved > -0.02
    assert badly.hours_saved > well.hours_saved
    assert badly.chance_then > badly.chance_now


def test_it_is_worth_less_than_knowing_all(seen):
    """Bounded by the value of perfect information: every sample given its own best change."""
    evidence = replace(seen("TY-222", Settings(pinion_out_mm=0.03)), drive_center_sd=(0.07, 0.07))
    atlas, goal = atlas_of(evidence.design), Goal()
    target = evidence.design.backlash_nominal_mm
    posterior = infer(evidence, atlas, Priors(), 0)
    a, b = best_moves(posterior, atlas, target, goal)
    left = accepted(*patterns_after(posterior, atlas, 0.0, 0.0), target, goal)
    cured = accepted(*patterns_after(posterior, atlas, a, b), target, goal)
    redone = COST_HOURS["L3"] + COMEBACK_HOURS
    perfect = np.where(left, COST_HOURS["L0"], COST_HOURS["L3"] + redone * ~cured)
    advice = [a for a in diagnose(replace(evidence, looked_again=True)).advice if a.cost_class != "L4"]
    now = min(COST_HOURS[a.cost_class] + redone * (1.0 - a.chance_last_teardown) for a in advice)
    assert worth(evidence).hours_saved < now - float(perfect.mean())


def test_chance_in_drawing_truths_hardly_counts(seen):
    evidence = replace(seen("TY-222", Settings(pinion_out_mm=0.03)), drive_center_sd=(0.06, 0.06))
    saved = [worth(evidence, seed).hours_saved for seed in range(5)]
    assert float(np.std(saved)) < 0.15 * float(np.mean(saved)) + 0.03


def test_it_is_offered_where_it_saves_twice_its_minutes(seen):
    evidence = seen("TY-222", Settings(pinion_out_mm=0.13), looked_again=False)
    for sd in (0.01, 0.03, 0.05, 0.08):
        one = replace(evidence, drive_center_sd=(sd, sd))
        first, second = diagnose(one).advice[:2]
        offered = worth(one).hours_saved >= 2.0 * COST_HOURS["L0"]
        assert first.look_again == offered
        assert (first.saves_hours is not None) == offered
        assert second.pinion_move_mm != 0.0


def test_only_what_is_on_the_shelf_is_counted(seen):
    """A shelf without anything near: no photo makes its spacers fit, so none is offered for that."""
    evidence = replace(
        seen("TY-222", Settings(pinion_out_mm=0.13), looked_again=False),
        drive_center_sd=(0.08, 0.08),
        spacer_now_mm=1.40,
    )
    assert diagnose(evidence).advice[0].saves_hours is not None
    first = diagnose(evidence, spacer_stock=(1.40, 1.42, 1.90)).advice[0]
    assert first.saves_hours is None
