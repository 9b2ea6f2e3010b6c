"""Runout, preload and side bearings as typed at their steps."""

from __future__ import annotations

import math

import pytest

from axlewright.job import FieldError, enter, job_view, put_on_shelf
from axlewright.job.sheet import runout_plots
from axlewright.job.step_drawings import step_drawings
from axlewright.records import Job, JobStore

INCH = 25.4
LB_IN = 0.112984829  # N·m, NIST SP 811


def face(flange_in: float, flange_at: float, gear_in: float, gear_at: float, count: int = 8) -> str:
    """Return dial readings of a tilted gear on a tilted flange, to 0.00001 in."""
    out = []
    for k in range(count):
        at = 360.0 * k / count
        tilt = flange_in * math.cos(math.radians(at - flange_at)) + gear_in * math.cos(
            math.radians(at - gear_at)
        )
        out.append(f"{tilt:.5f}")
    return " ".join(out)


def test_flange_and_gear_are_told_apart_by_turning_the_gear(store: JobStore, job: Job) -> None:
    # Flange 0.0010 in toward 60°, gear 0.0015 in toward 100°; the gear 3 of 12 holes on looks toward 190°.
    fields = {
        "bearings": "good",
        "face_readings": face(0.0010, 60.0, 0.0015, 100.0),
        "turned_readings": face(0.0010, 60.0, 0.0015, 190.0),
        "turned_holes": "3",
        "bolts": "12",
    }
    outcome = enter(store, job.number, "fits", fields, who="b")
    assert outcome.values["flange_tilt_mm"] == pytest.approx(2 * 0.0010 * INCH, rel=0.01)
    assert outcome.values["gear_tilt_mm"] == pytest.approx(2 * 0.0015 * INCH, rel=0.01)
    # High to low: the gear's high at 60 + 180 = 240°, 140° on, that is 4.67 holes; the fifth is nearest.
    assert outcome.values["best_holes"] == 5
    assert any("from here that is 2 holes on" in note for note in outcome.notes)
    step = job_view(store, job.number).step("fits")
    plots = runout_plots(step, "inch")
    assert [len(plot.values) for plot in plots] == [8, 8]
    assert max(plots[0].fit_values) == pytest.approx(max(plots[0].values), abs=0.0003)
    assert len(step_drawings(step, {}, "inch")) == 2


def test_the_bare_flange_tells_the_gear_as_well(store: JobStore, job: Job) -> None:
    fields = {
        "bearings": "good",
        "flange_readings": face(0.0010, 60.0, 0.0, 0.0),
        "face_readings": face(0.0010, 60.0, 0.0015, 100.0),
    }
    outcome = enter(store, job.number, "fits", fields, who="b")
    assert outcome.values["gear_tilt_mm"] == pytest.approx(2 * 0.0015 * INCH, rel=0.01)
    assert "best_holes" not in outcome.values, "the bolts are not counted yet"
    assert any("Count the ring gear's bolts" in note for note in outcome.notes)


def test_runout_is_judged_by_the_readings_and_names_whose_it_is(store: JobStore, job: Job) -> None:
    fields = {"bearings": "good", "flange_runout": "0.001", "face_readings": face(0.003, 0.0, 0.0, 0.0)}
    outcome = enter(store, job.number, "fits", fields, who="b")
    assert outcome.verdict == "not ok"
    assert outcome.values["ring_face_runout_mm"] == pytest.approx(0.006 * INCH)
    assert any("the gear on it is not" in note for note in outcome.notes)
    heavy = enter(store, job.number, "fits", {**fields, "axle": "heavy"}, who="b")
    assert heavy.verdict == "ok", "a heavy axle's default is 0.008 in (TM 10-3930-660-34)"
    own = {**fields, "limit_face": "0.007", "limit_source": "service data of this axle"}
    assert enter(store, job.number, "fits", own, who="b").limits[-1].origin == "typed in"
    bent = {"bearings": "good", "flange_runout": "0.004"}
    assert any("The flange runs out" in n for n in enter(store, job.number, "fits", bent, who="b").notes)


@pytest.mark.parametrize(
    ("fields", "field"),
    [
        ({"face_readings": "0 0.001"}, "face_readings"),
        ({"turned_readings": face(0.001, 0, 0, 0), "turned_holes": "1", "bolts": "10"}, "face_readings"),
        ({"face_readings": face(0.001, 0, 0, 0), "turned_readings": face(0.001, 0, 0, 0)}, "turned_holes"),
        (
            {
                "face_readings": face(0.001, 0, 0, 0),
                "turned_readings": face(0.001, 0, 0, 0),
                "turned_holes": "10",
                "bolts": "10",
            },
            "turned_holes",
        ),
    ],
)
def test_what_is_missing_for_runout_is_asked_at_its_field(
    store: JobStore, job: Job, fields: dict[str, str], field: str
) -> None:
    with pytest.raises(FieldError) as caught:
        enter(store, job.number, "fits", {"bearings": "good", **fields}, who="b")
    assert caught.value.field == field
    assert store.entries(job.number, step="fits") == []


def test_first_side_shims_after_the_manual(store: JobStore, job: Job) -> None:
    # TM 9-2320-289-34 p 6-19: 0.250 and 0.265 in at no backlash and no preload; ring gear 0.010 in away,
    # 0.004 in preload on each side: 0.244 and 0.279 in. The target is what 0.010 in away gives here.
    factor = enter(
        store, job.number, "backlash", {"readings": "0.006 0.006", "axle": "light"}, who="b"
    ).values["factor"]
    fields = {
        "stage": "zero",
        "axle": "light",
        "sides": "cups",
        "target": f"{0.010 * factor:.9f}",
        "ring_side": "0.250",
        "other_side": "0.265",
        "each_side": "0.004",
    }
    outcome = enter(store, job.number, "backlash", fields, who="b")
    assert outcome.values["ring_side_new_mm"] == pytest.approx(0.244 * INCH, abs=1e-4)
    assert outcome.values["other_side_new_mm"] == pytest.approx(0.279 * INCH, abs=1e-4)
    assert outcome.verdict == "ask", "they are to be fitted and backlash read"
    assert any("Total 0.5150 in" in note and "0.5230 in" in note for note in outcome.notes)


def test_side_shims_come_from_the_shelf(store: JobStore, job: Job) -> None:
    put_on_shelf(store, "side shim", "0.083 0.085 0.092 0.010", count=1, who="b")
    fields = {
        "readings": "0.004 0.0045",
        "axle": "light",
        "target": "0.006",
        "sides": "cones",
        "ring_side": "0.085",
        "other_side": "0.090",
    }
    outcome = enter(store, job.number, "backlash", fields, who="b")
    assert outcome.values["shelf_ring_side_mm"] == pytest.approx(0.083 * INCH)
    assert outcome.values["shelf_other_side_mm"] == pytest.approx(0.092 * INCH)
    assert any("both side bearings are pulled" in note for note in outcome.notes)


def test_side_preload_is_judged(store: JobStore, job: Job) -> None:
    base = {"readings": "0.006 0.006 0.006 0.006", "axle": "light"}
    # TM 5-3810-306-34 p 8-34: 15.324 - 15.315 = 0.009 in, allowed 0.006 to 0.013 in.
    caps = {**base, "caps_free": "15.315", "caps_loaded": "15.324", "rise": "9 lb-in"}
    outcome = enter(store, job.number, "backlash", caps, who="b")
    assert outcome.values["cap_spread_mm"] == pytest.approx(0.009 * INCH, abs=1e-6)
    assert outcome.verdict == "ok"
    loose = enter(store, job.number, "backlash", {**base, "end_play": "0.002"}, who="b")
    assert loose.verdict == "ask"
    assert "no preload yet" in loose.why
    with pytest.raises(FieldError) as caught:
        enter(store, job.number, "backlash", {**base, "caps_free": "15.315"}, who="b")
    assert caught.value.field == "caps_loaded"


def test_the_radius_of_the_indicator_counts_and_is_asked_about(store: JobStore, job: Job) -> None:
    base = {"readings": "0.006 0.006", "axle": "light", "stem": "in_rotation"}
    outer = enter(store, job.number, "backlash", base, who="b").values["factor"]
    closer = enter(store, job.number, "backlash", {**base, "heel_radius": "100 mm"}, who="b")
    # TY-222: outer radius 111 mm; backlash grows with the radius at which it is read.
    assert closer.values["factor"] == pytest.approx(outer * 100.0 / 111.0)
    assert closer.values["heel_radius_mm"] == pytest.approx(100.0)
    off = enter(store, job.number, "backlash", {**base, "heel_radius": "60 mm"}, who="b")
    assert off.verdict == "ask"


def test_runout_is_held_against_backlash(store: JobStore, job: Job) -> None:
    enter(store, job.number, "fits", {"bearings": "ok", "face_readings": face(0.001, 0, 0, 0)}, who="b")
    backlash = " ".join(f"{0.007 + 0.0009 * math.cos(math.radians(45 * k)):.5f}" for k in range(8))
    outcome = enter(store, job.number, "backlash", {"readings": backlash, "axle": "light"}, who="b")
    assert any("Runout explains the backlash variation" in note for note in outcome.notes)


def test_two_rigid_spacers_give_the_next(store: JobStore, job: Job) -> None:
    base = {
        "bearings": "new",
        "kind": "spacer",
        "between": "cones",
        "limit_low": "15",
        "limit_high": "25",
        "limit_source": "service data of this axle",
    }
    first = enter(store, job.number, "preload", {**base, "torque": "5", "spacer": "0.5000"}, who="b")
    assert any("thinner" in note for note in first.notes), "between the cones a thinner one gives more"
    second = enter(store, job.number, "preload", {**base, "torque": "10", "spacer": "0.4990"}, who="b")
    # A straight line through both trials: 10 lb-in more for 0.002 in less.
    assert second.values["preload_spacer_next_mm"] == pytest.approx(0.4970 * INCH)
    cups = {**base, "between": "cups", "torque": "5", "spacer": "0.5000", "setup_bearings": "yes"}
    outcome = enter(store, job.number, "preload", cups, who="b")
    assert any("thicker." in note for note in outcome.notes)
    assert any("TM 5-4210-220-34" in note for note in outcome.notes)


def test_a_limit_printed_in_two_units_that_disagree_is_asked_about(store: JobStore, job: Job) -> None:
    # Misprint of civil service literature: 8 to 14 lb-in printed as 11 to 19 N·m; really 0.9 to 1.6.
    fields = {"bearings": "new", "kind": "spacer", "torque": "10", "limit_high": "14 lb-in = 1.6 N·m"}
    with pytest.raises(FieldError, match="not the same") as caught:
        enter(store, job.number, "preload", {**fields, "limit_low": "8 lb-in (11 N·m)"}, who="b")
    assert caught.value.field == "limit_low"
    assert caught.value.confirmable
    right = enter(store, job.number, "preload", {**fields, "limit_low": "8 lb-in (0.9 N·m)"}, who="b")
    assert right.verdict == "ok"
    kept = enter(
        store, job.number, "preload", {**fields, "limit_low": "8 lb-in (11 N·m)", "really": "yes"}, who="b"
    )
    assert kept.verdict == "ok"
    # TM 9-2320-289-34 ch 6 prints 0.002 in as 0.057 mm; really 0.051.
    with pytest.raises(FieldError, match="not the same"):
        enter(store, job.number, "fits", {"bearings": "ok", "flange_runout": "0.002 in (0.057 mm)"}, who="b")


def test_the_total_adds_the_sides_through_the_ratio(store: JobStore, job: Job) -> None:
    preload = {"bearings": "new", "kind": "sleeve", "torque": "20", "nut": "20"}
    enter(store, job.number, "preload", preload, who="b")
    final = {"backlash": "0.006 0.006 0.007 0.006", "pattern": "same"}
    fields = {**final, "torque": "32.4", "seal": "3", "side_torque": "35"}
    outcome = enter(store, job.number, "final", fields, who="b")
    # 20 + 3 + 35 / (41/11) = 32.39 lb-in (statics).
    assert outcome.values["expected_torque_nm"] / LB_IN == pytest.approx(20 + 3 + 35 * 11 / 41)
    assert not any("more than the wrenches explain" in note for note in outcome.notes)
    latest = job_view(store, job.number).step("final").latest
    assert latest is not None
    shown = {str(one.name): str(one.value) for one in latest.readings}
    assert shown["of that the seal"].startswith("3.0 lb-in")
    assert shown["torque to turn the case"].startswith("35.0 lb-in")
    off = enter(store, job.number, "final", {**fields, "torque": "50"}, who="b")
    assert any("more than the wrenches explain" in note for note in off.notes)
    over = enter(store, job.number, "final", {**fields, "limit_low": "10", "limit_high": "30"}, who="b")
    assert over.verdict == "not ok"


def test_the_way_to_a_sleeve_is_drawn_with_its_stop_line(store: JobStore, job: Job) -> None:
    base = {"bearings": "new", "kind": "sleeve"}
    for torque, nut in (("6", "5"), ("10", "12")):
        enter(store, job.number, "preload", {**base, "torque": torque, "nut": nut}, who="b")
    (drawing,) = step_drawings(job_view(store, job.number).step("preload"), {}, "inch")
    assert "stop line" in drawing.svg
    assert drawing.svg.count('class="d-dot"') == 2
    assert "next" in drawing.svg


def test_first_setting_with_adjusters_is_told_in_notches(store: JobStore, job: Job) -> None:
    fields = {
        "stage": "zero",
        "axle": "light",
        "sides": "adjusters",
        "target": "0.0065",
        "thread_pitch": "0.0833",
        "notches": "24",
        "end_play": "0",
    }
    outcome = enter(store, job.number, "backlash", fields, who="b")
    # 12 threads per inch and 24 notches: 0.0035 in each; 0.0065 / 0.90 = 0.0072 in, so two notches.
    assert outcome.values["notches"] == 2
    assert any("2 notches" in note for note in outcome.notes)
    assert outcome.verdict == "ask"
