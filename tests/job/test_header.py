"""A job's header and state are changed with a reason, and what stood there stays in the record."""

from __future__ import annotations

import pytest

from axlewright.errors import InputError, RecordError
from axlewright.job import enter, job_view, sheet_data
from axlewright.job.header import CORRECTABLE, correct_header, history, set_state
from axlewright.language import using_language
from axlewright.records import Job, JobStore


def test_a_header_is_corrected_and_the_old_words_stay(store: JobStore, job: Job) -> None:
    corrected = correct_header(
        store, job.number, {"vehicle": "milk lorry, front", "set_number": "4471"}, "misheard", who="two"
    )
    assert (corrected.vehicle, corrected.set_number, corrected.complaint) == (
        "milk lorry, front",
        "4471",
        job.complaint,
    )
    (change,) = history(store.entries(job.number))
    assert str(change.what) == (
        "vehicle: “milk lorry, rear” became “milk lorry, front”; set number: now “4471”, before it was empty"
    )
    assert (change.who, change.reason) == ("two", "misheard")
    with using_language("de"):
        assert "Fahrzeug" in str(change.what)
    assert store.search("front")[0].number == job.number
    assert store.verify(job.number).holds


@pytest.mark.parametrize(
    ("fields", "reason", "what"),
    [
        ({"vehicle": "another"}, " ", "no reason given"),
        ({}, "why not", "nothing is different"),
        ({"complaint": "whines on drive at 45 mph"}, "why not", "nothing is different"),
        ({"reference": "x" * 201}, "long", "this is 201 characters long"),
    ],
)
def test_what_corrects_nothing_is_refused(
    store: JobStore, job: Job, fields: dict[str, str], reason: str, what: str
) -> None:
    with pytest.raises((InputError, RecordError), match=what):
        correct_header(store, job.number, fields, reason, who="two")
    assert store.get_job(job.number).entry_count == job.entry_count
    assert set(fields) <= set(CORRECTABLE)


def test_a_job_is_stopped_dropped_and_opened_again_with_reasons(store: JobStore, job: Job) -> None:
    set_state(store, job.number, "stopped", "bearing on order", who="one")
    enter(store, job.number, "as-found", {"turning": "12"}, who="one")  # what waits can be read meanwhile
    set_state(store, job.number, "dropped", "sold for parts", who="two")
    with pytest.raises(RecordError, match="the job was dropped"):
        enter(store, job.number, "as-found", {"turning": "12"}, who="one")
    view = job_view(store, job.number)
    assert view.state_reason == "sold for parts"
    assert sheet_data(store, job.number).state == "dropped: sold for parts"
    set_state(store, job.number, "open", "bought back", who="two")
    enter(store, job.number, "as-found", {"turning": "12"}, who="one")
    told = [(str(one.what), str(one.reason)) for one in history(store.entries(job.number))]
    assert told == [
        ("State: stopped", "bearing on order"),
        ("State: dropped", "sold for parts"),
        ("State: open", "bought back"),
    ]
    assert store.verify(job.number).holds


@pytest.mark.parametrize(
    ("state", "reason", "what"),
    [
        ("closed", "done", "'closed' is no state"),
        ("finished", "done", "'finished' is no state"),
        ("dropped", "", "no reason given"),
        ("open", "it is", "the job is open already"),
    ],
)
def test_only_states_set_by_hand_are_taken(
    store: JobStore, job: Job, state: str, reason: str, what: str
) -> None:
    with pytest.raises(InputError, match=what):
        set_state(store, job.number, state, reason, who="one")


def test_a_signed_job_is_opened_before_anything_of_it_changes(store: JobStore, job: Job) -> None:
    store.set_state(job.number, "closed", who="one")
    with pytest.raises(InputError, match="outside its signature"):
        set_state(store, job.number, "dropped", "sold", who="one")
    with pytest.raises(InputError, match="outside its signature"):
        correct_header(store, job.number, {"vehicle": "another"}, "misheard", who="one")


def test_the_same_form_sent_twice_is_kept_once(store: JobStore, job: Job) -> None:
    for _time in range(2):
        set_state(store, job.number, "dropped", "sold", who="one", idempotency_key="a")
        correct_header(store, job.number, {"vehicle": "x"}, "misheard", who="one", idempotency_key="b")
    assert store.get_job(job.number).entry_count == job.entry_count + 2
