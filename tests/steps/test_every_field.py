"""What cannot be read is refused at its field: by the library, on the page, from the command line."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest
from axlewright.cli.app import app
from typer.testing import CliRunner
from web_visitor import Visitor

from axlewright.job import FORMS, FieldError
from axlewright.job.entering import work_out
from axlewright.records import Job, JobStore
from axlewright.steps.field import UNUSUAL, Field

GOOD: Mapping[str, Mapping[str, str]] = {
    "complaint": {"heard": "whine", "when": "drive", "others_out": "yes"},
    "as-found": {"backlash": "0.012 0.013", "tagged": "yes"},
    "identity": {"pinion_number": "4711", "ring_number": "4711"},
    "fits": {"bearings": "good", "flange_runout": "0.001"},
    "depth": {
        "place": "under_head",
        "carrier": "5.6255 5.6250",
        "bearing": "1.2500",
        "mounting_distance": "4.3125",
        "mark": "+2",
        "mark_unit": "0.001 in",
        "mark_meaning": "plus_means_larger_mounting_distance",
    },
    "preload": {"bearings": "new", "kind": "sleeve", "torque": "20"},
    "backlash": {"readings": "0.006 0.007 0.006 0.007", "axle": "light"},
    "pattern": {"accepted": "no", "reason": "heel"},
    "final": {"backlash": "0.006 0.007", "torque": "25", "pattern": "same"},
    "close": {"road": "quiet at 40 mph", "gone": "gone", "locks": "yes", "oil": "yes"},
}
"""An entry of each step with which nothing is wrong."""


def read_fields(step: str) -> list[Field]:
    """Return the fields of a step that are not free text, and the box that every step has."""
    return [one for one in (*FORMS[step].fields, UNUSUAL) if one.kind not in ("text", "long text")]


def with_banana(step: str, one: Field) -> dict[str, str]:
    """Return a good entry with "banana" in one field, and with the answers to which that field belongs."""
    typed, only = dict(GOOD[step]), one.only
    while only:
        name, _colon, keys = only.partition(":")
        typed[name] = keys.split(",")[0]
        only = FORMS[step].field(name).only
    kept = {name: text for name, text in typed.items() if FORMS[step].field(name).belongs(typed)}
    return kept | {one.name: "banana"}


def test_every_step_is_tried() -> None:
    assert list(GOOD) == list(FORMS)
    assert sum(len(read_fields(step)) for step in FORMS) > 100


@pytest.mark.parametrize("step", FORMS)
def test_the_good_entry_is_taken(store: JobStore, job: Job, step: str) -> None:
    work_out(store, job.number, step, GOOD[step], who="b")


@pytest.mark.parametrize("step", FORMS)
def test_the_library_refuses_it_at_its_field(store: JobStore, job: Job, step: str) -> None:
    for one in read_fields(step):
        with pytest.raises(FieldError) as caught:
            work_out(store, job.number, step, with_banana(step, one), who="b")
        assert caught.value.field == one.name
        assert "banana" in str(caught.value), f"{one.name}: it is not said what was typed"


@pytest.mark.parametrize("step", FORMS)
def test_the_page_refuses_it_at_its_field_and_keeps_nothing(
    visitor: Visitor, store: JobStore, job: Job, step: str
) -> None:
    head, token = store.get_job(job.number).head, visitor.token()
    for one in read_fields(step):
        typed = {"token": token, **with_banana(step, one)}
        answer = visitor.client.post(f"/jobs/{job.number}/steps/{step}", data=typed)
        assert answer.status_code == 422, one.name
        assert f'href="#f-{one.name}"' in answer.text, f"{one.name}: the problem does not lead to the field"
        assert "Nothing was kept" in answer.text
    assert store.get_job(job.number).head == head


@pytest.mark.parametrize("step", FORMS)
def test_the_command_line_refuses_it_and_keeps_nothing(
    home: Path, store: JobStore, job: Job, step: str
) -> None:
    head, runner = store.get_job(job.number).head, CliRunner()
    for one in read_fields(step):
        typed = [f"{name}={value}" for name, value in with_banana(step, one).items()]
        done = runner.invoke(
            app, ["job", "add", str(job.number), step, *typed, "--who", "b", "--home", str(home)]
        )
        assert done.exit_code == 2, f"{one.name}: {done.output}"
        assert one.label in done.output, f"{one.name}: {done.output}"
        assert "banana" in done.output
    assert store.get_job(job.number).head == head
