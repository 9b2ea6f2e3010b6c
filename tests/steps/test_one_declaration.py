"""A field is added in one declaration, and is then everywhere a field belongs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest
from pdf_reading import text_of
from typer.testing import CliRunner
from web_visitor import Visitor

from axlewright.cli.app import app
from axlewright.job import FieldError, enter, job_sheet_pdf, sheet_data
from axlewright.records import Job, JobStore
from axlewright.steps import forms
from axlewright.steps.documenting import fields_page
from axlewright.steps.field import Choice, Field
from axlewright.steps.preload import PRELOAD

NUT_THREAD = Field(
    "nut_thread",
    "Pinion nut thread condition",
    "choice",
    "Looked at with the nut off.",
    choices=(Choice("good", "clean and whole"), Choice("worn", "worn or pulled")),
    short="pinion nut thread",
)
ENTRY: Mapping[str, str] = {"bearings": "new", "kind": "sleeve", "torque": "20", "nut_thread": "worn"}


@pytest.fixture(autouse=True)
def _added(monkeypatch: pytest.MonkeyPatch) -> None:
    wider = replace(PRELOAD, fields=(*PRELOAD.fields[:-1], NUT_THREAD, PRELOAD.fields[-1]))
    monkeypatch.setitem(forms.TABLE, "preload", wider)


def test_the_page_asks_for_it_and_shows_it_again(visitor: Visitor, job: Job) -> None:
    page = visitor.get(f"/jobs/{job.number}?step=preload")
    for words in ("Pinion nut thread condition", "Looked at with the nut off.", "worn or pulled"):
        assert words in page
    page = visitor.post(f"/jobs/{job.number}/steps/preload", dict(ENTRY))
    assert "Pinion nut thread" in page


def test_the_command_line_lists_and_takes_it(home: Path, store: JobStore, job: Job) -> None:
    command = ["job", "add", str(job.number), "preload"]
    listed = CliRunner().invoke(app, [*command, "--home", str(home)]).output
    (line,) = [one for one in listed.splitlines() if one.startswith("nut_thread")]
    assert "Pinion nut thread condition" in line
    assert "good, worn" in line
    assert "nut_thread" in CliRunner().invoke(app, [*command, "--help"]).output
    typed = [f"{name}={value}" for name, value in ENTRY.items()]
    done = CliRunner().invoke(app, [*command, *typed, "--who", "b", "--home", str(home)])
    assert done.exit_code == 0, done.output


def test_it_is_checked(store: JobStore, job: Job) -> None:
    with pytest.raises(FieldError, match="unknown choice 'banana'") as caught:
        enter(store, job.number, "preload", {**ENTRY, "nut_thread": "banana"}, who="b")
    assert caught.value.field == "nut_thread"


def test_record_and_sheet_hold_it(store: JobStore, job: Job) -> None:
    enter(store, job.number, "preload", ENTRY, who="b")
    kept = store.entries(job.number, kind="reading", step="preload")[-1].payload
    assert kept["typed"]["nut_thread"] == "worn"
    assert [
        one["value"]["shown"] for one in kept["readings"] if one["name"]["shown"] == NUT_THREAD.short
    ] == ["worn or pulled"]
    blocks = [block for step in sheet_data(store, job.number).steps for block in step.rounds]
    readings = [one for block in blocks for one in block.readings]
    assert [one["value"] for one in readings if one["name"] == NUT_THREAD.short] == ["worn or pulled"]
    assert "Pinion nut thread worn or pulled" in text_of(job_sheet_pdf(store, job.number))


def test_the_documentation_has_a_row_for_it() -> None:
    (row,) = [line for line in fields_page().splitlines() if line.startswith("| `nut_thread` |")]
    assert (
        "| Pinion nut thread condition | choice |  | `good` clean and whole; `worn` worn or pulled |" in row
    )
