"""The hash chain shows every later change, and says where."""

from __future__ import annotations

import json
from typing import Any

import pytest
import sqlalchemy as sa
from hypothesis import given
from hypothesis import strategies as st

from axlewright.records import JobStore
from axlewright.records.chain import canonical_json, entry_hash, first_link, sha256_hex


def test_sha256_gives_the_published_value() -> None:
    """FIPS 180-2 (2002), appendix B.1: the message "abc"."""
    assert sha256_hex(b"abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_chain_is_what_its_description_says() -> None:
    content = {"b": 1, "a": "ä"}
    assert canonical_json(content) == '{"a":"ä","b":1}'
    link = first_link("0" * 32)
    assert entry_hash(link, content) == sha256_hex((link + '{"a":"ä","b":1}').encode())


TEXT = st.text(st.characters(exclude_categories=("Cs",)), max_size=20)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | TEXT,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXT, inner, max_size=3),
    max_leaves=8,
)


@given(JSON)
def test_canonical_json_survives_a_round_trip(value: Any) -> None:
    text = canonical_json(value)
    assert canonical_json(json.loads(text)) == text


def filled(store: JobStore) -> int:
    number = store.new_job(design_name="TY-222", design_text="a = 1", vehicle="Milk lorry").number
    for value in (1, 2, 3):
        store.add_entry(
            number, "reading", "depth", {"value": value}, who="bench one", idempotency_key=f"k{value}"
        )
    store.set_state(number, "stopped", who="bench one")
    return number


def run(store: JobStore, statement: str, **values: Any) -> None:
    with store.sessions.writing() as session:
        assert session.execute(sa.text(statement), values).rowcount > 0


@pytest.mark.parametrize(
    "change",
    [
        "payload = '{\"value\": 9}'",
        "who = 'bench two'",
        "at = '2020-01-01T00:00:00.000000Z'",
        "step = 'pattern'",
        "kind = 'note'",
        "instrument = 'dial 9'",
        "calibrated_on = '2020-01-01'",
        "supersedes = 2",
        "files = '[\"aa\"]'",
        "idempotency_key = NULL",
        "previous = hash",
        "hash = previous",
    ],
)
def test_any_changed_field_of_an_entry_shows(store: JobStore, change: str) -> None:
    number = filled(store)
    assert store.verify(number).holds
    run(store, f"UPDATE entries SET {change} WHERE job_number = :n AND seq = 3", n=number)
    report = store.verify(number)
    assert (report.holds, report.checked, report.broken_at) == (False, 2, 3), report


def test_a_removed_entry_shows(store: JobStore) -> None:
    number = filled(store)
    run(store, "DELETE FROM entries WHERE job_number = :n AND seq = 2", n=number)
    assert store.verify(number).broken_at == 2


def test_removed_last_entries_show(store: JobStore) -> None:
    number = filled(store)
    run(store, "DELETE FROM entries WHERE job_number = :n AND seq > 3", n=number)
    report = store.verify(number)
    assert (report.holds, report.broken_at) == (False, 4)


def test_an_entry_taken_from_another_job_shows(store: JobStore) -> None:
    one, two = filled(store), filled(store)
    run(store, "DELETE FROM entries WHERE job_number = :n AND seq = 3", n=one)
    run(store, "UPDATE entries SET job_number = :one WHERE job_number = :two AND seq = 3", one=one, two=two)
    assert store.verify(one).broken_at == 3
    assert store.verify(two).broken_at == 3


@pytest.mark.parametrize(
    ("change", "name"),
    [
        ("vehicle = 'Bus'", "vehicle"),
        ("state = 'closed'", "state"),
        ("created_at = '2020-01-01T00:00:00.000000Z'", "date"),
    ],
)
def test_a_changed_line_of_the_job_itself_shows(store: JobStore, change: str, name: str) -> None:
    number = filled(store)
    run(store, f"UPDATE jobs SET {change} WHERE number = :n", n=number)
    report = store.verify(number)
    assert (report.holds, report.broken_at) == (False, 0)
    assert name in report.why


def test_a_changed_design_text_shows(store: JobStore) -> None:
    number = filled(store)
    run(store, "UPDATE design_texts SET text = 'a = 2'")
    report = store.verify(number)
    assert (report.holds, report.broken_at) == (False, 0)
    assert "design text" in report.why
    with pytest.raises(ValueError, match="lost or changed"):
        store.design_text(number)
