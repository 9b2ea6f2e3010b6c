"""Acceptance criteria: data with sources, verdicts that know how sure the reading is."""

from __future__ import annotations

import pytest

import axlewright as aw
from axlewright.errors import InputError
from axlewright.gearset import GearSetDesign
from axlewright.pattern import DEFAULT_CRITERIA, PatternReading, PatternVerdict, judge, pattern_from_words


def _kinds(verdicts: list[PatternVerdict]) -> dict[str, str]:
    return {v.criterion.key: v.kind for v in verdicts}


def test_every_criterion_has_a_source() -> None:
    for c in DEFAULT_CRITERIA:
        assert c.source
        if c.limit is not None:
            assert c.limit.is_default
            assert c.limit.source


def test_nominal_set_is_good_and_the_job_is_not(design: GearSetDesign) -> None:
    good = _kinds(judge(aw.roll(design, "drive").pattern))
    assert good["profile"] == "inside"
    assert good["clear"] == "inside"
    bad = _kinds(judge(aw.roll(design, "drive", pinion_out_mm=0.127).pattern))
    assert bad["profile"] == "outside"


def test_an_unsure_reading_gets_no_sure_verdict() -> None:
    kinds = _kinds(judge(pattern_from_words("slightly high, slightly toward toe", "drive")))
    assert kinds["profile"] == "near the edge: measure again"


def test_axles_that_drive_on_the_coast_flank(design: GearSetDesign) -> None:
    pattern = aw.roll(design, "coast").pattern
    assert "other-lengthwise" in _kinds(judge(pattern))
    assert "working-lengthwise" in _kinds(judge(pattern, drives_on="coast"))
    with pytest.raises(InputError):
        judge(pattern, drives_on="front")


def test_used_sets_are_held_against_their_own_trace(design: GearSetDesign) -> None:
    kinds = _kinds(judge(aw.roll(design, "drive", pinion_out_mm=0.127).pattern, condition="used"))
    assert kinds["used"] == "look yourself"
    assert "profile" not in kinds


def test_heel_bias_of_the_working_flank_is_outside(design: GearSetDesign) -> None:
    pattern = aw.roll(design, "drive", ring_away_mm=0.25).pattern
    reading = PatternReading(pattern=pattern, center_sd=(0.02, 0.02), length_sd=0.03, source="photo")
    verdicts = judge(reading)
    by_key = {v.criterion.key: v for v in verdicts}
    assert pattern.center[0] > 0.2
    assert by_key["working-lengthwise"].kind == "outside"
    assert "default" in by_key["working-lengthwise"].text
