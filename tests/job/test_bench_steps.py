"""Entering steps: what is worked out, what is asked, what is kept."""

from __future__ import annotations

import re

import pytest

from axlewright.contact import backlash_per_move
from axlewright.errors import InputError
from axlewright.gearset import load_design
from axlewright.job import (
    FORMS,
    FieldError,
    enter,
    job_view,
    put_on_shelf,
    sheet_data,
    take_back,
)
from axlewright.records import STEP_KEYS, Job, JobConflictError, JobStore

PAIR = {"pinion_number": "41-117", "ring_number": "41-117"}
MARK = {"mark": "+2", "mark_unit": "0.001 in", "mark_meaning": "plus_means_larger_mounting_distance"}
DEPTH = {
    "place": "under_head",
    "carrier": "5.6255 5.6250 5.6254 5,6256 5.6255",
    "bearing": "1.2500 1.2500",
    "mounting_distance": "4.3125",
    **MARK,
}


def test_every_step_of_the_job_has_a_form_and_a_rule() -> None:
    assert tuple(FORMS) == STEP_KEYS
    for key in STEP_KEYS:
        assert callable(FORMS[key].rule)


def test_five_carrier_readings_give_the_spacer_with_its_sum(store: JobStore, job: Job) -> None:
    outcome = enter(store, job.number, "depth", DEPTH, who="bench one")
    # Plain geometry of the mounting: mean 5.6254 − 4.3125 − 1.2500 − 0.0020 = 0.0609 in.
    assert outcome.values["spacer_mm"] == pytest.approx(0.0609 * 25.4, abs=1e-9)
    assert outcome.sums[0].text("inch") == "5.6254 − 4.3125 − 1.2500 − 0.0020 = 0.0609 in"
    # The opposite meaning of plus turns the sign of the mark: twice the mark more.
    assert outcome.values["other_convention_mm"] - outcome.values["spacer_mm"] == pytest.approx(0.004 * 25.4)
    assert outcome.verdict == "ask", "nothing fitted and nothing on the shelf: which one went in?"
    low, high = outcome.values["spacer_95_mm"]
    assert low < outcome.values["spacer_mm"] < high


@pytest.mark.parametrize(
    ("place", "extra", "sign"),
    [("under_head", {}, -1.0), ("behind_cup", {}, -1.0), ("cage_flange", {"cage_height": "-2.5"}, 1.0)],
)
def test_a_positive_mark_of_larger_distance_acts_by_place(
    store: JobStore, job: Job, place: str, extra: dict[str, str], sign: float
) -> None:
    # Signs as in the printed examples of tests/published/test_setup_spacer_examples.py.
    fields = {**DEPTH, "place": place, **extra}
    if place == "cage_flange":
        fields["carrier"] = "3.0100"
    marked = enter(store, job.number, "depth", fields, who="b")
    bare = enter(store, job.number, "depth", {**fields, "mark": "0"}, who="b")
    change = marked.values["spacer_mm"] - bare.values["spacer_mm"]
    assert change == pytest.approx(sign * 0.002 * 25.4)


def test_the_nearest_spacer_comes_from_the_shelf(store: JobStore, job: Job) -> None:
    put_on_shelf(store, "pinion spacer", "0.0600 0.0605 0.0610 0.0615", count=2, who="bench one")
    outcome = enter(store, job.number, "depth", DEPTH, who="bench one")
    assert outcome.verdict == "ok"
    assert outcome.values["shelf_mm"] == pytest.approx(0.0610 * 25.4)


def test_the_wrong_spacer_is_named_with_what_it_does(store: JobStore, job: Job) -> None:
    outcome = enter(store, job.number, "depth", {**DEPTH, "fitted": "0.0559"}, who="bench one")
    assert outcome.verdict == "not ok"
    assert "0.0050 in (0.127 mm) too far out" in outcome.why
    assert outcome.values["pinion_left_out_mm"] == pytest.approx(0.005 * 25.4)


def test_readings_filled_in_again_are_said_to_be_old(store: JobStore, job: Job) -> None:
    first = enter(store, job.number, "depth", DEPTH, who="bench one")
    assert not any("not taken again" in note for note in first.notes)
    assert job_view(store, job.number).step("depth").fill["carrier"] == DEPTH["carrier"]
    second = enter(store, job.number, "depth", {**DEPTH, "fitted": "0.0609"}, who="bench two")
    assert any("as entered before by bench one; not taken again" in note for note in second.notes)
    fresh = {**DEPTH, "carrier": "5.6251 5.6252", "bearing": "1.2501"}
    third = enter(store, job.number, "depth", fresh, who="bench two")
    assert not any("not taken again" in note for note in third.notes)


@pytest.mark.parametrize("missing", ["mark_unit", "mark_meaning", "place", "carrier", "bearing"])
def test_what_is_never_guessed_is_asked_at_its_field(store: JobStore, job: Job, missing: str) -> None:
    fields = {k: v for k, v in DEPTH.items() if k != missing}
    with pytest.raises(FieldError) as caught:
        enter(store, job.number, "depth", fields, who="bench one")
    assert caught.value.field == missing
    assert store.entries(job.number, step="depth") == [], "nothing is kept when something is wrong"


def test_the_mark_is_taken_from_the_identity(store: JobStore, job: Job) -> None:
    enter(store, job.number, "identity", {**PAIR, **MARK}, who="bench one")
    fields = {k: v for k, v in DEPTH.items() if not k.startswith("mark")}
    outcome = enter(store, job.number, "depth", fields, who="bench one")
    assert outcome.values["mark_mm"] == pytest.approx(0.002 * 25.4)
    again = enter(store, job.number, "depth", {**DEPTH, "mark": "+3"}, who="bench one")
    assert again.verdict == "ask"
    assert "Which is right?" in again.why


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"ring_number": "41-118"}, "are not a pair"),
        ({"pinion_teeth": "10"}, "10 pinion teeth"),
        ({"ring_teeth": "39"}, "39 ring gear teeth"),
        ({"hand": "right"}, "right-hand"),
    ],
)
def test_a_pair_that_does_not_match_stops_the_job(
    store: JobStore, job: Job, change: dict[str, str], why: str
) -> None:
    outcome = enter(store, job.number, "identity", {**PAIR, **change}, who="bench one")
    assert outcome.verdict == "not ok"
    assert why in outcome.why
    assert store.next_step(job.number).key == "identity"


def test_an_unknown_meaning_is_kept_as_a_question(store: JobStore, job: Job) -> None:
    fields = {**PAIR, **MARK, "mark_meaning": "unknown"}
    outcome = enter(store, job.number, "identity", fields, who="bench one")
    assert outcome.verdict == "ask"
    assert "mark" not in outcome.values


def test_backlash_spread_and_move_keep_the_total(store: JobStore, job: Job) -> None:
    fields = {
        "readings": "0.004 0.0045 0.005 0.0045",
        "axle": "light",
        "stem": "in_rotation",
        "target": "0.006",
        "ring_side": "0.085",
        "other_side": "0.090",
    }
    outcome = enter(store, job.number, "backlash", fields, who="bench one")
    values = outcome.values
    assert values["spread_mm"] == pytest.approx(0.001 * 25.4)
    assert outcome.verdict == "not ok"
    assert values["ring_away_mm"] == pytest.approx(0.002 * 25.4 / values["factor"])
    total = values["ring_side_new_mm"] + values["other_side_new_mm"]
    assert total == pytest.approx(0.175 * 25.4), "equal and opposite: the preload stays"
    assert values["ring_side_new_mm"] < 0.085 * 25.4, "away from the pinion: thinner behind the gear"


def test_the_second_reading_teaches_this_axles_factor(store: JobStore, job: Job) -> None:
    base = {"axle": "light", "stem": "in_rotation"}
    enter(store, job.number, "backlash", {**base, "readings": "0.004 0.005"}, who="b")
    fields = {**base, "readings": "0.0054 0.0064", "moved": "0.002"}
    outcome = enter(store, job.number, "backlash", fields, who="b")
    # 0.0014 in more backlash for 0.002 in of move: 0.7.
    assert outcome.values["factor_learned"] == pytest.approx(0.7)
    assert outcome.values["factor"] == pytest.approx(0.7)


def test_limits_typed_in_win_over_defaults_and_say_so(store: JobStore, job: Job) -> None:
    fields = {
        "readings": "0.010 0.010 0.011 0.011",
        "axle": "light",
        "stem": "in_rotation",
        "limit_low": "0.009",
        "limit_high": "0.012",
        "limit_source": "service data of this axle",
    }
    outcome = enter(store, job.number, "backlash", fields, who="bench one")
    assert outcome.verdict == "ok"
    assert outcome.limits[0].origin == "typed in"
    assert str(outcome.limits[0].source) == "service data of this axle"
    assert outcome.limits[1].origin == "default"


def test_a_crushed_sleeve_is_crept_up_on_and_never_backed_off(store: JobStore, job: Job) -> None:
    base = {"bearings": "new", "kind": "sleeve"}
    first = enter(store, job.number, "preload", {**base, "torque": "6", "nut": "5"}, who="b")
    assert first.verdict == "not ok"
    assert "Tighten" in " ".join(map(str, first.notes))
    inside = enter(store, job.number, "preload", {**base, "torque": "20", "nut": "15"}, who="b")
    assert inside.verdict == "ok"
    past = enter(store, job.number, "preload", {**base, "torque": "40", "nut": "20"}, who="b")
    assert past.verdict == "not ok"
    assert "new sleeve" in " ".join(map(str, past.notes))


def test_a_preload_in_the_wrong_unit_is_asked_about(store: JobStore, job: Job) -> None:
    fields = {"bearings": "new", "kind": "sleeve", "torque": "20 lb-ft"}
    with pytest.raises(FieldError) as asked:
        enter(store, job.number, "preload", fields, who="b")
    assert asked.value.field == "torque"
    assert asked.value.confirmable
    assert "Was it in lb-in, not lb-ft? That would be 20.0 lb-in" in asked.value.fix
    assert "N·m?" not in asked.value.fix, "only slips of the unit that was typed"
    assert store.entries(job.number, kind="reading") == [], "no sleeve is condemned by a slip of the unit"
    meant = enter(store, job.number, "preload", {**fields, "really": "yes"}, who="b")
    assert meant.verdict == "not ok"
    assert any("lb-in, not lb-ft" in question for question in meant.questions)
    # TM 10-3930-669-34 p 10-24 prints pinion drag a hundred times too big: 120 N·m where 120 N·cm fits.
    with pytest.raises(FieldError, match="far beyond"):
        enter(store, job.number, "preload", {**fields, "torque": "80 N·m"}, who="b")
    # On the way to a crushed sleeve a small torque is usual and nothing is asked before it is kept.
    assert enter(store, job.number, "preload", {**fields, "torque": "1 lb-in"}, who="b").entries


def test_cord_and_scale_give_the_torque(store: JobStore, job: Job) -> None:
    fields = {"bearings": "used", "kind": "spacer", "force": "10 lbf", "radius": "2 in"}
    outcome = enter(store, job.number, "preload", fields, who="b")
    # 10 lbf at 2 in is 20 lb-in by definition; 1 lbf·in = 0.112984829 N·m (NIST SP 811).
    assert outcome.values["torque_nm"] == pytest.approx(20 * 0.112984829, rel=1e-6)


def test_sending_the_same_form_twice_keeps_one(store: JobStore, job: Job) -> None:
    one = enter(store, job.number, "depth", DEPTH, who="b", idempotency_key="k1")
    two = enter(store, job.number, "depth", DEPTH, who="b", idempotency_key="k1")
    assert [e.seq for e in one.entries] == [e.seq for e in two.entries]
    assert len(store.entries(job.number, step="depth")) == 2


def test_two_benches_get_a_choice_and_no_reading_is_lost(store: JobStore, job: Job) -> None:
    head = store.get_job(job.number).head
    enter(store, job.number, "depth", DEPTH, who="bench one", expected_head=head)
    with pytest.raises(JobConflictError) as caught:
        enter(store, job.number, "depth", DEPTH, who="bench two", expected_head=head)
    assert {e.who for e in caught.value.others} == {"bench one"}
    enter(store, job.number, "depth", DEPTH, who="bench two", expected_head=caught.value.head)
    assert len(job_view(store, job.number).step("depth").rounds) == 2


def test_a_correction_supersedes_reading_and_result(store: JobStore, job: Job) -> None:
    wrong = enter(store, job.number, "depth", {**DEPTH, "fitted": "0.0559"}, who="b")
    enter(store, job.number, "depth", {**DEPTH, "fitted": "0.0609"}, who="b", supersedes=wrong.entries[0].seq)
    step = job_view(store, job.number).step("depth")
    assert len(step.rounds) == 1
    assert len(step.struck) == 1
    assert step.status.state == "ok"
    assert store.verify(job.number).holds


def test_taking_back_leaves_the_step_open_and_the_record_whole(store: JobStore, job: Job) -> None:
    outcome = enter(store, job.number, "depth", {**DEPTH, "fitted": "0.0609"}, who="b")
    with pytest.raises(InputError, match="no reason"):
        take_back(store, job.number, outcome.entries[0].seq, " ", who="b")
    take_back(store, job.number, outcome.entries[0].seq, "read on the wrong axle", who="b")
    step = job_view(store, job.number).step("depth")
    assert step.rounds == ()
    assert step.status.state in ("open", "begun")
    assert len(store.entries(job.number, kind="reading")) == 1


def test_unknown_fields_steps_and_nobody_are_refused(store: JobStore, job: Job) -> None:
    with pytest.raises(InputError, match="unknown field 'colour'"):
        enter(store, job.number, "depth", {"colour": "blue"}, who="b")
    with pytest.raises(InputError, match="there is no step"):
        enter(store, job.number, "polish", {}, who="b")
    with pytest.raises(InputError, match="nobody named"):
        enter(store, job.number, "depth", DEPTH, who="  ")
    assert len(store.entries(job.number)) == 1, "only the job's own header"


def test_the_other_steps_are_written_down_and_judged(store: JobStore, job: Job) -> None:
    number = job.number
    complaint = {"heard": "whine", "when": "drive", "speed": "40 to 50 mph", "others_out": "yes"}
    assert enter(store, number, "complaint", complaint, who="b").verdict == "ok"
    assert (
        enter(store, number, "as-found", {"backlash": "0.012 0.013", "tagged": "yes"}, who="b").verdict
        == "ok"
    )
    fits = {"bearings": "good", "flange_runout": "0.001", "ring_face_runout": "0.0045"}
    assert enter(store, number, "fits", fits, who="b").verdict == "not ok"
    final = {"backlash": "0.006 0.007 0.007 0.006", "torque": "22", "pattern": "same"}
    assert enter(store, number, "final", final, who="b").verdict == "ok"
    close = {"locks": "yes", "oil": "yes", "road": "quiet at 45 mph", "gone": "gone"}
    assert enter(store, number, "close", close, who="b").verdict == "ok"
    late = enter(store, number, "complaint", {**complaint, "others_out": "no"}, who="b")
    assert late.verdict == "ask"


LOOSE = {"readings": "0.0125 0.013 0.0135 0.013", "axle": "light", "stem": "in_rotation"}
DEPTH_OUT = {
    "place": "under_head",
    "carrier": "5.6255 5.6250 5.6254 5.6256 5.6255",
    "bearing": "1.2500 1.2500",
    "mounting_distance": "4.3125",
    "fitted": "0.0579",
}


def test_the_ring_gear_waits_while_the_depth_is_wrong(store: JobStore, job: Job) -> None:
    enter(store, job.number, "depth", DEPTH_OUT, who="b")
    outcome = enter(
        store, job.number, "backlash", {**LOOSE, "ring_side": "0.085", "other_side": "0.090"}, who="b"
    )
    assert outcome.values["ring_move_waits"]
    assert str(outcome.notes[0]).startswith("Not yet: the pinion depth is not right")
    assert "ring_side_new_mm" not in outcome.values
    assert not any("move" in str(s.label) or "shim" in str(s.label) for s in outcome.sums)
    # The pinion goes in, so backlash falls: what is foretold is what the rolled factor gives.
    _, pinion = backlash_per_move(load_design("TY-222"))
    wanted = 0.0125 - 0.005 * pinion.computed
    told = re.search(r"to about (0\.\d+) in", str(outcome.notes[0]))
    assert told is not None
    assert float(told[1]) == pytest.approx(wanted, abs=1.5e-4)
    note = next(s for s in sheet_data(store, job.number).steps if "acklash" in s.title)
    assert any(n.startswith("Not yet") for n in note.notes)
    # With the right spacer entered the move is told.
    enter(store, job.number, "depth", {**DEPTH_OUT, "fitted": "0.0629"}, who="b")
    outcome = enter(store, job.number, "backlash", LOOSE, who="b")
    assert "ring_move_waits" not in outcome.values
    assert any("move" in str(s.label) for s in outcome.sums)


def test_backlash_inside_its_limits_asks_for_no_move(store: JobStore, job: Job) -> None:
    fields = {**LOOSE, "readings": "0.0065 0.007 0.0075 0.007", "limit_low": "0.006", "limit_high": "0.009"}
    outcome = enter(store, job.number, "backlash", fields, who="b")
    assert outcome.verdict == "ok"
    assert str(outcome.notes[0]).startswith("Inside; no move needed. Remark:")
    assert not any("move" in str(s.label) for s in outcome.sums)
    outcome = enter(store, job.number, "backlash", {**fields, "target": "0.008"}, who="b")
    assert any("move" in str(s.label) for s in outcome.sums), "a wish typed in is followed"


def test_written_sums_add_up_as_written_in_both_systems(store: JobStore, job: Job) -> None:
    # 0.1778 − 0.1524 mm is 0.0254: with three decimals 0.178 − 0.152 = 0.025 would not add up.
    fields = {"readings": "0.0060 0.0070 0.0065", "axle": "light"}
    (spread,) = [
        s
        for s in enter(store, job.number, "backlash", fields, who="b").sums
        if str(s.label).startswith("spread")
    ]
    assert spread.text("metric") == "0.1778 − 0.1524 = 0.0254 mm"
    assert spread.text("inch") == "0.0070 − 0.0060 = 0.0010 in"
