"""Jobs and their entries: appended, superseded, never edited."""

from __future__ import annotations

from axlewright.records import JobStore


def test_new_job_is_listed_with_its_header(store: JobStore) -> None:
    job = store.new_job(design_name="TY-222", design_text="a = 1", vehicle="Milk lorry", who="bench one")
    assert [found.number for found in store.list_jobs()] == [job.number]
    assert store.get_job(job.number) == job
    assert store.design_text(job.number) == "a = 1"
    assert store.entries(job.number)[0].payload["vehicle"] == "Milk lorry"


def test_sending_an_entry_again_writes_nothing(store: JobStore) -> None:
    job = store.new_job(design_name="TY-222")
    first = store.add_entry(
        job.number, "reading", "depth", {"value": 4.3125}, who="bench one", idempotency_key="k1"
    )
    again = store.add_entry(
        job.number, "reading", "depth", {"value": 4.3125}, who="bench one", idempotency_key="k1"
    )
    assert again == first
    assert store.get_job(job.number).entry_count == 2
    assert store.verify(job.number).holds
