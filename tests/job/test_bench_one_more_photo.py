"""One more photo of a flank: offered, taken, not taken; and several looks at one setting."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from rolled_jobs import INCH, depth, read_of

import axlewright as aw
from axlewright.contact import Settings
from axlewright.diagnosis import Evidence, diagnose
from axlewright.job import enter, job_view
from axlewright.job.pattern import answer_advice, enter_patterns, enter_readings
from axlewright.job.photos import FlankLook, Look
from axlewright.job.rounds import (
    Setting,
    earlier_rounds,
    gathered,
    looked_again,
    looks_here,
    moved_since,
    read_rounds,
    together,
)
from axlewright.pattern import PatternReading, combine_looks, pattern_from_words
from axlewright.records import Job, JobStore, standing


def read_badly() -> dict[str, PatternReading]:
    return read_of(Settings(0.13), (0.06, 0.06))


def test_one_more_photo_not_taken_leaves_the_next_advice(store: JobStore, job: Job) -> None:
    first = enter_readings(store, job.number, read_badly(), who="b")
    offer = next(e for e in first.entries if e.kind == "advice")
    assert offer.payload["saves_hours"] > 0.4
    assert set(first.entries[1].payload["expected"]) == {"drive", "coast"}, "those of the change"
    answer_advice(store, job.number, offer.seq, False, "no paint left", who="b", idempotency_key="k")
    answer_advice(store, job.number, offer.seq, False, "no paint left", who="b", idempotency_key="k")
    answer_advice(store, job.number, offer.seq, False, "pressed twice", who="b", idempotency_key="l")
    written = store.entries(job.number, kind="advice")
    assert len(written) == 2
    step = job_view(store, job.number).step("pattern")
    assert step.latest is not None
    assert "offered" not in step.latest.told["values"], "the result is written anew"
    assert any("Type the spacer that was in" in q for q in step.latest.told["questions"])
    assert not any("one more photo" in q for q in step.latest.told["questions"])
    assert written[1].payload["pinion_move_mm"] < -0.08
    assert written[1].payload["of"] == offer.payload["of"]
    now = Setting()
    entries = standing(store.entries(job.number))
    assert moved_since(entries, read_rounds(entries)[0], now) is None, "not said whether it was followed"
    answer_advice(store, job.number, written[1].seq, True, "", who="b")
    entries = standing(store.entries(job.number))
    moved = moved_since(entries, read_rounds(entries)[0], now)
    assert moved == (written[1].payload["pinion_move_mm"], written[1].payload["shim_move_mm"])


def test_no_more_photo_is_offered_where_the_measured_sum_agrees(store: JobStore, job: Job) -> None:
    enter(store, job.number, "depth", depth(0.0559), who="b")
    first = enter_readings(store, job.number, read_badly(), who="b")
    assert first.values["sum_agrees"]
    assert first.verdict == "not ok"
    assert first.values["spacer_of_sum_mm"] == pytest.approx(0.0629 * INCH, abs=0.001)


def test_one_more_photo_is_asked_for_once_and_both_count(store: JobStore, job: Job) -> None:
    badly = read_badly()
    first = enter_readings(store, job.number, badly, who="b")
    assert first.verdict == "ask"
    assert "one more photo" in first.why
    assert "once more" in first.values["first_step"]
    assert "pinion_move_mm" not in first.values
    drive = badly["drive"]
    x, y = drive.pattern.center
    lower = replace(drive, pattern=replace(drive.pattern, center=(x, y - 0.08)))
    second = enter_readings(store, job.number, {"drive": lower}, who="b")
    assert "once more" not in second.values["first_step"]
    assert second.values["pinion_move_mm"] < -0.08
    notes = " ".join(map(str, second.notes))
    assert f"mean of 2 photos at this setting: {y - 0.04:+.2f}" in notes
    assert "The coast flank counts as it was read before" in notes
    assert "coast flank was not read" not in notes
    both = diagnose(Evidence(aw.load_design("TY-222"), combine_looks([drive, lower]), badly["coast"]))
    kept = second.entries[1].payload["diagnosis"]
    assert kept["cause"]["pinion_out_mm"]["mean"] == pytest.approx(
        both.cause["pinion_out_mm"].mean, abs=0.002
    ), "masks are kept in rows and columns, places in four digits"


def test_after_a_change_a_photo_stands_alone(store: JobStore, job: Job) -> None:
    enter(store, job.number, "depth", depth(0.0559), who="b")
    enter_readings(store, job.number, read_of(Settings(0.13)), who="b")
    enter(store, job.number, "depth", depth(0.0609), who="b")
    second = enter_readings(store, job.number, read_of(Settings(0.003)), who="b")
    assert not any("photos at this setting" in n for n in second.notes)


def test_going_without_asks_all_that_is_asked_before_a_press(store: JobStore, job: Job) -> None:
    """The measured sum says another spacer than the patterns: told beside the offer, and after it."""
    enter(store, job.number, "depth", depth(0.0559, 5.6400), who="b")
    first = enter_readings(store, job.number, read_badly(), who="b")
    assert first.values["offered"]
    assert any("do not agree: measure the depth again" in q for q in first.questions)
    offer = next(e for e in first.entries if e.kind == "advice")
    answer_advice(store, job.number, offer.seq, False, "no paint left", who="b")
    step = job_view(store, job.number).step("pattern")
    assert step.latest is not None
    told = step.latest.told
    assert any("do not agree: measure the depth again" in q for q in told["questions"])
    assert told["sums"], "now and fit"
    assert told["diagnosis"]["advice"][0]["pinion_move_mm"] < -0.08


def test_words_said_before_are_no_ground_when_only_coast_is_photographed(store: JobStore, job: Job) -> None:
    looks = {"drive": FlankLook(words="high"), "coast": FlankLook(words="high")}
    enter_patterns(store, job.number, looks, who="b")
    coast = enter_readings(store, job.number, {"coast": read_of(Settings(0.13))["coast"]}, who="b")
    assert str(coast.values["first_step"]).startswith("Photograph the drive flank before anything is changed")


def test_photos_that_do_not_agree_are_asked_about_before_a_press(store: JobStore, job: Job) -> None:
    enter(store, job.number, "depth", depth(0.0559), who="b")
    enter_readings(store, job.number, read_of(Settings(0.18)), who="b")
    second = enter_readings(store, job.number, read_of(Settings(0.18), lift=-0.25), who="b")
    assert any("drive flank at this setting do not agree" in q for q in second.questions)
    assert any("left out" in n for n in second.notes)


def test_a_backlash_that_changed_tells_of_another_setting(store: JobStore, job: Job) -> None:
    def backlash(mm: float) -> None:
        fields = {"readings": f"{mm} mm " * 4, "stem": "in_rotation", "axle": "light"}
        enter(store, job.number, "backlash", fields, who="b")

    enter(store, job.number, "depth", depth(0.0629), who="b")
    backlash(0.30)
    enter_readings(store, job.number, read_of(Settings(0.0, 0.15)), who="b")
    backlash(0.17)
    second = enter_readings(store, job.number, read_of(Settings()), who="b")
    assert not any("photos at this setting" in n for n in second.notes)


def test_photos_of_one_earlier_setting_are_one_look_of_the_history(store: JobStore, job: Job) -> None:
    enter(store, job.number, "depth", depth(0.0559), who="b")
    for lift in (0.0, -0.40, 0.0):
        enter_readings(store, job.number, read_of(Settings(0.18), lift=lift), who="b")
    enter(store, job.number, "depth", depth(0.0629), who="b")
    after = enter_readings(store, job.number, read_of(Settings(0.0)), who="b")
    assert after.values["explained"]
    entries = standing(store.entries(job.number))
    last = read_rounds(entries)[-1]
    history = earlier_rounds(entries, Setting.of_payload(last.payload["context"]), last.seq)
    assert len(history) == 1
    assert history[0].pinion_moved_since_mm == pytest.approx(-0.007 * INCH, abs=1e-6)


def test_what_counts_together() -> None:
    photo, other = read_of(Settings(0.1)), read_of(Settings(0.1), lift=0.02)
    words = pattern_from_words("high", "drive")
    one, two = Look(photo["drive"], frozenset("a")), Look(other["drive"], frozenset("b"))
    assert [len(gathered(r)["drive"]) for r in (
        [{"drive": two}, {"drive": one}],
        [{"drive": one}, {"drive": one}],
        [{"drive": Look(words)}, {"drive": one}],
        [{"drive": two}, {"drive": Look(words)}, {"drive": one}],
    )] == [2, 1, 1, 1]  # fmt: skip
    assert looked_again(gathered([{"drive": two}, {"drive": one}])["drive"])
    assert not looked_again(gathered([{"drive": one}, {"drive": Look(words)}])["drive"])
    far = Look(read_of(Settings(0.1), lift=0.4)["drive"], frozenset("c"))
    assert not looked_again([far, one]), "they do not agree: a third is worth it"
    assert looked_again([far, one, two])
    older = {"drive": far, "coast": Look(photo["coast"], frozenset("d"))}
    assert set(gathered([{"drive": one}, older])) == {"drive"}, "the older round shows another setting"
    both = together(gathered([{"drive": two}, {"drive": one}]))["drive"]
    assert np.allclose(both.pattern.center, combine_looks([one.reading, two.reading]).pattern.center)
    assert looks_here([], {"drive": one}, Setting())["drive"] == (one,)
