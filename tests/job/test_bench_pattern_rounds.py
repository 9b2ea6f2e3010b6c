"""Rounds of one job, jobs of one design, teeth of one flank, and outlines corrected."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from rolled_jobs import INCH, SD, depth, read_of

import axlewright as aw
from axlewright.contact import Settings, measure_mask, roll
from axlewright.diagnosis import Evidence, diagnose
from axlewright.errors import InputError
from axlewright.job import FieldError, enter, start_job
from axlewright.job.entering import known_of
from axlewright.job.pattern import (
    answer_advice,
    correct_outline,
    doubts_before,
    enter_patterns,
    enter_readings,
    runout_notes,
)
from axlewright.job.pattern_shown import advice_shown, cause_bars, compared_shown, cure_bars, ways_shown
from axlewright.job.photos import (
    Correction,
    FlankLook,
    Look,
    ReadFlank,
    ToothLook,
    add_photo,
    check_mask,
    edges_of,
    kept_reading,
    mask_lines,
    mask_rows,
    nudged,
    tooth_photos,
)
from axlewright.job.rounds import Setting, earlier_rounds, learned_of, moved_since, read_rounds
from axlewright.language import read_kept
from axlewright.pattern import PatternReading, combine_teeth
from axlewright.records import Job, JobStore, standing


def test_after_a_change_expected_and_came_are_held_beside_each_other(store: JobStore, job: Job) -> None:
    before = Settings(pinion_out_mm=0.13)
    enter(store, job.number, "depth", depth(0.0559), who="b")
    first = enter_readings(store, job.number, read_of(before), who="b")
    assert "expected_came" not in first.values
    change = 0.0050 * INCH
    enter(store, job.number, "depth", depth(0.0609), who="b")
    second = enter_readings(store, job.number, read_of(Settings(0.13 - change)), who="b")
    told = second.values["expected_came"]
    assert told["as_expected"]
    assert any(str(n).startswith("After the last change:") for n in second.notes)
    words, rows = compared_shown({"values": second.values})
    assert "brought what was expected" in words
    assert len(rows) == 4
    assert not any(r.surprise for r in rows)
    # The same spacers, but the pinion came only half as far: that is a surprise, and asked about.
    slipped = start_job(store, design_name="TY-222", vehicle="v", complaint="c", who="b").number
    enter(store, slipped, "depth", depth(0.0559), who="b")
    enter_readings(store, slipped, read_of(Settings(0.25)), who="b")
    enter(store, slipped, "depth", depth(0.0609), who="b")
    third = enter_readings(store, slipped, read_of(Settings(0.25)), who="b")
    assert not third.values["expected_came"]["as_expected"]
    assert third.values["expected_came"]["pinion_farther_out_mm"] == pytest.approx(change, abs=0.03)
    assert third.verdict == "ask"
    assert any("did not bring what was expected" in q for q in third.questions)


def test_a_followed_advice_counts_as_moved_where_no_spacer_is_known(store: JobStore, job: Job) -> None:
    first = enter_readings(store, job.number, read_of(Settings(0.13)), who="b")
    advice = next(e for e in first.entries if e.kind == "advice")
    now = Setting()
    entries = standing(store.entries(job.number))
    assert moved_since(entries, read_rounds(entries)[0], now) is None, "not said whether it was followed"
    answer_advice(store, job.number, advice.seq, True, "", who="b")
    entries = standing(store.entries(job.number))
    moved = moved_since(entries, read_rounds(entries)[0], now)
    assert moved == (advice.payload["pinion_move_mm"], advice.payload["shim_move_mm"])
    assert moved[0] < -0.08
    after = Settings(0.13).plus(Settings(*moved))
    second = enter_readings(store, job.number, read_of(after), who="b")
    assert second.values["expected_came"]["as_expected"]
    assert len(earlier_rounds(standing(store.entries(job.number)), now)) == 0, (
        "the second is not answered yet"
    )


def test_finished_jobs_teach_the_design_and_the_next_job_is_read_better(store: JobStore) -> None:
    """Eight sets whose patterns all lie 0.2 higher than computed, set right as they came; then a ninth."""
    rng = np.random.default_rng(4)
    for k in range(8):
        number = start_job(store, design_name="TY-222", vehicle=f"v{k}", complaint="c", who="b").number
        enter_readings(store, number, read_of(Settings(float(rng.normal(0.0, 0.02))), lift=0.2), who="b")
        if k:
            store.set_state(number, "closed", who="b")
    ninth = start_job(store, design_name="TY-222", vehicle="ninth", complaint="c", who="b")
    seen = read_of(Settings(0.0), lift=0.2)
    outcome = enter_readings(store, ninth.number, seen, who="b")
    assert outcome.values["learned_from_jobs"] == 7, "the open job teaches nothing"
    assert any("finished jobs" in n and "above" in n for n in outcome.notes)
    plain = diagnose(Evidence(aw.load_design("TY-222"), seen["drive"], seen["coast"]))
    unlearned = plain.cause["pinion_out_mm"].mean
    assert unlearned > 0.02
    assert abs(outcome.values["cause_pinion_out_mm"]) < 0.75 * unlearned
    # The cure is the same: what the set's habits are does not matter to it.
    moved = outcome.values["pinion_move_mm"]
    assert moved == pytest.approx(plain.advice[0].pinion_move_mm, abs=0.03)


def test_jobs_in_words_and_other_designs_teach_nothing(store: JobStore, job: Job) -> None:

    other = start_job(store, design_name="TY-310", vehicle="bus", complaint="c", who="b").number
    spoken = start_job(store, design_name="TY-222", vehicle="v", complaint="c", who="b").number
    for number in (other, spoken):
        enter_patterns(store, number, {"drive": FlankLook(words="high, toward heel")}, who="b")
        store.set_state(number, "closed", who="b")
    assert learned_of(store, known_of(store, job.number, who="b", system="inch")) is None


def test_an_outline_is_corrected_and_the_old_reading_superseded(
    store: JobStore, job: Job, photos: Path
) -> None:
    told = json.loads((photos / "ty-222-job-drive.json").read_text())
    look = FlankLook((photos / "ty-222-job-drive.jpg").read_bytes(), told["corners_text"])
    first = enter_patterns(store, job.number, {"drive": look}, who="b")
    reading = first.entries[0]
    old = reading.payload["flanks"]["drive"]
    lower = Correction(top=-0.2)
    second = correct_outline(store, job.number, reading.seq, {"drive": lower}, who="b", idempotency_key="c")
    again = correct_outline(store, job.number, reading.seq, {"drive": lower}, who="b", idempotency_key="c")
    assert [e.seq for e in again.entries] == [e.seq for e in second.entries]
    new = second.entries[0].payload["flanks"]["drive"]
    assert new["summary"]["center"][1] < old["summary"]["center"][1] - 0.03
    assert new["as_read"] == old["mask"]
    assert second.values["cause_pinion_out_mm"] < first.values["cause_pinion_out_mm"] - 0.01
    counted = standing(store.entries(job.number, step="pattern"))
    assert [e.kind for e in counted].count("reading") == 1
    assert [e.kind for e in counted].count("result") == 1
    assert [e.kind for e in counted].count("advice") == 1
    with pytest.raises(InputError, match="not the newest"):
        correct_outline(store, job.number, reading.seq, {"drive": lower}, who="b")
    newest = second.entries[0].seq
    with pytest.raises(InputError, match="nothing was changed"):
        correct_outline(store, job.number, newest, {"drive": Correction()}, who="b")
    with pytest.raises(FieldError, match="not read"):
        correct_outline(store, job.number, newest, {"coast": lower}, who="b")
    with pytest.raises(FieldError, match="cross"):
        correct_outline(store, job.number, newest, {"drive": Correction(top=-1.0, root=-1.0)}, who="b")
    # Strokes: the mask as drawn stands, and is read back as it was drawn.
    drawn = np.array(mask_rows(new["mask"]), dtype=bool)
    drawn[:, :60] = False
    strokes = Correction(mask=tuple(mask_lines(drawn)))
    third = correct_outline(store, job.number, newest, {"drive": strokes}, who="b")
    kept = third.entries[0].payload["flanks"]["drive"]
    overlap = np.array(mask_rows(kept["mask"]), dtype=bool)
    assert (overlap & drawn).sum() / (overlap | drawn).sum() > 0.93
    assert store.verify(job.number).holds


def test_words_cannot_be_corrected_as_an_outline(store: JobStore, job: Job) -> None:
    outcome = enter_patterns(store, job.number, {"drive": FlankLook(words="high")}, who="b")
    with pytest.raises(FieldError, match="one photo"):
        correct_outline(store, job.number, outcome.entries[0].seq, {"drive": Correction(top=0.1)}, who="b")


@pytest.mark.parametrize("edge", ["toe", "heel", "root", "top"])
@pytest.mark.parametrize("by", [0.25, -0.25])
def test_one_edge_moves_and_the_others_stay(edge: str, by: float) -> None:
    mask = np.zeros((48, 96), dtype=bool)
    mask[12:36, 24:72] = True
    out = nudged(mask, **{edge: by})
    rows, columns = np.flatnonzero(out.any(axis=1)), np.flatnonzero(out.any(axis=0))
    found = {
        "root": 2 * rows[0] / 48 - 1,
        "top": 2 * (rows[-1] + 1) / 48 - 1,
        "toe": 2 * columns[0] / 96 - 1,
        "heel": 2 * (columns[-1] + 1) / 96 - 1,
    }
    wanted = {"root": -0.5, "top": 0.5, "toe": -0.5, "heel": 0.5}
    wanted[edge] += by if edge in ("heel", "top") else -by
    for name, value in wanted.items():
        assert found[name] == pytest.approx(value, abs=1 / 48)
    assert measure_mask(out, "drive").area_fraction == pytest.approx(0.25 * (1 + by), abs=0.02)


def test_damaged_strokes_and_nudges_are_refused() -> None:
    good = " ".join(["0" * 24] * 48)
    assert len(check_mask(good, "outline")) == 48
    for bad in ("", good[:-1], good.replace("0", "g"), good + " " + "0" * 24):
        with pytest.raises(InputError, match="damaged"):
            check_mask(bad, "outline")
    assert edges_of(["5", "−5", "", "2,5"], "outline") == (0.05, -0.05, 0.0, 0.025)
    for bad in ("much", "nan", "900"):
        with pytest.raises(InputError, match="no nudge"):
            edges_of([bad, "", "", ""], "outline")


def test_several_teeth_give_a_mean_and_their_wander(store: JobStore, job: Job, photos: Path) -> None:
    """The same photo for five teeth wanders by nothing; a tooth that does not exist is refused."""
    told = json.loads((photos / "ty-222-job-drive.json").read_text())
    data = (photos / "ty-222-job-drive.jpg").read_bytes()
    for tooth in (1, 9, 17, 25, 33):
        add_photo(store, job.number, "drive", data, who="b", tooth=tooth)
    kept = tooth_photos(store.entries(job.number))["drive"]
    assert list(kept) == [1, 9, 17, 25, 33]
    assert len(kept[1].payload["guess"]) == 4
    with pytest.raises(InputError, match="tooth 42 does not exist"):
        add_photo(store, job.number, "drive", data, who="b", tooth=42)
    teeth = tuple(ToothLook(t, e.files[0], told["corners_text"]) for t, e in list(kept.items())[:4:1])
    outcome = enter_patterns(store, job.number, {"drive": FlankLook(teeth=teeth)}, who="b")
    flank = outcome.entries[0].payload["flanks"]["drive"]
    assert flank["summary"]["source"] == "teeth"
    assert [t["tooth"] for t in flank["teeth"]] == [1, 9, 17, 25]
    assert flank["wander"]["profile"]["amplitude"] == pytest.approx(0.0, abs=0.01)
    assert not flank["wander"]["profile"]["sure"]
    assert not any("wanders" in q for q in outcome.questions)
    assert kept_reading(flank, "drive").pattern.center == pytest.approx(flank["summary"]["center"])


def test_doubts_are_asked_about_before_gears_come_out(store: JobStore, job: Job) -> None:
    seen = read_of(Settings(0.14))
    clear = enter_readings(store, job.number, seen, who="b")
    assert clear.verdict == "not ok"
    found = diagnose(Evidence(aw.load_design("TY-222"), **seen))
    unsure = {flank: Look(r) for flank, r in seen.items()}
    assert doubts_before(found.advice[0], unsure, found) == []
    unsure["drive"] = Look(seen["drive"], doubts=("Another outline is nearly as likely.",))
    asked = doubts_before(found.advice[0], unsure, found)
    assert list(map(str, asked)) == [
        "Before anything is pressed, drive flank: Another outline is nearly as likely."
    ]
    rough = {**seen, "drive": replace(seen["drive"], center_sd=(0.2, 0.25))}
    outcome = enter_readings(store, job.number, rough, who="b")
    assert outcome.verdict == "ask"
    assert outcome.values["offered"], "a photo read as roughly as this is taken once more first"
    without = outcome.values["without_photo"]
    assert without["verdict"] == "ask"
    assert "only roughly" in without["why"]
    right = diagnose(Evidence(aw.load_design("TY-222"), **read_of(Settings())))
    assert doubts_before(right.advice[0], unsure, right) == [], "nothing is pressed, nothing is asked"


def test_teeth_that_wander_are_asked_about_before_a_press(photos: Path) -> None:
    """Twelve teeth whose pattern goes up and down by 0.3 once a turn: runout, and not a setting."""
    design, teeth = aw.load_design("TY-222"), list(range(1, 42, 4))
    base = read_of(Settings(0.14))["drive"]
    readings = []
    for tooth in teeth:
        up = 0.3 * np.cos(2 * np.pi * (tooth - 1) / design.ring_teeth)
        x, y = base.pattern.center
        readings.append(replace(base, pattern=replace(base.pattern, center=(x, y + float(up)))))
    several = combine_teeth(readings, teeth, design.ring_teeth)
    assert several.mean.pattern.center[1] == pytest.approx(base.pattern.center[1], abs=0.02)
    one = ReadFlank(several.mean, {"doubts": list(several.notes) if several.runout else []}, (), several)
    found = diagnose(Evidence(design, several.mean))
    assert any("once per turn" in d for d in doubts_before(found.advice[0], {"drive": one.look}, found))
    assert runout_notes({"drive": one}, design) != []
    assert runout_notes({"drive": ReadFlank(base, {})}, design) == []


def test_a_mark_turned_round_is_asked_about(store: JobStore, job: Job) -> None:
    """The error is twice the mark: said in the finding, on the page as on the command line."""
    mark = 0.15
    found = diagnose(
        Evidence(aw.load_design("TY-222"), **read_of(Settings(-2 * mark)), mark_mm=mark, mark_unit="0.001 in")
    )
    assert "twice the depth mark" in found.words
    assert "wrong way round" in found.words


def test_a_housing_out_of_true_stops_the_job(store: JobStore, job: Job) -> None:
    """No spacer brings both flanks right: the page says to stop and measure, and offers no sum."""
    design, readings = aw.load_design("TY-222"), {}
    for flank in ("drive", "coast"):
        pattern = roll(design, flank, offset_error_mm=-0.2, shaft_angle_error_deg=0.1).pattern
        readings[flank] = PatternReading(pattern=pattern, center_sd=SD, length_sd=0.03, source="photo")
    enter(store, job.number, "depth", depth(0.0559), who="b")
    outcome = enter_readings(store, job.number, readings, who="b")
    shown = advice_shown(outcome.entries[1].payload)
    stops = [a for a in shown if a.cost_class == "L4"]
    assert len(stops) == 1
    assert "measure the housing" in stops[0].text
    assert shown.index(stops[0]) <= (0 if outcome.values["explained"] else 1)
    assert outcome.sums == []
    assert outcome.verdict in ("not ok", "ask")


def test_what_the_page_shows_comes_from_the_record(store: JobStore, job: Job) -> None:
    outcome = enter_readings(store, job.number, read_of(Settings(0.14)), who="b")
    result = outcome.entries[1].payload
    told = result["diagnosis"]
    shown = advice_shown(result)
    assert shown[0].text == read_kept(told["advice"][0]["text"])
    assert str(shown[0].text) == told["advice"][0]["text"]["shown"], "the words as first shown are kept"
    assert shown[0].after.pinion == pytest.approx(
        told["cause"]["pinion_out_mm"]["mean"] + told["advice"][0]["pinion_move_mm"]
    )
    causes, cures = cause_bars(result), cure_bars(result)
    assert [len(causes), len(cures)] == [4, 2]
    for bar in (*causes, *cures):
        assert 0.0 <= bar.left <= bar.at <= bar.left + bar.wide <= 100.0
        assert str(bar.between).startswith("90 % between")
    assert causes[0].at > 50.0 > cures[0].at, "too far out; move it in"
    assert sum(w.percent for w in ways_shown(result)) == pytest.approx(100.0, abs=7.0)
    assert compared_shown(result) == ("", [])
