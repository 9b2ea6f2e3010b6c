"""What is wanted of a job's patterns: used sets, the flank that pulls, measures, side shims to fit."""

from __future__ import annotations

import pytest

import axlewright as aw
from axlewright.contact import Settings, roll
from axlewright.job import enter, start_job
from axlewright.job.entering import known_of
from axlewright.job.pattern import answer_advice, enter_patterns, enter_readings
from axlewright.job.pattern_shown import measures_shown
from axlewright.job.photos import FlankLook
from axlewright.job.rounds import setting_of
from axlewright.language import using_language
from axlewright.pattern import PatternReading
from axlewright.records import Job, JobStore

PAIR = {"pinion_number": "A 12", "ring_number": "A 12"}
BACKLASH = {"readings": "0.17 mm 0.17 mm 0.17 mm 0.17 mm", "stem": "in_rotation", "axle": "light"}
SHIMS = {"ring_side": "6.350 mm", "other_side": "6.731 mm"}


def read_of(settings: Settings) -> dict[str, PatternReading]:
    out = {}
    for flank in ("drive", "coast"):
        pattern = roll(aw.load_design("TY-222"), flank, settings.pinion_out_mm, settings.ring_away_mm).pattern
        out[flank] = PatternReading(pattern=pattern, center_sd=(0.02, 0.03), length_sd=0.03, source="photo")
    return out


def criteria(values: dict, flank: str) -> dict[str, str]:
    return {one["criterion"]: one["verdict"] for one in values["acceptance"][flank]}


def test_a_new_set_is_held_against_all_that_is_wanted(store: JobStore, job: Job) -> None:
    values = enter_readings(store, job.number, read_of(Settings(pinion_out_mm=0.15)), who="b").values
    drive = criteria(values, "drive")
    assert drive["profile"] == "outside"
    assert "working-lengthwise" in drive
    assert "other-lengthwise" in criteria(values, "coast")
    assert "used" not in drive


def test_a_used_set_on_an_axle_that_pulls_on_the_coast_flank(store: JobStore, job: Job) -> None:
    fields = {**PAIR, "condition": "used", "drives_on": "coast"}
    assert enter(store, job.number, "identity", fields, who="b").values["drives_on"] == "coast"
    outcome = enter_readings(store, job.number, {"drive": read_of(Settings())["drive"]}, who="b")
    assert criteria(outcome.values, "drive") == {"clear": "inside", "used": "look yourself"}
    assert outcome.verdict == "ask"
    assert str(outcome.values["first_step"]).startswith("Photograph the coast flank"), "it decides there"
    enter(store, job.number, "identity", {**PAIR, "drives_on": "coast"}, who="b")
    both = enter_readings(store, job.number, read_of(Settings()), who="b").values
    assert "working-lengthwise" in criteria(both, "coast")
    assert "other-lengthwise" in criteria(both, "drive")


def test_words_that_decide_nothing_ask_for_photos(store: JobStore, job: Job) -> None:
    outcome = enter_patterns(store, job.number, {"drive": FlankLook(words="low")}, who="b")
    assert outcome.verdict == "ask"
    assert str(outcome.why).startswith("What do photos of both flanks show?")
    assert str(outcome.values["first_step"]).startswith("Photograph both flanks")
    assert "spacer_change_mm" not in outcome.values


def test_both_side_shims_are_named_until_one_of_them_may_have_changed(store: JobStore, job: Job) -> None:
    def shims() -> object:
        return setting_of(known_of(store, job.number, who="b", system="metric")).side_shims_mm

    assert shims() is None
    enter(store, job.number, "backlash", {**BACKLASH, **SHIMS}, who="b")
    assert shims() == pytest.approx([6.350, 6.731])
    far = read_of(Settings(pinion_out_mm=0.1, ring_away_mm=0.15))
    outcome = enter_readings(store, job.number, far, who="b")
    advice = next(e for e in outcome.entries if e.kind == "advice")
    ring, other = advice.payload["side_shims_to_fit_mm"]
    assert ring + other == pytest.approx(6.350 + 6.731, abs=1e-3)
    assert advice.payload["shim_move_mm"] == pytest.approx(6.350 - ring, abs=1e-3)
    assert "Side shims then:" in advice.payload["text"]["shown"]
    answer_advice(store, job.number, advice.seq, True, "", who="b")
    assert shims() is None, "the advice was followed: they are others now"
    other_job = start_job(store, design_name="TY-222", vehicle="v", complaint="c", who="b").number
    enter(store, other_job, "backlash", {**BACKLASH, **SHIMS, "target": "0.30 mm"}, who="b")
    now = setting_of(known_of(store, other_job, who="b", system="metric"))
    assert now.side_shims_mm is None, "the step itself says to change them"


def test_measures_are_shown_with_what_they_may_be_off(store: JobStore, job: Job) -> None:
    summary = read_of(Settings(pinion_out_mm=0.3))["drive"].summary()
    shown = measures_shown({**summary, "height_sd": 0.05, "slant_sd_deg": 4.0})
    rows = {str(name): str(value) for name, value in shown}
    assert len(rows) == 6, "centre twice, length, height, slant, the top; the area's spread is not known here"
    assert rows["centre, root −1 to top +1"].endswith("± 0.03")
    assert rows["height, of the working depth"].endswith("± 0.05")
    assert rows["slant, toward the top at the heel"].endswith("± 4°")
    assert rows["edge: top"].startswith("reached, ")
    assert measures_shown({"words": "high"}) == []
    with using_language("de"):
        assert any(str(name) == "Rand: Kopf" for name, _value in measures_shown(summary))
