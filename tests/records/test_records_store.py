"""Jobs and their entries: appended, superseded, never edited."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest

from axlewright.errors import ConflictError, RecordError
from axlewright.records import HeaderChange, JobConflictError, JobStore

READING = {"value": 4.3125, "unit": "in", "place": "face to seat"}


def new(store: JobStore, **header: Any) -> int:
    return store.new_job(**{"design_name": "TY-222", "who": "bench one", **header}).number


def test_new_job_is_listed_with_its_header(store: JobStore) -> None:
    job = store.new_job(design_name="TY-222", design_text="a = 1", vehicle="Milk lorry", who="bench one")
    assert [found.number for found in store.list_jobs()] == [job.number]
    assert store.get_job(job.number) == job
    assert store.job_by_uid(job.uid) == job
    assert store.design_text(job.number) == "a = 1"
    assert store.entries(job.number)[0].payload["vehicle"] == "Milk lorry"


def test_entry_comes_back_as_it_was_written(store: JobStore) -> None:
    number = new(store)
    payload = {"value": 0.1 + 0.2, "text": "ä \u0000 \u2192 😀", "list": [1, 1.0, None, True], "a": {"b": []}}
    at = datetime(2026, 3, 2, 9, 11, 12, 345678, tzinfo=timezone(timedelta(hours=2)))
    written = store.add_entry(number, "reading", "depth", payload, who="bench one", at=at)
    assert store.entries(number)[-1] == written
    assert written.payload == payload
    assert written.at == datetime(2026, 3, 2, 7, 11, 12, 345678, tzinfo=UTC)
    assert store.verify(number).holds


def test_sending_an_entry_again_writes_nothing(store: JobStore) -> None:
    number = new(store)
    first = store.add_entry(number, "reading", "depth", READING, who="bench one", idempotency_key="k1")
    again = store.add_entry(number, "reading", "depth", READING, who="bench one", idempotency_key="k1")
    assert again == first
    assert store.get_job(number).entry_count == 2
    other = new(store)
    assert store.add_entry(other, "reading", "depth", READING, who="bench one", idempotency_key="k1").seq == 2


def test_sending_a_new_job_again_writes_nothing(store: JobStore) -> None:
    uid = "0123456789abcdef" * 2
    first = store.new_job(design_name="TY-222", uid=uid)
    assert store.new_job(design_name="TY-222", uid=uid) == first
    assert store.list_jobs() == [first]
    with pytest.raises(RecordError, match="no job identifier"):
        store.new_job(design_name="TY-222", uid="17")


def test_key_of_another_entry_is_refused_with_that_entry(store: JobStore) -> None:
    number = new(store)
    first = store.add_entry(number, "reading", "depth", READING, who="bench one", idempotency_key="k1")
    with pytest.raises(JobConflictError, match="used already") as caught:
        store.add_entry(number, "reading", "depth", {"value": 9}, who="bench one", idempotency_key="k1")
    assert caught.value.others == (first,)


def test_entry_on_a_stale_head_shows_what_others_wrote(store: JobStore) -> None:
    number = new(store)
    seen = store.get_job(number).head
    one = store.add_entry(number, "reading", "backlash", {"value": 1}, who="bench two", expected_head=seen)
    with pytest.raises(ConflictError, match="bench two added 1 entry") as caught:
        store.add_entry(number, "reading", "backlash", {"value": 2}, who="bench one", expected_head=seen)
    conflict = caught.value
    assert isinstance(conflict, JobConflictError)
    assert conflict.others == (one,)
    assert store.get_job(number).entry_count == 2, "the refused entry is not written"
    mine = store.add_entry(
        number, "reading", "backlash", {"value": 2}, who="bench one", expected_head=conflict.head
    )
    assert [entry.seq for entry in store.entries(number)] == [1, 2, 3]
    assert store.get_job(number).head == mine.hash


def test_expected_head_of_another_job_is_refused(store: JobStore) -> None:
    number, other = new(store), new(store)
    with pytest.raises(RecordError, match="none of this job's"):
        store.add_entry(number, "note", "", {}, who="a", expected_head=store.get_job(other).head)


def test_superseded_entry_stays_but_does_not_count(store: JobStore) -> None:
    number = new(store)
    wrong = store.add_entry(number, "reading", "depth", {"value": 43.125}, who="bench one")
    right = store.add_entry(number, "reading", "depth", READING, who="bench one", supersedes=wrong.seq)
    assert store.current(number, "depth") == [right]
    assert store.entries(number, step="depth") == [wrong, right]
    with pytest.raises(RecordError, match=f"superseded already by entry {right.seq}"):
        store.add_entry(number, "reading", "depth", READING, who="bench one", supersedes=wrong.seq)
    with pytest.raises(RecordError, match="belongs to the step 'depth'"):
        store.add_entry(number, "reading", "pattern", READING, who="bench one", supersedes=right.seq)
    with pytest.raises(RecordError, match="the job's own header"):
        store.add_entry(number, "note", "", READING, who="bench one", supersedes=1)
    with pytest.raises(RecordError, match="no entry 99"):
        store.add_entry(number, "note", "", READING, who="bench one", supersedes=99)


def test_amending_keeps_the_old_header(store: JobStore) -> None:
    number = new(store, vehicle="Mlk lorry", design_text="old")
    job = store.amend_job(
        number, HeaderChange(vehicle="Milk lorry", set_number="4417", design_text="new"), who="bench two"
    )
    assert (job.vehicle, job.set_number, store.design_text(number)) == ("Milk lorry", "4417", "new")
    assert [entry.payload["vehicle"] for entry in store.entries(number, kind="header")] == [
        "Mlk lorry",
        "Milk lorry",
    ]
    assert store.verify(number).holds


def test_state_is_an_entry_too(store: JobStore) -> None:
    number = new(store)
    assert (
        store.set_state(number, "stopped", who="bench one", reason="pair numbers differ").state == "stopped"
    )
    assert store.list_jobs(state="open") == []
    assert [job.number for job in store.list_jobs(state="stopped")] == [number]
    assert [job.number for job in store.search("pair numbers")] == [number]
    assert store.verify(number).holds


def test_search_finds_words_in_any_field_without_case_or_accents(store: JobStore) -> None:
    first = new(store, vehicle="Kübelwagen 12", set_number="S-4417", complaint="whines on DRIVE")
    second = new(store, design_name="TY-310", vehicle="Bus 100%", set_number="S-9")
    store.add_entry(second, "note", "", {"text": "side cap marked with a punch"}, who="bench one")

    def found(*args: str, **kwargs: str) -> list[int]:
        return [job.number for job in store.search(*args, **kwargs)]

    assert found("kubel drive") == [first]
    assert found("PUNCH") == [second]
    assert found("100%") == [second]
    assert found("_") == []
    assert found(set_number="s-44") == [first]
    assert found(design="310") == [second]
    assert found(vehicle="bus") == [second]
    assert found(f"#{second}") == [second]
    assert found() == [second, first], "the last changed first"
    assert found("kubel punch") == []


@pytest.mark.parametrize(
    ("kind", "step", "payload", "message"),
    [
        ("reeding", "depth", {}, "no kind of entry"),
        ("header", "", {}, "no kind of entry"),
        ("reading", "deep", {}, "no step 'deep'"),
        ("reading", "depth", {"value": math.nan}, "cannot be written as JSON"),
        ("reading", "depth", {"value": {1, 2}}, "cannot be written as JSON"),
        ("reading", "depth", {"text": "\ud800"}, "cannot be written as JSON"),
        ("reading", "depth", {"text": "x" * 1_000_001}, "store the data as a file"),
        ("result", "depth", {"verdict": "fine"}, "no verdict"),
        ("waiver", "depth", {"reason": "  "}, "with a reason only"),
        ("waiver", "", {"reason": "x"}, "needs its step"),
    ],
)
def test_bad_entries_get_one_sentence(
    store: JobStore, kind: Any, step: str, payload: Any, message: str
) -> None:
    number = new(store)
    with pytest.raises(RecordError, match=message) as caught:
        store.add_entry(number, kind, step, payload, who="bench one")
    assert "\n" not in str(caught.value)
    assert store.get_job(number).entry_count == 1


def test_bad_headers_and_numbers_get_one_sentence(store: JobStore) -> None:
    for number in (1, 0, -4, 2**40):
        with pytest.raises(RecordError, match="there is no job"):
            store.get_job(number)
    with pytest.raises(RecordError, match="design: this is empty"):
        store.new_job(design_name=" ")
    with pytest.raises(RecordError, match="vehicle: this holds characters"):
        store.new_job(design_name="TY-222", vehicle="a\0b")
    with pytest.raises(RecordError, match="who: this is empty"):
        store.add_entry(new(store), "note", "", {}, who="")
    with pytest.raises(RecordError, match="no time zone"):
        store.add_entry(new(store), "note", "", {}, who="a", at=datetime(2026, 3, 1))
    with pytest.raises(RecordError, match="is no state"):
        store.set_state(new(store), "finished", who="a")  # type: ignore[arg-type]


def test_next_steps_of_several_jobs_are_those_of_each(store: JobStore) -> None:
    one, two = new(store), new(store)
    store.add_entry(one, "result", "complaint", {"verdict": "ok"}, who="bench one")
    found = store.next_steps([two, one, 99])
    assert found == {one: store.next_step(one), two: store.next_step(two)}
    assert [found[one].key, found[two].key] == ["as-found", "complaint"]
