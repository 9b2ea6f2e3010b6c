"""Is what came judged fairly, and does a design get known from its jobs?"""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

import axlewright as aw
from axlewright.contact import Settings, roll
from axlewright.contact.atlas import atlas_of
from axlewright.diagnosis import Evidence, Priors, compare_expected, diagnose, learn_design
from axlewright.errors import InputError

BEFORE = Settings(pinion_out_mm=0.13)


def test_a_change_that_worked_is_said_to_have_worked(seen):
    found = diagnose(seen("TY-222", BEFORE))
    best = found.advice[0]
    after = seen("TY-222", BEFORE.plus(Settings(best.pinion_move_mm, best.shim_move_mm)))
    told = compare_expected(found, after)
    assert told.as_expected
    assert set(told.surprise) == {
        "drive_lengthwise",
        "drive_profile",
        "coast_lengthwise",
        "coast_profile",
        "backlash_mm",
    }
    assert "brought what was expected" in told.words
    assert told.pinion_farther_out_mm == pytest.approx(0.0, abs=0.02)
    json.dumps(told.to_json(), default=str)


@pytest.mark.parametrize("slip", [0.09, -0.09])
def test_a_wrong_spacer_is_noticed_and_sized(seen, slip):
    """The spacer fitted was 0.09 mm off: the pinion landed that much away from where it was meant."""
    found = diagnose(seen("TY-222", BEFORE))
    best = found.advice[0]
    after = seen("TY-222", BEFORE.plus(Settings(best.pinion_move_mm + slip, best.shim_move_mm)))
    told = compare_expected(found, after)
    assert not told.as_expected
    assert told.pinion_farther_out_mm == pytest.approx(slip, abs=0.025)
    assert f"farther {'out' if slip > 0 else 'in'}" in told.words
    assert "spacer" in told.words


def test_what_was_really_moved_counts(seen):
    found = diagnose(seen("TY-222", BEFORE))
    after = seen("TY-222", BEFORE.plus(Settings(-0.05)))
    assert not compare_expected(found, after).as_expected
    assert compare_expected(found, after, pinion_moved_mm=-0.05, ring_moved_mm=0.0).as_expected


def test_only_what_was_read_is_compared(seen):
    found = diagnose(seen("TY-222", BEFORE))
    after = replace(seen("TY-222", BEFORE, flanks="drive"), backlash_mm=None)
    told = compare_expected(found, after, pinion_moved_mm=0.0, ring_moved_mm=0.0)
    assert set(told.came) == {"drive_lengthwise", "drive_profile"}


def _jobs(count: int, seed: int, shift: tuple[float, float]) -> tuple[list[Evidence], list[float]]:
    """Sets whose patterns all lie off the design's by `shift` on drive, each a little its own way."""
    design, rng = aw.load_design("TY-222"), np.random.default_rng(seed)
    atlas, jobs, depths = atlas_of(design), [], []
    for _ in range(count):
        s = Settings(*(float(v) for v in rng.standard_normal(4) * [0.03, 0.04, 0.02, 0.01]))
        patterns = []
        for flank in ("drive", "coast"):
            p = roll(
                design, flank, s.pinion_out_mm, s.ring_away_mm, s.offset_error_mm, s.shaft_angle_error_deg
            ).pattern
            by = np.array(shift if flank == "drive" else (0.0, 0.0)) + rng.normal(0.0, 0.03, 2)
            patterns.append(replace(p, center=(p.center[0] + float(by[0]), p.center[1] + float(by[1]))))
        backlash = max(0.0, design.backlash_nominal_mm + atlas.figure("backlash_change_mm", s))
        jobs.append(Evidence(design, *patterns, (0.03, 0.03), (0.03, 0.03), backlash_mm=backlash))
        depths.append(s.pinion_out_mm)
    return jobs, depths


def test_jobs_teach_where_a_design_lies():
    jobs, _ = _jobs(24, 1, (0.0, 0.20))
    learned = learn_design(jobs)
    assert learned.jobs == 24
    assert learned.offset[1] == pytest.approx(0.20, abs=3.0 * learned.offset_sd[1])
    assert learned.offset[1] > 0.08
    assert learned.offset_sd[1] < 0.06
    assert "above" in learned.words
    few = learn_design(jobs[:3])
    assert few.offset_sd[1] > learned.offset_sd[1]
    assert abs(few.offset[1]) < 0.25
    # Fresh jobs of the same design are read better with what was learned.
    fresh, depths = _jobs(10, 2, (0.0, 0.20))
    plain = [diagnose(j).cause["pinion_out_mm"].mean - d for j, d in zip(fresh, depths, strict=True)]
    wiser = [
        diagnose(j, priors=learned.priors).cause["pinion_out_mm"].mean - d
        for j, d in zip(fresh, depths, strict=True)
    ]
    assert np.sqrt(np.mean(np.square(wiser))) < 0.85 * np.sqrt(np.mean(np.square(plain)))


def test_nothing_is_learned_where_there_is_nothing():
    jobs, _ = _jobs(12, 3, (0.0, 0.0))
    learned = learn_design(jobs)
    assert np.all(np.abs(learned.offset) < 3.0 * learned.offset_sd)
    assert isinstance(learned.priors, Priors)
    assert "12 jobs" in learned.priors.source


def test_learning_refuses_what_it_cannot_use(seen):
    with pytest.raises(InputError, match="no finished job"):
        learn_design([])
    with pytest.raises(InputError, match="several designs"):
        learn_design([seen("TY-222", Settings()), seen("TY-310", Settings())])
