"""The spacer in the axle counts until another is entered; what is shown as zero has no direction."""

from __future__ import annotations

import pytest

from axlewright.errors import InputError
from axlewright.job import enter, job_view, put_on_shelf, take_back
from axlewright.job.pattern_shown import _figure, cause_texts
from axlewright.job.shelf import take_for_job, to_take
from axlewright.records import Job, JobStore
from axlewright.units import shows_as_zero

INCH = 25.4
DEPTH = {
    "place": "under_head",
    "carrier": "5.6254",
    "bearing": "1.2500",
    "mounting_distance": "4.3125",
    "mark": "+2",
    "mark_unit": "0.001 in",
    "mark_meaning": "plus_means_larger_mounting_distance",
}
OLD = {**DEPTH, "fitted": "0.0545"}
"""Wanted 5.6254 − 4.3125 − 1.2500 − 0.0020 = 0.0609 in (plain geometry); the old one is 0.0064 in thinner."""


def state(store: JobStore, job: Job) -> str:
    return job_view(store, job.number, "inch").step("depth").status.state


@pytest.mark.parametrize("correcting", [False, True])
def test_the_spacer_in_the_axle_is_judged_again_when_it_is_not_typed_again(
    store: JobStore, job: Job, correcting: bool
) -> None:
    put_on_shelf(store, "pinion spacer", "0.0600 0.0605 0.0610 0.0615", count=2, who="b")
    first = enter(store, job.number, "depth", OLD, who="bench one")
    assert first.verdict == "not ok"
    seq = first.entries[0].seq
    again = DEPTH
    for _round in range(3):  # carried on from an entry that only carried it on
        again = {**again, "carrier": again["carrier"] + " 5.6254"}
        second = enter(
            store, job.number, "depth", again, who="bench two", supersedes=seq if correcting else None
        )
        assert second.verdict == "not ok"
        assert state(store, job) == "not ok"
        assert "Fitted 0.0545 in" in second.why
        assert second.values["pinion_left_out_mm"] == pytest.approx(0.0064 * INCH)
        assert any("from entry 2 by bench one" in note for note in second.notes), second.notes
        assert job_view(store, job.number, "inch").step("depth").fill["fitted"] == "0.0545 in"
        seq = second.entries[0].seq
    third = enter(store, job.number, "depth", {**DEPTH, "fitted": "0.0610"}, who="bench two")
    assert third.verdict == "ok"
    assert not any("from entry" in note for note in third.notes)
    assert job_view(store, job.number, "inch").step("depth").fill["fitted"] == "0.0610 in"


def test_a_spacer_that_stands_where_it_did_is_judged_against_the_new_sum(store: JobStore, job: Job) -> None:
    enter(store, job.number, "depth", {**DEPTH, "fitted": "0.0609"}, who="b")
    assert state(store, job) == "ok"
    # Another bearing goes in, 0.0060 in wider: the same spacer is that much too thick.
    wider = enter(store, job.number, "depth", {**DEPTH, "bearing": "1.2560"}, who="b")
    assert wider.verdict == "not ok"
    assert wider.values["pinion_left_out_mm"] == pytest.approx(-0.0060 * INCH)


def test_a_spacer_filled_in_again_is_said_to_be_the_earlier_one(store: JobStore, job: Job) -> None:
    enter(store, job.number, "depth", {**DEPTH, "fitted": "1.415 mm"}, who="bench one")
    fill = job_view(store, job.number, "metric").step("depth").fill["fitted"]
    assert fill == "0.055709 in", "in the system of that entry"
    outcome = enter(store, job.number, "depth", {**DEPTH, "fitted": fill}, who="bench two")
    assert outcome.values["spacer_now_mm"] == pytest.approx(1.415, abs=1e-4)
    assert any("from entry 2 by bench one" in note for note in outcome.notes)


def test_after_a_reading_with_a_spacer_is_taken_back_the_one_in_is_asked(store: JobStore, job: Job) -> None:
    put_on_shelf(store, "pinion spacer", "0.0605 0.0610", count=2, who="b")
    first = enter(store, job.number, "depth", OLD, who="b")
    take_back(store, job.number, first.entries[0].seq, "read wrong", who="b")
    assert job_view(store, job.number).step("depth").fill["fitted"] == ""
    second = enter(store, job.number, "depth", DEPTH, who="b")
    assert second.verdict == "ask"
    assert "Entry 2, 0.0545 in (1.384 mm) fitted, was taken back" in second.why
    assert enter(store, job.number, "depth", {**DEPTH, "fitted": "0.0610"}, who="b").verdict == "ok"


def test_a_spacer_of_another_place_is_asked_about(store: JobStore, job: Job) -> None:
    put_on_shelf(store, "pinion spacer", "0.0605 0.0610", count=2, who="b")
    enter(store, job.number, "depth", OLD, who="b")
    moved = enter(store, job.number, "depth", {**DEPTH, "place": "behind_cup"}, who="b")
    assert moved.verdict == "ask"
    assert "in another place" in moved.why


def test_the_shelf_piece_is_offered_while_the_old_one_is_in(store: JobStore, job: Job) -> None:
    put_on_shelf(store, "pinion spacer", "0.0610", count=2, who="b")
    enter(store, job.number, "depth", OLD, who="b")
    again = enter(store, job.number, "depth", DEPTH, who="b")
    assert to_take(job_view(store, job.number), "depth"), "the old one is in: the right one is still to take"
    take_for_job(store, job.number, again.entries[0].seq, who="b")
    enter(store, job.number, "depth", {**DEPTH, "fitted": "0.0610"}, who="b")
    enter(store, job.number, "depth", DEPTH, who="b")
    assert to_take(job_view(store, job.number), "depth") == "", "it is in already"


@pytest.mark.parametrize(("fitted", "words"), [("0.0609", "as computed"), ("0.06091", "as computed")])
def test_a_spacer_as_computed_has_no_direction(store: JobStore, job: Job, fitted: str, words: str) -> None:
    outcome = enter(store, job.number, "depth", {**DEPTH, "fitted": fitted}, who="b")
    assert outcome.verdict == "ok"
    assert str(outcome.why).endswith(words)
    one_more = enter(store, job.number, "depth", {**DEPTH, "fitted": "0.0610"}, who="b")
    assert "0.0001 in (0.003 mm) too far in" in one_more.why


def test_what_is_shown_as_zero_is_zero() -> None:
    # Half of the last decimal shown: 0.00005 in and 0.0005 mm.
    assert shows_as_zero(0.00004 * INCH, "inch")
    assert not shows_as_zero(-0.00006 * INCH, "inch")
    assert shows_as_zero(-0.0004, "metric")
    assert not shows_as_zero(0.0006, "metric")


def test_a_shaft_angle_shown_as_zero_has_no_sign() -> None:
    assert str(_figure("shaft_angle_error_deg", -0.0004)) == "0.000°"
    assert str(_figure("shaft_angle_error_deg", -0.0006)) == "−0.001°"
    cause = {"shaft_angle_error_deg": {"mean": -0.0004, "sd": 0.02}}
    assert str(cause_texts({"diagnosis": {"cause": cause}})[0][1]) == "0.000°"


@pytest.mark.parametrize(
    ("left_out", "fix"),
    [
        ("mark_unit", "the same mark is used in three; or choose"),
        ("mark_meaning", "both meanings are in use; or choose"),
    ],
)
def test_the_mark_of_a_set_is_asked_in_whole_sentences(
    store: JobStore, job: Job, left_out: str, fix: str
) -> None:
    fields = {
        "pinion_number": "4",
        "ring_number": "4",
        **{k: DEPTH[k] for k in ("mark", "mark_unit", "mark_meaning")},
    }
    with pytest.raises(InputError) as caught:
        enter(store, job.number, "identity", {k: v for k, v in fields.items() if k != left_out}, who="b")
    assert fix in str(caught.value.fix)
