"""The printed sheet holds what was entered."""

from __future__ import annotations

import pytest

from axlewright.bench import enter, job_sheet_pdf, sheet_data
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
    assert len(step.readings) == 5, "four places and how the indicator stood"
    assert any("mm" in s.result for s in step.sums)
    assert all(one.source for one in step.limits)
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
