"""Records, backup and job file written by axlewright 0.1.0 open, verify, show, print and travel.

``kept/`` was written by ``make_kept.py`` with that version and is not written anew: it stands for what people
have. What it holds is known from that script.
"""

from __future__ import annotations

import io
import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from axlewright.errors import RecordError
from axlewright.job import batch as log
from axlewright.job import enter, job_sheet_pdf, job_view, sheet_data, spacers, take_back
from axlewright.job.practice import played_attempt, practice_attempts
from axlewright.language import using_language
from axlewright.records import JobStore, export_job, import_job, open_store, restore

KEPT = Path(__file__).parent / "kept"
TOLD: dict[str, Any] = json.loads((KEPT / "told.json").read_text(encoding="utf-8"))
JOBS: dict[str, int] = TOLD["jobs"]
INCH = 25.4
DONE = dict.fromkeys(
    ("complaint", "identity", "fits", "depth", "preload", "backlash", "pattern", "final", "close"), "ok"
)
STATES = {
    "demo": {**DONE, "as-found": "begun"},
    "german": {
        **dict.fromkeys(("complaint", "as-found", "identity", "fits", "depth", "preload"), "ok"),
        "backlash": "not ok",
        "pattern": "ask",
        "final": "open",
        "close": "open",
    },
    "corrected": {
        **dict.fromkeys(("fits", "depth", "preload", "pattern", "final", "close"), "open"),
        "complaint": "waived",
        "as-found": "begun",
        "identity": "ok",
        "backlash": "ok",
    },
    "signed": {**dict.fromkeys((*DONE, "as-found"), "open"), "complaint": "ask", "close": "ok"},
}
LEAD, LEAD_PIN = "lead", "2580"
BENCH, BENCH_PIN = "bench one", "1357"


def copied(folder: Path) -> Path:
    """Return a copy of the kept records: opening may bring them up to date."""
    return Path(shutil.copytree(KEPT / "records", folder / "records"))


@pytest.fixture(scope="module", params=["opened", "restored"])
def kept(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[JobStore]:
    """The kept records to look at, opened as they lie or brought back from the backup."""
    folder = tmp_path_factory.mktemp(request.param)
    with open_store(copied(folder) if request.param == "opened" else folder / "new") as opened:
        if request.param == "restored":
            assert restore(opened, KEPT / "backup.zip") == len(JOBS)
        yield opened


@pytest.fixture
def own(tmp_path: Path) -> Iterator[JobStore]:
    """The kept records to write on."""
    with open_store(copied(tmp_path)) as opened:
        yield opened


def test_they_are_those_of_the_version_before_and_small() -> None:
    assert TOLD["written_with"] == "0.1.0"
    assert sum(path.stat().st_size for path in KEPT.rglob("*") if path.is_file()) < 600 * 1024


@pytest.mark.parametrize("name", JOBS)
def test_every_chain_holds_and_ends_where_it_did(kept: JobStore, name: str) -> None:
    report = kept.verify(JOBS[name])
    assert report.holds, report.why
    assert kept.get_job(JOBS[name]).head == TOLD["heads"][name]
    assert kept.get_job(JOBS[name]).state == ("closed" if name == "signed" else "open")
    for entry in kept.entries(JOBS[name]):
        for file in entry.files:
            assert kept.read_file(file)


def test_a_kept_record_that_was_changed_is_seen(own: JobStore) -> None:
    import sqlite3

    with sqlite3.connect(own.folder / "jobs.sqlite3") as database:
        changed = database.execute(
            "UPDATE entries SET payload = replace(payload, '0.0545', '0.0595') WHERE payload LIKE '%0.0545%'"
        ).rowcount
    assert changed
    assert not own.verify(JOBS["demo"]).holds


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("name", JOBS)
def test_every_step_stands_as_it_stood(kept: JobStore, name: str, language: str) -> None:
    with using_language(language):
        view = job_view(kept, JOBS[name], "metric")
    assert {step.key: step.status.state for step in view.steps} == STATES[name]


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("system", ["inch", "metric"])
@pytest.mark.parametrize("name", JOBS)
def test_every_sheet_is_printed(kept: JobStore, name: str, system: Any, language: str) -> None:
    with using_language(language):
        assert job_sheet_pdf(kept, JOBS[name], system=system).startswith(b"%PDF-")


def test_the_demonstration_job_shows_its_sums_photos_and_signature(kept: JobStore) -> None:
    view = job_view(kept, JOBS["demo"])
    depth = view.step("depth")
    # 5.6230 − 4.3125 − 1.2490 − 0.0020 in, plain geometry of the mounting
    assert [r.told["values"]["spacer_mm"] for r in depth.rounds] == pytest.approx([0.0595 * INCH] * 2)
    sheet = sheet_data(kept, JOBS["demo"], system="inch")
    sums = [one for block in sheet.steps for one in block.sums]
    assert "5.6230 − 4.3125 − 1.2490 − 0.0020 = 0.0595" in " ".join(one["text"] for one in sums)
    assert [one.statement for one in sheet.signatures] == ["As written on this sheet."]
    assert len(sheet.photos) == 1
    assert Image.open(io.BytesIO(sheet.photos[0].jpeg)).size == (320, 240)
    assert {one.flank for one in sheet.patterns} == {"drive", "coast"}
    assert "a leak at the pinion seal" in str(sheet.signatures[0]), "why it was opened again"
    read = next(e for e in kept.entries(JOBS["demo"], kind="result") if e.step == "pattern").payload
    # The photos were drawn with the pinion 0.127 mm (0.005 in) out.
    cause = read["diagnosis"]["cause"]["pinion_out_mm"]
    assert cause["p05"] < 0.127 < cause["p95"]


def test_a_job_typed_in_german_and_millimetres_keeps_what_was_typed(kept: JobStore) -> None:
    depth = job_view(kept, JOBS["german"], "metric").step("depth").latest
    assert depth is not None
    assert (depth.system, depth.typed["carrier"]) == ("metric", "142,89 142,88 142,89")
    # Mean 142.8867 − 109.54 − mean 31.755 and a mark of −5 hundredths whose plus means a thicker spacer.
    assert depth.told["values"]["spacer_mm"] == pytest.approx(142.88667 - 109.54 - 31.755 - 0.05, abs=1e-4)
    assert "das Ritzel sitzt" in depth.told["why"]
    assert depth.note == "kalt gemessen"


def test_what_no_longer_counts_is_shown_as_such(kept: JobStore) -> None:
    view = job_view(kept, JOBS["corrected"])
    assert view.job.vehicle == "hay lorry"
    assert [e.payload["vehicle"] for e in view.entries if e.kind == "header"] == ["hay lory", "hay lorry"]
    struck = {b.title: b.struck for b in sheet_data(kept, JOBS["corrected"]).steps if b.struck}
    assert len(struck) == 3, "taken back, and replaced twice"
    fates = " ".join(one.fate for rows in struck.values() for one in rows)
    assert "read on another axle" in fates
    assert "slip of the pen" in fates
    (backlash,) = view.step("backlash").rounds
    assert backlash.typed["readings"] == "0.0070 0.0072"
    (limit,) = [one for one in backlash.result.limits if one.origin == "typed in"]
    assert str(limit.source) == "own data"
    assert "came without a driver" in view.step("complaint").status.why


def test_a_signature_over_open_steps_still_says_so(kept: JobStore) -> None:
    (signature,) = sheet_data(kept, JOBS["signed"]).signatures
    assert "10 steps open" in str(signature)
    assert "sold for parts" in str(signature)


def test_people_shelf_and_instruments(own: JobStore) -> None:
    assert own.people.require(LEAD, LEAD_PIN, "people").role == "admin"
    assert own.people.check_pin(BENCH, BENCH_PIN).role == "technician"
    with pytest.raises(RecordError):
        own.people.check_pin(LEAD, "0000")
    on_shelf = {round(one.thickness_mm / INCH, 4): one.count for one in spacers(own, "TY-222")}
    assert (on_shelf[0.0595], on_shelf[0.0600]) == (1, 2), "one was taken for the demonstration job"
    tool = own.instruments.find("depth micrometer 2")
    assert tool is not None
    assert str(tool.due_on) == "2026-03-01"


def test_a_practice_axle_and_the_roll_test_log(tmp_path: Path) -> None:
    with open_store(copied(tmp_path)) as store:
        (attempt,) = practice_attempts(store)
        assert (attempt.attempt.name.design, attempt.attempt.name.number) == ("TY-222", 3)
        assert len(played_attempt(store, attempt.attempt).outcomes) == 4
        assert len(log.all_rolls(store, "TY-222")) == 15


def test_the_roll_test_log_is_in_the_backup(kept: JobStore) -> None:
    assert len(log.all_rolls(kept)) == 15


def test_the_work_goes_on_where_it_was_left(own: JobStore) -> None:
    number = JOBS["corrected"]
    (first,) = job_view(own, number).step("backlash").rounds
    again = {**first.typed, "readings": "0.0071 0.0073"}
    outcome = enter(own, number, "backlash", again, who=BENCH, supersedes=first.seq)
    assert outcome.verdict == "ok"
    take_back(own, number, outcome.entries[0].seq, "wrong job", who=BENCH)
    assert job_view(own, number).step("backlash").status.state == "open"
    demo = JOBS["demo"]
    own.sign_off(
        demo,
        who=LEAD,
        pin=LEAD_PIN,
        statement="Tight now.",
        head=own.get_job(demo).head,
        close=True,
        although="no as-found readings",
    )
    assert len(sheet_data(own, demo).signatures) == 2
    assert all(own.verify(one).holds for one in JOBS.values())


def test_a_job_file_is_brought_in_shown_and_sent_on(own: JobStore, tmp_path: Path) -> None:
    with open_store(tmp_path / "other") as other:
        job = import_job(other, KEPT / "job.zip")
        assert job.head == TOLD["heads"]["corrected"]
        assert other.verify(job.number).holds
        states = {s.key: s.status.state for s in job_view(other, job.number).steps}
        assert states == STATES["corrected"]
        assert job_sheet_pdf(other, job.number).startswith(b"%PDF-")
        assert len(sheet_data(other, job.number).photos) == 1
        enter(other, job.number, "as-found", {"turning": "12"}, who="bench three")
        export_job(other, job.number, tmp_path / "back.zip")
    assert import_job(own, KEPT / "job.zip").entry_count == job.entry_count, "it is here already"
    assert import_job(own, tmp_path / "back.zip").entry_count == job.entry_count + 2
