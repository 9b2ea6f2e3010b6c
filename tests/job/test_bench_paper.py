"""The printed sheet holds what was entered."""

from __future__ import annotations

import pytest
from pdf_reading import text_of

from axlewright.errors import AxlewrightError
from axlewright.job import FieldError, enter, job_sheet_pdf, sheet_data
from axlewright.job.entering import take_back
from axlewright.records import Job, JobStore


def test_the_sheet_has_readings_sums_limits_and_fingerprint(store: JobStore, job: Job) -> None:
    fields = {
        "readings": "0.006 0.0065 0.007 0.0065",
        "axle": "light",
        "stem": "in_rotation",
        "note": "second try",
    }
    enter(store, job.number, "backlash", fields, who="bench one", system="inch")
    data = sheet_data(store, job.number, shop="Thistledown Yard", system="metric")
    step = next(s for s in data.steps if s.title == "Side bearings and backlash")
    assert step.verdict == "ok"
    assert sum(len(block.readings) for block in step.rounds) == 6, (
        "four places, the indicator, the kind of axle"
    )
    assert any("mm" in s["result"] for s in step.sums)
    assert all(one["source"] for one in step.limits)
    assert "bench one: second try" in step.notes
    assert data.fingerprint == store.get_job(job.number).head
    assert data.plots[0].values == (0.1524, 0.1651, 0.1778, 0.1651)
    assert [s.name for s in data.signatures] == ["", ""], "empty lines to sign on paper"


def test_the_pdf_is_the_same_for_the_same_record(store: JobStore, job: Job) -> None:
    enter(store, job.number, "as-found", {"backlash": "0.012 0.013"}, who="bench one")
    one = job_sheet_pdf(store, job.number, link="http://127.0.0.1:8790/jobs/1")
    assert one.startswith(b"%PDF-")
    assert one == job_sheet_pdf(store, job.number, link="http://127.0.0.1:8790/jobs/1")


def test_runout_is_plotted_on_the_sheet_with_its_fit(store: JobStore, job: Job) -> None:
    face = "-0.0005 -0.0002 0.0001 0.0005 0.0005 0.0002 -0.0001 -0.0005"
    enter(store, job.number, "fits", {"bearings": "good", "face_readings": face}, who="bench one")
    enter(store, job.number, "backlash", {"readings": "0.006 0.007 0.006", "axle": "light"}, who="bench one")
    runout, backlash = sheet_data(store, job.number).plots
    assert runout.title == "Runout of the ring gear's back face"
    assert runout.values[3] == pytest.approx(0.0005)
    assert runout.fit_values[0] == pytest.approx(runout.fit_values[-1]), "the fitted curve closes"
    assert backlash.fit_values == ()
    assert "tilt 0.0010 in" in runout.caption
    metric = sheet_data(store, job.number, system="metric").plots[0]
    assert metric.unit == "mm"
    assert metric.values[3] == pytest.approx(0.0127)
    assert job_sheet_pdf(store, job.number) == job_sheet_pdf(store, job.number), "identical bytes"


def test_what_no_longer_counts_is_struck_out_with_who_when_and_why(store: JobStore, job: Job) -> None:
    fields = {"readings": "0.0060 0.0065 0.0070 0.0065", "axle": "light", "stem": "in_rotation"}
    first = enter(store, job.number, "backlash", {**fields, "readings": "0.0123 0.0124 0.0125"}, who="one")
    second = enter(
        store,
        job.number,
        "backlash",
        {**fields, "note": "read with the caps loose"},
        who="two",
        supersedes=first.entries[0].seq,
    )
    found = enter(store, job.number, "as-found", {"backlash": "0.0131"}, who="one")
    take_back(store, job.number, found.entries[0].seq, "wrong axle", who="two")
    steps = {step.title: step for step in sheet_data(store, job.number).steps}
    backlash = steps["Side bearings and backlash"]
    values = [reading["value"] for block in backlash.rounds for reading in block.readings]
    assert not any("0.012" in value for value in values), "it does not stand as a reading"
    (struck,) = backlash.struck
    assert "backlash at 0° 0.0123 in (0.312 mm)" in struck.values
    assert f"Entry {first.entries[0].seq} by one, " in struck.fate
    assert f"replaced by entry {second.entries[0].seq}, two, " in struck.fate
    assert struck.fate.endswith("Reason: read with the caps loose")
    taken = steps["As-found readings"]
    assert taken.begun
    assert taken.struck[0].fate.endswith("Reason: wrong axle")
    assert "taken back by two" in taken.struck[0].fate
    assert {block.entry for block in backlash.rounds} == {second.entries[0].seq}


def test_the_overview_names_every_step_and_each_caution_stands_once(store: JobStore, job: Job) -> None:
    for step, fields in (
        ("identity", {"pinion_number": "1", "ring_number": "1"}),
        ("backlash", {"readings": "0.006 0.0065 0.007", "axle": "light"}),
    ):
        enter(store, job.number, step, fields, who="one")
    steps = sheet_data(store, job.number).steps
    assert [s.title for s in steps if s.begun] == ["Set identity", "Side bearings and backlash"]
    assert len(steps) == 10, "what was not done is named as open"
    cautions = [caution for step in steps for caution in step.cautions]
    assert len(cautions) == len(set(cautions)) > 3


def test_the_backlash_plot_says_what_it_shows(store: JobStore, job: Job) -> None:
    fields = {"readings": "0.0065 0.0060 0.0070 0.0065", "axle": "light", "limit_low": "0.005"}
    enter(store, job.number, "backlash", {**fields, "limit_high": "0.009"}, who="bench one")
    (plot,) = sheet_data(store, job.number).plots
    assert (plot.lower_limit, plot.limit, plot.ringed) == (0.005, 0.009, 1)
    for said in ("bench one", "4 even places", "0.0060 in (0.152 mm) at 90°", "spread 0.0010 in", "limits"):
        assert said in plot.caption


def test_texts_longer_than_paper_are_refused_when_they_are_typed(store: JobStore, job: Job) -> None:
    for step, fields, name, most in (
        (
            "complaint",
            {"heard": "whine", "when": "drive", "others_out": "yes", "speed": "4" * 401},
            "speed",
            400,
        ),
        ("as-found", {"turning": "12", "note": "x" * 8_001}, "note", 8_000),
    ):
        with pytest.raises(FieldError, match=f"shorten it to {most}") as problem:
            enter(store, job.number, step, fields, who="one")
        assert problem.value.field == name
        enter(store, job.number, step, fields | {name: fields[name][:most]}, who="one")
    for reason in (
        lambda text: take_back(store, job.number, 2, text, who="one"),
        lambda text: store.waive(job.number, "fits", text, who="one"),
    ):
        with pytest.raises(AxlewrightError, match="8000"):
            reason("x" * 8_001)
    assert "room for here" not in text_of(job_sheet_pdf(store, job.number)), "all of it is printed"


def test_an_older_record_with_longer_texts_prints_cut_and_says_so(store: JobStore, job: Job) -> None:
    long = {"typed": {}, "system": "inch", "note": "n" * 30_000}
    reading = {"name": "a" * 2_000, "value": "b" * 2_000, "unit": "", "place": "", "note": "c" * 20_000}
    store.add_entry(job.number, "reading", "as-found", long | {"readings": [reading]}, who="one")
    store.add_entry(job.number, "waiver", "fits", {"reason": "r" * 20_000}, who="one")
    text = text_of(job_sheet_pdf(store, job.number))
    assert "A text that ends in “…” is longer in the record than there is room for here." in text
    block = next(one for one in sheet_data(store, job.number).steps if one.rounds)
    (row,) = block.rounds[0].readings
    assert (len(row["name"]), row["name"][-2:]) == (1_000, "a…")
    assert all(note.endswith("…") for note in block.notes)
